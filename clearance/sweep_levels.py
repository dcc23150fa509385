"""Level sections of one passage at many heights, and what a sheet leaves open in them.

In: a passage's check. Out: `Near`, which stands in for a window but knows only the
passage's own void, so that a section costs a tenth of a millisecond; and `Face`, what is
open at one face of a layer. Areas are those of `crossings`, from far smaller polygons.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from clearance import sections
from clearance.crossings import TOUCH_MM2, largest_circle_mm, polygonal
from clearance.once import once
from clearance.passage_check import PassageCheck
from clearance.passages import pieces_at, stopper
from clearance.possible import bounding
from clearance.predicted import (
    NOMINAL,
    Box,
    Events,
    Predicted,
    beside,
    level_faces,
    meeting,
    moved_shape,
)
from clearance.stray import Event, Gate, rounded, slabs

BAND_MM = 1.0
"""Walls of so much height are kept together for quick sections."""
LEVEL_MM = 1e-4
"""A section so near a lid is cut from the whole part."""

SAME_MM = 1e-6
"""Slices that agree within this are taken for one."""

WITHIN_MM = 1e-3
"""A point this far within two outlines shows that they overlap by more than they may touch."""
ROUGH_MM, FINE_MM = 0.02, 0.25
"""How near a circle's radius is told, and how near a requirement it is told exactly instead."""

Soup = NDArray[np.float32]
Shift = tuple[float, float]


class Near:
    """The nominal void of one passage as level sections; in the place of a `Window`.

    Metal of the part is all that is not this passage's void: what lies beyond its walls
    makes no difference to it. Stray slices are cut from the whole part.
    """

    def __init__(self, check: PassageCheck):
        pitch = check.checked.pitch_mm
        self.need_mm = check.required
        nominal = check.predicted(NOMINAL, pitch)
        self.window = nominal.window
        self.void = void = nominal.possible
        self.ends = tuple(pieces_at(void, m, pitch) for m in (check.inlet, check.outlet))
        self.own = self.ends[0] | self.ends[1]
        self.walls = bounding(void, nominal.surface, self.own)
        low, high = self.walls.min((0, 1)) - 1.0, self.walls.max((0, 1)) + 1.0
        box = shapely.box(*low[:2].astype(float), *high[:2].astype(float))
        self.rectangle = shapely.intersection(box, self.window.rectangle)
        mouths = [m for m in check.checked.all_mouths if pieces_at(void, m, pitch) & self.own]
        self._lids = [stopper(m, pitch, sunk=False) for m in mouths]
        self.lid_heights = [(float(s[..., 2].min()), float(s[..., 2].max())) for s in self._lids]
        self.overlapping = check.checked.bodies.overlapping
        self._bands: dict[int, Soup] = {}
        self._own: dict[float, tuple[Any, ...]] = {}
        self._metal: dict[tuple[str, float], Any] = {}
        self._gates: dict[int, tuple[Any, Any]] = {}
        self._moved: dict[tuple[int, Shift], Any] = {}
        self.faces: dict[tuple[Any, ...], tuple[list[Piece], tuple[Any, ...]]] = {}
        self.overlaps = Overlaps()

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

    def _belongs(self, piece: Any, z: float) -> bool:
        x, y = shapely.get_coordinates(shapely.point_on_surface(piece))[0]
        return bool(self.void.pieces_at(np.array([[x, y, z]])) & self.own)

    def _whole(self, z: float) -> list[Any]:
        """From a section of all metal: at a mouth, and where shells overlap."""
        window = self.window
        return list(shapely.get_parts(window.rectangle.difference(window.metal_at("closed", z))))

    def _quick(self, z: float) -> list[Any]:
        """From the passage's walls alone: its own outlines are whole, others are left out."""
        closed = sections.loops(self._band(z), sections.Plane.level(z)).closed
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
            whole = shapely.intersection(self.window.metal_at(*key), self.rectangle)
            same = (m for m in self._metal.values() if _same(m, whole))
            self._metal[key] = next(same, whole)
        return self._metal[key]

    def outline(self, gate: Gate) -> Any:
        """Section that a gate makes metal, where it lies; the same object for the same outline."""
        shape = self.metal(gate.body, gate.z)
        shift = rounded(gate.shift)
        if shift == (0.0, 0.0):
            return shape
        key = (id(shape), shift)
        if key not in self._moved:
            self._moved[key] = moved_shape(shape, shift)
        return self._moved[key]

    def gate(self, outline: Any) -> tuple[Any, Any]:
        """An outline, and what of it is not at its rim, both ready for many questions."""
        if id(outline) not in self._gates:
            inner = outline.buffer(-SAME_MM)
            shapely.prepare(outline)
            shapely.prepare(inner)
            self._gates[id(outline)] = (outline, inner)
        return self._gates[id(outline)]

    def predict(self, events: Events) -> Predicted:
        """The predicted part as far as its sections go."""
        return Predicted(self, events or (), None)  # type: ignore[arg-type]


