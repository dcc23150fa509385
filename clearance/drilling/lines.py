"""Lines from an opening to what has to be cleared, and the drills that go along them.

In: the part after an event, openings, targets, the drills at hand. Out: `Stroke`s that nothing
hinders; what hinders the others is noted, with what it would take.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from functools import cache, partial
from typing import NamedTuple

import numpy as np
import shapely

from clearance.drilling import bore as bores
from clearance.drilling.bore import Bore
from clearance.drilling.drill_length import Practice, not_at_hand, reach_limit
from clearance.drilling.drills import Drill
from clearance.drilling.needed import REDESIGN_MM, Along, asks, needed
from clearance.drilling.obstacles import in_the_way
from clearance.drilling.strokes import Miss, Stroke, fit, taken
from clearance.drilling.targets import End, Target, ends_of
from clearance.drilling.widest_line import Region, Widest, widest_line
from clearance.geometry import box_tree
from clearance.geometry.planes import Plane
from clearance.geometry.soup import Box, Soup, clipped
from clearance.heights import place
from clearance.kernels.vectors import Floats
from clearance.ports.mouth import Mouth
from clearance.predicted.part import NOMINAL
from clearance.result.passage import Change, NearestLine, plain
from clearance.verdict.numbers import given, rounded_down, rounded_up
from clearance.verdict.one_variant import Crossed
from clearance.verdict.passage_check import PassageCheck

SIDES = 96
"""Sides of the polyhedra that stand for a drilled bore."""
TOLERANCE_MM = 0.02
"""The widest straight line is sought within this."""
NO_MORE_MM = 1e-4
"""A wall that is nearer by less is as far as the line says."""
MOST_CELLS = 10_000
"""Cells of a search for a line: ten times what it takes unless the sheet lies in the mouth itself.

