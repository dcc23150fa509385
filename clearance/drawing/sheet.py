"""The disposition sheet as data: what stands on it, before anything is drawn.

In: a case that has been examined. Out: `Sheet`: words, numbers, sections and curves, in
the order of the paper. It judges nothing; how it looks is left to `figures.first_page`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import groupby

import clearance
from clearance.axes import plan_words
from clearance.case.read import Case
from clearance.checking import Examined
from clearance.disposition.order_of_work import MOST_CHANGES
from clearance.disposition.rules import brief, deciding
from clearance.disposition.table import TABLE
from clearance.drawing.curve import Curve, curve
from clearance.drawing.drill import DrillSection, drill_sections
from clearance.drawing.laboratory import Laboratory, laboratory
from clearance.drawing.level_parts import LevelSection
from clearance.drawing.level_words import input_hash
from clearance.drawing.sheet_facts import (
    METHOD,
    Fact,
    coefficients,
    event_facts,
    files,
    flow_lines,
    settings,
)
from clearance.drawing.sheet_rows import PassageRow, around, row, share
from clearance.drawing.sheet_sections import Sections, worst_crossing
from clearance.drawing.shop import Shop, shop
from clearance.heights import above_platform
from clearance.report.costs import costs_lines
from clearance.report.full import margin_line
from clearance.report.grave import besides, separate_line, unmelted_line
from clearance.report.happened import happened
from clearance.report.headline import (
    Extents,
    Headline,
    extents,
    fails,
    fault,
    gravest_first,
    headline,
    unclear,
    wrong,
)
from clearance.report.joints import joints
from clearance.report.powder import MOST_VOIDS, signs_lines, trapped_line
from clearance.report.readings import reading_line
from clearance.report.scan import scan_lines
from clearance.result import (
    CrossingResult,
    DispositionResult,
    PassageResult,
    Result,
)
from clearance.verdict.numbers import NAMEWORTHY, given, level, most, near, span
from clearance.verdict.passage_check import PassageCheck
from clearance.verdict.prepared import Progress, silent

HOLD = ("HOLD", "this sheet does not release the part")
NOT_JUDGED = "strength of the joint, tightness, roughness and dross, loose metal, kind of powder"
POWDER = "trapped powder"
"""What can hurt whoever works on the part comes first."""
BOXES = ("decision", "quality", "design authority", "customer")
"""Boxes to be filled in by hand; the last three with date and signature."""


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
    title_block : tuple of (key, value)
        Fields after ISO 7200; an empty value is left to be written in.
    headline : Headline
        The recommendation: its word is the largest of the sheet.
    wrong : tuple of str
        What is wrong with the passages, the gravest first.
    why : tuple of str
        The gravest reason where no plan and no question tells it.
    besides : tuple of (key, text)
        Circuits not apart, joints not whole, trapped powder: none of it is ever left out.
    happened : tuple of str
        A sentence for each stray sheet.
    condition : str
        What was done with the part until now.
    frame : str
        What heights and layers are counted from.
    section : LevelSection or None
        Through the worst crossing, or through the worst joint where no crossing is narrowed.
    leak_sections : tuple of LevelSection
        Through places where circuits that must stay apart are joined or may be.
    joint_sections : tuple of LevelSection
        Through joints that are not whole and that no other section shows.
    rows : tuple of PassageRow
    event : tuple of tuple of Fact
        Of each stray sheet.
    signs, conditions, readings, order_of_work, settled_by, reasons, margins : tuple of str
    rules : tuple of (what was judged, row, when it holds, what follows)
        Rows of the table of rules that decided; they stand on the last pages alone.
    passages : tuple of PassagePage
        The nonconforming ones, the gravest first.
    """

    identity: tuple[tuple[str, str], ...]
    title_block: tuple[tuple[str, str], ...]
    headline: Headline
    wrong: tuple[str, ...]
    why: tuple[str, ...]
    besides: tuple[tuple[str, str], ...]
    happened: tuple[str, ...]
    condition: str
    frame: str
    section: LevelSection | None
    rows: tuple[PassageRow, ...]
    event: tuple[tuple[Fact, ...], ...]
    signs: tuple[str, ...]
    conditions: tuple[str, ...]
    readings: tuple[str, ...]
    order_of_work: tuple[str, ...]
    settled_by: tuple[str, ...]
    reasons: tuple[str, ...]
    rules: tuple[tuple[str, str, str, str], ...]
    margins: tuple[str, ...]
    passages: tuple[PassagePage, ...]
    leak_sections: tuple[LevelSection, ...]
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
    laboratory: Laboratory | None = None
    shop: Shop | None = None
    costs: tuple[str, ...] = ()
    scan: tuple[str, ...] = ()


