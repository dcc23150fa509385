"""The check: from a case to a result, its steps in order.

In: a `Case`. Out: a `Result`. Long work reports through `progress`, a callable
that takes a sentence; it is silent by default.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from clearance.case.read import Case
from clearance.disposition.remedy import Remedied, disposition, judged_together, remedied
from clearance.evidence.balls import balls
from clearance.evidence.powder import packing_over, trapped_over, unmelted
from clearance.evidence.resumed import resumed_sections
from clearance.evidence.signs import signs
from clearance.heights import above_platform
from clearance.predicted.part import NOMINAL
from clearance.predicted.stray import offset
from clearance.result import GaugePin, Result, TrappedPowder, Unmelted
from clearance.system.processes import processors
from clearance.verdict.apart import separate
from clearance.verdict.passage import PassageCheck
from clearance.verdict.prepared import Checked, Progress, prepare, silent

MOST_THREADS = 4
"""Passages side by side at most: each needs a window's memory."""

CAUTIONS = (
    "The recommendation is for the responsible engineer and the applicable codes; "
    "this result does not release the part.",
    "Loose metal powder can be reactive and is harmful to breathe: remove it under the local "
    "rules before heat treatment or drilling.",
    "Drilling into trapped powder can ignite it.",
    "The resumed layer is a possible weak plane, which this program does not qualify.",
    "Parts under pressure need proof testing.",
)


def check(
    case: Case,
    pitch_mm: float | None = None,
    progress: Progress = silent,
    threads: int | None = None,
    beside: NDArray[np.float32] | None = None,
    verify: bool = False,
) -> Result:
    """Check one part: every passage of a case, in the nominal and the predicted part.

    Parameters
    ----------
    case : Case
    pitch_mm : float, optional
        Pitch of the columns; default: the case's, or chosen from the requirements.
    progress : callable, optional
        Called with a sentence before each longer step.
    threads : int, optional
        Passages looked at side by side; default: as many as there are processors to
        use, at most four. The result does not depend on it.
    beside : (F, 3, 3) ndarray of float32, mm, optional
        For a part of a plate: closed soup of other parts whose slices lie over it, in this
        part's coordinates; empty where there is none.
    verify : bool
        Ask a second opinion, which shares no code with the check (docs/method.md).

    Raises
    ------
    ClearanceError
        What the user has to mend: a mesh, a port, an impossible event, a pitch too fine.
    """
    return conclude(prepare(case, pitch_mm, progress, beside), progress, threads, verify)


@dataclass(frozen=True, eq=False)
class Examined:
    """A case that is judged: the result, and what drawings of it need."""

    checked: Checked
    checks: tuple[PassageCheck, ...]
    result: Result

    @property
    def on_paper(self) -> Result:
        """The result with every z above the platform, for words and pictures."""
        return above_platform(self.result, self.checked.platform_z)


def conclude(
    checked: Checked,
    progress: Progress = silent,
    threads: int | None = None,
    verify: bool = False,
) -> Result:
    """Judge every passage of a case that is prepared; parameters and errors as for `check`."""
    return examine(checked, progress, threads, verify).result


def examine(
    checked: Checked,
    progress: Progress = silent,
    threads: int | None = None,
    verify: bool = False,
) -> Examined:
    """Judge every passage as `conclude` does, and keep the passage checks."""
    case = checked.case
    checks = [PassageCheck(checked, p) for p in case.passage]
    events = checked.unknowns.variants[0].events or ()
    nominal, predicted = checked.whole.predict(NOMINAL), checked.whole.predict(events)
    density = case.part.density_g_cm3

    def judged(check: PassageCheck) -> tuple[Remedied, list[GaugePin]]:
        return remedied(check, check.result(progress), progress), check.gauge_pins()

    def powder() -> tuple[list[Unmelted], list[TrappedPowder]]:
        progress("loose powder, and what the part would show")
        routes = {c.passage.name: c.nominal.way.route for c in checks}
        packing = packing_over(case.stray)
        others = checked.unknowns.others
        shut_in = trapped_over(predicted, nominal, routes, density, packing, others)
        return unmelted(predicted, routes, others), shut_in

    with ThreadPoolExecutor(threads or min(processors(), MOST_THREADS)) as pool:
        try:
            seen = pool.submit(signs, predicted, nominal, density)
            # The largest passage first, or it would run on alone at the end.
            by_size = sorted(checks, key=PassageCheck.size, reverse=True)
            looks = {id(one): pool.submit(judged, one) for one in by_size}
            loose, joints = pool.submit(powder), pool.submit(resumed_sections, predicted)
            found = [looks[id(one)].result() for one in checks]
            gaps, trapped = loose.result()
            shown, sections = seen.result(), joints.result()  # in here: what waits is cancelled
        finally:
            pool.shutdown(cancel_futures=True)
    remedies = judged_together(checked, [remedy for remedy, _ in found])
    pins = tuple(pin for _, felt in found for pin in felt)
    sizes = balls(
        (remedy.result for remedy in remedies),
        case.part.build_allowance,
        case.part.mesh_tolerance,
    )
    result = Result(
        part=case.part.name,
        pitch_mm=checked.pitch_mm,
        passages=tuple(remedy.result for remedy in remedies),
        separate=separate(checked, checks, gaps, progress),
        unmelted=tuple(gaps),
        trapped_powder=tuple(trapped),
        signs=replace(shown, gauge_pins=pins, balls=sizes),
        resumed_section=sections,
        translations=case.translations,
        assumptions=checked.assumptions,
        notices=tuple(
            dict.fromkeys(
                (*checked.frame_notice, *case.notices, *checked.notices, *_cut_ports(checked))
            )
        ),
        cautions=CAUTIONS,
        inputs=checked.inputs,
    )
    if verify:
        from clearance.verdict.confirmed import in_words, verified

        told = verified(checked, checks, result.passages, progress)
        result = replace(result, passages=told, notices=(*result.notices, *in_words(told)))
    reached = {remedy.result.name: remedy.reached for remedy in remedies}
    result = replace(result, disposition=disposition(checked, result, reached))
    return Examined(checked, tuple(checks), result)


def _cut_ports(checked: Checked) -> list[str]:
    """Ports that a sheet cuts: they are kept, and named."""
    found = []
    events = checked.unknowns.variants[0].events or ()
    for event in events:
        low, high = event.bottom - event.penetration, event.top
        for mouth in checked.all_mouths:
            z = mouth.plane.to_space(np.array(mouth.polygon.exterior.coords))[:, 2]
            z = z + offset(events, float(mouth.centre[2]))[2]
            if z.min() < high and z.max() > low:
                found.append(f"stray {event.stray} cuts the port {mouth.name}; the port is kept")
    return found
