"""Signs: what the event leaves to be seen, weighed or felt without cutting the part.

In: the predicted and the nominal part, the mouths, the material. Out: `Signs`.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from clearance.geometry import cutting, sections
from clearance.geometry.planes import Plane
from clearance.geometry.soup import Box, Soup, extent, meeting
from clearance.kernels.compiler import kernel
from clearance.passages.way import moved_mouth
from clearance.ports.mouth import Mouth
from clearance.predicted.part import Predicted
from clearance.predicted.stray import Event, rounded
from clearance.result import GaugePin, Point, Signs

PIN_STEP_MM = 0.1
"""Gauge pins are taken in steps of a tenth, and a tenth smaller than the mouth."""
THINNER, THINNEST = 5, 10
"""Where the largest pin tells nothing: thinner ones in such steps, down to this, in tenths."""
READING_MM = 0.2
"""Two depths of a pin that differ by less are not told apart; common practice, no source."""
PIN_LENGTH_MM = 50.0
"""Length of a plain gauge pin; common practice, from memory."""
SIDES = 32
"""Sides of the prism that stands for a pin."""
READABILITY = 10.0
"""A balance shows a mass that is at least so many times its readability; common practice,
no source."""
SCATTER = 0.005
"""Good parts of one build may differ in mass by this share; common practice, no source."""
LEAST_OVERHANG_MM = 1e-3
"""What stands out less has no direction."""
MESH_HEIGHTS = 5
"""Heights at which the outline of measured stray metal is looked at."""


def signs(
    predicted: Predicted,
    nominal: Predicted,
    density_g_cm3: float | None,
) -> Signs:
    """Mass, height and overhang that the event adds; pins and balls are for others to fill in.

    Both parts over the whole part's window.
    """
    cell = predicted.grid.pitch_mm**2
    columns = float(nominal.metal.length_mm().sum()) * cell
    added = float(predicted.melted.length_mm().sum()) * cell - columns
    bodies = nominal.window.bodies
    before = columns if bodies.overlapping else float(_volume(bodies.part))
    grams = None if density_g_cm3 is None else density_g_cm3 * 1e-3
    scatter = None if grams is None else SCATTER * before * grams
    out = overhang(predicted)
    return Signs(
        mass_added_g=None if grams is None else added * grams,
        volume_added_mm3=added,
        height_added_mm=sum(event.rise for event in predicted.events),
        outside_overhang_mm=out.length_mm,
        part_volume_mm3=before,
        part_mass_g=None if grams is None else before * grams,
        share_of_part=added / before,
        balance_resolution_g=None if grams is None else balance_resolution(added * grams),
        mass_scatter_g=scatter,
        weighing_tells=None if grams is None else abs(added) > SCATTER * before,
        outside_overhang_at_mm=out.at_mm,
        outside_overhang_direction=out.direction,
        outside_overhang_turn_deg=out.turn_deg,
    )


@kernel
def _volume(triangles):  # type: ignore[no-untyped-def]
    """Volume within a closed soup whose shells do not overlap, mm3; exact."""
    x0 = np.float64(triangles[0, 0, 0])
    y0 = np.float64(triangles[0, 0, 1])
    z0 = np.float64(triangles[0, 0, 2])
    total = 0.0
    for f in range(triangles.shape[0]):
        ax, ay, az = triangles[f, 0, 0] - x0, triangles[f, 0, 1] - y0, triangles[f, 0, 2] - z0
        bx, by, bz = triangles[f, 1, 0] - x0, triangles[f, 1, 1] - y0, triangles[f, 1, 2] - z0
        cx, cy, cz = triangles[f, 2, 0] - x0, triangles[f, 2, 1] - y0, triangles[f, 2, 2] - z0
        total += ax * (by * cz - bz * cy) + ay * (bz * cx - bx * cz) + az * (bx * cy - by * cx)
    return total / 6.0


def balance_resolution(mass_g: float) -> float | None:
    """Coarsest readability, of the steps 1, 2 and 5, of a balance that shows a mass, g.

    None where there is no mass to show (less than a hundredth of a milligram).

    Examples
    --------
    >>> balance_resolution(3.57)
    0.2
    >>> balance_resolution(-0.012)
    0.001
    """
    limit = abs(mass_g) / READABILITY
    if limit < 1e-6:
        return None
    power = math.floor(math.log10(limit) + 1e-9)
    step = max(step for step in (1, 2, 5) if step * 10.0**power <= limit * (1.0 + 1e-9))
    return round(step * 10.0**power, 9)


# ---- what stands out -------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Overhang:
    """How far stray metal stands out of the part's side, where, and which way in plan."""

    length_mm: float = 0.0
    at_mm: Point | None = None
    direction: Point | None = None

    @property
    def turn_deg(self) -> float | None:
        """Direction in plan, from +x towards +y, 0 to 360."""
        if self.direction is None:
            return None
        return math.degrees(math.atan2(self.direction[1], self.direction[0])) % 360.0


