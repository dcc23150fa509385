"""Plane figures: their areas, and the largest circle within them.

In: a shapely geometry. Out: its polygons; a diameter that is never too small.
"""

from __future__ import annotations

from typing import Any

import shapely

CIRCLE_MM = 1e-3
"""Tolerance of the largest inscribed circle; added to what is reported as an upper bound."""
TOUCH_MM2 = 1e-9
"""Two outlines that overlap by less only touch."""


def polygonal(shape: Any) -> Any:
    """The areas of a geometry, without the lines and points that an intersection leaves."""
    parts = shapely.get_parts(shape)
    areas = (shapely.get_type_id(parts) == shapely.GeometryType.POLYGON) & (
        shapely.area(parts) > TOUCH_MM2
    )
    return shapely.MultiPolygon(list(parts[areas]))


def largest_circle_mm(shape: Any, within_mm: float = CIRCLE_MM) -> float:
    """Diameter of the largest circle within a figure, never too small (0 if it has no area).

    `within_mm`: its radius is too large by this at most; ten times that is five times quicker.
    """
    largest = 0.0
    for polygon in shapely.get_parts(shape):
        if polygon.geom_type != "Polygon" or polygon.is_empty:
            continue
        # The search can only be off by its tolerance, so add it.
        radius = shapely.maximum_inscribed_circle(polygon, tolerance=within_mm).length
        largest = max(largest, 2.0 * (radius + within_mm))
    return largest
