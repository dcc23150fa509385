"""A plane section across a passage, and its pieces on either side of a level.

In: a section of the nominal void. Out: pieces, each with a point where it comes to the level.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from clearance.geometry.planes import Plane

ON_MM = 1e-6
"""A point so near a surface, or a line, lies on it."""
STEEP = 0.1
"""A plane whose steepest line rises less is not parted by a level."""


@dataclass(frozen=True, eq=False)
class Station:
    """A plane section of the nominal void that every way wider than `least_mm` crosses."""

    plane: Plane
    polygon: Any
    low_z: float
    high_z: float
    least_mm: float

    def pieces(self, z: float, above: bool) -> list[tuple[Any, tuple[float, float] | None]]:
        """What of it lies on one side of a level, piece by piece, and where each comes to it.

        Where: x, y of a point of the piece at the level, None if it does not come to it.
        """
        rise = np.array([self.plane.u[2], self.plane.v[2]])
        steep = float(np.hypot(*rise))
        if steep < STEEP:
            return [(self.polygon, None)]
        # The line of the level in the plane, and the half of the plane on one side of it.
        uphill, along = rise / steep, np.array([-rise[1], rise[0]]) / steep
        foot = uphill * (z - float(self.plane.origin[2])) / steep
        x0, y0, x1, y1 = self.polygon.bounds
        far = 2.0 * (np.hypot(x1 - x0, y1 - y0) + float(np.abs((x0, y0, x1, y1, *foot)).max()))
        line = np.stack([foot - far * along, foot + far * along])
        beyond = line[::-1] + (far if above else -far) * uphill
        half = shapely.Polygon(np.concatenate([line, beyond]))
        found: list[tuple[Any, tuple[float, float] | None]] = []
        for piece in shapely.get_parts(shapely.intersection(self.polygon, half)):
            if piece.geom_type != "Polygon" or piece.is_empty:
                continue
            at = shapely.intersection(piece, shapely.LineString(line).buffer(ON_MM))
            if at.is_empty:
                found.append((piece, None))
                continue
            widest = max(shapely.get_parts(at), key=lambda part: float(part.area))
            middle = shapely.get_coordinates(shapely.point_on_surface(widest))
            x, y, _ = self.plane.to_space(middle)[0]
            found.append((piece, (float(x), float(y))))
        return found