def overhang(predicted: Predicted) -> Overhang:
    """Where stray metal stands farthest out of the part's side.

    The largest distance of a point of the slices' outer outline from the outer
    outline of the part just below and just above the sheet; for measured metal, from
    that of the part at the same height.
    """
    found = [_farthest(*shapes) for shapes in (*_of_events(predicted), *_of_added(predicted))]
    return max(found, key=lambda one: one.length_mm, default=Overhang())


def _farthest(z: float, sheet: Any, sides: list[Any]) -> Overhang:
    """The point of a sheet's outline that lies farthest from the part's."""
    sides = [shape for shape in sides if not shape.is_empty]
    if not sides or sheet.is_empty:
        return Overhang()
    side = shapely.union_all(sides)
    points = shapely.points(shapely.get_coordinates(sheet))
    away = shapely.distance(points, side)
    farthest = points[int(np.argmax(away))]
    length = float(away.max())
    if length < LEAST_OVERHANG_MM:
        return Overhang(length)
    tip, foot = shapely.get_coordinates(shapely.shortest_line(farthest, side))
    x, y = (float(v) for v in (tip - foot) / length)
    return Overhang(length, (float(tip[0]), float(tip[1]), z), (x, y, 0.0))


def _of_events(predicted: Predicted) -> Iterator[tuple[float, Any, list[Any]]]:
    """Height, outline of the slices, outlines of the part beside them, for every sheet."""
    for event in predicted.events:
        if event.slices:
            yield (event.bottom, *_of_event(predicted, event))


def _of_event(predicted: Predicted, event: Event) -> tuple[Any, list[Any]]:
    table = [slab for slab in predicted.table if slab.stray == event.stray and slab.gates]
    sheet = shapely.union_all(
        [
            _outer(predicted, gate.body, gate.z, rounded(gate.shift))
            for slab in table
            for gate in slab.gates
            if gate.body in ("melted", "plane")
        ]
    )
    ends = ((table[0].low, False), (table[-1].high, True))
    return sheet, [_outer_of(predicted, z, up) for z, up in ends]


def _of_added(predicted: Predicted) -> Iterator[tuple[float, Any, list[Any]]]:
    """The same of the stray metal that is given as a mesh, at some heights."""
    if predicted.added is None:
        return
    for soup in predicted.window.bodies.added_by_stray.values():
        low, high = extent(soup)[:, 2]
        for z in low + (high - low) * (np.arange(MESH_HEIGHTS) + 0.5) / MESH_HEIGHTS:
            yield float(z), _outline(soup, float(z)), [_outer_of(predicted, float(z), False)]


def _outer(predicted: Predicted, body: str, z: float, shift: tuple[float, float]) -> Any:
    """Filled outer outline of a body's section."""
    bodies = predicted.window.bodies
    soup = {"melted": bodies.melted, "part": bodies.part, "plane": bodies.plane}[body]
    return shapely.transform(_outline(soup, z), lambda xy: xy + np.asarray(shift))


