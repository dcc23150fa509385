"""One way through a part as the flow has it: its sections and its bends.

In: a polyline that lies in the void of a predicted part. Out: a `Course`: stretches of the way,
each with its narrowest and its widest section, exact polygons square to the way, and its bends.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from clearance.flow.channel import Bend, Piece, equal_mm
from clearance.geometry import distance, polylines
from clearance.geometry.areas import CIRCLE_MM, largest_circle_mm, without
from clearance.geometry.box_tree import Tree
from clearance.geometry.planes import Plane
from clearance.predicted.part import Predicted
from clearance.predicted.plane_sections import predicted_metal

SPACING = 1.5
"""Stretches with one section are about so many diameters long."""
MOST_PIECES = 40
TILT = 0.1
"""Radians by which planes are tilted to find the one that stands square to the walls."""
NUDGE_MM = 2e-3
NEAR_ROOMS = 4.0
"""The void around a place is looked for within so many times its room first."""
PRISM = 0.1
"""By so much the area square to the walls may be off what a prism would have: elsewhere, as at the
mouth of a leg, there is no such plane."""
BENT = 0.05
"""Radians a diameter from which a stretch counts as bent."""
TIGHT, GENTLE = 1.0, 5.0
"""Radius of the centre line over the diameter: below, a mitre at the high end; above, no bend
at the low end."""
CENTRAL = 0.85
"""Room over the radius of the section from which a way keeps to the middle: no arc that does is
gentler than `TIGHT` round a mitre."""

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Line:
    """Places along a way, evenly spaced: place, direction, room to the walls, mm."""

    places: Floats
    directions: Floats
    room_mm: Floats
    step_mm: float
    diameter_mm: float

    @classmethod
    def along(cls, route: Floats, tree: Tree, least_mm: float) -> Line:
        """`least_mm`: of the diameter by which the places are spaced."""
        along = polylines.lengths(route)
        diameter = max(2.0 * float(np.median(distance.distances(tree, route))), least_mm)
        count = int(np.clip(math.ceil(along[-1] / (0.1 * diameter)), 20, 2000))
        at = np.linspace(0.0, along[-1], count + 1)
        places = polylines.points_at(at, along, route)
        step = float(along[-1]) / count
        half = max(1, round(0.5 * diameter / step))
        ahead = places[np.minimum(np.arange(count + 1) + half, count)]
        before = places[np.maximum(np.arange(count + 1) - half, 0)]
        directions = ahead - before
        directions /= np.maximum(np.linalg.norm(directions, axis=1), 1e-12)[:, None]
        return cls(places, directions, distance.distances(tree, places), step, diameter)

    def stretches(self, spacing: float, most: int) -> list[tuple[int, int]]:
        """First and last place of each stretch; at least four."""
        length = self.step_mm * (len(self.places) - 1)
        count = int(np.clip(math.ceil(length / (spacing * self.diameter_mm)), 4, most))
        edges = np.linspace(0, len(self.places) - 1, count + 1).round().astype(int)
        return list(zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True))

    def widest(self, s: tuple[int, int]) -> int:
        """Place of a stretch with most room."""
        return s[0] + int(np.argmax(self.room_mm[s[0] : s[1] + 1]))

    def even(self, s: tuple[int, int]) -> bool:
        """Whether the room is the same all along a stretch."""
        room = self.room_mm[s[0] : s[1] + 1]
        return bool(room.max() < 1.05 * room.min())

    def straight_mm(self, s: tuple[int, int]) -> float:
        """Length of a stretch without its wiggles: never more than the flow's way."""
        return float(np.linalg.norm(self.places[s[1]] - self.places[s[0]]))

    def turns(self) -> Floats:
        """Angle between neighbouring directions, rad."""
        cosine = (self.directions[1:] * self.directions[:-1]).sum(axis=1)
        return np.asarray(np.arccos(np.clip(cosine, -1.0, 1.0)))


