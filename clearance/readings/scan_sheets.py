"""Metal that a scan shows across passages: where its two faces lie.

In: a prepared case and a scan laid on its part. Out: `ScanSheet`s. What a scan does not show is
never taken for absent.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from clearance.geometry.soup import Soup
from clearance.readings.voids import Voids
from clearance.result import ScanSheet
from clearance.scanned.laid import Placed
from clearance.verdict.prepared import Checked

Floats = NDArray[np.float64]

PLACES, FROM_MIDDLE = 8, 0.4
"""Upright lines around the middle of a passage, at this share of the largest circle's radius."""
SHOWN = 0.5
"""Share of the lines that have to meet one sheet, each the same."""
WALL_MM = 0.3
"""So near to where a line leaves the passage nothing is taken for a sheet: walls lie off, too."""
OWN, SHARED = 0.5, math.sqrt(0.75)
"""Of the standard uncertainty of a face, half of what it may lie off, what is its own and what all
faces that look the same way share: the grey value at which a surface is drawn moves them alike."""


def sheets_seen(checked: Checked, scan: Placed) -> tuple[ScanSheet, ...]:
    """Every sheet that the surface of a scan shows across a passage, in the case's order.

    Only at heights where one stray sheet may lie, by slices, and where metal has a lower and an
    upper face there; a passage that is full of metal farther up or down shows none.
    """
    voids, found = Voids(checked), []
    for n, (strays, span) in enumerate(scan.around):
        if len(strays) == 1 and checked.case.stray[strays[0]].mesh is None:
            for passage in checked.case.passage:
                told = _seen(voids, checked, scan, n, passage.name, span)
                found += [told] if told is not None else []
    return tuple(found)


def _seen(
    voids: Voids, checked: Checked, scan: Placed, band: int, passage: str, span: tuple[float, float]
) -> ScanSheet | None:
    middle = 0.5 * (span[0] + span[1])
    channels = voids.nominal(passage, middle)
    if not channels:
        return None
    at, places = _places(max(channels, key=lambda one: float(one.area)))
    faces = np.array([*_faces(checked.bodies.part, scan.triangles, places, span, middle)])
    if len(faces) < SHOWN * len(places):
        return None
    low, high = (float(z) for z in np.median(faces, axis=0))
    scatter = float(faces.std(axis=0).max()) / math.sqrt(len(faces))
    fit, u = scan.registered.fit, math.hypot(0.5 * scan.uncertainty_mm, scatter)
    over = max(low - float(fit.held_mm[band]), 0.0)
    (stray,), where = scan.around[band][0], (float(at[0]), float(at[1]), low)
    return ScanSheet(stray, passage, where, high - low, u, over, -float(fit.looks_up[band]))


def _places(channel: Any) -> tuple[Floats, Floats]:
    """The middle of a channel's largest circle, and places around it, (2,) and (N, 2) mm."""
    circle = shapely.maximum_inscribed_circle(channel)
    at, rim = shapely.get_coordinates(circle)
    turns = 2.0 * math.pi * (np.arange(PLACES) + 0.137) / PLACES  # off edges that axes hold
    around = FROM_MIDDLE * np.hypot(*(rim - at)) * np.column_stack([np.cos(turns), np.sin(turns)])
    return at, np.vstack([at + 1e-4 * around[:1], at + around])


def _faces(
    nominal: Soup, scan: Soup, places: Floats, span: tuple[float, float], middle: float
) -> Iterator[tuple[float, float]]:
    """Lower and upper face of the one sheet that each place has, where it has one."""
    for place in places:
        walls = heights(nominal, place)
        below = max(span[0], WALL_MM + max(walls[walls < middle], default=-np.inf))
        above = min(span[1], min(walls[walls > middle], default=np.inf) - WALL_MM)
        met = heights(scan, place)
        within = met[(met > below) & (met < above)]
        inside = int((met <= below).sum()) % 2  # in metal already where the stretch begins
        if len(within) == 2 and not inside:
            yield float(within[0]), float(within[1])


def heights(soup: Soup, place: Floats) -> Floats:
    """Heights, rising, at which an upright line meets a surface, mm.

    Parameters
    ----------
    soup : (F, 3, 3) ndarray, mm
    place : (2,) ndarray, mm
        Where the line stands in plan; not on an edge.
    """
    plan = soup[:, :, :2]
    around = (plan.min(axis=1) <= place).all(axis=1) & (plan.max(axis=1) >= place).all(axis=1)
    a, b, c = np.moveaxis(soup[around].astype(np.float64), 1, 0)

    def side(p: Floats, q: Floats) -> Floats:
        along, to = q[:, :2] - p[:, :2], place - p[:, :2]
        return np.asarray(along[:, 0] * to[:, 1] - along[:, 1] * to[:, 0])

    shares = np.stack([side(b, c), side(c, a), side(a, b)], axis=1)
    met = (shares > 0.0).all(axis=1) | (shares < 0.0).all(axis=1)
    shares = shares[met] / shares[met].sum(axis=1, keepdims=True)
    corners = np.stack([a, b, c], axis=1)[met][:, :, 2]
    return np.sort((shares * corners).sum(axis=1))