def _outline(soup: Soup, z: float) -> Any:
    near = soup[cutting.crossed(soup, [z])[0]]
    outlines = [
        shapely.Polygon(loop)
        for loop in sections.loops(near, Plane.level(z)).closed
        if len(loop) > 2 and sections.signed_area(loop) > 0.0
    ]
    return shapely.union_all([shapely.make_valid(o) for o in outlines])


def _outer_of(predicted: Predicted, z: float, above: bool) -> Any:
    slab = predicted.slab_at(z, above)
    lift = slab.lift or 0.0
    return _outer(predicted, "part", z - lift + (1e-5 if above else 0.0), rounded(slab.shift))


# ---- pins ------------------------------------------------------------------------------------


def gauge_pins(
    mouth: Mouth, predicted: Predicted, walls: Soup, nominal_walls: Soup, whole: Predicted
) -> tuple[GaugePin, ...]:
    """The largest pin that enters a mouth, and the thickest that tells the two parts apart.

    A pin enters if nominally it goes in by half its diameter at least: a chamfer alone
    does not take it. `walls` and `nominal_walls` are the triangles that bound the void
    behind the mouth, `whole` is the predicted part over all of it. Depths are from the mouth's
    closing surface, square to it; None where the pin goes through, 0 where stray metal in front
    of the mouth keeps it out. Empty where no pin enters; one pin where it is the largest
    that tells, or none does.
    """
    nominal = _Straight.behind(mouth, nominal_walls)
    here = moved_mouth(predicted, mouth)
    now, before = _Straight.behind(here, walls), _before(here, whole)

    def enters(tenths: int) -> bool:
        diameter = tenths * PIN_STEP_MM
        stop = nominal.stop(0.5 * diameter)
        return stop is None or stop >= 0.5 * diameter

    low, high = 0, int(2.0 * mouth.inscribed_radius / PIN_STEP_MM + 1e-9)  # `high` is too large
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if enters(middle) else (low, middle)
    if low == 0:
        return ()
    largest = _pin(mouth.name, low, now, nominal, before)
    if largest.tells_apart:
        return (largest,)
    sizes = range(THINNER * ((low - 1) // THINNER), THINNEST - 1, -THINNER)
    thinner = (_pin(mouth.name, tenths, now, nominal, before) for tenths in sizes)
    telling = next((pin for pin in thinner if pin.tells_apart), None)
    return (largest,) if telling is None else (largest, telling)


def _pin(
    port: str, tenths: int, now: _Straight, nominal: _Straight, before: _Before | None
) -> GaugePin:
    diameter = round(tenths * PIN_STEP_MM, 1)
    stop, nominally = now.stop(0.5 * diameter), nominal.stop(0.5 * diameter)
    if before is not None and before.keeps_out(0.5 * diameter):
        stop = 0.0
    if stop is None or nominally is None:
        apart = 0.0 if stop is nominally else math.inf
    else:
        apart = abs(stop - nominally)
    tells = apart >= READING_MM
    return GaugePin(port, diameter, stop, nominally, tells, None if tells else apart)


@dataclass(frozen=True, eq=False, slots=True)
class _Straight:
    """The way straight in from a mouth, and the walls that a pin can meet there."""

    origin: NDArray[np.float64]
    frame: NDArray[np.float64]
    walls: Soup

    @classmethod
    def behind(cls, mouth: Mouth, walls: Soup) -> _Straight:
        return cls.along(-mouth.plane.normal, mouth, walls)

    @classmethod
    def along(cls, direction: NDArray[np.float64], mouth: Mouth, walls: Soup) -> _Straight:
        axes = Plane.through(mouth.deepest, direction)
        frame = np.stack([axes.u, axes.v, axes.normal])
        reach = mouth.inscribed_radius / np.cos(np.pi / SIDES)
        return cls(mouth.deepest, frame, walls[_beside(walls, mouth.deepest, frame, reach)])

    def stop(self, radius: float) -> float | None:
        """Depth at which a flat-ended pin meets metal; None if it never does."""
        depth = float(_first_contact(self.walls, self.origin, self.frame, radius))
        return depth if np.isfinite(depth) else None


@dataclass(frozen=True, eq=False, slots=True)
class _Before:
    """The way straight out from a mouth: stray metal there, and the part's own."""

    stray: _Straight
    part: _Straight

    def keeps_out(self, radius: float) -> bool:
        """Stray metal stands where a pin would be held; within the part's metal it adds none."""
        stray, part = self.stray.stop(radius), self.part.stop(radius)
        if stray is None or stray > PIN_LENGTH_MM:
            return False
        return part is None or stray < part


def _before(mouth: Mouth, whole: Predicted) -> _Before | None:
    """What stands before a mouth of the predicted part; None without stray metal there."""
    out = mouth.plane.normal
    ends = np.stack([mouth.deepest, mouth.deepest + PIN_LENGTH_MM * out])
    box = Box(ends.min(0) - mouth.inscribed_radius, ends.max(0) + mouth.inscribed_radius)
    soups = whole.stray_near(box)
    if not soups:
        return None
    stray = meeting(np.concatenate(soups), box)
    return _Before(
        _Straight.along(out, mouth, stray), _Straight.along(out, mouth, whole.bare_surface(box))
    )


@kernel
def _beside(triangles, origin, frame, reach):  # type: ignore[no-untyped-def]
    """Which triangles lie ahead of a plane and meet a square of half width `reach` in it."""
    kept = np.zeros(triangles.shape[0], np.bool_)
    low, high = np.empty(3), np.empty(3)
    for f in range(triangles.shape[0]):
        for a in range(3):
            low[a], high[a] = np.inf, -np.inf
        for v in range(3):
            for a in range(3):
                p = 0.0
                for b in range(3):
                    p += frame[a, b] * (triangles[f, v, b] - origin[b])
                low[a], high[a] = min(low[a], p), max(high[a], p)
        kept[f] = (
            high[2] >= 0.0
            and low[0] <= reach
            and high[0] >= -reach
            and low[1] <= reach
            and high[1] >= -reach
        )
    return kept


@kernel
def _first_contact(triangles, origin, frame, radius):  # type: ignore[no-untyped-def]
    """Least depth, from 0 on, at which a soup comes within a pin's radius of its axis.

    The pin is taken as the prism of `SIDES` sides around it: it stops a little early.
    """
    first = np.inf
    turn = 2.0 * np.pi / SIDES * np.arange(SIDES)
    cosine, sine = np.cos(turn), np.sin(turn)
    corner = radius / np.cos(np.pi / SIDES)
    p = np.empty((3 + SIDES, 3))
    q = np.empty((3 + SIDES, 3))
    for f in range(triangles.shape[0]):
        near, far = np.inf, -np.inf
        for v in range(3):
            for a in range(3):
                p[v, a] = 0.0
                for b in range(3):
                    p[v, a] += frame[a, b] * (triangles[f, v, b] - origin[b])
            near, far = min(near, p[v, 2]), max(far, p[v, 2])
        if far < 0.0 or near >= first:
            continue
        if min(p[0, 0], p[1, 0], p[2, 0]) > corner or max(p[0, 0], p[1, 0], p[2, 0]) < -corner:
            continue
        if min(p[0, 1], p[1, 1], p[2, 1]) > corner or max(p[0, 1], p[1, 1], p[2, 1]) < -corner:
            continue
        m = 3
        for side in range(SIDES):
            x, y = cosine[side], sine[side]
            n = 0
            for v in range(m):
                w = v + 1 if v + 1 < m else 0
                dv = radius - x * p[v, 0] - y * p[v, 1]
                dw = radius - x * p[w, 0] - y * p[w, 1]
                if dv > 0.0:
                    q[n, 0], q[n, 1], q[n, 2] = p[v, 0], p[v, 1], p[v, 2]
                    n += 1
                if (dv > 0.0) != (dw > 0.0):
                    for a in range(3):
                        q[n, a] = p[v, a] + dv / (dv - dw) * (p[w, a] - p[v, a])
                    n += 1
            m = n
            if m == 0:
                break
            p, q = q, p
        for v in range(m):
            if 0.0 <= p[v, 2] < first:
                first = p[v, 2]
    return first