def sheet(examined: Examined, progress: Progress = silent, on_plate: bool = False) -> Sheet:
    """Put together what is known of a part for the disposition meeting.

    On a plate equal parts share it: room is left for a label, and no serial number given.
    """
    checked, result = examined.checked, examined.on_paper
    case = checked.case
    decided = result.disposition
    sections, sheets = Sections(examined), extents(result)
    worst = sections.worst()
    checks = {check.passage.name: check for check in examined.checks}
    pages = []
    for passage in gravest_first(examined.result.passages):
        if fails(passage) or unclear(passage):
            progress(f"drawing {passage.name}")
            pages.append(_page(checks[passage.name], passage, sections, sheets))
    return Sheet(
        identity=_identity(examined, on_plate),
        title_block=_title_block(case),
        headline=headline(result, event=bool(case.stray)),
        wrong=wrong(result),
        why=_why(decided),
        besides=tuple(sorted(besides(result), key=lambda said: said[0] != POWDER)),
        happened=happened(case.stray),
        condition=_condition(case, result),
        frame=_frame(case, on_plate),
        section=worst,
        rows=tuple(row(p, result, sheets) for p in gravest_first(result.passages)),
        event=event_facts(case, joints(result)),
        signs=tuple(signs_lines(result.signs)),
        conditions=_conditions(result),
        readings=tuple(map(reading_line, result.readings)),
        order_of_work=decided.order_of_work if decided else (),
        settled_by=decided.settled_by if decided else (),
        reasons=decided.reasons if decided else (),
        rules=rules(decided),
        margins=tuple(map(margin_line, result.margins or ())),
        passages=tuple(pages),
        leak_sections=tuple(one for one in sections.leaks() if one is not worst),
        joint_sections=sections.joints(),
        files=files(result),
        settings=settings(checked),
        assumptions=result.assumptions,
        second_opinion=result.second_opinion,
        notices=(*result.translations, *result.notices),
        cautions=result.cautions,
        coefficients=coefficients(result),
        method=METHOD,
        footer=f"{case.part.name}; program clearance {clearance.__version__}; input "
        f"{input_hash(checked)}",
        on_plate=on_plate,
        laboratory=laboratory(examined),
        shop=shop(examined),
        costs=tuple(costs_lines(result.costs)),
        scan=tuple(scan_lines(result)),
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
        ("material", case.part.material or "not given"),
    )
    return tuple((key, value) for key, value in known if value)


def _title_block(case: Case) -> tuple[tuple[str, str], ...]:
    """Fields of a title block after ISO 7200; who approves it signs on the first page."""
    record = case.record
    return (
        ("legal owner", record.owner or ""),
        ("document no.", record.document or ""),
        ("date of issue", record.issued or ""),
        ("prepared by", record.prepared_by or ""),
        ("approved by", ""),
    )


# ---- the recommendation ------------------------------------------------------------------------


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


def _why(decided: DispositionResult | None) -> tuple[str, ...]:
    """What led to scrap or use as is, in brief, and for whom; all reasons stand behind."""
    if decided is None or decided.recommendation not in ("scrap", "use-as-is"):
        return ()
    return tuple(f"{said}; all reasons on page 2" for said in deciding(decided)[:1])


# ---- conditions --------------------------------------------------------------------------------


def _condition(case: Case, result: Result) -> str:
    """What was done with the part until now; that no powder is trapped."""
    state = case.state
    told = result.trapped_powder or not case.stray
    none_trapped = "" if told else "; no powder computed to be trapped"
    said = "; ".join(
        words if done else not_yet
        for done, words, not_yet in (
            (state.emptied, "proven to be empty of powder", "not proven to be empty of powder"),
            (state.on_platform, "still on the platform", "off the platform"),
            (state.heat_treated, "heat treated", "not heat treated"),
        )
    )
    return f"{said}{none_trapped}"


def _frame(case: Case, on_plate: bool) -> str:
    """What heights and places on the sheet mean."""
    layer = f"layers of {given(case.part.layer_thickness)} mm, counted from 0"
    plan = plan_words(case.part.build_direction)
    turn = ", before the part's turn on the plate" if on_plate else ""
    return f"z in mm above the platform, {plan}{turn}; {layer}"


