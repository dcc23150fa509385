"""Exact plane sections of a closed mesh.

In: a closed triangle soup and a plane. Out: the directed outlines of the metal
in that plane, and the metal as polygons. Nothing is rounded or merged by
coordinates: two neighbouring triangles meet the plane in bitwise the same
point, and outlines are chained by the mesh edges that they pass through.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from clearance.geometry.stretches import fixed
from clearance.kernels.compiler import kernel

if TYPE_CHECKING:
    from shapely import MultiPolygon

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
Ints = NDArray[np.int64]
Keys = NDArray[np.uint64]
Window = tuple[float, float, float, float]

# An outline shorter than this (mm) encloses less than 1e-13 mm2: it is dropped.
SHORTEST_OUTLINE = 1e-6


@dataclass(frozen=True, eq=False, slots=True)
class Plane:
    """A plane with its own right-handed axes: u x v = normal, all of unit length.

    Attributes
    ----------
    origin, normal, u, v : ndarray (3,) float64
        A point of the plane (mm), its normal and its two axes.
    """

    origin: Floats
    normal: Floats
    u: Floats
    v: Floats

    @classmethod
    def level(cls, z: float) -> Plane:
        """Return the horizontal plane at height `z` (mm); plane coordinates are x and y."""
        return cls(np.array([0.0, 0.0, float(z)]), *np.eye(3)[[2, 0, 1]])

    @classmethod
    def through(cls, origin: ArrayLike, normal: ArrayLike) -> Plane:
        """Return the plane through `origin` (mm) with `normal` (any length but zero).

        Raises
        ------
        ValueError
            If the normal has no length.
        """
        n = np.asarray(normal, dtype=np.float64)
        length = float(np.linalg.norm(n))
        if not length > 0.0:
            raise ValueError("a plane's normal must have a length above zero")
        n = n / length
        helper = np.array([0.0, 1.0, 0.0]) if abs(n[1]) < 0.9 else np.array([0.0, 0.0, 1.0])
        u = np.cross(helper, n)
        u /= np.linalg.norm(u)
        return cls(np.asarray(origin, dtype=np.float64).copy(), n, u, np.cross(n, u))

    def to_plane(self, points: ArrayLike) -> Floats:
        """Return plane coordinates (N, 2) of points (N, 3) in space, projected along the normal."""
        offsets = np.asarray(points, dtype=np.float64) - self.origin
        result: Floats = offsets @ np.stack([self.u, self.v], axis=1)
        return result

    def to_space(self, points: ArrayLike) -> Floats:
        """Return the points in space (N, 3) of plane coordinates (N, 2)."""
        result: Floats = self.origin + np.asarray(points, dtype=np.float64) @ np.stack(
            [self.u, self.v]
        )
        return result

    def signed(self, points: ArrayLike) -> Floats:
        """Return the signed distances (N,) of points (N, 3) along the normal, in mm."""
        result: Floats = (np.asarray(points, dtype=np.float64) - self.origin) @ self.normal
        return result


class Segments(NamedTuple):
    """The pieces of outline that single triangles leave in a plane.

    Attributes
    ----------
    points : ndarray (N, 2, 2) float64
        Start and end of each piece in plane coordinates; metal is on the left.
    keys : ndarray (N, 2) uint64
        Names of the mesh edges on which start and end lie.
    triangle : ndarray (N,) int64
        Index of the triangle that each piece comes from.
    """

    points: Floats
    keys: Keys
    triangle: Ints


class Loops(NamedTuple):
    """Outlines in plane coordinates, metal on the left of their direction.

    Attributes
    ----------
    closed : list of ndarray (N, 2) float64
        Closed outlines; the first point is not repeated.
    open : list of ndarray (N, 2) float64
        Chains that end because the triangles given are not a closed mesh.
    """

    closed: list[Floats]
    open: list[Floats]


@kernel
def _crossed_by_level(triangles: Singles, level: np.float32) -> Ints:
    found = np.empty(triangles.shape[0], np.int64)
    count = 0
    for i in range(triangles.shape[0]):
        first = triangles[i, 0, 2] >= level
        if (triangles[i, 1, 2] >= level) != first or (triangles[i, 2, 2] >= level) != first:
            found[count] = i
            count += 1
    return found[:count].copy()


@kernel
def _crossed_by_plane(triangles: Singles, origin: Floats, normal: Floats) -> Ints:
    found = np.empty(triangles.shape[0], np.int64)
    count = 0
    for i in range(triangles.shape[0]):
        first = _height(triangles[i, 0], origin, normal) >= 0.0
        if (_height(triangles[i, 1], origin, normal) >= 0.0) != first or (
            _height(triangles[i, 2], origin, normal) >= 0.0
        ) != first:
            found[count] = i
            count += 1
    return found[:count].copy()


@kernel
def _crossed_by_levels(triangles: Singles, levels: Singles) -> tuple[Ints, Ints]:
    which = np.empty(1024, np.int64)
    found = np.empty(1024, np.int64)
    count = 0
    last = levels.shape[0]
    for i in range(triangles.shape[0]):
        a, b, c = triangles[i, 0, 2], triangles[i, 1, 2], triangles[i, 2, 2]
        low = min(a, b, c)
        high = max(a, b, c)
        if high < levels[0] or low >= levels[last - 1]:
            continue
        for k in range(np.searchsorted(levels, low, side="right"), last):
            if levels[k] > high:
                break
            if count == found.shape[0]:
                which = np.concatenate((which, np.empty_like(which)))
                found = np.concatenate((found, np.empty_like(found)))
            which[count] = k
            found[count] = i
            count += 1
    return which[:count], found[:count]


@kernel
def _height(vertex: Singles, origin: Floats, normal: Floats) -> float:
    return (
        (np.float64(vertex[0]) - origin[0]) * normal[0]
        + (np.float64(vertex[1]) - origin[1]) * normal[1]
        + (np.float64(vertex[2]) - origin[2]) * normal[2]
    )


@kernel
def _before(a: Singles, b: Singles) -> bool:
    """Whether vertex `a` comes before `b`: the order that both neighbours of an edge agree on."""
    for k in range(3):
        if a[k] != b[k]:
            return bool(a[k] < b[k])
    return False


@kernel
def _mix(key: np.uint64, bits: np.uint32) -> np.uint64:
    word = np.uint64(0) if bits == np.uint32(0x80000000) else np.uint64(bits)  # -0.0 is 0.0
    key = (key ^ word) * np.uint64(0x9E3779B97F4A7C15)
    return key ^ (key >> np.uint64(29))


@kernel
def _cut_edge(
    a: Singles, b: Singles, bits_a: Any, bits_b: Any, frame: Floats, point: Floats
) -> np.uint64:
    """Write where edge a-b meets the plane into `point` and return the edge's key."""
    if _before(b, a):
        a, b = b, a
        bits_a, bits_b = bits_b, bits_a
    key = np.uint64(0x243F6A8885A308D3)
    for k in range(3):
        key = _mix(key, bits_a[k])
    for k in range(3):
        key = _mix(key, bits_b[k])
    height_a = _height(a, frame[0], frame[1])
    height_b = _height(b, frame[0], frame[1])
    share = height_a / (height_a - height_b)
    point[0] = 0.0
    point[1] = 0.0
    for k in range(3):
        # A vertex on the plane is its own cut point, whichever edge it is reached by.
        start = np.float64(a[k])
        at = np.float64(b[k]) if height_b == 0.0 else start + share * (np.float64(b[k]) - start)
        point[0] += (at - frame[0, k]) * frame[2, k]
        point[1] += (at - frame[0, k]) * frame[3, k]
    return key


