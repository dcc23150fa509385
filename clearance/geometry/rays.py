"""Rays through a triangle soup: what they meet first, how often metal lies round their start.

In: a `box_tree.Tree`, starts and directions. Out: lengths, winding numbers, free or not. Rays end
exactly on triangles, in double precision, edges included.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from clearance.geometry.box_tree import Tree
from clearance.geometry.cutting import Floats, Ints
from clearance.kernels.compiler import kernel

NEAREST_MM = 1e-6
"""What a ray meets nearer than this is where it starts."""


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


# ---- rays ------------------------------------------------------------------------------------


@kernel
def _begin(leaf: int, leaves: int, count: int) -> int:
    """First triangle of a leaf: the tree's own rule."""
    return leaf * count // leaves


@kernel
def _enters(boxes: Any, node: int, p: Any, d: Any, limit: float) -> float:
    """Where a ray enters a node's box; inf if it does not before the limit."""
    near, far = 0.0, limit
    for k in range(3):
        low, high = np.float64(boxes[node, k]), np.float64(boxes[node, 3 + k])
        margin = 1e-9 * (abs(low) + abs(high) + 1.0)
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


@kernel
def _meets(t: Any, p: Any, d: Any) -> tuple[float, float]:
    """Where a ray meets a triangle (inf if not), and its direction times the area vector."""
    ax, ay, az = np.float64(t[0, 0]), np.float64(t[0, 1]), np.float64(t[0, 2])
    bx, by, bz = t[1, 0] - ax, t[1, 1] - ay, t[1, 2] - az
    cx, cy, cz = t[2, 0] - ax, t[2, 1] - ay, t[2, 2] - az
    nx, ny, nz = by * cz - bz * cy, bz * cx - bx * cz, bx * cy - by * cx
    det = d[0] * nx + d[1] * ny + d[2] * nz
    if det == 0.0:
        return np.inf, 0.0
    sx, sy, sz = p[0] - ax, p[1] - ay, p[2] - az
    # Cross products with the ray once: weights of the second and third corner.
    qx, qy, qz = sy * d[2] - sz * d[1], sz * d[0] - sx * d[2], sx * d[1] - sy * d[0]
    u = -(cx * qx + cy * qy + cz * qz) / det
    v = (bx * qx + by * qy + bz * qz) / det
    if u < 0.0 or v < 0.0 or u + v > 1.0:
        return np.inf, 0.0
    length = np.sqrt(nx * nx + ny * ny + nz * nz)
    return -(sx * nx + sy * ny + sz * nz) / det, det / length


@kernel
def _shoot_first(triangles: Any, boxes: Any, points: Any, directions: Any, own: Any) -> Any:
    """Length of each ray to the first surface, and the cosine of its normal with the ray."""
    leaves, count = boxes.shape[0] // 2, triangles.shape[0]
    length, cosine = np.full(points.shape[0], np.inf), np.zeros(points.shape[0])
    nodes, enters = np.empty(128, np.int64), np.empty(128)
    for n in range(points.shape[0]):
        p, d = points[n], directions[n]
        best, facing = np.inf, 0.0
        nodes[0], enters[0], waiting = 1, 0.0, 1
        while waiting > 0:
            waiting -= 1
            node = nodes[waiting]
            if enters[waiting] >= best:
                continue
            if node < leaves:
                a = _enters(boxes, 2 * node, p, d, best)
                b = _enters(boxes, 2 * node + 1, p, d, best)
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
            for f in range(_begin(leaf, leaves, count), _begin(leaf + 1, leaves, count)):
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
        p, d = points[n], directions[n]
        nodes[0], waiting = 1, 1
        while waiting > 0:
            waiting -= 1
            node = nodes[waiting]
            if _enters(boxes, node, p, d, np.inf) == np.inf:
                continue
            if node < leaves:
                nodes[waiting], nodes[waiting + 1] = 2 * node, 2 * node + 1
                waiting += 2
                continue
            leaf = node - leaves
            for f in range(_begin(leaf, leaves, count), _begin(leaf + 1, leaves, count)):
                at, turned = _meets(triangles[f], p, d)
                if f != own[n] and NEAREST_MM < at < np.inf:
                    result[n] += 1 if turned > 0.0 else -1
    return result
