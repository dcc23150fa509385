"""Triangles cut by a plane: each leaves a directed segment between two edges of the soup.

In: triangles (F, 3, 3) mm and a plane. Out: `Segments`.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from clearance.geometry.planes import Plane
from clearance.geometry.stretches import fixed
from clearance.kernels.compiler import inner, kernel
from clearance.kernels.growing import grown
from clearance.kernels.rows import first_above

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
Ints = NDArray[np.int64]
Keys = NDArray[np.uint64]


class Segments(NamedTuple):
    """The pieces of outline that single triangles leave in a plane.

    Attributes
    ----------
    points : ndarray (N, 2, 2) float64
        Start and end of each piece in plane coordinates; metal is on the left.
    keys : ndarray (N, 2) uint64
        Names of the mesh edges on which start and end lie.
    triangle : ndarray (N,) int64
        Index of the triangle that each piece comes from.
    """

    points: Floats
    keys: Keys
    triangle: Ints


@kernel
def _crossed_by_level(triangles: Singles, level: np.float32) -> Ints:
    found = np.empty(triangles.shape[0], np.int64)
    count = 0
    for i in range(triangles.shape[0]):
        first = triangles[i, 0, 2] >= level
        if (triangles[i, 1, 2] >= level) != first or (triangles[i, 2, 2] >= level) != first:
            found[count] = i
            count += 1
    return found[:count].copy()


@kernel
def _crossed_by_plane(triangles: Singles, origin: Floats, normal: Floats) -> Ints:
    found = np.empty(triangles.shape[0], np.int64)
    count = 0
    for i in range(triangles.shape[0]):
        first = _height(triangles, i, 0, origin, normal) >= 0.0
        if (_height(triangles, i, 1, origin, normal) >= 0.0) != first or (
            _height(triangles, i, 2, origin, normal) >= 0.0
        ) != first:
            found[count] = i
            count += 1
    return found[:count].copy()


@kernel
def _crossed_by_levels(triangles: Singles, levels: Singles) -> tuple[Ints, Ints]:
    which = np.empty(1024, np.int64)
    found = np.empty(1024, np.int64)
    count = 0
    last = levels.shape[0]
    for i in range(triangles.shape[0]):
        a, b, c = triangles[i, 0, 2], triangles[i, 1, 2], triangles[i, 2, 2]
        low = min(a, b, c)
        high = max(a, b, c)
        if high < levels[0] or low >= levels[last - 1]:
            continue
        for k in range(first_above(levels, low), last):
            if levels[k] > high:
                break
            if count == found.shape[0]:
                which, found = grown(which, 2 * count), grown(found, 2 * count)
            which[count] = k
            found[count] = i
            count += 1
    return which[:count], found[:count]


# Corners are given by their numbers: an array of one corner, made for each edge, takes ten times
# as long as what is computed of it.


@inner
def _height(triangles: Singles, t: int, k: int, origin: Floats, normal: Floats) -> float:
    return (
        (np.float64(triangles[t, k, 0]) - origin[0]) * normal[0]
        + (np.float64(triangles[t, k, 1]) - origin[1]) * normal[1]
        + (np.float64(triangles[t, k, 2]) - origin[2]) * normal[2]
    )


@inner
def _before(triangles: Singles, t: int, a: int, b: int) -> bool:
    """Whether corner `a` comes before `b`: the order that both neighbours of an edge agree on."""
    for k in range(3):
        if triangles[t, a, k] != triangles[t, b, k]:
            return bool(triangles[t, a, k] < triangles[t, b, k])
    return False


@inner
def _mix(key: np.uint64, bits: np.uint32) -> np.uint64:
    word = np.uint64(0) if bits == np.uint32(0x80000000) else np.uint64(bits)  # -0.0 is 0.0
    key = (key ^ word) * np.uint64(0x9E3779B97F4A7C15)
    return key ^ (key >> np.uint64(29))


@inner
def _cut_edge(
    triangles: Singles, bits: Any, t: int, a: int, b: int, frame: Floats
) -> tuple[np.uint64, float, float]:
    """Key of edge a-b of triangle t, and where in the plane it is met."""
    origin, normal = frame[0], frame[1]
    if _before(triangles, t, b, a):
        a, b = b, a
    key = np.uint64(0x243F6A8885A308D3)
    for k in range(3):
        key = _mix(key, bits[t, a, k])
    for k in range(3):
        key = _mix(key, bits[t, b, k])
    height_a = _height(triangles, t, a, origin, normal)
    height_b = _height(triangles, t, b, origin, normal)
    share = height_a / (height_a - height_b)
    x = y = 0.0
    for k in range(3):
        # A vertex on the plane is its own cut point, whichever edge it is reached by.
        start, end = np.float64(triangles[t, a, k]), np.float64(triangles[t, b, k])
        at = end if height_b == 0.0 else start + share * (end - start)
        x += (at - origin[k]) * frame[2, k]
        y += (at - origin[k]) * frame[3, k]
    return key, x, y


@kernel
def _cut(triangles: Singles, bits: Any, crossed: Ints, frame: Floats) -> tuple[Floats, Keys]:
    points = np.empty((crossed.shape[0], 2, 2), np.float64)
    keys = np.empty((crossed.shape[0], 2), np.uint64)
    origin, normal = frame[0], frame[1]
    for i in range(crossed.shape[0]):
        t = crossed[i]
        for k in range(3):
            m = (k + 1) % 3
            above = _height(triangles, t, k, origin, normal) >= 0.0
            if above == (_height(triangles, t, m, origin, normal) >= 0.0):
                continue
            # Seen from outside the triangle turns left, so its outline runs from the edge that
            # comes down to the edge that goes up, and the metal lies to the left of it.
            end = 0 if above else 1
            key, x, y = _cut_edge(triangles, bits, t, k, m, frame)
            keys[i, end] = key
            points[i, end, 0] = x
            points[i, end, 1] = y
    return points, keys


def _at_or_above(z: ArrayLike) -> Singles:
    """Round heights up to float32, so that comparing float32 with them is exact."""
    exact = np.atleast_1d(np.asarray(z, dtype=np.float64))
    rounded = exact.astype(np.float32)
    return np.where(rounded < exact, np.nextafter(rounded, np.float32(np.inf)), rounded)


def crossed(triangles: Singles, heights: ArrayLike) -> list[Ints]:
    """Return for each height the indices of the triangles that its level plane crosses.

    One pass over the mesh for all heights: `cut(triangles[found], Plane.level(z))` is then
    cheap for each.

    Parameters
    ----------
    triangles : ndarray (F, 3, 3) float32
        Closed triangle soup, mm.
    heights : array_like (K,)
        Heights in mm, in any order.
    """
    levels = _at_or_above(heights)
    if levels.size == 0:
        return []
    order = np.argsort(levels, kind="stable")
    which, found = _crossed_by_levels(fixed(triangles), levels[order])
    result: list[Ints] = [found[:0]] * levels.size
    for k, position in enumerate(order):
        result[position] = found[which == k]
    return result


def cut(triangles: Singles, plane: Plane) -> Segments:
    """Return the directed pieces of outline that a plane cuts from a mesh.

    A vertex exactly on the plane counts as above it, so every crossed triangle leaves exactly
    one piece and nothing is left to tolerance.

    Parameters
    ----------
    triangles : ndarray (F, 3, 3) float32
        Triangle soup, mm, counter-clockwise from outside.
    plane : Plane
        The plane; metal is on the left of each piece as seen from its normal.
    """
    triangles = fixed(np.ascontiguousarray(triangles, dtype=np.float32))
    x, y, z = plane.normal.tolist()
    if x == 0.0 and y == 0.0 and z == 1.0:
        hit = _crossed_by_level(triangles, _at_or_above(plane.origin[2])[0])
    else:
        hit = _crossed_by_plane(triangles, plane.origin, plane.normal)
    frame = np.concatenate([plane.origin, plane.normal, plane.u, plane.v]).reshape(4, 3)
    points, keys = _cut(triangles, triangles.view(np.uint32), hit, frame)
    return Segments(points, keys, hit)
