"""Bounds on the clear diameter at one height of a sheet that only adds metal.

In: a passage's check, its nominal walls and the sheet, which is the same at every height.
Out: at a height, a route with its exact least distance (the lower bound) and the largest
ball whose centre can be on a surface that every way crosses (the upper bound). Both hold
for the exact surfaces, whatever the search that found them missed.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any
from weakref import WeakKeyDictionary

import numpy as np
import shapely
from numpy.typing import NDArray

from clearance.geometry import box_tree, distance, polylines, routes, segments
from clearance.geometry.planes import Plane
from clearance.geometry.soup import Box, meeting
from clearance.passages.closings import crossed
from clearance.passages.parting import Parting
from clearance.ports.mouth import Mouth
from clearance.predicted.part import NOMINAL
from clearance.sweeps.near import Near
from clearance.sweeps.station import ON_MM, Station
from clearance.system.once import once
from clearance.verdict.passage_check import PassageCheck

Floats = NDArray[np.float64]
Soup = NDArray[np.float32]

STATION = 0.5
"""Plane sections along the nominal route stand this share of its least radius apart."""
STATIONS = 3
"""Plane sections looked at for one height, at most."""
LEVEL = 0.9
"""A mouth whose normal has this share along z is nearly level."""
LYING = 0.2
"""A run whose direction has a smaller share along z lies: it is left straight up or down."""
UPRIGHT = np.array([0.0, 0.0, 1.0])
WIDENED = 2
"""Times that the narrow stretches of a route are widened: others may be the narrowest then."""
EVEN = 13
"""Places on a line up or down that are looked at for room beside the sheet."""
PAST_MM = 0.02 * 2.0 ** np.arange(5)
"""Others so far past its face: a slit that it leaves may be a tenth of a millimetre high."""
COARSE_MM, FINE_MM = 0.05, 0.005
"""How near an upper bound of a radius comes to a ball that is there."""
MOST_POINTS = 20_000
"""Points looked at for one upper bound, at most; it is safe to stop at any time."""


@dataclass(frozen=True, eq=False)
class Route:
    """A way from inlet to outlet and the exact distance of each step to the nominal walls."""

    points: Floats
    room: Floats


class Bounds:
    """Bounds of one passage, for a sheet that is given as it lies at height 0.

    Parameters
    ----------
    check : PassageCheck
    near : Near
    sheet : (T, 3, 3) ndarray, mm
        Faces of the sheet, its first layer's bottom at z = 0.
    """

    def __init__(self, check: PassageCheck, near: Near, sheet: Soup):
        self.check, self.near = check, near
        nominal = check.nominal
        self.pitch = check.checked.pitch_mm
        self.search = check.search(check.predicted(NOMINAL, self.pitch), [])
        self.walls = self.search.walls
        self.tree = self.search.tree
        self.sheet, self.sheet_tree = sheet, box_tree.build(sheet)
        self.low, self.high = nominal.way.low_mm, nominal.way.high_mm
        # No ball is wider than a mouth, so no larger distance need be told.
        self.reach = 0.5 * self.high + self.pitch
        z = sheet[..., 2]
        self.bottom, self.top = (float(z.min()), float(z.max())) if len(sheet) else (0.0, 0.0)
        self.nominal = self.route(nominal.way.route)
        self._stations: dict[int, Station | None] = {}
        self._joined: WeakKeyDictionary[Route, bool] = WeakKeyDictionary()

    def route(self, points: Floats) -> Route:
        """A route with its distances to the nominal walls."""
        room, _, _ = segments.segment_clearances(
            self.tree, points[:-1], points[1:], enough=self.reach
        )
        return Route(points, np.minimum(room, self.reach))

    def spliced(self, route: Route, first: int, last: int, points: Floats) -> Route:
        """A route whose points `first` to `last` are replaced by others, ends included."""
        part = self.route(points)
        return Route(
            np.concatenate([route.points[:first], points, route.points[last + 1 :]]),
            np.concatenate([route.room[:first], part.room, route.room[last:]]),
        )

    # ---- the lower bound ----------------------------------------------------------------------

    def clear_mm(self, route: Route, height: float) -> float:
        """Proven clear diameter on a route with the sheet at a height; 0 if it touches metal."""
        if not self._joins_mouths(route):
            return 0.0
        near = np.flatnonzero(self._near(route.points, height))
        near = near[np.argsort(np.abs(route.points[near, 2] - height))]  # the nearest first
        up = np.array([0.0, 0.0, height])
        room = segments.least_clearance(
            self.sheet_tree,
            route.points[near] - up,
            route.points[near + 1] - up,
            enough=float(route.room.min()),
        )
        return max(2.0 * (room - self.search.surface_mm), 0.0)

    def _joins_mouths(self, route: Route) -> bool:
        """Whether a route leads from the inlet's closing surface to the outlet's, across none."""
        if route not in self._joined:
            ends = (self.check.inlet, 0), (self.check.outlet, -1)
            self._joined[route] = all(self._in(mouth, route.points[n]) for mouth, n in ends) and (
                crossed(route.points, self.search.closings) is None
            )
        return self._joined[route]

    @staticmethod
    def _in(mouth: Mouth, point: Floats) -> bool:
        """Whether a point lies on a mouth's closing surface."""
        if abs(float(mouth.plane.signed(point[None])[0])) > ON_MM:
            return False
        xy = mouth.plane.to_plane(point[None])[0]
        return bool(mouth.polygon.distance(shapely.Point(xy)) <= ON_MM)

    def throat(self, route: Route, height: float) -> Floats:
        """Middle of the step of a route that has the least room."""
        n = int(np.argmin(self._room(route, height)))
        return np.asarray(0.5 * (route.points[n] + route.points[n + 1]))

    def _room(self, route: Route, height: float) -> Floats:
        """Exact distance of each step of a route to walls and sheet, mm."""
        near = self._near(route.points, height)
        room = route.room.copy()
        if near.any():
            up = np.array([0.0, 0.0, height])
            sheet, _, _ = segments.segment_clearances(
                self.sheet_tree,
                route.points[:-1][near] - up,
                route.points[1:][near] - up,
                enough=self.reach,
            )
            room[near] = np.minimum(room[near], sheet)
        return room

    def _near(self, points: Floats, height: float) -> NDArray[np.bool_]:
        """Steps of a route that the sheet may concern."""
        z = points[:, 2] - height
        low, high = np.minimum(z[:-1], z[1:]), np.maximum(z[:-1], z[1:])
        return np.asarray((low < self.top + self.reach) & (high > self.bottom - self.reach))

    def widened(self, route: Route, height: float, enough_mm: float) -> Route:
        """A route with its narrow stretches near the sheet pushed to where there is more room."""
        spacing = max(2.0 * self.pitch, 0.1 * max(enough_mm, self.pitch))
        enough = 0.5 * enough_mm + self.search.surface_mm
        room = self._room(route, height)
        for _ in range(WIDENED):
            limit = min(float(room.min()) + 2.0 * spacing, enough)
            narrow = (room < limit) & self._near(route.points, height)
            for first, last in reversed(_stretches(_grown(narrow, route.points, self.reach))):
                # Steps `first` to `last`, so points `first` to `last + 1`.
                stretch = route.points[first : last + 2]
                tree = self.local(stretch, height)
                new, *_ = routes.widen(tree, stretch, spacing_mm=spacing, rounds=6, enough=enough)
                if new is not stretch:
                    route = self.spliced(route, first, last + 1, new)
            room = self._room(route, height)
            if room.min() < limit or limit == enough:
                break
        return route

    def local(self, points: Floats, height: float) -> box_tree.Tree:
        """Exact distances to walls and sheet near some points, up to `reach` around them."""
        box = Box.around(points).grown(1.5 * self.reach)
        up = np.array([0.0, 0.0, height], np.float32)
        low = Box(box.low - up, box.high - up)
        return box_tree.build(
            np.concatenate([meeting(self.walls, box), meeting(self.sheet, low) + up])
        )

    def led(self, height: float, openings: list[Any]) -> Route | None:
        """The nominal route, led through the openings of the sheet that lie nearest to it.

        It comes along on the side of the sheet it begins on, passes the opening upright, and
        goes on along the other side.
        """
        middle = height + 0.5 * (self.top + self.bottom)
        centres = np.array([_middle(shape) for shape in openings])
        route = self.nominal
        for first, last in reversed(_stretches(self._near(route.points, height))):
            stretch = self.nominal.points[first : last + 2]
            above = stretch[[0, -1], 2] > middle
            far = np.linalg.norm(stretch[:, None, :2] - centres, axis=2)
            if above[0] == above[1]:
                new = self._pushed(stretch, height, bool(above[0]))
            else:
                c, k = np.unravel_index(int(np.argmin(far)), far.shape)
                new = self._through(stretch, int(c), centres[k], height)
            new[[0, -1]] = stretch[[0, -1]]
            route = self.spliced(route, first, last + 1, new)
        return route

    def _through(self, points: Floats, c: int, centre: Floats, height: float) -> Floats:
        """Points from one side of the sheet to the other, upright through a point in plan.

        On either side they keep to the run of the passage at point `c`, until there is room.
        """
        run = points[min(c + 1, len(points) - 1)] - points[max(c - 1, 0)]
        run /= np.linalg.norm(run)
        up = bool(points[-1, 2] > points[0, 2])
        along = run if up else -run
        if along[2] < LYING:
            along, run = UPRIGHT, UPRIGHT if up else -UPRIGHT
        faces = (self.bottom, self.top) if up else (self.top, self.bottom)
        via = np.array([[*centre, height + face] for face in faces])
        entry = self._pushed(via[:1], height, not up, along)[0]
        leaving = self._pushed(via[1:], height, up, along)[0]
        before = self._pushed(points[: max(c, 1)], height, not up)
        after = self._pushed(points[min(c + 1, len(points) - 1) :], height, up)
        before = before[(before - entry) @ run < 0.0]
        after = after[(after - leaving) @ run > 0.0]
        return np.concatenate([points[:1], before, [entry], via, [leaving], after, points[-1:]])

    def beside(self, height: float, above: bool) -> Route:
        """The nominal route, pushed down below the sheet or up above it where that is near."""
        route = self.nominal
        for first, last in reversed(_stretches(self._near(route.points, height))):
            stretch = route.points[first : last + 2]
            route = self.spliced(route, first, last + 1, self._pushed(stretch, height, above))
        return route

    def _pushed(
        self, points: Floats, height: float, above: bool, along: Floats = UPRIGHT
    ) -> Floats:
        """Points moved up or down a line to where there is most room on one side of the sheet."""
        face = height + (self.top if above else self.bottom)
        side = 1.0 if above else -1.0
        nominal, sheet = self._both(points, height)
        move = (side * (points[:, 2] - face) <= 0.0) | (sheet < nominal)
        if not move.any():
            return points
        start = points[move]
        steps = _steps(side * (face - start[:, 2]) / along[2], 1.2 * self.reach)
        tried = start[:, None] + (side * steps)[..., None] * along
        room = np.minimum(*self._both(tried.reshape(-1, 3), height)).reshape(tried.shape[:2])
        room[side * (tried[..., 2] - face) <= 0.0] = -1.0
        # Nothing may be jumped on the way but the sheet.
        gap, _, _ = segments.segment_clearances(
            self.tree, tried[:, :-1].reshape(-1, 3), tried[:, 1:].reshape(-1, 3), enough=0.01
        )
        shut = np.logical_or.accumulate(gap.reshape(room[:, 1:].shape) <= 0.0, axis=1)
        room[:, 1:][shut] = -1.0
        pushed = points.copy()
        pushed[move] = tried[np.arange(len(start)), room.argmax(1)]
        return pushed

    def ended(self, route: Route, height: float) -> Route:
        """A route whose ends stand at the roomiest point of each mouth near the sheet."""
        for at, mouth in ((0, self.check.inlet), (-1, self.check.outlet)):
            ring = mouth.rim[:, 2]
            far = ring.min() > height + self.top + 1.0 or ring.max() < height + self.bottom - 1.0
            if far and self._in(mouth, route.points[at]):
                continue
            beyond = route.points[1 if at == 0 else -2]
            point = self._in_mouth(mouth, route.points[at], beyond, height)
            if point is not None:
                last = len(route.points) - 1
                ends = (0, 1) if at == 0 else (last - 1, last)
                step = np.stack([point, beyond] if at == 0 else [beyond, point])
                route = self.spliced(route, *ends, step)
        return route

    def _in_mouth(
        self, mouth: Mouth, given: Floats, beyond: Floats, height: float
    ) -> Floats | None:
        """The roomiest of many points of a mouth from which the next point is in sight."""
        step = 0.15 * mouth.inscribed_radius
        x0, y0, x1, y1 = mouth.polygon.bounds
        x, y = (v.ravel() for v in np.meshgrid(np.arange(x0, x1, step), np.arange(y0, y1, step)))
        xy = np.concatenate([mouth.plane.to_plane(given[None]), np.stack([x, y], axis=1)])
        best, most = None, 0.0
        for _ in range(3):
            xy = xy[shapely.contains_xy(mouth.polygon, xy[:, 0], xy[:, 1])]
            points = mouth.plane.to_space(xy)
            sight = self.segments(points, np.tile(beyond, (len(points), 1)), height)
            n = int(np.argmax(sight)) if len(sight) else -1
            if n < 0 or sight[n] <= most:
                break
            best, most = points[n], float(sight[n])
            step *= 0.25
            x, y = np.meshgrid(np.arange(-4, 5) * step, np.arange(-4, 5) * step)
            xy = xy[n] + np.stack([x.ravel(), y.ravel()], axis=1)
        return best

    # ---- distances ----------------------------------------------------------------------------

    def _both(self, points: Floats, height: float) -> tuple[Floats, Floats]:
        """Exact distances of points to walls and sheet, mm; no more than `reach` is told."""
        room = distance.distances(self.tree, points)
        sheet = distance.distances(self.sheet_tree, points - np.array([0.0, 0.0, height]))
        return np.minimum(room, self.reach), np.minimum(sheet, self.reach)

    def segments(self, a: Floats, b: Floats, height: float) -> Floats:
        """Exact distance of segments to walls and sheet, mm."""
        up = np.array([0.0, 0.0, height])
        room, _, _ = segments.segment_clearances(self.tree, a, b, enough=self.reach)
        sheet, _, _ = segments.segment_clearances(
            self.sheet_tree, a - up, b - up, enough=self.reach
        )
        return np.minimum(np.minimum(room, sheet), self.reach)

    # ---- the upper bound ----------------------------------------------------------------------

    def widest_on(
        self,
        plane: Plane,
        polygon: Any,
        height: float,
        limits_mm: tuple[float, float],
        marks_mm: tuple[float, ...],
        below: float = np.inf,
        above: float = -np.inf,
    ) -> float:
        """Upper bound of a ball whose centre is on a plane figure, diameter in mm.

        Only of points whose z is at most `below` and at least `above`. The search ends when the
        bound is at most the first limit, or near a ball that is there (and no larger than the next
        mark, in rising order, if it can); or when a ball as large as the second is there, a bound
        that is known already: inf is told then.
        """
        enough_mm, known_mm = limits_mm
        if polygon.is_empty:
            return 0.0
        x0, y0, x1, y1 = polygon.bounds
        side = max(min(x1 - x0, y1 - y0) / 3.0, max(x1 - x0, y1 - y0) / 40.0, 1e-3)
        x, y = np.meshgrid(np.arange(x0, x1, side), np.arange(y0, y1, side))
        corner = np.stack([x.ravel(), y.ravel()], axis=1)
        shapely.prepare(polygon)
        best, outside, looked = 0.0, 0.0, 0
        rise = float(np.hypot(plane.u[2], plane.v[2]))
        while len(corner):
            half = 0.5 * side * np.sqrt(2.0)
            boxes = shapely.box(
                corner[:, 0], corner[:, 1], corner[:, 0] + side, corner[:, 1] + side
            )
            corner = corner[shapely.intersects(polygon, boxes)]
            middle = plane.to_space(corner + 0.5 * side)
            within = (middle[:, 2] - half * rise <= below) & (middle[:, 2] + half * rise >= above)
            corner, middle = corner[within], middle[within]
            if not len(corner):
                break
            room = np.minimum(*self._both(middle, height))
            looked += len(middle)
            there = shapely.contains_xy(polygon, *(corner + 0.5 * side).T)
            there &= (middle[:, 2] <= below) & (middle[:, 2] >= above)
            best = max(best, float(room[there].max(initial=0.0)))
            if 2.0 * best >= known_mm:
                return np.inf
            bound = room + half
            near = best + COARSE_MM
            mark = next((0.5 * mm for mm in marks_mm if best < 0.5 * mm), near)
            near = min(near, max(best + FINE_MM, mark))
            limit = max(near, 0.5 * enough_mm)
            outside = max(outside, float(bound[bound <= limit].max(initial=0.0)))
            corner, left = corner[bound > limit], bound[bound > limit]
            if looked > MOST_POINTS:
                outside = max(outside, float(left.max(initial=0.0)))
                break
            side *= 0.5
            offsets = side * np.array([(0, 0), (1, 0), (0, 1), (1, 1)])
            corner = (corner[:, None] + offsets).reshape(-1, 2)
        return 2.0 * (max(best, outside) + self.search.surface_mm)

    def covers_mouth(self, height: float) -> bool:
        """Whether a mouth that is nearly level lies in the sheet, or at one of its faces."""
        low, high = height + self.bottom - self.pitch, height + self.top + self.pitch
        return any(
            abs(m.plane.normal[2]) > LEVEL and low <= m.centre[2] <= high
            for m in (self.check.inlet, self.check.outlet)
        )

    def mouths(self, height: float) -> list[Station]:
        """The mouths that a sheet is near: every way begins and ends in them."""
        found = []
        for mouth in (self.check.inlet, self.check.outlet):
            z = mouth.rim[:, 2]
            low, high = float(z.min()), float(z.max())
            if low < height + self.top + self.reach and high > height + self.bottom - self.reach:
                found.append(Station(mouth.plane, mouth.polygon, low, high, 0.0))
        return found

    @once
    def _along(self) -> Floats:
        """Length of the nominal route up to each of its points, mm."""
        return polylines.lengths(self.nominal.points)

    def farthest(self, above: bool) -> list[Station]:
        """The plane section where the nominal route is highest, or lowest; empty if none is."""
        z = self.nominal.points[:, 2]
        return self.stations(self.nominal.points[int(z.argmax() if above else z.argmin())], 1)

    def stations(self, place: Floats, most: int = STATIONS) -> list[Station]:
        """Plane sections of the nominal void near a place, the nearest first."""
        apart = max(STATION * 0.5 * self.low, 2.0 * self.pitch)
        at = np.arange(0.5 * apart, self._along[-1], apart)
        points = polylines.points_at(at, self._along, self.nominal.points)
        nearest = np.argsort(np.linalg.norm(points - place, axis=1))[:most]
        found = [self._station(int(n), at[n], points[n]) for n in nearest]
        return [station for station in found if station is not None]

    def _station(self, n: int, at: float, point: Floats) -> Station | None:
        if n not in self._stations:
            ends = [
                polylines.points_at(at + s, self._along, self.nominal.points)
                for s in (-0.25 * self.low, 0.25 * self.low)
            ]
            plane = Plane.through(point, ends[1] - ends[0])
            polygon = self.search.void_piece(plane)
            self._stations[n] = None if polygon is None else self._parting(plane, polygon)
        return self._stations[n]

    def _parting(self, plane: Plane, polygon: Any) -> Station | None:
        """A section, if every way but the narrowest crosses it: shown on the nominal cells."""
        cells = self.search.cells
        half = cells.half_diagonal_mm
        inlet, outlet = (
            cells.near_plate(m.plane, m.polygon, -half, half, half)
            for m in (self.check.inlet, self.check.outlet)
        )
        parting = Parting(cells, self._free.copy(), (inlet, outlet))
        parting.cut(plane, polygon)
        if not parting.all_cross(cells.slack_mm):
            return None
        z = plane.to_space(shapely.get_coordinates(polygon))[:, 2]
        return Station(plane, polygon, float(z.min()), float(z.max()), 2.0 * cells.slack_mm)

    @once
    def _free(self) -> NDArray[np.uint8]:
        """Cells that can hold the centre of a ball wider than twice the cells' slack."""
        cells = self.search.cells
        free = (cells.radius > 0.0).astype(np.uint8)
        free.ravel()[cells.barrier(self.pitch)] = 0
        return free


