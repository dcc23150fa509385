"""Triangle soups: their extent, what of them lies in a box or between heights, prisms of polygons.

In: triangles (F, 3, 3) mm, polygons. Out: soups.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from clearance.geometry.level_faces import same_height_mm
from clearance.geometry.stretches import STRETCH, boxes_of, fixed
from clearance.kernels.clip import clipped_polygon
from clearance.kernels.compiler import kernel

Soup = NDArray[np.float32]


def extent(triangles: Soup) -> NDArray[np.float64]:
    """(2, 3) lowest and highest corner of a soup, mm."""
    boxes = boxes_of(triangles).astype(np.float64)
    return np.stack([boxes[:, :3].min(0, initial=np.inf), boxes[:, 3:].max(0, initial=-np.inf)])


def box_soup(low: tuple[float, ...], high: tuple[float, ...]) -> Soup:
    """Twelve outward triangles of a box."""
    corner = np.array(
        [[(low, high)[n >> a & 1][a] for a in range(3)] for n in range(8)], np.float32
    )
    quads = ((0, 2, 3, 1), (4, 5, 7, 6), (0, 1, 5, 4), (2, 6, 7, 3), (0, 4, 6, 2), (1, 3, 7, 5))
    index = [t for q in quads for t in ((q[0], q[1], q[2]), (q[0], q[2], q[3]))]
    return np.ascontiguousarray(corner[index])


@dataclass(frozen=True, eq=False)
class Box:
    """A box in mm, low and high corner."""

    low: NDArray[np.float64]
    high: NDArray[np.float64]

    @classmethod
    def around(cls, points: NDArray[np.float64]) -> Box:
        """Return the smallest box around points (N, 3)."""
        return cls(points.min(axis=0), points.max(axis=0))

    def grown(self, by_mm: float) -> Box:
        """Return the box with every face moved outward."""
        return Box(self.low - by_mm, self.high + by_mm)

    def holds(self, other: Box) -> bool:
        """Whether another box lies within this one."""
        return bool((self.low <= other.low).all() and (self.high >= other.high).all())

    def within(self, other: Box) -> Box:
        """Return the part of the box that lies in another."""
        return Box(np.maximum(self.low, other.low), np.minimum(self.high, other.high))

    def union(self, other: Box) -> Box:
        """Return the smallest box around both."""
        return Box(np.minimum(self.low, other.low), np.maximum(self.high, other.high))


@kernel
def _meeting(triangles, boxes, low, high):  # type: ignore[no-untyped-def]
    index = np.empty(triangles.shape[0], np.int64)
    n = 0
    for s in range(boxes.shape[0]):
        meets = True
        for a in range(3):
            if boxes[s, a] > high[a] or boxes[s, 3 + a] < low[a]:
                meets = False
        if not meets:
            continue
        for f in range(s * STRETCH, min((s + 1) * STRETCH, triangles.shape[0])):
            meets = True
            for a in range(3):
                p, q, r = triangles[f, 0, a], triangles[f, 1, a], triangles[f, 2, a]
                if min(p, q, r) > high[a] or max(p, q, r) < low[a]:
                    meets = False
                    break
            if meets:
                index[n] = f
                n += 1
    return index[:n].copy()


def meeting(triangles: Soup, box: Box) -> Soup:
    """Triangles whose bounding box meets a box."""
    boxes = boxes_of(triangles)
    if bool((boxes[:, :3] >= box.low).all() and (boxes[:, 3:] <= box.high).all()):
        return triangles
    index = meeting_index(triangles, box)
    return triangles if len(index) == len(triangles) else triangles[index]


def meeting_index(triangles: Soup, box: Box) -> NDArray[np.int64]:
    """Which triangles have a bounding box that meets a box, in order."""
    found: NDArray[np.int64] = _meeting(fixed(triangles), boxes_of(triangles), box.low, box.high)
    return found


def moved_shape(shape: Any, shift: tuple[float, float]) -> Any:
    """A plane figure moved in plan."""
    import shapely

    if shift == (0.0, 0.0):
        return shape
    return shapely.transform(shape, lambda xy: xy + np.asarray(shift))


def flat(shape: Any, z: float) -> Soup:
    """Level triangles (T, 3, 3) that cover a polygon at height z, facing up."""
    rings = _cover(shape)
    return _raised(rings, np.full(rings.shape[:2], z))


def _cover(shape: Any) -> NDArray[np.float64]:
    """Triangles (T, 3, 2) that cover a polygon, counter-clockwise."""
    import shapely

    pieces = [
        shapely.get_parts(shapely.constrained_delaunay_triangles(polygon))
        for polygon in shapely.get_parts(shape)
        if polygon.geom_type == "Polygon" and polygon.area > 0.0
    ]
    if not pieces:
        return np.empty((0, 3, 2))
    triangles = shapely.orient_polygons(np.concatenate(pieces))
    return np.asarray(shapely.get_coordinates(triangles).reshape(-1, 4, 2)[:, :3])


def walls(shape: Any, low: float, high: float) -> Soup:
    """Upright triangles (T, 3, 3) along the outlines of a polygon, facing out of it."""
    import shapely

    rings = [
        shapely.get_coordinates(ring)
        for polygon in shapely.get_parts(shapely.orient_polygons(shape))
        if polygon.geom_type == "Polygon"
        for ring in (polygon.exterior, *polygon.interiors)
    ]
    if not rings:
        return np.empty((0, 3, 3), np.float32)
    a = np.concatenate([ring[:-1] for ring in rings])
    b = np.concatenate([ring[1:] for ring in rings])
    one = np.ones(len(a))
    lower = _raised(np.stack([a, b, b], 1), np.stack([low * one, low * one, high * one], 1))
    upper = _raised(np.stack([a, b, a], 1), np.stack([low * one, high * one, high * one], 1))
    return np.concatenate([lower, upper])


def extruded(shape: Any, low: float, high: float) -> Soup:
    """Faces and walls of a polygon drawn out from `low` to `high`."""
    return stretched(unit_extruded(shape), low, high)


def unit_extruded(shape: Any) -> Soup:
    """The same drawn out from 0 to 1, to be stretched to any heights."""
    face = flat(shape, 0.0)
    upper = face.copy()
    upper[..., 2] = 1.0
    return np.concatenate([face[:, ::-1], upper, walls(shape, 0.0, 1.0)])


def stretched(unit: Soup, low: float, high: float) -> Soup:
    """What was drawn out from 0 to 1, from `low` to `high` instead."""
    soup = unit.copy()
    soup[..., 2] = np.where(unit[..., 2] == 0.0, np.float32(low), np.float32(high))
    return soup


def _raised(xy: NDArray[np.float64], z: NDArray[np.float64]) -> Soup:
    return np.concatenate([xy, z[..., None]], axis=-1).astype(np.float32)


def clipped(triangles: Soup, low: float, high: float, move: NDArray[np.float64]) -> Soup:
    """Triangles cut off below `low` and above `high`, then moved.

    Level faces at a bound are left out: they belong to what is cut off as much as to what stays,
    so which of them bound the metal that stays only its section there tells (`flat`).
    """
    near = np.array([same_height_mm(z) if np.isfinite(z) else 0.0 for z in (low, high)])
    return _clipped(fixed(triangles), low, high, near, move)


@kernel
def _clipped(triangles, low, high, near, move):  # type: ignore[no-untyped-def]
    out = np.empty((3 * triangles.shape[0], 3, 3), np.float32)
    n = 0
    p = np.empty((5, 3), np.float64)
    q = np.empty((5, 3), np.float64)
    for f in range(triangles.shape[0]):
        at_low, at_high = True, True
        for v in range(3):
            for a in range(3):
                p[v, a] = triangles[f, v, a]
            at_low &= abs(p[v, 2] - low) <= near[0]
            at_high &= abs(p[v, 2] - high) <= near[1]
        if at_low or at_high:
            continue
        # No sliver of a wall is kept either: what is stored so near the bound is at it.
        m = clipped_polygon(p, np.int64(3), np.int64(2), low, 1.0, near[0], q)
        m = clipped_polygon(q, m, np.int64(2), high, -1.0, near[1], p)
        for v in range(1, m - 1):
            for a in range(3):
                out[n, 0, a] = p[0, a] + move[a]
                out[n, 1, a] = p[v, a] + move[a]
                out[n, 2, a] = p[v + 1, a] + move[a]
            n += 1
    return out[:n].copy()
