"""Closing surfaces of mouths in the predicted part, and routes held against them.

In: a mouth, and how what it stands in has moved. Out: the plane figures that close it; where a
route crosses one; the route drawn back to it. A ball may stand out of a mouth, its centre may
not cross a closing surface. Source: docs/method.md, "The bracket".
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from numpy.typing import NDArray

from clearance.geometry.areas import CIRCLE_MM, largest_circle_mm, polygonal
from clearance.geometry.planes import Plane
from clearance.predicted.slabs import Event, offset
from clearance.system.once import once

if TYPE_CHECKING:
    from clearance.ports.mouth import Mouth
    from clearance.predicted.part import Predicted

ON_MM = 1e-6
"""A point so near a closing surface lies on it."""
RIM_MM = 1e-4
"""A crossing so near the rim of a closing surface counts: there is metal."""
LEVEL = 1e-3
"""A surface whose normal has a smaller share in plan is level."""

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Surface:
    """A plane figure that closes a mouth, in the plane's coordinates; its normal is outward."""

    plane: Plane
    polygon: Any

    @once
    def ring(self) -> Floats:
        """(N, 3) its outline in space, mm; the first point comes again."""
        return self.plane.to_space(shapely.get_coordinates(self.polygon.exterior))


@dataclass(frozen=True, eq=False)
class Closing:
    """A mouth where it lies in the predicted part.

    Attributes
    ----------
    mouth : Mouth
        Moved with its centre.
    places : tuple of Mouth
        Moved with each part of it: several where a sheet cuts it and what is above has moved.
    surfaces : tuple of Surface
        What closes it; all that it swept over where a sheet cuts it, so rather too much.
    """

    mouth: Mouth
    places: tuple[Mouth, ...]
    surfaces: tuple[Surface, ...]

    @property
    def flat(self) -> bool:
        """All of it lies in one plane."""
        return len(self.surfaces) == 1

    @property
    def outermost(self) -> Surface:
        """The surface beyond which a centre has surely left by this mouth."""
        normal = self.mouth.plane.normal
        return max(self.surfaces, key=lambda surface: float(surface.plane.origin @ normal))

    @property
    def width_mm(self) -> float:
        """Upper bound of a ball with its centre in the mouth.

        Parts of the rim in planes a step apart: the ball leaves a circle in the farthest of them.
        """
        if len(self.places) == 1:
            return 2.0 * (self.mouth.inscribed_radius + CIRCLE_MM)
        at = [float(one.plane.origin @ one.plane.normal) for one in self.surfaces]
        circle = largest_circle_mm(self.surfaces[0].polygon)
        return float(np.hypot(circle, 2.0 * (max(at) - min(at))))


def closing(events: tuple[Event, ...], mouth: Mouth) -> Closing:
    """Where a nominal mouth lies after the events, and what closes it there."""
    z = mouth.rim[:, 2]
    steps = _offsets(events, float(z.min()), float(z.max()))
    at_centre = moved(mouth, offset(events, float(mouth.centre[2])))
    filled = shapely.Polygon(mouth.polygon.exterior)
    if len(steps) == 1:
        return Closing(at_centre, (at_centre,), (Surface(at_centre.plane, filled),))
    swept = _swept(mouth.plane, filled, steps)
    heights = np.array([step @ mouth.plane.normal for step in steps])
    kept = [h for n, h in enumerate(heights) if (np.abs(heights[:n] - h) > ON_MM).all()]
    surfaces = [
        Surface(replace(mouth.plane, origin=mouth.plane.origin + h * mouth.plane.normal), swept)
        for h in kept
    ]
    return Closing(at_centre, tuple(moved(mouth, step) for step in steps), tuple(surfaces))


def closing_in(predicted: Predicted, mouth: Mouth) -> Closing:
    """Where a nominal mouth lies in a predicted part, and what closes it: once for all searches."""
    return predicted.kept.get(("closing", mouth), lambda: closing(predicted.events, mouth))


def _offsets(events: tuple[Event, ...], low: float, high: float) -> list[Floats]:
    """How far what is nominal between two heights has moved, from the lowest up."""
    cuts, lift = [], 0.0
    for event in events:
        cuts.append(event.bottom - lift)
        lift += event.rise
    heights = [low, *sorted(cut for cut in cuts if low < cut < high)]
    steps: list[Floats] = []
    for step in (offset(events, z + ON_MM) for z in heights):
        if not steps or np.abs(step - steps[-1]).max() > 0.0:
            steps.append(step)
    return steps


def moved(mouth: Mouth, step: Floats) -> Mouth:
    """Return a mouth moved by a step, (3,) mm."""
    if not step.any():
        return mouth
    return replace(
        mouth,
        plane=replace(mouth.plane, origin=mouth.plane.origin + step),
        centre=mouth.centre + step,
        deepest=mouth.deepest + step,
        entry=mouth.entry + step,
    )


