"""Strokes, one drill or electrode on one line each, and what they can do for a passage.

In: lines and drills. Out: `Stroke`s, the fewest that clear what has to be cleared, `Reached`.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from clearance.drilling.bore import Bore
from clearance.drilling.drills import Drill
from clearance.drilling.obstacles import Tool
from clearance.drilling.wall_left import Hole
from clearance.drilling.widest_line import Widest
from clearance.result import Drilling, Rework
from clearance.result.passage import Change, NearestLine, plain
from clearance.verdict.one_variant import PassageVerdict


@dataclass(frozen=True)
class Reached:
    """What drilling can do for one passage.

    Attributes
    ----------
    rework : Rework or None
    why_not : str
        The nearest miss, in words; empty if there is a plan.
    whole_interval : bool
        The plan works whatever is true of what is not known of the event.
    faces_platform : bool
        Only mouths that face the platform could be entered.
    ruled_out : bool
        It is proven that no straight line is wide enough, whatever the drill, even if half a
        millimetre of the wall were cut.
    settled_by : tuple of str
        Tools or keys with which there might be a plan.
    changes : tuple of Change
        Lines along which there might be a plan, and what each would take.
    line : NearestLine or None
        The one that comes nearest to a plan.
    bores : tuple of Bore
        What the plan takes out, in the first variant.
    holes : tuple of Hole
        The same with what tolerance and run-out may take.
    after : PassageVerdict or None
        The re-check in the first variant.
    """

    rework: Rework | None
    why_not: str
    whole_interval: bool = True
    faces_platform: bool = False
    ruled_out: bool = False
    settled_by: tuple[str, ...] = ()
    changes: tuple[Change, ...] = ()
    line: NearestLine | None = None
    bores: tuple[Bore, ...] = ()
    holes: tuple[Hole, ...] = ()
    after: PassageVerdict | None = None


@dataclass(frozen=True, eq=False)
class Stroke:
    """One drill on one line.

    Attributes
    ----------
    opening, order : str, int
        Where it enters, and the opening's place in the list.
    target, clears : int, tuple of int
        What it is for, and all that it clears, as numbers of targets.
    crossings : tuple of int
        The crossings of these, its own first.
    depth : float, mm
        Full diameter, from the entry.
    room_mm : float
        Largest radius with which it would meet no wall, as deep as it goes: not the line's, which
        ends in a half ball before the drill does.
    facet_mm : float
        By so much the mesh's wall may stand inward of the true one.
    """

    opening: str
    order: int
    target: int
    clears: tuple[int, ...]
    crossings: tuple[int, ...]
    line: Widest
    drill: Drill
    depth: float
    overrun: float
    bore: Bore
    room_mm: float
    facet_mm: float = 0.0

    @property
    def margin(self) -> float:
        """Wall margin, mm; negative where the wall is cut."""
        return self.room_mm - 0.5 * self.drill.diameter

    @property
    def cuts(self) -> bool:
        """Whether it cuts the wall: by more than the mesh's facets stand inward of it."""
        return self.margin < -self.facet_mm

    @property
    def hole(self) -> Hole:
        """What it may take away inward of the mouth."""
        point = self.drill.point
        radius = 0.5 * self.drill.diameter
        return Hole(
            self.line.start, self.line.direction, radius, self.depth, point, taken(self.drill)
        )

    @property
    def tool(self) -> Tool:
        """The drill in its holder."""
        tip = self.depth + self.drill.point
        return Tool(self.drill, self.line.start, self.line.direction, tip, self.margin)

    @property
    def fit(self) -> tuple[int, float, float]:
        """How well the drill does on its line (see `fit`)."""
        return fit(self.drill, self.room_mm, self.facet_mm)

    def key(self) -> tuple[float, ...]:
        """More sheets at once, then clear of the wall, the nearer port, the larger drill."""
        rank, size, flute = self.fit
        first = 1.0 if self.cuts else 0.0
        return (first, -len(self.clears), rank, round(self.depth, 3), size, flute, self.order)


@dataclass(frozen=True)
class Miss:
    """A line or drill that does not do, how near it comes (larger is nearer), what would do."""

    nearness: float
    words: str
    settled_by: str = ""
    line: NearestLine | None = None


def taken(drill: Drill) -> float:
    """By how much more than its radius a drill may take away: tolerance and run-out, mm."""
    return drill.wanders + drill.thinner


def fit(drill: Drill, room_mm: float, facet_mm: float = 0.0) -> tuple[int, float, float]:
    """How well a drill does on a line, the best first.

    Clear of the wall with tolerance and run-out, and then as large as can be, so that no rim
    stays; then clear of the wall without them, and then as small as can be; then in the wall, as
    little as can be. Of one size the shortest.

    Parameters
    ----------
    drill : Drill
    room_mm : float
        Distance of the line to the wall.
    facet_mm : float
        By so much the mesh's wall may stand inward of the true one.
    """
    margin = room_mm - 0.5 * drill.diameter
    if margin >= taken(drill):
        return 0, -drill.diameter, drill.flute
    return 1 if margin >= -facet_mm else 2, drill.diameter, drill.flute


