"""What a sheet leaves open of a passage, by sections alone: bounds, for very many events.

In: a prepared case. Out: `Opening`s of a passage at each sheet. The check looks closer; what it
finds lies within.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from clearance.evidence.powder import void_run
from clearance.geometry.areas import largest_circle_mm, polygonal
from clearance.geometry.soup import moved_shape
from clearance.predicted.part import NOMINAL, Predicted
from clearance.predicted.slabs import Event, Gate, rounded
from clearance.readings.shapes import Names
from clearance.verdict.prepared import Checked

LEAST_MM2 = 1e-6
"""Pieces of a section that are smaller come from rounding."""


@dataclass(frozen=True, slots=True)
class Opening:
    """One channel of a passage at a sheet.

    Attributes
    ----------
    nominal_mm2 : float
        Its area just below the sheet.
    open_mm2 : (float, float)
        What is left of it, at least and at most.
    circle_mm : (float, float)
        Diameter of the largest circle in what is left, at least and at most.
    middle : (float, float), mm
        A place in it, in plan.
    upright : bool
        It is the same just below and just above the sheet.
    free : bool
        No slice lies in it.
    """

    nominal_mm2: float
    open_mm2: tuple[float, float]
    circle_mm: tuple[float, float]
    middle: tuple[float, float]
    upright: bool
    free: bool

    @property
    def share(self) -> tuple[float, float]:
        """Open fraction, at least and at most."""
        low, high = self.open_mm2
        return low / self.nominal_mm2, min(1.0, high / self.nominal_mm2)


class Voids:
    """Channels of passages at any height, and what sheets leave of them."""

    def __init__(self, checked: Checked):
        self.checked = checked
        self._names = Names()
        self._at: dict[tuple[str, float], tuple[Any, ...]] = {}
        self._left: dict[tuple[int, ...], tuple[float, float, Any]] = {}
        self._pieces: dict[str, set[int]] = {}
        self._gates: dict[Gate, int] = {}
        self._openings: dict[tuple[object, ...], tuple[Opening, ...]] = {}

    def nominal(self, passage: str, z: float, above: bool = False) -> tuple[Any, ...]:
        """Channels (shapely) of a passage of the nominal part just below or above a height."""
        window = self.checked.whole
        level = window.beside("closed", z, above)
        key = (passage, level)
        if key not in self._at:
            metal = window.metal_at("closed", level)
            filled = shapely.union_all(
                [shapely.Polygon(p.exterior) for p in shapely.get_parts(metal)]
            )
            left = shapely.get_parts(polygonal(shapely.difference(filled, metal)))
            self._at[key] = tuple(
                void for void in left if void.area > LEAST_MM2 and self._is(passage, void, level)
            )
        return self._at[key]

    def _is(self, passage: str, void: Any, z: float) -> bool:
        """Whether a void of the nominal part is the passage's."""
        closed = self.checked.whole.predict(NOMINAL).closed
        inside = void.representative_point()
        run = void_run(closed, self.checked.whole.grid, np.array([inside.x, inside.y, z]))
        piece = None if run is None else int(self.checked.pieces(NOMINAL)[run])
        return piece in self._behind(passage)

    def _behind(self, passage: str) -> set[int]:
        """Pieces of the nominal void that a passage runs through."""
        if passage not in self._pieces:
            (table,) = [p for p in self.checked.case.passage if p.name == passage]
            self._pieces[passage] = self.checked.pieces_behind(self.checked.ends(table), NOMINAL)
        return self._pieces[passage]

    def shares(self, passage: str) -> bool:
        """Whether another passage runs through the same void of the nominal part."""
        own = self._behind(passage)
        others = (table.name for table in self.checked.case.passage if table.name != passage)
        return any(own & self._behind(name) for name in others)

    def openings(self, passage: str, predicted: Predicted, event: Event) -> tuple[Opening, ...]:
        """What one sheet leaves open of each channel of a passage; none where it meets none."""
        under = predicted.slab_at(event.bottom - event.penetration, above=False)
        over = predicted.slab_at(event.top, above=True)
        slices = self._slices(predicted, event)
        lower, upper = event.bottom - (under.lift or 0.0), event.top - (over.lift or 0.0)
        key = (passage, lower, under.shift, upper, over.shift, slices)
        if key not in self._openings:
            below = self._placed(passage, lower, under.shift, False)
            above = self._placed(passage, upper, over.shift, True)
            self._openings[key] = tuple(self._opening(void, above, slices) for void in below)
        return self._openings[key]

    def touched(self, passage: str, predicted: Predicted, event: Event) -> bool:
        """Whether a passage lies anywhere at the heights of a sheet, one that lies level too."""
        under = predicted.slab_at(event.lowest, above=False).lift or 0.0
        over = predicted.slab_at(event.top, above=True).lift or 0.0
        ends = (
            (event.lowest - under, False),
            (event.bottom - under, True),
            (event.top - over, True),
        )
        return any(self.nominal(passage, z, above) for z, above in ends)

    def _placed(
        self, passage: str, z: float, shift: tuple[float, float], above: bool
    ) -> tuple[Any, ...]:
        """Channels at a nominal height, where they lie in plan in the predicted part."""
        nominal = self.nominal(passage, z, above)
        return tuple(moved_shape(void, rounded(shift)) for void in nominal)

    def _slices(self, predicted: Predicted, event: Event) -> tuple[int, ...]:
        """Names of the sheet's slices, each once."""
        table = [slab for slab in predicted.table if slab.stray == event.stray and slab.gates]
        gates = [g for slab in table for g in slab.gates if g.body in ("melted", "plane")]
        for gate in gates:
            if gate not in self._gates:
                self._gates[gate] = self._names.of(predicted.outline(gate))
        return tuple(dict.fromkeys(self._gates[gate] for gate in gates))

    def _opening(self, void: Any, above: tuple[Any, ...], slices: tuple[int, ...]) -> Opening:
        met = [other for other in above if shapely.intersects(void, other)]
        upper = shapely.union_all(met) if met else void
        lower_name, upper_name = self._names.of(void), self._names.of(upper)
        least = self._through(void, upper, lower_name, upper_name, slices)
        if slices:
            ends = (
                self._less(void, lower_name, slices[:1]),
                self._less(upper, upper_name, slices[-1:]),
            )
            most = min(ends, key=lambda one: one[0])
        else:
            most = least  # no sheet: what is below meets what is above
        inside = void.representative_point()
        return Opening(
            float(void.area),
            (min(least[0], most[0]), most[0]),
            (min(least[1], most[1]), most[1]),
            (float(inside.x), float(inside.y)),
            lower_name == upper_name,
            all(self._untouched(*end, slices) for end in ((void, lower_name), (upper, upper_name))),
        )

    def _untouched(self, void: Any, name: int, slices: tuple[int, ...]) -> bool:
        return self._less(void, name, slices)[0] >= void.area - LEAST_MM2

    def _less(self, void: Any, name: int, slices: tuple[int, ...]) -> tuple[float, float, Any]:
        """Area and largest circle of a void less some slices, and the figure."""
        key = (name, *slices)
        if key not in self._left:
            left = void
            for number in slices:
                left = shapely.difference(left, self._names.shapes[number])
            self._left[key] = (float(left.area), largest_circle_mm(left), left)
        return self._left[key]

    def _through(
        self, void: Any, upper: Any, lower_name: int, upper_name: int, slices: tuple[int, ...]
    ) -> tuple[float, float, Any]:
        """What can be seen through, straight up."""
        if lower_name == upper_name:
            return self._less(void, lower_name, slices)
        key = (lower_name, -1 - upper_name, *slices)
        if key not in self._left:
            left = shapely.intersection(upper, self._less(void, lower_name, slices)[2])
            self._left[key] = (float(left.area), largest_circle_mm(polygonal(left)), left)
        return self._left[key]
