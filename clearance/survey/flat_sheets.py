"""Thin level sheets across voids that a mesh file has of its own.

In: a triangle soup, closed or not, mm. Out: sheets, each a level piece of metal (or of bare
triangles) with enclosed void right above and right below it. A passage that such a sheet closes
is closed by the file, whatever the machine did.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from clearance.geometry.cutting import Floats, Ints, Singles
from clearance.geometry.planes import Plane
from clearance.geometry.sections import loops, polygons
from clearance.kernels.compiler import kernel

THICKEST_MM = 1.0
"""A thicker level wall between two voids is not called a sheet."""
LEAST_MM2 = 0.2
"""A smaller piece is not named."""
BESIDE_MM = 0.02
"""Where the sections right above and right below a sheet are taken."""
GRID_MM = 1e-6
"""Corners of areas are rounded to this, so that shared edges cancel."""
MOST_PAIRS = 60
"""Pairs of heights that are looked at, those with most area first."""


@dataclass(frozen=True, eq=False, slots=True)
class FlatSheet:
    """A level sheet: its underside's height, thickness, area of all pieces, centre of the largest.

    `triangles` is the number of level triangles on its two faces.
    """

    height_mm: float
    thickness_mm: float
    area_mm2: float
    centre_mm: Floats
    pieces: int
    triangles: int


def flat_sheets(triangles: Singles) -> tuple[list[FlatSheet], int]:
    """Find the level sheets across enclosed voids of a mesh.

    Parameters
    ----------
    triangles : ndarray (F, 3, 3) float32
        Finite, mm; open or not.

    Returns
    -------
    sheets : list of FlatSheet
        By height. A sheet without thickness may be bare triangles, seen from one side only.
    left_out : int
        Pairs of level faces, those with least area, that were not looked at.
    """
    level = np.flatnonzero(_level(triangles))
    if level.size == 0:
        return [], 0
    z, group = np.unique(triangles[level, 0, 2], return_inverse=True)
    size = np.abs(_plan_area(triangles[level]))
    area = np.bincount(group, size)
    able = np.flatnonzero(area >= LEAST_MM2)
    pairs = [
        (min(area[a], area[b]), int(a), int(b))
        for n, a in enumerate(able)
        for b in able[n:]
        if z[b] - z[a] <= THICKEST_MM
    ]
    faces = _Faces(triangles, level, group, z.astype(np.float64))
    found = [faces.sheet(a, b) for _, a, b in sorted(pairs, reverse=True)[:MOST_PAIRS]]
    sheets = sorted((one for one in found if one is not None), key=lambda one: one.height_mm)
    return sheets, max(len(pairs) - MOST_PAIRS, 0)


@kernel
def _level(triangles):  # type: ignore[no-untyped-def]
    result = np.empty(triangles.shape[0], np.bool_)
    for i in range(triangles.shape[0]):
        t = triangles[i]
        result[i] = t[0, 2] == t[1, 2] and t[1, 2] == t[2, 2]
    return result


def _plan_area(triangles: Singles) -> Floats:
    """Signed area of triangles seen from above, mm2."""
    t = triangles[:, :, :2].astype(np.float64)
    a, b = t[:, 1] - t[:, 0], t[:, 2] - t[:, 0]
    result: Floats = 0.5 * (a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0])
    return result


class _Faces:
    """The level triangles of a mesh by height, and the enclosed void beside them."""

    def __init__(self, triangles: Singles, level: Ints, group: Ints, z: Floats) -> None:
        self.triangles, self.level, self.group, self.z = triangles, level, group, z
        self.steep = triangles[~_level(triangles)]
        self.known: dict[tuple[int, int], Any] = {}
        self.voids: dict[float, Any] = {}

    def sheet(self, a: int, b: int) -> FlatSheet | None:
        """The sheet between two heights, if there is one."""
        import shapely

        low, high = self.z[a], self.z[b]
        voids = [self.void(low - BESIDE_MM), self.void(high + BESIDE_MM)]
        if min(void.area for void in voids) < LEAST_MM2:
            return None
        # What faces down below and up above; without thickness either face will do.
        shape = self.face(a, 0) if a == b else _shared(self.face(a, -1), self.face(b, 1))
        for void in voids:
            shape = _shared(shape, void)
        # Slits from rounding are closed; the rim that slanting walls leave is taken off.
        shape = shape.buffer(BESIDE_MM).buffer(-2.0 * BESIDE_MM).buffer(BESIDE_MM)
        parts = [p for p in shapely.get_parts(shape) if p.area >= LEAST_MM2]
        if not parts:
            return None
        area = float(sum(p.area for p in parts))
        middle = max(parts, key=lambda p: float(p.area)).representative_point()
        centre = np.array([middle.x, middle.y, 0.5 * (low + high)])
        count = int((self.group == a).sum() + (0 if a == b else (self.group == b).sum()))
        return FlatSheet(float(low), float(high - low), area, centre, len(parts), count)

    def face(self, number: int, side: int) -> Any:
        """Union of the level triangles at a height that face up (1), down (-1) or either (0)."""
        import shapely

        if (number, side) not in self.known:
            chosen = self.triangles[self.level[self.group == number]]
            areas = _plan_area(chosen)
            chosen = chosen[(np.abs(areas) > 0.0) & (areas * side >= 0.0)]
            shapes = shapely.polygons(chosen[:, :, :2].astype(np.float64))
            self.known[number, side] = _areas(shapely.union_all(shapes, grid_size=GRID_MM))
        return self.known[number, side]

    def void(self, z: float) -> Any:
        """Void that metal encloses in the section at a height."""
        import shapely

        if z not in self.voids:
            outlines = loops(self.steep, Plane.level(z)).closed
            metal = shapely.get_parts(polygons(outlines))
            filled = shapely.union_all([shapely.Polygon(p.exterior) for p in metal])
            self.voids[z] = _areas(filled.difference(shapely.union_all(metal)))
        return self.voids[z]


def _areas(shape: Any) -> Any:
    """What of a geometry has an area."""
    import shapely

    return shapely.MultiPolygon([p for p in shapely.get_parts(shape) if p.geom_type == "Polygon"])


def _shared(a: Any, b: Any) -> Any:
    import shapely

    return _areas(shapely.intersection(a, b, grid_size=GRID_MM))
