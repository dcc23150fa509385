"""The passage as the flow has it: its sections, its bends, and where all of the flow passes.

In: a `PassageCheck` that has been judged. Out: the two ends of what the passage may lose,
`End`s for `pressure_loss`. Sections are exact polygons square to the way; docs/method.md, "Flow",
says why the true loss lies between.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from clearance.columns.cast import cast
from clearance.columns.runs import unite
from clearance.columns.voids import label
from clearance.flow.channel import Bend, End, Piece, equal_mm
from clearance.flow.pressure_loss import ROUGHNESS_MM
from clearance.geometry import distance, polylines
from clearance.geometry.areas import CIRCLE_MM, largest_circle_mm
from clearance.geometry.planes import Plane
from clearance.geometry.soup import extruded
from clearance.predicted.cuts import predicted_metal
from clearance.predicted.part import NOMINAL, Predicted
from clearance.verdict.graph import behind
from clearance.verdict.passage import PassageCheck

SPACING = 1.5
"""Stretches with one section are about so many diameters long."""
MOST_PIECES = 40
TILT = 0.1
"""Radians by which planes are tilted to find the one that stands square to the walls."""
BENT = 0.05
"""Radians a diameter from which a stretch counts as bent."""
TIGHT, GENTLE = 1.0, 5.0
"""Radius of the centre line over the diameter: below, a mitre at the high end; above, no bend
at the low end."""

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class _Way:
    """Places along the nominal way, evenly spaced: place, direction, room to the walls, mm."""

    places: Floats
    directions: Floats
    room_mm: Floats
    step_mm: float
    diameter_mm: float


def ends(check: PassageCheck) -> tuple[End, End]:
    """The nominal passage as it loses least and as it loses most."""
    predicted = check.predicted(NOMINAL, check.nominal.pitch_mm)
    way = _way(check, predicted)
    flow = check.checked.case.flow
    rough = ROUGHNESS_MM if flow is None or flow.roughness is None else flow.roughness
    stretches = _stretches(way)
    narrow = [_Section.at(predicted, way, _least(way, s)) for s in stretches]
    wide = [
        n if _even(way, s) else _Section.at(predicted, way, _most(way, s))
        for n, s in zip(narrow, stretches, strict=True)
    ]
    bends = [_bend(way, s) for s in _bent(way)]
    whole = [_parts(check, predicted, n) for n in narrow]
    most_mm = [equal_mm(max(n.most_mm2, w.most_mm2)) for n, w in zip(narrow, wide, strict=True)]
    mouths = (check.inlet.polygon.area, check.outlet.polygon.area)
    return (
        End(
            _surely(way, stretches, most_mm, whole),
            *mouths,
            _some(way, bends, stretches, most_mm, whole),
            rough[0],
        ),
        _worst(way, stretches, narrow, bends, mouths, rough[1]),
    )


def _surely(
    way: _Way, stretches: list[tuple[int, int]], most_mm: list[float], whole: list[bool]
) -> tuple[Piece, ...]:
    """Stretches through which all of the flow passes, each as wide as it is anywhere."""
    return tuple(
        Piece.round(_straight_mm(way, s), d)
        for s, d, all_of_it in zip(stretches, most_mm, whole, strict=True)
        if all_of_it and math.isfinite(d)
    )


def _some(
    way: _Way,
    bends: list[_Bent],
    stretches: list[tuple[int, int]],
    most_mm: list[float],
    whole: list[bool],
) -> tuple[Bend, ...]:
    """Bends that are not gentle, through which all of the flow passes."""
    found: list[Bend] = []
    for bend in bends:
        within = bend.within(stretches)
        if all(whole[k] for k in within) and bend.radius_mm < GENTLE * way.diameter_mm:
            found += bend.split(bend.net, max(most_mm[k] for k in within), None)
    return tuple(found)


def _worst(
    way: _Way,
    stretches: list[tuple[int, int]],
    narrow: list[_Section],
    bends: list[_Bent],
    mouths: tuple[float, float],
    roughness_mm: float,
) -> End:
    """The passage as it loses most: each stretch as narrow as it is anywhere."""
    # The way may keep to the inside of its bends: by a diameter for a right angle at most.
    inside = sum(b.turned for b in bends) / (0.5 * math.pi) * way.diameter_mm
    longer = 1.0 + inside / (way.step_mm * (len(way.places) - 1))
    pieces = tuple(
        n.piece(longer * way.step_mm * (s[1] - s[0]))
        for s, n in zip(stretches, narrow, strict=True)
    )
    turns: list[Bend] = []
    for bend in bends:
        tight = bend.radius_mm < TIGHT * way.diameter_mm
        least = min(equal_mm(narrow[k].least_mm2) for k in bend.within(stretches))
        turns += bend.split(bend.turned, least, None if tight else bend.radius_mm)
    return End(
        pieces,
        min(mouths[0], pieces[0].area_mm2),
        min(mouths[1], pieces[-1].area_mm2),
        tuple(turns),
        roughness_mm,
    )


def channel_mm2(
    check: PassageCheck, high: End, place: tuple[float, float, float], level_mm2: float
) -> float:
    """Least area that the passage has square to its way near a place of it.

    Parameters
    ----------
    high : End
        As `ends` gives it.
    place : (3,) mm
    level_mm2 : float
        Area of its level section there, which is no smaller.
    """
    route = check.nominal.way.route
    along = polylines.lengths(route)
    nearest = int(np.argmin(np.linalg.norm(route - np.array(place), axis=1)))
    count = len(high.pieces)
    n = min(int(count * along[nearest] / max(along[-1], 1e-12)), count - 1)
    near = high.pieces[max(n - 1, 0) : n + 2]
    return min(level_mm2, *(piece.area_mm2 for piece in near))


# ---- the way ---------------------------------------------------------------------------------


def _way(check: PassageCheck, predicted: Predicted) -> _Way:
    route = check.nominal.way.route
    tree = check.search(predicted, []).tree
    along = polylines.lengths(route)
    diameter = 2.0 * float(np.median(distance.distances(tree, route)))
    diameter = max(diameter, check.nominal.way.low_mm, 2.0 * predicted.grid.pitch_mm)
    count = int(np.clip(math.ceil(along[-1] / (0.1 * diameter)), 20, 2000))
    at = np.linspace(0.0, along[-1], count + 1)
    places = polylines.points_at(at, along, route)
    step = float(along[-1]) / count
    half = max(1, round(0.5 * diameter / step))
    ahead = places[np.minimum(np.arange(count + 1) + half, count)]
    before = places[np.maximum(np.arange(count + 1) - half, 0)]
    directions = ahead - before
    directions /= np.maximum(np.linalg.norm(directions, axis=1), 1e-12)[:, None]
    return _Way(places, directions, distance.distances(tree, places), step, diameter)


def _stretches(way: _Way) -> list[tuple[int, int]]:
    length = way.step_mm * (len(way.places) - 1)
    count = int(np.clip(math.ceil(length / (SPACING * way.diameter_mm)), 4, MOST_PIECES))
    edges = np.linspace(0, len(way.places) - 1, count + 1).round().astype(int)
    return list(zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True))


def _least(way: _Way, s: tuple[int, int]) -> int:
    return s[0] + int(np.argmin(way.room_mm[s[0] : s[1] + 1]))


def _most(way: _Way, s: tuple[int, int]) -> int:
    return s[0] + int(np.argmax(way.room_mm[s[0] : s[1] + 1]))


def _even(way: _Way, s: tuple[int, int]) -> bool:
    room = way.room_mm[s[0] : s[1] + 1]
    return bool(room.max() < 1.05 * room.min())


def _straight_mm(way: _Way, s: tuple[int, int]) -> float:
    """Length of a stretch without its wiggles: never more than the flow's way."""
    return float(np.linalg.norm(way.places[s[1]] - way.places[s[0]]))


