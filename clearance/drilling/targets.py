"""Where a line has to end so that a drill along it clears a crossing.

In: a crossing, the nominal way through it, an opening. Out: `End`s, plane regions for the search
of a line, and how far the full diameter has to go beyond them. A sheet that lies across the way
is met in its own plane; one that lies along it is cleared by following each straight stretch of
the way, a leg, to its far end.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import shapely

from clearance.drilling.widest_line import Region
from clearance.geometry import polylines
from clearance.geometry.planes import Plane
from clearance.kernels.vectors import Floats
from clearance.passages.crossings import Crossing
from clearance.ports.mouth import Mouth

OVERRUN_MM = 0.5
"""How far the full diameter passes the far face of a sheet: common practice, no source."""
LEVEL = 0.35
"""Rise over length below which a leg runs along a level sheet."""
FLAT = 0.05
"""Rise over length below which a line to the sheet's own plane tells nothing of a leg."""
STRAIGHT = 0.25
"""A leg strays so little from a straight line, over the passage's diameter."""
SHORTEST = 1.0
"""Legs shorter than so many diameters are none."""
UPRIGHT = 0.7
"""A mouth whose normal rises or falls by more faces up or down."""
INWARD = 0.02
"""Ends of legs lie so far inward of what they end at, over the diameter."""


@dataclass(frozen=True, eq=False)
class Target:
    """A crossing, or one leg of the way along it.

    Attributes
    ----------
    crossing : int
        Number in the passage's list.
    leg : (2, 3) ndarray or None, mm
        Ends of the leg; None where the sheet lies across the way.
    """

    crossing: int
    leg: Floats | None = None

    def passed_by(self, start: Floats, direction: Floats, length: float, radius: float) -> bool:
        """Whether a hole follows the leg over all of its length."""
        if self.leg is None:
            return False
        points = self.leg[0] + np.linspace(0.05, 0.95, 10)[:, None] * (self.leg[1] - self.leg[0])
        along = (points - start) @ direction
        aside = np.linalg.norm(points - start - along[:, None] * direction, axis=1)
        return bool((aside < 0.5 * radius).all() and (along < length).all() and along.max() > 0.0)


@dataclass(frozen=True, eq=False)
class End:
    """Where lines end, and how far the full diameter goes beyond it.

    Attributes
    ----------
    region : Region
    crossing : Crossing
    most_mm : float or None
        Beyond a leg's end no more than this; None in the sheet's own plane.
    """

    region: Region
    crossing: Crossing
    most_mm: float | None = None

    @property
    def middle(self) -> Floats:
        """(3,) a place within the region, mm."""
        centre = self.region.polygon.representative_point()
        return np.asarray(self.region.plane.to_space(np.array([[centre.x, centre.y]]))[0])

    @property
    def overrun_mm(self) -> float:
        """How far the full diameter passes the sheet; a leg is followed to its end and no more."""
        return OVERRUN_MM if self.most_mm is None else 0.0

    def beyond(self, end: Floats, direction: Floats, radius: float) -> float:
        """From an end of a line to where the full diameter has passed the metal, mm."""
        extent = self._extent(end, direction, radius)
        if self.most_mm is not None:
            return min(extent, self.most_mm)
        rise = abs(float(direction[2]))
        if rise < 1e-6:
            return extent + OVERRUN_MM
        slant = math.sqrt(max(1.0 - rise * rise, 0.0)) / rise
        left = self.crossing.high - end[2] if direction[2] > 0.0 else end[2] - self.crossing.low
        # A flat line would have to go far to leave the sheet: it ends with the crossing.
        return min(float(left) / rise + radius * slant, extent) + OVERRUN_MM

    def _extent(self, end: Floats, direction: Floats, radius: float) -> float:
        """How far the crossing reaches beyond an end, under the hole's width."""
        level = direction[:2]
        size = float(np.linalg.norm(level))
        if size < 1e-9:
            return 0.5 * (self.crossing.high - self.crossing.low)
        ahead = level / size
        far = sum(np.ptp(np.array(self.crossing.footprint.bounds).reshape(2, 2), axis=0))
        tip = end[:2] + far * ahead
        strip = shapely.LineString([end[:2], tip]).buffer(radius, cap_style="flat")
        under = shapely.get_coordinates(shapely.intersection(self.crossing.footprint, strip))
        heights = np.array([self.crossing.low, self.crossing.high]) - end[2]
        reach = float(((under - end[:2]) @ level).max(initial=0.0))
        return max(reach + float((heights * direction[2]).max()), 0.0)


