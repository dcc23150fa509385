"""Volume of metal that events add to a part, at least and at most.

In: events of one part. Out: mm3, which a mass is worked out from.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from clearance.evidence.added import metal_added
from clearance.evidence.signs import sheet_and_sides
from clearance.predicted.part import Predicted
from clearance.predicted.slabs import Event
from clearance.readings.unions import Unions
from clearance.verdict.prepared import Checked

Floats = NDArray[np.float64]


class AddedVolume:
    """Of one part, asked for any number of events; areas are worked out once."""

    def __init__(self, checked: Checked, nominal: Predicted):
        self.checked = checked
        self._nominal = nominal
        self._areas = Unions()

    def of(
        self,
        predicted: Predicted,
        least_depth: Callable[[Event], float],
        sheet_recess: Callable[[Event, int], Floats],
    ) -> tuple[float, float]:
        """Volume that the events add, at least and at most, mm3; that of the signs lies within.

        At least: melted as little as may be, thin as the recess leaves it over loose powder. At
        most: melted as deep as may be, and nothing left loose in the sheet.

        Parameters
        ----------
        predicted : Predicted
        least_depth : callable
            Least melt depth of an event, mm.
        sheet_recess : callable
            How far the top of so many of its layers lies below its counted face, (Q,) mm.
        """
        events = predicted.events
        welded = tuple(replace(e, welded=e.top - e.bottom) for e in events)
        thinner = sum(
            self._thinner_mm3(predicted, event, least_depth(event), sheet_recess)
            for event in events
            if event.slices
        )
        low, high = self._volume(events) - thinner, self._volume(welded)
        return min(low, high), max(low, high)

    def _thinner_mm3(
        self,
        predicted: Predicted,
        event: Event,
        least_mm: float,
        sheet_recess: Callable[[Event, int], Floats],
    ) -> float:
        """By how much a sheet may be less than counted, where it lies over loose powder."""
        gate, side = (gates[0] for gates in sheet_and_sides(predicted, event))
        over_mm2 = self._areas.less_mm2(predicted, (gate,), side)
        recess_mm = float(sheet_recess(event, len(event.slices)).max())
        return over_mm2 * (event.penetration - least_mm + recess_mm)

    def _volume(self, events: tuple[Event, ...]) -> float:
        predicted = Predicted(self.checked.whole, events, self.checked.bodies.added)
        return metal_added(predicted, self._nominal, self._areas)