@dataclass(eq=False)
class Piece:
    """One nominal piece of the passage at a face, below it, and what is open of it.

    Attributes
    ----------
    below : shapely geometry
        The nominal outline just below the face, where it lies in the predicted part.
    nominal : (float, float)
        A point of it in nominal place.
    opening : shapely geometry
        What is open on both sides.
    need_mm : float
        Required clear diameter.
    """

    below: Any
    nominal: tuple[float, float]
    opening: Any
    need_mm: float

    @once
    def circle_mm(self) -> float:
        """Diameter of the largest circle in the opening, never too small; exact where it matters.

        That is near the requirement, or where hardly anything is open.
        """
        wide = largest_circle_mm(self.opening, ROUGH_MM)
        if wide < FINE_MM or abs(wide - self.need_mm) < FINE_MM:
            return largest_circle_mm(self.opening)
        return wide


@dataclass(eq=False)
class Face:
    """A face of a layer of a sheet: what is open there.

    Attributes
    ----------
    z : float, mm
        Height in the predicted part.
    below_z, above_z : float, mm
        Nominal heights of what stands just below and just above.
    pieces : list of Piece
    above : tuple of shapely geometry
        Nominal outlines just above, where they lie in the predicted part.
    """

    z: float
    below_z: float
    above_z: float
    pieces: list[Piece]
    above: tuple[Any, ...]

    @property
    def touched(self) -> bool:
        """Whether anything of the passage is closed at this face."""
        return any(p.opening is not p.below for p in self.pieces)

    @property
    def outlines(self) -> tuple[Any, ...]:
        """Nominal outlines just below the face and then those just above."""
        return (*(piece.below for piece in self.pieces), *self.above)

    @property
    def key(self) -> tuple[int, int]:
        """The same for faces with the same outlines."""
        return id(self.pieces), id(self.above)


def faces(near: Near, events: tuple[Event, ...], number: int) -> list[Face]:
    """What is open at every face of the layers of one event, lowest first."""
    predicted = near.predict(events)
    event = events[number]
    lift, shift = 0.0, (0.0, 0.0)
    for before in events[:number]:
        lift += before.rise
        shift = (shift[0] + before.shift[0], shift[1] + before.shift[1])
    moved = (shift[0] + event.shift[0], shift[1] + event.shift[1])
    heights = [event.bottom + k * event.layer for k in range(len(event.slices) + 1)]
    if event.slices and event.penetration > 0.0:
        heights.insert(0, event.bottom - event.penetration)
    found = []
    for z in heights:
        # As in `crossings`: the lower part goes up to the cut, the upper one on from it.
        lower_z = min(z, event.bottom) - lift
        if event.rise == 0.0:
            upper_z = z - lift
        else:
            upper = event.top - (lift + event.rise)
            upper_z = upper if z > event.bottom or not event.slices else lower_z
        below = (shift, lower_z) if z <= event.bottom else (moved, upper_z)
        above = (moved, upper_z) if z >= event.bottom else (shift, lower_z)
        found.append(_face(near, predicted, z, below, above))
    return found


