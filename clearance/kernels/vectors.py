"""Vectors of three numbers, and rows of arrays as such.

In: tuples of float64, rows of (N, 3) arrays. Out: the same.
"""

from __future__ import annotations

import math
from typing import Any

import numpy as np
from numpy.typing import NDArray

from clearance.kernels.compiler import inner

Vector = tuple[float, float, float]
Floats = NDArray[np.float64]
Array = NDArray[Any]


@inner
def corners_of(triangle: Array) -> tuple[Vector, Vector, Vector]:
    """The three corners of a triangle (3, 3)."""
    return row(triangle, np.int64(0)), row(triangle, np.int64(1)), row(triangle, np.int64(2))


@inner
def row(points: Array, n: int) -> Vector:
    """Row n of an array (N, 3)."""
    return np.float64(points[n, 0]), np.float64(points[n, 1]), np.float64(points[n, 2])


@inner
def minus(a: Vector, b: Vector) -> Vector:
    """The vector from b to a."""
    return a[0] - b[0], a[1] - b[1], a[2] - b[2]


@inner
def dot(a: Vector, b: Vector) -> float:
    """Scalar product."""
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


@inner
def cross(a: Vector, b: Vector) -> Vector:
    """Vector product."""
    return a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]


@inner
def ahead(a: Vector, d: Vector, s: float) -> Vector:
    """The point a + s d."""
    return a[0] + s * d[0], a[1] + s * d[1], a[2] + s * d[2]


@inner
def gap_squared(a: Vector, b: Vector) -> float:
    """Squared distance of two points."""
    d = minus(a, b)
    return dot(d, d)


@inner
def unit(a: Vector) -> Vector:
    """The vector at length 1; zero stays zero."""
    length = math.sqrt(dot(a, a))
    if length == 0.0:
        return 0.0, 0.0, 0.0
    return a[0] / length, a[1] / length, a[2] / length


@inner
def aside(a: Vector) -> Vector:
    """A direction that is far from that of a unit vector."""
    if abs(a[2]) > 0.6:
        return 1.0, 0.0, 0.0
    return 0.0, 0.0, 1.0


@inner
def put(points: Array, n: int, p: Vector) -> None:
    """Write a point to row n of an array (N, 3)."""
    points[n, 0], points[n, 1], points[n, 2] = p
