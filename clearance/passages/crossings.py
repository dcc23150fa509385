"""Crossings: where a passage meets a stray sheet, and what the sheet leaves open there.

In: the predicted part in a window and the passage's own sections there. Out: one `Crossing` per
connected piece of the nominal passage within a sheet, with exact polygon areas and the largest
circle that any ball on its way through the crossing has to fit into.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from clearance.geometry.areas import TOUCH_MM2, largest_circle_mm, polygonal
from clearance.geometry.planes import Plane
from clearance.geometry.soup import Box, Soup, meeting, moved_shape
from clearance.mesh.shells import find_shells
from clearance.passages.groups import Group, grouped
from clearance.passages.levels import ROUGH_MM, Face, Sections, face_at, faces
from clearance.passages.stoppers import seeds, sunk_mm
from clearance.ports.mouth import Mouth
from clearance.predicted.part import Predicted, Window
from clearance.predicted.slabs import Gate, rounded

CUT_MM = 1e-4
"""Half height of the layer of squares that stands for a cut without a sheet."""
MESH_LEVELS = 24
"""Stretches between vertex heights of stray metal given as a mesh that are looked into, at most;
a longer one counts as several."""
INSET = 1e-4
"""How far from its ends a stretch is cut, as a share of it."""

EQUAL_MM = 1e-5
"""Circles that differ by less, as by rounding, are equally large."""
WIDER = 4.0
"""More pitches than a stopper stands over its mouth's rim."""

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
    sampled : bool
        Stray metal between the levels looked at may close more: there were too many to take all.
    ends : tuple of tuple of shapely geometry
        Where its void goes on below the sheet, and above: one outline for each opening.
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
    sampled: bool = False
    ends: tuple[tuple[Any, ...], tuple[Any, ...]] = ((), ())


def copied(crossing: Crossing) -> Crossing:
    """The same with figures of its own, for another thread: asking them changes what they keep."""
    ends = tuple(tuple(shapely.force_2d(one) for one in side) for side in crossing.ends)
    return replace(
        crossing,
        footprint=shapely.force_2d(crossing.footprint),
        opening=shapely.force_2d(crossing.opening),
        ends=(ends[0], ends[1]),
    )


class WindowSections(Sections):
    """A passage's own sections, cut from the part in a window."""

    def __init__(
        self,
        window: Window,
        belongs: Belongs,
        mouths: Sequence[Mouth],
        smallest_mm: float,
        walls: Callable[[], Soup],
    ):
        """`belongs`: whether a (3,) point of the nominal void, mm, is the passage's.

        `walls`: the triangles that may bound its void.
        """
        super().__init__(smallest_mm, np.inf)
        self.walls = walls
        self.window, self.belongs, self.mouths = window, belongs, mouths
        self._own: dict[float, tuple[Any, ...]] = {}
        self._outlines: dict[Gate, Any] = {}

    def pieces(self, z: float, above: bool = False) -> tuple[Any, ...]:
        """Polygons of the passage's own nominal void at a nominal height."""
        at = self.window.beside("closed", z, above)
        key = round(at, 9)
        if key not in self._own:
            void = self.window.rectangle.difference(self.window.metal_at("closed", at))
            self._own[key] = tuple(p for p in shapely.get_parts(void) if self._is_own(p, at))
        return self._own[key]

    def _is_own(self, piece: Any, z: float) -> bool:
        if piece.area <= TOUCH_MM2:
            return False
        seen = places_in(self.window, piece, z)
        return any(map(self.belongs, seen)) if seen else self._behind_own(piece, z)

    def _behind_own(self, piece: Any, z: float) -> bool:
        """Whether a piece that a stopper hides lies behind a mouth of the passage's void."""
        pitch = self.window.pitch_mm
        at = np.array([[*shapely.get_coordinates(shapely.point_on_surface(piece))[0], z]])
        for mouth in self.window.mouths or self.mouths:
            if not -sunk_mm(mouth, pitch) <= mouth.plane.signed(at)[0] < 0.0:
                continue
            beside = shapely.Point(mouth.plane.to_plane(at)[0]).distance(mouth.polygon)
            if beside <= WIDER * pitch and any(map(self.belongs, seeds(mouth, pitch))):
                return True
        return False

    def outline(self, gate: Gate) -> Any:
        """Section that a gate makes metal, where it lies in the predicted part."""
        if gate not in self._outlines:
            shape = self.window.metal(gate.body, gate.z, gate.above)
            self._outlines[gate] = moved_shape(shape, rounded(gate.shift))
        return self._outlines[gate]

    def added(self, z: float, above: bool) -> Any:
        """Section of the stray metal that is given as a mesh."""
        measured = self.window.bodies.added
        return None if measured is None else self.window.metal("added", z, above)

    def walls_between(self, low: float, high: float) -> Soup:
        """Triangles of the part near the passage that have a vertex between two heights."""
        return with_vertex_between(self.window.near, low, high)

    def walls_meeting(self, low: float, high: float) -> Soup:
        """Triangles that may bound the passage's void and reach between two heights."""
        return between_heights(self.walls(), low, high)


