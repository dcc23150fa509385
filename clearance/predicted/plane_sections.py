"""Sections of the predicted part by any plane, exact as polygons.

In: the predicted part in a window and a plane. Out: metal as shapely polygons in
the plane's coordinates. Level planes need less (`Predicted.section`).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from clearance.geometry import sections
from clearance.geometry.areas import TOUCH_MM2, common, polygonal, united, without
from clearance.geometry.cutting import Segments, cut
from clearance.geometry.planes import Plane
from clearance.geometry.sight import winding_at
from clearance.geometry.soup import Box, Soup, box_soup, meeting
from clearance.predicted.part import NOMINAL, Predicted, Window
from clearance.predicted.slabs import Slab, rounded

FAR_MM = 1e5
NEAR_MM = 1e-3
"""A slab so far above or below what is asked for is left out: what is cut of it would be empty."""
IN_FACE_MM = 1e-5
"""A place so near to a face of the part lies in it: float32 errs by as much at 100 mm."""
UPRIGHT = 1e-7
"""Vertical part of the normal below which a plane is upright: a sheet's height leans by less."""

Move = tuple[tuple[float, float], float]
"""Shift and lift of a slab that has the part."""
Outlines = list[NDArray[np.float64]]


def predicted_metal(
    predicted: Predicted,
    plane: Plane,
    whole: bool = False,
    within: Any = None,
) -> tuple[Any, Any]:
    """Metal of the predicted part in a plane.

    Parameters
    ----------
    predicted : Predicted
    plane : planes.Plane
    whole : bool
        Cut all triangles of the part, so that the metal is right out to the window's
        rim. Otherwise only those near the passage, its mouths taken for closed at their
        closing surfaces: outlines that leave it are left out, the plane's origin must lie
        in void, and only the void around it is right, if its outline lies wholly inside.
    within : shapely geometry, optional
        Only the metal in this figure of the plane is asked for, which is quicker.

    Returns
    -------
    window, metal : shapely geometry
        The window's outline in the plane, or what of the figure lies in it, and the metal there.
    """
    seen_in = predicted.window
    window = _outline(seen_in, plane) if within is None else seen_of(seen_in, plane, within)
    if abs(plane.normal[2]) > 1.0 - 1e-12:
        z = float(plane.origin[2])
        level = predicted.section(z, plugged=not whole)
        metal = shapely.transform(level, lambda xy: _on_plane(plane, xy, z))
        return window, metal if within is None else common(metal, window)
    outlines = cache(lambda move: _outlines(predicted, plane, move, whole))
    lacking = 0 if whole else _lacking(predicted, plane, outlines)
    # Most slabs have the part where others have it.
    nominal: dict[Move, Any] = {}
    pieces = []
    bottom, top = _heights(plane, window)
    for slab in predicted.table:
        if slab.high < bottom or slab.low > top:
            continue
        whole_height = slab.low <= bottom and slab.high >= top
        strip = window if whole_height else common(_strip(plane, slab), window)
        if strip.is_empty:
            continue
        if slab.lift is not None:
            move = (slab.shift, slab.lift)
            if move not in nominal and within is not None and whole:
                nominal[move] = nominal_metal(seen_in.bodies.part, plane, move, window)
            elif move not in nominal:
                closed = [*_frames(lacking), *outlines(move)]
                nominal[move] = sections.polygons(closed, overlapping=True)
            pieces.append(common(nominal[move], strip))
        if slab.gates:
            sheet = of_plate(predicted.stray_outline(slab), slab, plane)
            pieces.append(common(sheet, strip))
    if predicted.added is not None:
        added = sections.metal(predicted.added, plane, overlapping=True)
        pieces.append(common(added, window))
    metal = pieces[0] if len(pieces) == 1 else united(pieces)
    removed = predicted.removed(plane)
    return window, metal if removed.is_empty else without(metal, removed)


