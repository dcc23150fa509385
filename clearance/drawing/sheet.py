"""The disposition sheet as data: what stands on it, before anything is drawn.

In: a case that has been examined. Out: `Sheet`: words, numbers, sections and curves, in
the order of the paper. It judges nothing; how it looks is left to `figures.first_page`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import clearance
from clearance.case.tables import PassageTable
from clearance.checking import Examined
from clearance.disposition.table import TABLE
from clearance.drawing.curve import Curve, curve
from clearance.drawing.drill import DrillSection, drill_sections
from clearance.drawing.level_parts import LevelSection
from clearance.drawing.level_words import WHOLE, input_hash
from clearance.drawing.sheet_facts import (
    METHOD,
    Fact,
    coefficients,
    event_facts,
    files,
    flow_lines,
    missed_loss,
    settings,
)
from clearance.drawing.sheet_sections import Sections, gravest_first, worst_crossing
from clearance.drilling.strokes import in_words
from clearance.heights import above_platform
from clearance.report.drilling import wall_words
from clearance.report.full import margin_line
from clearance.report.grave import besides, separate_line, unmelted_line
from clearance.report.headline import clear_diameter
from clearance.report.joints import joints
from clearance.report.powder import MOST_VOIDS, signs_lines, trapped_line
from clearance.result import (
    ClearDiameter,
    CrossingResult,
    DispositionResult,
    GaugePin,
    PassageResult,
    Result,
    Signs,
    State,
)
from clearance.verdict.numbers import rounded_down, rounded_up
from clearance.verdict.passage import PassageCheck
from clearance.verdict.prepared import Progress, silent

HOLD = ("HOLD", "this sheet does not release the part")
NOT_JUDGED = (
    "the joint at the resumed layer; leaks; roughness and dross; loose metal inside; the hazard of "
    "the powder"
)
BOXES = ("decision", "quality", "design authority", "customer")
"""Boxes to be filled in by hand; the last three with date and signature."""
MOST_PLACES = 3
"""Crossings that a row names; the passage's page has all."""


@dataclass(frozen=True)
class PassageRow:
    """What the first sheet says of one passage."""

    name: str
    state: State
    required: str
    computed: str
    where: str
    after: str
    check_with: str


@dataclass(frozen=True)
class CrossingRow:
    """One crossing, in words for a table."""

    number: str
    place: str
    open_area: str
    share: str
    passes: str


@dataclass(frozen=True, eq=False)
class PassagePage:
    """What is drawn and said of one passage that does not conform."""

    name: str
    title: str
    section: LevelSection | None
    curve: Curve
    drills: tuple[DrillSection, ...]
    crossings: tuple[CrossingRow, ...]
    reasons: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class Sheet:
    """All pages of a report.

    Attributes
    ----------
    identity : tuple of (key, value)
    finding, recommendation : tuple of str
        Clauses, the gravest first; as many are shown as two lines hold.
    besides : tuple of (key, text)
        Circuits not apart, joints not whole, trapped powder: none of it is ever left out.
    section : LevelSection or None
        Through the worst crossing, or through the worst joint where no crossing is narrowed.
    joint_sections : tuple of LevelSection
        Through joints that are not whole and that no other section shows.
    rows : tuple of PassageRow
    event : tuple of tuple of Fact
        Of each stray sheet.
    signs, conditions, order_of_work, settled_by, reasons, margins : tuple of str
    rules : tuple of (what was judged, row, when it holds, what follows)
        Rows of the table of rules that decided; they stand on the last pages alone.
    passages : tuple of PassagePage
        The nonconforming ones, the gravest first.
    """

    identity: tuple[tuple[str, str], ...]
    finding: tuple[str, ...]
    besides: tuple[tuple[str, str], ...]
    recommendation: tuple[str, ...]
    section: LevelSection | None
    rows: tuple[PassageRow, ...]
    event: tuple[tuple[Fact, ...], ...]
    signs: tuple[str, ...]
    conditions: tuple[str, ...]
    order_of_work: tuple[str, ...]
    settled_by: tuple[str, ...]
    reasons: tuple[str, ...]
    rules: tuple[tuple[str, str, str, str], ...]
    margins: tuple[str, ...]
    passages: tuple[PassagePage, ...]
    joint_sections: tuple[LevelSection, ...]
    files: tuple[tuple[str, str], ...]
    settings: tuple[Fact, ...]
    assumptions: tuple[str, ...]
    second_opinion: tuple[str, ...]
    notices: tuple[str, ...]
    cautions: tuple[str, ...]
    coefficients: tuple[str, ...]
    method: tuple[str, ...]
    footer: str
    on_plate: bool = False


