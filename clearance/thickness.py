"""Thinnest wall and thinnest gap of a mesh, and which of its surfaces lie where they should not.

In: a triangle soup, mm. Out: the shortest ways straight through metal and straight across void
from points spread over the surface, with their places; and how often metal wraps round each of
those points. Rays end exactly on triangles; between the points nothing is known, so the number
of points is part of the answer.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np
from numba import njit

from clearance.distance import Tree, build
from clearance.sections import Floats, Ints, Singles

MOST_CENTRES, MOST_SPREAD = 60_000, 40_000
"""Points at centres of triangles, and points spread evenly over the area."""
FACING = 0.87
"""Least cosine (30 degrees) between a ray and the normal that it ends on: walls, not wedges."""
NEAREST_MM = 1e-6
"""A surface nearer than this is the point's own, written twice."""
REFINED, AROUND = 40, 60
"""The shortest rays of each kind that are looked at again, and points on each one's triangle."""

_compiled = njit(cache=True, nogil=True)


class Narrow(NamedTuple):
    """A narrowest place: its width and its middle (3,), mm; inf and nan if there is none."""

    width_mm: float
    at_mm: Floats


class Points(NamedTuple):
    """Points of the surface: place (N, 3), triangle (N,), outward normal (N, 3)."""

    at: Floats
    triangle: Ints
    normal: Floats


@dataclass(frozen=True, eq=False, slots=True)
class Surface:
    """What rays from points of the surface tell.

    Attributes
    ----------
    wall, gap : Narrow
        Thinnest wall of metal and narrowest gap of void between walls that face each other.
    points : Points
    winding : (N,) ndarray of int64
        Winding number just outside each point: 0 where the mesh is sound, 1 or more within the
        metal of another piece, below 0 where the surface faces inward. Means something only on a
        closed mesh.
    """

    wall: Narrow
    gap: Narrow
    points: Points
    winding: Ints


def surface(triangles: Singles) -> Surface:
    """Measure a mesh from points of its surface.

    Parameters
    ----------
    triangles : ndarray (F, 3, 3) float32
        Finite, mm. Triangles without area are passed over.

    Returns
    -------
    Surface
    """
    tree = build(triangles)
    points = spread(triangles)
    rng = np.random.default_rng(1)
    # A little off the normal, so that no ray meets the diagonals of rectangles opposite.
    slant = points.normal + 0.2 * rng.uniform(-1.0, 1.0, points.normal.shape)
    return Surface(
        _narrowest(tree, triangles, points, -1.0),
        _narrowest(tree, triangles, points, 1.0),
        points,
        _winding(tree, points, slant),
    )


def spread(triangles: Singles) -> Points:
    """Points of the surface: centres of triangles, and more where triangles are large."""
    rng = np.random.default_rng(0)
    vectors = area_vectors(triangles)
    area = np.linalg.norm(vectors, axis=1)
    real = np.flatnonzero(area > 0.0)
    if real.size == 0:
        return Points(np.empty((0, 3)), np.empty(0, np.int64), np.empty((0, 3)))
    centres = real
    if real.size > MOST_CENTRES:
        centres = np.sort(rng.choice(real, MOST_CENTRES, replace=False))
    total = np.cumsum(area[real])
    drawn = np.sort(rng.uniform(0.0, total[-1], MOST_SPREAD))
    spread_over = real[np.minimum(np.searchsorted(total, drawn), real.size - 1)]
    triangle = np.concatenate([centres, spread_over])
    share = np.full((len(triangle), 3), 1.0 / 3.0)
    share[len(centres) :] = rng.dirichlet((1.0, 1.0, 1.0), len(spread_over))
    return _points(triangles, vectors, triangle, share)


def area_vectors(triangles: Singles) -> Floats:
    """Area vectors (F, 3) of triangles, mm2, outward."""
    t = triangles.astype(np.float64)
    result: Floats = 0.5 * np.cross(t[:, 1] - t[:, 0], t[:, 2] - t[:, 0])
    return result


def _points(triangles: Singles, vectors: Floats, triangle: Ints, share: Floats) -> Points:
    at = np.einsum("nk,nkj->nj", share, triangles[triangle].astype(np.float64))
    normal = vectors[triangle]
    return Points(at, triangle, normal / np.linalg.norm(normal, axis=1)[:, None])


def _narrowest(tree: Tree, triangles: Singles, points: Points, side: float) -> Narrow:
    """Shortest ray along (side 1) or against (-1) the normals to a wall that faces back."""
    best = Narrow(np.inf, np.full(3, np.nan))
    rng = np.random.default_rng(2)
    for _ in range(3):  # all points, then twice round the shortest rays
        length = _first_hits(tree, points, side)
        if length.size == 0 or not np.isfinite(length.min()):
            break
        least = int(length.argmin())
        if length[least] < best.width_mm:
            middle = points.at[least] + 0.5 * side * length[least] * points.normal[least]
            best = Narrow(float(length[least]), middle)
        shortest = np.argsort(length)[:REFINED]
        again = np.repeat(np.unique(points.triangle[shortest]), AROUND)
        share = rng.dirichlet((0.6, 0.6, 0.6), len(again))
        points = _again(triangles, again, share)
    return best


def _again(triangles: Singles, triangle: Ints, share: Floats) -> Points:
    near = triangles[triangle]
    found = _points(near, area_vectors(near), np.arange(len(near)), share)
    return Points(found.at, triangle, found.normal)


def _first_hits(tree: Tree, points: Points, side: float) -> Floats:
    place = _places(tree)
    return _shoot_first(
        tree.triangles, tree.boxes, points.at, side * points.normal, place[points.triangle], side
    )


def _winding(tree: Tree, points: Points, directions: Floats) -> Ints:
    place = _places(tree)
    return _shoot_all(tree.triangles, tree.boxes, points.at, directions, place[points.triangle])


def _places(tree: Tree) -> Ints:
    """Where in the tree each triangle stands."""
    place = np.empty(len(tree.order), np.int64)
    place[tree.order] = np.arange(len(tree.order))
    return place


# ---- rays ------------------------------------------------------------------------------------


@_compiled
def _begin(leaf: int, leaves: int, count: int) -> int:
    """First triangle of a leaf: the tree's own rule."""
    return leaf * count // leaves


@_compiled
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


@_compiled
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


@_compiled
def _shoot_first(
    triangles: Any, boxes: Any, points: Any, directions: Any, own: Any, side: float
) -> Any:
    """Length of each ray to the first surface, inf if that does not face the point."""
    leaves, count = boxes.shape[0] // 2, triangles.shape[0]
    result = np.full(points.shape[0], np.inf)
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
        # Through metal a ray ends where it leaves it, across void where it enters it.
        if -side * facing >= FACING:
            result[n] = best
    return result


@_compiled
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
