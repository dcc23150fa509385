"""How high metal's faces stand over faces of a finished shape, along these faces' normals.

In: triangles of the finished shape, the metal's surface as a tree. Out: least and greatest height,
and how much of each triangle is covered. A face of the metal counts where it looks the same way
within 44 degrees: what looks aside bounds the metal beside a face, not over it.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from clearance.geometry.box_tree import Tree, begin_of_leaf
from clearance.kernels.clip import clipped_polygon
from clearance.kernels.compiler import kernel
from clearance.kernels.vectors import Array, Vector, ahead, corners_of, cross, dot, minus, unit

Floats = NDArray[np.float64]
SAME_WAY = float(np.cos(np.radians(44.0)))
"""Cosine between the normals of a face and of what is stock on it, at least.

A chamfer of 45 degrees beside a machined face bounds it, and is no stock that ends there.
"""

ROUNDING_MM = 1e-4
"""A face that lies no deeper under another is in its plane: corners have single precision."""


class Heights(NamedTuple):
    """What stands over triangles: (F,) mm, places (F, 3) mm on them, covered areas (F,) mm2.

    Least and greatest are inf and -inf where nothing does.
    """

    least: Floats
    least_at: Floats
    greatest: Floats
    greatest_at: Floats
    covered: Floats


def heights(
    tree: Tree, triangles: Floats, most: float, inward: bool = False, alike: float = SAME_WAY
) -> Heights:
    """Heights of the metal's faces over triangles, up to a greatest one.

    Parameters
    ----------
    tree : Tree
        Of the metal's surface, facing outward.
    triangles : (F, 3, 3) ndarray, mm
        Facing outward.
    most : float, mm
        What stands higher is not looked at.
    inward : bool
        Look against the normals instead, for what lies under the triangles.
    alike : float
        Least cosine between the normals of a triangle and of what counts.

    Notes
    -----
    Exact: both are plane, so over the polygon that their projections share, which is clipped out,
    the height is linear and takes its least and its greatest value at corners.
    """
    return Heights(*_heights(tree, triangles, most, -1.0 if inward else 1.0, alike, False))


def least_height(tree: Tree, triangles: Floats, most: float) -> tuple[float, Floats] | None:
    """The least height over all triangles and its place; quicker. None where nothing is found."""
    found = Heights(*_heights(tree, triangles, most, 1.0, SAME_WAY, True))
    if not len(triangles) or not np.isfinite(found.least.min()):
        return None
    n = int(np.argmin(found.least))
    return float(found.least[n]), found.least_at[n]


@kernel
def _box_of(t: Array, up: Vector, reach: float, low: Array, high: Array) -> None:
    """Box around the prism over a triangle."""
    for k in range(3):
        low[k] = min(t[0, k], t[1, k], t[2, k]) + min(0.0, reach * up[k])
        high[k] = max(t[0, k], t[1, k], t[2, k]) + max(0.0, reach * up[k])


@kernel
def _apart(boxes: Array, node: int, low: Array, high: Array) -> bool:
    for k in range(3):
        if boxes[node, k] > high[k] or boxes[node, 3 + k] < low[k]:
            return True
    return False


@kernel
def _shared(g: Array, a: Vector, ab: Vector, ac: Vector, one: Array, other: Array) -> int:
    """Corners in `one`, in shares of a triangle's corners, of what lies over it of another."""
    bb, cc, bc = dot(ab, ab), dot(ac, ac), dot(ab, ac)
    room = bb * cc - bc * bc
    for v in range(3):
        off = minus((np.float64(g[v, 0]), np.float64(g[v, 1]), np.float64(g[v, 2])), a)
        pb, pc = dot(off, ab), dot(off, ac)
        one[v, 1] = (cc * pb - bc * pc) / room
        one[v, 2] = (bb * pc - bc * pb) / room
        one[v, 0] = 1.0 - one[v, 1] - one[v, 2]
    m = clipped_polygon(one, np.int64(3), np.int64(0), 0.0, 1.0, 0.0, other)
    m = clipped_polygon(other, m, np.int64(1), 0.0, 1.0, 0.0, one)
    m = clipped_polygon(one, m, np.int64(2), 0.0, 1.0, 0.0, other)
    for v in range(m):
        for k in range(3):
            one[v, k] = other[v, k]
    return m


@kernel
def _heights(tree, triangles, most, side, alike, pruned):  # type: ignore[no-untyped-def]
    count = triangles.shape[0]
    least, greatest = np.full(count, np.inf), np.full(count, -np.inf)
    least_at, greatest_at = np.zeros((count, 3)), np.zeros((count, 3))
    covered = np.zeros(count)
    low, high = np.empty(3), np.empty(3)
    one, other = np.empty((8, 3)), np.empty((8, 3))
    waiting = np.empty(128, np.int64)
    leaves, total = tree.boxes.shape[0] // 2, tree.triangles.shape[0]
    reach = most
    for n in range(count):
        a, b, c = corners_of(triangles[n])
        ab, ac = minus(b, a), minus(c, a)
        area2 = cross(ab, ac)
        normal = unit(area2)
        twice = dot(area2, normal)
        if twice <= 0.0:
            continue
        up = (side * normal[0], side * normal[1], side * normal[2])
        _box_of(triangles[n], up, reach, low, high)
        waiting[0], left = 1, 1
        while left > 0:
            left -= 1
            node = waiting[left]
            if _apart(tree.boxes, node, low, high):
                continue
            if node < leaves:
                waiting[left], waiting[left + 1] = 2 * node, 2 * node + 1
                left += 2
                continue
            leaf = node - leaves
            for f in range(
                begin_of_leaf(leaf, leaves, total), begin_of_leaf(leaf + 1, leaves, total)
            ):
                p, q, r = corners_of(tree.triangles[f])
                over = unit(cross(minus(q, p), minus(r, p)))
                slope = dot(over, normal)
                if slope < alike:
                    continue
                m = _shared(tree.triangles[f], a, ab, ac, one, other)
                share = 0.0
                for v in range(m):
                    if 1 < v:
                        share += (one[v - 1, 1] - one[0, 1]) * (one[v, 2] - one[0, 2])
                        share -= (one[v, 1] - one[0, 1]) * (one[v - 1, 2] - one[0, 2])
                if abs(share) <= 1e-12:
                    continue
                lowest, highest = np.inf, -np.inf
                for v in range(m):
                    at = ahead(ahead(a, ab, one[v, 1]), ac, one[v, 2])
                    one[v, 0] = side * dot(minus(p, at), over) / slope
                    lowest, highest = min(lowest, one[v, 0]), max(highest, one[v, 0])
                if highest < -ROUNDING_MM or lowest > reach:
                    continue
                covered[n] += 0.5 * abs(share) * twice
                for v in range(m):
                    h = max(one[v, 0], 0.0)
                    at = ahead(ahead(a, ab, one[v, 1]), ac, one[v, 2])
                    if h < least[n]:
                        least[n] = h
                        least_at[n, 0], least_at[n, 1], least_at[n, 2] = at
                    if greatest[n] < h <= most:
                        greatest[n] = h
                        greatest_at[n, 0], greatest_at[n, 1], greatest_at[n, 2] = at
        if pruned and least[n] < reach:
            reach = least[n]
    return least, least_at, greatest, greatest_at, covered