def places_in(window: Window, piece: Any, z: float) -> list[NDArray[np.float64]]:
    """Places (3,) from which columns tell whose void a level piece is: not within a stopper."""
    parts = window.unstopped(piece, z)
    at = shapely.get_coordinates(shapely.point_on_surface(parts)) if parts else ()
    return [np.array([x, y, z]) for x, y in at]


def with_vertex_between(triangles: Soup, low: float, high: float) -> Soup:
    """Triangles that have a vertex between two heights."""
    near = between_heights(triangles, low, high)
    z = near[..., 2]
    return near[((z > low) & (z < high)).any(1)]


def between_heights(triangles: Soup, low: float, high: float) -> Soup:
    """Triangles that reach between two heights."""
    side = np.array([np.inf, np.inf])
    return meeting(triangles, Box(np.array([*-side, low]), np.array([*side, high])))


def crossings(predicted: Predicted, sections: Sections, whole: bool = False) -> list[Crossing]:
    """Find all crossings of a passage.

    Parameters
    ----------
    predicted : Predicted
    sections : Sections
        The passage's own, in the same window.
    whole : bool
        With those too of which stray metal given as a mesh closes nothing.

    Returns
    -------
    list of Crossing
        In order of stray table, then of place.
    """
    found: list[Crossing] = []
    for number, event in enumerate(predicted.events):
        levels = faces(sections, predicted.events, number)
        low = event.bottom - (event.penetration if event.slices else CUT_MM)
        high = event.top + event.spread if event.slices else event.bottom + CUT_MM
        found += _measured(predicted, sections, levels, event.stray, low, high, event.bottom)
    measured = _mesh_crossings(predicted, sections)
    return found + [c for c in measured if whole or c.open_fraction < 1.0 - 1e-9]


def _measured(
    predicted: Predicted,
    sections: Sections,
    levels: list[Face],
    stray: int,
    low: float,
    high: float,
    cut: float = np.nan,
) -> list[Crossing]:
    """The crossings of one sheet."""
    drilled = [_Drilled.at(predicted, face.z) for face in levels]
    found = (
        _measure(predicted, sections, levels, drilled, group, stray, low, high, cut)
        for group in grouped(levels, sections.overlaps)
    )
    return [crossing for crossing in found if crossing is not None]


