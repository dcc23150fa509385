"""The sections that meet where a build stopped and went on.

In: the predicted part and an event. Out: exact polygons of what stands below a joint and of what
was melted on it. Numbers of them are left to `resumed`, gaps to `powder`.
"""

from __future__ import annotations

from typing import Any

import shapely

from clearance.geometry.soup import moved_shape
from clearance.predicted.part import Predicted
from clearance.predicted.slabs import Event, Slab, rounded, slabs

LEAST_MM2 = 1e-9
"""Pieces of a section that are smaller come from rounding."""


def standing(predicted: Predicted, z: float, above: bool) -> Any:
    """Section of the part, without what the penetration adds, just below or above a height."""
    slab: Slab = predicted.slab_at(z, above)
    if slab.lift is None:  # another sheet lies right there
        return predicted.stray_outline(slab)
    part = predicted.window.metal("part", z - slab.lift, above)
    return moved_shape(part, rounded(slab.shift))


def sheet_slabs(predicted: Predicted, event: Event) -> list[Slab]:
    """Slabs of an event's stray layers as they were melted, lowest first."""
    return [
        slab
        for slab in slabs(predicted.events, loose=True)
        if slab.stray == event.stray and event.bottom <= slab.low and slab.high <= event.top
    ]


def first_on(predicted: Predicted, event: Event) -> Any:
    """Section of the first layer that was melted after the stop."""
    sheet = sheet_slabs(predicted, event)
    return (
        predicted.stray_outline(sheet[0]) if sheet else standing(predicted, event.top, above=True)
    )


def polygons(shape: Any) -> Any:
    """The polygons of a figure, without the lines and crumbs that rounding leaves."""
    pieces = shapely.get_parts(shape)
    kept = (shapely.get_type_id(pieces) == shapely.GeometryType.POLYGON) & (
        shapely.area(pieces) > LEAST_MM2
    )
    return shapely.MultiPolygon(list(pieces[kept]))
