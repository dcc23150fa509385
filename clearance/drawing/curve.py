"""Numbers along a passage: room for a ball and open area, from inlet to outlet.

In: the check of a passage, already judged. Out: `Curve`, plain arrays. Room is twice
the exact distance to metal along the proven nominal way; where the predicted way is led
around a sheet, with more room than the nominal one has there, its room counts. Area is
that of the nominal void cut square to the way. A sheet is thinner than any cut through it
that is not level, so what it leaves open is taken from the level sections of its crossing:
the area there, times the open fraction.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from clearance.geometry import box_tree, distance, polylines
from clearance.geometry.planes import Plane
from clearance.predicted.part import NOMINAL, Predicted
from clearance.predicted.plane_sections import predicted_metal
from clearance.report.drilling import by_electrode
from clearance.report.headline import clear_diameter
from clearance.result import CrossingResult, PassageResult, State
from clearance.verdict.numbers import NAMEWORTHY, percent
from clearance.verdict.passage_check import PassageCheck

STEP_MM = 0.25
"""Distance of the points along the way."""
MOST_AREAS = 60
"""Cuts square to the way at most, and no nearer than a millimetre."""
CHORD_MM = 1.0
"""The way's direction is taken over this length to either side."""
RIM_MM = 1e-6
"""Void this near to the window's rim reaches beyond it."""

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Mark:
    """A crossing on the curve: where it is, and what is open of the area there."""

    at_mm: float
    crossing: int
    sealed: bool
    said: str
    open_fraction: float
    area_mm2: float


@dataclass(frozen=True, eq=False)
class Curve:
    """Room along a passage.

    Attributes
    ----------
    length_mm : (N,) ndarray
        Of the nominal way, from the inlet's closing surface.
    nominal_mm, predicted_mm : (N,) ndarray
        Diameter of the largest ball around each point of the way; 0 in stray metal.
    required_mm : float
    marks : tuple of Mark
    drilled_mm : tuple of (from, to)
        Stretches of the way that a drill or an electrode of the plan reaches.
    area_at_mm, area_mm2 : (M,) ndarray
        Lengths, and area of the nominal void square to the way; nan where it is open to
        the side, as at a slanted mouth.
    reached_by : str
        Which of the two.
    """

    name: str
    length_mm: Floats
    nominal_mm: Floats
    predicted_mm: Floats
    required_mm: float
    marks: tuple[Mark, ...]
    drilled_mm: tuple[tuple[float, float], ...]
    title: str
    area_at_mm: Floats
    area_mm2: Floats
    reached_by: str = "a drill"


def curve(check: PassageCheck, result: PassageResult) -> Curve:
    """Follow a passage that has been judged from inlet to outlet."""
    if len(check.nominal.way.route) < 2:
        return _no_way(check, result)
    first = check.judged[0]
    pitch = check.checked.pitch_mm
    nominal = check.predicted(NOMINAL, pitch)
    predicted = check.predicted(first.variant.events, pitch)
    way, length = _stepped(check.nominal.way.route, predicted)
    moved = np.array([predicted.moved(point) for point in way])
    room = _room(predicted, moved)
    if len(first.way.route) > 1:
        own = _stepped(first.way.route)[0]
        beside = _room(predicted, own)[[_nearest(own, point) for point in moved]]
        room = np.maximum(room, beside)
    room = _no_wider_than_proven(room, moved, result)
    area_at, area = _areas(nominal, way, length)
    base, around = check.checked.platform_z, np.interp(length, area_at, area)
    marks = [
        _mark(n, c, moved, length, around, c.height_mm - base)
        for n, c in enumerate(result.crossings)
    ]
    return Curve(
        name=result.name,
        length_mm=length,
        nominal_mm=2.0 * distance.distances(check.search(nominal, []).tree, way),
        predicted_mm=room,
        required_mm=result.required_mm,
        marks=tuple(marks),
        drilled_mm=_drilled(result, moved, length),
        title=_title(result),
        area_at_mm=area_at,
        area_mm2=area,
        reached_by="an electrode" if by_electrode(result) else "a drill",
    )


def _stepped(route: Floats, predicted: Predicted | None = None) -> tuple[Floats, Floats]:
    """Points at equal steps along a route, with their lengths; those within a sheet besides."""
    along = polylines.lengths(route)
    count = max(int(np.ceil(along[-1] / STEP_MM)), 1) + 1
    at = np.linspace(0.0, along[-1], count)
    if predicted is not None:
        z = np.array([predicted.moved(point)[2] for point in route])
        at = np.unique(np.concatenate([at, *(_passing(z, along, s) for s in _sheets(predicted))]))
    return polylines.points_at(at, along, route), at


def _sheets(predicted: Predicted) -> list[float]:
    """Heights in the middle of the slabs that hold stray metal."""
    return [0.5 * (slab.low + slab.high) for slab in predicted.table if slab.gates]


