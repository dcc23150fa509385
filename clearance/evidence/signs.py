"""Signs: what the event leaves to be seen or weighed without cutting the part.

In: the predicted and the nominal part, the material. Out: `Signs`; its pins and balls are filled
in by others.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from clearance.evidence.added import metal_added
from clearance.geometry import cutting, sections
from clearance.geometry.planes import Plane
from clearance.geometry.soup import Soup, extent, moved_shape
from clearance.mesh.closedness import survey
from clearance.predicted.bodies import Bodies
from clearance.predicted.part import Predicted
from clearance.predicted.slabs import Event, Gate, rounded
from clearance.result import Point, Signs

Floats = NDArray[np.float64]

READABILITY = 10.0
"""A balance shows a mass that is at least so many times its readability; common practice,
no source."""
SCATTER = 0.005
"""Good parts of one build may differ in mass by this share; common practice, no source."""
LEAST_OVERHANG_MM = 1e-3
"""What stands out less has no direction."""
JUST_ABOVE_MM = 1e-5
"""So far above a level face the section is that above it."""
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
    added = metal_added(predicted, nominal)
    before = _before(nominal)
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


def _before(nominal: Predicted) -> float:
    """Volume of the nominal part, mm3: from columns where its shells overlap."""
    bodies = nominal.window.bodies
    if bodies.overlapping:
        return float(nominal.metal.length_mm().sum()) * nominal.grid.pitch_mm**2
    return float(survey(bodies.part).volume_mm3)


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
    """Where the event makes something stand farthest out of the part's side.

    The largest distance of a point of the slices' outer outline from the outer
    outline of the part just below and just above the sheet; for measured metal, from
    that of the part at the same height; and of the step where the part above is shifted or
    made of other layers than belong there.
    """
    looked_at = (*_of_events(predicted), *_of_steps(predicted), *_of_added(predicted))
    found = [_farthest(*shapes) for shapes in looked_at]
    # Of equal ones, but for rounding, the first: what lies above.
    return max(found, key=lambda one: round(one.length_mm, 6), default=Overhang())


def _farthest(z: float, sheet: Any, sides: list[Any]) -> Overhang:
    """The point of a sheet's outline that lies farthest from the part's."""
    found = [away(sheet, shape) for shape in sides if not shape.is_empty]
    if not found or sheet.is_empty:
        return Overhang()
    lengths, directions = nearest(found)
    n = int(np.argmax(lengths))
    length = float(lengths[n])
    if length < LEAST_OVERHANG_MM:
        return Overhang(length)
    tip = shapely.get_coordinates(sheet)[n]
    x, y = (float(v) for v in directions[n] / length)
    return Overhang(length, (float(tip[0]), float(tip[1]), z), (x, y, 0.0))


def away(sheet: Any, side: Any) -> Floats:
    """From the part's outline to each point of a sheet's, (P, 2) mm; 0 within the part."""
    points = shapely.points(shapely.get_coordinates(sheet))
    ends = shapely.get_coordinates(shapely.shortest_line(points, side))
    return np.asarray(ends[0::2] - ends[1::2], np.float64)


def nearest(found: Sequence[Floats]) -> tuple[Floats, Floats]:
    """Of several outlines the one nearest to each point: distance (P,) and way (P, 2), mm."""
    ways = np.stack(found)
    lengths = np.hypot(ways[:, :, 0], ways[:, :, 1])
    first = lengths.argmin(axis=0)
    every = np.arange(lengths.shape[1])
    return lengths[first, every], ways[first, every]


def _of_events(predicted: Predicted) -> Iterator[tuple[float, Any, list[Any]]]:
    """Height, outline of the slices, outlines of the part beside them, for every sheet."""
    for event in predicted.events:
        if event.slices:
            yield (event.bottom, *_of_event(predicted, event))


def _of_event(predicted: Predicted, event: Event) -> tuple[Any, list[Any]]:
    slices, sides = sheet_and_sides(predicted, event)
    bodies = predicted.window.bodies
    sheet = shapely.union_all([outer(bodies, gate) for gate in dict.fromkeys(slices)])
    return sheet, [outer(bodies, gate) for gate in sides]


def sheet_and_sides(
    predicted: Predicted, event: Event
) -> tuple[tuple[Gate, ...], tuple[Gate, ...]]:
    """Section of each slice of a sheet, lowest first; those of the part below and above it."""
    table = [slab for slab in predicted.table if slab.stray == event.stray and slab.gates]
    shift = next(g.shift for s in table for g in s.gates if g.body in ("melted", "plane"))
    whole = range(len(event.slices)) if event.plane else event.unknown_slices
    slices = (
        Gate("plane" if k in whole else "melted", z, shift) for k, z in enumerate(event.slices)
    )
    ends = ((table[0].low, False), (table[-1].high, True))
    return tuple(slices), tuple(_side(predicted, z, up) for z, up in ends)


def _of_steps(predicted: Predicted) -> Iterator[tuple[float, Any, list[Any]]]:
    """The same of the part above an event that has moved it, and of the part below it.

    What is above stands out where it lies beyond what is below and beyond what belongs there;
    what is below, where it belongs to be covered and is not.
    """
    for event in predicted.events:
        if not event.still:
            yield from _of_step(predicted, event)


def _of_step(predicted: Predicted, event: Event) -> Iterator[tuple[float, Any, list[Any]]]:
    under = predicted.slab_at(event.bottom, above=False)
    below = _outer_of(predicted, event.bottom, False)
    above = _outer_of(predicted, event.top, True)
    level = event.top - (under.lift or 0.0)
    gate = Gate("part", level + JUST_ABOVE_MM, under.shift)
    belongs = outer(predicted.window.bodies, gate)
    yield event.top, above, [below, belongs]
    yield event.bottom, shapely.intersection(below, belongs), [above]


def step_mm(predicted: Predicted, event: Event) -> float:
    """How far the part above one event and the part below it stand out of each other, mm."""
    if event.still:
        return 0.0
    return max(_farthest(*shapes).length_mm for shapes in _of_step(predicted, event))


def _of_added(predicted: Predicted) -> Iterator[tuple[float, Any, list[Any]]]:
    """The same of the stray metal that is given as a mesh, at some heights."""
    if predicted.added is None:
        return
    for soup in predicted.window.bodies.added_by_stray.values():
        low, high = extent(soup)[:, 2]
        for z in low + (high - low) * (np.arange(MESH_HEIGHTS) + 0.5) / MESH_HEIGHTS:
            yield float(z), _outline(soup, float(z)), [_outer_of(predicted, float(z), False)]


def outer(bodies: Bodies, gate: Gate) -> Any:
    """Filled outer outline (shapely) of a section, where it lies in the predicted part."""
    key = ("outer outline", gate.body, gate.z)
    if key not in bodies.known:
        soups = {"melted": bodies.melted, "part": bodies.part, "plane": bodies.plane}
        bodies.known[key] = _outline(soups[gate.body], gate.z)
    return moved_shape(bodies.known[key], rounded(gate.shift))


def _outline(soup: Soup, z: float) -> Any:
    near = soup[cutting.crossed(soup, [z])[0]]
    outlines = [
        shapely.Polygon(loop)
        for loop in sections.loops(near, Plane.level(z)).closed
        if len(loop) > 2 and sections.signed_area(loop) > 0.0
    ]
    return shapely.union_all([shapely.make_valid(o) for o in outlines])


def _side(predicted: Predicted, z: float, above: bool) -> Gate:
    """The part's own section just below or just above a height of the predicted part."""
    slab = predicted.slab_at(z, above)
    level = z - (slab.lift or 0.0) + (JUST_ABOVE_MM if above else 0.0)
    return Gate("part", level, slab.shift)


def _outer_of(predicted: Predicted, z: float, above: bool) -> Any:
    return outer(predicted.window.bodies, _side(predicted, z, above))
