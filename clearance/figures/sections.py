"""What `clearance section` draws: level sections, curves and drill sections, in that order.

In: a case and what was asked of it. Out: figures, one a page, and the files of guide bushes.
"""

from __future__ import annotations

import difflib
from collections.abc import Sequence
from dataclasses import dataclass

from matplotlib.figure import Figure

from clearance.case.read import Case
from clearance.disposition.remedy import remedied
from clearance.drawing.curve import curve
from clearance.drawing.drill import drill_sections
from clearance.drawing.level import level_section
from clearance.drawing.level_words import passage_footer
from clearance.drawing.scan import Scan, scan_of
from clearance.drilling.guides import guides
from clearance.errors import ClearanceError
from clearance.evidence.powder import unmelted
from clearance.figures.along import curve_figure
from clearance.figures.level import level_figure
from clearance.figures.planes import drill_figure
from clearance.finished.shape import shape_of
from clearance.finished.told import finished_result
from clearance.result import PassageResult
from clearance.sweeps.variants import result_of
from clearance.verdict.circuits_apart import separate
from clearance.verdict.passage_check import PassageCheck
from clearance.verdict.prepared import Checked, Progress, prepare, silent


@dataclass(frozen=True)
class Asked:
    """Heights of level sections, and names of passages to follow and to drill.

    `guide`: guide bushes for what is drilled are asked for; `figures`: something is drawn.
    """

    heights: tuple[float, ...] = ()
    along: tuple[str, ...] = ()
    drill: tuple[str, ...] = ()
    guide: bool = False
    figures: bool = True


@dataclass(frozen=True)
class Drawn:
    """Figures, one a page; files of guide bushes by their names."""

    pages: tuple[Figure, ...]
    guides: dict[str, bytes]


def known_passages(case: Case, names: Sequence[str]) -> None:
    """Refuse a passage that the case does not have, and propose the nearest.

    Raises
    ------
    ClearanceError
    """
    known = [passage.name for passage in case.passage]
    for name in names:
        if name not in known:
            near = difflib.get_close_matches(name, known, 1, 0.0)
            raise ClearanceError(
                f"{case.path.name}: no passage {name!r}; did you mean {near[0]!r}?"
                if near
                else f"{case.path.name}: no passage {name!r}, expected one of {', '.join(known)}"
            )


def section_pages(
    case: Case, pitch_mm: float | None, asked: Asked, progress: Progress = silent
) -> Drawn:
    """Draw everything that is asked for.

    Raises
    ------
    ClearanceError
        A height at which there is no part, a passage that needs no drill, a bush that nothing
        carries.
    """
    checked = prepare(case, pitch_mm, progress)
    wanted = {*asked.along, *asked.drill}
    tables = [p for p in case.passage if asked.heights or p.name in wanted]
    checks = {p.name: PassageCheck(checked, p) for p in tables}
    results = {name: result_of(check, progress) for name, check in checks.items()}
    for name in wanted:
        results[name] = remedied(checks[name], results[name], progress).result
    bushes: dict[str, bytes] = {}
    if asked.guide:
        progress("guide bushes")
        bushes = guides([(checks[name], results[name]) for name in dict.fromkeys(asked.drill)])
    if not asked.figures:
        return Drawn((), bushes)
    progress("drawing")
    footer = passage_footer(checked)
    scan = scan_of(checked, progress) if asked.heights or asked.drill else None
    pages = []
    if asked.heights:
        judged = list(checks.values()), list(results.values())
        pages += _levels(checked, *judged, asked.heights, scan)
    pages += [curve_figure(curve(checks[name], results[name]), footer) for name in asked.along]
    for name in asked.drill:
        pages += _drills(checks[name], results[name], footer, scan)
    return Drawn(tuple(pages), bushes)


def _levels(
    checked: Checked,
    checks: list[PassageCheck],
    results: list[PassageResult],
    heights: Sequence[float],
    scan: Scan | None,
) -> list[Figure]:
    apart = []
    if checked.case.separate:
        predicted = checked.whole.predict(checked.unknowns.variants[0].events or ())
        routes = {check.passage.name: check.nominal.way.route for check in checks}
        gaps = unmelted(predicted, routes, checked.unknowns.others)
        apart = list(separate(checked, checks, gaps, silent))
    shape = finished_result(checked, shape_of(checked), silent)
    found = (level_section(checked, results, z, apart, finished=shape, scan=scan) for z in heights)
    return [level_figure(one) for one in found]


def _drills(
    check: PassageCheck, result: PassageResult, footer: tuple[str, ...], scan: Scan | None
) -> list[Figure]:
    found = drill_sections(check, result, scan)
    if not found:
        name = check.checked.case.path.name
        why = result.why_not or f"the passage is {result.state.value}"
        raise ClearanceError(f"{name}: no drilling plan for {result.name}: {why}")
    return [drill_figure(one, footer) for one in found]
