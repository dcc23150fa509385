"""The result in words, for people at a terminal.

In: a `Result`. Out: one string of lines that fit the width. It judges nothing:
what is not in the result is not in the text. Numbers carry no more digits than
their bracket supports; the JSON has them all.
"""

from __future__ import annotations

import math
import textwrap
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from clearance.evidence.balls import in_words
from clearance.result import (
    STATES,
    Ball,
    ClearDiameter,
    CrossingResult,
    DispositionResult,
    Drilling,
    JointResult,
    Margin,
    PassageResult,
    Result,
    Rework,
    SeparateResult,
    Signs,
    State,
    TrappedPowder,
    Unmelted,
)

WIDTH = 88
"""Columns of the text where the terminal does not say otherwise."""
NAMEWORTHY = 0.995
"""A crossing that keeps more of its area than this is only counted."""
MOST_DECIMALS = 3

Paint = Callable[[str, str], str]
"""Takes a word and the state it tells; returns the word, perhaps coloured."""


def plain(word: str, _state: str) -> str:
    """Colour nothing."""
    return word


def text(result: Result, width: int = WIDTH, paint: Paint = plain) -> str:
    """Everything a result says, as lines for people.

    Parameters
    ----------
    result : Result
    width : int
        Columns to keep within.
    paint : callable
        Colours the words of states; they stand there in any case.
    """
    blocks = [
        _head(result),
        _passages(result, width, paint),
        _block("besides the passages", map(": ".join, besides(result)), width),
        _block("crossings", _crossings(result.passages), width),
        _block("drilling", _drilling(result.passages), width),
        _block("separate circuits", map(separate_line, result.separate), width),
        _block("unmelted", map(unmelted_line, result.unmelted), width),
        _block("trapped powder", map(trapped_line, result.trapped_powder), width),
        _block("signs on the part", signs_lines(result.signs), width),
        _block("resumed section", map(_resumed, result.resumed_section), width),
        _block("event, from the numbers given", result.translations, width),
        _block("assumptions", result.assumptions, width),
        _block("notices", result.notices, width),
        _disposition(result.disposition, width, paint),
        _block("margins: the event may be off by", map(margin_line, result.margins or ()), width),
        _block("cautions", result.cautions, width),
    ]
    return "\n\n".join(block for block in blocks if block)


def margin_line(margin: Margin) -> str:
    """A margin in words."""
    sides = []
    for side, looked, change in (
        ("less", margin.looked_down, margin.changes_down),
        ("more", margin.looked_up, margin.changes_up),
    ):
        unit = margin.unit
        if change:
            sides.append(f"{looked:g} {unit} {side}: {change}")
        elif looked:
            sides.append(f"up to {looked:g} {unit} {side}: no change; looked no farther")
        elif margin.judged == STATES:
            sides.append(f"{side}: not looked at")
        else:
            sides.append(f"no {side} is possible")
    only = ", states alone (--margins: all)" if margin.judged == STATES else ""
    return f"stray {margin.stray} {margin.what}{only}: " + "; ".join(sides)


def _head(result: Result) -> str:
    return f"{result.part}, columns {result.pitch_mm:g} mm apart"


# ---- the table of passages -------------------------------------------------------------------

HEADS = ("passage", "state", "clear diameter, mm", "needs", "where and why")
LONGEST_NAME, LEAST_REASONS = 24, 24
"""Columns of the first and the last cell: names are wrapped so that reasons have room."""


def _passages(result: Result, width: int, paint: Paint) -> str:
    rows = [
        (
            p.name,
            p.state.value,
            clear_diameter(p.clear_diameter_mm, p.required_mm),
            _length(p.required_mm, 2),
            why(p),
        )
        for p in result.passages
    ]
    widths = [max(len(row[n]) for row in (HEADS, *rows)) for n in range(4)]
    others = sum(widths[1:]) + 2 * len(widths)
    widths[0] = min(widths[0], LONGEST_NAME, width - others - LEAST_REASONS)
    left = widths[0] + others
    lines = _row(HEADS, widths, left, width, plain)
    for row in rows:
        lines += _row(row, widths, left, width, paint)
    return "\n".join(lines)


