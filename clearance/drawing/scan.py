"""The measured part in a section: its outline, and how far it lies off what is predicted.

In: a scan laid on the part, a plane, the predicted metal there. Out: an outline in mm, and
`Deviation`s, each an arrow with its number.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from clearance.checking import Examined
from clearance.drawing.level_parts import NOTHING, Deviation, drawn
from clearance.geometry import sections
from clearance.geometry.planes import Plane
from clearance.geometry.soup import Soup
from clearance.scanned.laid import Placed, bands, placed, possible
from clearance.verdict.numbers import given
from clearance.verdict.prepared import Checked, Progress

Floats = NDArray[np.float64]

MOST_OFF_MM = 1.5
"""Farther off it is another face, or none: that is seen, and no arrow tells it."""
STEPS, MOST_ARROWS, APART = 400, 6, 0.3
"""Places along the outlines; arrows at most, and how far apart, in sizes of the section."""
ACROSS = 0.97
"""Cosine of how far the way to the measured outline may lean from square to the predicted one."""


@dataclass(frozen=True, eq=False)
class Scan:
    """A scan to be drawn.

    Attributes
    ----------
    name : str
    triangles : (F, 3, 3) ndarray, mm
        In the part's coordinates.
    uncertainty_mm : float
        How far its surface may lie off: less than that is no deviation.
    """

    name: str
    triangles: Soup
    uncertainty_mm: float


def scan_of(checked: Checked, progress: Progress) -> Scan | None:
    """The scan of a case laid on its part; None without one."""
    if checked.case.scan is None:
        return None
    return _scan(checked, placed(checked, bands(possible(checked)), progress))


def examined_scan(examined: Examined) -> Scan | None:
    """The same of a case that is judged."""
    return None if examined.scan is None else _scan(examined.checked, examined.scan.placed)


def _scan(checked: Checked, found: Placed) -> Scan:
    assert checked.case.scan is not None
    return Scan(checked.case.scan.name, found.triangles, found.uncertainty_mm)


def measured_outline(scan: Scan | None, plane: Plane) -> Any:
    """Metal of the scan in a plane, in its coordinates; empty without one."""
    return NOTHING if scan is None else drawn(sections.metal(scan.triangles, plane))


def deviations(scan: Scan | None, predicted: Any, measured: Any) -> tuple[Deviation, ...]:
    """Where the measured outline lies farthest off the predicted one, the farthest first.

    Parameters
    ----------
    scan : Scan or None
    predicted, measured : shapely geometry, mm
        Metal in one plane.
    """
    if scan is None or predicted.is_empty or measured.is_empty:
        return ()
    x0, y0, x1, y1 = predicted.bounds
    size = max(x1 - x0, y1 - y0)
    found: list[Deviation] = []
    for at, to in _pairs(predicted, measured, scan.uncertainty_mm):
        if all(np.hypot(*(at - one.at)) > APART * size for one in found):
            inside = bool(shapely.intersects_xy(predicted, *to))
            off = float(np.hypot(*(to - at)))
            found.append(Deviation(_pair(at), _pair((to - at) / off), -off if inside else off))
        if len(found) == MOST_ARROWS:
            break
    return tuple(found)


def explained(scan: Scan | None, found: tuple[Deviation, ...]) -> tuple[str, ...]:
    """What the arrows of a section mean, in words; that there are none; nothing without a scan."""
    if scan is None:
        return ()
    least = given(round(scan.uncertainty_mm, 4))
    if found:
        return (
            f"arrows: measured ({scan.name}) off predicted, mm; + metal stands out, - it lacks; "
            f"told from {least} to {MOST_OFF_MM:g} mm",
        )
    return (f"{scan.name} shows no outline {least} to {MOST_OFF_MM:g} mm off what is predicted",)


def _pair(at: Floats) -> tuple[float, float]:
    return float(at[0]), float(at[1])


def _pairs(predicted: Any, measured: Any, least_mm: float) -> list[tuple[Floats, Floats]]:
    """Points of the predicted outline and the nearest of the measured one, the farthest first."""
    outline, other = predicted.boundary, measured.boundary
    along = (np.arange(STEPS) + 0.5) / STEPS * outline.length
    lines = shapely.get_parts(shapely.line_merge(outline))
    ends = np.cumsum([0.0, *(line.length for line in lines)])
    which = np.clip(np.searchsorted(ends, along, side="right") - 1, 0, len(lines) - 1)
    at = np.array(lines, dtype=object)[which]
    points = shapely.line_interpolate_point(at, along - ends[which])
    nearby = shapely.line_interpolate_point(at, along - ends[which] + 0.01 * least_mm)
    pairs = shapely.get_coordinates(shapely.shortest_line(points, other)).reshape(-1, 2, 2)
    way = pairs[:, 1] - pairs[:, 0]
    off = np.hypot(way[:, 0], way[:, 1])
    tangent = shapely.get_coordinates(nearby) - pairs[:, 0]
    turn = np.abs(way[:, 0] * tangent[:, 1] - way[:, 1] * tangent[:, 0])
    square = turn >= ACROSS * off * np.hypot(tangent[:, 0], tangent[:, 1])
    kept = np.flatnonzero((off > least_mm) & (off < MOST_OFF_MM) & square)
    order = kept[np.argsort(-np.round(off[kept], 3), kind="stable")]
    return [(pairs[n, 0], pairs[n, 1]) for n in order]