@kernel
def _cut(triangles: Singles, bits: Any, crossed: Ints, frame: Floats) -> tuple[Floats, Keys]:
    points = np.empty((crossed.shape[0], 2, 2), np.float64)
    keys = np.empty((crossed.shape[0], 2), np.uint64)
    for i in range(crossed.shape[0]):
        t = crossed[i]
        for k in range(3):
            m = (k + 1) % 3
            above = _height(triangles[t, k], frame[0], frame[1]) >= 0.0
            if above == (_height(triangles[t, m], frame[0], frame[1]) >= 0.0):
                continue
            # Seen from outside the triangle turns left, so its outline runs from the edge that
            # comes down to the edge that goes up, and the metal lies to the left of it.
            end = 0 if above else 1
            keys[i, end] = _cut_edge(
                triangles[t, k], triangles[t, m], bits[t, k], bits[t, m], frame, points[i, end]
            )
    return points, keys


def _at_or_above(z: ArrayLike) -> Singles:
    """Round heights up to float32, so that comparing float32 with them is exact."""
    exact = np.atleast_1d(np.asarray(z, dtype=np.float64))
    rounded = exact.astype(np.float32)
    return np.where(rounded < exact, np.nextafter(rounded, np.float32(np.inf)), rounded)


def crossed(triangles: Singles, heights: ArrayLike) -> list[Ints]:
    """Return for each height the indices of the triangles that its level plane crosses.

    One pass over the mesh for all heights: `cut(triangles[found], Plane.level(z))` is then
    cheap for each.

    Parameters
    ----------
    triangles : ndarray (F, 3, 3) float32
        Closed triangle soup, mm.
    heights : array_like (K,)
        Heights in mm, in any order.
    """
    levels = _at_or_above(heights)
    if levels.size == 0:
        return []
    order = np.argsort(levels, kind="stable")
    which, found = _crossed_by_levels(fixed(triangles), levels[order])
    result: list[Ints] = [found[:0]] * levels.size
    for k, position in enumerate(order):
        result[position] = found[which == k]
    return result


