"""The check: from a part that is read to a result, its steps in order.

In: `Checked`, as `verdict.prepared.prepare` gives it. Out: `Examined`. Long work reports through
`progress`, a callable that takes a sentence; it is silent by default.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace
from functools import partial
from itertools import groupby

import numpy as np

from clearance.axes import in_mesh_axes
from clearance.disposition.costs import costs
from clearance.disposition.remedy import Remedied, disposition, judged_together, remedied
from clearance.drilling.pieces import pieces
from clearance.evidence.balls import balls
from clearance.evidence.powder import packing_over, trapped_over, unmelted
from clearance.evidence.resumed import resumed_sections
from clearance.evidence.signs import signs
from clearance.finished.shape import shape_of
from clearance.finished.told import finished_result
from clearance.heights import above_platform
from clearance.inspection.methods import inspected
from clearance.inspection.targets import Target, targets
from clearance.passages.window_cells import MOST_CELLS
from clearance.predicted.part import NOMINAL
from clearance.predicted.slabs import offset
from clearance.readings.answer import answers, carried_out
from clearance.readings.scan import scan_answers
from clearance.readings.scan_sheets import sheets_seen
from clearance.readings.unknowns import assumptions as of_heights
from clearance.result import (
    Drilling,
    GaugePin,
    JointResult,
    PassageResult,
    Result,
    SeparateResult,
    Signs,
    TrappedPowder,
    Unmelted,
)
from clearance.scanned.laid import Laid, in_doubt, laid
from clearance.sweeps.variants import result_of
from clearance.system.once import Kept
from clearance.system.processes import processors
from clearance.verdict.circuits_apart import separate
from clearance.verdict.confirmed import in_words, not_asked, verified
from clearance.verdict.passage_check import PassageCheck
from clearance.verdict.prepared import Checked, Progress, silent
from clearance.verdict.reading_words import OTHERS

MOST_THREADS = 4
"""Passages side by side at most: each needs a window's memory."""

BYTES_A_CELL = 7.0
"""What a window takes while ways are sought in it, about: 5 a cell, and 14 more of void."""

ERODING = (
    "Sparks ignite powder and the vapour of some dielectrics: no spark erosion before the part is "
    "proven to be empty; it leaves a recast layer, which loads in fatigue do not forgive."
)
CAUTIONS = (
    "The recommendation is for the responsible engineer and the applicable codes; "
    "this result does not release the part.",
    "Loose metal powder can be reactive and is harmful to breathe: remove it under the local "
    "rules before heat treatment or drilling.",
    "Drilling into trapped powder can ignite it.",
    "The resumed layer is a possible weak plane, which this program does not qualify.",
    "Parts under pressure need proof testing.",
)


@dataclass(frozen=True, eq=False)
class Examined:
    """A case that is judged: the result, and what drawings of it need.

    Where the case has a build direction, `result` is in the platform's axes, as all that is
    computed; `in_mesh_axes` is what is written.
    """

    checked: Checked
    checks: tuple[PassageCheck, ...]
    result: Result
    scan: Laid | None = None

    @property
    def on_paper(self) -> Result:
        """The result with every z above the platform, for words and pictures."""
        return above_platform(self.result, self.checked.platform_z)

    @property
    def in_mesh_axes(self) -> Result:
        """The result with every place and direction in the mesh's axes, as files have them."""
        return in_mesh_axes(self.result, self.checked.case.part.build_direction)