# ---- sections --------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class Section:
    """The void square to the way at one place: its outline, or none where it has no end there."""

    plane: Plane
    outline: Any
    room_mm: float

    @property
    def most_mm2(self) -> float:
        """No less than its area."""
        return math.inf if self.outline is None else float(self.outline.area)

    @property
    def least_mm2(self) -> float:
        """No more than its area: that of the ball that fits where the outline has no end."""
        ball = math.pi * self.room_mm**2
        return ball if self.outline is None else max(float(self.outline.area), ball)

    def piece(self, length_mm: float) -> Piece:
        """The stretch as it loses most: by the ball that fits where the outline has no end."""
        if self.outline is None:
            return Piece.round(length_mm, 2.0 * self.room_mm)
        area, perimeter = float(self.outline.area), float(self.outline.length)
        circle = max(largest_circle_mm(self.outline) - 2.0 * CIRCLE_MM, 2.0 * self.room_mm)
        hydraulic = 4.0 * area / perimeter
        # Least integral of the stress function over a figure (Polya 1960), or that of the
        # circle within it: what the laminar flow rate goes by.
        least = max(area**3 / (3.0 * perimeter**2), math.pi * (0.5 * circle) ** 4 / 8.0)
        laminar = max(32.0 * area**3 / (perimeter**2 * least), 1.0)
        return Piece(length_mm, area, hydraulic, laminar)

    @classmethod
    def level(cls, predicted: Predicted, line: Line, n: int) -> Section:
        """The level section through a place."""
        up = 1.0 if line.directions[n, 2] >= 0.0 else -1.0
        plane = Plane.through(line.places[n], np.array([0.0, 0.0, up]))
        room = float(max(line.room_mm[n], 1e-3))
        return cls(plane, _outline(predicted, plane, room), room)

    @classmethod
    def at(cls, predicted: Predicted, line: Line, n: int) -> Section:
        """The smallest of the sections through a place, among them the one square to its walls.

        Hard beside it if it lies in a face, where no outline is told.
        """
        for off in (0.0, NUDGE_MM, -NUDGE_MM):
            found = cls._through(predicted, line, n, line.places[n] + off * line.directions[n])
            if found.outline is not None:
                break
        return found

    @classmethod
    def _through(cls, predicted: Predicted, line: Line, n: int, place: Floats) -> Section:
        room = float(max(line.room_mm[n], 1e-3))
        first = Plane.through(place, line.directions[n])
        planes = [first]
        for axis in (first.u, first.v):
            planes.append(Plane.through(place, first.normal + TILT * axis))
        outlines = [_outline(predicted, plane, room) for plane in planes]
        if outlines[0] is None:
            return cls(first, None, room)
        if outlines[1] is not None and outlines[2] is not None:
            # In a prism one over the area goes with the cosine to its axis.
            normals = np.array([plane.normal for plane in planes])
            axis = np.linalg.solve(normals, [1.0 / outline.area for outline in outlines])
            if float(axis @ first.normal) > 0.7 * float(np.linalg.norm(axis)):
                square = _outline(predicted, Plane.through(place, axis), room)
                expected = 1.0 / float(np.linalg.norm(axis))
                if square is not None and abs(square.area / expected - 1.0) < PRISM:
                    planes.append(Plane.through(place, axis))
                    outlines.append(square)
        found = [(o.area, k) for k, o in enumerate(outlines) if o is not None]
        least = min(found)[1]
        return cls(planes[least], outlines[least], room)


def _outline(predicted: Predicted, plane: Plane, room_mm: float) -> Any:
    """The void around the plane's origin, or None if it does not end within the window.

    Looked for near the origin first: mostly it ends there.
    """
    half = NEAR_ROOMS * room_mm
    for within in (shapely.box(-half, -half, half, half), None):
        window, metal = predicted_metal(predicted, plane, within=within)
        found = _around_origin(without(window, metal))
        if found is not None and found.within(window.buffer(-1e-3)):
            return found
    return None


def _around_origin(void: Any) -> Any:
    """The piece of a figure that the origin lies in, or None."""
    origin = shapely.Point(0.0, 0.0)
    return next((p for p in shapely.get_parts(void) if p.contains(origin) and p.area > 0.0), None)


def _smallest(
    predicted: Predicted,
    line: Line,
    s: tuple[int, int],
    rooms: Sequence[Floats],
    level: NDArray[np.bool_] | None,
) -> tuple[int, Section]:
    """The smallest of a stretch's sections at the places with least room."""
    places = dict.fromkeys(s[0] + int(np.argmin(room[s[0] : s[1] + 1])) for room in rooms)
    found = [(n, Section.at(predicted, line, n)) for n in places]
    if level is not None:
        found += [(n, Section.level(predicted, line, n)) for n in places if level[n]]
    found = [one for one in found if one[1].least_mm2 > 0.0]
    return min(found, key=lambda one: one[1].least_mm2)


# ---- bends -----------------------------------------------------------------------------------


@dataclass(frozen=True)
class Bent:
    """A bent stretch: from where to where, what it turns in all and from end to end, rad."""

    first: int
    last: int
    turned: float
    net: float
    radius_mm: float

    def within(self, stretches: list[tuple[int, int]]) -> list[int]:
        """Stretches that it lies in."""
        return [k for k, s in enumerate(stretches) if s[0] <= self.last and s[1] >= self.first]

    def split(self, angle: float, diameter_mm: float, radius_mm: float | None) -> list[Bend]:
        """Bends of at most a right angle; none where nothing bounds the section."""
        if not math.isfinite(diameter_mm) or angle < 1e-3:
            return []
        count = max(1, math.ceil(angle / (0.5 * math.pi) - 1e-2))
        each = min(math.degrees(angle) / count, 90.0)
        return [Bend(each, diameter_mm, radius_mm)] * count

    @classmethod
    def of(cls, line: Line) -> list[Bent]:
        """All bent stretches of a way."""
        bent = line.turns() > BENT * line.step_mm / line.diameter_mm
        edges = np.flatnonzero(np.diff(np.concatenate([[False], bent, [False]]).astype(np.int8)))
        return [cls._at(line, int(a), int(b)) for a, b in zip(edges[::2], edges[1::2], strict=True)]

    @classmethod
    def _at(cls, line: Line, first: int, last: int) -> Bent:
        turned = float(line.turns()[first:last].sum())
        cosine = float(line.directions[first] @ line.directions[last])
        net = math.acos(max(-1.0, min(1.0, cosine)))
        # Directions are taken over a diameter, which spreads a corner over as much.
        length = max(line.step_mm * (last - first) - line.diameter_mm, 0.0)
        return cls(first, last, turned, net, length / max(turned, 1e-9))