def _swept(plane: Plane, polygon: Any, steps: list[Floats]) -> Any:
    """What a figure sweeps over on its way from step to step, sideways first, then up."""
    corners = [steps[0]]
    for step in steps[1:]:
        corners += [np.array([*step[:2], corners[-1][2]]), step]
    aside = [np.array([corner @ plane.u, corner @ plane.v]) for corner in corners]
    ring = shapely.get_coordinates(polygon)
    shapes = [polygon]
    for a, b in pairwise(aside):
        quads = np.stack([ring[:-1] + a, ring[1:] + a, ring[1:] + b, ring[:-1] + b], axis=1)
        shapes += [shapely.convex_hull(shapely.MultiPoint(quad)) for quad in quads]
        shapes += [shapely.transform(polygon, lambda xy, by=by: xy + by) for by in (a, b)]
    areas = [shape for shape in shapes if shape.geom_type == "Polygon"]
    return shapely.union_all(areas)


def mirrored(shape: Any, surface: Surface, z: float) -> Any:
    """A level section at height z, and its image behind a surface that it reaches.

    A ball with its centre inward of the surface may stand out of it. What stands out of a level
    circle is no more than the image of what does not, so the circle lies in section and image.
    (The line is taken `RIM_MM` further in, so that both overlap: add twice that to a circle.)
    """
    normal, flat = surface.plane.normal, float(np.hypot(*surface.plane.normal[:2]))
    if flat < LEVEL or not reaches(shape, surface, Plane.level(z)):
        return shape
    aside = normal[:2] / flat
    # The line in which the plane meets the level: (x, y) @ aside = at.
    at = float(surface.plane.origin @ normal - z * normal[2]) / flat - RIM_MM
    x0, y0, x1, y1 = shape.bounds
    far = 2.0 * (abs(at) + max(abs(x0), abs(x1), abs(y0), abs(y1)) + 1.0)
    along = np.array([-aside[1], aside[0]])
    corners = [at * aside + far * along, at * aside - far * along]
    corners += [corners[1] - far * aside, corners[0] - far * aside]
    inner = polygonal(shapely.intersection(shape, shapely.Polygon(corners)))
    image = shapely.transform(inner, lambda xy: xy - 2.0 * (xy @ aside - at)[:, None] * aside)
    # Rounding may make edges cross that lay close together.
    return polygonal(shapely.union(shape, shapely.make_valid(image)))


def imaged(shape: Any, closings: Sequence[Closing], z: float) -> Any:
    """A level section at height z, and its images behind all closing surfaces that it reaches.

    A ball may stand out of several mouths, at one over its image at another.
    It is a little too large, for the lines that `mirrored` draws.
    """
    surfaces = [s for one in closings for s in one.surfaces if reaches(shape, s, Plane.level(z))]
    for surface in surfaces * len(surfaces):
        shape = mirrored(shape, surface, z)
    return shape.buffer(2.0 * RIM_MM) if surfaces else shape


def reaches(shape: Any, surface: Surface, plane: Plane) -> bool:
    """Whether a figure in a plane, in its coordinates, comes to a closing surface."""
    ring = surface.ring
    height = plane.signed(ring)
    steps = np.flatnonzero((height[:-1] > 0.0) != (height[1:] > 0.0))
    if len(steps) == 0:
        return False
    a, b = ring[steps], ring[steps + 1]
    share = height[steps] / (height[steps] - height[steps + 1])
    cut = plane.to_plane(a + share[:, None] * (b - a))
    return bool(shapely.MultiPoint(cut).convex_hull.distance(shape) < RIM_MM)


# ---- routes -------------------------------------------------------------------------------------


def crossed(route: Floats, closings: tuple[Closing, ...]) -> Floats | None:
    """Place where a route (N, 3) first crosses the closing surface of some mouth, or None.

    A route may begin or end on a surface and run along it: what is beyond counts.
    """
    for surface in (s for one in closings for s in one.surfaces):
        steps, places = _crossings(route, surface)
        if len(steps):
            return np.asarray(places[0])
    return None


def _crossings(route: Floats, surface: Surface) -> tuple[NDArray[np.int64], Floats]:
    """Steps of a route on which it crosses a surface, and where, (N,) and (N, 3)."""
    side = surface.plane.signed(route) - ON_MM
    steps = np.flatnonzero((side[:-1] > 0.0) != (side[1:] > 0.0))
    if len(steps) == 0:
        return steps, np.empty((0, 3))
    share = (side[steps] / (side[steps] - side[steps + 1]))[:, None]
    places = route[steps] + share * (route[steps + 1] - route[steps])
    points = shapely.points(surface.plane.to_plane(places))
    inside = shapely.dwithin(surface.polygon, points, RIM_MM)
    return steps[inside], places[inside]


def drawn_in(route: Floats, closings: tuple[Closing, ...]) -> Floats:
    """A route whose stretches outward of a closing surface are laid onto it."""
    for surface in (s for one in closings for s in one.surfaces):
        steps, places = _crossings(route, surface)
        side = surface.plane.signed(route)
        places = places - surface.plane.signed(places)[:, None] * surface.plane.normal
        pieces, kept, k = [], 0, 0
        while k + 1 < len(steps):
            out, back = steps[k], steps[k + 1]
            k += 1
            if side[out] > ON_MM or side[back] <= ON_MM:
                continue
            beyond = slice(out + 1, back + 1)
            laid = route[beyond] - side[beyond, None] * surface.plane.normal
            pieces += [route[kept : out + 1], places[k - 1][None], laid, places[k][None]]
            kept, k = back + 1, k + 1
        route = np.concatenate([*pieces, route[kept:]])
    return route