MOST_AT_ONCE, MOST_COMBINED = 4, 24
"""Strokes of a plan, and to choose from, that all combinations are tried of; a longer plan takes
one after the other."""


def covering(strokes: list[Stroke], targets: int, needed: set[int]) -> list[Stroke] | None:
    """Strokes that clear what they reach of the targets, as few as that needs, the best of these.

    As few cut the wall as can be; then as few as can be altogether; then those that keep clear of
    it with tolerance and run-out, from the nearer ports, with the larger drills. None if some of
    the targets that are needed stay.

    Parameters
    ----------
    strokes : list of Stroke
    targets : int
        Their number; strokes name them from 0.
    needed : set of int
    """
    reached = set().union(*(stroke.clears for stroke in strokes)) & set(range(targets))
    if needed - reached:
        return None
    kept = _best_of_each(strokes)
    plan = _fewest(kept, reached) or _one_by_one(kept, reached)
    return sorted(plan, key=lambda stroke: stroke.target)


def _best_of_each(strokes: list[Stroke]) -> list[Stroke]:
    """Of strokes that clear the same the best, and the best that does not cut the wall."""
    found: dict[tuple[tuple[int, ...], bool], Stroke] = {}
    for stroke in sorted(strokes, key=Stroke.key):
        found.setdefault((tuple(sorted(stroke.clears)), stroke.cuts), stroke)
    return sorted(found.values(), key=Stroke.key)


def _fewest(strokes: list[Stroke], reached: set[int]) -> list[Stroke]:
    """The best combination of a few strokes; empty if no few do."""

    def cost(plan: Iterable[Stroke]) -> tuple[float, ...]:
        keys = np.array([stroke.key() for stroke in plan])
        sums = keys.sum(axis=0)  # the first counts the cuts
        return float(sums[0]), len(keys), *sums[1:].tolist()

    found: list[tuple[Stroke, ...]] = []
    for count in range(1, MOST_AT_ONCE + 1):
        for plan in combinations(strokes[:MOST_COMBINED], count):
            if reached <= set().union(*(stroke.clears for stroke in plan)):
                found.append(plan)
        best = min(found, key=cost) if found else ()
        if best and not any(stroke.cuts for stroke in best):
            break  # more strokes could only be more
    return list(min(found, key=cost)) if found else []


def _one_by_one(strokes: list[Stroke], reached: set[int]) -> list[Stroke]:
    """The best stroke for what is left, again and again."""
    plan: list[Stroke] = []
    left = set(reached)
    for stroke in strokes:
        if left & set(stroke.clears):
            plan.append(stroke)
            left -= set(stroke.clears)
    return plan


def in_words(stroke: Drilling) -> str:
    """One operation: which tool, from where, how deep."""
    start = f"the {stroke.from_}" if stroke.from_ in ("inlet", "outlet") else stroke.from_
    deep = f"from {start}, {stroke.depth_mm:.1f} mm deep to its"
    if stroke.tool == "electrode":
        return f"electrode for a hole of {stroke.drill_diameter_mm:g} mm {deep} end"
    return f"{stroke.drill_diameter_mm:g} mm drill ({stroke.series}) {deep} tip"


def described(stroke: Stroke) -> Drilling:
    """A stroke as the result tells it."""
    out = -stroke.line.direction
    depth = stroke.depth + stroke.drill.point
    margin = stroke.margin
    return Drilling(
        crossing=stroke.crossings[0],
        also_clears=stroke.crossings[1:],
        drill_diameter_mm=stroke.drill.diameter,
        series=stroke.drill.series,
        flute_mm=stroke.drill.flute,
        overall_mm=stroke.drill.overall,
        from_=stroke.opening,
        entry_mm=plain(stroke.line.start),
        direction=plain(stroke.line.direction),
        depth_mm=depth,
        length_to_diameter=depth / stroke.drill.diameter,
        wall_margin_mm=max(margin, 0.0),
        wall_cut_mm=-margin if stroke.cuts else 0.0,
        overrun_mm=stroke.overrun,
        # Tilted about its entry by a, the drill's end moves by depth x tan a at most.
        tilt_tolerance_deg=math.degrees(math.atan(max(margin, 0.0) / depth)),
        tilt_from_z_deg=math.degrees(math.acos(min(max(float(out[2]), -1.0), 1.0))),
        turn_about_z_deg=round(math.degrees(math.atan2(float(out[1]), float(out[0]))), 6) + 0.0,
        drill_tolerance_mm=stroke.drill.thinner,
        run_out_mm=stroke.drill.wanders,
        drill_source=stroke.drill.source,
        tool="electrode" if stroke.drill.erodes else "drill",
    )
