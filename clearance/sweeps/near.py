"""Level sections of one passage at many heights, and what a sheet leaves open in them.

In: a passage's check. Out: `Near`, which stands in for a window but knows only the
passage's own void, so that a section costs a tenth of a millisecond, and the faces of a sheet.
What is open in them `sheet_levels` tells, as it does for `crossings`, from far smaller polygons.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from clearance.columns.possible import bounding
from clearance.geometry import sections
from clearance.geometry.areas import TOUCH_MM2
from clearance.geometry.level_faces import beside, level_faces
from clearance.geometry.planes import Plane
from clearance.geometry.soup import Box, Soup, extruded, meeting, moved_shape
from clearance.passages.closings import closing
from clearance.passages.crossings import between_heights, places_in, with_vertex_between
from clearance.passages.levels import SAME_MM, Face, Sections, Shift
from clearance.passages.stoppers import pieces_at, stopper, sunk_mm
from clearance.predicted.part import NOMINAL
from clearance.predicted.slabs import Event, Gate, rounded, slabs
from clearance.system.once import once
from clearance.verdict.passage_check import PassageCheck

BAND_MM = 1.0
"""Walls of so much height are kept together for quick sections."""
LEVEL_MM = 1e-4
"""A section so near a lid is cut from the whole part."""

ROUNDED_MM = 1e-4
"""A requirement nearer than this to a bracket is left to `check`: coordinates are rounded."""
SOME_CORNERS = 64
"""So many corners of an outline, about, are looked at before all of them are."""


class Near(Sections):
    """The nominal void of one passage as level sections.

    Metal of the part is all that is not this passage's void: what lies beyond its walls
    makes no difference to it. Stray slices are cut from the whole part.
    """

    def __init__(self, check: PassageCheck):
        super().__init__(check.checked.case.grid.smallest_way, check.required)
        pitch = check.checked.pitch_mm
        nominal = check.predicted(NOMINAL, pitch)
        self.window = nominal.window
        self.void = void = nominal.possible
        self.ends = tuple(pieces_at(void, m, pitch) for m in (check.inlet, check.outlet))
        self.own = self.ends[0] | self.ends[1]
        self.walls = bounding(void, nominal.surface, self.own)
        # As far aside as a ball that stands out of a mouth may meet a sheet.
        aside = max(1.0, *(2.0 * m.inscribed_radius for m in (check.inlet, check.outlet)))
        low, high = self.walls.min((0, 1)) - aside, self.walls.max((0, 1)) + aside
        box = shapely.box(*low[:2].astype(float), *high[:2].astype(float))
        # Slices of what was melted beside the part may lie in front of a mouth.
        self.wide = check.search(nominal, []).ahead.window
        self.rectangle = shapely.intersection(box, self.wide.rectangle)
        own = [m for m in check.checked.all_mouths if pieces_at(void, m, pitch) & self.own]
        self.mouths = own
        self._lids = [stopper(m, pitch, sunk=False) for m in own]
        self.lid_heights = [(float(s[..., 2].min()), float(s[..., 2].max())) for s in self._lids]
        self._bands: dict[int, Soup] = {}
        self._own: dict[float, tuple[Any, ...]] = {}
        self._metal: dict[tuple[str, float], Any] = {}
        self._slices: dict[tuple[str, float, bool], Any] = {}
        self._moved: dict[tuple[int, Shift], Any] = {}

    def walls_between(self, low: float, high: float) -> Soup:
        """Triangles of the walls that have a vertex between two heights."""
        return with_vertex_between(self.walls, low, high)

    def walls_meeting(self, low: float, high: float) -> Soup:
        """Triangles of the walls that reach between two heights."""
        return between_heights(self.walls, low, high)

    def met_at_mouths(self, events: tuple[Event, ...], radius: float) -> list[tuple[float, float]]:
        """Lowest and highest point of a ball with its centre in each mouth, mm.

        Its circle in the closing surface stays within the rim, so of a level mouth it stands out by
        its radius, and of an upright one not at all.
        """
        met = []
        for place in (p for mouth in self.mouths for p in closing(events, mouth).places):
            z = place.rim[:, 2]
            level = abs(float(place.plane.normal[2]))
            out = radius * (1.0 - np.sqrt(max(1.0 - level * level, 0.0)))
            met.append((float(z.min()) - out, float(z.max()) + out))
        return met

    @once
    def _levels(self) -> NDArray[np.float64]:
        """Heights of level faces of walls and lids, where a section may change at once."""
        return level_faces(np.concatenate([self.walls, *self._lids]))

    def pieces(self, z: float, above: bool = False) -> tuple[Any, ...]:
        """Polygons of the passage's own nominal void at a nominal height."""
        at = beside(z, above, self._levels)
        key = round(at, 9)
        found = self._own.get(key)
        if found is None:
            near_lid = any(a - LEVEL_MM <= at <= b + LEVEL_MM for a, b in self.lid_heights)
            pieces = self._whole(at) if near_lid or self.overlapping else self._quick(at)
            found = tuple(p for p in pieces if p.area > TOUCH_MM2 and self._belongs(p, at))
            self._own[key] = found
        return found

    def hides(self, levels: Sequence[Face]) -> bool:
        """Whether a stopper holds a piece of void at a level that is not seen as the passage's.

        A loop or a pocket in the wall behind a mouth may lie within the stopper alone.
        """
        heights = {z for face in levels for z, _ in (face.below, face.above)}
        met = [z for z in heights if any(low <= z <= high for low, high, _ in self._sunk)]
        sides = ((z, above) for z in met for above in (False, True))
        return any(self._hidden_at(beside(z, above, self._levels)) for z, above in sides)

    def _hidden_at(self, at: float) -> bool:
        rim, level = self.window.rectangle.exterior, Plane.level(at)
        within = shapely.union_all([sections.metal(soup, level) for _, _, soup in self._sunk])
        return any(
            piece.intersection(within).area > TOUCH_MM2
            for piece in self._whole(at)
            if not shapely.intersects(piece, rim) and not self._belongs(piece, at)
        )

    @once
    def _sunk(self) -> list[tuple[float, float, Soup]]:
        """Stoppers that begin within the part, as deep as may matter, and where they lie."""
        pitch = self.window.pitch_mm
        kept = [m for m in self.mouths if 2.0 * sunk_mm(m, pitch) >= self.smallest_mm]
        soups = [stopper(m, pitch) for m in kept]
        return [(float(s[..., 2].min()), float(s[..., 2].max()), s) for s in soups]

    def _belongs(self, piece: Any, z: float) -> bool:
        places = places_in(self.window, piece, z)
        return bool(places) and bool(self.void.pieces_at(np.array(places)) & self.own)

    def _whole(self, z: float) -> list[Any]:
        """From a section of all metal: at a mouth, and where shells overlap."""
        window = self.window
        return list(shapely.get_parts(window.rectangle.difference(window.metal_at("closed", z))))

    def _quick(self, z: float) -> list[Any]:
        """From the passage's walls alone: its own outlines are whole, others are left out."""
        closed = sections.loops(self._band(z), Plane.level(z)).closed
        areas = [sections.signed_area(loop) for loop in closed]
        holes = [loop for loop, area in zip(closed, areas, strict=True) if area > 0.0]
        voids = [
            shapely.Polygon(loop) for loop, area in zip(closed, areas, strict=True) if area < 0.0
        ]
        if holes:
            islands = [shapely.Polygon(loop) for loop in holes]
            voids = [
                v.difference(shapely.union_all([i for i in islands if v.contains(i)]))
                for v in (shapely.make_valid(v) for v in voids)
            ]
        return [p for v in voids for p in shapely.get_parts(v if v.is_valid else v.buffer(0.0))]

    def _band(self, z: float) -> Soup:
        key = int(np.floor(z / BAND_MM))
        if key not in self._bands:
            low = np.array([-np.inf, -np.inf, key * BAND_MM])
            high = np.array([np.inf, np.inf, (key + 1) * BAND_MM])
            self._bands[key] = meeting(self.walls, Box(low, high))
        return self._bands[key]

    def metal(self, body: str, z: float, above: bool = False) -> Any:
        """Level section of a body; of the part, all that is not this passage's void."""
        if body in ("part", "closed"):
            own = self.pieces(z, above)
            return self.rectangle.difference(shapely.union_all(own)) if own else self.rectangle
        key = (body, self.window.beside(body, z, above))
        if key not in self._metal:
            whole = shapely.intersection(self.wide.metal_at(*key), self.rectangle)
            same = (m for m in self._metal.values() if _same(m, whole))
            self._metal[key] = next(same, whole)
        return self._metal[key]

    def outline(self, gate: Gate) -> Any:
        """Section that a gate makes metal, where it lies; the same object for the same outline."""
        shape = self._slice(gate)
        shift = rounded(gate.shift)
        if shift == (0.0, 0.0):
            return shape
        key = (id(shape), shift)
        if key not in self._moved:
            self._moved[key] = moved_shape(shape, shift)
        return self._moved[key]

    def _slice(self, gate: Gate) -> Any:
        key = (gate.body, gate.z, gate.above)
        if key not in self._slices:
            self._slices[key] = self.metal(*key)
        return self._slices[key]

    def added(self, z: float, above: bool) -> Any:
        """Section of the stray metal that is given as a mesh."""
        return None if self.window.bodies.added is None else self.metal("added", z, above)


