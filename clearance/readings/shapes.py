"""Figures that come again at many heights: one name for all that are the same.

In: plane figures (shapely). Out: short keys; what is worked out of a pair of figures is kept by
the keys of both, so that a prismatic part asks once.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely

SAME_MM = 1e-5
"""Figures whose corners agree within this are one."""


class Names:
    """Numbers figures; equal ones get one number."""

    def __init__(self) -> None:
        self._numbers: dict[bytes, int] = {}
        self.shapes: list[Any] = []

    def of(self, shape: Any) -> int:
        """Number of a figure."""
        # Where a section crosses the diagonal of a wall's rectangle lies a point that is no corner.
        plain = shapely.normalize(shapely.simplify(shapely.normalize(shape), SAME_MM))
        corners = np.round(shapely.get_coordinates(plain) / SAME_MM).astype(np.int64)
        rings = shapely.get_num_coordinates(shapely.get_parts(plain))
        key = corners.tobytes() + np.asarray(rings, np.int64).tobytes()
        if key not in self._numbers:
            self._numbers[key] = len(self.shapes)
            self.shapes.append(shape)
        return self._numbers[key]
