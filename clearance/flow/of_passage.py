"""The passage as the flow has it: its sections, its bends, ways beside one another.

In: a `PassageCheck` that has been judged. Out: `End`s for `pressure_loss`: the two ends of what the
nominal passage may lose, and the high end of any part through which a way is proven. Sections
are exact polygons square to the way; docs/method.md, "Flow", says why the true loss lies between.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence

import numpy as np

from clearance.flow.branches import Block, Leg, Void
from clearance.flow.channel import Bend, Branch, End, Piece, Restriction
from clearance.flow.course import Course, Floats
from clearance.flow.pressure_loss import ROUGHNESS_MM
from clearance.geometry import polylines
from clearance.passages.crossings import Crossing
from clearance.predicted.part import NOMINAL, Predicted
from clearance.verdict.passage_check import PassageCheck


def ends(check: PassageCheck) -> tuple[End, End, End | None]:
    """The nominal passage as it loses least, as one way of it loses most, and as all do.

    The last is None where no ways lie beside one another.
    """
    predicted = check.predicted(NOMINAL, check.nominal.pitch_mm)
    void = Void(predicted, check.search(predicted, []), check.inlet, check.outlet)
    rough = roughness(check)
    course = void.course(check.nominal.way.route, check.nominal.way.low_mm)
    whole = void.whole(course)
    blocks = void.blocks(course, whole, check.nominal.way.low_mm)
    mouths = _mouths(check)
    low = End(
        _surely(course, whole),
        *mouths,
        _some(course, whole),
        rough[0],
        tuple(tuple(map(_sure_branch, block.legs)) for block in blocks if block.legs),
    )
    high = _series(course, mouths, rough[1])
    if not any(block.legs for block in blocks):
        return low, high, None
    return low, high, _divided(void, course, blocks, mouths, rough[1])


def through(
    check: PassageCheck, predicted: Predicted, route: Floats, crossings: Sequence[Crossing]
) -> End:
    """A part as it loses most, by the ways that are proven open in it.

    Parameters
    ----------
    predicted : Predicted
    route : (N, 3) ndarray, mm
        One way, proven.
    crossings : sequence of Crossing
        Those of this part.
    """
    search, least = check.search(predicted, []), check.nominal.way.low_mm
    void = Void(predicted, search, check.inlet, check.outlet, tuple(crossings))
    course = void.course(route, least)
    blocks = void.blocks(course, void.whole(course), least)
    return _divided(void, course, blocks, _mouths(check), roughness(check)[1])


def roughness(check: PassageCheck) -> tuple[float, float]:
    """Least and greatest height of the walls' sand grain, mm."""
    flow = check.checked.case.flow
    return ROUGHNESS_MM if flow is None or flow.roughness is None else flow.roughness


def _mouths(check: PassageCheck) -> tuple[float, float]:
    return float(check.inlet.polygon.area), float(check.outlet.polygon.area)


# ---- the low end -------------------------------------------------------------------------------


def _surely(course: Course, whole: Sequence[bool]) -> tuple[Piece, ...]:
    """Stretches through which all of the flow passes, each as wide as it is anywhere."""
    line = course.line
    return tuple(
        Piece.round(line.straight_mm(s), d)
        for s, d, all_of_it in zip(course.stretches, course.most_mm, whole, strict=True)
        if all_of_it and math.isfinite(d)
    )


def _some(course: Course, whole: Sequence[bool]) -> tuple[Bend, ...]:
    """Bends that are not gentle, through which all of the flow passes."""
    within = [bend.within(course.stretches) for bend in course.bends]
    bends = zip(course.bends, within, strict=True)
    return tuple(t for b, at in bends if all(whole[k] for k in at) for t in course.sure_turns(b))


def _sure_branch(leg: Leg) -> Branch:
    """A leg's tube, each stretch as wide as it is anywhere."""
    course, line = leg.course, leg.course.line
    pieces = []
    for k in range(leg.first, leg.last + 1):
        (a, b), lid, d = course.stretches[k], course.lids[k], course.most_mm[k]
        part = (lid if k == leg.first else a, lid if k == leg.last else b)
        if math.isfinite(d):
            pieces.append(Piece.round(line.straight_mm(part), d))
    within = (course.lids[leg.first], course.lids[leg.last])
    bends = [b for b in course.bends if within[0] <= b.first and b.last <= within[1]]
    own = (True,) * len(pieces)
    turns = tuple(turn for bend in bends for turn in course.sure_turns(bend))
    return Branch(tuple(pieces), own, own, turns)


# ---- the high end ------------------------------------------------------------------------------


def _series(course: Course, mouths: tuple[float, float], roughness_mm: float) -> End:
    """One way at the whole rate: each stretch as narrow as it is anywhere."""
    pieces = tuple(_pieces(course, range(len(course.narrow))))
    turns = course.turned(range(len(course.narrow)))
    return End(pieces, *_within(mouths, course), turns, roughness_mm)


def _pieces(course: Course, which: Iterable[int]) -> list[Piece]:
    step = course.longer() * course.line.step_mm
    return [
        course.narrow[k].piece(step * (course.stretches[k][1] - course.stretches[k][0]))
        for k in which
    ]