# ---- sections --------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class _Section:
    """The void square to the way at one place: its outline, or none where it has no end there."""

    plane: Plane
    outline: Any
    room_mm: float

    @property
    def most_mm2(self) -> float:
        return math.inf if self.outline is None else float(self.outline.area)

    @property
    def least_mm2(self) -> float:
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
    def at(cls, predicted: Predicted, way: _Way, n: int) -> _Section:
        """The smallest of the sections through a place, among them the one square to its walls."""
        place, room = way.places[n], float(max(way.room_mm[n], 1e-3))
        first = Plane.through(place, way.directions[n])
        planes = [first]
        for axis in (first.u, first.v):
            planes.append(Plane.through(place, first.normal + TILT * axis))
        outlines = [_outline(predicted, plane) for plane in planes]
        if outlines[0] is None:
            return cls(first, None, room)
        if outlines[1] is not None and outlines[2] is not None:
            # In a prism one over the area goes with the cosine to its axis.
            normals = np.array([plane.normal for plane in planes])
            axis = np.linalg.solve(normals, [1.0 / outline.area for outline in outlines])
            if float(axis @ first.normal) > 0.7 * float(np.linalg.norm(axis)):
                planes.append(Plane.through(place, axis))
                outlines.append(_outline(predicted, planes[-1]))
        found = [(o.area, k) for k, o in enumerate(outlines) if o is not None]
        least = min(found)[1]
        return cls(planes[least], outlines[least], room)


