"""Axes of the mesh and of the platform, for a part that stands otherwise than it was drawn.

In: a build direction in the mesh's frame, and points, directions or a result. Out: the same in
the other axes. The turn is the shortest one, about the mesh's origin; lengths stay as they are.
Files (the case, the result's numbers) are in the mesh's axes; everything is computed, said and
drawn in those of the platform, whose +Z is the build direction.
"""

from __future__ import annotations

import dataclasses
import itertools
from collections.abc import Mapping
from typing import Any, TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray

from clearance.heights import POINTS

Floats = NDArray[np.float64]
Direction = tuple[float, float, float]
BOXES = (("missing_low_mm", "missing_high_mm"),)
"""Fields of a result that are the lowest and highest corner of a box along the axes."""
VECTORS = frozenset({"direction", "outside_overhang_direction", "normal"})
"""Fields and keys of a result that are a direction, (x, y, z)."""

T = TypeVar("T")


def rotation(build_direction: ArrayLike | None) -> Floats:
    """Matrix (3, 3) from the mesh's axes to the platform's.

    Parameters
    ----------
    build_direction : (3,), any length above 0, or None
        In the mesh's frame; None: the mesh stands as it is.

    Returns
    -------
    (3, 3) ndarray
        The shortest rotation that brings the direction to +Z; half a turn about x where it is -Z.
        Exact (zeros and ones) for directions along an axis.
    """
    if build_direction is None:
        return np.eye(3)
    x, y, z = np.asarray(build_direction, np.float64) / np.max(np.abs(build_direction))
    aside = float(np.hypot(x, y))
    if aside == 0.0:
        return np.eye(3) if z > 0.0 else np.diag([1.0, -1.0, -1.0])
    length = float(np.hypot(aside, z))
    sine, cosine = aside / length, z / length
    a, b = y / aside, -x / aside  # the axis of the turn, (a, b, 0)
    rest = 1.0 - cosine
    matrix = np.array(
        [
            [cosine + rest * a * a, rest * a * b, sine * b],
            [rest * a * b, cosine + rest * b * b, -sine * a],
            [-sine * b, sine * a, cosine],
        ]
    )
    return matrix + 0.0  # no -0.0


def to_platform(points: ArrayLike, build_direction: ArrayLike | None) -> Floats:
    """Points or directions (..., 3) of the mesh in the platform's axes.

    Written out, not a matrix product: equal points stay bitwise equal.
    """
    return _product(rotation(build_direction), points)


def to_mesh(points: ArrayLike, build_direction: ArrayLike | None) -> Floats:
    """Points or directions (..., 3) of the platform in the mesh's axes."""
    return _product(rotation(build_direction).T, points)


def _product(matrix: Floats, points: ArrayLike) -> Floats:
    x, y, z = np.moveaxis(np.asarray(points, np.float64), -1, 0)
    rows = [row[0] * x + row[1] * y + row[2] * z + 0.0 for row in matrix]
    return np.stack(rows, axis=-1)


def turned(triangles: NDArray[np.float32], build_direction: ArrayLike | None) -> Any:
    """A soup (F, 3, 3) float32 in the platform's axes, mm.

    Triangles that rounding folds to a line, with two equal corners, are left out: the soup stays
    closed without them.
    """
    if build_direction is None or np.array_equal(rotation(build_direction), np.eye(3)):
        return triangles
    moved = to_platform(triangles, build_direction).astype(np.float32)
    folded = (moved == np.roll(moved, -1, axis=1)).all(axis=2).any(axis=1)
    return moved[~folded] if folded.any() else moved


def in_mesh_axes(value: T, build_direction: Direction | None) -> T:
    """A result, or a part of one, with every place and direction in the mesh's axes.

    Parameters
    ----------
    value : dataclass of `result`, or tuples and dicts of such
        In the platform's axes, z from the mesh's origin, mm. Heights stay: they are along the
        build direction.
    build_direction : (3,), optional
    """
    return value if build_direction is None else _in_mesh(value, build_direction)


def _in_mesh(value: Any, direction: Direction, name: str = "") -> Any:
    if value is None or isinstance(value, str):
        return value
    if name in POINTS or name in VECTORS:
        return _point(to_mesh(value, direction))
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        fields = {f.name: getattr(value, f.name) for f in dataclasses.fields(value)}
        new = {key: _in_mesh(one, direction, key) for key, one in fields.items()}
        for ends in BOXES:
            if fields.get(ends[0]) is not None:
                corners = itertools.product(*zip(*(fields[end] for end in ends), strict=True))
                moved = to_mesh(list(corners), direction)
                new |= dict(
                    zip(ends, map(_point, (moved.min(axis=0), moved.max(axis=0))), strict=True)
                )
        return dataclasses.replace(value, **new)
    if isinstance(value, Mapping):
        return {key: _in_mesh(one, direction, key) for key, one in value.items()}
    if isinstance(value, tuple | list):
        return type(value)(_in_mesh(one, direction) for one in value)
    return value


def _point(at: Floats) -> Direction:
    x, y, z = (float(v) for v in at)
    return x, y, z


def plan_words(build_direction: Direction | None) -> str:
    """What x and y mean on paper."""
    if build_direction is None:
        return "x and y as in the mesh"
    return f"x and y of the platform; the mesh is turned so that its {_up(build_direction)} is up"


def turn_notice(build_direction: Direction | None) -> tuple[str, ...]:
    """Where words and pictures have other axes than the mesh: which."""
    if build_direction is None:
        return ()
    return (
        "x, y and z in words and pictures are those of the platform: the mesh is turned, the "
        f"shortest way, so that its direction {_up(build_direction)} points up; places and "
        "directions in the JSON's numbers and in the case file are the mesh's",
    )


def _up(direction: Direction) -> str:
    return "({:g}, {:g}, {:g})".format(*(v + 0.0 for v in direction))
