"""How deep a pin goes into a port after an event, for very many events.

In: a prepared case. Out: bounds of a depth. As `evidence.pins` has it, with the sheets cut to what
a pin can meet.
"""

from __future__ import annotations

import math

import numpy as np
import shapely

from clearance.evidence.pins import PIN_LENGTH_MM, Before, Entry, Straight
from clearance.geometry.areas import polygonal
from clearance.geometry.soup import Box, Soup, extruded, meeting
from clearance.passages.way import moved_mouth
from clearance.predicted.part import Predicted
from clearance.predicted.slabs import Gate
from clearance.verdict.prepared import Checked

ROOM_MM = 5.0
"""Around a pin's way: more than what is lifted or shifted comes nearer by."""


class Pins:
    """Depths of pins in the nominal part and in predicted ones."""

    def __init__(self, checked: Checked):
        self.checked = checked
        self._near: dict[tuple[str, float, bool], Soup] = {}
        self._nominal: dict[tuple[str, float, bool], float] = {}
        self._slices: dict[tuple[Gate, bytes], Soup] = {}

    def nominal(self, port: str, diameter: float, square: bool) -> float:
        """Depth in the nominal part, mm; infinite where it goes through."""
        key = (port, diameter, square)
        if key not in self._nominal:
            entry = Entry.of(self.checked.mouths[port], square)
            if not entry.takes(diameter):
                return 0.0
            stop = Straight.inward(entry, self._walls(entry, key)).stop(0.5 * diameter)
            self._nominal[key] = math.inf if stop is None else stop
        return self._nominal[key]

    def stop(
        self, predicted: Predicted, port: str, diameter: float, square: bool
    ) -> tuple[float, float]:
        """Least and greatest depth in a predicted part, mm; 0 where it is kept out.

        They differ where what lies above a sheet is shifted: its edge may stop the pin there.
        """
        mouth, key = self.checked.mouths[port], (port, diameter, square)
        entry = Entry.of(mouth, square)
        if not entry.takes(diameter):
            return 0.0, 0.0
        here = entry.moved(moved_mouth(predicted, mouth).centre - mouth.centre)
        stray = self._stray(predicted, here)
        if self._kept_out(predicted, here, key, stray, diameter):
            return 0.0, 0.0
        at_sheet = Straight.inward(here, stray).stop(0.5 * diameter)
        sheet = math.inf if at_sheet is None else at_sheet
        if predicted.in_place:
            depth = min(sheet, self.nominal(*key))
            return depth, depth
        walls = predicted.bare_surface(self._way(here), of=self._walls(entry, key))
        own = Straight.inward(here, walls).stop(0.5 * diameter)
        depth = min(sheet, math.inf if own is None else own)
        ledges = (self._ledge(here, event.bottom) for event in predicted.events if any(event.shift))
        return min([depth, *ledges]), depth

    def _walls(self, entry: Entry, key: tuple[str, float, bool]) -> Soup:
        """Triangles of the nominal part near the pin's way, inward and outward."""
        if key not in self._near:
            down, up = self.checked.reach_mm
            room = float(max(np.abs(down).max(), np.abs(up).max())) + ROOM_MM
            self._near[key] = meeting(self.checked.bodies.part, self._way(entry).grown(room))
        return self._near[key]

    def _way(self, entry: Entry) -> Box:
        """A box around where the pin may be."""
        low, high = self.checked.bodies.bounds
        length = float(np.linalg.norm(high - low)) + ROOM_MM
        ends = np.stack(
            [entry.origin - PIN_LENGTH_MM * entry.inward, entry.origin + length * entry.inward]
        )
        return Box(ends.min(0), ends.max(0)).grown(entry.radius + ROOM_MM)

    def _stray(self, predicted: Predicted, entry: Entry) -> Soup:
        """Triangles of sheets and of measured metal near the pin's way."""
        box = self._way(entry)
        soups = [np.empty((0, 3, 3), np.float32)]
        for slab in predicted.table:
            if slab.low > box.high[2] or slab.high < box.low[2]:
                continue
            for gate in slab.gates:
                prism = self._slice(predicted, gate, box).copy()
                prism[:, :, 2] = np.where(prism[:, :, 2] > 0.5, slab.high, slab.low)
                soups.append(prism)
        if predicted.added is not None:
            soups.append(meeting(predicted.added, box))
        return np.concatenate(soups)

    def _slice(self, predicted: Predicted, gate: Gate, box: Box) -> Soup:
        """What of a slice lies near the pin's way, as a prism from 0 to 1."""
        key = (gate, box.low[:2].tobytes() + box.high[:2].tobytes())
        if key not in self._slices:
            room = shapely.box(*box.low[:2], *box.high[:2])
            outline = polygonal(shapely.intersection(predicted.outline(gate), room))
            none = np.empty((0, 3, 3), np.float32)
            self._slices[key] = extruded(outline, 0.0, 1.0) if outline.area > 0.0 else none
        return self._slices[key]

    def _kept_out(
        self,
        predicted: Predicted,
        entry: Entry,
        key: tuple[str, float, bool],
        stray: Soup,
        diameter: float,
    ) -> bool:
        out = Straight.along(-entry.inward, entry, stray)
        if out.stop(0.5 * diameter) is None:
            return False
        part = predicted.bare_surface(self._way(entry), of=self._walls(entry, key))
        return Before(out, Straight.along(-entry.inward, entry, part)).keeps_out(0.5 * diameter)

    @staticmethod
    def _ledge(entry: Entry, z: float) -> float:
        """Depth at which a pin's axis meets a level, mm; infinite where it never does."""
        fall = float(entry.inward[2])
        depth = math.inf if fall == 0.0 else (z - float(entry.origin[2])) / fall
        return depth if depth >= 0.0 else math.inf
