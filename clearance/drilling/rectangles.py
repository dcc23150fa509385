"""Compiled loops of the search for straight lines: rectangles in polygons, and rays in metal.

In: rectangles and the edges of a polygon, or rays and the arrays of a `box_tree.Tree`. Out: what a
rectangle holds of the polygon; whether a point lies in metal, and where a line is deep in it.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from clearance.kernels.compiler import kernel

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

SURE = 1e-4  # least sine between a ray and a face for its side to count
RIM = 1e-7  # a ray so near to a triangle's rim (over its size) still meets it


# ---- rectangles and polygons ------------------------------------------------------------------


@kernel
def _inside(x: float, y: float, edges: Floats) -> bool:
    """Even-odd rule."""
    odd = False
    for e in range(edges.shape[0]):
        y0, y1 = edges[e, 1], edges[e, 3]
        if (y0 > y) != (y1 > y):
            if x < edges[e, 0] + (y - y0) / (y1 - y0) * (edges[e, 2] - edges[e, 0]):
                odd = not odd
    return odd


@kernel
def within(points: Floats, edges: Floats) -> Bools:
    """Whether points (N, 2) lie in a polygon given by its edges (E, 4)."""
    result = np.empty(points.shape[0], np.bool_)
    for n in range(points.shape[0]):
        result[n] = _inside(points[n, 0], points[n, 1], edges)
    return result


@kernel
def _clip(edge: Floats, rect: Floats) -> tuple[float, float]:
    """Range of an edge's parameter within a rectangle; empty if the first is the larger."""
    first, last = 0.0, 1.0
    for k in range(2):
        start, step = edge[k], edge[2 + k] - edge[k]
        if step == 0.0:
            if start < rect[k] or start > rect[2 + k]:
                return 1.0, 0.0
            continue
        a, b = (rect[k] - start) / step, (rect[2 + k] - start) / step
        first, last = max(first, min(a, b)), min(last, max(a, b))
    return first, last


@kernel
def tighten(rects: Floats, edges: Floats) -> tuple[Floats, Bools, Floats]:
    """Shrink rectangles to what they hold of a polygon.

    Returns the shrunk rectangles, whether they hold any of it, and a point of it near the middle:
    the bounding box of a clipped polygon is that of its clipped edges and of the corners inside.
    """
    count = rects.shape[0]
    result, meets, points = np.empty((count, 4)), np.zeros(count, np.bool_), np.empty((count, 2))
    for n in range(count):
        rect = rects[n]
        x, y = 0.5 * (rect[0] + rect[2]), 0.5 * (rect[1] + rect[3])
        low_x, low_y, high_x, high_y = np.inf, np.inf, -np.inf, -np.inf
        nearest = np.inf
        for corner in range(4):
            cx, cy = rect[2 * (corner & 1)], rect[1 + (corner & 2)]
            if _inside(cx, cy, edges):
                low_x, low_y = min(low_x, cx), min(low_y, cy)
                high_x, high_y = max(high_x, cx), max(high_y, cy)
        for e in range(edges.shape[0]):
            first, last = _clip(edges[e], rect)
            if first > last:
                continue
            dx, dy = edges[e, 2] - edges[e, 0], edges[e, 3] - edges[e, 1]
            for s in (first, last):
                ex, ey = edges[e, 0] + s * dx, edges[e, 1] + s * dy
                low_x, low_y = min(low_x, ex), min(low_y, ey)
                high_x, high_y = max(high_x, ex), max(high_y, ey)
            size = max(dx * dx + dy * dy, 1e-300)
            s = min(max(((x - edges[e, 0]) * dx + (y - edges[e, 1]) * dy) / size, first), last)
            ex, ey = edges[e, 0] + s * dx, edges[e, 1] + s * dy
            gap = (ex - x) ** 2 + (ey - y) ** 2
            if gap < nearest:
                nearest = gap
                points[n, 0], points[n, 1] = ex, ey
        meets[n] = low_x <= high_x
        result[n, 0], result[n, 1] = max(low_x, rect[0]), max(low_y, rect[1])
        result[n, 2], result[n, 3] = min(high_x, rect[2]), min(high_y, rect[3])
        if _inside(x, y, edges):
            points[n, 0], points[n, 1] = x, y
    return result, meets, points


# ---- in metal or not --------------------------------------------------------------------------


