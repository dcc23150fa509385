"""How thin a sheet the event can have made: what a scan must be able to show before it says open.

In: a prepared case. Out: the thinnest sheet, mm. Source: the recursion of `case.powder_bed`.
"""

from __future__ import annotations

from clearance.case.powder_bed import sheet_recess
from clearance.geometry.soup import Box
from clearance.verdict.prepared import Checked


def thinnest_sheet(checked: Checked, box: Box | None = None) -> float | None:
    """Thinnest sheet that the event can make, mm; None where it makes none.

    The first stray layer melts loose powder down to its melt depth; what comes of it is thinner
    than the layers counted, by what powder packs. Of packing and melt depth each end is tried.

    Parameters
    ----------
    checked : Checked
    box : Box, optional
        Only sheets that can reach its heights count.
    """
    found: list[float] = []
    for variant in checked.unknowns.variants:
        for event in variant.events or ():
            stray = checked.case.stray[event.stray]
            if not event.slices or (box is not None and not _reaches(event.lowest, event.top, box)):
                continue
            count = len(event.slices)
            for packing in (stray.packing_low, stray.packing_high):
                for deep in (stray.penetration_low, stray.penetration_high):
                    sunk = sheet_recess(event.layer, packing, deep, count)
                    found.append(max(count * event.layer + deep - sunk, 0.0))
    if checked.bodies.added is not None:
        found.append(0.0)  # a mesh of stray metal: how thin it is anywhere is not looked for
    return min(found, default=None)


def _reaches(low: float, high: float, box: Box) -> bool:
    """Whether a sheet can lie within a passage's heights; it may have been counted wrong."""
    return low <= box.high[2] and high >= box.low[2]
