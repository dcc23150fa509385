"""Faces that only a scan or a cut shows: a sheet's inside the part, and how far those above it are.

In: events of one part, and between which faces was measured. Out: slices at a place; a growth.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import shapely

from clearance.case.powder_bed import recess, shrinkage
from clearance.evidence.signs import sheet_and_sides
from clearance.predicted.part import Predicted
from clearance.predicted.slabs import Event, Gate
from clearance.readings.prediction import Measured, Untold
from clearance.readings.unknowns import Unknowns
from clearance.verdict.prepared import Checked

NOT_KNOWN = Untold("which slices were melted is not known of all of the sheet")


@dataclass(frozen=True)
class Between:
    """Between which faces a growth was measured.

    Attributes
    ----------
    over_mm : float
        What lies between them by the mesh.
    recesses : float
        How often the recess of a face that looks up lowers the growth: the share of the upper
        faces that look up, less that of the lower ones.
    """

    over_mm: float
    recesses: float


def growth(
    checked: Checked,
    unknowns: Unknowns,
    events: Sequence[Event],
    strays: Sequence[int],
    between: Between,
) -> Measured:
    """How much farther apart than in the mesh faces above and below some sheets stand, mm.

    By what the events add; by what had shrunk while the build stood (`cooled`), which may have
    been filled up or not; less what lies between the faces has shrunk since, and less the recess.
    """
    layer = checked.case.part.layer_thickness
    rise, shrunk = 0.0, 0.0
    for event in events:
        if event.stray in strays:
            table = checked.case.stray[event.stray]
            above = event.bottom - checked.platform_z
            rise += event.rise
            shrunk += shrinkage(above, table.cooled_high, table.expansion_1e6_k)
    low = rise - between.recesses * recess(layer, unknowns.packing)
    fall = unknowns.per_mm_kelvin * between.over_mm
    if shrunk > 0.0:  # a range has no fall of its own: both ends take all that is possible
        cold, warm = (fall * kelvin for kelvin in (max(unknowns.kelvin), min(unknowns.kelvin)))
        return Measured(low - cold, low + shrunk - warm)
    return Measured(low, low, fall)


class SheetFaces:
    """Which slices of a sheet are metal at a place in plan; asked again and again."""

    def __init__(self) -> None:
        self._known: dict[tuple[Gate, tuple[float, ...]], bool] = {}

    def of(
        self, predicted: Predicted, event: Event, at: tuple[float, ...]
    ) -> tuple[int, int] | Untold | None:
        """The first and the last slice with metal there, from 0; None where none has any."""
        if not event.slices:
            return None
        if event.unknown_slices:
            return NOT_KNOWN
        slices, _ = sheet_and_sides(predicted, event)
        metal = [n for n, gate in enumerate(slices) if self._metal(predicted, gate, at)]
        return (metal[0], metal[-1]) if metal else None

    def _metal(self, predicted: Predicted, gate: Gate, at: tuple[float, ...]) -> bool:
        if (gate, at) not in self._known:
            outline = predicted.outline(gate)
            self._known[gate, at] = bool(shapely.intersects_xy(outline, at[0], at[1]))
        return self._known[gate, at]