@kernel
def _misses_box(box: Any, a: Floats, d: Floats) -> bool:
    """Whether the segment a + s d surely misses a box."""
    first, last = 0.0, 1.0
    for k in range(3):
        low, high = box[k] - 1e-6, box[3 + k] + 1e-6
        if abs(d[k]) < 1e-12:
            if a[k] < low or a[k] > high:
                return True
            continue
        s, t = (low - a[k]) / d[k], (high - a[k]) / d[k]
        first, last = max(first, min(s, t)), min(last, max(s, t))
        if first > last:
            return True
    return False


@kernel
def _pierce(t: Any, a: Floats, d: Floats) -> tuple[float, float]:
    """Where a + s d pierces a triangle (-1: nowhere), and d . normal as a sine, signed."""
    e, f, n, r = np.empty(3), np.empty(3), np.empty(3), np.empty(3)
    for k in range(3):
        e[k], f[k], r[k] = t[1, k] - t[0, k], t[2, k] - t[0, k], a[k] - t[0, k]
    n[0], n[1] = e[1] * f[2] - e[2] * f[1], e[2] * f[0] - e[0] * f[2]
    n[2] = e[0] * f[1] - e[1] * f[0]
    facing = d[0] * n[0] + d[1] * n[1] + d[2] * n[2]
    size = math.sqrt(
        (n[0] * n[0] + n[1] * n[1] + n[2] * n[2]) * (d[0] * d[0] + d[1] * d[1] + d[2] * d[2])
    )
    if abs(facing) <= 1e-9 * size:
        return -1.0, 0.0
    s = -(r[0] * n[0] + r[1] * n[1] + r[2] * n[2]) / facing
    if not 0.0 <= s <= 1.0:
        return -1.0, 0.0
    # Barycentric coordinates by m = d x r; the rim counts, so that no ray slips between triangles.
    m0, m1 = d[1] * r[2] - d[2] * r[1], d[2] * r[0] - d[0] * r[2]
    m2 = d[0] * r[1] - d[1] * r[0]
    u = (f[0] * m0 + f[1] * m1 + f[2] * m2) / facing
    v = -(e[0] * m0 + e[1] * m1 + e[2] * m2) / facing
    if u < -RIM or v < -RIM or u + v > 1.0 + RIM:
        return -1.0, 0.0
    return s, facing / size


@kernel
def _hits(
    triangles: Any, boxes: Any, a: Floats, d: Floats, where: Floats, facing: Floats, nodes: Ints
) -> int:
    """Write where a segment meets triangles, in no order; returns how often (-1: too often)."""
    leaves, total = boxes.shape[0] // 2, triangles.shape[0]
    count, waiting = 0, 1
    nodes[0] = 1
    while waiting > 0:
        waiting -= 1
        node = nodes[waiting]
        if _misses_box(boxes[node], a, d):
            continue
        if node < leaves:
            nodes[waiting], nodes[waiting + 1] = 2 * node, 2 * node + 1
            waiting += 2
            continue
        leaf = node - leaves
        for f in range(leaf * total // leaves, (leaf + 1) * total // leaves):
            s, sine = _pierce(triangles[f], a, d)
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
        count = _hits(triangles, boxes, starts[n], steps[n], where, facing, nodes)
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
def metal(triangles: Any, boxes: Any, points: Floats, nearest: Ints) -> Bools:
    """Whether points are surely in metal: what one sees of a nearby triangle is its back.

    The ray goes to the middle of the nearest triangle and ends at the first one in its way. Rays
    that graze, or meet an edge with a front and a back, prove nothing.
    """
    where, facing, nodes = np.empty(512), np.empty(512), np.empty(64, np.int64)
    result = np.zeros(points.shape[0], np.bool_)
    ray = np.empty(3)
    for n in range(points.shape[0]):
        t = triangles[nearest[n]]
        for k in range(3):
            ray[k] = ((t[0, k] + t[1, k] + t[2, k]) / 3.0 - points[n, k]) * (1.0 + 1e-6)
        count = _hits(triangles, boxes, points[n], ray, where, facing, nodes)
        if count < 1:
            continue
        first = where[:count].min()
        back = True
        for k in range(count):
            if where[k] <= first + 1e-7:
                back = back and facing[k] > SURE
        result[n] = back
    return result
