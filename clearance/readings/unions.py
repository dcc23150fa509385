"""Areas of figures united, by lookup: very many pairs of sections of one part.

In: gates of a predicted part. Out: mm2. A section is what its outer rims hold, less its voids, and
these come again at many heights where a section as a whole does not: each pair is cut once.

With F what the rims of a figure hold and V the voids in it, the union of A and B is
F_A u F_B less V_A n V_B, less V_A where it lies outside F_B, less V_B where it lies outside F_A.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import shapely

from clearance.evidence.added import Areas
from clearance.geometry.areas import polygonal
from clearance.predicted.part import Predicted
from clearance.predicted.slabs import Gate, Slab
from clearance.readings.shapes import Names

Box = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True)
class _Figure:
    """Number of what the outer rims hold; numbers and bounds of the voids in it."""

    filled: int
    voids: tuple[tuple[int, Box], ...]


class Unions(Areas):
    """Areas of one part's gates, kept by the figures they are of."""

    def __init__(self) -> None:
        super().__init__()
        self._names = Names()
        self._gates: dict[Gate, int] = {}
        self._figures: dict[int, _Figure] = {}
        self._together: dict[tuple[int, ...], int] = {}
        self._pairs: dict[tuple[str, int, int], float] = {}

    def gates_mm2(self, predicted: Predicted, gates: tuple[Gate, ...]) -> float:
        """Area of what some gates make metal."""
        gates = _unmoved(gates)
        first = self._united(predicted, gates[:-1] or gates)
        return self._both(first, self._number(predicted, gates[-1]))

    def beside_mm2(self, predicted: Predicted, slab: Slab, z: float) -> float:
        """Area of a slab's gates where the part is not that stands there."""
        if slab.lift is None:
            return self.gates_mm2(predicted, slab.gates)
        part = Gate("part", z - slab.lift, slab.shift)
        return self.less_mm2(predicted, slab.gates, part)

    def less_mm2(self, predicted: Predicted, gates: tuple[Gate, ...], other: Gate) -> float:
        """Area of what some gates make metal and another one does not."""
        *gates_, other = _unmoved((*gates, other))
        taken = self._number(predicted, other)
        both = self._both(self._united(predicted, tuple(gates_)), taken)
        return max(both - float(self._names.shapes[taken].area), 0.0)

    def _number(self, predicted: Predicted, gate: Gate) -> int:
        if gate not in self._gates:
            self._gates[gate] = self._names.of(predicted.outline(gate))
        return self._gates[gate]

    def _united(self, predicted: Predicted, gates: tuple[Gate, ...]) -> int:
        """Number of the union of some gates."""
        numbers = tuple(dict.fromkeys(self._number(predicted, gate) for gate in gates))
        return self._union(numbers)

    def _union(self, numbers: tuple[int, ...]) -> int:
        if len(numbers) == 1:
            return numbers[0]
        if numbers not in self._together:
            shapes = [self._names.shapes[n] for n in (numbers[0], self._union(numbers[1:]))]
            self._together[numbers] = self._names.of(shapely.union_all(shapes))
        return self._together[numbers]

    # ---- two figures ------------------------------------------------------------------------

    def _both(self, a: int, b: int) -> float:
        """Area of two figures united."""
        if a == b:
            return float(self._names.shapes[a].area)
        one, other = self._figure(a), self._figure(b)
        area = self._pair("union", one.filled, other.filled)
        area -= sum(self._pair("difference", v, other.filled) for v, _ in one.voids)
        area -= sum(self._pair("difference", v, one.filled) for v, _ in other.voids)
        return area - sum(
            self._pair("intersection", v, w)
            for v, box in one.voids
            for w, beside in other.voids
            if _meet(box, beside)
        )

    def _pair(self, how: str, a: int, b: int) -> float:
        key = (how, a, b)
        if key not in self._pairs:
            self._pairs[key] = self._cut(how, self._names.shapes[a], self._names.shapes[b])
        return self._pairs[key]

    @staticmethod
    def _cut(how: str, a: Any, b: Any) -> float:
        if a is b:
            return 0.0 if how == "difference" else float(a.area)
        if how == "union":
            return float(shapely.union(a, b).area)
        if how == "intersection":
            return float(shapely.intersection(a, b).area)
        shapely.prepare(b)
        return 0.0 if b.covers(a) else float(shapely.difference(a, b).area)

    def _figure(self, number: int) -> _Figure:
        if number not in self._figures:
            shape = self._names.shapes[number]
            rims = [shapely.Polygon(part.exterior) for part in _polygons(shape)]
            filled = shapely.union_all(rims)
            voids = _polygons(polygonal(shapely.difference(filled, shape)))
            named = tuple((self._names.of(void), void.bounds) for void in voids)
            self._figures[number] = _Figure(self._names.of(filled), named)
        return self._figures[number]


def _unmoved(gates: tuple[Gate, ...]) -> tuple[Gate, ...]:
    """The same gates where they are cut, if all have moved alike: areas stay."""
    if len({gate.shift for gate in gates}) == 1:
        return tuple(replace(gate, shift=(0.0, 0.0)) for gate in gates)
    return gates


def _polygons(shape: Any) -> Sequence[Any]:
    return [part for part in shapely.get_parts(shape) if part.geom_type == "Polygon"]


def _meet(one: Box, other: Box) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]