def _within(mouths: tuple[float, float], course: Course) -> tuple[float, float]:
    """Areas of the mouths, or of the way's ends where these are smaller."""
    first, last = course.narrow[0].least_mm2, course.narrow[-1].least_mm2
    return min(mouths[0], first), min(mouths[1], last)


def _divided(
    void: Void,
    course: Course,
    blocks: Sequence[Block],
    mouths: tuple[float, float],
    roughness_mm: float,
) -> End:
    """A way at the whole rate, but where its blocks have legs: there the flow divides."""
    known = [block for block in blocks if block.legs]
    inside = {k for block in known for k in range(block.first, block.last + 1)}
    outside = [k for k in range(len(course.narrow)) if k not in inside]
    series = [(c, course, n) for c, n in void.met(course.line) if course.at(n) not in inside]
    branches = []
    for block in known:
        before, after = (
            [course.narrow[k].piece(0.0)] if 0 <= k < len(course.narrow) else []
            for k in (block.first - 1, block.last + 1)
        )
        branches.append(tuple(_branch(void, leg, before, after, mouths) for leg in block.legs))
        series += [
            (c, leg.course, n)
            for leg in block.legs
            for c, n in void.met(leg.course.line)
            if not _within_tube(leg, n)
        ]
    inlet, outlet = _within(mouths, course)
    once = {id(c): _restriction(c, on, n) for c, on, n in series}
    return End(
        tuple(_pieces(course, outside)),
        math.inf if 0 in inside else inlet,
        math.inf if len(course.narrow) - 1 in inside else outlet,
        course.turned(outside, [_beyond_lids(course, block) for block in known]),
        roughness_mm,
        tuple(branches),
        tuple(once.values()),
    )


def _beyond_lids(course: Course, block: Block) -> tuple[int, int]:
    """Places of a way where the legs of a block have it, bends and all."""
    first, last = max(block.first - 1, 0), min(block.last + 1, len(course.narrow) - 1)
    return course.inside(first, last)


def _branch(
    void: Void, leg: Leg, before: list[Piece], after: list[Piece], mouths: tuple[float, float]
) -> Branch:
    """A leg as it loses most: outside its tube it may carry the flow of the others too.

    `before`, `after`: the sections between which it lies, for the steps into them; none where it
    begins or ends at a mouth.
    """
    course, areas = leg.course, _within(mouths, leg.course)
    tube = range(leg.first, leg.last + 1)
    beyond = [k for k in range(len(course.narrow)) if k not in tube]
    step = course.longer() * course.line.step_mm
    pieces: list[tuple[Piece, bool, bool]] = [(piece, False, False) for piece in before]
    for k, ((a, b), lid) in enumerate(zip(course.stretches, course.lids, strict=True)):
        halves = ((lid - a, leg.first < k <= leg.last), (b - lid, leg.first <= k < leg.last))
        pieces += [(course.narrow[k].piece(step * n), own, k in tube) for n, own in halves]
    pieces += [(piece, False, False) for piece in after]
    met = [(c, n) for c, n in void.met(course.line) if _within_tube(leg, n)]
    crossings = tuple(_restriction(c, course, n) for c, n in met)
    return Branch(
        tuple(piece for piece, _, _ in pieces),
        tuple(alone for _, alone, _ in pieces),
        tuple(inside for _, _, inside in pieces),
        course.turned(tube),
        course.turned(beyond, [course.around(leg.first, leg.last)]),
        crossings,
        math.inf if before else areas[0],
        math.inf if after else areas[1],
    )


def _within_tube(leg: Leg, n: int) -> bool:
    """Whether a place of a leg lies in its tube."""
    return leg.course.lids[leg.first] <= n <= leg.course.lids[leg.last]


def _restriction(crossing: Crossing, course: Course, n: int) -> Restriction:
    """A crossing that a way meets at a place, as the part has it."""
    k = course.at(n)
    near = [section.least_mm2 for section in course.narrow[max(k - 1, 0) : k + 2]]
    return Restriction(
        nominal_area_mm2=crossing.nominal_area_mm2,
        open_area_mm2=crossing.open_area_mm2,
        thickness_mm=crossing.high - crossing.low,
        channel_area_mm2=min(crossing.nominal_area_mm2, *near),
        hydraulic_mm=hydraulic_mm(crossing) if crossing.open_area_mm2 > 0.0 else None,
    )


def hydraulic_mm(crossing: Crossing) -> float:
    """Four times the open area over the length of its outline, mm."""
    return float(4.0 * crossing.open_area_mm2 / max(crossing.opening.length, 1e-12))


def channel_mm2(
    check: PassageCheck, high: End, place: tuple[float, float, float], level_mm2: float
) -> float:
    """Least area that the passage has square to its way near a place of it.

    Parameters
    ----------
    high : End
        As `ends` gives it, of one way.
    place : (3,) mm
    level_mm2 : float
        Area of its level section there, which is no smaller.
    """
    route = check.nominal.way.route
    along = polylines.lengths(route)
    nearest = int(np.argmin(np.linalg.norm(route - np.array(place), axis=1)))
    count = len(high.pieces)
    n = min(int(count * along[nearest] / max(along[-1], 1e-12)), count - 1)
    near = high.pieces[max(n - 1, 0) : n + 2]
    return min(level_mm2, *(piece.area_mm2 for piece in near))
