"""How thick a stray sheet is where it crosses a passage.

In: the predicted part and a crossing. Out: least and greatest thickness, mm.
"""

from __future__ import annotations

import shapely

from clearance.case.powder_bed import sheet_recess
from clearance.passages.crossings import Crossing
from clearance.predicted.part import Predicted
from clearance.predicted.slabs import Event
from clearance.verdict.numbers import NAMEWORTHY
from clearance.verdict.prepared import Checked


def thickness(checked: Checked, predicted: Predicted, crossing: Crossing) -> tuple[float, float]:
    """Of the sheet in a passage, at least and at most, mm; (0, 0) where only a step lies there.

    Where layers close different places of the passage, at least that of one of them.
    """
    thick = crossing.high - crossing.low
    stray = checked.case.stray[crossing.stray]
    if stray.shape == "mesh":
        return thick, thick
    event = next(e for e in predicted.events if e.stray == crossing.stray)
    if not event.slices:
        return 0.0, 0.0
    layers = len(event.slices) if _alike(predicted, event, crossing) else 1
    low = thinnest(layers, event.layer, stray.penetration_low, stray.packing_low)
    return min(low, thick), thick


def over_variants(checked: Checked, crossing: Crossing) -> tuple[float, float] | None:
    """The same over all that is possible of the event; None where the sheet is no layers'."""
    stray = checked.case.stray[crossing.stray]
    if stray.shape == "mesh":
        return None
    ends = []
    for variant in checked.unknowns.variants:
        for event in variant.events or ():
            if event.stray == crossing.stray and event.slices:
                count = len(event.slices)
                low = thinnest(count, event.layer, stray.penetration_low, stray.packing_low)
                ends.append((low, count * event.layer + stray.penetration_high))
    return (min(low for low, _ in ends), max(high for _, high in ends)) if ends else None


def thinnest(layers: int, layer: float, penetration: float, packing: float) -> float:
    """Thickness of a sheet over loose powder, mm, where powder packs so; see `sheet_recess`."""
    below = float(sheet_recess(layer, packing, penetration, layers))
    return layers * layer + penetration - below


def _alike(predicted: Predicted, event: Event, crossing: Crossing) -> bool:
    """Whether all layers of a sheet close the same of a crossing."""
    closed = [
        float(shapely.intersection(crossing.footprint, predicted.stray_outline(slab)).area)
        for slab in predicted.table
        if slab.stray == event.stray and slab.gates and slab.low >= event.bottom
    ]
    return not closed or min(closed) >= NAMEWORTHY * max(closed)
