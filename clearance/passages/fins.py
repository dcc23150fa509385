"""Stray metal that may shut a branch although every level section of it is open.

A plate that slants across a bore, slices like steps, or a fin from the floor of a level
run to its ceiling: each section shows a part of it only. In: a passage's sections, the events, what
has been drilled. Out: the heights of the stray metal of which it is not proven that it shuts none.

The proof (docs/method.md, "Crossings"): all stray metal between two heights is taken to be as thick
as that. A way of the passage that meets it can be led over it or under it, where the void reaches
farther up or down than it; and from one to the other where some upright line passes beside it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from clearance.geometry.areas import TOUCH_MM2, largest_circle_mm, polygonal
from clearance.geometry.level_faces import same_height_mm
from clearance.geometry.soup import Box, Soup, clipped, meeting, moved_shape
from clearance.passages.closings import closing
from clearance.passages.crossings import meeting_bodies, stacks
from clearance.passages.levels import Sections
from clearance.predicted.stray import Event, Slab, pieces_of, rounded, slabs

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
        Level sections do not tell whether it closes anything.
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
    apart : shapely geometry, optional
        What is sealed there, which is seen, or lies on no way, in plan.
    """

    low: float
    high: float
    narrowed: bool
    apart: Any = None


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

    Returns
    -------
    tuple of float
        mm; empty if it is proven that what level sections show is all that is shut.
    """
    near = 2.0 * sections.smallest_mm
    known, found = list(told), []
    for layer in _joined(_layers(sections, events), near):
        here = [t for t in known if t.low <= layer.high and t.high >= layer.low]
        if not layer.sampled and not any(t.narrowed for t in here):
            continue
        apart = shapely.union_all([t.apart for t in here if t.apart is not None])
        shut = layer.shape.difference(apart).difference(removed(layer.low, layer.high))
        if _may_shut(sections, events, layer, shut):
            found.append(layer.low)
    return tuple(found)


def _layers(sections: Sections, events: tuple[Event, ...]) -> list[Layer]:
    """All stray metal near the passage: by slabs of the events, and stacks of measured bodies."""
    found = []
    for slab in slabs(events):
        gates = [gate for gate in slab.gates if gate.body != "part"]
        if gates:
            shape = shapely.union_all([sections.outline(gate) for gate in gates])
            found.append(Layer(slab.low, slab.high, shape))
    box = Box(*_around(sections))
    for soup in sections.window.bodies.added_by_stray.values():
        bodies = meeting_bodies(soup, box)
        for stack in stacks(bodies):
            here = [b for b in bodies if stack.low <= b[..., 2].min() <= stack.high]
            found.append(Layer(stack.low, stack.high, _shadow_of(here, box), stack.sampled))
    return sorted(found, key=lambda layer: layer.low)


def _around(sections: Sections) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    return sections.window.box.low, sections.window.box.high


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


def _may_shut(sections: Sections, events: tuple[Event, ...], layer: Layer, shut: Any) -> bool:
    """Whether some way may be shut by a layer, there where it closes something in plan."""
    grown = sections.smallest_mm
    if _at_mouth(sections, events, layer, shut):
        return True
    stretches = _stretches(slabs(events), layer.low - grown, layer.high + grown)
    floors, ceilings, through = _void(sections, stretches)
    between = floors.intersection(ceilings).intersection(shut)
    # A run lies wholly between its heights: neither over nor under it. Where a round wall ends
    # level there is always such an edge, too narrow for any way.
    if not between.buffer(-0.5 * sections.smallest_mm).is_empty:
        return True
    for piece in shapely.get_parts(polygonal(through)):
        if piece.buffer(-0.5 * NOISE_MM).intersection(shut).area <= TOUCH_MM2:
            continue
        if largest_circle_mm(polygonal(piece.difference(shut))) < sections.smallest_mm:
            return True
    return False


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
