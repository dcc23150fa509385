"""Exact distances from segments to a triangle soup, and a certified lower bound along a route.

In: a `box_tree.Tree` and segments or a route. Out: least distances, unsigned, with the points where
they are taken.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from clearance.geometry.box_tree import Tree, begin_of_leaf
from clearance.geometry.distance import (
    as_points,
    nearest_on_segment,
    nearest_on_triangle,
    nearest_triangle,
    point_to_box2,
)
from clearance.kernels.compiler import inner, kernel
from clearance.kernels.vectors import (
    Array,
    Floats,
    Vector,
    ahead,
    corners_of,
    cross,
    dot,
    gap_squared,
    minus,
    row,
    unit,
)

LONG_MM = 10.0  # a segment longer than this is worth a look at its ends first
ROUNDING_MM = 1e-6  # subtracted from every certified length; float64 arithmetic errs far less


@inner
def _line_to_line(a: Vector, d: Vector, c: Vector, e: Vector) -> float:
    """Parameter s in [0, 1] near which a + s d passes the segment c + t e; 0 if parallel."""
    r = minus(a, c)
    dd, de, ee = dot(d, d), dot(d, e), dot(e, e)
    sine = dd * ee - de * de
    if sine <= 1e-16 * dd * ee:
        return 0.0
    return min(max((de * dot(e, r) - ee * dot(d, r)) / sine, 0.0), 1.0)


@inner
def _segment_triangle(
    a: Vector, d: Vector, corners: tuple[Vector, Vector, Vector], limit2: float
) -> tuple[float, float, Vector]:
    """Squared distance of a + s d to a triangle, s, and the triangle's point; inf beyond the limit.

    The squared distance to a triangle is convex along the segment. So if it grows from the start
    on, or falls to the end, the end is the answer; and the tangents at both ends bound it. Else
    it is the least of: the piercing point to the face, the corners to the segment, the segment
    to the sides where both are met inside. Every candidate is a real pair of points.
    """
    c0, c1, c2 = corners
    b = ahead(a, d, 1.0)
    p, q = nearest_on_triangle(a, c0, c1, c2), nearest_on_triangle(b, c0, c1, c2)
    start2, end2 = gap_squared(a, p), gap_squared(b, q)
    rise, fall = 2.0 * dot(minus(a, p), d), 2.0 * dot(minus(b, q), d)
    if rise >= 0.0:
        return start2, 0.0, p
    if fall <= 0.0:
        return end2, 1.0, q
    if start2 + rise * (end2 - fall - start2) / (rise - fall) > limit2 * (1.0 + 1e-9):
        return np.inf, 0.0, a
    best2, best, where = start2, 0.0, p
    if end2 < best2:
        best2, best, where = end2, 1.0, q
    normal = cross(minus(c1, c0), minus(c2, c0))
    over, under = dot(normal, minus(a, c0)), dot(normal, minus(b, c0))
    if over * under < 0.0:
        s = over / (over - under)
        p = ahead(a, d, s)
        q = nearest_on_triangle(p, c0, c1, c2)
        if gap_squared(p, q) < 1e-20:
            return 0.0, s, q
    for _ in range(3):
        s = nearest_on_segment(c0, a, d)
        d2 = gap_squared(ahead(a, d, s), c0)
        if d2 < best2:
            best2, best, where = d2, s, c0
        e = minus(c1, c0)
        s = _line_to_line(a, d, c0, e)
        q = ahead(c0, e, nearest_on_segment(ahead(a, d, s), c0, e))
        s = nearest_on_segment(q, a, d)
        d2 = gap_squared(ahead(a, d, s), q)
        if d2 < best2:
            best2, best, where = d2, s, q
        c0, c1, c2 = c1, c2, c0
    return best2, best, where


@inner
def _segment_to_box2(
    boxes: Array,
    node: int,
    middle: Vector,
    half: Vector,
    sides: tuple[Vector, Vector, Vector],
    reach2: float,
) -> float:
    """Lower bound of the squared distance: gaps along the box's axes and across the segment.

    Infinite where already the box is farther than `reach2`, squared, from the middle.
    """
    if point_to_box2(boxes, node, middle) > reach2:
        return np.inf
    low, high = row(boxes, node), row(boxes[:, 3:], node)
    centre = 0.5 * (low[0] + high[0]), 0.5 * (low[1] + high[1]), 0.5 * (low[2] + high[2])
    size = minus(high, centre)
    offset = minus(centre, middle)
    total = 0.0
    for k in range(3):
        gap = max(abs(offset[k]) - size[k] - abs(half[k]), 0.0)
        total += gap * gap
    for side in sides:
        reach = size[0] * abs(side[0]) + size[1] * abs(side[1]) + size[2] * abs(side[2])
        gap = max(abs(dot(offset, side)) - reach, 0.0)
        total = max(total, gap * gap)
    return total


@inner
def _segment_to_frame2(frame: Array, middle: Vector, half: Vector) -> float:
    """As `_segment_to_box2`, of a box askew: gaps along its axes."""
    total = 0.0
    for k in range(3):
        axis = row(frame, k)
        reach = frame[4, k] + abs(dot(axis, half))
        gap = max(abs(dot(axis, middle) - frame[3, k]) - reach, 0.0)
        total += gap * gap
    return total


@inner
def _segment(
    tree: Tree, a: Vector, d: Vector, limit2: float, hint: int, nodes: Array,
    gaps: Array,
) -> tuple[float, float, Vector, int]:  # fmt: skip
    """Squared distance of the segment a + s d to the soup, s, and the soup's point and triangle.

    `hint`: a triangle that may be near, -1: none is known.
    """
    middle, half = ahead(a, d, 0.5), (0.5 * d[0], 0.5 * d[1], 0.5 * d[2])
    sides = unit((0.0, -d[2], d[1])), unit((d[2], 0.0, -d[0])), unit((-d[1], d[0], 0.0))
    length = 2.0 * math.sqrt(dot(half, half))
    triangles, boxes = tree.triangles, tree.boxes
    leaves, count = boxes.shape[0] // 2, triangles.shape[0]
    best2, best, where, face = limit2, -1.0, a, hint
    if hint >= 0:
        d2, s, q = _segment_triangle(a, d, corners_of(triangles[hint]), best2)
        if d2 < best2:
            best2, best, where = d2, s, q
    # In a straight passage a long line is nearest to the wall at an end: begin with that limit.
    for k in range(2 if length > LONG_MM else 0):
        end = np.float64(k)
        d2, f, q = nearest_triangle(tree, ahead(a, d, end), best2, -1.0, nodes, gaps)
        if f >= 0:
            best2, best, where, face = d2, end, q, f
    waiting = 0
    if count > 0:
        nodes[0], gaps[0], waiting = 1, 0.0, 1
    while waiting > 0 and best2 > 0.0:
        waiting -= 1
        node, gap2 = nodes[waiting], gaps[waiting]
        if gap2 >= best2:
            continue
        # Nothing farther than this from the middle can be nearer to the segment.
        reach2 = (math.sqrt(best2) + 0.5 * length) ** 2 + ROUNDING_MM
        if node < leaves:
            near, far = 2 * node, 2 * node + 1
            near2 = _segment_to_box2(boxes, near, middle, half, sides, reach2)
            far2 = _segment_to_box2(boxes, far, middle, half, sides, reach2)
            if far2 < near2:
                near, far, near2, far2 = far, near, far2, near2
            nodes[waiting], gaps[waiting] = far, far2
            nodes[waiting + 1], gaps[waiting + 1] = near, near2
            waiting += 2
            continue
        leaf = node - leaves
        if _segment_to_frame2(tree.frames[leaf], middle, half) >= best2:
            continue
        for f in range(begin_of_leaf(leaf, leaves, count), begin_of_leaf(leaf + 1, leaves, count)):
            d2, s, q = _segment_triangle(a, d, corners_of(triangles[f]), best2)
            if d2 < best2:
                best2, best, where, face = d2, s, q, f
    return best2, best, where, face


@kernel
def segments_to_soup(
    tree: Tree, starts: Array, ends: Array, limit: float, running: bool
) -> tuple[Array, Array, Array]:
    """Distance and both points per segment; `running`: only where it undercuts all before it."""
    count = starts.shape[0]
    distance = np.full(count, np.inf)
    on_segment = np.full((count, 3), np.nan)
    on_soup = np.full((count, 3), np.nan)
    nodes, gaps = np.empty(64, np.int64), np.empty(64)
    limit2 = limit * limit
    face = np.int64(-1)
    for n in range(count):
        a = row(starts, n)
        d = minus(row(ends, n), a)
        d2, s, q, face = _segment(tree, a, d, limit2, face, nodes, gaps)
        if s < 0.0:
            continue
        if running:
            limit2 = d2
        distance[n] = math.sqrt(d2)
        on_segment[n, 0], on_segment[n, 1], on_segment[n, 2] = ahead(a, d, s)
        on_soup[n, 0], on_soup[n, 1], on_soup[n, 2] = q
    return distance, on_segment, on_soup


def segment_clearances(
    tree: Tree, a: ArrayLike, b: ArrayLike, enough: float = np.inf
) -> tuple[Floats, Floats, Floats]:
    """Least distance between each segment a-b and the soup.

    Parameters
    ----------
    tree : Tree
    a, b : (N, 3) array_like, mm
        Ends of the segments; they may coincide.
    enough : float, mm
        Nothing as far away as this is looked for, which is quicker.

    Returns
    -------
    distance : (N,) ndarray, mm
        0 where the segment meets the soup; inf if it is `enough` or the soup is empty.
    on_segment, on_soup : (N, 3) ndarray, mm
        The two points between which it is measured; nan where the distance is inf.

    Raises
    ------
    ValueError
        There are not as many starts as ends.
    """
    starts, ends = as_points(a), as_points(b)
    if len(starts) != len(ends):
        raise ValueError(f"{len(starts)} starts for {len(ends)} ends of segments")
    return segments_to_soup(tree, starts, ends, float(enough), False)


def least_clearance(tree: Tree, a: ArrayLike, b: ArrayLike, enough: float = np.inf) -> float:
    """Least distance of any segment a-b to the soup, mm; at most `enough`.

    Quicker than `segment_clearances`, the more so if the nearest segments come first.
    """
    starts, ends = as_points(a), as_points(b)
    limit = float(enough)
    found, _, _ = segments_to_soup(tree, starts, ends, limit, True)
    return min(float(found.min(initial=np.inf)), limit)


def segment_clearance(tree: Tree, a: ArrayLike, b: ArrayLike) -> tuple[float, Floats, Floats]:
    """`segment_clearances` of a single segment: (distance, point on it, point on the soup)."""
    distance, on_segment, on_soup = segment_clearances(tree, a, b)
    return float(distance[0]), on_segment[0], on_soup[0]


def certified_clearance(
    tree: Tree, polyline: ArrayLike, enough: float = np.inf
) -> tuple[float, Floats | None]:
    """Lower bound of the distance between a route and the soup.

    Parameters
    ----------
    tree : Tree
    polyline : (N, 3) array_like, mm
        At least one point.
    enough : float, mm
        No more than this need be proven; the search is quicker for it.

    Returns
    -------
    bound : float, mm
        No point of the route is nearer than this: the exact distance less 1e-6 mm for rounding
        (0 where the route meets the soup), or `enough` if that is less.
    where : (3,) ndarray, mm, or None
        Point of the route where the distance is least; None if `enough` is reached everywhere.

    Raises
    ------
    ValueError
        The route has no point.
    """
    route = as_points(polyline)
    if len(route) == 0:
        raise ValueError("a route needs at least one point")
    starts, ends = (route[:-1], route[1:]) if len(route) > 1 else (route, route)
    limit = float(enough) + ROUNDING_MM
    distance, on_route, _ = segments_to_soup(tree, starts, ends, limit, True)
    n = int(np.argmin(distance))
    if np.isinf(distance[n]):
        return float(enough), None
    return max(float(distance[n]) - ROUNDING_MM, 0.0), on_route[n]