def sheet(examined: Examined, progress: Progress = silent, on_plate: bool = False) -> Sheet:
    """Put together what is known of a part for the disposition meeting.

    On a plate equal parts share it: room is left for a label, and no serial number given.
    """
    checked, result = examined.checked, examined.on_paper
    case = checked.case
    decided = result.disposition
    bad = gravest_first(p for p in examined.result.passages if _fails(p))
    sections = Sections(examined)
    checks = {check.passage.name: check for check in examined.checks}
    pages = []
    for passage in bad:
        progress(f"drawing {passage.name}")
        pages.append(_page(checks[passage.name], passage, sections))
    return Sheet(
        identity=_identity(examined, on_plate),
        finding=finding(result),
        besides=besides(result),
        recommendation=recommendation(result, event=bool(case.stray)),
        section=sections.worst(),
        rows=tuple(_row(p, result) for p in gravest_first(result.passages)),
        event=event_facts(case, joints(result)),
        signs=tuple(signs_lines(result.signs)),
        conditions=_conditions(examined),
        order_of_work=grouped(decided.order_of_work, case.passage) if decided else (),
        settled_by=decided.settled_by if decided else (),
        reasons=_reasons_of(decided, bool(case.stray)),
        rules=rules(decided),
        margins=tuple(map(margin_line, result.margins or ())),
        passages=tuple(pages),
        joint_sections=sections.joints(),
        files=files(result),
        settings=settings(checked),
        assumptions=result.assumptions,
        second_opinion=result.second_opinion,
        notices=(*result.translations, *result.notices),
        cautions=result.cautions,
        coefficients=coefficients(result),
        method=METHOD,
        footer=f"{case.part.name}; clearance {clearance.__version__}; input {input_hash(checked)}",
        on_plate=on_plate,
    )


def _identity(examined: Examined, on_plate: bool) -> tuple[tuple[str, str], ...]:
    case = examined.checked.case
    record = case.record
    known = (
        ("part", case.part.name),
        ("drawing", record.drawing),
        ("revision", record.revision),
        ("serial", None if on_plate else record.serial),
        ("nonconformity", record.nonconformity),
        ("material", case.part.material),
    )
    return tuple((key, value) for key, value in known if value)


# ---- the finding and the recommendation --------------------------------------------------------


def finding(result: Result) -> tuple[str, ...]:
    """What was found of the passages, in clauses with numbers, the gravest first."""
    said = [_found(p) for p in gravest_first(result.passages) if _fails(p)]
    if not said:
        count = len(result.passages)
        all_open = {1: "the passage is open", 2: "both passages are open"}
        said = [all_open.get(count, f"all {count} passages are open")]
        said += [f"{p.name} {_computed(p)} mm, {p.required_mm:g} required" for p in result.passages]
    return tuple(said)


def _fails(passage: PassageResult) -> bool:
    """It is not open, or its pressure loss is not surely kept."""
    return passage.state is not State.OPEN or bool(missed_loss(passage))


def _found(passage: PassageResult) -> str:
    hurt = _hurt(passage)
    at = f" at z {', '.join(_heights(hurt))} mm" if hurt else ""
    if passage.state is State.OPEN:
        return f"{passage.name} wide enough{at}, but {missed_loss(passage)}"
    if passage.state is State.BLOCKED:
        return f"{passage.name} blocked{at}, {passage.required_mm:g} mm required"
    return (
        f"{passage.name} {passage.state.value}{at}: {_computed(passage)} mm clear, "
        f"{passage.required_mm:g} required"
    )


def recommendation(result: Result, event: bool = True) -> tuple[str, ...]:
    """What the rules recommend: the word, then the plans or the reasons."""
    decided = result.disposition
    if decided is None:
        return ()
    word = decided.recommendation.replace("-", " ")
    word += ", by concession" if decided.concession else ""
    plans = [_plan(p) for p in result.passages if p.rework is not None]
    said = list(decided.reasons[:-1])
    if decided.recommendation in ("rework", "repair") and plans:
        said = plans
    elif decided.recommendation == "not-affected":
        said = ["the event has left nothing in this part" if event else NO_EVENT]
    first, *others = said or [""]
    return (f"{word}: {first}" if first else word, *others)


NO_EVENT = "no event is given for this part"


