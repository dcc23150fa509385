"""Areas: of plane figures, the largest circle within them, and of triangles.

In: a shapely geometry; triangles. Out: its polygons, a diameter that is never too small; vectors.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

CIRCLE_MM = 1e-3
"""Tolerance of the largest inscribed circle; added to what is reported as an upper bound."""
CENTRED_MM = 1e-6
"""So little, far below that tolerance, may a circle about the centroid be too small."""
GRID_MM = 1e-10
"""Overlays of outlines that nearly coincide round to so fine a grid.

Without it the library loses whole areas where two edges start at one point and part by less than
rounding (seen with GEOS 3.14: a union of two neighbours came back as one of them). Outlines of
one part in strips, at two heights or before and after a move all have such edges.
"""
TOUCH_MM2 = 1e-9
"""Two outlines that overlap by less only touch."""


def polygonal(shape: Any) -> Any:
    """The areas of a geometry, without the lines and points that an intersection leaves."""
    parts = shapely.get_parts(shape)
    areas = (shapely.get_type_id(parts) == shapely.GeometryType.POLYGON) & (
        shapely.area(parts) > TOUCH_MM2
    )
    return shapely.multipolygons(parts[areas])


def _plain(shape: Any) -> Any:
    """Areas alone where an overlay has left lines and points beside them."""
    return polygonal(shape) if shape.geom_type == "GeometryCollection" else shape


def united(shapes: Any) -> Any:
    """What any of several figures holds."""
    return shapely.union_all([_plain(s) for s in shapes], grid_size=GRID_MM)


def common(a: Any, b: Any) -> Any:
    """What both of two figures hold."""
    return shapely.intersection(_plain(a), _plain(b), grid_size=GRID_MM)


def without(a: Any, b: Any) -> Any:
    """What one figure holds and the other does not."""
    return shapely.difference(_plain(a), _plain(b), grid_size=GRID_MM)


def largest_circle_mm(shape: Any, within_mm: float = CIRCLE_MM) -> float:
    """Diameter of the largest circle within a figure, never too small (0 if it has no area).

    `within_mm`: its radius is too large by this at most; ten times that is five times quicker.
    """
    polygons = [p for p in shapely.get_parts(shape) if p.geom_type == "Polygon" and not p.is_empty]
    largest = 0.0
    for polygon in sorted(polygons, key=lambda p: -p.area):
        if largest == 0.0 or _may_hold(polygon, 0.5 * largest - within_mm):
            largest = max(largest, _circle_mm(polygon, within_mm))
    return largest


def _may_hold(polygon: Any, radius: float) -> bool:
    """Whether a larger circle may lie within: by the area, and by what is left once it is eroded.

    Much quicker than the search for the largest one. At corners that point inwards too little is
    eroded, never too much.
    """
    return radius <= 0.0 or (
        polygon.area > math.pi * radius**2 and not shapely.buffer(polygon, -radius).is_empty
    )


@lru_cache(maxsize=1000)
def _circle_mm(polygon: Any, within_mm: float) -> float:
    """Of one polygon. The same one comes again at every level of metal that stands upright."""
    radius = _centred_mm(polygon)
    if radius is None:
        radius = shapely.maximum_inscribed_circle(polygon, tolerance=within_mm).length
    # The search can only be off by its tolerance, so add it.
    return float(2.0 * (radius + within_mm))


def _centred_mm(polygon: Any) -> float | None:
    """Radius of the circle about the centroid, if no strip that holds the polygon leaves more.

    None where a larger one may be elsewhere. Else the search goes over all of a slot's middle
    line, along which circles are equally large.
    """
    radius = float(shapely.distance(shapely.centroid(polygon), polygon.boundary))
    x0, y0, x1, y1 = polygon.bounds
    widest = 2.0 * (radius + CENTRED_MM)
    if min(x1 - x0, y1 - y0) > widest:
        corners = shapely.get_coordinates(shapely.minimum_rotated_rectangle(polygon))
        if np.linalg.norm(np.diff(corners[:3], axis=0), axis=1).min() > widest:
            return None
    return radius if shapely.covers(polygon, shapely.centroid(polygon)) else None


def area_vectors(triangles: NDArray[np.float32]) -> NDArray[np.float64]:
    """Area vectors (F, 3) of triangles, mm2, outward."""
    t = triangles.astype(np.float64)
    result: NDArray[np.float64] = 0.5 * np.cross(t[:, 1] - t[:, 0], t[:, 2] - t[:, 0])
    return result
