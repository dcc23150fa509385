"""Places where a tube seems to end in the open, from sections in many directions.

In: a closed triangle soup, mm. Out: rough discs (centre, radius, outward normal). A hole in a
section that is no longer enclosed in the next section is such a place. Whether a mouth is there,
and where exactly, is left to `ports`.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import Any, NamedTuple

import numpy as np

from clearance.geometry.chord_error import hollow_axes
from clearance.geometry.cutting import Floats, Singles, crossed, cut
from clearance.geometry.planes import Plane
from clearance.geometry.sections import chain, polygons
from clearance.kernels.compiler import kernel
from clearance.ports.holes import equal_radius

SPACING_MM = 0.3
"""Distance of the sections along the axes: a wall of this thickness is met by one at least."""
MOST_SECTIONS = 700
"""In one direction; then they stand further apart."""
ASLANT = 3.0
"""Times that distance along the directions between the axes, for ports that face there."""
NEAR = 0.99
"""Cosine from which the direction of a bore counts as one that is looked along anyway."""
BESIDE_MM = 0.02
"""Sections also lie this far on both sides of each large face."""
LEAST_FACE_MM2 = 0.5
"""Area of faces square to the direction at one height that counts as large."""
MOST_FACES = 100
"""So many heights of faces, the largest first."""
LEAST_BREACH = 0.1
"""Share of a hole that has to lie outside in the next section."""
SMALLEST_MM = 0.05
"""Radius below which a hole is a flaw of the mesh."""


class TubeEnd(NamedTuple):
    """A disc, roughly: centre (3,) and radius in mm, outward normal (3,)."""

    centre: Floats
    radius: float
    normal: Floats


def tube_ends(triangles: Singles) -> list[TubeEnd]:
    """Find where tubes seem to end in the open, the most certain first.

    Parameters
    ----------
    triangles : ndarray (F, 3, 3) float32
        Closed, mm.

    Returns
    -------
    list of TubeEnd
        The same end may be found from several directions.
    """
    found: list[tuple[float, TubeEnd]] = []
    for frame, spacing in _frames(hollow_axes(triangles)):
        for share, end in _along(_turned(triangles, frame), spacing):
            found.append((share, TubeEnd(end.centre @ frame, end.radius, end.normal @ frame)))
    found.sort(key=lambda one: -round(one[0], 3))
    return [end for _, end in found]


def _frames(more: Floats) -> list[tuple[Floats, float]]:
    """Axes u, v, w (rows) of the sections of each direction w, and their distance, mm.

    The axes, the directions between them, and the more that lie near none of these.
    """
    found = [(np.roll(np.eye(3), -1 - axis, axis=0), SPACING_MM) for axis in range(3)]
    for direction in itertools.product((1, 0, -1), repeat=3):
        if sum(map(abs, direction)) > 1 and direction > (0, 0, 0):
            plane = Plane.through(np.zeros(3), direction)
            found.append((np.stack([plane.u, plane.v, plane.normal]), ASLANT * SPACING_MM))
    for direction in more:
        known = np.array([frame[2] for frame, _ in found])
        if np.abs(known @ direction).max() < NEAR:
            plane = Plane.through(np.zeros(3), direction)
            found.append((np.stack([plane.u, plane.v, plane.normal]), SPACING_MM))
    return found


def _turned(triangles: Singles, frame: Floats) -> Singles:
    """Coordinates along other axes; the same for every copy of a vertex, exact along x, y, z."""
    u, v, w = frame.astype(np.float32)
    parts = [triangles[:, :, 0] * row[0] for row in (u, v, w)]
    for part, row in zip(parts, (u, v, w), strict=True):
        part += triangles[:, :, 1] * row[1]
        part += triangles[:, :, 2] * row[2]
    return np.stack(parts, axis=2) + np.float32(0.0)


def _along(triangles: Singles, spacing: float) -> list[tuple[float, TubeEnd]]:
    """Ends of holes in level sections, with the share of each that lies in the open beyond."""
    heights = _heights(triangles, spacing)
    hits = crossed(triangles, heights)
    found: list[tuple[float, TubeEnd]] = []
    last: _Level | None = None
    for z, hit in zip(heights, hits, strict=True):
        level = _Level.of(triangles[hit], float(z))
        if last is not None:
            found += last.ends(level, 1.0)
            found += level.ends(last, -1.0)
        last = level
    return found


@kernel
def _faces(triangles):  # type: ignore[no-untyped-def]
    """Height and area of every level triangle."""
    height = np.empty(triangles.shape[0], np.float64)
    area = np.empty(triangles.shape[0], np.float64)
    n = 0
    for i in range(triangles.shape[0]):
        t = triangles[i]
        if t[0, 2] == t[1, 2] and t[1, 2] == t[2, 2]:
            ax, ay = t[1, 0] - t[0, 0], t[1, 1] - t[0, 1]
            bx, by = t[2, 0] - t[0, 0], t[2, 1] - t[0, 1]
            height[n], area[n] = t[0, 2], 0.5 * abs(ax * by - ay * bx)
            n += 1
    return height[:n], area[:n]


def _heights(triangles: Singles, spacing: float) -> Floats:
    """Heights of the sections: evenly spaced, and right beside large level faces."""
    low, high = float(triangles[:, :, 2].min()), float(triangles[:, :, 2].max())
    spacing = max(spacing, (high - low) / MOST_SECTIONS)
    even = np.arange(low - 0.25 * spacing, high + spacing, spacing)
    face, area = _faces(triangles)
    level, group = np.unique(face, return_inverse=True)
    total = np.bincount(group, area, len(level))
    large = np.argsort(-total)[:MOST_FACES]
    level = level[large[total[large] >= LEAST_FACE_MM2]]
    every = np.sort(np.concatenate([even, level - BESIDE_MM, level + BESIDE_MM]))
    return every[np.concatenate([[True], np.diff(every) > 0.25 * BESIDE_MM])]


@dataclass(frozen=True, eq=False, slots=True)
class _Level:
    """A level section: its height, the holes in the metal, and all that outlines enclose."""

    z: float
    holes: Any
    filled: Any

    @classmethod
    def of(cls, triangles: Singles, z: float) -> _Level:
        import shapely

        metal = shapely.get_parts(polygons(chain(cut(triangles, Plane.level(z))).closed))
        if metal.size == 0:
            return cls(z, np.empty(0, object), shapely.MultiPolygon())
        outer = shapely.polygons(shapely.get_exterior_ring(metal))
        filled = outer[0] if outer.size == 1 else shapely.union_all(outer)
        shapely.prepare(filled)
        rings = [ring for one in metal for ring in one.interiors]
        holes = shapely.polygons(rings) if rings else np.empty(0, object)
        return cls(z, holes[shapely.area(holes) >= np.pi * SMALLEST_MM**2], filled)

    def ends(self, beyond: _Level, side: float) -> list[tuple[float, TubeEnd]]:
        """Holes that lie in the open in the section beyond, above (side 1) or below (-1)."""
        import shapely

        found = []
        open_there = self.holes[~shapely.covers(beyond.filled, self.holes)]
        for hole in open_there:
            breach = hole.difference(beyond.filled)
            share = float(breach.area / hole.area)
            if share < LEAST_BREACH:
                continue
            place = hole if share > 0.5 else max(shapely.get_parts(breach), key=lambda p: p.area)
            centre = np.array([place.centroid.x, place.centroid.y, self.z])
            found.append(
                (share, TubeEnd(centre, equal_radius(place.area), np.array([0.0, 0.0, side])))
            )
        return found
