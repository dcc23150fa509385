"""Section of the predicted part through a drill's axis, as data for a figure.

In: the check of a passage with its plan, or with the reason why there is none. Out:
`DrillSection`: exact polygons in the cutting plane, u level from the entry, v the height above
the platform, mm.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from clearance.drawing.drill_words import axis_words, set_up, taken
from clearance.drawing.level import loose_plates, metals_at
from clearance.drawing.level_parts import NOTHING, Deviation, drawn
from clearance.drawing.scan import Scan, deviations, explained, measured_outline
from clearance.drilling import bore as bores
from clearance.drilling.bore import Bore
from clearance.drilling.drills import CLAMPED_DIAMETERS, point_length
from clearance.drilling.lines import SIDES
from clearance.drilling.strokes import in_words
from clearance.geometry.areas import polygonal
from clearance.geometry.planes import Plane
from clearance.heights import above_platform
from clearance.passages.way import moved_mouth
from clearance.predicted.part import Predicted
from clearance.predicted.plane_sections import of_plate, predicted_metal, stray_metal
from clearance.report.drilling import end_of, tool_line, tool_named
from clearance.result import Drilling, PassageResult, Rework
from clearance.result.passage import NearestLine, Tool
from clearance.verdict.names import sheet
from clearance.verdict.numbers import (
    given,
    least,
    level,
    most,
    near,
    rounded_down,
)
from clearance.verdict.passage_check import PassageCheck

MARGIN_MM = 6.0
"""What is shown around the drill and the crossing."""
HOLDER_MM = 30.0
"""Length of the holder that is drawn."""
IN_PLANE_MM = 0.05
"""Nearer than this a point lies in the plane that is drawn."""
CRACK_MM = 1e-5
DETAIL_RADII = 1.35
"""Half the detail's size, in radii of the drill or of the passage."""

ARROW_SHARE = 0.05
"""Room for an arrow beside a sheet, as a share of the detail's height."""
RIM_SHARE = 0.15
"""Of the detail's height, above and below: words stand there."""

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class DrillSection:
    """One stroke of a plan in the plane of its axis; without a plan, the way to the sheet.

    Attributes
    ----------
    part, stray, loose, drill, holder : shapely geometry
        Part metal, stray metal, powder where metal belongs, drill with its point, holder, in
        the plane's coordinates; the last two empty where there is no plan.
    entry, tip, crossing : (2,) ndarray
        Where the drill enters, ends, and meets the sheet.
    names : dict of str to (2,) ndarray
        What is named in the figure, and where it is.
    margin : (wall, drill) as (2, 2) ndarray, or None
        The narrowest place between the two in this plane, near the crossing.
    margin_said : str
        The wall margin or how much is cut, over the whole stroke.
    bounds, with_holder : (u0, v0, u1, v1), mm
        What is to be seen, without and with the holder's face.
    lines : tuple of str
        Numbers of the stroke, in words.
    plan, plan_stray, plan_loose, plan_z_mm : shapely geometry, float
        Level section of the part in the sheet, what there is stray and what stayed powder, x
        and y, and its height above the platform.
    trace : (2, 2) ndarray
        Line of the cutting plane in that plan, x and y.
    tool : "drill" or "electrode"
    line : (2, 2) ndarray or None
        Without a plan: the line that comes nearest to one, from the opening to its end.
    stopped : (2,) ndarray or None
        The point of the wall that is nearest to it, seen square to the plane.
    stopped_off : bool
        That point lies before or behind the plane.
    plane : Plane or None
        The cutting plane.
    measured : shapely geometry
        Metal there as a scan has it; empty without one.
    deviations : tuple of Deviation
        Where it lies farthest off what is predicted, within `bounds`.
    scan : tuple of str
        What a scan says, and what its arrows mean.
    """

    title: str
    part: Any
    stray: Any
    loose: Any
    drill: Any
    holder: Any
    entry: Floats
    tip: Floats
    crossing: Floats
    names: dict[str, Floats]
    margin: Floats | None
    margin_said: str
    detail: tuple[float, float, float, float]
    depth_mm: float
    bounds: tuple[float, float, float, float]
    with_holder: tuple[float, float, float, float]
    lines: tuple[str, ...]
    plan: Any
    plan_stray: Any
    plan_loose: Any
    plan_z_mm: float
    trace: Floats
    tool: Tool = "drill"
    line: Floats | None = None
    stopped: Floats | None = None
    stopped_off: bool = False
    plane: Plane | None = None
    measured: Any = NOTHING
    deviations: tuple[Deviation, ...] = ()
    scan: tuple[str, ...] = ()


