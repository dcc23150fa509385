"""What wrong layers would do to the passages of one part.

In: a part, the height and the wrong layers. Out: names of passages by their state. Passages and
circuits are judged as by `check`, without drills, flow and what is to be seen.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace

import shapely

from clearance.case.read import Case
from clearance.case.stray_tables import StrayTable, default_penetration
from clearance.evidence.powder import unmelted
from clearance.restart.asked import Asked, Standing
from clearance.result import State
from clearance.verdict.circuits_apart import separate
from clearance.verdict.other_event import unknown_of
from clearance.verdict.passage_check import PassageCheck
from clearance.verdict.prepared import Progress, prepare

NO_PASSAGE = "no passage is given"


@dataclass(frozen=True)
class Found:
    """Passages by what would become of them, and circuits that would not be apart.

    `places`: name, x and y (mm, of the part) of each place where a passage crosses the layer.
    """

    sealed: tuple[str, ...]
    restricted: tuple[str, ...]
    undetermined: tuple[str, ...]
    joined: tuple[tuple[str, ...], ...]
    places: tuple[tuple[str, float, float], ...] = ()


def stray_of(part: Standing, asked: Asked, candidate: int) -> StrayTable:
    """The event that a wrong start makes; melt depth and packing as the case's own event has."""
    layer = part.layer_mm
    low, high = default_penetration(layer)
    known = part.stray or StrayTable(penetration_low=low, penetration_high=high)
    return replace(
        known,
        shape="layer",
        source="assumed",
        height=round(asked.right * layer, 9),
        from_layer=candidate,
        layers_low=asked.layers,
        layers_high=asked.layers,
        resume="height",
        next_layer=None,
        resume_shift=(0.0, 0.0),
        height_uncertainty=0.0,
        mesh=None,
    )


def would_do(
    part: Standing, asked: Asked, candidates: Iterable[int], progress: Progress
) -> dict[int, Found]:
    """What each candidate would do, by its number.

    Raises
    ------
    ClearanceError
        As for a check of the part.
    """
    wanted = list(candidates)
    if not wanted:
        return {}
    cases = {n: _case(part.case, stray_of(part, asked, n)) for n in wanted}
    checked = prepare(cases[wanted[0]], None, progress)
    checks = [PassageCheck(checked, passage) for passage in checked.case.passage]
    found = {}
    for number in wanted:
        progress(f"{part.name}: layer {number} instead of {asked.right}")
        unknowns = unknown_of(checked, cases[number], alone=False)
        now = replace(checked, case=cases[number], unknowns=unknowns)
        for check in checks:
            check.judged = [check.judge(variant) for variant in unknowns.variants]
        events = unknowns.variants[0].events or ()
        gaps = []
        if checked.case.separate:
            routes = {c.passage.name: c.nominal.way.route for c in checks}
            gaps = unmelted(checked.whole.predict(events), routes, unknowns.others)
        apart = separate(now, checks, gaps, progress)
        by = {state: _named(checks, state) for state in State}
        found[number] = Found(
            by[State.BLOCKED],
            by[State.RESTRICTED],
            by[State.UNDETERMINED],
            tuple(pair.passages for pair in apart if pair.state != "apart"),
            tuple(_places(checks)),
        )
    return found


def _places(checks: Iterable[PassageCheck]) -> Iterator[tuple[str, float, float]]:
    """Where passages cross the layer: a point in each piece, once."""
    for check in checks:
        for crossing in check.judged[0].crossings:
            at = shapely.point_on_surface(crossing.footprint)
            yield check.passage.name, float(at.x), float(at.y)


def _case(case: Case, stray: StrayTable) -> Case:
    return replace(case, stray=(stray,), melted=None, log_last_layer=None)


def _named(checks: Iterable[PassageCheck], state: State) -> tuple[str, ...]:
    return tuple(c.passage.name for c in checks if _state(c) is state)


def _state(check: PassageCheck) -> State:
    """That of all that is not known of the wrong layers, if it is one."""
    states = {judged.state for judged in check.judged}
    return states.pop() if len(states) == 1 else State.UNDETERMINED