def _face(
    near: Near,
    predicted: Predicted,
    z: float,
    below: tuple[Shift, float],
    above: tuple[Shift, float],
) -> Face:
    gates = [near.gate(gate) for gate in _gates(near, predicted, z)]
    lower = near.pieces(below[1], False)
    upper = near.pieces(above[1], True)
    down, up = rounded(below[0]), rounded(above[0])
    # Of a sheet that is moved up layer by layer most faces come again.
    key = (id(lower), id(upper), down, up, *(id(gate) for gate, _ in gates))
    if key not in near.faces:
        near.faces[key] = _opened(near.need_mm, lower, upper, down, up, gates)
    pieces, outlines = near.faces[key]
    return Face(z, below[1], above[1], pieces, outlines)


def _opened(
    need_mm: float,
    lower: tuple[Any, ...],
    upper: tuple[Any, ...],
    down: Shift,
    up: Shift,
    gates: list[tuple[Any, Any]],
) -> tuple[list[Piece], tuple[Any, ...]]:
    """What is open of every lower piece, and the upper outlines, all where they lie."""
    still = lower is upper and down == up
    lower_moved = tuple(moved_shape(p, down) for p in lower)
    upper_moved = lower_moved if still else tuple(moved_shape(p, up) for p in upper)
    pieces = []
    for own, place in zip(lower, lower_moved, strict=True):
        x, y = shapely.get_coordinates(shapely.point_on_surface(own))[0]
        opening = place if still else _overlap(place, upper_moved)
        for gate, inner in gates:
            # Outlines that run along one another cost much, and make no difference.
            if not inner.intersects(opening):
                continue
            opening = shapely.Polygon() if gate.contains(opening) else opening.difference(gate)
        if opening.area >= place.area - TOUCH_MM2:
            opening = place
        opening = opening if opening is place else polygonal(opening)
        pieces.append(Piece(place, (float(x), float(y)), opening, need_mm))
    return pieces, upper_moved


def _same(a: Any, b: Any) -> bool:
    if a.is_empty or b.is_empty:
        return bool(a.is_empty and b.is_empty)
    return bool(shapely.hausdorff_distance(a.boundary, b.boundary) < SAME_MM)


def _overlap(place: Any, others: tuple[Any, ...]) -> Any:
    return place.intersection(shapely.union_all(others)) if others else shapely.Polygon()


def _gates(near: Near, predicted: Predicted, z: float) -> list[Any]:
    """Outlines of what was melted just below and just above a face."""
    found: list[Any] = []
    for above in (False, True):
        for gate in predicted.slab_at(z, above).gates:
            outline = near.outline(gate)
            if not any(outline is other for other in found):
                found.append(outline)
    return found


def open_fraction(levels: list[Face], overlaps: Overlaps) -> float:
    """Smallest open fraction of all crossings of a sheet; 1 where nothing crosses it.

    As `crossings` has it: of each connected piece of the nominal passage within the sheet
    the smallest ratio of open to nominal section at one face.
    """
    if not any(face.touched for face in levels):
        return 1.0
    least = 1.0
    for face, groups in zip(levels, _grouped(levels, overlaps), strict=True):
        by_group: dict[int, list[float]] = {}
        for group, piece in zip(groups, face.pieces, strict=False):
            sums = by_group.setdefault(group, [0.0, 0.0, 0.0])
            sums[0] += piece.opening.area
            sums[1] += piece.below.area
        for group, outline in zip(groups[len(face.pieces) :], face.above, strict=True):
            if group in by_group:
                by_group[group][2] += outline.area
        for opened, below, above in by_group.values():
            if min(below, above) > TOUCH_MM2:
                least = min(least, opened / max(below, above))
    return least


