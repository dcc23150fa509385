"""The crossings of the predicted part, as the measured metal has them.

In: the measured bodies, a crossing of the predicted part. Out: a `ScannedCrossing`: what is open
there, and the largest circle that may be; and what a ball on any way must fit.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely

from clearance.geometry.areas import largest_circle_mm
from clearance.geometry.planes import Plane
from clearance.geometry.sections import metal
from clearance.passages.crossings import Crossing
from clearance.predicted.bodies import Bodies
from clearance.result import ScannedCrossing
from clearance.verdict.graph import apart_without

if TYPE_CHECKING:
    import networkx

LEVELS, MOST_LEVELS = 9, 200
"""Heights at which a crossing is looked at, at least and at most: two in the thinnest sheet."""
AROUND = 0.25
"""Share of a crossing's width around it, in which its measured void may lie."""
COARSE_MM = 0.01
"""Tolerance of the largest circle, which is added."""


@dataclass(frozen=True, eq=False)
class Covered:
    """Where grey values weigh metal that the measured surface does not have.

    Attributes
    ----------
    where : shapely geometry
        No place in it is farther than the radius from some of that metal.
    radius_mm : float
    """

    where: Any
    radius_mm: float


def crossing(
    bodies: Bodies,
    number: int,
    found: Crossing,
    off_mm: float,
    layer_mm: float,
    thinnest_mm: float | None,
    covered: Sequence[Covered] = (),
) -> ScannedCrossing:
    """One predicted crossing in the measured metal.

    Parameters
    ----------
    bodies : Bodies
        The measured metal.
    number : int
    found : Crossing
    off_mm : float
        How far a measured surface may lie off: what is metal so far around is surely metal.
    layer_mm : float
        Layer thickness: a sheet may lie so much lower, since powder packs.
    thinnest_mm : float or None
        Thinnest sheet that the event can make.
    covered : sequence of Covered
        By discs of several radii: for the largest circle alone.
    """
    low = found.low - layer_mm
    inset = 1e-3 * (found.high - low)
    thin = thinnest_mm or found.high - low
    count = int(np.clip(math.ceil(2.0 * (found.high - low) / thin), LEVELS, MOST_LEVELS))
    levels = np.linspace(low + inset, found.high - inset, count)
    areas = [float(shapely.difference(found.footprint, _metal(bodies, z)).area) for z in levels]
    circles = [_circle(bodies, found.footprint, float(z), off_mm) for z in levels]
    nominal = found.nominal_area_mm2
    share = min(areas) / nominal if nominal > 0.0 else 1.0
    for one in covered:  # at whichever height it lies
        ends = (levels[0], levels[len(levels) // 2], levels[-1])
        left = [_circle(bodies, found.footprint, float(z), off_mm, one.where) for z in ends]
        circles.append(max(left) + 2.0 * one.radius_mm)
    return ScannedCrossing(number, min(areas), min(share, 1.0), min(circles))


def _metal(bodies: Bodies, z: float) -> Any:
    return metal(bodies.near("part", z), Plane.level(z))


def _circle(bodies: Bodies, footprint: Any, z: float, off_mm: float, besides: Any = None) -> float:
    """Largest circle that is not surely metal at a height, where the passage runs."""
    around = footprint.buffer(AROUND * math.sqrt(footprint.area), quad_segs=4)
    sure = shapely.intersection(around, _metal(bodies, z))
    if off_mm > 0.0:
        for beside in (z - off_mm, z + off_mm):
            sure = shapely.intersection(sure, _metal(bodies, beside))
        sure = sure.buffer(-off_mm, quad_segs=4)
    if besides is not None:
        sure = shapely.union(sure, besides)
    left = shapely.get_parts(shapely.difference(around, sure))
    own = left[shapely.intersects(left, footprint.buffer(-1e-6))]
    return largest_circle_mm(shapely.MultiPolygon(list(own)), COARSE_MM)


def most_that_passes(graph: networkx.MultiGraph | None, circles: Sequence[float]) -> float:
    """Diameter that no ball on any way from inlet to outlet can exceed, by its crossings, mm.

    Every way leads through some crossing of a set that parts inlet from outlet: the narrowest such
    set bounds it. Infinite where the crossings do not part them.
    """
    for most in sorted(set(circles)):
        if graph is not None and apart_without(
            graph, [n for n, circle in enumerate(circles) if circle <= most]
        ):
            return most
    return math.inf