def _row(
    cells: Sequence[str], widths: Sequence[int], left: int, width: int, paint: Paint
) -> list[str]:
    """One row of the table; its first and last cell may take several lines."""
    names = textwrap.wrap(cells[0], widths[0]) or [""]
    reasons = textwrap.wrap(cells[4], width - left) or [""]
    lines = []
    for n in range(max(len(names), len(reasons))):
        name = names[n] if n < len(names) else ""
        reason = reasons[n] if n < len(reasons) else ""
        fixed = [cell if n == 0 else "" for cell in cells[1:4]]
        padded = [cell.ljust(size) for cell, size in zip(fixed, widths[1:], strict=True)]
        if fixed[0]:
            padded[0] = paint(fixed[0], fixed[0]) + " " * (widths[1] - len(fixed[0]))
        lines.append("  ".join([name.ljust(widths[0]), *padded, reason]).rstrip())
    return lines


def clear_diameter(found: ClearDiameter, required_mm: float | None = None) -> str:
    """Bracket in words, rounded outward, so that what is printed still holds the truth.

    One digit of the bracket's width counts, two if the first is a 1; more only where the
    rounded bracket would hide on which side of the requirement it lies.
    """
    low, high = found.low, found.high
    if high == 0.0:
        return "0"
    if not math.isfinite(high):
        return f"at least {rounded_down(low, 2)}"
    for decimals in range(_decimals(high - low), MOST_DECIMALS + 1):
        shown = rounded_down(low, decimals), _up(high, decimals)
        if required_mm is None or _same_side(shown, low, high, required_mm):
            break
    return shown[0] if shown[0] == shown[1] else f"{shown[0]} to {shown[1]}"


def _decimals(size: float) -> int:
    """Decimals that a bracket of some width supports, 0 to 3."""
    if size <= 0.0:
        return MOST_DECIMALS
    power = math.floor(math.log10(size))
    leading = size / 10.0**power
    return min(max(-power + (1 if leading < 2.0 else 0), 0), MOST_DECIMALS)


def rounded_down(value: float, decimals: int) -> str:
    """Round down, so that what is said to pass does."""
    scale = 10.0**decimals
    return f"{math.floor(value * scale + 1e-6) / scale:.{decimals}f}"


def _up(value: float, decimals: int) -> str:
    scale = 10.0**decimals
    return f"{math.ceil(value * scale - 1e-6) / scale:.{decimals}f}"


def _same_side(shown: tuple[str, str], low: float, high: float, required: float) -> bool:
    low_shown, high_shown = float(shown[0]), float(shown[1])
    return (low_shown >= required) == (low >= required) and (
        (high_shown < required) == (high < required)
    )


def why(passage: PassageResult) -> str:
    """Where a passage suffers and why, what reopens it or what would settle it."""
    parts = [*_places(passage), *_reasons(passage)]
    if passage.rework is not None:
        strokes = len(passage.rework.drilling)
        parts.append(
            f"{strokes} drill stroke{'s' if strokes != 1 else ''} would make it "
            f"{passage.rework.state_after} (see drilling)"
        )
    elif passage.why_not:
        parts.append(passage.why_not)
    parts += [f"to settle it: {way.removeprefix('settle ')}" for way in passage.settled_by]
    return "; ".join(parts)


def _places(passage: PassageResult) -> list[str]:
    """Heights of the crossings that matter to a passage which is not open."""
    if passage.state is State.OPEN:
        return []
    hurt = [c for c in passage.crossings if c.sealed or c.open_fraction < NAMEWORTHY]
    heights = list(dict.fromkeys(_height(c.height_mm) for c in hurt))
    return [f"stray sheet at z {', '.join(heights)}"] if heights else []


def _reasons(passage: PassageResult) -> list[str]:
    # That enough passes is said by the numbers of an open passage; the rest is news.
    return list(passage.reasons[1:] if passage.state is State.OPEN else passage.reasons)


# ---- what follows the table ------------------------------------------------------------------


def _block(title: str, items: Iterable[str], width: int) -> str:
    """A title and one wrapped item a line; nothing if there is no item."""
    wrapped = [
        textwrap.fill(item, width, initial_indent="  ", subsequent_indent="    ") for item in items
    ]
    return "\n".join([title, *wrapped]) if wrapped else ""


def _crossings(passages: Iterable[PassageResult]) -> list[str]:
    lines, whole = [], 0
    for passage in passages:
        for number, crossing in enumerate(passage.crossings):
            if crossing.sealed or crossing.open_fraction < NAMEWORTHY:
                lines.append(f"{passage.name}, crossing {number}: {_crossing(crossing)}")
            else:
                whole += 1
    if whole:
        more = " more" if lines else ""
        lines.append(f"{whole}{more} crossing{'s' if whole != 1 else ''} fully open")
    return lines


