"""Rays through a triangle soup: what they meet first, how often metal lies round their start.

In: a `box_tree.Tree`, starts and directions. Out: lengths, winding numbers, free or not. Rays end
exactly on triangles, in double precision, edges included. Segments: whether a point lies in
metal, and where a line is deep in it.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from clearance.geometry.box_tree import Tree, begin_of_leaf
from clearance.geometry.cutting import Floats, Ints
from clearance.kernels.compiler import inner, kernel
from clearance.kernels.rows import least
from clearance.kernels.vectors import Array, Vector, ahead, corners_of, cross, dot, minus, row

NEAREST_MM = 1e-6
"""What a ray meets nearer than this is where it starts."""
SURE = 1e-4
"""Least sine between a ray and a face for its side to count."""
RIM = 1e-7
"""A segment so near to a triangle's rim (over its size) still meets it."""


def first_hits(
    tree: Tree, starts: ArrayLike, directions: ArrayLike, own: Ints
) -> tuple[Floats, Floats]:
    """What rays meet first.

    Parameters
    ----------
    tree : Tree
    starts, directions : (N, 3) array_like, mm
        Directions of unit length.
    own : (N,) ndarray of int64
        Triangle (of the soup given to `build`) that each ray starts on; it is passed over.

    Returns
    -------
    length : (N,) ndarray, mm
        inf where nothing is met.
    facing : (N,) ndarray
        Cosine between ray and outward normal there: above 0 where the ray leaves metal.
    """
    result: tuple[Floats, Floats] = _shoot_first(
        tree.triangles, tree.boxes, _rows(starts), _rows(directions), _places(tree)[own]
    )
    return result


def winding(tree: Tree, starts: ArrayLike, directions: ArrayLike, own: Ints) -> Ints:
    """Winding number of a closed soup where rays start: metal where it is 1 or more.

    Parameters are those of `first_hits`; a start lies just outside its own triangle if the ray
    leaves that outward. Directions that meet no edge give the right number.
    """
    result: Ints = _shoot_all(
        tree.triangles, tree.boxes, _rows(starts), _rows(directions), _places(tree)[own]
    )
    return result


def free(tree: Tree, starts: ArrayLike, directions: ArrayLike) -> NDArray[np.bool_]:
    """Whether rays meet nothing at all."""
    at, along = _rows(starts), _rows(directions)
    none = np.full(len(at), -1, np.int64)
    result: NDArray[np.bool_] = np.isinf(
        _shoot_first(tree.triangles, tree.boxes, at, along, none)[0]
    )
    return result


def _rows(values: ArrayLike) -> Floats:
    return np.ascontiguousarray(np.atleast_2d(np.asarray(values, np.float64)))


def _places(tree: Tree) -> Ints:
    """Where in the tree each triangle stands."""
    place = np.empty(len(tree.order), np.int64)
    place[tree.order] = np.arange(len(tree.order))
    return place


# ---- rays that end exactly on triangles --------------------------------------------------------


@inner
def _enters(boxes: Array, node: int, p: Vector, d: Vector, limit: float, slack: float) -> float:
    """Where a ray enters a node's box, larger by the slack; inf if it does not before the limit."""
    near, far = 0.0, limit
    for k in range(3):
        low, high = np.float64(boxes[node, k]), np.float64(boxes[node, 3 + k])
        margin = 1e-9 * (abs(low) + abs(high) + 1.0) + slack
        low, high = low - margin, high + margin
        if d[k] == 0.0:
            if p[k] < low or p[k] > high:
                return np.inf
            continue
        a, b = (low - p[k]) / d[k], (high - p[k]) / d[k]
        if a > b:
            a, b = b, a
        near, far = max(near, a), min(far, b)
        if near > far:
            return np.inf
    return near


@inner
def pierced(t: Array, p: Vector, d: Vector) -> tuple[float, float, float, float, float]:
    """Where p + s d pierces a triangle's plane: s, and the weights of its second and third corner.

    Then d times the area vector, and that vector's length squared; s is inf where d lies level.
    """
    a, b, c = corners_of(t)
    e, f, r = minus(b, a), minus(c, a), minus(p, a)
    normal = cross(e, f)
    facing, size2 = dot(d, normal), dot(normal, normal)
    if facing == 0.0:
        return np.inf, 0.0, 0.0, 0.0, size2
    across = cross(r, d)
    return (
        -dot(r, normal) / facing,
        -dot(f, across) / facing,
        dot(e, across) / facing,
        facing,
        size2,
    )


@inner
def _meets(t: Array, p: Vector, d: Vector) -> tuple[float, float]:
    """Where a ray meets a triangle (inf if not), and its direction times the unit normal."""
    s, u, v, facing, size2 = pierced(t, p, d)
    if facing == 0.0 or u < 0.0 or v < 0.0 or u + v > 1.0:
        return np.inf, 0.0
    return s, facing / math.sqrt(size2)


@kernel
def _shoot_first(triangles: Any, boxes: Any, points: Any, directions: Any, own: Any) -> Any:
    """Length of each ray to the first surface, and the cosine of its normal with the ray."""
    leaves, count = boxes.shape[0] // 2, triangles.shape[0]
    length, cosine = np.full(points.shape[0], np.inf), np.zeros(points.shape[0])
    nodes, enters = np.empty(128, np.int64), np.empty(128)
    for n in range(points.shape[0]):
        p, d = row(points, n), row(directions, n)
        best, facing = np.inf, 0.0
        nodes[0], enters[0], waiting = 1, 0.0, 1
        while waiting > 0:
            waiting -= 1
            node = nodes[waiting]
            if enters[waiting] >= best:
                continue
            if node < leaves:
                a = _enters(boxes, 2 * node, p, d, best, 0.0)
                b = _enters(boxes, 2 * node + 1, p, d, best, 0.0)
                near = 0 if a <= b else 1
                first, second = (a, b) if near == 0 else (b, a)
                if second < np.inf:
                    nodes[waiting], enters[waiting] = 2 * node + 1 - near, second
                    waiting += 1
                if first < np.inf:
                    nodes[waiting], enters[waiting] = 2 * node + near, first
                    waiting += 1
                continue
            leaf = node - leaves
            for f in range(
                begin_of_leaf(leaf, leaves, count), begin_of_leaf(leaf + 1, leaves, count)
            ):
                if f == own[n]:
                    continue
                at, turned = _meets(triangles[f], p, d)
                if NEAREST_MM < at < best:
                    best, facing = at, turned
        length[n], cosine[n] = best, facing
    return length, cosine


