"""Compiled loops of the search for straight lines: rectangles in polygons.

In: rectangles or points, and the edges of a polygon. Out: what a rectangle holds of the polygon,
and which points lie in it.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from clearance.kernels.compiler import inner, kernel

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]


# ---- rectangles and polygons ------------------------------------------------------------------


@inner
def _inside(x: float, y: float, edges: Floats) -> bool:
    """Even-odd rule."""
    odd = False
    for e in range(edges.shape[0]):
        y0, y1 = edges[e, 1], edges[e, 3]
        if (y0 > y) != (y1 > y):
            if x < edges[e, 0] + (y - y0) / (y1 - y0) * (edges[e, 2] - edges[e, 0]):
                odd = not odd
    return odd


def within(points: Floats, edges: Floats) -> Bools:
    """Whether points (N, 2) lie in a polygon given by its edges (E, 4)."""
    return _within(np.ascontiguousarray(points), edges)


@kernel
def _within(points: Floats, edges: Floats) -> Bools:
    result = np.empty(points.shape[0], np.bool_)
    for n in range(points.shape[0]):
        result[n] = _inside(points[n, 0], points[n, 1], edges)
    return result


@inner
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
