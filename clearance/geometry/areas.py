"""Areas: of plane figures, the largest circle within them, and of triangles.

In: a shapely geometry; triangles. Out: its polygons, a diameter that is never too small; vectors.
"""

from __future__ import annotations

from functools import lru_cache
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

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
    polygons = (p for p in shapely.get_parts(shape) if p.geom_type == "Polygon" and not p.is_empty)
    return max((_circle_mm(polygon, within_mm) for polygon in polygons), default=0.0)


@lru_cache(maxsize=1000)
def _circle_mm(polygon: Any, within_mm: float) -> float:
    """Of one polygon. The same one comes again at every level of metal that stands upright."""
    # The search can only be off by its tolerance, so add it.
    return float(
        2.0 * (shapely.maximum_inscribed_circle(polygon, tolerance=within_mm).length + within_mm)
    )


def area_vectors(triangles: NDArray[np.float32]) -> NDArray[np.float64]:
    """Area vectors (F, 3) of triangles, mm2, outward."""
    t = triangles.astype(np.float64)
    result: NDArray[np.float64] = 0.5 * np.cross(t[:, 1] - t[:, 0], t[:, 2] - t[:, 0])
    return result