def _crossing(crossing: CrossingResult) -> str:
    area = f"{crossing.open_area_mm2:.1f} of {crossing.nominal_area_mm2:.1f} mm2 open"
    place = f"stray {crossing.stray} at {_point(crossing.centre_mm)}"
    if crossing.sealed:
        return f"{place}, sealed ({area})"
    loss = ""
    if crossing.loss_coefficient is not None:
        loss = f", loss coefficient {crossing.loss_coefficient:.2f}"
    share = min(crossing.open_fraction, 0.99)  # never shown as all of it when it is not
    return (
        f"{place}, {area} ({share:.0%}), at most {crossing.clear_diameter_mm:.2f} mm passes{loss}"
    )


def _drilling(passages: Iterable[PassageResult]) -> list[str]:
    lines = []
    for passage in passages:
        if passage.rework is None:
            continue
        for stroke in passage.rework.drilling:
            lines.append(f"{passage.name}: {_stroke(stroke)}")
        after = f"{rounded_down(passage.rework.clear_diameter_after_mm, 2)} mm"
        wall = "".join(f"; {said}" for said in wall_words(passage.rework))
        lines.append(f"{passage.name} then: {passage.rework.state_after}, at least {after}{wall}")
        lines += [f"{passage.name}: not settled: {said}" for said in passage.rework.conflicts]
    return lines


def wall_words(plan: Rework) -> list[str]:
    """What a plan cuts of the wall and what it leaves, at its worst; empty where it keeps clear."""
    said = []
    if plan.cuts_wall:
        worst = max(
            plan.drilling, key=lambda d: d.wall_cut_mm + d.drill_tolerance_mm + d.run_out_mm
        )
        taken = worst.wall_cut_mm + worst.drill_tolerance_mm + worst.run_out_mm
        said.append(f"the wall cut by {worst.wall_cut_mm:.2f}, with run-out {taken:.2f} mm")
    if plan.wall_least_mm is not None:
        said.append(f"{rounded_down(plan.wall_least_mm, 2)} mm of wall left at worst")
    return said


def _stroke(stroke: Drilling) -> str:
    ux, uy, uz = stroke.direction
    cleared = ", ".join(str(n) for n in dict.fromkeys((stroke.crossing, *stroke.also_clears)))
    return (
        f"twist drill {stroke.drill_diameter_mm:g} mm ({stroke.series}, flute "
        f"{stroke.flute_mm:g}, overall {stroke.overall_mm:g}) from {stroke.from_}, "
        f"through crossing {cleared}; entry {_point(stroke.entry_mm)}, direction "
        f"({ux:.4f}, {uy:.4f}, {uz:.4f}), its shank {stroke.tilt_from_z_deg:.2f} deg off +z; "
        f"depth {stroke.depth_mm:.2f} mm, {stroke.length_to_diameter:.1f} times the diameter; "
        f"wall margin {stroke.wall_margin_mm:.2f} mm, overrun {stroke.overrun_mm:.2f} mm, "
        f"tilt tolerance {stroke.tilt_tolerance_deg:.2f} deg"
    )


def separate_line(found: SeparateResult) -> str:
    """Whether circuits stayed apart, in words."""
    names = " and ".join(found.passages)
    through = f" through {'an unmelted gap' if found.through == 'unmelted' else found.through}"
    where = f" at {_point(found.where_mm)}" if found.where_mm is not None else ""
    nominal = "" if found.nominal_state == "apart" else f" (nominal part: {found.nominal_state})"
    return f"{names}: {found.state}{through if found.through else ''}{where}{nominal}"


def unmelted_line(found: Unmelted) -> str:
    """A gap that stayed powder, in words."""
    joins = "; ".join(" and ".join(pair) for pair in found.joins)
    what = ", the joint itself" if found.joint else ""
    return (
        f"stray {found.stray}{what}: {found.area_mm2:.1f} mm2, up to {found.thickness_mm:.2f} mm "
        f"thick, at {_point(found.where_mm)}; joins {joins or 'nothing'}"
    )


def trapped_line(found: TrappedPowder) -> str:
    """Powder without a way out, in words."""
    mass = ""
    if found.mass_low_g is not None and found.mass_high_g is not None:
        mass = f", {found.mass_low_g:.2f} to {found.mass_high_g:.2f} g"
    inside = f"; in {', '.join(found.passages)}" if found.passages else ""
    inside += "" if found.certain else "; in part of what is possible of the event"
    return (
        f"{found.volume_mm3:.1f} mm3{mass}, between {' and '.join(found.between)}, "
        f"at {_point(found.centre_mm)}{inside}"
    )


# ---- what no list of passages tells -----------------------------------------------------------

