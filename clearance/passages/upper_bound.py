"""The upper bound of a clear diameter: sections that every wide enough way crosses.

In: the void between two mouths, its cells and a route. Out: the largest ball that can pass. Where
no plane section closes a neck, cells are split there. Source: docs/method.md, "The bracket".
"""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from clearance.columns import ways
from clearance.geometry import distance, polylines, routes, segments
from clearance.geometry.areas import largest_circle_mm
from clearance.geometry.planes import Plane
from clearance.passages.closings import (
    RIM_MM,
    Closing,
    reaches,
)
from clearance.passages.crossings import Crossing
from clearance.passages.lower_bound import MOST_TRIES
from clearance.passages.neck import Neck, least_radius_mm
from clearance.passages.parting import Parting
from clearance.passages.possible_ways import PossibleWays
from clearance.passages.way import Floats

BESIDE = 11.0
"""A ball whose centre lies in a cell that is shut beside a mouth is no larger, in cells: the centre
is no farther than 5.5 from the rim. See `Cells.barrier`."""
FARTHER = 12.0
"""The same of cells that are shut from one farther outward on: no farther than 5.9."""
NECK = 0.2
"""A neck is asked for a radius that is larger than the proven one by this much of a pitch."""
NECK_CELLS = 60_000_000
"""Cells of a window in which a neck is split, at most (about 20 bytes each)."""
QUICK_CELLS = 4_000_000
"""The same where the verdict does not hang on it."""
CUT_CELLS = 200_000_000
"""Cells gone over for all plane sections together, about; at least MOST_TRIES sections."""


