"""The measured part in a section: its outline, and how far it lies off what is predicted.

In: a scan laid on the part, a plane, the predicted metal there. Out: an outline in mm, and
`Deviation`s, each an arrow with its number.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from clearance.checking import Examined
from clearance.drawing.level_parts import NOTHING, Deviation, drawn
from clearance.geometry import sections
from clearance.geometry.planes import Plane
from clearance.geometry.soup import Soup
from clearance.readings.scan_sheets import sheets_seen
from clearance.report.scan import moved_lines
from clearance.scanned.laid import Placed, bands, placed, possible, scan_result
from clearance.verdict.numbers import given
from clearance.verdict.prepared import Checked, Progress

Floats = NDArray[np.float64]

MOST_OFF_MM = 1.5
"""Farther off it is another face, or none: that is seen, and no arrow tells it."""
STEPS, MOST_ARROWS, APART = 400, 6, 0.3
"""Places along the outlines; arrows at most, and how far apart, in sizes of the section."""
ALIKE = 0.95
"""Of the farthest off those count as equal; the arrow stands in their middle."""
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
    said : tuple of str
        Steps, growth and sheets as measured.
    """

    name: str
    triangles: Soup
    uncertainty_mm: float
    said: tuple[str, ...] = ()


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
    told = replace(scan_result(checked, found), sheets=sheets_seen(checked, found))
    said = tuple(moved_lines(told, checked.platform_z))
    return Scan(checked.case.scan.name, found.triangles, found.uncertainty_mm, said)


def measured_outline(scan: Scan | None, plane: Plane) -> Any:
    """Metal of the scan in a plane, in its coordinates; empty without one."""
    return NOTHING if scan is None else drawn(sections.metal(scan.triangles, plane))


def deviations(scan: Scan | None, predicted: Any, measured: Any) -> tuple[Deviation, ...]:
    """Where the measured outline lies farthest off the predicted one, the farthest first.

    In turn of those to the left, to the right, down and up.

    Parameters
    ----------
    scan : Scan or None
    predicted, measured : shapely geometry, mm
        Metal in one plane.
    """
    if scan is None or predicted.is_empty or measured.is_empty:
        return ()
    x0, y0, x1, y1 = predicted.bounds
    apart = APART * max(x1 - x0, y1 - y0)
    at, way, off = _pairs(predicted, measured, scan.uncertainty_mm)
    towards = 2 * np.argmax(np.abs(way), axis=1) + (np.take_along_axis(
        way, np.argmax(np.abs(way), axis=1)[:, None], axis=1)[:, 0] > 0.0)  # fmt: skip
    free, found = np.ones(len(off), bool), list[Deviation]()
    for one in itertools.islice(itertools.cycle(range(4)), 4 * MOST_ARROWS):
        those = np.flatnonzero(free & (towards == one))
        if len(those) and len(found) < MOST_ARROWS:
            alike = those[off[those] >= ALIKE * off[those].max()]
            n = int(alike[len(alike) // 2])
            inside = bool(shapely.intersects_xy(predicted, *(at[n] + way[n] * off[n])))
            said = -off[n] if inside else off[n]
            found.append(Deviation(_pair(at[n]), _pair(way[n]), float(said)))
            free &= np.hypot(*(at - at[n]).T) > apart
    return tuple(sorted(found, key=lambda each: -abs(each.off_mm)))


def explained(scan: Scan | None, found: tuple[Deviation, ...]) -> tuple[str, ...]:
    """What the arrows of a section mean, in words; that there are none; nothing without a scan."""
    if scan is None:
        return ()
    least = given(round(scan.uncertainty_mm, 4))
    first = f"short dashes: measured, {scan.name}"
    ends = f"{least} to {MOST_OFF_MM:g} mm"
    if not found:
        return (f"{first}; nowhere here {ends} off what is predicted", *scan.said)
    arrows = "arrows: measured off predicted, mm; + metal stands out, - it lacks"
    return (f"{first}; {arrows}; told from {ends}", *scan.said)


def _pair(at: Floats) -> tuple[float, float]:
    return float(at[0]), float(at[1])


def _pairs(predicted: Any, measured: Any, least_mm: float) -> tuple[Floats, Floats, Floats]:
    """Points along the predicted outline, the way to the measured one, and how far it is.

    Only those where it lies square to the predicted outline: (N, 2), (N, 2) of length 1, (N,).
    """
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
    return pairs[kept, 0], way[kept] / off[kept, None], off[kept]
