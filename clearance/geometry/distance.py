"""Exact distances from points to a triangle soup.

In: a `box_tree.Tree` and points. Out: distances with the points where they are taken. What the
triangles mean, and which side of them is metal, is left to others: the distance is unsigned.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

from clearance.geometry.box_tree import Tree, begin_of_leaf
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
)


@inner
def nearest_on_segment(p: Vector, a: Vector, d: Vector) -> float:
    """Parameter in [0, 1] of the point of a + s d nearest to p."""
    length2 = dot(d, d)
    if length2 == 0.0:
        return 0.0
    return min(max(dot(minus(p, a), d) / length2, 0.0), 1.0)


@inner
def _on_sliver(p: Vector, a: Vector, b: Vector, c: Vector, normal: Vector, flat: bool) -> Vector:
    """Nearest point of a very thin triangle: its sides, and its face unless it has no area."""
    nearest, least = a, np.inf
    inside = not flat
    for _ in range(3):
        d = minus(b, a)
        inside = inside and dot(cross(d, minus(p, a)), normal) >= 0.0
        q = ahead(a, d, nearest_on_segment(p, a, d))
        if gap_squared(p, q) < least:
            nearest, least = q, gap_squared(p, q)
        a, b, c = b, c, a
    if inside:
        return ahead(p, normal, -dot(minus(p, a), normal) / dot(normal, normal))
    return nearest


@inner
def nearest_on_triangle(p: Vector, a: Vector, b: Vector, c: Vector) -> Vector:
    """Nearest point of a triangle (C. Ericson, Real-Time Collision Detection, 2005, 5.1.5)."""
    ab, ac, ap = minus(b, a), minus(c, a), minus(p, a)
    d1, d2 = dot(ab, ap), dot(ac, ap)
    if d1 <= 0.0 and d2 <= 0.0:
        return a
    bp = minus(p, b)
    d3, d4 = dot(ab, bp), dot(ac, bp)
    if d3 >= 0.0 and d4 <= d3:
        return b
    cp = minus(p, c)
    d5, d6 = dot(ab, cp), dot(ac, cp)
    if d6 >= 0.0 and d5 <= d6:
        return c
    normal = cross(ab, ac)
    sine2 = dot(normal, normal) / max(dot(ab, ab) * dot(ac, ac), 1e-300)
    if sine2 < 1e-6:  # the differences below would be rounding noise
        return _on_sliver(p, a, b, c, normal, sine2 < 1e-16)
    vc = d1 * d4 - d3 * d2
    if vc <= 0.0 and d1 >= 0.0 and d3 <= 0.0:
        return ahead(a, ab, d1 / (d1 - d3))
    vb = d5 * d2 - d1 * d6
    if vb <= 0.0 and d2 >= 0.0 and d6 <= 0.0:
        return ahead(a, ac, d2 / (d2 - d6))
    va = d3 * d6 - d5 * d4
    if va <= 0.0 and d4 >= d3 and d5 >= d6:
        return ahead(b, minus(c, b), (d4 - d3) / ((d4 - d3) + (d5 - d6)))
    total = va + vb + vc
    return ahead(ahead(a, ab, vb / total), ac, vc / total)


@inner
def point_to_box2(boxes: Array, node: int, p: Vector) -> float:
    """Squared distance of a point from a node's box."""
    total = 0.0
    for k in range(3):
        gap = max(boxes[node, k] - p[k], p[k] - boxes[node, 3 + k], 0.0)
        total += gap * gap
    return total


@inner
def _point_to_frame2(frame: Array, p: Vector) -> float:
    total = 0.0
    for k in range(3):
        gap = max(abs(dot(row(frame, k), p) - frame[3, k]) - frame[4, k], 0.0)
        total += gap * gap
    return total


@inner
def nearest_triangle(
    tree: Tree,
    p: Vector,
    limit2: float,
    stop2: float,
    nodes: Array,
    gaps: Array,
) -> tuple[float, int, Vector]:
    """Squared distance, triangle (-1: none nearer than the limit) and point nearest to p.

    Ends early, with any triangle, once something within the squared distance `stop2` is met.
    `nodes` and `gaps` are scratch space for the nodes still to be visited.
    """
    triangles, boxes = tree.triangles, tree.boxes
    leaves, count = boxes.shape[0] // 2, triangles.shape[0]
    best, best2, where = -1, limit2, p
    node = np.int64(1)
    gap2, waiting = point_to_box2(boxes, node, p), 0
    while True:
        if gap2 < best2:
            if node < leaves:
                near, far = 2 * node, 2 * node + 1
                near2, far2 = point_to_box2(boxes, near, p), point_to_box2(boxes, far, p)
                if far2 < near2:
                    near, far, near2, far2 = far, near, far2, near2
                if far2 < best2:
                    nodes[waiting], gaps[waiting] = far, far2
                    waiting += 1
                node, gap2 = near, near2
                continue
            leaf = node - leaves
            if _point_to_frame2(tree.frames[leaf], p) < best2:
                for f in range(
                    begin_of_leaf(leaf, leaves, count), begin_of_leaf(leaf + 1, leaves, count)
                ):
                    a, b, c = corners_of(triangles[f])
                    q = nearest_on_triangle(p, a, b, c)
                    d2 = gap_squared(p, q)
                    if d2 < best2:
                        best, best2, where = f, d2, q
                if best2 <= stop2:
                    break
        if waiting == 0:
            break
        waiting -= 1
        node, gap2 = nodes[waiting], gaps[waiting]
    return best2, best, where