def _same(a: Any, b: Any) -> bool:
    if a.is_empty or b.is_empty:
        return bool(a.is_empty and b.is_empty)
    # A corner of one that lies off the other tells enough, where comparing all takes long.
    corners = shapely.points(shapely.get_coordinates(a))
    some = corners[:: max(1, len(corners) // SOME_CORNERS)]
    if shapely.distance(some, b.boundary).max() >= SAME_MM:
        return False
    return bool(shapely.hausdorff_distance(a.boundary, b.boundary) < SAME_MM)


def melts_the_same(events: tuple[Event, ...]) -> bool:
    """Whether nothing moves, so that a sheet only adds metal to the nominal part."""
    return all(e.rise == 0.0 and e.shift == (0.0, 0.0) for e in events)


def sheet_soup(near: Near, event: Event) -> Soup:
    """Faces of a sheet as it lies at its height, over the passage only."""
    soups: list[Soup] = []
    last: Any = None
    low = high = 0.0
    for slab in slabs((event,)):
        if not slab.gates:
            continue
        outline = shapely.union_all([near.outline(gate) for gate in slab.gates])
        if last is not None and slab.low == high and outline.equals_exact(last, 0.0):
            high = slab.high
            continue
        if last is not None:
            soups.append(extruded(last, low, high))
        last, low, high = outline, slab.low, slab.high
    if last is not None:
        soups.append(extruded(last, low, high))
    return np.concatenate(soups) if soups else np.empty((0, 3, 3), np.float32)
