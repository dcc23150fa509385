"""How a drill meets a sheet: how far off square, and whether the bore leads it.

In: a drilling operation, a sheet that it meets, the part. Out: an angle; the side clearance before
it.
"""

from __future__ import annotations

import math

import numpy as np
import shapely
from numpy.typing import NDArray

from clearance.drilling.drills import point_length
from clearance.geometry.planes import Plane
from clearance.geometry.soup import Soup
from clearance.passages.crossings import Crossing
from clearance.predicted.part import NOMINAL, Predicted
from clearance.predicted.plane_sections import predicted_metal
from clearance.result import Drilling
from clearance.verdict.passage_check import PassageCheck

LED_OVER = 1.0
"""Diameters behind its point over which a bore has to lead a drill; our rule, as for a bush."""
STATIONS = (0.0, 0.5, 1.0)
"""Where in that stretch the bore is cut, as a share of it."""
LOOKED_AT = 2.0
"""Radius around the axis that is looked at, in diameters: what is wider leads nothing."""

RAYS, RAY_RADIUS = 8, 0.5
"""Places around the axis at which metal that need not be level is looked at, at this share of the
drill's radius; and the axis."""

Floats = NDArray[np.float64]


def off_square(soup: Soup, one: Drilling) -> float | None:
    """How far off square a drill meets metal that need not be level, in degrees.

    Parameters
    ----------
    soup : (F, 3, 3) ndarray, mm
        A closed body.
    one : Drilling

    Returns
    -------
    float or None
        The most around the axis; None where it meets nothing there.
    """
    entry, along = np.array(one.entry_mm), np.array(one.direction)
    plane = Plane.through(entry, along)
    side = np.cross(soup[:, 1] - soup[:, 0], soup[:, 2] - soup[:, 0]).astype(np.float64)
    facing = side @ along < 0.0
    corners, side = soup[facing].astype(np.float64), side[facing]
    flat = plane.to_plane(corners.reshape(-1, 3)).reshape(-1, 3, 2)
    deep = (corners - entry) @ along
    within = (deep.max(1, initial=-np.inf) > 0.0) & (deep.min(1, initial=np.inf) < one.depth_mm)
    turn = np.linspace(0.0, 2.0 * np.pi, RAYS, endpoint=False)
    ring = 0.5 * RAY_RADIUS * one.drill_diameter_mm * np.column_stack([np.cos(turn), np.sin(turn)])
    met = np.zeros(len(flat), bool)
    for at in (np.zeros(2), *ring):
        ends = flat - at
        edge = np.roll(ends, -1, axis=1)
        turns = ends[..., 0] * edge[..., 1] - ends[..., 1] * edge[..., 0]
        met |= (turns <= 0.0).all(1) & (turns < 0.0).any(1)
    side = side[met & within]
    if not len(side):
        return None
    cosine = -(side @ along) / np.linalg.norm(side, axis=1)
    return math.degrees(math.acos(min(float(cosine.min()), 1.0)))


def beside(check: PassageCheck, predicted: Predicted, crossing: Crossing, one: Drilling) -> float:
    """Side clearance of a drill, at its most, over the stretch before its point meets a sheet, mm.

    Half of what is left of the diameter of a circle as large as the void around the axis, square to
    it, as the part was drawn: stray metal leads nothing.

    Parameters
    ----------
    check : PassageCheck
    predicted : Predicted
        The whole part.
    crossing : Crossing
    one : Drilling
        Less than 80 degrees off the sheet's normal.

    Returns
    -------
    float
        inf where some of the stretch lies before the mouth.
    """
    entry, along = np.array(one.entry_mm), np.array(one.direction)
    wide = one.drill_diameter_mm
    face = crossing.low if along[2] > 0.0 else crossing.high
    point = point_length(wide, check.checked.case.drilling.point_angle)
    full = (face - entry[2]) / along[2] - point
    if full < LED_OVER * wide:
        return math.inf
    nominal = check.checked.whole.predict(NOMINAL)
    return max(
        0.5 * (_across(nominal, _as_drawn(predicted, entry + s * along), along, wide) - wide)
        for s in full - LED_OVER * wide * np.array(STATIONS)
    )


def _as_drawn(predicted: Predicted, at: Floats) -> Floats:
    """Where a place of the predicted part lies in the nominal one."""
    slab = predicted.slab_at(float(at[2]), above=False)
    return at if slab.lift is None else at - [*slab.shift, slab.lift]


def _across(nominal: Predicted, at: Floats, along: Floats, wide: float) -> float:
    """Diameter of a circle as large as the void around a place, square to a direction, mm."""
    disc = shapely.Point(0.0, 0.0).buffer(LOOKED_AT * wide, quad_segs=32)
    window, metal = predicted_metal(nominal, Plane.through(at, along), whole=True, within=disc)
    void = shapely.get_parts(shapely.difference(window, metal))
    around = [float(each.area) for each in void if shapely.intersects_xy(each, 0.0, 0.0)]
    return math.sqrt(4.0 * sum(around) / math.pi)