def _outline(predicted: Predicted, plane: Plane) -> Any:
    """The void around the plane's origin, or None if it does not end within the window."""
    window, metal = predicted_metal(predicted, plane)
    void = shapely.difference(window, metal)
    for piece in shapely.get_parts(void):
        if piece.contains(shapely.Point(0.0, 0.0)):
            inside = piece.area > 0.0 and piece.within(window.buffer(-1e-3))
            return piece if inside else None
    return None


def _parts(check: PassageCheck, predicted: Predicted, section: _Section) -> bool:
    """Whether all of the flow passes a section: shut, it parts the inlet from the outlet."""
    if section.outline is None:
        return False
    pitch = predicted.grid.pitch_mm
    lid = extruded(shapely.buffer(section.outline, 0.6 * pitch), -1.5 * pitch, 1.5 * pitch)
    flat = lid.reshape(-1, 3).astype(np.float64)
    placed = section.plane.to_space(flat[:, :2]) + flat[:, 2:] * section.plane.normal
    soup = np.ascontiguousarray(placed.reshape(-1, 3, 3).astype(np.float32))
    filled = unite(predicted.closed, cast(soup, predicted.grid).metal)
    piece = label(filled, predicted.grid)
    sides = [behind(predicted, filled, piece, mouth) for mouth in (check.inlet, check.outlet)]
    return None not in sides and sides[0] != sides[1]


# ---- bends -----------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Bent:
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


def _bent(way: _Way) -> list[tuple[int, int]]:
    """Rows of places at which the way turns."""
    turns = _turns(way)
    bent = np.concatenate([[False], turns > BENT * way.step_mm / way.diameter_mm, [False]])
    edges = np.flatnonzero(np.diff(bent.astype(np.int8)))
    return list(zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True))


def _turns(way: _Way) -> Floats:
    cosine = (way.directions[1:] * way.directions[:-1]).sum(axis=1)
    return np.asarray(np.arccos(np.clip(cosine, -1.0, 1.0)))


def _bend(way: _Way, s: tuple[int, int]) -> _Bent:
    turned = float(_turns(way)[s[0] : s[1]].sum())
    cosine = float(way.directions[s[0]] @ way.directions[s[1]])
    net = math.acos(max(-1.0, min(1.0, cosine)))
    # Directions are taken over a diameter, which spreads a corner over as much.
    length = max(way.step_mm * (s[1] - s[0]) - way.diameter_mm, 0.0)
    return _Bent(s[0], s[1], turned, net, length / max(turned, 1e-9))