def stray_metal(predicted: Predicted, plane: Plane) -> Any:
    """Metal of the stray sheets in an upright or slanting plane, less what belongs there.

    Where the part is set aside or lifted, what it has at the cut belongs there.
    """
    pieces = []
    for slab in predicted.table:
        if not slab.gates:
            continue
        sheet = of_plate(predicted.stray_outline(slab), slab, plane)
        if slab.lift is not None:
            outlines = _outlines(predicted, plane, (slab.shift, slab.lift), True)
            own = sections.polygons(outlines, overlapping=True)
        else:
            cut = [predicted.outline(gate) for gate in slab.gates if gate.body == "part"]
            own = of_plate(united(cut), slab, plane)
        pieces.append(without(sheet, own))
    if predicted.added is not None:
        added = sections.metal(predicted.added, plane, overlapping=True)
        nominal = predicted_metal(predicted.window.predict(NOMINAL), plane, True)[1]
        pieces.append(without(added, nominal))
    return without(united(pieces), predicted.removed(plane))


def of_plate(shape: Any, slab: Slab, plane: Plane) -> Any:
    """What a level shape, as thick as a slab, leaves in a plane that is not level.

    Seen from above, a slanting plane lies between the slab's heights in a strip, and an upright
    one in a line: what of the shape lies there is moved into the plane. Nothing has to be cut
    into triangles.
    """
    if shape.is_empty:
        return shapely.Polygon()
    # Where the plane is at mid-height, near the shape, and a stretch of line that passes all of it.
    lean, across = float(plane.normal[2]), plane.normal[:2]
    run = float(np.hypot(*across))
    low, high = np.reshape(shape.bounds, (2, 2))
    middle = 0.5 * (low + high)
    rise = 0.5 * (slab.low + slab.high) - plane.origin[2]
    off = (middle - plane.origin[:2]) @ across + rise * lean
    along = np.array([-across[1], across[0]]) / run
    line = middle - off * across / run**2 + np.outer([-1.0, 1.0], (high - low).sum() * along)
    if abs(lean) <= UPRIGHT:
        return _over_stretches(common(shapely.LineString(line), shape), slab, plane)
    half = 0.5 * (slab.high - slab.low) * lean * across / run**2
    strip = shapely.Polygon([*(line - half), *(line + half)[::-1]])

    def into_plane(xy: NDArray[np.float64]) -> NDArray[np.float64]:
        z = plane.origin[2] - (xy - plane.origin[:2]) @ across / lean
        return plane.to_plane(np.column_stack([xy, z]))

    # The strip may be thinner than the grid of other overlays.
    return polygonal(shapely.transform(shapely.intersection(shape, strip), into_plane))


def _over_stretches(seen: Any, slab: Slab, plane: Plane) -> Any:
    """A rectangle in an upright plane over each stretch of a line, as high as a slab."""
    stretches = [
        shapely.get_coordinates(piece)
        for piece in shapely.get_parts(seen)
        if piece.geom_type == "LineString" and not piece.is_empty
    ]
    corners = [
        [[*p, slab.low], [*q, slab.low], [*q, slab.high], [*p, slab.high]]
        for p, q in ((ends[0], ends[-1]) for ends in stretches)
    ]
    return united([shapely.Polygon(plane.to_plane(c)) for c in corners])


def _on_plane(plane: Plane, xy: NDArray[np.float64], z: float) -> NDArray[np.float64]:
    return plane.to_plane(np.column_stack([xy, np.full(len(xy), z)]))


def _outline(window: Window, plane: Plane) -> Any:
    """Where the window's box meets the plane."""
    low, high = window.box.low, window.box.high
    box = box_soup(tuple(low), tuple(high))
    return sections.metal(box, plane)


def seen_of(window: Window, plane: Plane, figure: Any) -> Any:
    """What of a figure in the plane lies in the window's box."""
    box = window.box
    corners = plane.to_space(shapely.get_coordinates(figure))
    if bool((corners > box.low + NEAR_MM).all() and (corners < box.high - NEAR_MM).all()):
        x0, y0, x1, y1 = figure.bounds  # all of it: what is around it may be any rectangle
        around = shapely.box(x0 - 1.0, y0 - 1.0, x1 + 1.0, y1 + 1.0)
    else:
        around = _outline(window, plane)
    return polygonal(common(around, figure))


