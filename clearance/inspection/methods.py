"""Every method against everything that it is to see.

In: a part that has been judged, and its result. Out: `Inspection`s, target by target.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from clearance.inspection.answers import Said
from clearance.inspection.shot import Shots
from clearance.inspection.targets import Target
from clearance.inspection.touched import ball, pin, scope
from clearance.inspection.weighed import flow, ultrasound, weighing
from clearance.predicted.part import Predicted
from clearance.result import Result
from clearance.result.inspection import Inspection
from clearance.verdict.passage_check import PassageCheck
from clearance.verdict.prepared import Checked, Progress, silent

NOT_INSIDE = "a gap in the metal, not in a passage"
"""Why what goes through passages tells nothing of an unmelted gap."""


def inspected(
    checked: Checked,
    checks: Sequence[PassageCheck],
    result: Result,
    seen: Sequence[Target],
    progress: Progress = silent,
) -> tuple[Inspection, ...]:
    """What each method could see of each crossing that narrows or seals, and of each gap.

    Parameters
    ----------
    checked : Checked
    checks : sequence of PassageCheck
        Judged, in the result's order.
    result : Result
        With signs, trapped powder and pressure losses: what is computed already is not again.
    seen : sequence of Target
        As `targets` gives them.
    progress : callable, optional

    Returns
    -------
    tuple of Inspection
        Of the first variant of the event.
    """
    if not seen:
        return ()
    progress("what an inspection could see")
    shots = Shots.of(checked)
    predicted = checked.whole.predict(checked.unknowns.variants[0].events)
    known = {check.passage.name: check for check in checks}
    narrowed = [target.passage for target in seen]
    return tuple(
        said.of(target.kind, target.passage, target.number)
        for target in seen
        for said in (
            *_by_rays(shots, target, predicted),
            *_by_hand(target, known, result, narrowed.count(target.passage)),
            ultrasound(
                target,
                predicted,
                checked.case.state.on_platform,
                [other for other in seen if other.kind == "gap" and other is not target],
            ),
        )
    )


def _by_rays(shots: Shots, target: Target, predicted: Predicted) -> Iterator[Said]:
    yield shots.along(target)
    yield shots.across(target, predicted)
    yield shots.scan(target)


def _by_hand(
    target: Target, checks: dict[str, PassageCheck], result: Result, narrowed: int
) -> Iterator[Said]:
    if target.passage is None:
        for method in ("scope", "ball", "pin", "flow", "weighing"):
            yield Said(method, "no", {}, NOT_INSIDE)
        return
    check, sisters = checks[target.passage], checks[target.passage].checked.case.inspection.sisters
    signs = result.signs
    yield scope(target, check)
    yield ball(target.passage, signs.balls if signs else (), narrowed)
    yield pin(target, check, signs.gauge_pins if signs else ())
    yield flow(check, result.passage(target.passage))
    yield weighing(result, target.passage, sisters)