def judge(
    checked: Checked,
    progress: Progress = silent,
    threads: int | None = None,
    verify: bool | None = False,
    memory_gib: float | None = None,
) -> Examined:
    """Judge a part that is read: what follows `prepare`, in order.

    Parameters
    ----------
    checked : Checked
        As `prepare` gives it: part, ports, columns, and what the event may have left.
    progress : callable, optional
        Called with a sentence before each longer step.
    threads : int, optional
        Passages looked at side by side; default: as many as there are processors to
        use, at most four. The result does not depend on it.
    verify : bool, optional
        Ask a second opinion, which shares no code with the check (docs/method.md); None: up to a
        fixed size of the part.
    memory_gib : float, GiB, optional
        Memory to get by with. It orders the work and never the pitch.
    """
    shape = shape_of(checked)  # first: a file that does not belong to the part ends it
    checks = tuple(PassageCheck(checked, p) for p in checked.case.passage)
    seen = _seen(
        checked, checks, progress, threads, memory_gib
    )  # passages, reach and flow; powder, signs
    remedies = judged_together(checked, seen.remedies)
    circuits = separate(checked, checks, seen.unmelted, progress)
    result = _told(checked, remedies, seen, circuits)
    to_see = targets(checked, checks, result)
    result = replace(result, inspection=inspected(checked, checks, result, to_see, progress))
    strainer = checked.case.drilling.strainer
    result = _with_pieces(result, to_see, checked.case.part.density_g_cm3, strainer)
    result = _asked_again(checked, checks, result, verify, progress)
    reached = {remedy.result.name: remedy.reached for remedy in remedies}
    measured = laid(checked, checks, result.passages, progress)
    result = _with_scan(checked, result, measured)
    result = replace(result, finished=finished_result(checked, shape, progress))
    own = answers(checked, result)
    result = replace(result, readings=(*own, *scan_answers(checked, result)))
    decided = disposition(checked, result, reached)
    result = replace(result, disposition=decided)
    result = replace(result, costs=costs(checked.case.costs, result))
    done = carried_out(result, checked.case.reading, own)
    result = replace(result, disposition=replace(decided, carried_out=done))
    return Examined(checked, checks, result, measured)


# ---- steps -------------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Seen:
    """What is looked at side by side: neither needs the other."""

    remedies: list[Remedied]
    pins: tuple[GaugePin, ...]
    unmelted: list[Unmelted]
    trapped: list[TrappedPowder]
    signs: Signs
    sections: tuple[JointResult, ...]


def _seen(
    checked: Checked,
    checks: Sequence[PassageCheck],
    progress: Progress,
    threads: int | None,
    memory_gib: float | None,
) -> _Seen:
    events = checked.unknowns.variants[0].events or ()
    nominal, predicted = checked.whole.predict(NOMINAL), checked.whole.predict(events)
    density = checked.case.part.density_g_cm3

    def passage(check: PassageCheck) -> tuple[Remedied, list[GaugePin]]:
        return remedied(check, result_of(check, progress), progress), check.gauge_pins()

    def powder() -> tuple[list[Unmelted], list[TrappedPowder]]:
        progress("loose powder, and what the part would show")
        routes = {c.passage.name: c.nominal.way.route for c in checks}
        others = checked.unknowns.others
        packing = packing_over(checked.case.stray)
        shut_in = trapped_over(predicted, nominal, routes, density, packing, others)
        return unmelted(predicted, routes, others), shut_in

    # The largest passage first, or it would run on alone at the end.
    by_size = sorted(checks, key=lambda one: one.size(), reverse=True)
    abreast = min(processors(), MOST_THREADS, _fitting(by_size, memory_gib))
    with ThreadPoolExecutor(threads or abreast) as pool:
        try:
            for work in _together(by_size, memory_gib):
                pool.submit(work)
            shown = pool.submit(signs, predicted, nominal, density)
            looks = {id(one): pool.submit(passage, one) for one in by_size}
            loose, joints = pool.submit(powder), pool.submit(resumed_sections, predicted)
            found = [looks[id(one)].result() for one in checks]
            pins = tuple(pin for _, felt in found for pin in felt)
            # In here: what waits is cancelled.
            remedies = [remedy for remedy, _ in found]
            return _Seen(remedies, pins, *loose.result(), shown.result(), joints.result())
        finally:
            pool.shutdown(cancel_futures=True)


def _together(
    by_size: Sequence[PassageCheck], memory_gib: float | None = None
) -> list[Callable[[], None]]:
    """The nominal part for passages that share a void, while its cells are kept for all of them.

    Where these would not fit each passage makes its own.
    """
    most = MOST_CELLS if memory_gib is None else memory_gib * 2**30 / BYTES_A_CELL
    found: list[Callable[[], None]] = []
    for _, sharing in groupby(sorted(by_size, key=_window), key=_window):
        checks = list(sharing)
        kept = len(checks) > 1 and _cells(checks[0]) <= most
        for check in checks if kept else ():
            cells = check.window(check.checked.pitch_mm).predict(NOMINAL).dense
            cells.hold()
            found.append(partial(_nominal, check, cells))
    return found


def _window(check: PassageCheck) -> int:
    return id(check.window(check.checked.pitch_mm))


def _nominal(check: PassageCheck, cells: Kept) -> None:
    try:
        _ = check.nominal
    finally:
        cells.let_go()


def _cells(check: PassageCheck) -> float:
    return check.size() / check.checked.pitch_mm**3