There the line's two ends may be the same point, any direction is a line, and no bound is of use.
"""


class Opening(NamedTuple):
    """A mouth that drills may enter: its place in the list, its name, itself where it stands."""

    order: int
    name: str
    mouth: Mouth


class Lines:
    """Straight lines through one passage in its first variant, and drills along them."""

    def __init__(
        self, check: PassageCheck, first: Crossed, at_hand: Sequence[Drill], explain: bool
    ):
        """Without `explain` a line that is too narrow need not be the widest that there is."""
        self.check, self.first = check, first
        self.at_hand, self.explain = at_hand, explain
        self.case = check.checked.case
        self.predicted = check.predicted(first.variant.events, check.checked.pitch_mm)
        given = self.case.drilling
        self.practice = Practice(
            point_angle_deg=given.point_angle, max_length_to_diameter=given.max_length_to_diameter
        )
        self.facet_mm = self.case.part.mesh_tolerance
        self.refused_mm = 0.0  # drills up to this leave a step, says the re-check
        self.misses: list[Miss] = []
        self.changes: list[tuple[float, Change]] = []
        self.without_line = False  # some target has none, so that no change helps

    # ---- strokes ---------------------------------------------------------------------------

    def strokes(
        self, openings: Sequence[Opening], n: int, targets: Sequence[Target], sizes: Sequence[Drill]
    ) -> Iterator[Stroke]:
        """Drills that reach one target, the best of each opening; `sizes` smallest first."""
        target = targets[n]
        for opening in openings:
            for end in self._ends(target, opening, sizes[0].diameter):
                line = self._line(opening, end, sizes[0])
                if line is None:
                    continue
                yield from self._best(opening, end, line, n, targets, sizes)

    def _ends(self, target: Target, opening: Opening, diameter: float) -> list[End]:
        crossing = self.first.crossings[target.crossing]
        wide = max(self.check.nominal.way.low_mm, diameter)
        return ends_of(target, crossing, opening.mouth, wide, 0.5 * diameter)

    def _line(self, opening: Opening, end: End, drill: Drill) -> Widest | None:
        """The widest line, if a drill fits it."""
        radius = 0.5 * drill.diameter
        need = radius - max(self.case.drilling.wall_allowance, self.facet_mm)
        toward = _unit(end.middle - opening.mouth.centre)
        beyond = end.beyond(end.middle, toward, radius)
        line = self._widest(opening.mouth, end, radius, beyond, need)
        if line.radius >= need:
            return line if line.direction @ opening.mouth.plane.normal < 0.0 else None
        base = self.check.checked.platform_z
        sheet_mm = end.crossing.height_mm - base
        doubt = "" if line.bound < need else "; the search ended before a wider one was ruled out"
        clear, needs = rounded_down(2.0 * line.radius, 2), rounded_up(2.0 * need, 2)
        said = (
            f"from the {opening.name} the widest straight line to the sheet at z {sheet_mm:.2f} mm "
            f"has {clear} mm clear, {needs} required: the wall at {place(line.metal, base)} is in "
            f"the way{doubt}"
        )
        self.misses.append(
            Miss(line.radius / max(need, 1e-9), said, line=_told(opening.name, line, 2.0 * need))
        )
        return None

    def _widest(self, mouth: Mouth, end: End, radius: float, beyond: float, need: float) -> Widest:
        start = Region(mouth.plane, mouth.polygon)
        # The search takes the line's end for a half ball; a point is 0.4 r shorter.
        beyond = max(beyond - 0.4 * radius, 0.0)
        box = self._hull(mouth, end, 2.0 * radius + beyond)
        own = mouth in (self.check.inlet, self.check.outlet)
        if own and self.predicted.in_place:
            # A line that never meets the walls of its own void stays in it.
            nominal = self.check.predicted(NOMINAL, self.check.checked.pitch_mm)
            tree = self.check.search(nominal, []).tree
        else:
            tree = box_tree.build(self.predicted.bare_surface(box))
        return widest_line(
            tree, start, end.region, enough_mm=max(need, 1e-3), tolerance_mm=TOLERANCE_MM,
            beyond_mm=beyond, most_cells=MOST_CELLS, explain=self.explain,
        )  # fmt: skip

    @staticmethod
    def _hull(mouth: Mouth, end: End, grow: float) -> Box:
        """A box around all lines between a mouth and where they end."""
        corners = end.region.plane.to_space(shapely.get_coordinates(end.region.polygon))
        low, high = end.crossing.low, end.crossing.high
        x0, y0, x1, y1 = end.crossing.footprint.bounds
        around = [mouth.rim, corners, np.array([[x0, y0, low], [x1, y1, high]])]
        return Box.around(np.concatenate(around)).grown(grow)

    def _best(
        self, opening: Opening, end: End, line: Widest, n: int, targets: Sequence[Target],
        sizes: Sequence[Drill],
    ) -> Iterator[Stroke]:  # fmt: skip
        """The drill that does best on a line, if any does."""
        best: Stroke | None = None
        most = {drill: fit(drill, line.radius, self.facet_mm) for drill in sizes}
        room = cache(partial(self._room, line))  # drills of many series and sizes end as deep
        for drill in sorted(sizes, key=lambda drill: most[drill]):
            if best is not None and best.fit <= most[drill]:
                break  # where a drill ends it may have less room than the line, never more
            found = self._stroke(opening, end, line, n, targets, drill, room)
            if found is not None and (best is None or found.fit < best.fit):
                best = found
        if best is not None:
            yield best

    def _stroke(
        self, opening: Opening, end: End, line: Widest, n: int, targets: Sequence[Target],
        drill: Drill, room_at: Callable[[float], float],
    ) -> Stroke | None:  # fmt: skip
        """One drill on a line, or None with the reason noted."""
        depth = _length(line) + end.beyond(line.end, line.direction, 0.5 * drill.diameter)
        room = room_at(depth)
        margin = room - 0.5 * drill.diameter
        allowance = self.case.drilling.wall_allowance
        if margin < -self.facet_mm and taken(drill) - margin > allowance:
            if allowance > 0.0 or margin >= -REDESIGN_MM:
                self.misses.append(self._too_deep(opening, line, drill, -margin))
            return None
        bore = self._bore(line, drill, depth)
        clears = tuple(k for k, t in enumerate(targets) if k == n or self._opens(t, bore, line))
        named = (targets[k].crossing for k in (n, *clears))
        stroke = Stroke(
            opening=opening.name,
            order=opening.order,
            target=n,
            clears=clears,
            crossings=tuple(dict.fromkeys(named)),
            line=line,
            drill=drill,
            depth=depth,
            overrun=end.overrun_mm,
            bore=bore,
            room_mm=room,
            facet_mm=self.facet_mm,
        )
        hindrance, settled_by = self._hindrance(stroke)
        if not hindrance:
            return stroke
        words = f"from the {opening.name}{hindrance}"
        self.misses.append(
            Miss(
                1.0 + 1.0 / (1.0 + drill.diameter),
                words,
                settled_by,
                _told(stroke.opening, stroke.line, drill.diameter),
            )
        )
        return None

    def _room(self, line: Widest, depth: float) -> float:
        """Largest radius with which a hole of a depth, flat at its end, meets no wall, mm.

        The search ends a line in a half ball, so that a wall straight ahead, which a drill's point
        does not meet, is none; a wall beside the drill's end may be nearer than it says.
        """
        along = Plane.through(line.start, line.direction)
        box = Box.around(np.array([line.start, line.start + depth * line.direction]))
        near = self.predicted.bare_surface(box.grown(line.radius + 1.0)).reshape(-1, 3)
        turned = np.column_stack([along.to_plane(near), along.signed(near)])
        beside = clipped(
            turned.reshape(-1, 3, 3).astype(np.float32), 0.0, depth, np.zeros(3)
        ).astype(np.float64)
        room = _from_origin(beside[:, :, :2])
        return line.radius if room > line.radius - NO_MORE_MM else room

    def _too_deep(self, opening: Opening, line: Widest, drill: Drill, cut: float) -> Miss:
        most = cut + taken(drill)
        words = (
            f"from the {opening.name} {drill.words} cuts {rounded_up(cut, 2)} mm of the wall, with "
            f"tolerance and run-out {rounded_up(most, 2)} mm, "
            f"{given(self.case.drilling.wall_allowance)} allowed"
        )
        return Miss(1.0 - min(cut, 0.9), words, line=_told(opening.name, line, drill.diameter))

    def _bore(self, line: Widest, drill: Drill, depth: float) -> Bore:
        """What the tool surely takes away, begun well outside the mouth."""
        outside = 2.0 * drill.diameter + 5.0
        return Bore(
            line.start - outside * line.direction,
            line.direction,
            0.5 * (drill.least if drill.erodes else drill.diameter),
            outside + depth,
            drill.point,
            SIDES,
        )

    def _opens(self, target: Target, bore: Bore, line: Widest) -> bool:
        """Whether a bore clears another target with its full section as well."""
        if target.leg is not None:
            length = bore.length - float(np.linalg.norm(line.start - bore.start))
            return target.passed_by(line.start, line.direction, length, bore.radius)
        crossing = self.first.crossings[target.crossing]
        rise = abs(float(bore.direction[2]))
        if rise < 1e-3:
            return False
        around = crossing.footprint.buffer(self.case.drilling.wall_allowance + 0.05)
        for z in (crossing.low, crossing.high):
            section = bores.section(bore, Plane.level(z))
            if section.area < 0.98 * math.pi * bore.radius**2 / rise:
                return False
            if not around.contains(section):
                return False
        return True

    # ---- what stands in the way ------------------------------------------------------------

    def _hindrance(self, stroke: Stroke) -> tuple[str, str]:
        """What keeps a drill from a stroke, and what would settle it; empty if nothing does."""
        drill = stroke.drill
        limit = reach_limit(drill, stroke.depth, practice=self.practice)
        if limit is not None:
            return f": {limit.words}{self._other_series(drill, stroke.depth)}", ""
        if not stroke.cuts:
            hole = stroke.hole.bore(worst=False, first=0.0)
            thinner = replace(hole, radius=hole.radius - self.facet_mm - 1e-4)
            inner = self._inside(thinner, stroke.line)
            if len(bores.meeting(inner, thinner)):
                return f" the point of {drill.words} meets the wall behind the sheet", ""
        tool = stroke.tool
        if tool.standoff <= 0.0:
            words = f": {drill.words} projects {tool.standoff + tool.tip:.1f} mm from its holder"
            return f"{words}, {tool.tip:.1f} mm required", ""
        met = in_the_way(self.check.checked, self.predicted, tool)
        return (f" {met}", self._out_of_the_way(met)) if met else ("", "")

    def _out_of_the_way(self, met: str) -> str:
        """What would settle that something stands before a port."""
        off = ", or the part off its platform" if self.case.state.on_platform else ""
        if "beside it on the platform" in met:
            return "the part off its platform, or its neighbour"
        if "beside the part" in met:
            return f"whether what [part] also_melted gives still stands there{off}"
        if "holder" in met:
            return f"a longer drill or a smaller holder ([drilling] drills, holder_diameter){off}"
        return f"another way to hold or reach the part before the port{off}"

    def _inside(self, bore: Bore, line: Widest) -> Soup:
        """Metal of the part around a bore, the mouth's rim left out of it."""
        ends = np.array([line.start, bore.tip])
        box = Box.around(ends).grown(bore.radius + 1.0)
        return self.predicted.bare_surface(box)

    def _other_series(self, drill: Drill, depth: float) -> str:
        if drill.erodes:
            return ""
        longer = not_at_hand(
            drill.diameter, depth, self.case.drilling.series, practice=self.practice
        )
        if longer is None:
            return ""
        return f"; {longer.series} ({longer.overall:g} mm) is not in [drilling] series"

    # ---- what no drill does ----------------------------------------------------------------

    def ruled_out(self, openings: Sequence[Opening], target: Target) -> bool:
        """Whether no straight line to a target is wide enough for any tool, cut wall and all.

        What would do along the lines that are is noted. They end at the sheet's middle, and as
        much room is asked around that end as along the line: the ball that is to pass has its
        centre there once. Where metal leaves an opening a narrower tool may do: beside one whose
        radius is less than the ball's less the opening's circle, a wider circle than that would
        have to be open. A sheet along the way may be cleared in other ways: nothing is ruled out.
        """
        if not self.explain:
            return False
        need, crossing = 0.5 * self.check.required, self.first.crossings[target.crossing]
        proven = target.leg is None and not crossing.footprint.is_empty
        least = max(need - crossing.circle_mm - REDESIGN_MM, 1e-3)
        some = False
        for opening in openings:
            for end in self._ends(target, opening, self.check.required):
                line = self._widest(opening.mouth, end, need, 0.0, need - REDESIGN_MM)
                some = self._note(opening, end, line) or some
                proven = proven and line.bound < least
        self.without_line = self.without_line or not some
        return proven

    def _note(self, opening: Opening, end: End, line: Widest) -> bool:
        """Note which tool, and which cut of the wall, a line would take; whether it is one."""

        def depth_of(drill: Drill) -> float:
            return _length(line) + end.beyond(line.end, line.direction, 0.5 * drill.diameter)

        inward = -float(line.direction @ opening.mouth.plane.normal)
        if inward <= 0.0:
            return False
        lean = math.sqrt(max(1.0 - inward**2, 0.0)) / inward
        along = Along(
            opening.name, line, depth_of, self.case.drilling, self.practice, self.facet_mm,
            0.5 * self.case.drilling.holder_diameter * lean,
        )  # fmt: skip
        changes = needed(along, self.check.required, self.at_hand, self.refused_mm)
        for change in filter(asks, changes):  # what asks for nothing is barred by something else
            room = line.radius / self.check.required
            self.changes.append((room, change))
            if 0.5 * self.check.required - line.radius <= REDESIGN_MM:
                self.misses.append(Miss(min(room, 0.5), "", change.words))
        return bool(changes)


