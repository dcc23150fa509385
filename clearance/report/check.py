"""The result in words, for people at a terminal.

In: a `Result`. Out: one string of lines that fit the width. It judges nothing:
what is not in the result is not in the text. Numbers carry no more digits than
their bracket supports; the JSON has them all.
"""

from __future__ import annotations

import math
import textwrap
from collections.abc import Callable, Iterable, Sequence

from clearance.report.drilling import drilling_lines
from clearance.report.joints import WHOLE_JOINT, joint_line, joints
from clearance.report.powder import powder_line, signs_lines, trapped_line
from clearance.result import (
    STATES,
    ClearDiameter,
    CrossingResult,
    DispositionResult,
    JointResult,
    Margin,
    PassageResult,
    Result,
    SeparateResult,
    State,
    Unmelted,
)
from clearance.verdict.numbers import (
    bracket,
    decimals_to_tell,
    height,
    length,
    point,
    rounded_down,
    rounded_up,
)

WIDTH = 88
"""Columns of the text where the terminal does not say otherwise."""
NAMEWORTHY = 0.995
"""A crossing that keeps more of its area than this is only counted."""
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
        _block("drilling", drilling_lines(result.passages), width),
        _block("separate circuits", map(separate_line, result.separate), width),
        _block("unmelted", map(unmelted_line, result.unmelted), width),
        _block("trapped powder", map(trapped_line, result.trapped_powder), width),
        _block("signs on the part", signs_lines(result.signs), width),
        _block("resumed section", map(_resumed, result.resumed_section), width),
        _block("second opinion", result.second_opinion, width),
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
            length(p.required_mm, 2),
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
    return bracket(low, high, required_mm, decimals_to_tell(high - low))


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
    heights = list(dict.fromkeys(height(c.height_mm) for c in hurt))
    return [f"stray sheet at z {', '.join(heights)}"] if heights else []


def _reasons(passage: PassageResult) -> list[str]:
    # That enough passes is said by the numbers of an open passage; the rest is news. With a
    # mesh_tolerance they do not say it.
    told = passage.clear_diameter_mm.low >= passage.required_mm
    return list(passage.reasons[1:] if passage.state is State.OPEN and told else passage.reasons)


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
    place = f"stray {crossing.stray} at {point(crossing.centre_mm)}"
    if crossing.sealed:
        return f"{place}, sealed ({area})"
    loss = ""
    if crossing.loss_coefficient is not None:
        loss = f", loss coefficient {crossing.loss_coefficient:.2f}"
    most = rounded_up(crossing.clear_diameter_mm, 2)
    share = min(crossing.open_fraction, 0.99)  # never shown as all of it when it is not
    return f"{place}, {area} ({share:.0%}), at most {most} mm passes{loss}"


def separate_line(found: SeparateResult) -> str:
    """Whether circuits stayed apart, in words."""
    names = " and ".join(found.passages)
    through = f" through {'an unmelted gap' if found.through == 'unmelted' else found.through}"
    where = f" at {point(found.where_mm)}" if found.where_mm is not None else ""
    nominal = "" if found.nominal_state == "apart" else f" (nominal part: {found.nominal_state})"
    return f"{names}: {found.state}{through if found.through else ''}{where}{nominal}"


def unmelted_line(found: Unmelted) -> str:
    """A gap that stayed powder, in words."""
    joins = "; ".join(" and ".join(pair) for pair in found.joins)
    what = ", the joint itself" if found.joint else ""
    thick = rounded_up(found.thickness_mm, 2)
    return (
        f"stray {found.stray}{what}: {found.area_mm2:.1f} mm2, up to {thick} mm "
        f"thick, at {point(found.where_mm)}; joins {joins or 'nothing'}"
    )


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
            f"{rounded_up(gap.thickness_mm, 2)} mm of powder at z {gap.where_mm[2]:.2f}",
        )
        for gap in result.unmelted
        if gap.joint
    ]
    if result.trapped_powder:
        said.append(("trapped powder", powder_line(result.trapped_powder)))
    return tuple(said)


def _resumed(joint: JointResult) -> str:
    said = [
        f"z {joint['height_mm']:.3f} mm, metal {joint['metal_area_mm2']:.1f} mm2 of "
        f"{joint['nominal_area_mm2']:.1f} ({rounded_down(100.0 * joint['share'], 1)}%)"
    ]
    if joint["gap_mm"] > 0.0:
        said.append(f"may be unmelted, {rounded_up(joint['gap_mm'], 2)} mm of powder left")
    said += [
        f"centre x {joint['centre_x_mm']:z.2f} y {joint['centre_y_mm']:z.2f}",
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