def _fitting(by_size: Sequence[PassageCheck], memory_gib: float | None = None) -> int:
    """How many of the passages, the largest first, may be looked at side by side.

    The cells of all together are then no more than one window may have, or than fit into a given
    memory; without one two always are.
    """
    most = MOST_CELLS if memory_gib is None else memory_gib * 2**30 / BYTES_A_CELL
    count = int(np.searchsorted(np.cumsum([*map(_cells, by_size)]), most, side="right"))
    return max(2 if memory_gib is None else 1, count)


def _told(
    checked: Checked,
    remedies: list[Remedied],
    seen: _Seen,
    circuits: tuple[SeparateResult, ...],
) -> Result:
    """The result but for second opinion, disposition and margins."""
    case = checked.case
    passages = tuple(remedy.result for remedy in remedies)
    sizes = balls(passages, case.part.build_allowance, case.part.mesh_tolerance)
    others = () if case.suspected is None else (OTHERS,)
    notices = (*others, *checked.frame_notice, *case.notices, *checked.notices)
    notices = (*notices, *_cut_ports(checked))
    return Result(
        part=case.part.name,
        pitch_mm=checked.pitch_mm,
        passages=passages,
        separate=circuits,
        unmelted=tuple(seen.unmelted),
        trapped_powder=tuple(seen.trapped),
        signs=replace(seen.signs, gauge_pins=seen.pins, balls=sizes),
        resumed_section=seen.sections,
        translations=case.translations,
        assumptions=(*checked.assumptions, *of_heights(case)),
        mesh_chord_mm=checked.chord_mm or None,
        notices=tuple(dict.fromkeys(notices)),
        cautions=(*CAUTIONS, *([ERODING] if any(map(_eroded, passages)) else [])),
        inputs=checked.inputs,
    )


def _eroded(passage: PassageResult) -> bool:
    """Whether its plan is one of spark erosion."""
    plan = passage.rework
    return plan is not None and any(one.tool == "electrode" for one in plan.drilling)


def _with_pieces(
    result: Result, seen: Sequence[Target], density: float | None, strainer: float
) -> Result:
    """Fill in what each drilling operation sets loose, and what it leaves."""
    known = {(one.passage, one.number): one for one in seen if one.kind == "crossing"}

    def told(passage: PassageResult, operation: Drilling) -> Drilling:
        found = []
        for number in dict.fromkeys((operation.crossing, *operation.also_clears)):
            one = known.get((passage.name, number))
            if one is not None and one.crossing is not None and not one.is_step:
                z, whole = float(one.at[2]), one.crossing.footprint
                sheet = (one.figure, whole, one.thickness_mm)
                found.append(pieces(operation, number, z, *sheet, density, strainer))
        return replace(operation, pieces=tuple(p for p in found if p is not None))

    def with_plan(passage: PassageResult) -> PassageResult:
        plan = passage.rework
        if plan is None:
            return passage
        drilling = tuple(told(passage, operation) for operation in plan.drilling)
        return replace(passage, rework=replace(plan, drilling=drilling))

    return replace(result, passages=tuple(map(with_plan, result.passages)))


def _with_scan(checked: Checked, result: Result, measured: Laid | None) -> Result:
    if measured is None:
        return result
    beside = zip(result.passages, measured.passages, strict=True)
    passages = tuple(replace(passage, scanned=one) for passage, one in beside)
    told = replace(measured.result, sheets=sheets_seen(checked, measured.placed))
    notices = (*result.notices, *in_doubt(measured.result, checked.platform_z))
    return replace(result, passages=passages, scan=told, notices=notices)


def _asked_again(
    checked: Checked,
    checks: Sequence[PassageCheck],
    result: Result,
    verify: bool | None,
    progress: Progress,
) -> Result:
    why_not = not_asked(checked, verify)
    if why_not:
        return replace(result, second_opinion=(f"not asked for: {why_not}",))
    told = verified(checked, checks, result.passages, progress)
    return replace(result, passages=told, second_opinion=in_words(told))


def _cut_ports(checked: Checked) -> list[str]:
    """Ports that a sheet cuts: they are kept, and named."""
    found = []
    events = checked.unknowns.variants[0].events or ()
    for event in events:
        low, high = event.lowest, event.top
        for mouth in checked.all_mouths:
            z = mouth.rim[:, 2]
            z = z + offset(events, float(mouth.centre[2]))[2]
            if z.min() < high and z.max() > low:
                found.append(
                    f"event {event.stray + 1} cuts the port {mouth.name}; the port is kept"
                )
    return found