def cut(triangles: Singles, plane: Plane) -> Segments:
    """Return the directed pieces of outline that a plane cuts from a mesh.

    A vertex exactly on the plane counts as above it, so every crossed triangle leaves exactly
    one piece and nothing is left to tolerance.

    Parameters
    ----------
    triangles : ndarray (F, 3, 3) float32
        Triangle soup, mm, counter-clockwise from outside.
    plane : Plane
        The plane; metal is on the left of each piece as seen from its normal.
    """
    triangles = np.ascontiguousarray(triangles, dtype=np.float32)
    if np.array_equal(plane.normal, (0.0, 0.0, 1.0)):
        hit = _crossed_by_level(triangles, _at_or_above(plane.origin[2])[0])
    else:
        hit = _crossed_by_plane(triangles, plane.origin, plane.normal)
    frame = np.stack([plane.origin, plane.normal, plane.u, plane.v])
    points, keys = _cut(triangles, triangles.view(np.uint32), hit, frame)
    return Segments(points, keys, hit)


@kernel
def _followers(starts: Keys, by_start: Ints, ends: Keys, by_end: Ints) -> Ints:
    """Return for each piece the one that starts on the mesh edge on which it ends, or -1."""
    follower = np.full(starts.shape[0], -1, np.int64)
    i = 0
    j = 0
    while i < starts.shape[0] and j < starts.shape[0]:
        start = starts[by_start[i]]
        end = ends[by_end[j]]
        if start == end:
            follower[by_end[j]] = by_start[i]
            i += 1
            j += 1
        elif start < end:
            i += 1
        else:
            j += 1
    return follower


@kernel
def _walk(follower: Ints) -> tuple[Ints, Ints, int]:
    """Return the pieces in walking order, where each chain starts, and how many are open."""
    n = follower.shape[0]
    order = np.empty(n, np.int64)
    first = np.empty(n + 1, np.int64)
    free = np.ones(n, np.bool_)
    led = np.zeros(n, np.bool_)
    for i in range(n):
        if follower[i] >= 0:
            led[follower[i]] = True
    count = 0
    chains = 0
    opened = 0
    for turn in range(2):  # open chains from their first piece, then what is left: closed ones
        for i in range(n):
            if not free[i] or (turn == 0 and led[i]):
                continue
            first[chains] = count
            chains += 1
            opened += 1 - turn
            at = i
            while at >= 0 and free[at]:
                free[at] = False
                order[count] = at
                count += 1
                at = follower[at]
    first[chains] = count
    return order, first[: chains + 1].copy(), opened


def _meets(loop: Floats, window: Window) -> bool:
    low, high = loop.min(axis=0), loop.max(axis=0)
    return bool(
        high[0] >= window[0]
        and low[0] <= window[2]
        and high[1] >= window[1]
        and low[1] <= window[3]
    )


