"""The least area that metal in a measured passage leaves open, at whichever height it lies.

In: a scan laid on the part, a passage as checked. Out: open share of the nominal area, and where.
A sheet may lie elsewhere than the event as told would have put it.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from clearance.geometry.planes import Plane
from clearance.geometry.sections import metal
from clearance.predicted.part import NOMINAL, Window
from clearance.scanned.pose import Floats, Surface

if TYPE_CHECKING:
    from clearance.verdict.passage_check import PassageCheck

APART_MM = 0.01
"""Heights nearer to each other than this are one."""
SMALLEST_MM2 = 1e-6


def least_area(
    scan: Any, nominal: Surface, check: PassageCheck, off_mm: float
) -> tuple[float, float] | None:
    """Smallest open share of a nominal section of a passage in the scan, and its height.

    Looked at where the scan has corners in the nominal void farther than `off_mm` from the wall,
    and between these. Every face may be off by `off_mm`, to the worse.

    Parameters
    ----------
    scan : (F, 3, 3) ndarray, mm
        In the part's coordinates.
    nominal : Surface
    check : PassageCheck
    off_mm : float

    Returns
    -------
    (share, z) : tuple of float, mm; None where no such corner is
    """
    window = check.window(check.checked.pitch_mm)
    corners = np.unique(scan.reshape(-1, 3).astype(np.float64), axis=0)
    box = window.box
    corners = corners[((corners > box.low) & (corners < box.high)).all(axis=1)]
    if not len(corners):
        return None
    inside = nominal.off(corners)[1] > off_mm
    heights = np.unique(np.round(corners[inside, 2] / APART_MM)) * APART_MM
    beside = np.concatenate([heights - APART_MM, heights + APART_MM])
    levels = np.unique([*beside, *(0.5 * (heights[1:] + heights[:-1]))])
    found = [(_share(scan, window, check.nominal.way.route, z, off_mm), z) for z in levels]
    return min(found, default=None)


def _share(scan: Any, window: Window, route: Floats, z: float, off_mm: float) -> float:
    """Open share of the parts of a nominal section that the passage runs through; 1 of none."""
    own = _voids(window, route, z)
    sides = scan[:, :, 2]
    near = scan[(sides.min(axis=1) <= z) & (sides.max(axis=1) >= z)]
    filled = metal(near, Plane.level(z), overlapping=True)
    shares = [1.0]
    for part in own:
        left = shapely.difference(part, filled).area - off_mm * part.length
        shares.append(max(left, 0.0) / part.area)
    return float(min(shares))


def _voids(window: Window, route: Floats, z: float) -> list[Any]:
    """Parts of the void at a height, mouths closed, which the way crosses there."""
    section = window.predict(NOMINAL).section(z, plugged=True)
    parts = shapely.get_parts(shapely.difference(window.rectangle, section))
    border = window.rectangle.exterior
    below, above = route[:-1, 2], route[1:, 2]
    crosses = np.flatnonzero((np.minimum(below, above) <= z) & (np.maximum(below, above) >= z))
    if not len(crosses):
        return []
    ways = shapely.multilinestrings([route[n : n + 2, :2] for n in crosses])
    return [
        part
        for part in parts
        if part.area > SMALLEST_MM2
        and shapely.distance(part, border) > 0.0
        and shapely.intersects(part, ways)
    ]