def drill_sections(
    check: PassageCheck, result: PassageResult, scan: Scan | None = None
) -> list[DrillSection]:
    """One section per stroke; without a plan one that shows why; none if none is needed."""
    found = []
    if result.rework is not None:
        found = [_stroke(check, result, result.rework, s) for s in result.rework.drilling]
    elif result.why_not and result.crossings:
        found = [_without_plan(check, result)]
    return [with_scan(one, scan) for one in found]


def with_scan(section: DrillSection, scan: Scan | None) -> DrillSection:
    """The same with the measured part laid on it."""
    if scan is None or section.plane is None:
        return section
    measured = measured_outline(scan, section.plane)
    seen = shapely.box(*section.bounds)
    predicted = shapely.union_all([section.part, section.stray, section.loose])
    off = deviations(scan, polygonal(predicted & seen), polygonal(measured & seen))
    return replace(section, measured=measured, deviations=off, scan=explained(scan, off))


@dataclass(frozen=True, eq=False)
class _Cut:
    """The part in the upright plane through a line, and beside it in plan."""

    plane: Plane
    part: Any
    stray: Any
    loose: Any
    plan: Any
    plan_stray: Any
    plan_loose: Any
    plan_z_mm: float
    trace: Floats


def _cut(check: PassageCheck, entry: Floats, direction: Floats, crossing: int) -> _Cut:
    """Cut the part upright through a line, and level in the sheet at a crossing."""
    predicted = check.checked.whole.predict(check.judged[0].variant.events)
    base = check.checked.platform_z
    plane = _plane(entry, direction, base)
    window, metal = predicted_metal(predicted, plane, whole=True)
    stray = drawn(stray_metal(predicted, plane).intersection(window))
    u0, _, u1, _ = window.bounds
    met = check.judged[0].crossings[crossing]
    z = 0.5 * (met.low + met.high)
    z, plan, plan_stray, plan_loose = metals_at(predicted, z, met.stray)
    loose = polygonal(_loose(predicted, plane).intersection(window))
    return _Cut(
        plane=plane,
        part=polygonal(_without_cracks(metal).difference(polygonal(stray))).difference(loose),
        stray=stray,
        loose=loose,
        plan=plan,
        plan_stray=plan_stray,
        plan_loose=plan_loose,
        plan_z_mm=z - base,
        trace=plane.to_space(np.array([[u0, 0.0], [u1, 0.0]]))[:, :2],
    )


def _loose(predicted: Predicted, plane: Plane) -> Any:
    """Powder where metal belongs, in a plane that is not level."""
    return shapely.union_all(
        [
            of_plate(shape, slab, plane)
            for event in predicted.events
            for slab, shape in loose_plates(predicted, event)
        ]
    )


def _without_cracks(metal: Any) -> Any:
    """Close what rounding leaves open between slabs: it would be drawn as a line."""
    grown = shapely.buffer(metal, CRACK_MM, join_style="mitre")
    return shapely.buffer(grown, -CRACK_MM, join_style="mitre")


def _plane(entry: Floats, direction: Floats, platform_z: float) -> Plane:
    """The upright plane that holds a drill's axis; u from the entry, v above the platform."""
    level = np.array([direction[0], direction[1], 0.0])
    size = float(np.linalg.norm(level))
    u = level / size if size > 1e-6 else np.array([1.0, 0.0, 0.0])
    v = np.array([0.0, 0.0, 1.0])
    return Plane(np.array([entry[0], entry[1], platform_z]), np.cross(u, v), u, v)