def trace(keys: Keys) -> tuple[Ints, Ints, int]:
    """Put pieces of outline in walking order, by the mesh edges they pass through.

    On an edge that more than two triangles share any pairing is taken: the area enclosed does
    not depend on it.

    Parameters
    ----------
    keys : ndarray (N, 2) uint64
        As in `Segments`.

    Returns
    -------
    order : ndarray (N,) int64
        Pieces, chain after chain.
    first : ndarray (C + 1,) int64
        Where in `order` each chain starts.
    opened : int
        So many chains are open; they come first.
    """
    starts = np.ascontiguousarray(keys[:, 0])
    ends = np.ascontiguousarray(keys[:, 1])
    return _walk(_followers(starts, np.argsort(starts), ends, np.argsort(ends)))


def chain(segments: Segments) -> Loops:
    """Chain pieces of outline into loops (see `trace`). Points that repeat are left out."""
    order, first, opened = trace(segments.keys)
    result = Loops([], [])
    for k in range(first.size - 1):
        pieces = order[first[k] : first[k + 1]]
        points = segments.points[pieces, 0]
        if k < opened:
            points = np.concatenate([points, segments.points[pieces[-1:], 1]])
            result.open.append(points)
            continue
        before = np.concatenate((points[-1:], points[:-1]))
        points = points[(points != before).any(axis=1)]
        if len(points) >= 3 and _perimeter(points) >= SHORTEST_OUTLINE:
            result.closed.append(points)
    return result


def _perimeter(loop: Floats) -> float:
    step = _next(loop) - loop
    return float(np.hypot(step[:, 0], step[:, 1]).sum())


def loops(triangles: Singles, plane: Plane, window: Window | None = None) -> Loops:
    """Return the outlines of the metal in a plane.

    Parameters
    ----------
    triangles : ndarray (F, 3, 3) float32
        Triangle soup, mm.
    plane : Plane
        Where to cut; the outlines are in its coordinates.
    window : tuple (xmin, ymin, xmax, ymax), optional
        Keep only outlines whose bounding box meets this one (whole outlines, nothing clipped).

    Returns
    -------
    Loops
        Closed outlines (counter-clockwise round metal, clockwise round void) and open chains.
    """
    found = chain(cut(triangles, plane))
    if window is None:
        return found
    return Loops(
        [loop for loop in found.closed if _meets(loop, window)],
        [loop for loop in found.open if _meets(loop, window)],
    )


def signed_area(loop: Floats) -> float:
    """Return the area (mm2) that a closed outline (N, 2) encloses, negative if clockwise."""
    x, y = (loop - loop[0]).T
    return float(0.5 * np.sum(x * _next(y) - _next(x) * y))


def _next(ring: Floats) -> Floats:
    """What follows each row of a ring; `np.roll` takes ten times as long."""
    return np.concatenate((ring[1:], ring[:1]))


@kernel
def _winding(points: Floats, ring: Floats, first: Ints, boxes: Floats, skip: Ints) -> Ints:
    """Winding number of the loops around each point, without loop `skip[i]`.

    A point on an outline gets a number that no loop can reach, to be seen as doubtful.
    """
    total = np.zeros(points.shape[0], np.int64)
    for i in range(points.shape[0]):
        x, y = points[i, 0], points[i, 1]
        for k in range(boxes.shape[0]):
            if k == skip[i] or x < boxes[k, 0] or x > boxes[k, 2]:
                continue
            if y < boxes[k, 1] or y > boxes[k, 3]:
                continue
            a = first[k + 1] - 1
            for b in range(first[k], first[k + 1]):
                ay, by = ring[a, 1], ring[b, 1]
                if min(ay, by) <= y <= max(ay, by):
                    ax, bx = ring[a, 0], ring[b, 0]
                    side = (bx - ax) * (y - ay) - (x - ax) * (by - ay)
                    if side == 0.0 and min(ax, bx) <= x <= max(ax, bx):
                        total[i] += np.int64(1) << 40
                    elif ay <= y < by and side > 0.0:
                        total[i] += 1
                    elif by <= y < ay and side < 0.0:
                        total[i] -= 1
                a = b
    return total


