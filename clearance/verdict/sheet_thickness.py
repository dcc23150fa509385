"""How thick a stray sheet is where it crosses a passage.

In: the predicted part and a crossing. Out: least and greatest thickness, mm.
"""

from __future__ import annotations

import shapely

from clearance.case.powder_bed import sheet_recess
from clearance.geometry import sections
from clearance.geometry.areas import united
from clearance.geometry.planes import Plane
from clearance.geometry.soup import Soup
from clearance.passages.crossings import Crossing
from clearance.predicted.part import Predicted
from clearance.predicted.slabs import Event
from clearance.verdict.numbers import NAMEWORTHY
from clearance.verdict.prepared import Checked

LEVELS = 24
"""Heights at which metal given as a mesh is cut, to weigh it."""


def thickness(checked: Checked, predicted: Predicted, crossing: Crossing) -> tuple[float, float]:
    """Of the sheet in a passage, at least and at most, mm; (0, 0) where only a step lies there.

    Where layers close different places of the passage, at least that of one of them. Of metal given
    as a mesh, which may lie aslant, the mean over the passage, and at most as high as it reaches.
    """
    thick = crossing.high - crossing.low
    stray = checked.case.stray[crossing.stray]
    if stray.shape == "mesh":
        return min(_mean(checked.bodies.added_by_stray[crossing.stray], crossing), thick), thick
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


def _mean(soup: Soup, crossing: Crossing) -> float:
    """Volume of metal within a passage over its area in plan, mm: the thickness of a level plate.

    Of one that lies aslant it is the thickness over the cosine.
    """
    high = (crossing.high - crossing.low) / LEVELS
    cuts = [
        sections.metal(soup, Plane.level(crossing.low + (k + 0.5) * high), overlapping=True)
        for k in range(LEVELS)
    ]
    # United before they are cut to the passage: its outline may have tens of thousands of points.
    *areas, plan = shapely.area(shapely.intersection([*cuts, united(cuts)], crossing.footprint))
    return float(high * sum(areas) / plan) if plan > 0.0 else 0.0


def _alike(predicted: Predicted, event: Event, crossing: Crossing) -> bool:
    """Whether all layers of a sheet close the same of a crossing."""
    closed = [
        float(shapely.intersection(crossing.footprint, predicted.stray_outline(slab)).area)
        for slab in predicted.table
        if slab.stray == event.stray and slab.gates and slab.low >= event.bottom
    ]
    return not closed or min(closed) >= NAMEWORTHY * max(closed)