def _measure(
    predicted: Predicted,
    sections: Sections,
    levels: list[Face],
    drilled: list[_Drilled],
    group: Group,
    stray: int,
    low: float,
    high: float,
    cut: float,
) -> Crossing | None:
    nominal_area = most_area = 0.0
    looked_at: list[_Level] = []
    footprint = []
    for n, (face, bores) in enumerate(zip(levels, drilled, strict=True)):
        sides = _placed(face, group, n)
        if not any(sides):
            continue
        below, above = (_with_bore(shapely.union_all(side), bores.taken) for side in sides)
        footprint += [below, above]
        areas = [sum(shape.area for shape in side) for side in sides]
        nominal = group.nominal_mm2(n, face)
        most_area = max(most_area, *areas)
        if face.z == cut:
            nominal_area = nominal or areas[0] or areas[1]
        if not group.through(n, face):
            continue  # the passage ends at this face: nothing goes through it
        openings = [face.pieces[k].opening for k in group.lower[n]]
        if bores.void is None:
            opening = polygonal(shapely.union_all(openings))
        else:
            opening = polygonal(bores.void.intersection(below).intersection(above))
        whole = bores.void is None and not any(
            face.pieces[k].opening is not face.pieces[k].below for k in group.lower[n]
        )
        room = sections.room(opening, predicted.events, face.z)
        ratio = min(opening.area / nominal, 1.0)
        looked_at.append(_Level(face.z, opening, room, ratio, whole))
    if not looked_at:
        return None
    # Where nothing is closed the passage's own section may be small: it ends in the sheet.
    narrowest = _narrowest([one for one in looked_at if not one.whole] or looked_at)
    least = min(one.ratio for one in looked_at)
    worst = _narrowest([one for one in looked_at if one.ratio == least])
    outline = shapely.union_all(footprint)
    middle = (outline if worst.opening.is_empty else worst.opening).centroid
    return Crossing(
        stray=stray,
        height_mm=float(worst.z),
        centre_mm=(float(middle.x), float(middle.y), float(worst.z)),
        nominal_area_mm2=float(nominal_area or most_area),
        open_area_mm2=float(min(one.opening.area for one in looked_at)),
        open_fraction=float(least),
        circle_mm=largest_circle_mm(narrowest.room),
        low=low,
        high=high,
        footprint=outline,
        opening=worst.opening,
        level_mm=float(narrowest.z),
        ends=(tuple(_placed(levels[0], group, 0)[0]), tuple(_placed(levels[-1], group, -1)[1])),
    )


@dataclass(frozen=True, eq=False)
class _Level:
    """What one level of a sheet leaves open of a crossing; `whole`: it closes nothing there."""

    z: float
    opening: Any
    room: Any
    ratio: float
    whole: bool


def _narrowest(levels: list[_Level]) -> _Level:
    """Of several levels that with the smallest circle, the lowest of equal ones.

    The exact circle is asked for only where a rough one, which is soon found, may be the smallest.
    """
    if len(levels) == 1:
        return levels[0]
    rough = [(largest_circle_mm(one.room, ROUGH_MM), n) for n, one in enumerate(levels)]
    least, exact = np.inf, []
    for most, n in sorted(rough):
        if most - 2.0 * ROUGH_MM > least:
            break
        exact.append((largest_circle_mm(levels[n].room), levels[n]))
        least = min(least, exact[-1][0])
    return min((one for circle, one in exact if circle <= least + EQUAL_MM), key=lambda one: one.z)


def _placed(face: Face, group: Group, n: int) -> tuple[list[Any], list[Any]]:
    """Outlines of a group just below and just above a face, where they lie."""
    up = rounded(face.above[1])
    below = [face.pieces[k].below for k in group.lower[n]]
    return below, [moved_shape(face.upper[k], up) for k in group.upper[n]]


@dataclass(frozen=True, eq=False)
class _Drilled:
    """What bores take out of a level, and the void there on both sides; None without bores."""

    taken: Any
    void: Any

    @classmethod
    def at(cls, predicted: Predicted, z: float) -> _Drilled:
        taken = predicted.removed(Plane.level(z))
        if taken.is_empty:
            return cls(taken, None)
        below, above = (
            predicted.window.rectangle.difference(predicted.section(z, side, plugged=True))
            for side in (False, True)
        )
        return cls(taken, below.intersection(above))


