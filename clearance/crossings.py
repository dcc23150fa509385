"""Crossings: where a passage meets a stray sheet, and what the sheet leaves open there.

In: the predicted part in a window and a test that says which void belongs to the
passage. Out: one `Crossing` per connected piece of the nominal passage within a
sheet, with exact polygon areas and the largest circle that any ball on its way
through the crossing has to fit into.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from clearance.predicted import Predicted, moved_shape
from clearance.sections import Plane
from clearance.stray import Event

CIRCLE_MM = 1e-3
"""Tolerance of the largest inscribed circle; added to what is reported as an upper bound."""
TOUCH_MM2 = 1e-9
"""Two outlines that overlap by less only touch."""
CUT_MM = 1e-4
"""Half height of the layer of squares that stands for a cut without a sheet."""
MESH_LEVELS = 25
"""Sections taken through a stray sheet that is given as a mesh."""

Belongs = Callable[[NDArray[np.float64]], bool]


@dataclass(frozen=True, eq=False)
class Crossing:
    """One connected piece of a nominal passage within a stray sheet.

    Attributes
    ----------
    stray : int
        Number of the stray table.
    height_mm, centre_mm
        Where the open fraction is smallest; centre of what is open, or of the passage.
    nominal_area_mm2, open_area_mm2, open_fraction
        At the cut; smallest over the sheet's thickness; smallest ratio at one height.
    circle_mm, level_mm : float
        Diameter of the largest circle in the narrowest open section, an upper bound of
        the ball that passes there, and the height of that section.
    low, high : float, mm
        The sheet's faces, penetration included.
    footprint : shapely geometry
        All nominal sections of this piece within the sheet, where they lie in the predicted part.
    opening : shapely geometry
        The smallest open section.
    """

    stray: int
    height_mm: float
    centre_mm: tuple[float, float, float]
    nominal_area_mm2: float
    open_area_mm2: float
    open_fraction: float
    circle_mm: float
    low: float
    high: float
    footprint: Any
    opening: Any
    level_mm: float


@dataclass(frozen=True, eq=False)
class _Level:
    """One horizontal section within a sheet."""

    z: float
    at_cut: bool
    below: list[Any]  # nominal outlines of the passage just below, in nominal place
    above: list[Any]
    below_shift: tuple[float, float]
    above_shift: tuple[float, float]
    void: Any  # open on both sides, in predicted place
    drilled: Any  # what has been taken out there, in predicted place


def crossings(predicted: Predicted, belongs: Belongs) -> list[Crossing]:
    """Find all crossings of the void that `belongs` to a passage.

    Parameters
    ----------
    predicted : Predicted
    belongs : callable
        Takes an (3,) point of the nominal void, mm; true if it belongs to the passage.

    Returns
    -------
    list of Crossing
        In order of stray table, then of place.
    """
    found: list[Crossing] = []
    lift, shift = 0.0, (0.0, 0.0)
    for event in predicted.events:
        moved = (shift[0] + event.shift[0], shift[1] + event.shift[1])
        levels = _event_levels(predicted, event, lift, shift, moved, belongs)
        low = event.bottom - (event.penetration if event.slices else CUT_MM)
        high = event.top if event.slices else event.bottom + CUT_MM
        found += _pieces(levels, event.stray, low, high)
        lift, shift = lift + event.rise, moved
    found += _mesh_crossings(predicted, belongs)
    return found


def _event_levels(
    predicted: Predicted,
    event: Event,
    lift: float,
    shift: tuple[float, float],
    moved: tuple[float, float],
    belongs: Belongs,
) -> list[_Level]:
    """Sections at the faces of every layer of a sheet, the cut and the penetration included."""
    above_lift = lift + event.rise
    heights = [event.bottom + k * event.layer for k in range(len(event.slices) + 1)]
    if event.slices and event.penetration > 0.0:
        heights.insert(0, event.bottom - event.penetration)
    levels = []
    for z in heights:
        void = _void(predicted, z, False).intersection(_void(predicted, z, True))
        # Below the cut the passage is where the lower part has it; above, where the upper has it.
        lower_z = min(z, event.bottom) - lift
        if event.rise == 0.0:
            upper_z = z - lift
        else:
            upper_z = event.top - above_lift if z > event.bottom or not event.slices else lower_z
        below_shift, below_z = (shift, lower_z) if z <= event.bottom else (moved, upper_z)
        above_shift, above_z = (moved, upper_z) if z >= event.bottom else (shift, lower_z)
        levels.append(
            _Level(
                z,
                z == event.bottom,
                _outlines(predicted, below_z, False, belongs),
                _outlines(predicted, above_z, True, belongs),
                below_shift,
                above_shift,
                void,
                predicted.removed(Plane.level(z)),
            )
        )
    return levels


def _void(predicted: Predicted, z: float, above: bool) -> Any:
    return predicted.window.rectangle.difference(predicted.section(z, above, plugged=True))


def _outlines(predicted: Predicted, z: float, above: bool, belongs: Belongs) -> list[Any]:
    """Outlines of the nominal passage at a nominal height."""
    window = predicted.window
    at = window.beside("closed", z, above)
    void = window.rectangle.difference(window.metal_at("closed", at))
    kept = []
    for piece in shapely.get_parts(void):
        if piece.area <= TOUCH_MM2:
            continue
        x, y = shapely.get_coordinates(piece.representative_point())[0]
        if belongs(np.array([x, y, at])):
            kept.append(piece)
    return kept


def _pieces(levels: list[_Level], stray: int, low: float, high: float) -> list[Crossing]:
    """Group the outlines of all levels into connected pieces and measure each."""
    import networkx

    graph = networkx.Graph()
    nodes: list[tuple[int, bool, int]] = []
    shapes: dict[tuple[int, bool, int], Any] = {}
    for n, level in enumerate(levels):
        for above, outlines in ((False, level.below), (True, level.above)):
            for k, shape in enumerate(outlines):
                nodes.append((n, above, k))
                shapes[nodes[-1]] = shape
    graph.add_nodes_from(nodes)
    for a in nodes:
        for b in nodes:
            near = b[0] - a[0] == 1 or (b[0] == a[0] and a[1] != b[1])
            if near and a < b and shapes[a].intersection(shapes[b]).area > TOUCH_MM2:
                graph.add_edge(a, b)
    groups = [sorted(group) for group in networkx.connected_components(graph)]
    return [
        crossing
        for group in sorted(groups)
        if (crossing := _measure(levels, group, shapes, stray, low, high)) is not None
    ]


def _measure(
    levels: list[_Level],
    group: list[tuple[int, bool, int]],
    shapes: dict[tuple[int, bool, int], Any],
    stray: int,
    low: float,
    high: float,
) -> Crossing | None:
    nominal_area = 0.0
    most_area = 0.0
    least_open, least_ratio, least_circle = np.inf, np.inf, np.inf
    worst_z, worst_open = 0.0, shapely.Polygon()
    level_z = 0.0
    footprint = []
    for n, level in enumerate(levels):
        below = shapely.union_all([shapes[key] for key in group if key[:2] == (n, False)])
        above = shapely.union_all([shapes[key] for key in group if key[:2] == (n, True)])
        footprint += [
            _with_bore(moved_shape(shape, shift), level.drilled)
            for shape, shift in ((below, level.below_shift), (above, level.above_shift))
        ]
        area = max(below.area, above.area)
        most_area = max(most_area, area)
        if level.at_cut:
            nominal_area = below.area or above.area
        if min(below.area, above.area) <= TOUCH_MM2:
            continue  # the passage ends at this face: nothing goes through it
        opening = polygonal(level.void.intersection(footprint[-2]).intersection(footprint[-1]))
        least_open = min(least_open, opening.area)
        circle = largest_circle_mm(opening)
        ratio = min(opening.area / area, 1.0)
        if (ratio, circle) < (least_ratio, least_circle) or not np.isfinite(least_ratio):
            worst_z, worst_open = level.z, opening
        least_ratio = min(least_ratio, ratio)
        if circle < least_circle:
            least_circle, level_z = circle, level.z
    if not np.isfinite(least_open):
        return None
    outline = shapely.union_all(footprint)
    middle = (outline if worst_open.is_empty else worst_open).centroid
    return Crossing(
        stray,
        float(worst_z),
        (float(middle.x), float(middle.y), float(worst_z)),
        float(nominal_area or most_area),
        float(least_open),
        float(least_ratio),
        float(least_circle),
        low,
        high,
        outline,
        worst_open,
        float(level_z),
    )


def _with_bore(shape: Any, drilled: Any) -> Any:
    """A passage's outline, widened by what has been drilled across it."""
    cut = [part for part in shapely.get_parts(drilled) if part.intersects(shape)]
    return shapely.union_all([shape, *cut]) if cut else shape