def _reasons_of(decided: DispositionResult | None, event: bool) -> tuple[str, ...]:
    """Reasons as the rules give them; without an event none of them speaks of one."""
    if decided is None:
        return ()
    if event or decided.recommendation != "not-affected":
        return decided.reasons
    return (*decided.reasons[:-1], f"Not affected: {NO_EVENT}.")


def rules(decided: DispositionResult | None) -> tuple[tuple[str, str, str, str], ...]:
    """Rows of the table of rules that decided: what was judged, number, when it holds, and then."""
    if decided is None:
        return ()
    pairs = zip(decided.reasons, decided.rows, strict=False)
    return tuple(
        (reason.partition(":")[0], f"{row}", TABLE[row].holds, TABLE[row].then)
        for reason, row in pairs
        if row is not None
    )


def _plan(passage: PassageResult) -> str:
    assert passage.rework is not None
    strokes = " and ".join(f"a {in_words(stroke)}" for stroke in passage.rework.drilling)
    after = rounded_down(passage.rework.clear_diameter_after_mm, 2)
    wall = "".join(f", {said}" for said in wall_words(passage.rework))
    return f"{passage.name} by {strokes}, then {passage.rework.state_after}, {after} mm{wall}"


# ---- rows --------------------------------------------------------------------------------------


def _row(passage: PassageResult, result: Result) -> PassageRow:
    return PassageRow(
        passage.name,
        passage.state,
        f"{passage.required_mm:g}",
        _computed(passage),
        _where(passage),
        _after(passage),
        "\n".join([f"ball {passage.required_mm:g} must pass", *_telling(passage, result.signs)]),
    )


def _computed(passage: PassageResult) -> str:
    return clear_diameter(passage.clear_diameter_mm, passage.required_mm)


def _hurt(passage: PassageResult) -> list[CrossingResult]:
    found = [c for c in passage.crossings if c.sealed or c.open_fraction < WHOLE]
    return sorted(found, key=lambda c: (not c.sealed, c.open_fraction))


def _heights(crossings: Sequence[CrossingResult]) -> list[str]:
    heights = list(dict.fromkeys(f"{c.height_mm:.2f}" for c in crossings))
    more = len(heights) - MOST_PLACES
    return heights[:MOST_PLACES] + ([f"{more} more"] if more > 0 else [])


def _where(passage: PassageResult) -> str:
    hurt = _hurt(passage)
    if not hurt:
        return "nothing narrowed"
    said = [f"z {c.height_mm:.2f}, x {_xy(c)}: {_share(c)}" for c in hurt[:MOST_PLACES]]
    if len(hurt) > MOST_PLACES:
        said.append(f"and {len(hurt) - MOST_PLACES} more crossings")
    return "\n".join(said)


def _xy(crossing: CrossingResult) -> str:
    x, y, _ = (round(value, 1) + 0.0 for value in crossing.centre_mm)
    return f"{x:.1f}, y {y:.1f}"


def _share(crossing: CrossingResult) -> str:
    if crossing.sealed:
        return "sealed"
    return f"{min(round(100.0 * crossing.open_fraction), 99)}% open"


def _after(passage: PassageResult) -> str:
    if passage.rework is not None:
        after = rounded_down(passage.rework.clear_diameter_after_mm, 2)
        cut = ", wall cut" if passage.rework.cuts_wall else ""
        clash = ", but not with another plan" if passage.rework.conflicts else ""
        return f"{passage.rework.state_after}, {after}{cut}{clash}"
    if passage.why_not:
        return "no plan"
    return "–" if _fails(passage) else "none needed"


def _telling(passage: PassageResult, signs: Signs | None) -> list[str]:
    """Ball and pins that tell the predicted part from the nominal one; the same words once."""
    if signs is None:
        return []
    balls = [ball for ball in signs.balls if ball.passage == passage.name]
    said = [
        f"ball {b.tells_mm:.4g} stops (nominal: passes)" for b in balls if b.tells_mm is not None
    ]
    ends: dict[str, list[str]] = {}
    for end in ("inlet", "outlet"):
        for pin in signs.gauge_pins:
            if pin.port == f"{passage.name} {end}" and pin.tells_apart:
                ends.setdefault(_stop(pin), []).append(end)
    return said + [words.format(", ".join(found)) for words, found in ends.items()]


def _stop(pin: GaugePin) -> str:
    now, nominal = (_depth(at) for at in (pin.stops_at_mm, pin.nominal_stops_at_mm))
    return f"pin {pin.pin_diameter_mm:.2f}, {{}}: {now} (nominal: {nominal})"


