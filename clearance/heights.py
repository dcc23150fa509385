"""Heights above the platform: what words and pictures say, where numbers are those of the mesh.

In: a value of the result in mesh coordinates, and the platform's z there. Out: the same with
heights above the platform. Nothing computes with these; a caliper reads them.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable
from typing import Any, TypeVar

HEIGHTS = frozenset({"height_mm"})
"""Fields and keys of a result that are a height, z."""
POINTS = frozenset(
    {
        "centre_mm",
        "entry_mm",
        "throat_mm",
        "where_mm",
        "outside_overhang_at_mm",
        "start_mm",
        "end_mm",
        "wall_mm",
        "verified_at_mm",
        "missing_low_mm",
        "missing_high_mm",
    }
)
"""Fields and keys of a result that are a place, (x, y, z)."""

T = TypeVar("T")


def above_platform(value: T, platform_z: float) -> T:
    """Return a result, or a part of one, with every z above the platform.

    Parameters
    ----------
    value : dataclass of `result`, or tuples and dicts of such
        With z in mesh coordinates, mm.
    platform_z : float, mm
        Height of the platform in the mesh's coordinates.
    """
    return value if platform_z == 0.0 else _lowered(value, platform_z)


def _lowered(value: Any, z: float, name: str = "") -> Any:
    if value is None:
        return None
    if name in HEIGHTS:
        return value - z
    if name in POINTS:
        return (*value[:2], value[2] - z)
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        fields = {f.name: getattr(value, f.name) for f in dataclasses.fields(value)}
        return dataclasses.replace(value, **_lowered(fields, z))
    if isinstance(value, dict):
        return {key: _lowered(one, z, key) for key, one in value.items()}
    if isinstance(value, tuple | list):
        return type(value)(_lowered(one, z) for one in value)
    return value


def place(at: Iterable[float], platform_z: float) -> str:
    """A point given in mesh coordinates, in words: its z is above the platform."""
    x, y, z = at
    return f"({x:z.1f}, {y:z.1f}, {z - platform_z:z.1f}) mm"
