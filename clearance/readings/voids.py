"""What a sheet leaves open of a passage, by sections alone: bounds, for very many events.

In: a prepared case. Out: `Opening`s of a passage at each sheet. The check looks closer; what it
finds lies within.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from clearance.columns.voids import run_at
from clearance.geometry.areas import CIRCLE_MM, largest_circle_mm, polygonal
from clearance.geometry.soup import moved_shape
from clearance.predicted.part import NOMINAL, Predicted
from clearance.predicted.slabs import Event, Gate, rounded
from clearance.readings.shapes import Names
from clearance.system.once import once
from clearance.verdict.prepared import Checked

LEAST_MM2 = 1e-6
"""Pieces of a section that are smaller come from rounding."""
NEAR_MM = 8.0
"""Slices are cut once to rectangles of whole multiples of this."""


class Left:
    """What is left of a void, its largest circle worked out when it is first asked for."""

    def __init__(self, shape: Any):
        self.shape = shape
        self.area = float(shape.area)

    @once
    def circle_mm(self) -> float:
        """Diameter of the largest circle in it, never too small."""
        return largest_circle_mm(polygonal(self.shape))

    def holds(self, diameter: float) -> bool:
        """Whether the largest circle is as wide as that; worked out only where it is close."""
        room = max(diameter - 10.0 * CIRCLE_MM, 0.0)
        if self.area < 0.25 * math.pi * room**2:
            return False
        if _hold((self.shape,), self.shape.centroid, diameter):
            return True
        return self.circle_mm >= diameter


def _hold(shapes: tuple[Any, ...], middle: Any, diameter: float) -> bool:
    """Whether a circle about a point lies in all of some figures."""
    return all(
        one.contains(middle) and 2.0 * one.boundary.distance(middle) >= diameter for one in shapes
    )


Named = tuple[Any, int]
"""A void (shapely) and its number."""


@dataclass(frozen=True, eq=False)
class Opening:
    """One channel of a passage at a sheet; what is left of it is worked out when it is asked for.

    Attributes
    ----------
    voids : Voids
    below, above : (shapely, int)
        The channel just below the sheet and just above it, and the numbers of the figures.
    slices : tuple of int
        Numbers of the sheet's slices.
    """

    voids: Voids
    below: Named
    above: Named
    slices: tuple[int, ...]

    @property
    def nominal_mm2(self) -> float:
        """Its area just below the sheet."""
        return float(self.below[0].area)

    @property
    def upright(self) -> bool:
        """It is the same just below and just above the sheet."""
        return self.below[1] == self.above[1]

    @once
    def free(self) -> bool:
        """No slice lies in it."""
        return all(
            self.voids.less(end, self.slices).area >= end[0].area - LEAST_MM2
            for end in (self.below, self.above)
        )

    @once
    def middle(self) -> tuple[float, float]:
        """A place in it, in plan, mm."""
        inside = self.below[0].representative_point()
        return float(inside.x), float(inside.y)

    @once
    def _least(self) -> Left:
        """What can be seen through, straight up."""
        return self.voids.through(self.below, self.above, self.slices)

    @once
    def _most(self) -> Left:
        """What the sheet's lower or upper slice leaves, whichever is less."""
        if not self.slices:
            return self._least  # no sheet: what is below meets what is above
        ends = (
            self.voids.less(self.below, self.slices[:1]),
            self.voids.less(self.above, self.slices[-1:]),
        )
        return min(ends, key=lambda one: one.area)

    @once
    def open_mm2(self) -> tuple[float, float]:
        """What is left of its area, at least and at most."""
        return min(self._least.area, self._most.area), self._most.area

    @property
    def widest_mm(self) -> float:
        """Diameter of the largest circle in what is left at most."""
        return self._most.circle_mm

    def may_seal(self, diameter: float) -> bool:
        """Whether what is left at least holds no circle as wide as that."""
        seen = (self.voids.less(self.below, self.slices).shape, self.above[0])
        if not seen[0].is_empty and _hold(seen, seen[0].centroid, diameter):
            return False
        return not (self._least.holds(diameter) and self._most.holds(diameter))

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
        self._left: dict[tuple[int, ...], Left] = {}
        self._levels: dict[tuple[float, bool], float] = {}
        self._moved: dict[tuple[object, ...], tuple[Named, ...]] = {}
        self._unions: dict[tuple[int, ...], Named] = {}
        self._near: dict[tuple[int, ...], Any] = {}
        self._pieces: dict[str, set[int]] = {}
        self._gates: dict[Gate, int] = {}
        self._openings: dict[tuple[object, ...], tuple[Opening, ...]] = {}

    def nominal(self, passage: str, z: float, above: bool = False) -> tuple[Any, ...]:
        """Channels (shapely) of a passage of the nominal part just below or above a height."""
        window, level = self.checked.whole, self._level(z, above)
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

    def _level(self, z: float, above: bool) -> float:
        """Height at which the nominal part is cut just below or above another."""
        if (z, above) not in self._levels:
            self._levels[z, above] = self.checked.whole.beside("closed", z, above)
        return self._levels[z, above]

    def _is(self, passage: str, void: Any, z: float) -> bool:
        """Whether a void of the nominal part is the passage's."""
        closed = self.checked.whole.predict(NOMINAL).closed
        inside = void.representative_point()
        run = run_at(closed, self.checked.whole.grid, np.array([inside.x, inside.y, z]))
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
    ) -> tuple[Named, ...]:
        """Channels at a nominal height, where they lie in plan in the predicted part."""
        nominal, step = self.nominal(passage, z, above), rounded(shift)
        key = (passage, self._level(z, above), step)
        if key not in self._moved:
            moved = [moved_shape(void, step) for void in nominal]
            self._moved[key] = tuple((void, self._names.of(void)) for void in moved)
        return self._moved[key]

    def _slices(self, predicted: Predicted, event: Event) -> tuple[int, ...]:
        """Names of the sheet's slices, each once."""
        table = [slab for slab in predicted.table if slab.stray == event.stray and slab.gates]
        gates = [g for slab in table for g in slab.gates if g.body in ("melted", "plane")]
        for gate in gates:
            if gate not in self._gates:
                self._gates[gate] = self._names.of(predicted.outline(gate))
        return tuple(dict.fromkeys(self._gates[gate] for gate in gates))

    def _opening(self, below: Named, above: tuple[Named, ...], slices: tuple[int, ...]) -> Opening:
        met = [other for other in above if shapely.intersects(below[0], other[0])]
        return Opening(self, below, self._together(met) if met else below, slices)

    def _together(self, voids: list[Named]) -> Named:
        if len(voids) == 1:
            return voids[0]
        key = tuple(number for _, number in voids)
        if key not in self._unions:
            union = shapely.union_all([void for void, _ in voids])
            self._unions[key] = (union, self._names.of(union))
        return self._unions[key]

    def less(self, void: Named, slices: tuple[int, ...]) -> Left:
        """A void less some slices, one after the other."""
        shape, name = void
        key = (name, *slices)
        if key not in self._left:
            self._left[key] = self._less_last(void, slices) if slices else Left(shape)
        return self._left[key]

    def _less_last(self, void: Named, slices: tuple[int, ...]) -> Left:
        before = self.less(void, slices[:-1])
        if before.shape.is_empty:
            return before
        near = self._near_by(slices[-1], void[0])
        if not before.shape.intersects(near):
            return before
        return Left(shapely.difference(before.shape, near))

    def _near_by(self, number: int, void: Any) -> Any:
        """What of a slice lies near a void: of whole outlines most is far from it."""
        x0, y0, x1, y1 = (v / NEAR_MM for v in void.bounds)
        tile = (math.floor(x0), math.floor(y0), math.ceil(x1), math.ceil(y1))
        key = (number, *tile)
        if key not in self._near:
            room = shapely.box(*(NEAR_MM * v for v in tile)).buffer(0.5 * NEAR_MM)
            self._near[key] = shapely.intersection(self._names.shapes[number], room)
        return self._near[key]

    def through(self, below: Named, above: Named, slices: tuple[int, ...]) -> Left:
        """What of a void can be seen through a sheet, straight up."""
        if below[1] == above[1]:
            return self.less(below, slices)
        key = (below[1], -1 - above[1], *slices)
        if key not in self._left:
            left = self.less(below, slices).shape
            if not left.is_empty:
                left = shapely.intersection(above[0], left)
            self._left[key] = Left(left)
        return self._left[key]
