"""How thin a sheet the event can have made: what a scan must be able to show before it says open.

In: a prepared case, the window of a passage. Out: the thinnest sheet, mm. Source: the recursion of
`case.powder_bed`.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import shapely

from clearance.geometry.soup import Box, moved_shape
from clearance.predicted.part import NOMINAL, Window
from clearance.predicted.slabs import Event
from clearance.verdict.prepared import Checked
from clearance.verdict.sheet_thickness import thinnest

NARROWEST_MM = 1e-3
"""Strips that are narrower are rounding."""


def thinnest_sheet(
    checked: Checked, window: Window | None = None, off_mm: float = 0.0
) -> float | None:
    """Thinnest sheet that the event can make, mm; None where it makes none.

    The first stray layer melts loose powder down to its melt depth; what comes of it is thinner
    than the layers counted, by what powder packs. Where only some of the layers have metal, no
    more of them count.

    Parameters
    ----------
    checked : Checked
    window : Window, optional
        Of a passage: only sheets that can reach its heights count, and of each the fewest layers
        that lie over each other anywhere in the voids there. Without it all layers count.
    off_mm : float
        Strips of fewer layers that are no wider do not count: a surface may be off by so much.
    """
    found: list[float] = []
    for variant in checked.unknowns.variants:
        events = variant.events or ()
        for n, event in enumerate(events):
            if not event.slices or (window is not None and not _reaches(event, window.box)):
                continue
            stray = checked.case.stray[event.stray]
            layers = len(event.slices)
            if window is not None:
                layers = _fewest_layers(window, events[:n], event, off_mm)
            found.append(thinnest(layers, event.layer, stray.penetration_low, stray.packing_low))
    if checked.bodies.added is not None:
        found.append(0.0)  # a mesh of stray metal: how thin it is anywhere is not looked for
    return min(found, default=None)


def _reaches(event: Event, box: Box) -> bool:
    """Whether a sheet can lie within a passage's heights; it may have been counted wrong."""
    return event.lowest <= box.high[2] and event.top >= box.low[2]


def _fewest_layers(window: Window, below: Sequence[Event], event: Event, off_mm: float) -> int:
    """Fewest layers of a sheet that lie over each other anywhere in the voids that it crosses."""
    if event.unknown_slices:
        return 1
    if event.plane:
        return len(event.slices)
    x, y = (sum(one.shift[k] for one in below) for k in (0, 1))
    lift = sum(one.rise for one in below)
    under = _voids(window, event.bottom - lift, False)
    over = _voids(window, event.top - lift - event.rise, True)
    set_aside = (x + event.shift[0], y + event.shift[1])
    voids = shapely.union(moved_shape(under, (x, y)), moved_shape(over, set_aside))
    layers = [
        shapely.intersection(moved_shape(window.metal("melted", z), set_aside), voids)
        for z in event.slices
    ]
    return _shortest_run(layers, max(off_mm, NARROWEST_MM))


def _voids(window: Window, z: float, above: bool) -> Any:
    """Voids of the nominal part at a height, mouths closed; outside it what its hull holds."""
    metal = window.predict(NOMINAL).section(z, above, plugged=True)
    border = window.rectangle.exterior
    parts = shapely.get_parts(shapely.difference(window.rectangle, metal))
    hull = shapely.convex_hull(metal)
    kept = [p.intersection(hull) if shapely.distance(p, border) == 0.0 else p for p in parts]
    return shapely.union_all(kept)


def _shortest_run(layers: Sequence[Any], width: float) -> int:
    """Fewest layers in a row that are metal over some place as wide, with none above or below."""
    padded = [shapely.Polygon(), *layers, shapely.Polygon()]

    def wide(shape: Any) -> bool:
        return not shapely.is_empty(shape.buffer(-0.5 * width, quad_segs=4))

    first = [k for k in range(1, len(padded) - 1) if wide(padded[k] - padded[k - 1])]
    last = {k for k in range(1, len(padded) - 1) if wide(padded[k] - padded[k + 1])}
    runs = sorted((b - a + 1, a, b) for a in first for b in last if a <= b)
    for count, a, b in runs:
        own = shapely.intersection_all(padded[a : b + 1])
        if wide(own - padded[a - 1] - padded[b + 1]):
            return count
    return len(layers)
