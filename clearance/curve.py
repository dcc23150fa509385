"""Numbers along a passage: room for a ball, nominal and predicted, from inlet to outlet.

In: the check of a passage, already judged. Out: `Curve`, plain arrays. Room is twice
the exact distance to metal along the proven nominal way; where the predicted way is led
around a sheet, with more room than the nominal one has there, its room counts.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from clearance import distance
from clearance.passage_check import PassageCheck
from clearance.predicted import NOMINAL, Predicted
from clearance.report import clear_diameter
from clearance.result import PassageResult, State

STEP_MM = 0.25
"""Distance of the points along the way."""

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Mark:
    """A crossing on the curve."""

    at_mm: float
    crossing: int
    sealed: bool
    said: str


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
        Stretches of the way that a drill of the plan reaches.
    """

    name: str
    length_mm: Floats
    nominal_mm: Floats
    predicted_mm: Floats
    required_mm: float
    marks: tuple[Mark, ...]
    drilled_mm: tuple[tuple[float, float], ...]
    title: str


def curve(check: PassageCheck, result: PassageResult) -> Curve:
    """Follow a passage that has been judged from inlet to outlet."""
    way, length = _stepped(check.nominal.way.route)
    first = check.judged[0]
    pitch = check.checked.pitch_mm
    nominal = check.search(check.predicted(NOMINAL, pitch), [])
    predicted = check.predicted(first.variant.events, pitch)
    moved = np.array([predicted.moved(point) for point in way])
    room = _room(predicted, moved)
    if len(first.way.route) > 1:
        own = _stepped(first.way.route)[0]
        beside = _room(predicted, own)[[_nearest(own, point) for point in moved]]
        room = np.maximum(room, beside)
    marks = [
        _mark(n, c.centre_mm, c.sealed, c.open_fraction, moved, length)
        for n, c in enumerate(result.crossings)
    ]
    return Curve(
        result.name,
        length,
        2.0 * distance.distances(nominal.tree, way),
        room,
        result.required_mm,
        tuple(marks),
        _drilled(result, moved, length),
        _title(result),
    )


def _stepped(route: Floats) -> tuple[Floats, Floats]:
    along = np.append(0.0, np.cumsum(np.linalg.norm(np.diff(route, axis=0), axis=1)))
    count = max(int(np.ceil(along[-1] / STEP_MM)), 1) + 1
    at = np.linspace(0.0, along[-1], count)
    return np.column_stack([np.interp(at, along, route[:, k]) for k in range(3)]), at


def _nearest(way: Floats, point: Floats) -> int:
    return int(np.argmin(np.linalg.norm(way - point, axis=1)))


def _room(predicted: Predicted, points: Floats) -> Floats:
    """Diameter of the largest ball around each point; 0 in stray metal."""
    room = 2.0 * distance.distances(distance.build(predicted.surface), points)
    for slab in predicted.table:
        near = (points[:, 2] >= slab.low) & (points[:, 2] <= slab.high)
        if slab.gates and near.any():
            sheet = predicted.sheet(slab)
            room[near] *= ~shapely.intersects_xy(sheet, points[near, 0], points[near, 1])
    return room


def _mark(
    n: int,
    centre: tuple[float, float, float],
    sealed: bool,
    share: float,
    way: Floats,
    length: Floats,
) -> Mark:
    at = _nearest(way, np.array(centre))
    said = "sealed" if sealed else f"{100 * share:.0f} % open"
    return Mark(float(length[at]), n, sealed, f"crossing {n} at z {centre[2]:.2f}: {said}")


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


def _title(result: PassageResult) -> str:
    if result.state is State.BLOCKED:
        return f"{result.name} blocked: nothing passes, {result.required_mm:g} mm required"
    shown = clear_diameter(result.clear_diameter_mm, result.required_mm)
    return (
        f"{result.name} {result.state.value}: {shown} mm clear, {result.required_mm:g} mm required"
    )