def _steps(to_face: Floats, most: float) -> Floats:
    """Lengths along a line to look at, (N, K) in order: even ones, and close ones past a face."""
    past = to_face[:, None] + PAST_MM
    even = np.broadcast_to(np.linspace(0.0, most, EVEN), (len(to_face), EVEN))
    return np.sort(np.concatenate([even, np.clip(past, 0.0, most)], axis=1), axis=1)


def _grown(marked: NDArray[np.bool_], points: Floats, by_mm: float) -> NDArray[np.bool_]:
    """Marked steps and those that lie within a length of them along the route."""
    along = polylines.lengths(points)
    grown = marked.copy()
    for first, last in _stretches(marked):
        grown |= (along[1:] > along[first] - by_mm) & (along[:-1] < along[last + 1] + by_mm)
    return grown


def _stretches(marked: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """First and last number of every row of marked steps."""
    edge = np.flatnonzero(np.diff(np.concatenate([[0], marked.astype(np.int8), [0]])))
    return [(int(a), int(b) - 1) for a, b in zip(edge[::2], edge[1::2], strict=True)]


def _middle(shape: Any) -> Floats:
    """Middle of the largest circle in a plane figure."""
    part = max(shapely.get_parts(shape), key=lambda part: part.area)
    line = shapely.maximum_inscribed_circle(part, tolerance=0.02)
    return np.asarray(shapely.get_coordinates(line)[0])
