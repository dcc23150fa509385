"""What a drill sets loose of a sheet, and the rim that it leaves.

In: a drilling operation, the stray metal in the passage in plan, its thickness. Out: `Pieces`.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
import shapely.affinity

from clearance.geometry.areas import largest_circle_mm, polygonal
from clearance.result import Drilling, Pieces

EDGE_ON = 0.17
"""Upright part of a drill's axis below which it runs along the sheet (80 deg): what it cuts there
has no end in plan."""
WALL_MM = 1e-4
"""A rim within this of the wall stays on it."""
CRUMB_MM = 0.02
"""A rim that is nowhere wider is none: meshes and circles have facets."""


def pieces(
    operation: Drilling,
    crossing: int,
    at_mm: float,
    sheet: Any,
    passage: Any,
    thickness_mm: tuple[float, float],
    density_g_cm3: float | None,
    strainer: float = 0.5,
) -> Pieces | None:
    """What one operation does to one crossing; None where it runs along the sheet.

    Parameters
    ----------
    operation : Drilling
    crossing : int
        Number in the passage's `crossings`.
    at_mm : float
        Height of the sheet, z.
    sheet, passage : shapely geometry
        Stray metal in the passage, and the passage, in plan.
    thickness_mm : (float, float)
        At least and at most.
    density_g_cm3 : float, optional
    strainer : float
        Opening of a strainer over the least width of what it has to hold.
    """
    inside = cut(operation, at_mm)
    if inside is None:
        return None
    loose = polygonal(shapely.intersection(sheet, inside))
    rim = polygonal(shapely.difference(sheet, inside))
    low, high = thickness_mm
    largest = max(shapely.get_parts(loose), key=lambda part: part.area, default=None)
    wide = 0.0 if largest is None else 2.0 * float(shapely.minimum_bounding_radius(largest))
    width = largest_circle_mm(rim)
    width = width if width > CRUMB_MM else 0.0
    wall = shapely.intersection(passage.boundary, rim.buffer(WALL_MM)).length if width else 0.0
    area = 0.0 if largest is None else float(largest.area)
    held = [size for size in (width, wide) if size > 0.0]
    return Pieces(
        crossing=crossing,
        loose_mm=wide,
        loose_g=_mass(area, high, density_g_cm3),
        rim_width_mm=width,
        rim_length_mm=float(wall),
        rim_g=_mass(float(rim.area) if width else 0.0, high, density_g_cm3),
        thickness_low_mm=low,
        thickness_high_mm=high,
        strainer_mm=strainer * min(held) if held else None,
    )


def cut(operation: Drilling, z: float) -> Any:
    """Ellipse in which a drill cuts the plane at a height; None where it runs along it."""
    entry, along = np.array(operation.entry_mm), np.array(operation.direction)
    if abs(along[2]) < EDGE_ON:
        return None
    x, y, _ = entry + (z - entry[2]) / along[2] * along
    radius = 0.5 * operation.drill_diameter_mm
    round_one = shapely.Point(0.0, 0.0).buffer(radius, quad_segs=90)
    longer = shapely.affinity.scale(round_one, 1.0 / abs(along[2]), 1.0, origin=(0.0, 0.0))
    turn = float(np.degrees(np.arctan2(along[1], along[0])))
    turned = shapely.affinity.rotate(longer, turn, origin=(0.0, 0.0))
    return shapely.affinity.translate(turned, x, y)


def _mass(area_mm2: float, thick_mm: float, density_g_cm3: float | None) -> float | None:
    return None if density_g_cm3 is None else area_mm2 * thick_mm * density_g_cm3 * 1e-3