@kernel
def _shoot_all(triangles: Any, boxes: Any, points: Any, directions: Any, own: Any) -> Any:
    """Winding number where each ray begins: surfaces left behind less surfaces entered."""
    leaves, count = boxes.shape[0] // 2, triangles.shape[0]
    result = np.zeros(points.shape[0], np.int64)
    nodes = np.empty(128, np.int64)
    for n in range(points.shape[0]):
        p, d = row(points, n), row(directions, n)
        nodes[0], waiting = 1, 1
        while waiting > 0:
            waiting -= 1
            node = nodes[waiting]
            if _enters(boxes, node, p, d, np.inf, 0.0) == np.inf:
                continue
            if node < leaves:
                nodes[waiting], nodes[waiting + 1] = 2 * node, 2 * node + 1
                waiting += 2
                continue
            leaf = node - leaves
            for f in range(
                begin_of_leaf(leaf, leaves, count), begin_of_leaf(leaf + 1, leaves, count)
            ):
                at, turned = _meets(triangles[f], p, d)
                if f != own[n] and NEAREST_MM < at < np.inf:
                    result[n] += 1 if turned > 0.0 else -1
    return result


# ---- segments in metal -------------------------------------------------------------------------


@inner
def _crosses(t: Array, a: Vector, d: Vector) -> tuple[float, float]:
    """Where a + s d pierces a triangle (-1: nowhere), and d . normal as a sine, signed.

    The rim counts, so that no segment slips between triangles; one that grazes does not pierce.
    """
    s, u, v, facing, size2 = pierced(t, a, d)
    size = math.sqrt(size2 * dot(d, d))
    if abs(facing) <= 1e-9 * size or not 0.0 <= s <= 1.0:
        return -1.0, 0.0
    if u < -RIM or v < -RIM or u + v > 1.0 + RIM:
        return -1.0, 0.0
    return s, facing / size


@inner
def _hits(
    triangles: Any, boxes: Any, a: Vector, d: Vector, where: Floats, facing: Floats, nodes: Ints
) -> int:
    """Write where a segment meets triangles, in no order; returns how often (-1: too often)."""
    leaves, total = boxes.shape[0] // 2, triangles.shape[0]
    count, waiting = 0, 1
    nodes[0] = 1
    while waiting > 0:
        waiting -= 1
        node = nodes[waiting]
        if _enters(boxes, node, a, d, 1.0, 1e-6) == np.inf:
            continue
        if node < leaves:
            nodes[waiting], nodes[waiting + 1] = 2 * node, 2 * node + 1
            waiting += 2
            continue
        leaf = node - leaves
        for f in range(begin_of_leaf(leaf, leaves, total), begin_of_leaf(leaf + 1, leaves, total)):
            s, sine = _crosses(triangles[f], a, d)
            if s >= 0.0:
                if count == where.size:
                    return -1
                where[count], facing[count] = s, sine
                count += 1
    return count


@kernel
def deep(triangles: Any, boxes: Any, starts: Floats, steps: Floats) -> Floats:
    """Middle of the longest stretch of each segment after an entry into metal; -1 if none."""
    where, facing, nodes = np.empty(512), np.empty(512), np.empty(64, np.int64)
    result = np.full(starts.shape[0], -1.0)
    for n in range(starts.shape[0]):
        count = _hits(triangles, boxes, row(starts, n), row(steps, n), where, facing, nodes)
        if count < 1:
            continue
        order = np.argsort(where[:count])
        longest, begin, metal = 0.0, 0.0, facing[order[0]] > 0.0
        for k in range(count + 1):
            s = where[order[k]] if k < count else 1.0
            if metal and s - begin > longest:
                longest = s - begin
                result[n] = 0.5 * (s + begin)
            if k < count:
                begin, metal = s, facing[order[k]] < 0.0
    return result


@kernel
def metal(triangles: Any, boxes: Any, points: Floats, nearest: Ints) -> NDArray[np.bool_]:
    """Whether points are surely in metal: what one sees of a nearby triangle is its back.

    The ray goes to the middle of the nearest triangle and ends at the first one in its way. Rays
    that graze, or meet an edge with a front and a back, prove nothing.
    """
    where, facing, nodes = np.empty(512), np.empty(512), np.empty(64, np.int64)
    result = np.zeros(points.shape[0], np.bool_)
    for n in range(points.shape[0]):
        p = row(points, n)
        a, b, c = corners_of(triangles[nearest[n]])
        to_three = ahead(ahead(minus(a, p), minus(b, p), 1.0), minus(c, p), 1.0)
        ray = ahead((0.0, 0.0, 0.0), to_three, (1.0 + 1e-6) / 3.0)
        count = _hits(triangles, boxes, p, ray, where, facing, nodes)
        if count < 1:
            continue
        first = least(where[:count])
        back = True
        for k in range(count):
            if where[k] <= first + 1e-7:
                back = back and facing[k] > SURE
        result[n] = back
    return result