# ---- both ------------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class Course:
    """A way with its sections and bends.

    Attributes
    ----------
    stretches : list of (first, last)
        Numbers of places.
    lids : list of int
        Places of the narrowest sections.
    narrow, most_mm : list
        Of each stretch the narrowest section, and the diameter of the circle as large as the
        widest.
    """

    line: Line
    stretches: list[tuple[int, int]]
    lids: list[int]
    narrow: list[Section]
    most_mm: list[float]
    bends: list[Bent]

    @classmethod
    def along(
        cls,
        predicted: Predicted,
        line: Line,
        *,
        spacing: float = SPACING,
        most: int = MOST_PIECES,
        rooms: Sequence[Floats] = (),
        level: NDArray[np.bool_] | None = None,
    ) -> Course:
        """Cut a part along a way.

        `rooms`: of each place the room by which the narrowest places are chosen, infinite where
        no section is to be taken; of several the one with the smaller section. Default: the line's.
        `level`: places where a level section counts as well.
        """
        stretches = line.stretches(spacing, most)
        found = [_smallest(predicted, line, s, rooms or [line.room_mm], level) for s in stretches]
        lids, narrow = [n for n, _ in found], [section for _, section in found]
        wide = [
            n if line.even(s) else Section.at(predicted, line, line.widest(s))
            for n, s in zip(narrow, stretches, strict=True)
        ]
        most_mm = [equal_mm(max(n.most_mm2, w.most_mm2)) for n, w in zip(narrow, wide, strict=True)]
        return cls(line, stretches, lids, narrow, most_mm, Bent.of(line))

    def at(self, n: int) -> int:
        """Stretch that a place lies in."""
        return next(k for k, s in enumerate(self.stretches) if n <= s[1])

    def longer(self) -> float:
        """By how much the flow's way may be longer: a diameter for a right angle at most.

        The way may keep to the inside of its bends.
        """
        inside = sum(b.turned for b in self.bends) / (0.5 * math.pi) * self.line.diameter_mm
        return 1.0 + inside / (self.line.step_mm * (len(self.line.places) - 1))

    def turned(
        self, among: Sequence[int], elsewhere: Sequence[tuple[int, int]] = ()
    ) -> tuple[Bend, ...]:
        """Bends as they lose most, those that lie in some stretches.

        What turns within a diameter of a narrow stretch counts there, the rest in wider ones.
        `elsewhere`: places from which to which bends are counted by others. A corner is spread
        over a diameter by the direction's window, so neighbours overlap by half of one.
        """
        found: list[Bend] = []
        aside = math.ceil(self.line.diameter_mm / self.line.step_mm)
        turns = self.line.turns()
        at = np.arange(len(turns))
        for bend in self.bends:
            left = (at >= bend.first) & (at < bend.last)
            for first, last in elsewhere:
                left &= (at < first) | (at >= last)
            within = [k for k in bend.within(self.stretches) if k in among]
            for k in sorted(within, key=lambda k: self.narrow[k].least_mm2):
                first, last = self.stretches[k]
                here = left & (at >= first - aside) & (at < last + aside)
                left &= (at < first - aside // 2) | (at >= last + aside // 2)
                area = self.narrow[k].least_mm2
                found += bend.split(float(turns[here].sum()), equal_mm(area), self._radius_mm(bend))
        return tuple(found)

    def around(self, first: int, last: int) -> tuple[int, int]:
        """Places of some stretches, and half a diameter beyond them."""
        half = math.ceil(0.5 * self.line.diameter_mm / self.line.step_mm)
        return self.stretches[first][0] - half, self.stretches[last][1] + half

    def inside(self, first: int, last: int) -> tuple[int, int]:
        """Places between two narrowest sections that lie half a diameter away from them."""
        half = math.ceil(0.5 * self.line.diameter_mm / self.line.step_mm)
        return self.lids[first] + half, self.lids[last] - half

    def _radius_mm(self, bend: Bent) -> float | None:
        """Radius of a bend's centre line; None for a mitre, and where the way cuts the corner."""
        room = float(self.line.room_mm[bend.first : bend.last + 1].min())
        whole = max(equal_mm(self.narrow[k].least_mm2) for k in bend.within(self.stretches))
        if 2.0 * room < CENTRAL * whole or bend.radius_mm < TIGHT * self.line.diameter_mm:
            return None
        return bend.radius_mm

    def sure_turns(self, bend: Bent) -> list[Bend]:
        """A bend as it loses least: none if it is gentle."""
        if bend.radius_mm >= GENTLE * self.line.diameter_mm:
            return []
        return bend.split(bend.net, max(self.most_mm[k] for k in bend.within(self.stretches)), None)
