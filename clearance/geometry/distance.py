"""Exact distances from points and segments to a triangle soup.

In: triangles (F, 3, 3) mm and points, segments or routes. Out: distances with the points where
they are taken, a certified lower bound along a route, and a route pushed to where there is more
room. What the triangles mean, and which side of them is metal, is left to others: the distance is
unsigned. Everything compiled stays in this file, because the compiler's cache looks only at the
file a kernel is written in.
"""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from clearance.kernels.compiler import kernel

LEAF = 8  # most triangles in a leaf of the tree
LONG_MM = 10.0  # a segment longer than this is worth a look at its ends first
PASSES = 4  # most times that `widen` resamples a route
FINE_ENOUGH = 0.997  # `widen` halves its spacing if a route has less of its vertices' room
FRAME_MM = 1e-9  # added to boxes askew: rounding is far less at any coordinate of a part
ROUNDING_MM = 1e-6  # subtracted from every certified length; float64 arithmetic errs far less

Vector = tuple[float, float, float]
Floats = NDArray[np.float64]
Array = NDArray[Any]


# ---- the tree ---------------------------------------------------------------------------------


class Tree(NamedTuple):
    """Bounding boxes over a triangle soup, made by `build`; kernels take it as it is.

    Attributes
    ----------
    triangles : (F, 3, 3) ndarray of float32, mm
        The soup, in the order of the leaves.
    order : (F,) ndarray of int32
        Index that each of them has in the soup given to `build`.
    boxes : (2 * leaves, 6) ndarray of float32, mm
        Lower and upper corner of every node: 1 is the root, the children of n are 2n and 2n + 1.
        Corners are coordinates of vertices, so nothing is rounded.
    frames : (leaves, 5, 3) ndarray of float64
        A box askew round every leaf: three axes, its middle and its half sizes along them. The
        first axis is the mean normal, so it lies close to a smooth wall: seen from the middle of
        a tube all of the wall is equally far, and only such boxes tell what is not the nearest.
    """

    triangles: NDArray[np.float32]
    order: NDArray[np.int32]
    boxes: NDArray[np.float32]
    frames: Floats