def _passing(z: Floats, along: Floats, height: float) -> Floats:
    """Lengths at which a route passes a height: a sheet may be thinner than a step."""
    n = np.flatnonzero((z[:-1] - height) * (z[1:] - height) < 0.0)
    return along[n] + (along[n + 1] - along[n]) * (height - z[n]) / (z[n + 1] - z[n])


def _areas(nominal: Predicted, way: Floats, length: Floats) -> tuple[Floats, Floats]:
    """Areas of the void square to the way, where the way runs through it."""
    count = int(np.clip(length[-1], 2, MOST_AREAS))
    at = (np.arange(count) + 0.5) * length[-1] / count
    return at, np.array([_area(nominal, way, length, place) for place in at])


def _area(nominal: Predicted, way: Floats, length: Floats, place: float) -> float:
    here, before, after = (
        polylines.points_at(at, length, way) for at in (place, place - CHORD_MM, place + CHORD_MM)
    )
    plane = Plane.through(here, after - before)
    window, metal = predicted_metal(nominal, plane)
    centre = shapely.Point(plane.to_plane(here[None])[0])
    for piece in shapely.get_parts(window.difference(metal)):
        if piece.covers(centre) and piece.distance(window.boundary) > RIM_MM:
            return float(piece.area)
    return float("nan")


def _nearest(way: Floats, point: Floats) -> int:
    return int(np.argmin(np.linalg.norm(way - point, axis=1)))


def _room(predicted: Predicted, points: Floats) -> Floats:
    """Diameter of the largest ball around each point; 0 in stray metal."""
    room = 2.0 * distance.distances(box_tree.build(predicted.surface), points)
    for slab in predicted.table:
        near = (points[:, 2] >= slab.low) & (points[:, 2] <= slab.high)
        if slab.gates and near.any():
            sheet = predicted.stray_outline(slab)
            room[near] *= ~shapely.intersects_xy(sheet, points[near, 0], points[near, 1])
    return room


def _no_wider_than_proven(room: Floats, points: Floats, result: PassageResult) -> Floats:
    """Room along a way, no more than surely passes at its crossings and anywhere.

    Points lie apart and a sheet is thin, so that its narrowest place may lie between two of them.
    """
    room = room.copy()
    for crossing in result.crossings:
        at = _nearest(points, np.array(crossing.centre_mm))
        room[at] = min(room[at], crossing.clear_diameter_mm)
    least = result.clear_diameter_mm.high
    if result.throat_mm is not None and room.min() > least:
        room[_nearest(points, np.array(result.throat_mm))] = least
    return room


def _mark(
    n: int,
    crossing: CrossingResult,
    way: Floats,
    length: Floats,
    area: Floats,
    height_mm: float,
) -> Mark:
    """A crossing on the way; `height_mm` is its height above the platform."""
    at = _nearest(way, np.array(crossing.centre_mm))
    share = crossing.open_fraction
    whole = share >= NAMEWORTHY and not crossing.sealed
    said = "sealed" if crossing.sealed else f"{percent(share)} open"
    return Mark(
        float(length[at]),
        n,
        crossing.sealed,
        f"crossing {n + 1}" + ("" if whole else f" at z {height_mm:.2f}: {said}"),
        share,
        float(area[at]) * share,
    )


def _drilled(result: PassageResult, way: Floats, length: Floats) -> tuple[tuple[float, float], ...]:
    """Stretches of the way inside the drills of the plan."""
    found = []
    for stroke in result.rework.drilling if result.rework else ():
        entry, direction = np.array(stroke.entry_mm), np.array(stroke.direction)
        along = (way - entry) @ direction
        aside = np.linalg.norm(way - entry - along[:, None] * direction, axis=1)
        inside = (along >= -0.5) & (along <= stroke.depth_mm)
        inside &= aside <= 0.5 * stroke.drill_diameter_mm
        if inside.any():
            found.append((float(length[inside].min()), float(length[inside].max())))
    return tuple(found)


def _no_way(check: PassageCheck, result: PassageResult) -> Curve:
    """Curve of a passage without a proven nominal way: no room on the straight line."""
    away = float(np.linalg.norm(check.outlet.centre - check.inlet.centre))
    length, nothing = np.array([0.0, away]), np.zeros(2)
    return Curve(
        name=result.name,
        length_mm=length,
        nominal_mm=nothing,
        predicted_mm=nothing,
        required_mm=result.required_mm,
        marks=(),
        drilled_mm=(),
        title=f"{result.name} {result.state.value}: no way proven in the nominal part",
        area_at_mm=length,
        area_mm2=np.full(2, np.nan),
    )


def _title(result: PassageResult) -> str:
    if result.state is State.BLOCKED:
        return f"{result.name} blocked: nothing passes, {result.required_mm:g} mm required"
    shown = clear_diameter(result.clear_diameter_mm, result.required_mm)
    return (
        f"{result.name} {result.state.value}: {shown} mm clear, {result.required_mm:g} mm required"
    )
