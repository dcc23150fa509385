"""Parts on the platform: placed, turned, and which of them stand over one another in plan.

In: where parts stand, and their boxes. Out: footprints, and for one part the metal of
the other parts that its wrong slices bring along, in its own coordinates. Slices belong
to the whole plate: where another part is wider at the height of a slice, or hangs over,
its outline is melted on this part's place too.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from clearance.axes import Direction
from clearance.case.read import Case
from clearance.geometry.planes import Plane
from clearance.geometry.sections import metal
from clearance.geometry.soup import Box, extent
from clearance.mesh.part import read_part
from clearance.result.plate import PlatePart
from clearance.verdict.prepared import OnPlatform

Soup = NDArray[np.float32]
Floats = NDArray[np.float64]
Outlines = Mapping[str, Sequence[Sequence[tuple[float, float]]]]
"""Rings in each part's own coordinates, by its name, mm."""
Boxes = Mapping[str, tuple[tuple[float, float], tuple[float, float]]]
"""Lowest and highest x and y of a part, by its name, mm."""

OUTLINE_MM = 0.1
"""Outlines are as true as this."""
SMALLEST_MM2 = 1e-6
"""Less metal than this over a part's place counts as none."""


@dataclass(frozen=True, slots=True)
class Place:
    """Where a mesh's origin stands on the platform, mm, and its turn about +Z, degrees."""

    at: tuple[float, float]
    turn: float = 0.0

    def matrix(self) -> Floats:
        """(2, 2) rotation from the part's axes to the platform's; quarter turns are exact."""
        angle = math.radians(self.turn)
        cos, sin = math.cos(angle), math.sin(angle)
        if self.turn % 90.0 == 0.0:
            cos, sin = round(cos), round(sin)
        return np.array([[cos, -sin], [sin, cos]], np.float64)

    def to_platform(self, xy: Any) -> Floats:
        """Platform coordinates (N, 2) of points (N, 2) of the part, mm."""
        return np.asarray(xy, np.float64) @ self.matrix().T + np.asarray(self.at)

    def within(self, other: Place) -> Place:
        """Return this place as seen from the axes of another part."""
        offset = (np.asarray(self.at) - np.asarray(other.at)) @ other.matrix()
        return Place((float(offset[0]), float(offset[1])), (self.turn - other.turn) % 360.0)


@dataclass(frozen=True, slots=True)
class Neighbour:
    """Another part of the plate, as seen from the part that is computed.

    Attributes
    ----------
    name : str
    meshes : tuple of Path
        Its part and what was melted with it.
    unit : str
        Of meshes that carry none.
    place : Place
        Where it stands in the axes of the part that is computed.
    lift : float, mm
        Added to its heights, so that both platforms are one.
    bounds : ((x, y, z), (x, y, z)), mm
        Lowest and highest coordinates of its part, in its own axes.
    build_direction : (3,), optional
        Which way of its meshes is up.
    item : str, optional
        Build item that is the part, where its mesh is a 3MF with several.
    """

    name: str
    meshes: tuple[Path, ...]
    unit: str
    place: Place
    lift: float
    bounds: tuple[tuple[float, ...], ...] = ()
    build_direction: Direction | None = None
    item: str | None = None

    def metal(self) -> Soup:
        """Closed triangles of all its meshes, in the axes of the part that is computed.

        Raises
        ------
        PartError
            A mesh cannot be used.
        """
        turn, items = self.build_direction, (self.item, *[None] * (len(self.meshes) - 1))
        parts = [
            read_part(path, self.unit, build_direction=turn, item=item).triangles
            for path, item in zip(self.meshes, items, strict=True)
        ]
        return moved(np.concatenate(parts), self.place, self.lift)

    def standing(self) -> OnPlatform:
        """The part as something that tools must not meet."""
        x0, y0, x1, y1 = footprint(self.bounds, self.place).bounds
        low, high = (z + self.lift for _, _, z in self.bounds)
        box = Box(np.array([x0, y0, low]), np.array([x1, y1, high]))
        return OnPlatform(self.name, box, cache(self.metal))


def moved(triangles: Soup, place: Place, lift: float = 0.0) -> Soup:
    """Place and turn a soup; vertices that were bitwise equal stay so.

    Parameters
    ----------
    triangles : (F, 3, 3) ndarray of float32, mm
    place : Place
    lift : float, mm
    """
    points = triangles.reshape(-1, 3).astype(np.float64)
    result = np.empty_like(points)
    result[:, :2] = place.to_platform(points[:, :2])
    result[:, 2] = points[:, 2] + lift
    return (result.astype(np.float32) + np.float32(0.0)).reshape(-1, 3, 3)


def footprint(bounds: Any, place: Place) -> Any:
    """Return the turned box (shapely Polygon) on the platform of a part's lowest and highest x, y.

    Parameters
    ----------
    bounds : (2, 2) or (2, 3) array, mm
    place : Place
    """
    import shapely

    (x0, y0), (x1, y1) = np.asarray(bounds)[:, :2]
    return shapely.Polygon(place.to_platform([(x0, y0), (x1, y0), (x1, y1), (x0, y1)]))


