"""Whether the bore leads a drill that meets a sheet aslant.

In: a drilling operation, a sheet that it meets, the part. Out: the side clearance before it.
"""

from __future__ import annotations

import math

import numpy as np
import shapely
from numpy.typing import NDArray

from clearance.drilling.drills import point_length
from clearance.geometry.planes import Plane
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

Floats = NDArray[np.float64]


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
    full = (face - entry[2]) / along[2] - point_length(wide)
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
