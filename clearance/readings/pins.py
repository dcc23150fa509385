"""How deep a pin goes into a port after an event, for very many events.

In: a prepared case. Out: bounds of a depth. As `evidence.pins` has it, with the sheets cut to what
a pin can meet.
"""

from __future__ import annotations

import math

import numpy as np
import shapely
from numpy.typing import NDArray

from clearance.evidence.pins import PIN_LENGTH_MM, Entry, Straight
from clearance.geometry.areas import polygonal
from clearance.geometry.soup import Box, Soup, extruded, meeting
from clearance.predicted.part import Predicted
from clearance.predicted.slabs import Gate, offset, pieces_of
from clearance.system.once import once
from clearance.verdict.prepared import Checked

Floats = NDArray[np.float64]

ROOM_MM = 5.0
"""Around a pin's way: more than what is lifted or shifted comes nearer by."""


class Pins:
    """Depths of pins in the nominal part and in predicted ones."""

    def __init__(self, checked: Checked):
        self.checked = checked
        self._ways: dict[tuple[object, ...], _Way] = {}
        self._entries: dict[tuple[str, float, bool], Entry] = {}

    def nominal(self, port: str, diameter: float, square: bool) -> float:
        """Depth in the nominal part, mm; infinite where it goes through."""
        if not self._entry(port, diameter, square).takes(diameter):
            return 0.0
        return self._way((port, diameter, square), np.zeros(3)).nominal

    def stop(
        self, predicted: Predicted, port: str, diameter: float, square: bool
    ) -> tuple[float, float]:
        """Least and greatest depth in a predicted part, mm; 0 where it is kept out.

        They differ where what lies above a sheet is shifted: its edge may stop the pin there.
        """
        mouth, key = self.checked.mouths[port], (port, diameter, square)
        if not self._entry(*key).takes(diameter):
            return 0.0, 0.0
        way = self._way(key, offset(predicted.events, float(mouth.centre[2])))
        if way.kept_out(predicted):
            return 0.0, 0.0
        depth = min(way.at_sheets(predicted, inward=True), way.at_walls(predicted, inward=True))
        ledges = (way.ledge(event.bottom) for event in predicted.events if any(event.shift))
        return min([depth, *ledges]), depth

    def _entry(self, port: str, diameter: float, square: bool) -> Entry:
        key = (port, diameter, square)
        if key not in self._entries:
            self._entries[key] = Entry.of(self.checked.mouths[port], square)
        return self._entries[key]

    def _way(self, asked: tuple[str, float, bool], step: Floats) -> _Way:
        """Where a pin is pushed in when the mouth has moved by a step, (3,) mm."""
        key = (*asked, *(float(value) for value in step))
        if key not in self._ways:
            self._ways[key] = _Way(self.checked, self._entry(*asked), asked[1], step)
        return self._ways[key]


class _Way:
    """One pin at one place of its mouth, and the depths at which it meets each piece of metal.

    A slice at a height stops a pin at one depth, whatever else the event is, and so does the part
    where it stands: each is worked out once for all suspects.
    """

    def __init__(self, checked: Checked, entry: Entry, diameter: float, step: Floats):
        self.checked, self.radius, self.step = checked, 0.5 * diameter, step
        self.entry = entry.moved(step)
        self._unmoved = entry
        self._sheets: dict[tuple[Gate, float, float, bool], float] = {}
        self._walls_at: dict[tuple[object, ...], float] = {}
        self._slices: dict[Gate, Soup] = {}

    @once
    def nominal(self) -> float:
        """Depth in the nominal part, mm."""
        return self._first(self._walls, inward=True)

    @once
    def box(self) -> Box:
        """A box around where the pin may be."""
        return self._around(self.entry)

    def _around(self, entry: Entry) -> Box:
        low, high = self.checked.bodies.bounds
        length = float(np.linalg.norm(high - low)) + ROOM_MM
        ends = np.stack(
            [entry.origin - PIN_LENGTH_MM * entry.inward, entry.origin + length * entry.inward]
        )
        return Box(ends.min(0), ends.max(0)).grown(entry.radius + ROOM_MM)

    @once
    def _walls(self) -> Soup:
        """Triangles of the nominal part near the pin's way, inward and outward."""
        down, up = self.checked.reach_mm
        room = float(max(np.abs(down).max(), np.abs(up).max())) + ROOM_MM
        return meeting(self.checked.bodies.part, self._around(self._unmoved).grown(room))

    def _first(self, soup: Soup, inward: bool) -> float:
        """Depth at which the pin first meets a soup, mm; infinite where it never does."""
        if not len(soup):
            return math.inf
        way = self.entry.inward if inward else -self.entry.inward
        stop = Straight.along(way, self.entry, soup).stop(self.radius)
        return math.inf if stop is None else stop

    def at_walls(self, predicted: Predicted, inward: bool) -> float:
        """Depth at which the part stops the pin where it now stands, sheets left out."""
        if predicted.in_place and inward and not self.step.any():
            return self.nominal
        key = (inward, *pieces_of(predicted.table))
        if key not in self._walls_at:
            walls = predicted.bare_surface(self.box, of=self._walls)
            self._walls_at[key] = self._first(walls, inward)
        return self._walls_at[key]

    def at_sheets(self, predicted: Predicted, inward: bool) -> float:
        """Depth at which sheets and measured metal stop the pin."""
        first = math.inf
        for slab in predicted.table:
            if slab.gates and slab.low <= self.box.high[2] and slab.high >= self.box.low[2]:
                ends = (slab.low, slab.high)
                first = min([first, *(self._at(predicted, g, ends, inward) for g in slab.gates)])
        if predicted.added is not None:
            first = min(first, self._first(meeting(predicted.added, self.box), inward))
        return first

    def _at(
        self, predicted: Predicted, gate: Gate, ends: tuple[float, float], inward: bool
    ) -> float:
        key = (gate, *ends, inward)
        if key not in self._sheets:
            prism = self._slice(predicted, gate).copy()
            prism[:, :, 2] = np.where(prism[:, :, 2] > 0.5, ends[1], ends[0])
            self._sheets[key] = self._first(prism, inward)
        return self._sheets[key]

    def _slice(self, predicted: Predicted, gate: Gate) -> Soup:
        """What of a slice lies near the pin's way, as a prism from 0 to 1."""
        if gate not in self._slices:
            room = shapely.box(*self.box.low[:2], *self.box.high[:2])
            outline = polygonal(shapely.intersection(predicted.outline(gate), room))
            none = np.empty((0, 3, 3), np.float32)
            self._slices[gate] = extruded(outline, 0.0, 1.0) if outline.area > 0.0 else none
        return self._slices[gate]

    def kept_out(self, predicted: Predicted) -> bool:
        """Stray metal stands before the mouth; within the part's metal it adds none."""
        stray = self.at_sheets(predicted, inward=False)
        return stray <= PIN_LENGTH_MM and stray < self.at_walls(predicted, inward=False)

    def ledge(self, z: float) -> float:
        """Depth at which the pin's axis meets a level, mm; infinite where it never does."""
        fall = float(self.entry.inward[2])
        depth = math.inf if fall == 0.0 else (z - float(self.entry.origin[2])) / fall
        return depth if depth >= 0.0 else math.inf
