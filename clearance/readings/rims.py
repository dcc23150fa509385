"""Rims: which slices of a sheet stand out of the part's side, and how far.

In: events of one part. Out: `Rim`s. The same numbers as `evidence.signs` gives, slice by slice,
with what is asked again for other events kept.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import shapely

from clearance.evidence.signs import (
    LEAST_OVERHANG_MM,
    Floats,
    away,
    nearest,
    outer,
    sheet_and_sides,
)
from clearance.predicted.bodies import Bodies
from clearance.predicted.part import Predicted
from clearance.predicted.slabs import Event, Gate, rounded
from clearance.readings.shapes import Names

Direction = tuple[float, ...] | None

TOWARDS = math.cos(math.radians(45.0))
"""A rim is measured in a direction where it points within 45 degrees of it."""


@dataclass(frozen=True, slots=True)
class Rim:
    """What of a sheet stands out: how far at most, and from which slice to which, from 0."""

    width_mm: float
    first: int
    last: int

    @property
    def layers(self) -> int:
        """How many slices lie from its lower to its upper face."""
        return self.last - self.first + 1


class Rims:
    """Rims of many events of one part."""

    def __init__(self, bodies: Bodies):
        self.bodies = bodies
        self._names = Names()
        self._named: dict[tuple[str, float], int] = {}
        self._away: dict[tuple[object, ...], Floats] = {}
        self._widths: dict[tuple[object, ...], float] = {}

    def of(self, predicted: Predicted, event: Event, towards: Direction = None) -> Rim | None:
        """The rim of one sheet; None where no slice stands out.

        Parameters
        ----------
        predicted : Predicted
            With the event among its own.
        event : Event
        towards : (float, float), optional
            Direction in plan in which it is measured; default: where it stands out farthest.
        """
        if not event.slices:
            return None
        slices, sides = sheet_and_sides(predicted, event)
        wide = [self._width(gate, sides, towards) for gate in slices]
        out = [n for n, width in enumerate(wide) if width >= LEAST_OVERHANG_MM]
        if not out:
            return None
        return Rim(max(wide), out[0], out[-1])

    def _width(self, gate: Gate, sides: tuple[Gate, ...], towards: Direction) -> float:
        key = (*(self._key(one) for one in (gate, *sides)), towards)
        if key not in self._widths:
            self._widths[key] = self._worked_out(gate, sides, towards)
        return self._widths[key]

    def _worked_out(self, gate: Gate, sides: tuple[Gate, ...], towards: Direction) -> float:
        found = [ways for side in sides if (ways := self._from(gate, side)) is not None]
        if not found or not len(found[0]):
            return 0.0
        lengths, ways = nearest(found)
        if towards is not None:
            along = ways @ (np.asarray(towards) / math.hypot(*towards))
            lengths = np.where(along >= TOWARDS * lengths, lengths, 0.0)
        return float(lengths.max())

    def _from(self, gate: Gate, side: Gate) -> Floats | None:
        """From one outline to the points of the sheet's; None where the part is not there."""
        key = (*self._key(gate), *self._key(side))
        shape = outer(self.bodies, side)
        if shape.is_empty:
            return None
        if key not in self._away:
            shapely.prepare(shape)
            self._away[key] = away(outer(self.bodies, gate), shape)
        return self._away[key]

    def _key(self, gate: Gate) -> tuple[object, ...]:
        name = (gate.body, gate.z)
        if name not in self._named:
            self._named[name] = self._names.of(outer(self.bodies, Gate(*name, (0.0, 0.0))))
        return (self._named[name], rounded(gate.shift))
