"""The tree of boxes over a triangle soup, for searches for the nearest and for what a ray meets.

In: triangles (F, 3, 3) mm. Out: `Tree`.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from clearance.kernels.compiler import inner, kernel
from clearance.kernels.vectors import (
    Array,
    Floats,
    ahead,
    aside,
    corners_of,
    cross,
    dot,
    minus,
    put,
    row,
    unit,
)

LEAF = 8  # most triangles in a leaf of the tree
FRAME_MM = 1e-9  # added to boxes askew: rounding is far less at any coordinate of a part


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


@inner
def begin_of_leaf(leaf: int, leaves: int, count: int) -> int:
    """First triangle of a leaf."""
    return leaf * count // leaves


@inner
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


@inner
def _split(node: int, width: int, leaves: int, centre: Array, key: Array, order: Array) -> None:
    """Divide a node's triangles between its children; `width` is its number of leaves."""
    count = order.size
    first = node * width - leaves
    low, high = begin_of_leaf(first, leaves, count), begin_of_leaf(first + width, leaves, count)
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
    _select(key, order, low, high, begin_of_leaf(first + width // 2, leaves, count))


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
        for n in range(begin_of_leaf(leaf, leaves, count), begin_of_leaf(leaf + 1, leaves, count)):
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
        first, last = begin_of_leaf(leaf, leaves, count), begin_of_leaf(leaf + 1, leaves, count)
        normal = (0.0, 0.0, 0.0)
        for f in range(first, last):
            a, b, c = corners_of(triangles[f])
            own = cross(minus(b, a), minus(c, a))
            # Both faces of a thin sheet may be in one leaf: they must not cancel.
            normal = ahead(normal, own, 1.0 if dot(normal, own) >= 0.0 else -1.0)
        normal = unit(normal)
        if dot(normal, normal) == 0.0:
            normal = (0.0, 0.0, 1.0)
        across = unit(cross(normal, aside(normal)))
        k = 0
        for axis in (normal, across, cross(normal, across)):
            low, high = np.inf, -np.inf
            for f in range(first, last):
                for corner in range(3):
                    x = dot(axis, row(triangles[f], corner))
                    low, high = min(low, x), max(high, x)
            put(frames[leaf], k, axis)
            if first < last:
                frames[leaf, 3, k], frames[leaf, 4, k] = 0.5 * (low + high), 0.5 * (high - low)
            frames[leaf, 4, k] += FRAME_MM
            k += 1
    return frames