WHOLE_JOINT = 0.9995
"""A joint of which more than this hangs together is called whole: the rest is rounding."""
CAN_IGNITE = "drilling or heat can ignite it"


def besides(result: Result) -> tuple[tuple[str, str], ...]:
    """Circuits not apart, joints not whole, powder shut in: key and words.

    Whoever reads of the passages has to read these too, however many passages there are.
    """
    said = [("circuits", separate_line(s)) for s in result.separate if s.state != "apart"]
    said += [("joint", f"only {joint_line(j)}") for j in joints(result) if j.share < WHOLE_JOINT]
    said += [
        (
            "joint",
            f"may be unmelted over its whole section, {gap.area_mm2:.1f} mm2: up to "
            f"{gap.thickness_mm:.2f} mm of powder at z {gap.where_mm[2]:.2f}",
        )
        for gap in result.unmelted
        if gap.joint
    ]
    if result.trapped_powder:
        said.append(("trapped powder", powder_line(result.trapped_powder)))
    return tuple(said)


@dataclass(frozen=True)
class Joint:
    """The worse of the two faces at which a stray sheet hangs together with the part.

    Attributes
    ----------
    stray : int
    height_mm, metal_mm2, nominal_mm2, share : float
    gap : Unmelted or None
        The powder that is in its way.
    """

    stray: int
    height_mm: float
    metal_mm2: float
    nominal_mm2: float
    share: float
    gap: Unmelted | None


def joints(result: Result) -> tuple[Joint, ...]:
    """The joint of each stray sheet, the worst first."""
    gaps = {gap.stray: gap for gap in result.unmelted if not gap.joint}
    worst: dict[int, JointResult] = {}
    for row in result.resumed_section:
        known = worst.get(row["stray"])
        if known is None or row["share"] < known["share"]:
            worst[row["stray"]] = row
    found = [
        Joint(
            stray,
            row["height_mm"],
            row["metal_area_mm2"],
            row["nominal_area_mm2"],
            row["share"],
            gaps.get(stray),
        )
        for stray, row in worst.items()
    ]
    return tuple(sorted(found, key=lambda joint: joint.share))


def joint_share(joint: Joint) -> str:
    """Share of a joint that hangs together, rounded down: never more than there is."""
    return "all" if joint.share >= WHOLE_JOINT else f"{math.floor(100.0 * joint.share + 1e-9)} %"


def joint_line(joint: Joint) -> str:
    """How much of a joint hangs together, in words."""
    return (
        f"{joint_share(joint)} of the section is joined at z {joint.height_mm:.2f}: "
        f"{joint.metal_mm2:.1f} of {joint.nominal_mm2:.1f} mm2{not_joined(joint)}"
    )


def not_joined(joint: Joint) -> str:
    """What keeps the rest of a joint apart, and where; nothing where it is whole."""
    if joint.share >= WHOLE_JOINT:
        return ""
    if joint.gap is None:
        return "; the rest does not lie on the metal below it"
    x, y, _ = joint.gap.where_mm
    thick = joint.gap.thickness_mm
    return (
        f"; {joint.gap.area_mm2:.1f} mm2 stayed powder {thick:.2f} mm thick, around "
        f"x {x:.1f}, y {y:.1f}"
    )


MOST_VOIDS = 3
"""Voids with powder that a line names one by one."""


def powder_line(found: Sequence[TrappedPowder]) -> str:
    """All powder that is shut in, in words: how much, and where the most of it is."""
    volume = sum(t.volume_mm3 for t in found)
    low = [t.mass_low_g for t in found if t.mass_low_g is not None]
    high = [t.mass_high_g for t in found if t.mass_high_g is not None]
    mass = "mass unknown, no density"
    if len(low) == len(high) == len(found):
        mass = f"{rounded_down(sum(low), 2)} to {_up(sum(high), 2)} g"
    most = sorted(found, key=lambda t: -t.volume_mm3)[:MOST_VOIDS]
    where = "; ".join(
        f"{f'{t.volume_mm3:.1f} mm3 ' if len(found) > 1 else ''}between "
        f"{' and '.join(t.between)} at {_point(t.centre_mm)}"
        f"{', in ' + ', '.join(t.passages) if t.passages else ''}"
        for t in most
    )
    more = len(found) - len(most)
    voids = f" in {len(found)} voids" if len(found) > 1 else ""
    others = f"; and {more} smaller" if more else ""
    return f"{mass} ({volume:.1f} mm3){voids}, {CAN_IGNITE}: {where}{others}"


