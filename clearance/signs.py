"""Signs: what the event leaves to be seen, weighed or felt without cutting the part.

In: the predicted and the nominal part, the mouths, the material. Out: `Signs`.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from numba import njit

from clearance import sections
from clearance.passages import moved_mouth
from clearance.ports import Mouth
from clearance.predicted import Predicted, Soup
from clearance.result import GaugePin, Signs
from clearance.stray import Event, rounded

PIN_STEP_MM = 0.1
"""Gauge pins are taken in steps of a tenth, and a tenth smaller than the mouth."""
SIDES = 32
"""Sides of the prism that stands for a pin."""


def signs(
    predicted: Predicted,
    nominal: Predicted,
    density_g_cm3: float | None,
    pins: tuple[GaugePin, ...],
) -> Signs:
    """Mass, height and overhang that the event adds, and the gauge pins given.

    Both parts over the whole part's window.
    """
    cell = predicted.grid.pitch_mm**2
    before = float(nominal.metal.length_mm().sum()) * cell
    added = float(predicted.melted.length_mm().sum()) * cell - before
    return Signs(
        mass_added_g=None if density_g_cm3 is None else added * density_g_cm3 * 1e-3,
        volume_added_mm3=added,
        height_added_mm=sum(event.rise for event in predicted.events),
        outside_overhang_mm=max((overhang(predicted, e) for e in predicted.events), default=0.0),
        gauge_pins=pins,
    )


def overhang(predicted: Predicted, event: Event) -> float:
    """How far a sheet stands out of the part's side at its height, mm.

    The largest distance of a point of the slices' outer outline from the outer
    outline of the part just below and just above the sheet.
    """
    if not event.slices:
        return 0.0
    table = [slab for slab in predicted.table if slab.stray == event.stray and slab.gates]
    sheet = shapely.union_all(
        [
            _outer(predicted, gate.body, gate.z, rounded(gate.shift))
            for slab in table
            for gate in slab.gates
            if gate.body in ("melted", "plane")
        ]
    )
    below, above = (
        _outer_of(predicted, z, up) for z, up in ((table[0].low, False), (table[-1].high, True))
    )
    sides = [shape for shape in (below, above) if not shape.is_empty]
    if not sides or sheet.is_empty:
        return 0.0
    points = shapely.points(shapely.get_coordinates(sheet))
    return float(shapely.distance(points, shapely.union_all(sides)).max())


def _outer(predicted: Predicted, body: str, z: float, shift: tuple[float, float]) -> Any:
    """Filled outer outline of a body's section."""
    bodies = predicted.window.bodies
    soup = {"melted": bodies.melted, "part": bodies.part, "plane": bodies.plane}[body]
    near = soup[sections.crossed(soup, [z])[0]]
    outlines = [
        shapely.Polygon(loop)
        for loop in sections.loops(near, sections.Plane.level(z)).closed
        if len(loop) > 2 and sections.signed_area(loop) > 0.0
    ]
    return shapely.transform(
        shapely.union_all([shapely.make_valid(o) for o in outlines]),
        lambda xy: xy + np.asarray(shift),
    )


def _outer_of(predicted: Predicted, z: float, above: bool) -> Any:
    slab = predicted.slab_at(z, above)
    lift = slab.lift or 0.0
    return _outer(predicted, "part", z - lift + (1e-5 if above else 0.0), rounded(slab.shift))


def gauge_pin(
    mouth: Mouth, predicted: Predicted, walls: Soup, nominal_walls: Soup
) -> GaugePin | None:
    """The largest pin that enters a mouth, and where it stops as predicted and nominally.

    A pin enters if nominally it goes in by half its diameter at least: a chamfer alone
    does not take it. `walls` and `nominal_walls` are the triangles that bound the void
    behind the mouth. Depths are from the mouth's closing surface, square to it; None
    where the pin goes through.
    """

    def enters(tenths: int) -> bool:
        diameter = tenths * PIN_STEP_MM
        stop = _stop(mouth, nominal_walls, 0.5 * diameter)
        return stop is None or stop >= 0.5 * diameter

    low, high = 0, int(2.0 * mouth.inscribed_radius / PIN_STEP_MM + 1e-9)  # `high` is too large
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if enters(middle) else (low, middle)
    if low == 0:
        return None
    diameter = low * PIN_STEP_MM
    return GaugePin(
        port=mouth.name,
        pin_diameter_mm=float(diameter),
        stops_at_mm=_stop(moved_mouth(predicted, mouth), walls, 0.5 * diameter),
        nominal_stops_at_mm=_stop(mouth, nominal_walls, 0.5 * diameter),
    )


def _stop(mouth: Mouth, walls: Soup, radius: float) -> float | None:
    """Depth at which a flat-ended pin meets metal; None if it never does."""
    axes = sections.Plane.through(mouth.deepest, -mouth.plane.normal)
    frame = np.stack([axes.u, axes.v, axes.normal])
    depth = float(_first_contact(walls, mouth.deepest, frame, radius))
    return depth if np.isfinite(depth) else None


@njit(cache=True, nogil=True)
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
                    q[n] = p[v]
                    n += 1
                if (dv > 0.0) != (dw > 0.0):
                    q[n] = p[v] + dv / (dv - dw) * (p[w] - p[v])
                    n += 1
            m = n
            if m == 0:
                break
            p[:m] = q[:m]
        for v in range(m):
            if 0.0 <= p[v, 2] < first:
                first = p[v, 2]
    return first
