"""The lower bound of a clear diameter: a route with exact distances to the metal.

In: the void between two mouths and its cells. Out: a route from mouth to mouth, the radius that is
free along all of it, and where it is narrowest. Source: docs/method.md, "The bracket".
"""

from __future__ import annotations

import numpy as np
import shapely
from numpy.typing import NDArray

from clearance.columns import ways
from clearance.geometry import box_tree, distance, routes, segments
from clearance.geometry.areas import CIRCLE_MM
from clearance.geometry.planes import Plane
from clearance.passages.closings import (
    crossed,
    drawn_in,
)
from clearance.passages.crossings import Crossing
from clearance.passages.possible_ways import PossibleWays
from clearance.passages.way import NO_ROUTE, Floats, Way, enters
from clearance.ports.mouth import Mouth

MOST_TRIES = 8
"""Routes tried before a way is left unproven."""
BEND = 2.0
"""A route is bent over so many radii before and behind stray metal in its way."""


class LowerBound(PossibleWays):
    """Routes between two mouths."""

    def _still(self, hint: Way, ceiling: float, need: float) -> tuple[float, Floats, Floats | None]:
        """The nominal route, perhaps bent, if that is as wide as it was or as the ceiling allows.

        Where nothing has moved, metal is the nominal part's, from which the route keeps the
        distance proven there, or stray.
        """
        if len(hint.route) == 0 or not self.predicted.in_place:
            return 0.0, NO_ROUTE, None
        stray = box_tree.build(self.stray)
        half = 0.5 * hint.low_mm + self.surface_mm
        bound, where = segments.certified_clearance(stray, hint.route, half)
        if where is None:
            return 0.5 * hint.low_mm, hint.route, hint.throat
        if 2.0 * bound >= ceiling - 4.0 * CIRCLE_MM:
            return bound - self.surface_mm, hint.route, where
        bent = self._bent(hint.route, stray, ceiling)
        bound, where = segments.certified_clearance(self.tree, bent)
        low, bent, where = self._held(max(bound - self.surface_mm, 0.0), bent, where)
        as_wide = 2.0 * low >= hint.low_mm - 1e-4
        if as_wide or ceiling - 2.0 * low <= self._fine(2.0 * low, ceiling, need):
            return low, bent, where
        return 0.0, NO_ROUTE, None

    def _bent(self, route: Floats, stray: box_tree.Tree, ceiling: float) -> Floats:
        """A route led through the middle of what is open where stray metal stands in its way."""
        rooms, _, _ = segments.segment_clearances(stray, route[:-1], route[1:], 0.5 * ceiling)
        tight = np.flatnonzero(np.isfinite(rooms))
        steps = np.linalg.norm(np.diff(route, axis=0), axis=1)
        aside = max(1, int(np.ceil(BEND * 0.5 * ceiling / max(float(np.median(steps)), 1e-9))))
        # Stretches so near to each other that they would be bent twice are bent together.
        stretches = np.split(tight, np.flatnonzero(np.diff(tight) > 2 * aside + 1) + 1)
        bent, kept = [], 0
        for stretch in stretches:
            place = self._open_near(route[stretch[len(stretch) // 2]])
            if place is None or not len(tight):
                return route
            first, last = max(int(stretch[0]) - aside, 0), int(stretch[-1]) + 1 + aside
            piece = [route[first : stretch[0] + 1], place[None], route[stretch[-1] + 1 : last + 1]]
            spacing = max(self.predicted.grid.pitch_mm, 0.05 * ceiling)
            bound, around, _ = self._widened(np.concatenate(piece), ceiling, ceiling, spacing)
            if bound <= 0.0:
                return route
            bent += [route[kept:first], around]
            kept = last + 1
        return np.concatenate([*bent, route[kept:]])

    def _open_near(self, place: Floats) -> Floats | None:
        """Middle of the opening of the crossing nearest to a place; None if nothing is open."""
        if not self.crossings:
            return None
        off = [float(np.linalg.norm(np.array(c.centre_mm) - place)) for c in self.crossings]
        crossing = self.crossings[int(np.argmin(off))]
        if crossing.opening.is_empty:
            return None
        largest = max(shapely.get_parts(crossing.opening), key=lambda part: float(part.area))
        circle = shapely.maximum_inscribed_circle(largest, tolerance=CIRCLE_MM)
        x, y = shapely.get_coordinates(circle)[0]
        return np.array([x, y, crossing.height_mm])

    def _route(
        self, closed: tuple[Crossing, ...], ceiling: float, need: float, tries: int = MOST_TRIES
    ) -> tuple[float, Floats, Floats | None]:
        passable, free = self.cells.passable, self.cells.free
        shut = [self._cells_of(crossing) for crossing in closed]
        if shut:
            passable = passable.copy()
            passable.ravel()[np.concatenate(shut)] = 0
            free = ways.packed(passable)
        best: tuple[float, Floats, Floats | None] = (0.0, np.empty((0, 3)), None)
        ends = self.cells.behind(self.inlet), self.cells.behind(self.outlet)
        for _ in range(tries):
            index = self._widest(passable, ends, free)
            if len(index) == 0:
                return best
            index = ways.straightened(index, self.cells.radius, passable, ends, free)
            low, route, throat = self._certify(self.cells.centres(index), ceiling, need)
            place = next((p for p in (enters(route, one) for one in closed) if p is not None), None)
            if place is not None:
                low, throat = 0.0, place  # widened into a crossing that it may not use
            if low > best[0]:
                best = (low, route, throat)
            if 2.0 * low >= self.smallest_way_mm or throat is None:
                return best
            # The cells jumped something thinner than themselves: go round that place.
            near = 1.5 * self.cells.pitch_mm
            passable = passable.copy() if passable is self.cells.passable else passable
            passable.ravel()[self.cells.within(throat - near, throat + near)] = 0
            free = ways.packed(passable)
        return best

    def _widest(
        self,
        passable: NDArray[np.uint8],
        ends: tuple[NDArray[np.int64], NDArray[np.int64]],
        free: ways.Packed,
    ) -> NDArray[np.int64]:
        """The widest route over cells; of a void that passages share by what all of them ask."""
        shared = self.cells.ways_from(self.inlet) if passable is self.cells.passable else None
        if shared is not None:
            return shared.to(ends[1])[0]
        return ways.widest_route(self.cells.radius, passable, *ends, free)[0]

    def _certify(
        self, centres: Floats, ceiling: float, need: float
    ) -> tuple[float, Floats, Floats | None]:
        """Lead a route over cells from mouth to mouth and widen it."""
        pitch = self.predicted.grid.pitch_mm
        start, end = self.start(self.inlet, centres[0]), self.start(self.outlet, centres[-1])
        for every in (4, 1):  # where there is room, a step need not be a cell's
            inner = centres[::every] if len(centres) > every else centres
            route = np.concatenate([start[None], inner, end[None]])
            bound, where = segments.certified_clearance(self.tree, route, enough=2.0 * pitch)
            if bound > 0.0:
                break
        if bound <= 0.0:
            return 0.0, route, where
        wide = self._held(*self._widened(route, ceiling, need))
        if wide[0] > 0.0:
            return wide
        return self._held(max(bound - self.surface_mm, 0.0), route, where)

    def _held(
        self, low: float, route: Floats, where: Floats | None
    ) -> tuple[float, Floats, Floats | None]:
        """A route held against every closing surface; where it crosses one, laid onto it.

        A route that still crosses one proves nothing: then the place is told instead of the throat.
        """
        if crossed(route, self.closings) is None:
            return low, route, where
        route = drawn_in(route, self.closings)
        place = crossed(route, self.closings)
        if place is not None:
            return 0.0, route, place
        bound, where = segments.certified_clearance(self.tree, route)
        return max(bound - self.surface_mm, 0.0), route, where

    def _widened(
        self, route: Floats, ceiling: float, need: float, spacing: float = 0.0
    ) -> tuple[float, Floats, Floats | None]:
        """A route pushed to where there is more room, and its exact least distance."""
        pitch = self.predicted.grid.pitch_mm
        spacing = spacing or max(2.0 * pitch, 0.15 * ceiling)
        # Nothing can be wider than the ceiling; a tenth of a pitch below it is near enough,
        # unless the requirement lies near it.
        short = 0.1 * pitch if abs(ceiling - need) > pitch else CIRCLE_MM
        enough = max(0.5 * ceiling - short, 0.0)
        route, bound, where = routes.widen(self.tree, route, spacing_mm=spacing, enough=enough)
        return max(bound - self.surface_mm, 0.0), route, where

    def start(self, mouth: Mouth, first: Floats) -> Floats:
        """The roomiest point of a mouth's closing surface near the first cell of a route."""
        return self._climb(mouth, mouth.plane.to_plane(first[None])[0])

    def _climb(self, mouth: Mouth, xy: Floats) -> Floats:
        """Pattern search for the largest distance on a closing surface."""
        turn = np.linspace(0.0, 2.0 * np.pi, 8, endpoint=False)
        compass = np.stack([np.cos(turn), np.sin(turn)], axis=1)
        step = 0.25 * mouth.inscribed_radius
        room = float(distance.distances(self.tree, mouth.plane.to_space(xy[None]))[0])
        while step > 1e-3:
            step = min(step, 0.9 * room)  # stay within the ball: no wall is jumped
            if step <= 1e-3:
                break
            around = xy + step * compass
            inside = shapely.contains_xy(mouth.polygon, around[:, 0], around[:, 1])
            rooms = distance.distances(self.tree, mouth.plane.to_space(around))
            rooms[~inside] = -1.0
            best = int(np.argmax(rooms))
            if rooms[best] > room:
                room, xy = float(rooms[best]), around[best]
            else:
                step *= 0.5
        return np.asarray(mouth.plane.to_space(xy[None])[0])

    def _cells_of(self, crossing: Crossing) -> NDArray[np.int64]:
        """Cells of a crossing, a cell beyond its faces and rim."""
        pitch = self.cells.pitch_mm
        return self.cells.near_plate(
            Plane.level(0.0),
            crossing.footprint,
            crossing.low - pitch,
            crossing.high + pitch,
            pitch,
        )