def over(footprints: Sequence[Any]) -> list[list[int]]:
    """For each footprint the numbers of those that share more than a line with it."""
    import shapely

    shapes = np.array(footprints, dtype=object)
    found: list[list[int]] = [[] for _ in footprints]
    ours, theirs = shapely.STRtree(shapes).query(shapes, predicate="intersects")
    shared = shapely.area(shapely.intersection(shapes[ours], shapes[theirs])) > SMALLEST_MM2
    for a, b in zip(ours[shared], theirs[shared], strict=True):
        if a != b:
            found[a].append(int(b))
    return [sorted(numbers) for numbers in found]


def outline(section: Any) -> list[list[list[float]]]:
    """Outer outlines of a section, without needless corners, mm."""
    import shapely

    rings = [shapely.Polygon(p.exterior) for p in shapely.get_parts(section) if p.area > 0.0]
    shape = shapely.simplify(shapely.union_all(rings), OUTLINE_MM)
    return [
        [[round(float(x), 3), round(float(y), 3)] for x, y in p.exterior.coords[:-1]]
        for p in shapely.get_parts(shape)
        if not p.is_empty
    ]


def overlapping(shapes: Sequence[Any]) -> list[tuple[int, int, float]]:
    """Pairs of outlines that share more than they are true to, and how much, mm2.

    Parameters
    ----------
    shapes : sequence of shapely geometry, mm
        On the platform.
    """
    import shapely

    found = []
    for a, others in enumerate(over(shapes)):
        for b in others:
            both = shapely.intersection(shapes[a], shapes[b])
            if a < b and not shapely.buffer(both, -OUTLINE_MM).is_empty:
                found.append((a, b, float(both.area)))
    return found


def slice_heights(case: Case, platform_z: float) -> list[float]:
    """Heights in mesh coordinates of all slices that the case's event may have melted, mm."""
    layer = case.part.layer_thickness
    return sorted(
        {
            platform_z + (stray.from_layer + k + 0.5) * layer
            for stray in case.stray
            if stray.shape == "layer"
            for k in range(stray.layers_high)
        }
    )


def beside(
    neighbours: Iterable[Neighbour], heights: Sequence[float], place: Floats, reach_mm: float
) -> tuple[Soup, tuple[str, ...]]:
    """Metal of other parts whose slices fall on a part's place.

    Parameters
    ----------
    neighbours : iterable of Neighbour
        Those whose footprints overlap the part's.
    heights : sequence of float, mm
        Of the slices, in the part's coordinates.
    place : (2, 2) array, mm
        Lowest and highest x and y of the part.
    reach_mm : float
        How far the sheet may lie beside its place (the resume shift).

    Returns
    -------
    soup : (F, 3, 3) ndarray of float32, mm
        Closed, in the part's coordinates; empty where no slice of a neighbour reaches it.
    names : tuple of str
        The neighbours it is from.

    Raises
    ------
    PartError
        A neighbour's mesh cannot be used.
    """
    soups, names = [], []
    window = np.array([place[0] - reach_mm, place[1] + reach_mm])
    for neighbour in neighbours:
        soup = neighbour.metal()
        if _falls_on(soup, heights, window):
            soups.append(soup)
            names.append(neighbour.name)
    joined = np.concatenate(soups) if soups else np.empty((0, 3, 3), np.float32)
    return joined, tuple(names)


def _falls_on(soup: Soup, heights: Sequence[float], window: Floats) -> bool:
    import shapely

    low, high = extent(soup)
    if (low[:2] > window[1]).any() or (high[:2] < window[0]).any():
        return False
    rectangle = shapely.box(*window[0], *window[1])
    for z in heights:
        if not low[2] <= z <= high[2]:
            continue
        section = metal(soup, Plane.level(z), window=rectangle.bounds, overlapping=True)
        if shapely.intersection(section, rectangle).area > SMALLEST_MM2:
            return True
    return False


def outline_of(entry: PlatePart, outlines: Outlines, boxes: Boxes, size_mm: Sequence[float]) -> Any:
    """Outline (shapely) of a part on the platform; its turned box where it was not computed.

    Parameters
    ----------
    entry : PlatePart
    outlines, boxes : mapping by name, mm
        As `Summary` has them.
    size_mm : (2,) sequence of float
        Of the platform: a part of which nothing is known is a dot of it.
    """
    import shapely

    name, place = entry["name"], Place(entry["at_mm"], entry["turn_deg"])
    rings = outlines.get(name)
    if not rings and name in boxes:
        (x0, y0), (x1, y1) = boxes[name]
        rings = [[(x0, y0), (x1, y0), (x1, y1), (x0, y1)]]
    if not rings:
        return shapely.Point(*entry["at_mm"]).buffer(0.01 * max(size_mm))
    polygons = [shapely.Polygon(place.to_platform(ring)) for ring in rings]
    return shapely.union_all([shapely.make_valid(polygon) for polygon in polygons])