# ---- with a plan -----------------------------------------------------------------------------


def _leaves(rework: Rework, stroke: Drilling) -> str:
    """What a stroke leads to: nothing by itself where it takes several."""
    count = len(rework.drilling)
    if count == 1:
        return f", leaves it {rework.state_after}"
    number = rework.drilling.index(stroke) + 1
    both = "both" if count == 2 else f"all {count}"
    return f"; operation {number} of {count}: {rework.state_after} only after {both}"


def _stroke(
    check: PassageCheck, result: PassageResult, rework: Rework, stroke: Drilling
) -> DrillSection:
    entry, direction = np.array(stroke.entry_mm), np.array(stroke.direction)
    crossing = result.crossings[stroke.crossing]
    centre = np.array(crossing.centre_mm)
    base = check.checked.platform_z
    cut = _cut(check, entry, direction, stroke.crossing)
    drill, holder = _tools(stroke, entry, direction, check)
    tip = entry + stroke.depth_mm * direction
    face = np.asarray(drill.start)
    met = entry + ((centre - entry) @ direction) * direction
    flat = cut.plane.to_plane(np.stack([entry, tip, met, face]))
    radius = 0.5 * stroke.drill_diameter_mm
    back = (flat[0] - flat[1]) / stroke.depth_mm  # along the axis, out of the part
    names = {
        tool_named(stroke): flat[0] + 2.0 * radius * back,
        _sheet_named(check, stroke.crossing): flat[2],
        f"{stroke.from_}": flat[0],
        f"holder, ⌀{given(check.checked.case.drilling.holder_diameter)}": flat[3] + 2.0 * back,
    }
    half = DETAIL_RADII * radius
    detail = _around(flat[2], half)
    shape = bores.section(drill, cut.plane)
    bounds = _bounds(flat[:3], MARGIN_MM + stroke.drill_diameter_mm)
    return DrillSection(
        title=f"{result.name}: {in_words(stroke)}{_leaves(rework, stroke)}",
        part=cut.part,
        stray=cut.stray,
        loose=cut.loose,
        drill=shape,
        holder=bores.section(holder, cut.plane),
        entry=flat[0],
        tip=flat[1],
        crossing=flat[2],
        names=names,
        margin=_margin(shape, cut, detail, stroke.wall_cut_mm),
        margin_said=_margin_said(stroke),
        detail=detail,
        depth_mm=stroke.depth_mm,
        bounds=bounds,
        with_holder=_joined(bounds, _bounds(flat[3:], MARGIN_MM)),
        lines=_lines(rework, above_platform(stroke, base), float(np.linalg.norm(face - entry))),
        plan=cut.plan,
        plan_stray=cut.plan_stray,
        plan_loose=cut.plan_loose,
        plan_z_mm=cut.plan_z_mm,
        trace=cut.trace,
        plane=cut.plane,
        tool=stroke.tool,
    )


def _sheet_named(check: PassageCheck, crossing: int) -> str:
    """A sheet with how far it reaches there, above the platform."""
    met, base = check.judged[0].crossings[crossing], check.checked.platform_z
    ends = (round(z - base, 6) for z in (met.low, met.high))
    return f"{sheet(met.stray)}, {level(ends)} mm"


def _tools(
    stroke: Drilling, entry: Floats, direction: Floats, check: PassageCheck
) -> tuple[Bore, Bore]:
    """The drill up to its holder, and the holder."""
    radius = 0.5 * stroke.drill_diameter_mm
    eroded = stroke.tool == "electrode"
    angle = check.checked.case.drilling.point_angle
    point = 0.0 if eroded else point_length(stroke.drill_diameter_mm, angle)
    projecting = stroke.overall_mm - CLAMPED_DIAMETERS * stroke.drill_diameter_mm
    tip = entry + stroke.depth_mm * direction
    face = tip - projecting * direction
    drill = Bore(face, direction, radius, projecting - point, point, SIDES)
    wide = 0.5 * check.checked.case.drilling.holder_diameter
    return drill, Bore(face - HOLDER_MM * direction, direction, wide, HOLDER_MM, 0.0, SIDES)