def _depth(depth_mm: float | None) -> str:
    return "through" if depth_mm is None else f"{depth_mm:.1f}"


# ---- conditions --------------------------------------------------------------------------------


def _conditions(examined: Examined) -> tuple[str, ...]:
    """What holds now, what else was found, and whether a concession is needed."""
    result, state = examined.on_paper, examined.checked.case.state
    decided = result.disposition
    said = [
        f"concession needed: {'yes' if decided is not None and decided.concession else 'no'}; "
        f"on the platform: {'yes' if state.on_platform else 'no'}; "
        f"proven to be emptied: {'yes' if state.emptied else 'no'}; "
        f"heat treated: {'yes' if state.heat_treated else 'no'}",
    ]
    said += [f"circuits {separate_line(s)}" for s in result.separate]
    if len(result.trapped_powder) > MOST_VOIDS:
        said += [f"trapped powder, {trapped_line(t)}" for t in result.trapped_powder]
    said += [f"left unmelted, {unmelted_line(u)}" for u in result.unmelted]
    return tuple(said)


def grouped(steps: Sequence[str], passages: Sequence[PassageTable]) -> tuple[str, ...]:
    """Steps of work; neighbours that differ in the passage's name alone become one."""
    found: list[tuple[str, list[str], str]] = []
    for step in steps:
        name = max((p.name for p in passages if f" {p.name}" in step), key=len, default="")
        head, mark, tail = step.partition(f" {name}") if name else (step, "", "")
        if mark and found and (found[-1][0], found[-1][2]) == (head, tail):
            found[-1][1].append(name)
        else:
            found.append((head, [name] if mark else [], tail))
    return tuple(
        f"{head} {', '.join(names)}{tail}" if names else head for head, names, tail in found
    )


# ---- a passage's page --------------------------------------------------------------------------


def _page(check: PassageCheck, passage: PassageResult, sections: Sections) -> PassagePage:
    worst, shown = worst_crossing(passage), above_platform(passage, sections.base)
    disposition = sections.examined.result.disposition
    reasons = disposition.reasons if disposition else ()
    decided = tuple(
        f"recommendation: {text.removeprefix(f'{passage.name}: ')}"
        for text in reasons
        if text.startswith(f"{passage.name}: ")
    )
    return PassagePage(
        passage.name,
        _found(shown),
        None if worst is None else sections.zoomed(passage.name, worst),
        curve(check, passage),
        tuple(drill_sections(check, passage)),
        tuple(_crossing_row(n, c) for n, c in enumerate(shown.crossings)),
        (_room(passage), *_reasons(passage), *decided),
    )


def _crossing_row(number: int, crossing: CrossingResult) -> CrossingRow:
    x, y, z = (round(value, 2) + 0.0 for value in crossing.centre_mm)
    whole = crossing.open_fraction >= WHOLE and not crossing.sealed
    return CrossingRow(
        f"{number}, stray {crossing.stray}",
        f"z {crossing.height_mm:.2f} at ({x:.2f}, {y:.2f}, {z:.2f})",
        f"{crossing.open_area_mm2:.1f} of {crossing.nominal_area_mm2:.1f} mm²",
        "fully open" if whole else _share(crossing),
        "nothing" if crossing.sealed else f"at most {rounded_up(crossing.clear_diameter_mm, 2)} mm",
    )


def _room(passage: PassageResult) -> str:
    """Clear diameters with their brackets."""
    found = passage.clear_diameter_mm
    nominal = ClearDiameter(
        found.nominal,
        found.nominal,
        found.nominal_low,
        found.nominal_high,
        found.nominal_low,
        found.nominal_high,
    )
    return (
        f"clear diameter, mm: nominal {_bracket(found.nominal, nominal)}, "
        f"predicted {_bracket(found.predicted, found)}, {passage.required_mm:g} required"
    )


def _bracket(value: float, found: ClearDiameter) -> str:
    shown = clear_diameter(found)
    decimals = len(shown.rpartition(" ")[2].partition(".")[2])
    return f"{value:.{decimals}f} ({shown})" if " to " in shown else shown


def _reasons(passage: PassageResult) -> tuple[str, ...]:
    said = list(passage.reasons)
    if passage.why_not:
        said.append(f"no drilling plan: {passage.why_not}")
    said += [f"what would change that: {change.words}" for change in passage.what_would_change]
    if passage.settled_by:
        said.append("would settle it: " + "; ".join(passage.settled_by))
    return (*said, *flow_lines(passage))