@inner
def nearest_triangle_from(
    tree: Tree, p: Vector, hint: int, stop2: float, nodes: Array, gaps: Array
) -> tuple[float, int, Vector]:
    """`nearest_triangle`, begun with a triangle that may be near (-1: none is known): quicker."""
    if hint < 0:
        return nearest_triangle(tree, p, np.inf, stop2, nodes, gaps)
    a, b, c = corners_of(tree.triangles[hint])
    q = nearest_on_triangle(p, a, b, c)
    hint2 = gap_squared(p, q)
    if hint2 <= stop2:
        return hint2, hint, q
    d2, f, nearest = nearest_triangle(tree, p, hint2, stop2, nodes, gaps)
    return (hint2, hint, q) if f < 0 else (d2, f, nearest)


@kernel
def _closest(tree: Tree, points: Array) -> tuple[Array, Array, Array]:
    count = points.shape[0]
    distance = np.full(count, np.inf)
    where = np.full((count, 3), np.nan)
    index = np.full(count, -1, np.int64)
    nodes, gaps = np.empty(64, np.int64), np.empty(64)
    hint = np.int64(-1)
    for n in range(count):
        d2, f, q = nearest_triangle_from(tree, row(points, n), hint, -1.0, nodes, gaps)
        if f >= 0:
            hint = f
            distance[n] = math.sqrt(d2)
            where[n, 0], where[n, 1], where[n, 2] = q
            index[n] = tree.order[f]
    return distance, where, index


def closest(tree: Tree, points: ArrayLike) -> tuple[Floats, Floats, NDArray[np.int64]]:
    """Nearest point of the soup to each point.

    Parameters
    ----------
    tree : Tree
    points : (N, 3) array_like, mm
        Quickest if neighbours in the list are neighbours in space.

    Returns
    -------
    distance : (N,) ndarray, mm
        Unsigned; inf if the soup is empty.
    point : (N, 3) ndarray, mm
        On the soup; nan if it is empty.
    triangle : (N,) ndarray of int64
        Index in the soup given to `build`; -1 if it is empty.
    """
    return _closest(tree, as_points(points))


def distances(tree: Tree, points: ArrayLike) -> Floats:
    """Unsigned distance, mm, (N,), of points (N, 3) to the soup; inf if it is empty."""
    return closest(tree, points)[0]


@kernel
def _beside(tree: Tree, points: Array, low2: float, high2: float) -> Array:
    count = points.shape[0]
    distance = np.full(count, np.inf)
    nodes, gaps = np.empty(64, np.int64), np.empty(64)
    hint = -1
    for n in range(count):
        p = row(points, n)
        most2 = high2
        if hint >= 0:
            a, b, c = corners_of(tree.triangles[hint])
            hint2 = gap_squared(p, nearest_on_triangle(p, a, b, c))
            if hint2 < most2:
                most2 = hint2
                distance[n] = math.sqrt(hint2)
            if hint2 <= low2:
                continue
        d2, f, _ = nearest_triangle(tree, p, most2, low2, nodes, gaps)
        if f >= 0:
            hint = f
            distance[n] = math.sqrt(d2)
    return distance


def distances_between(tree: Tree, points: ArrayLike, low_mm: float, high_mm: float) -> Floats:
    """Distances (N,), mm, of points (N, 3) to the soup where they lie between two: much quicker.

    A smaller one reads as any below `low_mm`, a larger one as infinite.
    """
    low, high = max(low_mm, 0.0) * (1.0 - 1e-9), high_mm * (1.0 + 1e-9)
    return np.asarray(_beside(tree, as_points(points), low * low, high * high))


def as_points(points: ArrayLike) -> Floats:
    """(N, 3), writable and contiguous: one array type, so that one compiled kernel serves.

    A point that is not a number would read as infinitely far, so it is refused.
    """
    array = np.require(np.reshape(np.asarray(points, np.float64), (-1, 3)), requirements=["C", "W"])
    if not np.isfinite(array).all():
        raise ValueError("coordinates of points must be finite")
    return array