def _margin(
    drill: Any, cut: _Cut, detail: tuple[float, float, float, float], cut_mm: float
) -> Floats | None:
    """The narrowest place between drill and wall near the crossing, off the detail's rims.

    Beside the sheet, on which no arrow shows, if it is as narrow there.
    """
    u0, v0, u1, v1 = detail
    rim = RIM_SHARE * (v1 - v0)
    box = shapely.box(u0, v0 + rim, u1, v1 - rim)
    wall, tool = cut.part.intersection(box), drill.intersection(box)
    if cut_mm > 0.0 or wall.is_empty or tool.is_empty:
        return None
    beside = wall.difference(cut.stray.intersection(box).buffer(ARROW_SHARE * (v1 - v0)))
    narrowest = shapely.shortest_line(wall, tool)
    if not beside.is_empty and beside.distance(tool) <= narrowest.length + IN_PLANE_MM:
        narrowest = shapely.shortest_line(beside, tool)
    return np.asarray(shapely.get_coordinates(narrowest))


def _margin_said(stroke: Drilling) -> str:
    if stroke.wall_cut_mm > 0.0:
        return f"wall cut {most(stroke.wall_cut_mm)} mm"
    return f"radial clearance {least(stroke.wall_margin_mm)} mm"


def _around(at: Floats, half: float) -> tuple[float, float, float, float]:
    u, v = (float(value) for value in at)
    return u - half, v - half, u + half, v + half


def _bounds(flat: Floats, grow: float) -> tuple[float, float, float, float]:
    """Points, with as much around them."""
    (u0, v0), (u1, v1) = flat.min(0) - grow, flat.max(0) + grow
    return float(u0), float(v0), float(u1), float(v1)


def _joined(
    a: tuple[float, float, float, float], b: tuple[float, float, float, float]
) -> tuple[float, float, float, float]:
    return min(a[0], b[0]), min(a[1], b[1]), max(a[2], b[2]), max(a[3], b[3])


def _lines(rework: Rework, stroke: Drilling, holder_mm: float) -> tuple[str, ...]:
    left = (
        f", {rounded_down(rework.wall_left_mm, 2)} mm of wall left" if rework.wall_left_mm else ""
    )
    return (
        tool_line(stroke),
        "entry x {}, y {}, z {} mm".format(*(near(v) for v in stroke.entry_mm)),
        axis_words(stroke.direction, stroke.tool),
        set_up(stroke),
        f"depth to the {end_of(stroke)} {near(stroke.depth_mm)} mm, "
        f"{stroke.length_to_diameter:.1f} diameters; breakthrough {near(stroke.overrun_mm)} mm",
        f"{_margin_said(stroke)}{left}; permissible angular error "
        f"{least(stroke.tilt_tolerance_deg)} deg",
        taken(stroke),
        f"projecting length {near(holder_mm + stroke.depth_mm, 1)} mm: "
        f"the holder {near(holder_mm, 1)} mm off the entry",
        f"checked again: {rework.state_after}, a ball of "
        f"{rounded_down(rework.clear_diameter_after_mm, 2)} mm passes",
    )


# ---- without one -----------------------------------------------------------------------------