def signs_lines(signs: Signs | None) -> list[str]:
    """What can be measured on the part, a line each."""
    if signs is None:
        return []
    lines = [
        f"metal added: {signs.volume_added_mm3:.1f} mm3{_weighed(signs)}",
        f"height added: {signs.height_added_mm:.3f} mm",
        f"stands out of the side by {signs.outside_overhang_mm:.2f} mm{_overhang(signs)}",
    ]
    for pin in signs.gauge_pins:
        now, nominal = stop_words(pin.stops_at_mm), stop_words(pin.nominal_stops_at_mm)
        before = "as in the nominal part" if now == nominal else f"in the nominal part it {nominal}"
        lines.append(f"gauge pin {pin.pin_diameter_mm:.2f} mm in {pin.port}: {now}, {before}")
    return [*lines, *map(_ball, signs.balls)]


def _weighed(signs: Signs) -> str:
    share = f", {signs.share_of_part:.2%} of the part"
    if signs.mass_added_g is None:
        return share
    shown = ""
    if signs.balance_resolution_g is not None and signs.mass_scatter_g is not None:
        hidden = "more than" if signs.weighing_tells else "hidden in"
        shown = (
            f"; a balance that reads {signs.balance_resolution_g:g} g shows it, {hidden} the "
            f"scatter of good parts (about {signs.mass_scatter_g:.2g} g)"
        )
    return f", {signs.mass_added_g:.2f} g{share}{shown}"


def _overhang(signs: Signs) -> str:
    at, turn = signs.outside_overhang_at_mm, signs.outside_overhang_turn_deg
    if at is None or turn is None:
        return ""
    return f", most at {_point(at)} towards {turn:.0f} deg from +x"


def _ball(ball: Ball) -> str:
    nominal, predicted = (
        "none passes" if d is None else f"{in_words(d)} passes"
        for d in (ball.passes_nominal_mm, ball.passes_predicted_mm)
    )
    if ball.tells_mm is not None:
        tells = f"{in_words(ball.tells_mm)} tells the two apart"
    elif ball.residual_mm is not None:
        tells = f"none tells the two apart, {ball.residual_mm:.2f} mm at most between them"
    else:
        tells = "none tells the two apart"
    return f"stock ball in {ball.passage}: nominally {nominal}, predicted {predicted}; {tells}"


def stop_words(depth_mm: float | None) -> str:
    """Where a gauge pin stops, in words."""
    return "goes through" if depth_mm is None else f"stops at {depth_mm:.1f} mm"


def _resumed(joint: JointResult) -> str:
    said = [
        f"z {joint['height_mm']:.3f} mm, metal {joint['metal_area_mm2']:.1f} mm2 of "
        f"{joint['nominal_area_mm2']:.1f} ({joint['share']:.1%})"
    ]
    if joint["gap_mm"] > 0.0:
        said.append(f"may be unmelted, {joint['gap_mm']:.2f} mm of powder left")
    said += [
        f"centre x {joint['centre_x_mm']:.2f} y {joint['centre_y_mm']:.2f}",
        f"Ixx {joint['Ixx_mm4']:.4g} mm4",
        f"Iyy {joint['Iyy_mm4']:.4g} mm4",
        f"Ixy {joint['Ixy_mm4']:.4g} mm4",
        f"J {joint['J_mm4']:.4g} mm4 (+/- {joint['J_uncertainty_mm4']:.1g})",
    ]
    return ", ".join(said)


def _disposition(found: DispositionResult | None, width: int, paint: Paint) -> str:
    if found is None:
        return ""
    concession = ", by concession" if found.concession else ""
    word = paint(found.recommendation, found.recommendation)
    parts = [
        f"recommendation: {word}{concession}",
        _block("reasons", found.reasons, width),
        _block("order of work", _numbered(found.order_of_work), width),
        _block("would settle it", found.settled_by, width),
    ]
    return "\n".join(part for part in parts if part)


def _numbered(items: Iterable[str]) -> list[str]:
    return [f"{n}. {item}" for n, item in enumerate(items, 1)]


# ---- numbers ---------------------------------------------------------------------------------


def _length(value: float, least: int) -> str:
    """A given length: as many decimals as it was given, at least some."""
    short = f"{value:.6g}"
    decimals = len(short.partition(".")[2]) if "e" not in short else least
    return f"{value:.{max(decimals, least)}f}"


def _height(value: float) -> str:
    return f"{value:.3f}".rstrip("0").rstrip(".")


def _point(at: Sequence[float]) -> str:
    x, y, z = (_height(float(round(value, 2)) + 0.0) for value in at)
    return f"({x}, {y}, {z})"
