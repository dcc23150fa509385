"""Section of the predicted part through a drill's axis, as data for a figure.

In: the check of a passage with its plan. Out: `DrillSection`: exact polygons in the
cutting plane, u level, v upward, mm.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from clearance import bore as bores
from clearance.bore import Bore
from clearance.cuts import predicted_metal
from clearance.passage_check import PassageCheck
from clearance.predicted import NOMINAL, Predicted
from clearance.reach import CLAMPED_DIAMETERS, SIDES
from clearance.result import Drilling, PassageResult
from clearance.sections import Plane

MARGIN_MM = 6.0
"""What is shown around the drill and the crossing."""

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class DrillSection:
    """One stroke of a plan in the plane of its axis.

    Attributes
    ----------
    part, stray, drill, holder : shapely geometry
        Part metal, stray metal, drill with its point, holder, in the plane's coordinates.
    entry, tip, crossing : (2,) ndarray
        Where the drill enters, ends, and meets the sheet.
    bounds : (u0, v0, u1, v1), mm
    lines : tuple of str
        Numbers of the stroke, in words.
    plan : shapely geometry
        Level section of the part at the crossing, x and y, for the small plan.
    trace : (2, 2) ndarray
        Line of the cutting plane in that plan, x and y.
    """

    title: str
    part: Any
    stray: Any
    drill: Any
    holder: Any
    entry: Floats
    tip: Floats
    crossing: Floats
    radius_mm: float
    margin_mm: float
    depth_mm: float
    bounds: tuple[float, float, float, float]
    lines: tuple[str, ...]
    plan: Any
    trace: Floats


def drill_sections(check: PassageCheck, result: PassageResult) -> list[DrillSection]:
    """One section per stroke; empty if there is no plan (then `why_not` says why)."""
    strokes = result.rework.drilling if result.rework else ()
    return [_section(check, result, stroke) for stroke in strokes]


def _section(check: PassageCheck, result: PassageResult, stroke: Drilling) -> DrillSection:
    entry, direction = np.array(stroke.entry_mm), np.array(stroke.direction)
    predicted = check.predicted(check.judged[0].variant.events, check.checked.pitch_mm)
    plane = _plane(entry, direction)
    window, metal = predicted_metal(predicted, plane, whole=True, plugged=False)
    _, bare = predicted_metal(_without_sheets(predicted), plane, whole=True, plugged=False)
    centre = np.array(result.crossings[stroke.crossing].centre_mm)
    drill, holder = _tools(stroke, entry, direction, check)
    tip = entry + stroke.depth_mm * direction
    flat = plane.to_plane(
        np.stack([entry, tip, entry + ((centre - entry) @ direction) * direction])
    )
    stray = metal.difference(bare.buffer(1e-6))
    return DrillSection(
        f"{result.name}: {stroke.drill_diameter_mm:g} mm drill ({stroke.series}) from "
        f"{stroke.from_}, {stroke.depth_mm:.1f} mm deep, leaves it {result.rework.state_after}"
        if result.rework
        else result.name,
        metal.difference(stray),
        stray,
        bores.section(drill, plane),
        bores.section(holder, plane),
        flat[0],
        flat[1],
        flat[2],
        0.5 * stroke.drill_diameter_mm,
        stroke.wall_margin_mm - stroke.wall_cut_mm,
        stroke.depth_mm,
        _bounds(window, flat, stroke),
        _lines(result, stroke),
        check.checked.whole.predict(predicted.events).section(float(centre[2])),
        _trace(plane, window),
    )


def _without_sheets(predicted: Predicted) -> Predicted:
    """The part without its sheets: nominal where nothing moved, else with its sheets."""
    moved = any(e.rise != 0.0 or e.shift != (0.0, 0.0) for e in predicted.events)
    return predicted if moved else predicted.window.predict(NOMINAL)


def _plane(entry: Floats, direction: Floats) -> Plane:
    """The upright plane that holds a drill's axis."""
    level = np.array([direction[0], direction[1], 0.0])
    size = float(np.linalg.norm(level))
    u = level / size if size > 1e-6 else np.array([1.0, 0.0, 0.0])
    v = np.array([0.0, 0.0, 1.0])
    return Plane(entry, np.cross(u, v), u, v)


def _tools(
    stroke: Drilling, entry: Floats, direction: Floats, check: PassageCheck
) -> tuple[Bore, Bore]:
    """The drill up to its holder, and the holder."""
    radius = 0.5 * stroke.drill_diameter_mm
    point = radius / math.tan(math.radians(59.0))
    projecting = stroke.overall_mm - CLAMPED_DIAMETERS * stroke.drill_diameter_mm
    tip = entry + stroke.depth_mm * direction
    face = tip - projecting * direction
    drill = Bore(face, direction, radius, projecting - point, point, SIDES)
    wide = 0.5 * check.checked.case.drilling.holder_diameter
    return drill, Bore(face - 30.0 * direction, direction, wide, 30.0, 0.0, SIDES)


def _bounds(window: Any, flat: Floats, stroke: Drilling) -> tuple[float, float, float, float]:
    """The drill from a little outside its entry to beyond its tip, and as much beside it."""
    low, high = flat.min(0), flat.max(0)
    grow = MARGIN_MM + stroke.drill_diameter_mm
    u0, v0 = low - grow
    u1, v1 = high + grow
    return float(u0), float(v0), float(u1), float(v1)


def _trace(plane: Plane, window: Any) -> Floats:
    u0, _, u1, _ = window.bounds
    return plane.to_space(np.array([[u0, 0.0], [u1, 0.0]]))[:, :2]


def _lines(result: PassageResult, stroke: Drilling) -> tuple[str, ...]:
    cut = (
        f"cuts {stroke.wall_cut_mm:.2f} mm of the wall"
        if stroke.wall_cut_mm > 0.0
        else f"wall margin {stroke.wall_margin_mm:.2f} mm"
    )
    after = result.rework.clear_diameter_after_mm if result.rework else 0.0
    return (
        f"twist drill {stroke.drill_diameter_mm:g} mm, {stroke.series}",
        f"flute {stroke.flute_mm:g}, overall {stroke.overall_mm:g} mm",
        f"depth to the tip {stroke.depth_mm:.1f} mm, {stroke.length_to_diameter:.1f} diameters",
        f"{cut}; overrun {stroke.overrun_mm:.1f} mm",
        f"tilt tolerance {stroke.tilt_tolerance_deg:.2f} deg",
        f"shank {stroke.tilt_from_z_deg:.2f} deg off +Z, "
        f"turned {stroke.turn_about_z_deg + 0.0:.2f} deg about +Z",
        f"tolerance h8 {stroke.drill_tolerance_mm:.3f} mm, run-out {stroke.run_out_mm:.2f} mm",
        f"checked again: a ball of {after:.2f} mm passes",
    )