def _without_plan(check: PassageCheck, result: PassageResult) -> DrillSection:
    """The line that comes nearest to a plan, in its upright plane, and the wall that stops it.

    Without such a line the worst crossing, in the upright plane from the nearer port to it.
    """
    base, nearest = check.checked.platform_z, result.nearest_line
    if nearest is None:
        number, name, entry, end = _to_the_worst(check, result)
    else:
        name, entry, end = nearest.from_, np.array(nearest.start_mm), np.array(nearest.end_mm)
        gaps = [np.linalg.norm(end - np.array(c.centre_mm)) for c in result.crossings]
        number = int(np.argmin(gaps))
    cut = _cut(check, entry, end - entry, number)
    flat = cut.plane.to_plane(np.stack([entry, end]))
    names = {name: flat[0], _sheet_named(check, number): flat[1]}
    stopped, focus, off_mm = None, flat[1], 0.0
    if nearest is not None:
        stopped = cut.plane.to_plane(np.array([nearest.wall_mm]))[0]
        off_mm = float(cut.plane.signed(np.array([nearest.wall_mm]))[0])
        names |= _line_named(nearest, flat, stopped, base, off_mm)
        focus = stopped
    radius = math.sqrt(max(result.crossings[number].nominal_area_mm2, 1e-6) / math.pi)
    seen = flat if stopped is None else np.vstack([flat, stopped])
    bounds = _bounds(seen, MARGIN_MM + 2.0 * radius)
    return DrillSection(
        title=f"{result.name}: no drilling plan: {result.why_not}",
        part=cut.part,
        stray=cut.stray,
        loose=cut.loose,
        drill=NOTHING,
        holder=NOTHING,
        entry=flat[0],
        tip=flat[1],
        crossing=flat[1],
        names=names,
        margin=None,
        margin_said="",
        detail=_around(focus, DETAIL_RADII * radius),
        depth_mm=0.0,
        bounds=bounds,
        with_holder=bounds,
        lines=(*_lines_without(nearest, base), *_changes(result)),
        plan=cut.plan,
        plan_stray=cut.plan_stray,
        plan_loose=cut.plan_loose,
        plan_z_mm=cut.plan_z_mm,
        trace=cut.trace,
        plane=cut.plane,
        line=None if nearest is None else flat,
        stopped=stopped,
        stopped_off=abs(off_mm) >= IN_PLANE_MM,
    )


def _to_the_worst(check: PassageCheck, result: PassageResult) -> tuple[int, str, Floats, Floats]:
    """The worst crossing, the port that is nearer to it, and both places."""
    number, crossing = min(
        enumerate(result.crossings), key=lambda item: (not item[1].sealed, item[1].open_fraction)
    )
    predicted = check.predicted(check.judged[0].variant.events, check.checked.pitch_mm)
    centre = np.array(crossing.centre_mm)
    ports = {
        name: moved_mouth(predicted, mouth)
        for name, mouth in (("inlet", check.inlet), ("outlet", check.outlet))
    }
    name = min(ports, key=lambda key: float(np.linalg.norm(ports[key].centre - centre)))
    return number, name, np.asarray(ports[name].centre, dtype=np.float64), centre


def _line_named(
    nearest: NearestLine, flat: Floats, stopped: Floats, base: float, off_mm: float
) -> dict[str, Floats]:
    """Names of the line, and of the wall's point that stops it or lies nearest to it.

    That point need not lie in the plane that is drawn: `off_mm` is how far towards the eye it does.
    """
    off = ""
    if abs(off_mm) >= IN_PLANE_MM:
        off = f", {near(abs(off_mm), 1)} {'before' if off_mm > 0.0 else 'behind'} this section"
    wide = f"best line, ⌀{least(nearest.clear_mm)} clear"
    if nearest.clear_mm >= nearest.needed_mm:
        return {wide: flat.mean(0), f"nearest wall{off}": stopped}
    return {
        f"{wide}, ⌀{most(nearest.needed_mm)} needed": flat.mean(0),
        f"the wall stops it at z {near(nearest.wall_mm[2] - base, 1)}{off}": stopped,
    }


def _changes(result: PassageResult) -> list[str]:
    return [f"what would change that: {one.words}" for one in result.what_would_change[:1]]


def _lines_without(nearest: NearestLine | None, base: float) -> tuple[str, ...]:
    said = []
    if nearest is not None:
        way = np.array(nearest.end_mm) - np.array(nearest.start_mm)
        direction = way / max(float(np.linalg.norm(way)), 1e-9)
        said.append(f"best line from the {nearest.from_}: {axis_words(tuple(direction))}")
        x, y, z = nearest.wall_mm
        at = f"x {near(x, 1)}, y {near(y, 1)}, z {near(z - base, 1)}"
        said.append(f"the wall is nearest to it at {at} mm")
    return tuple(said)