def build(triangles: ArrayLike) -> Tree:
    """Build the tree of a soup.

    Parameters
    ----------
    triangles : (F, 3, 3) array_like, mm
        Kept as float32. F may be 0; triangles without area count as segments or points.

    Returns
    -------
    Tree

    Raises
    ------
    ValueError
        A coordinate is not finite.

    Notes
    -----
    A balanced binary tree: every node splits its triangles at the median centroid along the axis
    on which the centroids spread most, so node numbers say which triangles a leaf holds.
    """
    soup = np.ascontiguousarray(triangles, dtype=np.float32).reshape(-1, 3, 3)
    if not np.isfinite(soup).all():
        raise ValueError("coordinates of triangles must be finite")
    held, order, boxes = _build(soup)
    return Tree(held, order, boxes, _frames(held, len(boxes) // 2))


@kernel
def _begin(leaf: int, leaves: int, count: int) -> int:
    """First triangle of a leaf."""
    return leaf * count // leaves


@kernel
def _select(key: Array, order: Array, low: int, high: int, middle: int) -> None:
    """Sort key[low:high] so far that key[middle] stands where a full sort would put it."""
    left, right = low, high - 1
    while left < right:
        a, b, c = key[left], key[(left + right) >> 1], key[right]
        pivot = max(min(a, b), min(max(a, b), c))
        i, j = left, right
        while i <= j:
            while key[i] < pivot:
                i += 1
            while key[j] > pivot:
                j -= 1
            if i <= j:
                key[i], key[j] = key[j], key[i]
                order[i], order[j] = order[j], order[i]
                i += 1
                j -= 1
        if middle <= j:
            right = j
        elif middle >= i:
            left = i
        else:
            return


@kernel
def _split(node: int, width: int, leaves: int, centre: Array, key: Array, order: Array) -> None:
    """Divide a node's triangles between its children; `width` is its number of leaves."""
    count = order.size
    first = node * width - leaves
    low, high = _begin(first, leaves, count), _begin(first + width, leaves, count)
    axis, spread = 0, np.float32(-1.0)
    for k in range(3):
        least = most = centre[order[low], k]
        for n in range(low + 1, high):
            least = min(least, centre[order[n], k])
            most = max(most, centre[order[n], k])
        if most - least > spread:
            axis, spread = k, most - least
    for n in range(low, high):
        key[n] = centre[order[n], axis]
    _select(key, order, low, high, _begin(first + width // 2, leaves, count))


@kernel
def _build(soup: Array) -> tuple[Array, Array, Array]:
    count = soup.shape[0]
    leaves = 1
    while leaves * LEAF < count:
        leaves *= 2
    centre = np.empty((count, 3), np.float32)
    for f in range(count):
        for k in range(3):
            centre[f, k] = soup[f, 0, k] + soup[f, 1, k] + soup[f, 2, k]
    key = np.empty(count, np.float32)
    order = np.arange(count).astype(np.int32)
    nodes, widths = np.empty(64, np.int64), np.empty(64, np.int64)
    nodes[0], widths[0], waiting = 1, leaves, 1
    while waiting > 0:  # downward first, so that the triangles at hand stay in the cache
        waiting -= 1
        node, width = nodes[waiting], widths[waiting]
        if node < leaves:
            _split(node, width, leaves, centre, key, order)
            for child in (2 * node + 1, 2 * node):
                nodes[waiting], widths[waiting] = child, width // 2
                waiting += 1

    triangles = np.empty_like(soup)
    boxes = np.empty((2 * leaves, 6), np.float32)
    for node in range(2 * leaves):  # an empty soup keeps this box, infinitely far from everything
        for k in range(3):
            boxes[node, k], boxes[node, 3 + k] = np.inf, -np.inf
    for leaf in range(leaves):
        box = boxes[leaves + leaf]
        for n in range(_begin(leaf, leaves, count), _begin(leaf + 1, leaves, count)):
            for corner in range(3):
                for k in range(3):
                    x = soup[order[n], corner, k]
                    triangles[n, corner, k] = x
                    box[k] = min(box[k], x)
                    box[3 + k] = max(box[3 + k], x)
    for node in range(leaves - 1, 0, -1):
        for k in range(3):
            boxes[node, k] = min(boxes[2 * node, k], boxes[2 * node + 1, k])
            boxes[node, 3 + k] = max(boxes[2 * node, 3 + k], boxes[2 * node + 1, 3 + k])
    return triangles, order, boxes


@kernel
def _frames(triangles: Array, leaves: int) -> Array:
    """Boxes askew round the leaves, as `Tree.frames`."""
    frames = np.zeros((leaves, 5, 3))
    count = triangles.shape[0]
    for leaf in range(leaves):
        first, last = _begin(leaf, leaves, count), _begin(leaf + 1, leaves, count)
        normal = (0.0, 0.0, 0.0)
        for f in range(first, last):
            a, b, c = _corners(triangles[f])
            own = _cross(_minus(b, a), _minus(c, a))
            # Both faces of a thin sheet may be in one leaf: they must not cancel.
            normal = _along(normal, own, 1.0 if _dot(normal, own) >= 0.0 else -1.0)
        normal = _unit(normal)
        if _dot(normal, normal) == 0.0:
            normal = (0.0, 0.0, 1.0)
        across = _unit(_cross(normal, _helper(normal)))
        k = 0
        for axis in (normal, across, _cross(normal, across)):
            low, high = np.inf, -np.inf
            for f in range(first, last):
                for corner in range(3):
                    x = _dot(axis, _row(triangles[f], corner))
                    low, high = min(low, x), max(high, x)
            _put(frames[leaf], k, axis)
            if first < last:
                frames[leaf, 3, k], frames[leaf, 4, k] = 0.5 * (low + high), 0.5 * (high - low)
            frames[leaf, 4, k] += FRAME_MM
            k += 1
    return frames


# ---- vectors ----------------------------------------------------------------------------------


@kernel
def _corners(triangle: Array) -> tuple[Vector, Vector, Vector]:
    return _row(triangle, np.int64(0)), _row(triangle, np.int64(1)), _row(triangle, np.int64(2))


@kernel
def _row(points: Array, n: int) -> Vector:
    return np.float64(points[n, 0]), np.float64(points[n, 1]), np.float64(points[n, 2])


@kernel
def _minus(a: Vector, b: Vector) -> Vector:
    return a[0] - b[0], a[1] - b[1], a[2] - b[2]


@kernel
def _dot(a: Vector, b: Vector) -> float:
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


@kernel
def _cross(a: Vector, b: Vector) -> Vector:
    return a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]


@kernel
def _along(a: Vector, d: Vector, s: float) -> Vector:
    return a[0] + s * d[0], a[1] + s * d[1], a[2] + s * d[2]


@kernel
def _gap2(a: Vector, b: Vector) -> float:
    d = _minus(a, b)
    return _dot(d, d)


@kernel
def _unit(a: Vector) -> Vector:
    length = math.sqrt(_dot(a, a))
    if length == 0.0:
        return 0.0, 0.0, 0.0
    return a[0] / length, a[1] / length, a[2] / length


@kernel
def _helper(a: Vector) -> Vector:
    """A direction that is far from that of a unit vector."""
    if abs(a[2]) > 0.6:
        return 1.0, 0.0, 0.0
    return 0.0, 0.0, 1.0


@kernel
def _put(points: Array, n: int, p: Vector) -> None:
    points[n, 0], points[n, 1], points[n, 2] = p


# ---- points -----------------------------------------------------------------------------------


@kernel
def _on_segment(p: Vector, a: Vector, d: Vector) -> float:
    """Parameter in [0, 1] of the point of a + s d nearest to p."""
    length2 = _dot(d, d)
    if length2 == 0.0:
        return 0.0
    return min(max(_dot(_minus(p, a), d) / length2, 0.0), 1.0)


@kernel
def _on_sliver(p: Vector, a: Vector, b: Vector, c: Vector, normal: Vector, flat: bool) -> Vector:
    """Nearest point of a very thin triangle: its sides, and its face unless it has no area."""
    nearest, least = a, np.inf
    inside = not flat
    for _ in range(3):
        d = _minus(b, a)
        inside = inside and _dot(_cross(d, _minus(p, a)), normal) >= 0.0
        q = _along(a, d, _on_segment(p, a, d))
        if _gap2(p, q) < least:
            nearest, least = q, _gap2(p, q)
        a, b, c = b, c, a
    if inside:
        return _along(p, normal, -_dot(_minus(p, a), normal) / _dot(normal, normal))
    return nearest


@kernel
def _on_triangle(p: Vector, a: Vector, b: Vector, c: Vector) -> Vector:
    """Nearest point of a triangle (C. Ericson, Real-Time Collision Detection, 2005, 5.1.5)."""
    ab, ac, ap = _minus(b, a), _minus(c, a), _minus(p, a)
    d1, d2 = _dot(ab, ap), _dot(ac, ap)
    if d1 <= 0.0 and d2 <= 0.0:
        return a
    bp = _minus(p, b)
    d3, d4 = _dot(ab, bp), _dot(ac, bp)
    if d3 >= 0.0 and d4 <= d3:
        return b
    cp = _minus(p, c)
    d5, d6 = _dot(ab, cp), _dot(ac, cp)
    if d6 >= 0.0 and d5 <= d6:
        return c
    normal = _cross(ab, ac)
    sine2 = _dot(normal, normal) / max(_dot(ab, ab) * _dot(ac, ac), 1e-300)
    if sine2 < 1e-6:  # the differences below would be rounding noise
        return _on_sliver(p, a, b, c, normal, sine2 < 1e-16)
    vc = d1 * d4 - d3 * d2
    if vc <= 0.0 and d1 >= 0.0 and d3 <= 0.0:
        return _along(a, ab, d1 / (d1 - d3))
    vb = d5 * d2 - d1 * d6
    if vb <= 0.0 and d2 >= 0.0 and d6 <= 0.0:
        return _along(a, ac, d2 / (d2 - d6))
    va = d3 * d6 - d5 * d4
    if va <= 0.0 and d4 >= d3 and d5 >= d6:
        return _along(b, _minus(c, b), (d4 - d3) / ((d4 - d3) + (d5 - d6)))
    total = va + vb + vc
    return _along(_along(a, ab, vb / total), ac, vc / total)


@kernel
def _point_to_box2(boxes: Array, node: int, p: Vector) -> float:
    total = 0.0
    for k in range(3):
        gap = max(boxes[node, k] - p[k], p[k] - boxes[node, 3 + k], 0.0)
        total += gap * gap
    return total


@kernel
def _point_to_frame2(frame: Array, p: Vector) -> float:
    total = 0.0
    for k in range(3):
        gap = max(abs(_dot(_row(frame, k), p) - frame[3, k]) - frame[4, k], 0.0)
        total += gap * gap
    return total


@kernel
def _nearest(
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
    gap2, waiting = _point_to_box2(boxes, node, p), 0
    while True:
        if gap2 < best2:
            if node < leaves:
                near, far = 2 * node, 2 * node + 1
                near2, far2 = _point_to_box2(boxes, near, p), _point_to_box2(boxes, far, p)
                if far2 < near2:
                    near, far, near2, far2 = far, near, far2, near2
                if far2 < best2:
                    nodes[waiting], gaps[waiting] = far, far2
                    waiting += 1
                node, gap2 = near, near2
                continue
            leaf = node - leaves
            if _point_to_frame2(tree.frames[leaf], p) < best2:
                for f in range(_begin(leaf, leaves, count), _begin(leaf + 1, leaves, count)):
                    a, b, c = _corners(triangles[f])
                    q = _on_triangle(p, a, b, c)
                    d2 = _gap2(p, q)
                    if d2 < best2:
                        best, best2, where = f, d2, q
                if best2 <= stop2:
                    break
        if waiting == 0:
            break
        waiting -= 1
        node, gap2 = nodes[waiting], gaps[waiting]
    return best2, best, where


@kernel
def _nearest_from(
    tree: Tree, p: Vector, hint: int, stop2: float, nodes: Array, gaps: Array
) -> tuple[float, int, Vector]:
    """`_nearest`, begun with a triangle that may be near (-1: none is known): quicker."""
    if hint < 0:
        return _nearest(tree, p, np.inf, stop2, nodes, gaps)
    a, b, c = _corners(tree.triangles[hint])
    q = _on_triangle(p, a, b, c)
    hint2 = _gap2(p, q)
    if hint2 <= stop2:
        return hint2, hint, q
    d2, f, nearest = _nearest(tree, p, hint2, stop2, nodes, gaps)
    return (hint2, hint, q) if f < 0 else (d2, f, nearest)


@kernel
def _closest(tree: Tree, points: Array) -> tuple[Array, Array, Array]:
    count = points.shape[0]
    distance = np.full(count, np.inf)
    where = np.full((count, 3), np.nan)
    index = np.full(count, -1, np.int64)
    nodes, gaps = np.empty(64, np.int64), np.empty(64)
    hint = -1
    for n in range(count):
        d2, f, q = _nearest_from(tree, _row(points, n), hint, -1.0, nodes, gaps)
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
    return _closest(tree, _as_points(points))


def distances(tree: Tree, points: ArrayLike) -> Floats:
    """Unsigned distance, mm, (N,), of points (N, 3) to the soup; inf if it is empty."""
    return closest(tree, points)[0]


def _as_points(points: ArrayLike) -> Floats:
    """(N, 3), writable and contiguous: one array type, so that one compiled kernel serves.

    A point that is not a number would read as infinitely far, so it is refused.
    """
    array = np.require(np.reshape(np.asarray(points, np.float64), (-1, 3)), requirements=["C", "W"])
    if not np.isfinite(array).all():
        raise ValueError("coordinates of points must be finite")
    return array


# ---- segments ---------------------------------------------------------------------------------


@kernel
def _line_to_line(a: Vector, d: Vector, c: Vector, e: Vector) -> float:
    """Parameter s in [0, 1] near which a + s d passes the segment c + t e; 0 if parallel."""
    r = _minus(a, c)
    dd, de, ee = _dot(d, d), _dot(d, e), _dot(e, e)
    sine = dd * ee - de * de
    if sine <= 1e-16 * dd * ee:
        return 0.0
    return min(max((de * _dot(e, r) - ee * _dot(d, r)) / sine, 0.0), 1.0)


@kernel
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
    b = _along(a, d, 1.0)
    p, q = _on_triangle(a, c0, c1, c2), _on_triangle(b, c0, c1, c2)
    start2, end2 = _gap2(a, p), _gap2(b, q)
    rise, fall = 2.0 * _dot(_minus(a, p), d), 2.0 * _dot(_minus(b, q), d)
    if rise >= 0.0:
        return start2, 0.0, p
    if fall <= 0.0:
        return end2, 1.0, q
    if start2 + rise * (end2 - fall - start2) / (rise - fall) > limit2 * (1.0 + 1e-9):
        return np.inf, 0.0, a
    best2, best, where = start2, 0.0, p
    if end2 < best2:
        best2, best, where = end2, 1.0, q
    normal = _cross(_minus(c1, c0), _minus(c2, c0))
    over, under = _dot(normal, _minus(a, c0)), _dot(normal, _minus(b, c0))
    if over * under < 0.0:
        s = over / (over - under)
        p = _along(a, d, s)
        q = _on_triangle(p, c0, c1, c2)
        if _gap2(p, q) < 1e-20:
            return 0.0, s, q
    for _ in range(3):
        s = _on_segment(c0, a, d)
        d2 = _gap2(_along(a, d, s), c0)
        if d2 < best2:
            best2, best, where = d2, s, c0
        e = _minus(c1, c0)
        s = _line_to_line(a, d, c0, e)
        q = _along(c0, e, _on_segment(_along(a, d, s), c0, e))
        s = _on_segment(q, a, d)
        d2 = _gap2(_along(a, d, s), q)
        if d2 < best2:
            best2, best, where = d2, s, q
        c0, c1, c2 = c1, c2, c0
    return best2, best, where


@kernel
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
    if _point_to_box2(boxes, node, middle) > reach2:
        return np.inf
    low, high = _row(boxes, node), _row(boxes[:, 3:], node)
    centre = 0.5 * (low[0] + high[0]), 0.5 * (low[1] + high[1]), 0.5 * (low[2] + high[2])
    size = _minus(high, centre)
    offset = _minus(centre, middle)
    total = 0.0
    for k in range(3):
        gap = max(abs(offset[k]) - size[k] - abs(half[k]), 0.0)
        total += gap * gap
    for side in sides:
        reach = size[0] * abs(side[0]) + size[1] * abs(side[1]) + size[2] * abs(side[2])
        gap = max(abs(_dot(offset, side)) - reach, 0.0)
        total = max(total, gap * gap)
    return total


@kernel
def _segment_to_frame2(frame: Array, middle: Vector, half: Vector) -> float:
    """As `_segment_to_box2`, of a box askew: gaps along its axes."""
    total = 0.0
    for k in range(3):
        axis = _row(frame, k)
        reach = frame[4, k] + abs(_dot(axis, half))
        gap = max(abs(_dot(axis, middle) - frame[3, k]) - reach, 0.0)
        total += gap * gap
    return total


@kernel
def _segment(
    tree: Tree, a: Vector, d: Vector, limit2: float, hint: int, nodes: Array,
    gaps: Array,
) -> tuple[float, float, Vector, int]:  # fmt: skip
    """Squared distance of the segment a + s d to the soup, s, and the soup's point and triangle.

    `hint`: a triangle that may be near, -1: none is known.
    """
    middle, half = _along(a, d, 0.5), (0.5 * d[0], 0.5 * d[1], 0.5 * d[2])
    sides = _unit((0.0, -d[2], d[1])), _unit((d[2], 0.0, -d[0])), _unit((-d[1], d[0], 0.0))
    length = 2.0 * math.sqrt(_dot(half, half))
    triangles, boxes = tree.triangles, tree.boxes
    leaves, count = boxes.shape[0] // 2, triangles.shape[0]
    best2, best, where, face = limit2, -1.0, a, hint
    if hint >= 0:
        d2, s, q = _segment_triangle(a, d, _corners(triangles[hint]), best2)
        if d2 < best2:
            best2, best, where = d2, s, q
    # In a straight passage a long line is nearest to the wall at an end: begin with that limit.
    for k in range(2 if length > LONG_MM else 0):
        end = np.float64(k)
        d2, f, q = _nearest(tree, _along(a, d, end), best2, -1.0, nodes, gaps)
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
        for f in range(_begin(leaf, leaves, count), _begin(leaf + 1, leaves, count)):
            d2, s, q = _segment_triangle(a, d, _corners(triangles[f]), best2)
            if d2 < best2:
                best2, best, where, face = d2, s, q, f
    return best2, best, where, face


@kernel
def _segments(
    tree: Tree, starts: Array, ends: Array, limit: float, running: bool
) -> tuple[Array, Array, Array]:
    """Distance and both points per segment; `running`: only where it undercuts all before it."""
    count = starts.shape[0]
    distance = np.full(count, np.inf)
    on_segment = np.full((count, 3), np.nan)
    on_soup = np.full((count, 3), np.nan)
    nodes, gaps = np.empty(64, np.int64), np.empty(64)
    limit2 = limit * limit
    face = -1
    for n in range(count):
        a = _row(starts, n)
        d = _minus(_row(ends, n), a)
        d2, s, q, face = _segment(tree, a, d, limit2, face, nodes, gaps)
        if s < 0.0:
            continue
        if running:
            limit2 = d2
        distance[n] = math.sqrt(d2)
        on_segment[n, 0], on_segment[n, 1], on_segment[n, 2] = _along(a, d, s)
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
    starts, ends = _as_points(a), _as_points(b)
    if len(starts) != len(ends):
        raise ValueError(f"{len(starts)} starts for {len(ends)} ends of segments")
    return _segments(tree, starts, ends, float(enough), False)


def least_clearance(tree: Tree, a: ArrayLike, b: ArrayLike, enough: float = np.inf) -> float:
    """Least distance of any segment a-b to the soup, mm; at most `enough`.

    Quicker than `segment_clearances`, the more so if the nearest segments come first.
    """
    starts, ends = _as_points(a), _as_points(b)
    limit = float(enough)
    found, _, _ = _segments(tree, starts, ends, limit, True)
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
    route = _as_points(polyline)
    if len(route) == 0:
        raise ValueError("a route needs at least one point")
    starts, ends = (route[:-1], route[1:]) if len(route) > 1 else (route, route)
    limit = float(enough) + ROUNDING_MM
    distance, on_route, _ = _segments(tree, starts, ends, limit, True)
    n = int(np.argmin(distance))
    if np.isinf(distance[n]):
        return float(enough), None
    return max(float(distance[n]) - ROUNDING_MM, 0.0), on_route[n]


# ---- wider routes -----------------------------------------------------------------------------


@kernel
def _better(
    tree: Tree, p: Vector, least: float, hint: int, nodes: Array, gaps: Array
) -> tuple[float, int, Vector]:
    """`_nearest`, cut short (triangle -1) as soon as p proves no farther than `least`."""
    d2, f, q = _nearest_from(tree, p, hint, least * least, nodes, gaps)
    if d2 <= least * least:
        return d2, -1, q
    return math.sqrt(d2), f, q


@kernel
def _may_move(route: Array, n: int, p: Vector, spacing: float) -> bool:
    """Whether a vertex put at p stays within two spacings of both neighbours, or comes nearer."""
    for other in (n - 1, n + 1):
        if 0 <= other < route.shape[0]:
            q = _row(route, other)
            if _gap2(p, q) > max(4.0 * spacing * spacing, _gap2(_row(route, n), q)):
                return False
    return True


@kernel
def _direction(route: Array, n: int, m: int) -> Vector:
    return _unit(_minus(_row(route, m), _row(route, n)))


@kernel
def _smooth(
    tree: Tree, route: Array, room: Array, face: Array, foot: Array,
    n: int, plenty: float, spacing: float, nodes: Array, gaps: Array,
) -> float:  # fmt: skip
    """Draw a vertex towards its neighbours' middle unless that costs room that matters.

    Returns how far it went.
    """
    here, before = _row(route, n), _row(route, n - 1)
    middle = _along(before, _minus(_row(route, n + 1), before), 0.5)
    p = _along(here, _minus(middle, here), 0.5)
    if _gap2(p, here) < 1e-6 * spacing * spacing or not _may_move(route, n, p, spacing):
        return 0.0
    least = min(room[n], plenty) * (1.0 - 1e-12)
    d, f, q = _better(tree, p, least, face[n], nodes, gaps)
    if f < 0:
        return 0.0
    _put(route, n, p)
    _put(foot, n, q)
    room[n], face[n] = d, f
    return math.sqrt(_gap2(p, here))


@kernel
def _wake(step: Array, n: int, length: float) -> None:
    """Let a vertex that moved by `length`, and its neighbours, try again."""
    for other in range(max(n - 1, 0), min(n + 2, step.size)):
        step[other] = max(step[other], length)


@kernel
def _push(
    tree: Tree, route: Array, room: Array, face: Array, foot: Array, n: int,
    across: Vector, turn: float, step: float, spacing: float, enough: float, nodes: Array,
    gaps: Array,
) -> float:  # fmt: skip
    """Move a vertex to where there is more room, in the plane across the route.

    Tries the direction away from the nearest metal, then eight around; halves the step when
    none helps. A step is shorter than the room, so a vertex never jumps through a wall.
    Returns the longest step that helped, 0 if none did.
    """
    u = _unit(_cross(across, _helper(across)))
    v = _cross(across, u)
    longest = 0.0
    tries = 0
    while step > 1e-3 * spacing and tries < 200 and room[n] < enough:
        here = _row(route, n)
        away = _minus(here, _row(foot, n))
        direct = _unit(_along(away, across, -_dot(away, across)))
        moved = False
        for k in range(9):
            angle = turn + k * math.pi / 4.0
            p = _along(here, direct, min(step, 0.9 * room[n]))
            if k > 0:
                p = _along(here, u, math.cos(angle) * min(step, 0.9 * room[n]))
                p = _along(p, v, math.sin(angle) * min(step, 0.9 * room[n]))
            tries += 1
            if not _may_move(route, n, p, spacing):
                continue
            d, f, q = _better(tree, p, room[n] + 1e-2 * step, face[n], nodes, gaps)
            if f >= 0:
                _put(route, n, p)
                _put(foot, n, q)
                room[n], face[n] = d, f
                moved = True
                break
        longest = max(longest, step) if moved else longest
        step = min(1.5 * step, spacing) if moved else 0.5 * step
    return longest


@kernel
def _widen(
    tree: Tree, route: Array, fixed: bool, spacing: float, rounds: int,
    enough: float,
) -> float:  # fmt: skip
    """Widen a route in place; returns the least room of its vertices."""
    count = route.shape[0]
    last = count - 1
    nodes, gaps = np.empty(64, np.int64), np.empty(64)
    room, face, foot = np.empty(count), np.empty(count, np.int64), np.empty((count, 3))
    for n in range(count):
        d2, face[n], q = _nearest(tree, _row(route, n), np.inf, -1.0, nodes, gaps)
        room[n] = math.sqrt(d2)
        _put(foot, n, q)
    # An end that may move stays in the plane across the route as it began.
    inward, outward = _direction(route, np.int64(0), np.int64(1)), _direction(route, last - 1, last)
    step = np.full(count, spacing)  # first step of the next push; 0: nothing to gain here
    for turn in range(rounds):
        # A vertex with this much more room than the throat cannot hold the least distance.
        plenty = min(room.min() + 2.0 * spacing, enough)
        busy = False
        for n in range(1, last):
            if step[n] > 0.0 or room[n] >= plenty:
                moved = _smooth(tree, route, room, face, foot, n, plenty, spacing, nodes, gaps)
                if moved > 0.02 * spacing:
                    busy = True
                    _wake(step, n, moved)
        for m in range(count):
            n = m if turn % 2 == 0 else last - m
            if room[n] >= plenty or step[n] == 0.0 or (fixed and (n == 0 or n == last)):
                continue
            across = _direction(route, max(n - 2, 0), min(n + 2, last))
            across = inward if n == 0 else (outward if n == last else across)
            longest = _push(
                tree, route, room, face, foot,
                n, across, 2.4 * turn, step[n], spacing, enough, nodes, gaps,
            )  # fmt: skip
            step[n] = min(4.0 * longest, spacing)
            if longest > 0.02 * spacing:
                busy = True
                _wake(step, n, longest)
        if not busy:
            break
    return room.min()


def _resample(polyline: Floats, spacing: float) -> Floats:
    """Vertices at equal steps of length along a polyline, no longer than `spacing`."""
    along = np.concatenate(([0.0], np.cumsum(np.linalg.norm(np.diff(polyline, axis=0), axis=1))))
    at = np.linspace(0.0, along[-1], max(math.ceil(along[-1] / spacing - 1e-9), 1) + 1)
    return np.column_stack([np.interp(at, along, polyline[:, k]) for k in range(3)])


def widen(
    tree: Tree,
    polyline: ArrayLike,
    *,
    spacing_mm: float,
    fixed_ends: bool = True,
    rounds: int = 30,
    enough: float = np.inf,
) -> Floats:
    """Push a route to where its least distance to the soup is larger.

    Parameters
    ----------
    tree : Tree
    polyline : (N, 3) array_like, mm
        A route that does not touch the soup.
    spacing_mm : float
        Step to which the route is resampled.
    fixed_ends : bool
        Keep both ends where they are; else they move in the plane across the route's first or
        last step.
    rounds : int
        Most times that the whole route is gone through.
    enough : float, mm
        Vertices with this much room are wide enough: none is pushed farther.

    Returns
    -------
    (M, 3) ndarray, mm
        Neighbours at most two spacings apart. The polyline as given if nothing better was found,
        so its certified clearance is never less than that of the polyline.

    Notes
    -----
    Each vertex climbs the distance field in the plane across the route, as far as that concerns
    the narrowest place; where there is plenty of room the route is only smoothed. A local
    search: it does not find another way round an obstacle. Where the steps between vertices come
    much nearer to metal than the vertices do, half and a quarter of the spacing are tried.
    """
    return widened(
        tree,
        polyline,
        spacing_mm=spacing_mm,
        fixed_ends=fixed_ends,
        rounds=rounds,
        enough=enough,
    )[0]


def widened(
    tree: Tree,
    polyline: ArrayLike,
    *,
    spacing_mm: float,
    fixed_ends: bool = True,
    rounds: int = 30,
    enough: float = np.inf,
) -> tuple[Floats, float, Floats | None]:
    """`widen`, with the `certified_clearance` of the route that it returns."""
    best = _as_points(polyline)
    least, where = certified_clearance(tree, best)
    if len(tree.order) == 0 or len(best) < 2:
        return best, least, where
    for divisor in (1, 2, 4):
        spacing = spacing_mm / divisor
        route = best
        for _ in range(PASSES):
            route = _resample(route, spacing)
            room = _widen(tree, route, fixed_ends, spacing, rounds, float(enough))
            if np.linalg.norm(np.diff(route, axis=0), axis=1).max() < 1.9 * spacing:
                break  # else the vertices have spread until they held one another back
        bound, at = certified_clearance(tree, route)
        if bound >= least:
            best, least, where = route, bound, at
        if bound >= enough or bound >= FINE_ENOUGH * room:
            break  # else a step between vertices comes much nearer than the vertices themselves
    return best, least, where
