"""What a point sees of a mesh: whether it lies in metal, and whether it sees the open.

In: a closed triangle soup and points. Out: winding numbers and free lines of sight. One pass
over the mesh for all points, without an index.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from clearance.geometry.cutting import Floats, Ints, Singles
from clearance.geometry.rays import pierced
from clearance.geometry.stretches import STRETCH, boxes_of, fixed
from clearance.kernels.compiler import inner, kernel
from clearance.kernels.vectors import row


def winding_at(triangles: Singles, points: Floats) -> Ints:
    """Winding number of the whole mesh at points (K, 3): what lies straight above, with sign."""
    boxes = boxes_of(triangles)
    meets = np.zeros(len(boxes), np.bool_)
    for x, y, z in points:
        over = (boxes[:, 0] <= x) & (boxes[:, 3] >= x) & (boxes[:, 1] <= y) & (boxes[:, 4] >= y)
        meets |= over & (boxes[:, 5] >= z)
    result: Ints = _winding_at(fixed(triangles), np.flatnonzero(meets), points)
    return result


@kernel
def _winding_at(triangles: Singles, stretches: Ints, points: Floats) -> Ints:
    total = np.zeros(points.shape[0], np.int64)
    for n in range(stretches.shape[0] * STRETCH):
        i = stretches[n // STRETCH] * STRETCH + n % STRETCH
        if i >= triangles.shape[0]:
            continue
        t = triangles[i]
        for k in range(points.shape[0]):
            x, y, z = points[k, 0], points[k, 1], points[k, 2]
            if x < min(t[0, 0], t[1, 0], t[2, 0]) or x > max(t[0, 0], t[1, 0], t[2, 0]):
                continue
            if y < min(t[0, 1], t[1, 1], t[2, 1]) or y > max(t[0, 1], t[1, 1], t[2, 1]):
                continue
            turns = 0
            for a in range(3):
                b = (a + 1) % 3
                low, high = (a, b) if t[a, 1] <= t[b, 1] else (b, a)
                if not (t[low, 1] <= y < t[high, 1]):
                    continue
                # The same arithmetic for both neighbours of an edge: nothing falls between.
                run = np.float64(t[high, 0]) - np.float64(t[low, 0])
                rise = np.float64(t[high, 1]) - np.float64(t[low, 1])
                if np.float64(t[low, 0]) + run * ((y - np.float64(t[low, 1])) / rise) > x:
                    turns += 1 if low == a else -1
            if turns != 0 and _rises_above(t, x, y, z):
                total[k] += turns
    return total


@inner
def _rises_above(t: Singles, x: float, y: float, z: float) -> bool:
    ax, ay = np.float64(t[0, 0]), np.float64(t[0, 1])
    bx, by = np.float64(t[1, 0]) - ax, np.float64(t[1, 1]) - ay
    cx, cy = np.float64(t[2, 0]) - ax, np.float64(t[2, 1]) - ay
    area = bx * cy - cx * by
    if area == 0.0:
        return False
    v = ((x - ax) * cy - cx * (y - ay)) / area
    w = (bx * (y - ay) - (x - ax) * by) / area
    return bool(t[0, 2] + v * (t[1, 2] - t[0, 2]) + w * (t[2, 2] - t[0, 2]) > z)


@kernel
def free_rays(triangles: Singles, start: Floats, rays: Floats, length: float) -> int:
    """How many rays from `start` meet no triangle within `length`."""
    free = np.ones(rays.shape[0], np.bool_)
    at = start[0], start[1], start[2]
    for i in range(triangles.shape[0]):
        far = False
        for k in range(3):
            a, b, c = triangles[i, 0, k], triangles[i, 1, k], triangles[i, 2, k]
            far |= min(a, b, c) > start[k] + length or max(a, b, c) < start[k] - length
        if far:
            continue
        for r in range(rays.shape[0]):
            if free[r]:
                s, u, v, _, _ = pierced(triangles[i], at, row(rays, r))
                free[r] = not (u >= 0.0 and v >= 0.0 and u + v <= 1.0 and 0.0 < s < length)
    return int(free.sum())


@kernel
def sights(triangles: Singles, points: Floats) -> NDArray[np.bool_]:
    """Whether each point (K, 3) sees unbounded space along -x, +x, -y, +y, -z, +z: (K, 6)."""
    free = np.ones((points.shape[0], 6), np.bool_)
    for i in range(triangles.shape[0]):
        t = triangles[i]
        for k in range(points.shape[0]):
            for axis in range(3):
                m, n = (axis + 1) % 3, (axis + 2) % 3
                x, y = points[k, m], points[k, n]
                if x < min(t[0, m], t[1, m], t[2, m]) or x > max(t[0, m], t[1, m], t[2, m]):
                    continue
                if y < min(t[0, n], t[1, n], t[2, n]) or y > max(t[0, n], t[1, n], t[2, n]):
                    continue
                ax, ay = np.float64(t[0, m]), np.float64(t[0, n])
                bx, by = np.float64(t[1, m]) - ax, np.float64(t[1, n]) - ay
                cx, cy = np.float64(t[2, m]) - ax, np.float64(t[2, n]) - ay
                area = bx * cy - cx * by
                if area == 0.0:
                    continue
                v = ((x - ax) * cy - cx * (y - ay)) / area
                w = (bx * (y - ay) - (x - ax) * by) / area
                if v < 0.0 or w < 0.0 or v + w > 1.0:
                    continue
                at = t[0, axis] + v * (t[1, axis] - t[0, axis]) + w * (t[2, axis] - t[0, axis])
                free[k, 2 * axis + (1 if at > points[k, axis] else 0)] = False
    return free
