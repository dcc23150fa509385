"""Exact plane sections of a closed mesh.

In: a closed triangle soup and a plane. Out: the directed outlines of the metal
in that plane, and the metal as polygons. Nothing is rounded or merged by
coordinates: two neighbouring triangles meet the plane in bitwise the same
point, and outlines are chained by the mesh edges that they pass through.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from clearance.kernels.compiler import kernel

if TYPE_CHECKING:
    from shapely import MultiPolygon
from clearance.geometry.cutting import Floats, Ints, Keys, Segments, Singles, cut
from clearance.geometry.planes import Plane

Window = tuple[float, float, float, float]
# An outline shorter than this (mm) encloses less than 1e-13 mm2: it is dropped.
SHORTEST_OUTLINE = 1e-6


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
    if order.size == 0:
        return result
    starts = segments.points[order, 0]
    for k in range(opened):
        last = segments.points[order[first[k + 1] - 1], 1]
        result.open.append(np.concatenate([starts[first[k] : first[k + 1]], last[None]]))
    step = starts - starts[_before(first)]
    new = (step != 0.0).any(axis=1)
    perimeter = np.add.reduceat(np.hypot(step[:, 0], step[:, 1]), first[:-1])
    for k in range(opened, first.size - 1):
        own = slice(first[k], first[k + 1])
        points = starts[own] if new[own].all() else starts[own][new[own]]
        if len(points) >= 3 and perimeter[k] >= SHORTEST_OUTLINE:
            result.closed.append(points)
    return result


def _before(first: Ints) -> Ints:
    """Index of what stands before each row of a stack of rings that begin at `first`."""
    before = np.arange(-1, first[-1] - 1)
    before[first[:-1]] = first[1:] - 1
    return before


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
    ring = np.ascontiguousarray(np.concatenate(closed))
    sides = [side.reduceat(ring, first[:-1], axis=0) for side in (np.minimum, np.maximum)]
    return ring, first, np.concatenate(sides, axis=1)


def _areas(ring: Floats, first: Ints) -> Floats:
    """`signed_area` of every loop of a stack."""
    begin = first[:-1]
    x, y = (ring - np.repeat(ring[begin], np.diff(first), axis=0)).T
    after = np.arange(1, len(ring) + 1)
    after[first[1:] - 1] = begin
    areas: Floats = 0.5 * np.add.reduceat(x * y[after] - x[after] * y, begin)
    return areas


def winding(closed: list[Floats], points: ArrayLike) -> Ints:
    """Return the winding number (N,) of closed outlines around points (N, 2)."""
    at = np.ascontiguousarray(np.atleast_2d(np.asarray(points, dtype=np.float64)))
    if not closed:
        return np.zeros(len(at), np.int64)
    return _winding(at, *_stack(closed), np.full(len(at), -1, np.int64))


def _nested(closed: list[Floats]) -> MultiPolygon | None:
    """Polygons of loops that neither cross nor overlap, or None if they do."""
    import shapely

    ring, first, boxes = _stack(closed)
    areas = _areas(ring, first)
    index = np.arange(len(closed))
    outside = _winding(ring[first[:-1]], ring, first, boxes, index)
    # Metal once inside and void outside, or the other way round: anything else overlaps.
    if not np.array_equal(outside, np.where(areas > 0.0, 0, 1)):
        return None
    rings = shapely.linearrings(ring, indices=np.repeat(index, np.diff(first)))
    shells, cavities = index[areas > 0.0], index[areas <= 0.0]
    holes = _owned(ring[first[cavities]], rings[shells], areas[shells])
    if holes is None:
        return None
    parts = [
        shapely.polygons(rings[s], rings[cavities[own]])
        for s, own in zip(shells, holes, strict=True)
    ]
    result: MultiPolygon = shapely.multipolygons(parts)
    return result if result.is_valid else None


def _owned(corners: Floats, shells: NDArray[Any], areas: Floats) -> list[Ints] | None:
    """Which holes, each given by a corner, lie in each shell; None if one lies in none."""
    import shapely

    every = np.arange(len(corners))
    if len(shells) == 1 or not every.size:
        return [every] * len(shells)
    tree = shapely.STRtree(shapely.polygons(shells))
    which, hit = tree.query(shapely.points(corners), predicate="within")
    # The smallest shell around a hole is the one that it belongs to.
    order = np.lexsort((areas[hit], which))
    hole, smallest = np.unique(which[order], return_index=True)
    if hole.size < every.size:
        return None
    owner = hit[order][smallest]
    return [every[owner == k] for k in range(len(shells))]


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