class UpperBound(PossibleWays):
    """Sections and necks that every way between two mouths has to pass."""

    def _cells_within(self, crossing: Crossing) -> NDArray[np.int64]:
        """Cells that lie in a crossing with all of them: another branch may lead through others."""
        half = self.cells.half_diagonal_mm
        low, high = crossing.low + half, crossing.high - half
        if low > high or crossing.footprint.is_empty:
            return np.empty(0, np.int64)
        level = Plane.level(0.0)
        return self.cells.near_plate(level, crossing.footprint, low, high, -half)

    def _cut(
        self, closed: tuple[Crossing, ...], low: float, route: Floats, known: float = np.inf
    ) -> float:
        """Upper bound of the clear diameter from plane sections; given up from `known` on.

        Cells that a centre of a ball of radius `low` can be in form a graph that every wider way
        lies in. Its links through some plane sections are cut. If every chain crosses one of them
        an odd number of times, so does every way, and its ball fits into the largest circle there.
        If chains without a link through them are missing only, the ball of a way comes so near to
        one that it meets it.
        """
        cells = self.cells
        half = cells.half_diagonal_mm
        if low < half + RIM_MM:
            return np.inf  # a wall may part a ball from the centre of the cell that it is in
        ends = self._at(self.ends[0]), self._at(self.ends[1])
        parting = Parting(cells, self._active(closed, low), ends)
        # From nothing: a section too narrow for the route contradicts it, and that has to show.
        widest, rest, rounding = 0.0, np.inf, 2.0 * self.surface_mm
        for n in range(self._tries()):
            cut = self._section(*self._throat(route if n == 0 else self._drawn_in(route)))
            if cut is None:
                break
            plane, polygon, circle = cut
            widest = max(widest, circle)
            if widest + rounding >= known:
                return known
            parting.cut(plane, polygon)
            index, room = parting.left()
            # What is left is no wider than the cells of its widest route.
            rest = 0.0 if len(index) == 0 else 2.0 * (room + cells.slack_mm)
            if rest <= widest:
                break
            route = cells.centres(index)
        high = max(widest, rest)
        if high + rounding >= known:
            return known
        beside = float(np.hypot(widest, 2.0 * half))
        if rest < beside and not parting.all_cross(max(low, 0.5 * high) + 0.5 * self.surface_mm):
            high = beside
        return min(high, 1e9) + rounding

    def _by_cells(self, closed: tuple[Crossing, ...]) -> float:
        """Upper bound of the clear diameter from the cells of the widest chain alone.

        It tells no ball that fits into the slack of a cell; where a sheet leaves a hair's width and
        no section bounds it, it says at least that no more is left.
        """
        cells = self.cells
        least = cells.slack_mm + RIM_MM  # the centre of a larger ball lies in no cell of metal
        active = self._active(closed, least)
        ends = self._at(self.ends[0]), self._at(self.ends[1])
        found, room = ways.widest_route(cells.radius, active, *ends)
        high = ways.widest_bound(cells.radius, room) + cells.slack_mm if len(found) else least
        if not self.hidden.all_plain:  # a larger ball's centre lies in no cell shut beside a mouth
            high = max(high, 0.5 * self._beside_mm(FARTHER))
        return 2.0 * (max(high, least) + self.surface_mm)

    def _beside_mm(self, cells: float) -> float:
        """Largest ball whose centre may lie in a cell that is shut beside a mouth.

        What closes a mouth that has moved in parts reaches from its rim as far as these are apart.
        """
        apart = 0.0
        for one in self.closings:
            at = np.array([place.plane.origin for place in one.places])
            apart = max(apart, float(np.linalg.norm(at[:, None] - at, axis=2).max()))
        # As far sideways, and as far outward.
        return cells * self.cells.pitch_mm + 2.0 * np.sqrt(2.0) * apart

    def _active(self, closed: tuple[Crossing, ...], radius_mm: float) -> NDArray[np.uint8]:
        """Cells that the centre of a ball of a radius can be in, without some crossings."""
        active = (self.cells.radius >= radius_mm - self.cells.slack_mm).view(np.uint8)
        active.ravel()[self.cells.barrier(self.cells.pitch_mm)] = 0
        for crossing in closed:
            active.ravel()[self._cells_within(crossing)] = 0
        return active

    def _neck_wanted(self, low: float, high: float, enough: float) -> bool:
        """Whether the bracket is too wide: for the verdict, or for a number in a small window."""
        pitch = self.predicted.grid.pitch_mm
        cells = np.prod(self.cells.shape)
        if low < enough <= high:
            return bool(high - low > pitch and cells <= NECK_CELLS)
        return bool(high - low > 2.0 * pitch and cells <= QUICK_CELLS)

    def _neck(self, closed: tuple[Crossing, ...], low: float, throat: Floats | None) -> float:
        """Upper bound of the clear diameter where no plane section closes the neck."""
        pitch = self.cells.pitch_mm
        radius = max(low + NECK * pitch, least_radius_mm(pitch))
        active = self._active(closed, radius)
        active[self.cells.inside(self.tree)] = 0
        neck = Neck(active, self.tree, self.cells.origin, pitch, radius)
        start, end = (self._at(one, radius) for one in self.ends)
        return 2.0 * (radius + self.surface_mm) if neck.parted(start, end, throat) else np.inf

    def _tries(self) -> int:
        """Sections that may be taken: many in a small window, few in a large one."""
        return int(np.clip(CUT_CELLS // np.prod(self.cells.shape), MOST_TRIES, 64))

    def _drawn_in(self, route: Floats) -> Floats:
        """A route over cells, led through the middle of its throat if it runs through void."""
        if segments.certified_clearance(self.tree, route)[0] <= 0.0:
            return route
        spacing = 2.0 * self.predicted.grid.pitch_mm
        return routes.widen(self.tree, route, spacing_mm=spacing, rounds=8)[0]

    def _at(self, end: Closing, radius_mm: float = 0.0) -> NDArray[np.int64]:
        """Cells that hold the centre of a ball in a mouth; its rim is metal."""
        half = self.cells.half_diagonal_mm
        found = [np.empty(0, np.int64)]
        for surface in end.surfaces:
            inner = -0.99 * radius_mm if end.flat else 0.0
            places = surface.polygon.buffer(inner)
            if not places.is_empty:
                found.append(self.cells.near_plate(surface.plane, places, -half, half, half))
        return np.concatenate(found)

    def _throat(self, route: Floats) -> tuple[Floats, Floats, float]:
        """Narrowest vertex of a route, as far as can be from its ends, and the direction there."""
        room = distance.distances(self.tree, route)
        along = polylines.lengths(route)
        from_end = np.minimum(along, along[-1] - along)
        narrow = room <= room.min() + max(0.002 * room.min(), 0.005)
        n = int(np.argmax(np.where(narrow, from_end, -1.0)))
        reach = max(float(room[n]), self.predicted.grid.pitch_mm)
        ends = [
            polylines.points_at(np.clip(along[n] + s, 0, along[-1]), along, route)
            for s in (-reach, reach)
        ]
        tangent = ends[1] - ends[0]
        return route[n], tangent / max(float(np.linalg.norm(tangent)), 1e-12), float(room[n])

    def _section(
        self, place: Floats, tangent: Floats, room: float
    ) -> tuple[Plane, Any, float] | None:
        """The narrowest of a few plane sections of the void near a place."""
        best: tuple[Plane, Any, float] | None = None
        for normal in self._normals(place, tangent, room):
            plane = Plane.through(place, normal)
            polygon = self.void_piece(plane)
            if polygon is None:
                continue
            circle = largest_circle_mm(polygon)
            if best is None or circle < best[2]:
                best = (plane, polygon, circle)
        return best

    def _normals(self, place: Floats, tangent: Floats, room: float) -> list[Floats]:
        """The route's direction; the direction that the places of contact do not span; vertical."""
        turn = np.linspace(0.0, 2.0 * np.pi, 24, endpoint=False)
        level = np.array([0.0, 0.0, 1.0])
        normals = [tangent]
        near = [c for c in self.crossings if c.low - 1e-9 <= place[2] <= c.high + 1e-9]
        if near:
            normals.insert(0, level)
        a = np.cross(tangent, [1.0, 0.0, 0.0] if abs(tangent[0]) < 0.9 else [0.0, 1.0, 0.0])
        a /= np.linalg.norm(a)
        b = np.cross(tangent, a)
        ring = place + 0.3 * room * (np.cos(turn)[:, None] * a + np.sin(turn)[:, None] * b)
        _, touch, _ = distance.closest(self.tree, ring)
        _, _, axes = np.linalg.svd(touch - touch.mean(0))
        if abs(float(axes[2] @ tangent)) > 0.5:
            normals.append(axes[2])
        return normals

    def void_piece(self, plane: Plane) -> Any:
        """Piece of the predicted void in a plane that holds the plane's origin, or None.

        None too where it comes to a mouth: a ball there is bounded by no wall.

        The predicted metal in the plane is put together slab by slab, as everywhere.
        """
        from clearance.predicted.plane_sections import predicted_metal

        window, metal = predicted_metal(self.predicted, plane)
        at = plane.to_plane(plane.origin[None])[0]
        for piece in shapely.get_parts(window.difference(metal)):
            if piece.geom_type == "Polygon" and shapely.intersects_xy(piece, *at):
                surfaces = (s for one in self.closings for s in one.surfaces)
                at_mouth = any(reaches(piece, surface, plane) for surface in surfaces)
                return None if at_mouth or piece.intersects(window.boundary) else piece
        return None