def _conditions(result: Result) -> tuple[str, ...]:
    """What else was found."""
    said = [f"circuits {separate_line(s)}" for s in result.separate]
    if len(result.trapped_powder) > MOST_VOIDS:
        said += [f"trapped powder, {trapped_line(t)}" for t in result.trapped_powder]
    said += [f"left unmelted, {unmelted_line(u)}" for u in result.unmelted]
    return tuple(said)


# ---- a passage's page --------------------------------------------------------------------------


def _page(
    check: PassageCheck, passage: PassageResult, sections: Sections, sheets: Extents
) -> PassagePage:
    worst, shown = worst_crossing(passage), above_platform(passage, sections.base)
    disposition = sections.examined.result.disposition
    reasons = disposition.reasons if disposition else ()
    decided = tuple(
        f"recommendation: {brief(text).removeprefix(f'{passage.name}: ')}"
        for text in reasons
        if text.startswith(f"{passage.name}: ")
    )
    return PassagePage(
        passage.name,
        f"{passage.name} {fault(shown, sheets)}",
        None if worst is None else sections.zoomed(passage.name, worst),
        curve(check, passage),
        tuple(drill_sections(check, passage, sections.scan)),
        _crossing_rows(shown.crossings),
        (_room(passage), *_reasons(passage), *decided),
    )


def _crossing_rows(crossings: Sequence[CrossingResult]) -> tuple[CrossingRow, ...]:
    """A row a crossing; of very many those that follow each other and read alike are one."""
    rows = [(_crossing_row(n, c), c) for n, c in enumerate(crossings, 1)]
    if len(rows) <= MOST_CROSSINGS:
        return tuple(row for row, _ in rows)
    found: list[CrossingRow] = []
    at = 1
    for _, group in groupby(rows, lambda one: (one[1].stray, one[0].open_area, one[0].passes)):
        alike = list(group)
        first, crossing = alike[0]
        if len(alike) > 1:
            these = [c for _, c in alike]
            number = f"{at} to {at + len(alike) - 1}, sheet {crossing.stray + 1}"
            place = f"{level(c.height_mm for c in these)}, {around(these)}"
            first = replace(first, number=number, place=place)
        found.append(first)
        at += len(alike)
    return tuple(found)


MOST_CROSSINGS = 12
"""Crossings that have a row each, whatever they are like."""


def _crossing_row(number: int, crossing: CrossingResult) -> CrossingRow:
    x, y, z = (round(value, 2) + 0.0 for value in crossing.centre_mm)
    whole = crossing.open_fraction >= NAMEWORTHY and not crossing.sealed
    return CrossingRow(
        f"{number}, sheet {crossing.stray + 1}",
        f"z {crossing.height_mm:.2f} at ({x:.2f}, {y:.2f}, {z:.2f})",
        f"{crossing.open_area_mm2:.1f} of {crossing.nominal_area_mm2:.1f} mm2",
        "fully open" if whole else share(crossing),
        "nothing" if crossing.sealed else f"at most {most(crossing.clear_diameter_mm)} mm",
    )


def _room(passage: PassageResult) -> str:
    """Clear diameters with their brackets."""
    found, need = passage.clear_diameter_mm, passage.required_mm
    nominal = _bracket(found.nominal, span(found.nominal_low, found.nominal_high, need))
    predicted = _bracket(found.predicted, span(found.low, found.high, need))
    return f"clear diameter, mm: nominal {nominal}, predicted {predicted}, {given(need)} required"


def _bracket(value: float, shown: str) -> str:
    return f"{near(value)} ({shown})" if " to " in shown else shown


def _reasons(passage: PassageResult) -> tuple[str, ...]:
    said = list(passage.reasons)
    if passage.why_not:
        said.append(f"no drilling plan: {passage.why_not}")
    changes = passage.what_would_change
    said += [f"what would change that: {change.words}" for change in changes[:MOST_CHANGES]]
    if len(changes) > MOST_CHANGES:
        said.append(f"and {len(changes) - MOST_CHANGES} more ways of that kind, in the JSON")
    if passage.settled_by:
        said.append("needed to decide: " + "; ".join(passage.settled_by))
    return (*said, *flow_lines(passage))
