"""What a stray sheet leaves open of one passage, level by level.

In: `Sections`, the level sections of a passage's own nominal void, and the events. Out: a
`Face` for every level at which a sheet is looked at. `crossings` and the sweep are both made of it.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from clearance.geometry.areas import TOUCH_MM2, largest_circle_mm, polygonal
from clearance.geometry.level_faces import same_height_mm
from clearance.geometry.soup import moved_shape
from clearance.geometry.turns import extremes
from clearance.passages.closings import Closing, closing, imaged
from clearance.ports.mouth import Mouth
from clearance.predicted.part import Window
from clearance.predicted.slabs import Event, Gate, Slab, reaches, rounded, slab_at, slabs
from clearance.system.once import once

WITHIN_MM = 1e-3
"""A point this far within two outlines shows that they overlap by more than they may touch."""
SAME_MM = 1e-6
"""Slices that agree within this are taken for one."""
ROUGH_MM, FINE_MM = 0.02, 0.25
"""How near a circle's radius is told, and how near a requirement it is told exactly instead."""

Soup = NDArray[np.float32]
Floats = NDArray[np.float64]
Shift = tuple[float, float]
Pair = tuple[float, Shift]
"""A nominal height, and how far what is nominal there has moved in plan."""


class Sections(ABC):
    """A passage's own nominal void in level sections, and the outlines of stray slices.

    Parameters
    ----------
    smallest_mm : float
        A narrower way counts as none.
    need_mm : float
        Near this width circles are told exactly.

    Attributes
    ----------
    window : Window
    mouths : sequence of Mouth
        Those of the passage's void.
    """

    window: Window
    mouths: Sequence[Mouth]

    def __init__(self, smallest_mm: float, need_mm: float):
        self.smallest_mm, self.need_mm = smallest_mm, need_mm
        self._prepared: dict[int, tuple[Any, tuple[Any, Any]]] = {}
        self.faces: dict[tuple[Any, ...], list[Piece]] = {}
        self._closings: dict[tuple[Event, ...], list[Closing]] = {}
        self.overlaps = Overlaps()
        self._between: dict[tuple[float, float], Floats] = {}

    @abstractmethod
    def pieces(self, z: float, above: bool = False) -> tuple[Any, ...]:
        """Polygons of the passage's own void just below or above a nominal height.

        The same object where the two are the same.
        """

    @abstractmethod
    def outline(self, gate: Gate) -> Any:
        """Section that a gate makes metal, where it lies; the same object each time."""

    @abstractmethod
    def added(self, z: float, above: bool) -> Any:
        """Section of the stray metal that is given as a mesh; None if there is none."""

    @abstractmethod
    def walls_between(self, low: float, high: float) -> Soup:
        """All triangles of the passage's walls that have a vertex between two nominal heights."""

    @abstractmethod
    def walls_meeting(self, low: float, high: float) -> Soup:
        """All triangles of the passage's walls that reach between two nominal heights."""

    def room(self, shape: Any, events: tuple[Event, ...], z: float) -> Any:
        """What a ball with its centre in a level section has to fit into, never too small.

        It may stand out of a mouth. The same object where that is the section.
        """
        if events not in self._closings:
            self._closings[events] = [closing(events, mouth) for mouth in self.mouths]
        return imaged(shape, self._closings[events], z)

    def at_mouth(self, events: tuple[Event, ...], z: float) -> bool:
        """Whether a mouth may reach to a height of the predicted part."""
        most = sum(abs(event.rise) for event in events)
        return any(low - most <= z <= high + most for low, high in self._mouth_heights)

    @once
    def _mouth_heights(self) -> list[tuple[float, float]]:
        """Lowest and highest point of every mouth's rim."""
        rims = [mouth.rim[:, 2] for mouth in self.mouths]
        return [(float(ring.min()), float(ring.max())) for ring in rims]

    @property
    def overlapping(self) -> bool:
        """Whether shells of the part overlap, so that outlines meet where no vertex is."""
        return self.window.bodies.overlapping

    def gate(self, outline: Any) -> tuple[Any, Any]:
        """An outline, and what of it is not at its rim, both ready for many questions."""
        if id(outline) not in self._prepared:
            # A copy: other passages, in other threads, ask the same outline unprepared.
            own, inner = shapely.force_2d(outline), outline.buffer(-SAME_MM)
            shapely.prepare(own)
            shapely.prepare(inner)
            self._prepared[id(outline)] = (outline, (own, inner))
        return self._prepared[id(outline)][1]

    def between(self, low: float, high: float) -> Floats:
        """Further nominal heights at which a sheet between two is looked at.

        A piece of the void that lies wholly between them, with walls all round, begins at a vertex
        that no neighbour lies below and ends at one that none lies above. Where there are both,
        levels lie so near that no such piece that a way of the smallest width fits in is missed.
        """
        if (low, high) not in self._between:
            self._between[low, high] = self._even(*self._turns(low, high))
        return self._between[low, high]

    def _even(self, lowest: float, highest: float) -> Floats:
        if highest <= lowest:
            return np.empty(0)
        count = int(np.ceil((highest - lowest) / self.smallest_mm))
        edges = np.linspace(lowest, highest, count + 1)
        return np.asarray(0.5 * (edges[1:] + edges[:-1]))

    def _turns(self, low: float, high: float) -> tuple[float, float]:
        """Lowest vertex between two heights where walls begin, highest where they end.

        One at the very height counts: walls that only touch a level leave nothing in it.
        """
        low, high = low - same_height_mm(low), high + same_height_mm(high)
        walls = self.walls_between(low, high)
        if self.overlapping and len(walls):
            return low, high
        begin, end = extremes(walls)
        for mouth in self.mouths:
            z = mouth.rim[:-1, 2]
            begin = np.append(begin, z[(z <= np.roll(z, 1)) & (z <= np.roll(z, -1))])
            end = np.append(end, z[(z >= np.roll(z, 1)) & (z >= np.roll(z, -1))])
        begin = begin[(begin > low) & (begin < high)]
        end = end[(end > low) & (end < high)]
        return float(begin.min(initial=np.inf)), float(end.max(initial=-np.inf))


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
    room : shapely geometry
        What a ball with its centre in the opening has to fit into: more than that at a mouth.
    """

    below: Any
    nominal: tuple[float, float]
    opening: Any
    need_mm: float
    room: Any

    @once
    def circle_mm(self) -> float:
        """Diameter of the largest ball in the opening, never too small; exact where it matters.

        That is near the requirement, or where hardly anything is open.
        """
        wide = largest_circle_mm(self.room, ROUGH_MM)
        if wide < FINE_MM or abs(wide - self.need_mm) < FINE_MM:
            return largest_circle_mm(self.room)
        return wide


@dataclass(eq=False)
class Face:
    """A level of a sheet, most often a face of a layer: what is open there.

    Attributes
    ----------
    z : float, mm
        Height in the predicted part.
    below, above : (float, (float, float))
        Nominal height and shift of what stands just below and just above.
    lower, upper : tuple of shapely geometry
        Nominal outlines of the passage there, in nominal place.
    lower_both, upper_both : tuple of shapely geometry
        Those on the other side of the same nominal heights: what is open nominally is open on both.
    pieces : list of Piece
        What is open, one of each outline of `lower`.
    """

    z: float
    below: Pair
    above: Pair
    lower: tuple[Any, ...]
    upper: tuple[Any, ...]
    lower_both: tuple[Any, ...]
    upper_both: tuple[Any, ...]
    pieces: list[Piece]

    @property
    def touched(self) -> bool:
        """Whether anything of the passage is closed at this face."""
        return any(p.opening is not p.below for p in self.pieces)

    @property
    def outlines(self) -> tuple[Any, ...]:
        """Nominal outlines just below the face and then those just above."""
        return (*self.lower, *self.upper)

    @property
    def key(self) -> tuple[int, int]:
        """The same for faces with the same outlines."""
        return id(self.lower), id(self.upper)


def places(event: Event, lift: float, shift: Shift, z: float) -> tuple[Pair, Pair]:
    """What stands just below and just above a height of a sheet.

    The lower part goes up to the cut, the upper one on from it; where it is lifted, both its
    sections at the cut bound what lies between.
    """
    moved = (shift[0] + event.shift[0], shift[1] + event.shift[1])
    lower_z = min(z, event.bottom) - lift
    if event.rise == 0.0:
        upper_z = z - lift
    else:
        upper = event.top - (lift + event.rise)
        upper_z = upper if z > event.bottom or not event.slices else lower_z
    below = (lower_z, shift) if z <= event.bottom else (upper_z, moved)
    above = (upper_z, moved) if z >= event.bottom else (lower_z, shift)
    return below, above


def levels_of(sections: Sections, events: tuple[Event, ...], number: int) -> list[float]:
    """Heights at which the sheet of one event is looked at, lowest first.

    They are the faces of its layers, and between them those that `Sections.between` adds. Where the
    part is lifted what lies between the faces of a layer is the same throughout.
    """
    event, lift, under = events[number], 0.0, -np.inf
    for before in events[:number]:
        lift += before.rise
        if not before.still:  # what lies lower stands elsewhere
            under = before.top + before.spread
    if event.spread > 0.0:
        heights = _ends(event, under)
    else:
        heights = [event.bottom + k * event.layer for k in range(len(event.slices) + 1)]
        if event.slices and event.penetration > 0.0:
            heights.insert(0, max(event.lowest, min(under, event.bottom)))
    found = heights[:1]
    for low, high in pairwise(heights):
        if high <= event.bottom or event.rise == 0.0:
            found += [float(z) + lift for z in sections.between(low - lift, high - lift)]
        found.append(high)
    return found


def _ends(event: Event, under: float) -> list[float]:
    """Faces of a sheet that lies anywhere in its spread."""
    ends = {max(z, under) for a, b in reaches(event) if a < b for z in (a, b)}
    return sorted(ends)


def faces(sections: Sections, events: tuple[Event, ...], number: int) -> list[Face]:
    """What is open at every level of the sheet of one event, lowest first."""
    event = events[number]
    lift, shift = 0.0, (0.0, 0.0)
    for before in events[:number]:
        lift += before.rise
        shift = (shift[0] + before.shift[0], shift[1] + before.shift[1])
    table = slabs(events)
    return [
        face_at(sections, events, table, z, *places(event, lift, shift, z))
        for z in levels_of(sections, events, number)
    ]


def face_at(
    sections: Sections,
    events: tuple[Event, ...],
    table: tuple[Slab, ...],
    z: float,
    below: Pair,
    above: Pair,
) -> Face:
    """What is open at one height of the predicted part."""
    outlines: list[Any] = []
    for side in (False, True):
        found = [sections.outline(gate) for gate in slab_at(table, z, side).gates]
        found.append(sections.added(z, side))
        outlines += [f for f in found if f is not None and not any(f is o for o in outlines)]
    gates = [sections.gate(outline) for outline in outlines]
    lower, upper = sections.pieces(below[0], False), sections.pieces(above[0], True)
    down, up = rounded(below[1]), rounded(above[1])
    # Of a sheet that is moved up layer by layer most faces come again.
    at_mouth = sections.at_mouth(events, z)
    own = (events, z) if at_mouth else ()
    key = (id(lower), id(upper), down, up, own, *(id(gate) for gate, _ in gates))
    if key not in sections.faces:
        found = _opened(sections.need_mm, lower, upper, down, up, gates)
        for piece in found if at_mouth else ():
            piece.room = sections.room(piece.opening, events, z)
        sections.faces[key] = found
    return Face(
        z=z,
        below=below,
        above=above,
        lower=lower,
        upper=upper,
        lower_both=sections.pieces(below[0], True),
        upper_both=sections.pieces(above[0], False),
        pieces=sections.faces[key],
    )


def _opened(
    need_mm: float,
    lower: tuple[Any, ...],
    upper: tuple[Any, ...],
    down: Shift,
    up: Shift,
    gates: list[tuple[Any, Any]],
) -> list[Piece]:
    """What is open of every lower piece, where it lies."""
    still = lower is upper and down == up
    lower_moved = tuple(moved_shape(p, down) for p in lower)
    upper_moved = lower_moved if still else tuple(moved_shape(p, up) for p in upper)
    pieces = []
    for own, place in zip(lower, lower_moved, strict=True):
        x, y = shapely.get_coordinates(shapely.point_on_surface(own))[0]
        opening = place if still else overlap(place, upper_moved)
        for gate, inner in gates:
            # Outlines that run along one another cost much, and make no difference.
            if not inner.intersects(opening):
                continue
            opening = shapely.Polygon() if gate.contains(opening) else opening.difference(gate)
        if opening.area >= place.area - TOUCH_MM2:
            opening = place
        opening = opening if opening is place else polygonal(opening)
        pieces.append(Piece(place, (float(x), float(y)), opening, need_mm, opening))
    return pieces


def overlap(place: Any, others: tuple[Any, ...]) -> Any:
    """What a figure and several others share."""
    return place.intersection(shapely.union_all(others)) if others else shapely.Polygon()


class Overlaps:
    """Which outlines share some area, kept by what they are: `Sections` lets them live on.

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
            count = len(face.lower)
            found = self._between(face.lower, face.upper)
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