def _with_bore(shape: Any, drilled: Any) -> Any:
    """A passage's outline, widened by what has been drilled across it."""
    cut = [part for part in shapely.get_parts(drilled) if part.intersects(shape)]
    return shapely.union_all([shape, *cut]) if cut else shape


def _mesh_crossings(predicted: Predicted, sections: Sections) -> list[Crossing]:
    """Crossings of stray metal that is given as a mesh: nothing moves, the height is sought."""
    found: list[Crossing] = []
    meshes = {} if predicted.added is None else predicted.window.bodies.added_by_stray
    for stray, soup in meshes.items():
        for stack in stacks(meeting_bodies(soup, predicted.window.box)):
            levels = []
            for z in stack.levels:
                dx, dy, dz = predicted.offset_below(z)
                place = (z - float(dz), (float(dx), float(dy)))
                levels.append(face_at(sections, predicted.events, predicted.table, z, place, place))
            crossed = _measured(predicted, sections, levels, stray, stack.low, stack.high)
            found += [replace(c, sampled=stack.sampled) for c in crossed]
    return found


@dataclass(frozen=True, eq=False)
class Stack:
    """Bodies of stray metal whose heights overlap, and where they are looked at.

    `sampled`: not between all of their vertex heights.
    """

    low: float
    high: float
    levels: list[float]
    sampled: bool


def meeting_bodies(soup: Soup, box: Box) -> list[Soup]:
    """The connected bodies of a closed soup whose boxes meet a box."""
    label = find_shells(np.ascontiguousarray(soup + np.float32(0.0))).label
    order = np.argsort(label, kind="stable")
    bodies = np.split(soup[order], np.flatnonzero(np.diff(label[order])) + 1)
    return [
        body
        for body in bodies
        if (body.min((0, 1)) <= box.high).all() and (body.max((0, 1)) >= box.low).all()
    ]


def stacks(bodies: list[Soup]) -> list[Stack]:
    """Bodies by overlapping heights, lowest first, and the levels that tell what they close.

    Between two neighbouring vertex heights a body's section changes steadily: it is cut near both
    and halfway. Where they are too many, those next to each body's ends and others spread evenly
    are taken.
    """
    together: list[list[Soup]] = []
    top = -np.inf
    for body in sorted(bodies, key=lambda b: float(b[..., 2].min())):
        if float(body[..., 2].min()) > top:
            together.append([])
        together[-1].append(body)
        top = max(top, float(body[..., 2].max()))
    return [_stack(group) for group in together]


def _stack(bodies: list[Soup]) -> Stack:
    heights = np.unique(np.concatenate([np.unique(b[..., 2]) for b in bodies]).astype(np.float64))
    ends = np.array([f(b[..., 2]) for b in bodies for f in (np.min, np.max)], np.float64)
    # A long stretch is looked into as closely as the whole.
    part = (heights[-1] - heights[0]) / MESH_LEVELS
    edges = [heights[:1]]
    for a, b in pairwise(heights):
        edges.append(np.linspace(a, b, max(int(np.ceil((b - a) / part)), 1) + 1)[1:])
    at = np.concatenate(edges)
    first = np.arange(len(at) - 1)
    sampled = len(heights) > MESH_LEVELS
    if sampled:
        near = np.searchsorted(at, ends)
        even = np.linspace(0, len(at) - 2, MESH_LEVELS).round().astype(int)
        first = np.unique(np.clip([*(near - 1), *near, *even], 0, len(at) - 2))
    inset = np.array([INSET, 0.5, 1.0 - INSET])
    levels = (at[first, None] + inset * (at[first + 1] - at[first])[:, None]).ravel()
    return Stack(float(at[0]), float(at[-1]), levels.tolist(), sampled)


def squares_of(predicted: Predicted, shape: Any, but_not: Any) -> NDArray[np.int64]:
    """Squares that a shape, grown by a pitch, meets, less those that `but_not` meets."""
    g = predicted.grid
    grown = shape.buffer(1.01 * g.pitch_mm)  # arcs are grown to chords, which lie within
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
