"""Signs: what the event leaves to be seen, weighed or felt without cutting the part.

In: the predicted and the nominal part, the mouths, the material. Out: `Signs`.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from clearance import bore, sections
from clearance.bore import Bore
from clearance.passages import moved_mouth
from clearance.ports import Mouth
from clearance.predicted import Predicted, Soup
from clearance.result import GaugePin, Signs
from clearance.stray import Event, rounded

PIN_STEP_MM = 0.1
"""Gauge pins are taken in steps of a tenth, and a tenth smaller than the mouth."""
DEPTH_MM = 0.01
"""How finely the depth at which a pin stops is sought."""


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

    `walls` and `nominal_walls` are the triangles that bound the void behind the mouth.
    Depths are from the mouth's closing surface, square to it; None where it goes through.
    """
    diameter = PIN_STEP_MM * np.floor(2.0 * mouth.inscribed_radius / PIN_STEP_MM - 1.0 + 1e-9)
    if diameter < PIN_STEP_MM:
        return None
    return GaugePin(
        port=mouth.name,
        pin_diameter_mm=float(diameter),
        stops_at_mm=_stop(moved_mouth(predicted, mouth), walls, 0.5 * diameter, predicted),
        nominal_stops_at_mm=_stop(mouth, nominal_walls, 0.5 * diameter, predicted),
    )


def _stop(mouth: Mouth, walls: Soup, radius: float, predicted: Predicted) -> float | None:
    """Depth at which a flat-ended pin meets metal; None if it never does."""
    box = predicted.window.box
    inward = -mouth.plane.normal

    def met(by: Soup, depth: float) -> NDArray[np.int64]:
        return bore.meeting(by, Bore(mouth.deepest, inward, radius, depth, 0.0))

    high = float(np.linalg.norm(box.high - box.low))
    ahead = walls[met(walls, high)]
    if not len(ahead):
        return None
    low = 0.0
    while high - low > DEPTH_MM:
        middle = 0.5 * (low + high)
        low, high = (low, middle) if len(met(ahead, middle)) else (middle, high)
    return float(low)
