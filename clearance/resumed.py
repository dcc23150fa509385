"""The joints that a resume leaves: section properties of what hangs together there.

In: the predicted part over the whole part's window. Out: a row of numbers for each joint, for
whoever judges it; it is not judged here.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import shapely

from clearance.predicted import Predicted, moved_shape
from clearance.section_properties import resumed_section
from clearance.stray import Event, Slab, rounded, slabs

LEAST_MM2 = 1e-9
"""Pieces of a section that are smaller come from rounding."""


def resumed_sections(predicted: Predicted) -> tuple[dict[str, float], ...]:
    """Section properties at every joint that the events leave in the part.

    Parameters
    ----------
    predicted : Predicted
        Over the whole part.

    Returns
    -------
    tuple of dict
        Two rows an event that melted stray layers, one for an event that melted none: "stray",
        "height_mm"; "nominal_area_mm2" of the section that the joint should have; "share" of it
        that hangs together; and the keys of `section_properties.resumed_section` for what does.

    Notes
    -----
    At the cut that is the metal of the last good layer under the first stray slice; at the
    resumed height the metal of the next layer over all slices of the sheet. Powder that stayed
    loose in the sheet is missing from both, less what the layer above it melts again. Metal
    that hangs over powder joins nothing and does not count.
    """
    rows = []
    known: dict[bytes, dict[str, float]] = {}  # slices may be alike, then joints are
    for event in predicted.events:
        for height, standing, beside in _joints(predicted, event):
            if standing.area <= LEAST_MM2:
                continue  # the part does not reach there
            joined = _polygons(shapely.intersection_all([standing, *beside]))
            outline = shapely.to_wkb(joined)
            found = known.setdefault(outline, known.get(outline) or resumed_section(joined))
            rows.append(
                {
                    "stray": event.stray,
                    "height_mm": height,
                    "nominal_area_mm2": float(standing.area),
                    "share": found["metal_area_mm2"] / float(standing.area),
                    **found,
                }
            )
    return tuple(rows)


def _joints(predicted: Predicted, event: Event) -> Iterator[tuple[float, Any, list[Any]]]:
    """Height, the section that should hang together there, and what has to meet it."""
    table = slabs(predicted.events, loose=True)
    sheet = [
        slab
        for slab in table
        if slab.stray == event.stray and event.bottom <= slab.low and slab.high <= event.top
    ]
    below = _standing(predicted, event.bottom, above=False)
    above = _standing(predicted, event.top, above=True)
    if not sheet:
        yield event.top, above, [below]
        return
    yield event.bottom, below, [predicted.sheet(sheet[0])]
    yield event.top, above, [predicted.sheet(slab) for slab in sheet]


def _standing(predicted: Predicted, z: float, above: bool) -> Any:
    """Section of the part, without what the penetration adds, just below or above a height."""
    slab: Slab = predicted.slab_at(z, above)
    if slab.lift is None:  # another sheet lies right there
        return predicted.sheet(slab)
    part = predicted.window.metal("part", z - slab.lift, above)
    return moved_shape(part, rounded(slab.shift))


def _polygons(shape: Any) -> Any:
    """The polygons of a figure, without the lines and crumbs that rounding leaves."""
    pieces = shapely.get_parts(shape)
    kept = (shapely.get_type_id(pieces) == shapely.GeometryType.POLYGON) & (
        shapely.area(pieces) > LEAST_MM2
    )
    return shapely.MultiPolygon(list(pieces[kept]))