def _grouped(levels: list[Face], overlaps: Overlaps) -> list[list[int]]:
    """Groups of the outlines of each face, below and then above: connected within the sheet."""
    first = np.cumsum([0, *(len(face.outlines) for face in levels)]).tolist()
    parent = list(range(first[-1]))

    def root(n: int) -> int:
        while parent[n] != n:
            n = parent[n]
        return n

    for n, face in enumerate(levels):
        for k, m in overlaps.within(face):
            parent[root(first[n] + k)] = root(first[n] + m)
        if n > 0:
            for k, m in overlaps.between(levels[n - 1], face):
                parent[root(first[n - 1] + k)] = root(first[n] + m)
    roots = [root(n) for n in range(len(parent))]
    return [roots[low:high] for low, high in pairwise(first)]


class Overlaps:
    """Which outlines share some area, kept by what they are: `Near.faces` lets them live on.

    Of a sheet that is moved up layer by layer most faces, and most pairs of them, come again.
    """

    def __init__(self) -> None:
        self._pairs: dict[tuple[int, int], bool] = {}
        self._inner: dict[int, tuple[Any, bool]] = {}
        self._faces: dict[tuple[int, ...], list[tuple[int, int]]] = {}

    def within(self, face: Face) -> list[tuple[int, int]]:
        """Numbers of outlines below and above one face that overlap."""
        key = face.key
        if key not in self._faces:
            count = len(face.pieces)
            found = self._between(face.outlines[:count], face.above)
            self._faces[key] = [(k, count + m) for k, m in found]
        return self._faces[key]

    def between(self, lower: Face, upper: Face) -> list[tuple[int, int]]:
        """Numbers of outlines of one face and the next that overlap."""
        key = lower.key + upper.key
        if key not in self._faces:
            self._faces[key] = self._between(lower.outlines, upper.outlines)
        return self._faces[key]

    def _between(self, some: tuple[Any, ...], others: tuple[Any, ...]) -> list[tuple[int, int]]:
        return [
            (k, m)
            for k, a in enumerate(some)
            for m, b in enumerate(others)
            if a is b or self._overlap(a, b)
        ]

    def _overlap(self, a: Any, b: Any) -> bool:
        key = (id(a), id(b))
        if key not in self._pairs:
            meet = _boxes_meet(a.bounds, b.bounds)
            self._pairs[key] = meet and (self._holds(a, b) or a.intersection(b).area > TOUCH_MM2)
        return self._pairs[key]

    def _holds(self, a: Any, b: Any) -> bool:
        """Whether a point well within one outline is well within the other: soon told."""
        if id(a) not in self._inner:
            point = shapely.point_on_surface(a)
            self._inner[id(a)] = (point, point.distance(a.boundary) > WITHIN_MM)
        point, within = self._inner[id(a)]
        return bool(within and b.contains(point) and point.distance(b.boundary) > WITHIN_MM)


def _boxes_meet(a: tuple[float, ...], b: tuple[float, ...]) -> bool:
    return a[0] <= b[2] and b[0] <= a[2] and a[1] <= b[3] and b[1] <= a[3]


def melts_the_same(events: tuple[Event, ...]) -> bool:
    """Whether nothing moves, so that a sheet only adds metal to the nominal part."""
    return all(e.rise == 0.0 and e.shift == (0.0, 0.0) for e in events)


def sheet_soup(near: Near, event: Event) -> Soup:
    """Faces of a sheet as it lies at its height, over the passage only."""
    from clearance.predicted import extruded

    predicted = near.predict((event,))
    soups: list[Soup] = []
    last: Any = None
    low = high = 0.0
    for slab in slabs((event,)):
        if not slab.gates:
            continue
        outline = predicted.sheet(slab)
        if last is not None and slab.low == high and outline.equals_exact(last, 0.0):
            high = slab.high
            continue
        if last is not None:
            soups.append(extruded(last, low, high))
        last, low, high = outline, slab.low, slab.high
    if last is not None:
        soups.append(extruded(last, low, high))
    return np.concatenate(soups) if soups else np.empty((0, 3, 3), np.float32)