def _heights(plane: Plane, figure: Any) -> tuple[float, float]:
    """Heights between which a figure in a plane lies, and a little beyond."""
    z = plane.to_space(shapely.get_coordinates(figure))[:, 2]
    return float(z.min(initial=np.inf)) - NEAR_MM, float(z.max(initial=-np.inf)) + NEAR_MM


def _strip(plane: Plane, slab: Slab) -> Any:
    """The part of a plane (not level) that lies within a slab, as a very long rectangle."""
    rise = np.array([plane.u[2], plane.v[2]])
    slope = float(np.hypot(*rise))
    up = rise / slope
    across = np.array([-up[1], up[0]])
    low, high = (
        float(np.clip((z - plane.origin[2]) / slope, -FAR_MM, FAR_MM))
        for z in (slab.low, slab.high)
    )
    corners = [up * low - across * FAR_MM, up * low + across * FAR_MM]
    corners += [up * high + across * FAR_MM, up * high - across * FAR_MM]
    return shapely.Polygon(corners)


def _outlines(predicted: Predicted, plane: Plane, move: Move, whole: bool) -> Outlines:
    """Closed outlines of the nominal, moved as a slab has it; its mouths closed unless whole."""
    window, back = predicted.window, _back(plane, move)
    if whole:
        return sections.loops(window.bodies.part, back).closed
    found = [cut(soup, back) for soup in (window.near, window.closing_lids)]
    return sections.chain(Segments(*map(np.concatenate, zip(*found, strict=True)))).closed


def _back(plane: Plane, move: Move) -> Plane:
    """A plane as the part saw it before it was moved."""
    shift, lift = move
    return Plane(plane.origin - [*rounded(shift), lift], plane.normal, plane.u, plane.v)


def nominal_metal(part: Soup, plane: Plane, move: Move, figure: Any) -> Any:
    """Metal of the nominal part, shifted and lifted, in a figure of a plane that is not level.

    Only triangles near the figure and above it are looked at, so no others need be given. Where a
    face of the part lies in the plane, what is metal on either side of it.
    """
    plane = _back(plane, move)
    box = Box.around(plane.to_space(shapely.get_coordinates(figure))).grown(2.0 * IN_FACE_MM)
    near = meeting(part, box)
    above = meeting(part, Box(box.low, np.append(box.high[:2], np.inf)))
    height = plane.signed(near.reshape(-1, 3).astype(np.float64)).reshape(-1, 3)
    faces = (np.abs(height) <= IN_FACE_MM).all(axis=1).any()
    sides = (-2.0 * IN_FACE_MM, 2.0 * IN_FACE_MM) if faces else (0.0,)
    beside = [replace(plane, origin=plane.origin + s * plane.normal) for s in sides]
    return united([_divided(near, above, one, figure) for one in beside])


def _divided(near: Soup, above: Soup, plane: Plane, figure: Any) -> Any:
    """The metal in a figure, which triangles divide into pieces.

    Each lies wholly in metal or wholly in void: the winding number at one place in it tells.
    """
    lines = shapely.linestrings(cut(near, plane).points)
    noded = united([figure.boundary, *lines])
    pieces = shapely.get_parts(shapely.polygonize(shapely.get_parts(noded)))
    pieces = pieces[shapely.area(pieces) > TOUCH_MM2]
    at = shapely.point_on_surface(pieces)
    inside = shapely.contains_properly(figure, at)
    places = plane.to_space(shapely.get_coordinates(at[inside]))
    return polygonal(united(pieces[inside][winding_at(above, places) >= 1]))


def _lacking(predicted: Predicted, plane: Plane, outlines: Callable[[Move], Outlines]) -> int:
    """How many outlines around the plane's origin, a point of the void, are left out.

    The part's outer outlines need not lie near the passage. Void has winding number 0;
    each outline that is missing around it takes one away.
    """
    slab = predicted.slab_at(float(plane.origin[2]), above=False)
    if slab.lift is None:
        return 0
    at = plane.to_plane(plane.origin[None])
    return max(0, -int(sections.winding(outlines((slab.shift, slab.lift)), at)[0]))


def _frames(count: int) -> Outlines:
    """Far outlines of metal in the place of those that are left out."""
    frame = FAR_MM * np.array([(-1.0, -1.0), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0)])
    return [frame] * count