def _from_origin(triangles: Floats) -> float:
    """Least distance of triangles in a plane, (T, 3, 2), from its origin; inf without any."""
    if not len(triangles):
        return math.inf
    here, there = triangles, np.roll(triangles, -1, axis=1)
    step = there - here
    size = np.maximum((step**2).sum(-1), 1e-18)
    share = np.clip(-(here * step).sum(-1) / size, 0.0, 1.0)
    side = here[..., 0] * there[..., 1] - here[..., 1] * there[..., 0]
    if ((side > 0.0).all(1) | (side < 0.0).all(1)).any():
        return 0.0  # it lies around the origin
    return float(np.linalg.norm(here + share[..., None] * step, axis=-1).min())


def _length(line: Widest) -> float:
    return float(np.linalg.norm(line.end - line.start))


def _told(opening: str, line: Widest, needed_mm: float) -> NearestLine | None:
    """A line as the result gives it; nothing where every line that was tried meets metal."""
    if line.radius <= 0.0:
        return None
    start, end, wall = (plain(at) for at in (line.start, line.end, line.metal))
    return NearestLine(opening, start, end, 2.0 * line.radius, needed_mm, wall)


def _unit(vector: Floats) -> Floats:
    return np.asarray(vector / max(float(np.linalg.norm(vector)), 1e-12))
