"""Stray metal that may shut a branch although every level section of it is open.

A plate that slants across a bore, slices like steps, or a fin from the floor of a level
run to its ceiling: each section shows a part of it only. In: a passage's sections, the events, what
has been drilled. Out: the heights of the stray metal of which it is not proven that it shuts none.

The proof (docs/method.md, "Crossings"): all stray metal between two heights is taken to be as thick
as that. A way of the passage that meets it can be led over it or under it, where the void reaches
farther up or down than it; and from one to the other where some upright line passes beside it, but
not through a window of an upright wall.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely

from clearance.geometry.areas import TOUCH_MM2, largest_circle_mm, polygonal
from clearance.geometry.level_faces import same_height_mm
from clearance.geometry.soup import Box, Soup, clipped, meeting, moved_shape
from clearance.passages.closings import closing
from clearance.passages.crossings import meeting_bodies, stacks
from clearance.passages.levels import Sections
from clearance.predicted.slabs import Event, Slab, pieces_of, rounded, slabs

MANY = 20_000
"""Triangles of measured metal over a passage: the shadow of more is not drawn but taken for all."""
NOISE_MM = 1e-5
"""What is narrower is left by rounding of outlines that run along one another."""
THIN_MM2 = 1e-9
"""A triangle that covers less in plan stands upright."""

Removed = Callable[[float, float], Any]


def _nothing(*_: float) -> Any:
    return shapely.Polygon()


@dataclass(frozen=True)
class Layer:
    """Stray metal between two heights of the predicted part, mm, taken for as thick as the whole.

    Attributes
    ----------
    shape : shapely geometry
        All of it in plan.
    sampled : bool
        Levels lie so far apart that they need not tell whether it closes anything.
    """

    low: float
    high: float
    shape: Any
    sampled: bool = False


@dataclass(frozen=True)
class Told:
    """What level sections tell of the passage between two heights, mm.

    Attributes
    ----------
    narrowed : bool
        Something is closed there, but not all.
    shape : shapely geometry
        Its sections, in plan.
    apart : bool
        It is sealed, which is seen, or lies on no way.
    """

    low: float
    high: float
    narrowed: bool
    shape: Any
    apart: bool = False


@dataclass(frozen=True)
class Stretch:
    """What of the part lies between two heights and has moved as one: nominal heights, shift."""

    low: float
    high: float
    shift: tuple[float, float]


def unseen(
    sections: Sections,
    events: tuple[Event, ...],
    told: Iterable[Told],
    removed: Removed = _nothing,
    measured: bool = True,
) -> tuple[float, ...]:
    """Lower heights of stray metal that may shut a branch unseen, lowest first.

    Parameters
    ----------
    sections : Sections
        The passage's own.
    events : tuple of Event
    told : iterable of Told
    removed : callable
        What drills take out of all heights between two, in plan.
    measured : bool
        False: without the stray metal that is given as a mesh, as in the nominal part.

    Returns
    -------
    tuple of float
        mm; empty if it is proven that what level sections show is all that is shut.
    """
    near = 2.0 * sections.smallest_mm
    known, found = list(told), []
    for layer in _joined(_layers(sections, events, measured), near):
        here = [t for t in known if t.low <= layer.high and t.high >= layer.low]
        if not layer.sampled and not any(t.narrowed for t in here):
            continue
        if _may_shut(sections, events, layer, _apart(here), removed(layer.low, layer.high)):
            found.append(layer.low)
    return tuple(found)


def _apart(told: list[Told]) -> Any:
    """What lies on no way, and nothing over or under it does, in plan."""
    off, on = ([t.shape for t in told if t.apart is side] for side in (True, False))
    return shapely.union_all(off).difference(shapely.union_all(on))


def _layers(sections: Sections, events: tuple[Event, ...], measured: bool) -> list[Layer]:
    """All stray metal near the passage: by slabs of the events, and stacks of measured bodies."""
    found = []
    for slab in slabs(events):
        gates = [gate for gate in slab.gates if gate.body != "part"]
        if gates:
            shape = shapely.union_all([sections.outline(gate) for gate in gates])
            found.append(Layer(slab.low, slab.high, shape))
    box = sections.window.box
    meshes = sections.window.bodies.added_by_stray if measured else {}
    for soup in meshes.values():
        bodies = meeting_bodies(soup, box)
        for stack in stacks(bodies):
            here = [b for b in bodies if stack.low <= b[..., 2].min() <= stack.high]
            apart_mm = np.diff([stack.low, *stack.levels, stack.high]).max()
            sampled = stack.sampled or bool(apart_mm > sections.smallest_mm)
            found.append(Layer(stack.low, stack.high, _shadow_of(here, box), sampled))
    return sorted(found, key=lambda layer: layer.low)


def _shadow_of(bodies: list[Soup], box: Box) -> Any:
    """Closed bodies in plan, within a box: all that faces up covers what faces down."""
    plan = Box(np.append(box.low[:2], -np.inf), np.append(box.high[:2], np.inf))
    near = np.concatenate([meeting(body, plan) for body in bodies])
    if len(near) > MANY:
        return shapely.box(*box.low[:2], *box.high[:2])
    return _shadow(near)[0]


def _joined(layers: list[Layer], gap_mm: float) -> list[Layer]:
    """Layers so near each other that no way is led between them count as one."""
    found: list[Layer] = []
    for layer in layers:
        if found and layer.low <= found[-1].high + gap_mm:
            last = found.pop()
            shape = shapely.union(last.shape, layer.shape)
            high = max(last.high, layer.high)
            layer = Layer(last.low, high, shape, last.sampled or layer.sampled)
        found.append(layer)
    return found


def _may_shut(
    sections: Sections, events: tuple[Event, ...], layer: Layer, apart: Any, removed: Any
) -> bool:
    """Whether some way may be shut by a layer; `apart`: what lies on none, in plan."""
    way = sections.smallest_mm
    metal = layer.shape.difference(removed)
    shut = metal.difference(apart)
    if _at_mouth(sections, events, layer, shut):
        return True
    floors, ceilings, through = _void(
        sections, _stretches(slabs(events), layer.low - way, layer.high + way)
    )
    # Floors and ceilings of other void may lie over or under what is apart, but none within
    # what is void throughout.
    inside = metal.intersection(shapely.union_all([floors, ceilings]))
    if _between(floors, ceilings, through, _near(inside, shut.intersection(through), way), way):
        return True
    for piece in shapely.get_parts(polygonal(through)):
        if piece.buffer(-0.5 * NOISE_MM).intersection(shut).area <= TOUCH_MM2:
            continue
        if largest_circle_mm(polygonal(piece.difference(shut))) < way:
            return True
    return False


def _near(inside: Any, through: Any, way_mm: float) -> Any:
    """What lies so near metal in the void that no way leads between, in plan."""
    metal = shapely.union(inside, through)
    return metal.buffer(-0.5 * NOISE_MM).buffer(way_mm + 0.5 * NOISE_MM)


def _between(floors: Any, ceilings: Any, through: Any, near: Any, way_mm: float) -> bool:
    """Whether some way near metal lies neither over nor under it, or changes at an upright wall.

    A run lies wholly between its heights, or one that lies over it meets one under it: at a line,
    or across a strip too narrow for any way.
    """
    if near.is_empty:
        return False
    void = shapely.union_all([floors, ceilings, through]).buffer(NOISE_MM)  # without cracks
    centres = void.buffer(-NOISE_MM - 0.5 * way_mm)
    floor, ceiling = floors.buffer(NOISE_MM), ceilings.buffer(NOISE_MM)
    both = polygonal(floor.intersection(ceiling))
    wide = both.buffer(-0.5 * way_mm).buffer(0.5 * way_mm)
    if wide.intersection(near).area > TOUCH_MM2:
        return True
    # Where a round wall ends level there is always an edge with floor and ceiling, which parts no
    # way: beyond it there is metal.
    only = [polygonal(floors.difference(ceiling)), polygonal(ceilings.difference(floor))]
    strips = [p for p in shapely.get_parts(polygonal(through)) if _narrow(p, way_mm)]
    for strip in (*shapely.get_parts(both), *strips):
        if not all(strip.distance(side) <= NOISE_MM for side in only):
            continue
        if strip.intersection(near).intersection(centres).area > TOUCH_MM2:
            return True
    return False


def _narrow(piece: Any, way_mm: float) -> bool:
    return bool(piece.buffer(-0.5 * way_mm).is_empty) and not piece.buffer(-0.5 * NOISE_MM).is_empty


def _at_mouth(sections: Sections, events: tuple[Event, ...], layer: Layer, shut: Any) -> bool:
    """Whether a layer lies where a mouth opens up or down: a line out of it tells nothing."""
    for place in (p for mouth in sections.mouths for p in closing(events, mouth).places):
        z, grown = place.rim[:, 2], sections.smallest_mm
        if z.min() <= layer.high + grown and z.max() >= layer.low - grown:
            over = shapely.Polygon(place.rim[:, :2]).buffer(-NOISE_MM)
            if over.intersection(shut).area > TOUCH_MM2:
                return True
    return False


def _stretches(table: tuple[Slab, ...], low: float, high: float) -> list[Stretch]:
    """What of the part reaches between two heights of the predicted part, lowest first."""
    return [
        Stretch(max(a, low) - lift, min(b, high) - lift, rounded(shift))
        for a, b, lift, shift in pieces_of(table)
        if a <= high and b >= low
    ]


def _void(sections: Sections, stretches: list[Stretch]) -> tuple[Any, Any, Any]:
    """The passage's void between two heights, in plan: its floors, ceilings, and what is all void.

    At a cut what the one side has and the other has not begins or ends there.
    """
    floors: list[Any] = []
    ceilings: list[Any] = []
    through: Any = None
    before: Any = None
    for n, part in enumerate(stretches):
        ends = [
            moved_shape(shapely.union_all(sections.pieces(z, above)), part.shift)
            for z, above in ((part.low, n > 0), (part.high, n == len(stretches) - 1))
        ]
        walls = _within(sections.walls_meeting(part.low, part.high), part.low, part.high)
        up, down = (moved_shape(shape, part.shift) for shape in _shadow(walls))
        floors.append(up)
        ceilings.append(down)
        if before is not None:
            floors.append(ends[0].difference(before))
            ceilings.append(before.difference(ends[0]))
        void = shapely.intersection(*ends).difference(shapely.union(up, down))
        through = void if through is None else through.intersection(void)
        before = ends[1]
    return shapely.union_all(floors), shapely.union_all(ceilings), through


def _within(walls: Soup, low: float, high: float) -> Soup:
    """Triangles cut off at two heights; level ones that lie there count too."""
    z = walls[..., 2]
    level = [(np.abs(z - end) <= same_height_mm(end)).all(1) for end in (low, high)]
    inside = clipped(walls, low, high, np.zeros(3))
    return np.concatenate([inside, walls[level[0] | level[1]]])


def _shadow(triangles: Soup) -> tuple[Any, Any]:
    """What of triangles faces up, and what faces down, in plan."""
    xy = triangles[..., :2].astype(np.float64)
    a, b = xy[:, 1] - xy[:, 0], xy[:, 2] - xy[:, 0]
    twice = a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]
    rings = np.concatenate([xy, xy[:, :1]], axis=1)
    up, down = (rings[side] for side in (twice > 2.0 * THIN_MM2, twice < -2.0 * THIN_MM2))
    return shapely.union_all(shapely.polygons(up)), shapely.union_all(shapely.polygons(down))