def _stack(closed: list[Floats]) -> tuple[Floats, Ints, Floats]:
    first = np.cumsum([0] + [len(loop) for loop in closed]).astype(np.int64)
    boxes = np.array([[*loop.min(axis=0), *loop.max(axis=0)] for loop in closed])
    return np.ascontiguousarray(np.concatenate(closed)), first, boxes


def winding(closed: list[Floats], points: ArrayLike) -> Ints:
    """Return the winding number (N,) of closed outlines around points (N, 2)."""
    at = np.ascontiguousarray(np.atleast_2d(np.asarray(points, dtype=np.float64)))
    if not closed:
        return np.zeros(len(at), np.int64)
    return _winding(at, *_stack(closed), np.full(len(at), -1, np.int64))


def _nested(closed: list[Floats]) -> MultiPolygon | None:
    """Polygons of loops that neither cross nor overlap, or None if they do."""
    import shapely

    areas = np.array([signed_area(loop) for loop in closed])
    ring, first, boxes = _stack(closed)
    index = np.arange(len(closed))
    outside = _winding(np.array([loop[0] for loop in closed]), ring, first, boxes, index)
    # Metal once inside and void outside, or the other way round: anything else overlaps.
    if not np.array_equal(outside, np.where(areas > 0.0, 0, 1)):
        return None
    shells = index[areas > 0.0]
    holes: dict[int, list[Floats]] = {int(k): [] for k in shells}
    if shells.size < index.size:
        solid = np.array([shapely.Polygon(closed[k]) for k in shells])
        cavities = index[areas <= 0.0]
        tree = shapely.STRtree(solid)
        corner = shapely.points([closed[k][0] for k in cavities])
        which, hit = tree.query(corner, predicate="within")
        # The smallest shell around a hole is the one that it belongs to.
        order = np.lexsort((areas[shells[hit]], which))
        cavity, smallest = np.unique(which[order], return_index=True)
        if cavity.size < cavities.size:
            return None
        for c, s in zip(cavity, hit[order][smallest], strict=True):
            holes[int(shells[s])].append(closed[cavities[c]])
    result = shapely.MultiPolygon([shapely.Polygon(closed[k], holes[int(k)]) for k in shells])
    return result if result.is_valid else None


def _noded(closed: list[Floats]) -> MultiPolygon:
    """Polygons of any loops: where their winding number is one or more."""
    import shapely

    lines = shapely.union_all([shapely.LinearRing(loop) for loop in closed])
    faces = np.array(shapely.get_parts(shapely.polygonize(shapely.get_parts(lines))))
    if faces.size == 0:
        return shapely.MultiPolygon()
    inside = shapely.get_coordinates(shapely.point_on_surface(faces))
    union = shapely.union_all(faces[winding(closed, inside) >= 1])
    areas = [part for part in shapely.get_parts(union) if part.geom_type == "Polygon"]
    return shapely.MultiPolygon(areas)


def polygons(closed: list[Floats], overlapping: bool = False) -> MultiPolygon:
    """Return where closed outlines wind once or more (see `metal`)."""
    import shapely

    if not closed:
        return shapely.MultiPolygon()
    simple = None if overlapping else _nested(closed)
    return simple if simple is not None else _noded(closed)


def metal(
    triangles: Singles,
    plane: Plane,
    window: Window | None = None,
    overlapping: bool = False,
) -> MultiPolygon:
    """Return the metal in a plane: where the winding number of the mesh is one or more.

    Parameters
    ----------
    triangles : ndarray (F, 3, 3) float32
        Closed triangle soup, mm; shells may overlap or lie in one another.
    plane : Plane
        Where to cut.
    window : tuple (xmin, ymin, xmax, ymax), optional
        Plane coordinates. The result is right inside the window; outside it outlines may lack.
    overlapping : bool
        True if shells are known to overlap, which spares a try of the quick way. The result
        is the same.

    Returns
    -------
    shapely.MultiPolygon
        Valid, in plane coordinates, mm.

    Raises
    ------
    ValueError
        If the triangles are not a closed mesh.
    """
    found = loops(triangles, plane, window)
    if found.open:
        raise ValueError(f"the section has {len(found.open)} open outlines: the mesh is not closed")
    return polygons(found.closed, overlapping)