def targets_of(
    number: int, crossing: Crossing, route: Floats, diameter_mm: float
) -> tuple[Target, ...]:
    """What has to be cleared of a crossing: its sheet, or each leg of the way along it.

    Parameters
    ----------
    number : int
    crossing : Crossing
    route : (N, 3) ndarray, mm
        The nominal way, where the part stands.
    diameter_mm : float
        Of the passage.
    """
    found = [leg for row in _rows(crossing, route, diameter_mm) for leg in _legs(row, diameter_mm)]
    return tuple(Target(number, leg) for leg in found) or (Target(number),)


def _rows(crossing: Crossing, route: Floats, diameter_mm: float) -> Iterator[Floats]:
    """Stretches of the way within a crossing's outline and near its height, as points."""
    if len(route) < 2 or crossing.footprint.is_empty:
        return
    along = polylines.lengths(route)
    count = min(int(along[-1] / (0.05 * diameter_mm)) + 2, 20_000)
    places = polylines.points_at(np.linspace(0.0, along[-1], count), along, route)
    off = np.maximum(crossing.low - places[:, 2], places[:, 2] - crossing.high)
    near = off < 0.6 * diameter_mm
    near[near] = shapely.contains_xy(
        crossing.footprint.buffer(0.05 * diameter_mm), places[near, 0], places[near, 1]
    )
    edges = np.flatnonzero(np.diff(np.concatenate([[0], near.astype(np.int8), [0]])))
    for first, last in zip(edges[::2], edges[1::2], strict=True):
        if last - first > 1:
            yield places[first:last]


def _legs(row: Floats, diameter_mm: float) -> Iterator[Floats]:
    """Straight pieces of a stretch that run along a level sheet."""
    for leg in _straight(row, STRAIGHT * diameter_mm):
        length = float(np.linalg.norm(leg[1] - leg[0]))
        if length < SHORTEST * diameter_mm or abs(leg[1, 2] - leg[0, 2]) > LEVEL * length:
            continue
        inward = INWARD * diameter_mm * (leg[1] - leg[0]) / length
        yield np.stack([leg[0] + inward, leg[1] - inward])


def _straight(row: Floats, tolerance_mm: float) -> list[Floats]:
    """Divide a row of points where it strays most from the line between its ends."""
    first, last = row[0], row[-1]
    size = float(np.linalg.norm(last - first))
    if size > 0.0:
        ahead = (last - first) / size
        along = (row - first) @ ahead
        off = np.linalg.norm(row - first - along[:, None] * ahead, axis=1)
    else:
        off = np.linalg.norm(row - first, axis=1)
    n = int(off.argmax())
    if off[n] <= tolerance_mm:
        return [np.stack([first, last])]
    return _straight(row[: n + 1], tolerance_mm) + _straight(row[n:], tolerance_mm)


def ends_of(
    target: Target, crossing: Crossing, mouth: Mouth, diameter_mm: float, radius: float
) -> list[End]:
    """Where lines from an opening may end to clear a target.

    Parameters
    ----------
    target : Target
    crossing : Crossing
    mouth : Mouth
    diameter_mm : float
        Of the passage: lines end within 0.75 of it around a leg's end. Where that is metal, or
        another void behind a wall, they have no room.
    radius : float, mm
        Of the drill.
    """
    if crossing.footprint.is_empty:
        return []
    level = End(Region(Plane.level(_middle(crossing, mouth)), crossing.footprint), crossing)
    if target.leg is None:
        return [level]
    near, far = sorted(target.leg, key=lambda end: float(np.linalg.norm(end - mouth.centre)))
    across = Region(Plane.through(far, far - near), shapely.Point(0, 0).buffer(0.75 * diameter_mm))
    found = [End(across, crossing, radius + OVERRUN_MM)]
    if not _at_edge(crossing, far, far - near):  # the way turns: a wall stands behind the end
        found.append(End(across, crossing, 0.0))
    steep = abs(float(far[2] - near[2])) > FLAT * float(np.linalg.norm(far - near))
    return [*found, level] if steep else found


def _middle(crossing: Crossing, mouth: Mouth) -> float:
    """Middle height of what lies of a sheet inward of a mouth that faces up or down.

    Of one that lies in the mouth itself the rest is met before the part is.
    """
    low, high = crossing.low, crossing.high
    normal, z = mouth.plane.normal[2], float(mouth.centre[2])
    if normal > UPRIGHT and low < z:
        high = min(high, z)
    elif normal < -UPRIGHT and z < high:
        low = max(low, z)
    return 0.5 * (low + high)


def _at_edge(crossing: Crossing, place: Floats, ahead: Floats) -> bool:
    """Whether the crossing ends where a leg ends, so that a hole leaves it there."""
    step = place + ahead / max(float(np.linalg.norm(ahead)), 1e-12)
    return not bool(shapely.contains_xy(crossing.footprint, step[0], step[1]))