def polygonal(shape: Any) -> Any:
    """The areas of a geometry, without the lines and points that an intersection leaves."""
    parts = shapely.get_parts(shape)
    areas = (shapely.get_type_id(parts) == shapely.GeometryType.POLYGON) & (
        shapely.area(parts) > TOUCH_MM2
    )
    return shapely.MultiPolygon(list(parts[areas]))


def largest_circle_mm(shape: Any, within_mm: float = CIRCLE_MM) -> float:
    """Diameter of the largest circle within a polygon, never too small (0 if it is empty).

    `within_mm`: its radius is too large by this at most; ten times that is five times quicker.
    """
    largest = 0.0
    for polygon in shapely.get_parts(shape):
        if polygon.is_empty:
            continue
        # The search can only be off by its tolerance, so add it.
        radius = shapely.maximum_inscribed_circle(polygon, tolerance=within_mm).length
        largest = max(largest, 2.0 * (radius + within_mm))
    return largest


def _mesh_crossings(predicted: Predicted, belongs: Belongs) -> list[Crossing]:
    """Crossings of a stray sheet that is given as a mesh: nothing moves, the height is sought."""
    found: list[Crossing] = []
    meshes = {} if predicted.added is None else predicted.window.bodies.added_by_stray
    for stray, soup in meshes.items():
        low, high = float(soup[..., 2].min()), float(soup[..., 2].max())
        inset = 1e-4 * (high - low)
        levels = []
        for z in np.linspace(low + inset, high - inset, MESH_LEVELS):
            at = float(z) - float(predicted.offset_below(z)[2])
            dx, dy, _ = predicted.offset_below(z)
            shift = (float(dx), float(dy))
            outlines = _outlines(predicted, at, False, belongs)
            levels.append(
                _Level(
                    float(z),
                    False,
                    outlines,
                    outlines,
                    shift,
                    shift,
                    _void(predicted, z, False),
                    predicted.removed(Plane.level(float(z))),
                )
            )
        found += [c for c in _pieces(levels, stray, low, high) if c.open_fraction < 1.0 - 1e-9]
    return found


def squares_of(predicted: Predicted, shape: Any, but_not: Any) -> NDArray[np.int64]:
    """Squares that a shape, grown by a pitch, meets, less those that `but_not` meets."""
    g = predicted.grid
    grown = shape.buffer(g.pitch_mm)
    x0, y0, x1, y1 = grown.bounds
    i0, j0 = g.nearest(x0 - g.pitch_mm, y0 - g.pitch_mm)
    i1, j1 = g.nearest(x1 + g.pitch_mm, y1 + g.pitch_mm)
    i, j = (a.ravel() for a in np.mgrid[i0 : min(i1, g.nx - 2) + 1, j0 : min(j1, g.ny - 2) + 1])
    boxes = shapely.box(g.x_mm(i), g.y_mm(j), g.x_mm(i + 1), g.y_mm(j + 1))
    shapely.prepare(grown)
    keep = shapely.intersects(grown, boxes)
    if not but_not.is_empty:
        shapely.prepare(but_not)
        keep &= ~shapely.intersects(but_not, boxes)
    return np.asarray(i[keep] * (g.ny - 1) + j[keep], np.int64)
