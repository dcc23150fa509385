"""Whether the possible void leads from one mouth to another at all, and how wide at most.

In: the predicted part in a window, two mouths, all mouths and the crossings. Out: the metal that
bounds the void behind the two, which pieces of the possible void lie there, and an upper bound
from the mouths and from crossings that no way avoids. Source: docs/method.md, "The bracket".
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from clearance.columns.possible import PossibleVoid, block, bounding
from clearance.columns.runs import Runs
from clearance.geometry import box_tree, sections
from clearance.geometry.areas import TOUCH_MM2, largest_circle_mm, polygonal
from clearance.geometry.planes import Plane
from clearance.geometry.soup import Box, clipped, meeting
from clearance.passages.closings import (
    RIM_MM,
    Closing,
    closing_in,
    imaged,
)
from clearance.passages.crossings import CUT_MM, Crossing, squares_of
from clearance.passages.hidden import Hidden
from clearance.passages.stoppers import (
    layer_behind,
    pieces_at,
    stopper,
    sunk_mm,
)
from clearance.passages.window_cells import Cells
from clearance.ports.mouth import Mouth
from clearance.ports.plug import plug
from clearance.predicted.part import Predicted, Window
from clearance.predicted.plane_sections import stray_metal
from clearance.system.once import once

SURFACE_MM = 2e-5
"""Float32 rounding of the surface near 350 mm: off every lower bound, onto every upper one.
Farther out a whole step of float32 is."""
LEVEL = 1.0 - 1e-9
"""Upright part of the normal from which a mouth's plane is level: no sheet runs out of it."""
ALIKE_MM = 0.01
"""An opening wider than a crossing's circle by more is not of that crossing."""


@dataclass(frozen=True, eq=False)
class Taken:
    """A crossing taken out of the possible void.

    `width_mm` bounds every ball whose centre passes what was taken out, at height `z`; `openings`
    is all that was open there.
    """

    crossing: Crossing
    z: float
    width_mm: float
    runs: Runs
    openings: Any


@dataclass(frozen=True)
class Parted:
    """Pieces of the possible void, all crossings taken out.

    Attributes
    ----------
    ends : two sets of int
        Those at inlet and outlet.
    beside : list of set
        Those at each crossing.
    joined : list of set
        Groups of those that stoppers may join.
    twice : list of set
        Those that each crossing opens to at two places of one side: a bend lies in the sheet.
    """

    ends: tuple[set[int], set[int]]
    beside: list[set[int]]
    joined: list[set[int]]
    twice: list[set[int]]


def walls_of(predicted: Predicted, pieces: set[int]) -> NDArray[np.float32]:
    """Triangles that may bound some pieces of the possible void: once for all passages there."""
    return predicted.kept.get(
        ("walls", frozenset(pieces)),
        lambda: bounding(predicted.possible, predicted.surface, pieces),
    )


class PossibleWays:
    """The void between two mouths in one predicted part."""

    def __init__(
        self,
        predicted: Predicted,
        inlet: Mouth,
        outlet: Mouth,
        mouths: tuple[Mouth, ...],
        crossings: list[Crossing],
        smallest_way_mm: float,
    ):
        self.predicted = predicted
        stopped = dict.fromkeys((inlet, outlet, *(predicted.window.mouths or mouths)))
        self.hidden = Hidden(predicted, stopped, smallest_way_mm)
        self.closings = tuple(closing_in(predicted, mouth) for mouth in mouths)
        self.ends = closing_in(predicted, inlet), closing_in(predicted, outlet)
        self.inlet, self.outlet = (end.mouth for end in self.ends)
        self.crossings = crossings
        self.smallest_way_mm = smallest_way_mm
        far = np.abs([predicted.window.box.low, predicted.window.box.high]).max()
        self.surface_mm = max(SURFACE_MM, float(np.spacing(np.float32(far))))
        self._open: dict[float, list[Any]] = {}
        # No ball wider than a mouth starts there, so larger radii need not be told apart.
        self.cells = Cells(predicted, self.closings, min(0.5 * end.width_mm for end in self.ends))

    @once
    def ahead(self) -> Predicted:
        """The same part in a window that holds what a ball may meet that stands out of a mouth.

        The passage's own ends a few pitches beyond the part; measured metal, and slices of what was
        melted beside the part, may lie farther off. Only stray metal is asked of it.
        """
        window, box = self.predicted.window, self.predicted.window.box
        for one in self.closings:
            for surface in one.surfaces:
                ring = surface.plane.to_space(shapely.get_coordinates(surface.polygon))
                near = Box.around(ring).grown(2.0 * one.mouth.radius)
                box = box.union(near)
        if (box.low[:2] >= window.box.low[:2]).all() and (box.high <= window.box.high)[:2].all():
            return self.predicted
        wide = Window(window.bodies, box, window.pitch_mm, window.plugs, window.lids)
        return replace(self.predicted, window=wide)

    def _stray_in(self, box: Box) -> NDArray[np.float32]:
        """All stray metal in a box about a mouth, beyond the passage's window too."""
        if not self.predicted.may_have_stray(float(box.low[2]), float(box.high[2])):
            return np.empty((0, 3, 3), np.float32)  # no larger window need be made
        return meeting(self.ahead.stray, box)

    @once
    def stray(self) -> NDArray[np.float32]:
        """All stray metal that a ball may meet on its way or in a mouth."""
        boxes = [self._box_at(p, self.cells.most_mm) for one in self.closings for p in one.places]
        return np.concatenate([self.predicted.stray, *map(self._stray_in, boxes)])

    @once
    def walls(self) -> NDArray[np.float32]:
        """Triangles of the metal that bounds the void behind the two mouths."""
        start, end = self._ends(self.predicted.possible)
        return walls_of(self.predicted, start | end)

    @once
    def metal(self) -> NDArray[np.float32]:
        """Triangles of all metal that a ball or a pin may meet: walls, and what is at the mouths.

        A stopper hides what lies in it and outward of it, but a ball in the mouth meets it.
        """
        ends = [self._at_mouth(mouth) for end in self.ends for mouth in end.places]
        void = self.predicted.possible
        ours = set[int]().union(*self._ends(void))
        pitch = self.predicted.grid.pitch_mm
        thirds = [
            self._at_mouth(place, self.cells.most_mm)
            for one in self.closings
            if one.mouth.name not in {end.mouth.name for end in self.ends}
            for place in one.places
            if self.hidden.beside(void, place, ours)
            or any(pieces_at(void, one, pitch) & ours for one in self.hidden.behind_figures(place))
        ]
        return np.concatenate([self.walls, *ends, *thirds])

    def _at_mouth(self, mouth: Mouth, most_mm: float = 0.0) -> NDArray[np.float32]:
        """All metal within reach of a ball whose centre is in a mouth or its stopper."""
        box = self._box_at(mouth, most_mm)
        return np.concatenate([self.predicted.metal_near(box), self._beyond(box)])

    def _beyond(self, box: Box) -> NDArray[np.float32]:
        """Stray metal in a box about a mouth where the passage's window does not hold it."""
        if self.ahead is self.predicted:
            return np.empty((0, 3, 3), np.float32)
        return self._stray_in(box)

    def _box_at(self, mouth: Mouth, most_mm: float) -> Box:
        """Where a ball may be whose centre is in a mouth or its stopper."""
        ring = mouth.rim
        pitch = self.predicted.grid.pitch_mm
        inner = ring - (sunk_mm(mouth, pitch) + 2.0 * pitch) * mouth.plane.normal
        points = np.concatenate([ring, inner])
        reach = max(mouth.inscribed_radius, most_mm) + 2.0 * pitch
        return Box.around(points).grown(reach)

    @once
    def tree(self) -> box_tree.Tree:
        """Exact distances to the metal."""
        return box_tree.build(self.metal)

    @property
    def leads_out(self) -> bool:
        """Whether the possible void behind a mouth may reach the outside."""
        void = self.predicted.possible
        return any(void.outside in pieces for pieces in self._ends(void))

    @property
    def hides(self) -> bool:
        """Whether a stopper may hide a way between pieces of the possible void."""
        return bool(self.hidden.groups(self.predicted.possible))

    @property
    def behind_inlet(self) -> set[int]:
        """Pieces of the possible void that the inlet leads to."""
        return self.hidden.behind(self.predicted.possible, {self.inlet.name})

    def _ends(self, void: PossibleVoid, taken: Sequence[Taken] = ()) -> tuple[set[int], set[int]]:
        """Pieces of the possible void that begin behind the inlet and behind the outlet.

        A stopper that begins within the part hides what is between it and the closing surface,
        where a way past a third mouth may lead: what lies behind such a stopper is joined.
        """
        behind = self._behind_thirds(void, taken)
        inlet, outlet = (self.hidden.behind(void, {end.mouth.name}, behind) for end in self.ends)
        return inlet, outlet

    def _joined_beside(self, void: PossibleVoid, taken: Sequence[Taken]) -> list[set[int]]:
        """Groups of pieces that stoppers may join."""
        return [*self._behind_thirds(void, taken), *self.hidden.groups(void)]

    def _behind_thirds(self, void: PossibleVoid, taken: Sequence[Taken]) -> list[set[int]]:
        return [group for place in self._thirds for group in self._groups(void, place, taken)]

    @once
    def _thirds(self) -> list[Mouth]:
        """Mouths other than the two ends whose stoppers begin so far within the part.

        A ball of more than twice as far leaves room for its way just beneath the stopper.
        """
        own = {end.mouth.name for end in self.ends}
        pitch = self.predicted.grid.pitch_mm
        return [
            place
            for one in self.closings
            for place in one.places
            if place.name not in own and 2.0 * sunk_mm(place, pitch) >= self.smallest_way_mm
        ]

    def _groups(self, void: PossibleVoid, mouth: Mouth, taken: Sequence[Taken]) -> list[set[int]]:
        """Pieces behind a stopper, each group between levels that no way between them passes."""
        pitch = self.predicted.grid.pitch_mm
        figures = self.hidden.behind_figures(mouth)
        layers = [layer_behind(void.places.grid, one, pitch) for one in figures]
        squares, low, high = (np.concatenate(parts) for parts in zip(*layers, strict=True))
        if len(squares) == 0:
            return []
        cuts = sorted({one.z for one in taken if self._parts(one, mouth)})
        bounds = [-np.inf, *cuts, np.inf]
        groups = []
        for a, b in pairwise(bounds):
            bottom, top = np.maximum(low, a + CUT_MM), np.minimum(high, b - CUT_MM)
            there = bottom < top
            groups.append(void.pieces_over(squares[there], bottom[there], top[there]))
        return [group for group in groups if len(group) > 1]

    def _parts(self, taken: Taken, mouth: Mouth) -> bool:
        """Whether all that is open behind a mouth was taken out at a level, as far as it is hidden.

        The void behind a mouth may be wider within its stopper than the mouth: a pocket or a loop
        beside the bore leads past the level too. The outside, before the mouth, does not count.
        """
        pitch = self.predicted.grid.pitch_mm
        depth = sunk_mm(mouth, pitch)
        plane = replace(mouth.plane, origin=mouth.plane.origin - depth * mouth.plane.normal)
        bore = plug(replace(mouth, plane=plane), CUT_MM, depth)
        if not bore[..., 2].min() < taken.z < bore[..., 2].max():
            return False
        level = Plane.level(taken.z)
        behind, all_hidden = (
            sections.metal(bore, level),
            sections.metal(stopper(mouth, pitch), level),
        )
        rim = self.predicted.window.rectangle.exterior
        open_here = shapely.union_all(
            [
                piece.intersection(behind if shapely.intersects(piece, rim) else all_hidden)
                for piece in self._open_at(taken.z)
            ]
        )
        return bool(open_here.difference(taken.openings).area <= TOUCH_MM2)

    def parted(self) -> Parted:
        """Pieces of the possible void, all crossings taken out."""
        taken = [self._taken(crossing) for crossing in self.crossings]
        void = self.predicted.possible_less([one.runs for one in taken])
        beside, twice = [], []
        far = CUT_MM + RIM_MM  # off what was taken out at a face
        for one in self.crossings:
            low, high = one.low - far, one.high + far
            beside.append(self._over(void, one.footprint, low, high))
            found: set[int] = set()
            for outlines, z in zip(one.ends, (low, high), strict=True):
                seen: set[int] = set()
                for outline in outlines if len(outlines) > 1 else ():
                    here = self._over(void, outline, z, z)
                    found |= here & seen
                    seen |= here
            twice.append(found)
        return Parted(self._ends(void, taken), beside, self._joined_beside(void, taken), twice)

    def _over(self, void: PossibleVoid, outline: Any, low: float, high: float) -> set[int]:
        """Pieces between two heights over an outline, grown by a pitch."""
        squares = squares_of(self.predicted, outline, shapely.Polygon())
        return void.pieces_over(squares, np.full(len(squares), low), np.full(len(squares), high))

    def _taken(self, crossing: Crossing) -> Taken:
        """A crossing taken out at the one level where it is narrowest.

        One level is enough, and all that is sure: a way that lies in the sheet need not pass each
        of its layers. Of what is open there only what is as narrow as the crossing is taken out.
        A way that comes through another void, or another crossing beside it, is left.
        """
        z, pitch = crossing.level_mm, self.predicted.grid.pitch_mm
        near = crossing.footprint.buffer(3.0 * pitch)
        narrow, wide, width = [], [], crossing.circle_mm
        for piece in self._open_at(z):
            if not shapely.intersects(piece, near):
                continue
            circle = largest_circle_mm(piece)
            if circle > crossing.circle_mm + ALIKE_MM:
                wide.append(piece)
                continue
            narrow.append(piece)
            width = max(width, largest_circle_mm(imaged(piece, self.closings, z)))
        squares = squares_of(self.predicted, crossing.footprint, shapely.union_all(wide))
        runs = block(self.predicted.sure, squares, z - CUT_MM, z + CUT_MM)
        return Taken(crossing, z, width, runs, shapely.union_all(narrow))

    def _open_at(self, z: float) -> list[Any]:
        """What is open at a height, on both sides if a level face lies there, mouths closed."""
        if z not in self._open:
            metal = [self.predicted.section(z, above, plugged=True) for above in (False, True)]
            void = self.predicted.window.rectangle.difference(shapely.union_all(metal))
            self._open[z] = list(shapely.get_parts(polygonal(void)))
        return self._open[z]

    def _ceiling(self, closed: tuple[Crossing, ...]) -> tuple[float, bool]:
        """Upper bound from the mouths and from crossings that no way avoids, by blocking them.

        Crossings are taken out narrowest first; when inlet and outlet come apart in
        the possible void, every way leads through one of those taken out.
        """
        mouths = min(self._mouth_mm(end) for end in self.ends)
        start, end = self._ends(self.predicted.possible)
        outside = self.predicted.possible.outside
        leak = outside in start or outside in end
        if not start & end or mouths < self.smallest_way_mm:
            return 0.0, leak
        taken = [self._taken(crossing) for crossing in self.crossings]

        def width(one: Taken) -> float:
            return 0.0 if one.crossing in closed else one.width_mm

        if not taken or self._joined(taken):
            return mouths, leak
        # The narrowest that part the ends: bisect on how wide those may be that are out. Often
        # the widest is what lets through: a sheet that was drilled, beside others that were not.
        widths = sorted({width(one) for one in taken})
        few, many = -1, len(widths) - 1
        middle = many - 1
        while many - few > 1:
            if self._joined([one for one in taken if width(one) <= widths[middle]]):
                few = middle
            else:
                many = middle
            middle = (few + many) // 2
        widest = widths[many]
        return min(mouths, 0.0 if widest < self.smallest_way_mm else widest), leak

    def _mouth_mm(self, end: Closing) -> float:
        """Upper bound of a ball whose centre is in a mouth: the largest circle beside stray metal.

        Taken just inside the closing surface, just outside it, for metal may end there, and where
        metal begins that a ball may meet which stands out: in a plane at a distance d from its
        centre the circle of a ball of radius r has the radius sqrt(r^2 - d^2).
        """
        width = end.width_mm
        if not end.flat:
            return width
        (surface,) = end.surfaces
        void = end.mouth.polygon if len(end.places) == 1 else surface.polygon
        ring = surface.plane.to_space(shapely.get_coordinates(surface.polygon))
        box = Box.around(ring).grown(0.5 * width + 2.0 * CUT_MM)
        stray = self.ahead.stray_near(box)
        begins = [float(surface.plane.signed(soup.reshape(-1, 3)).min()) for soup in stray]
        outside = {max(at, 0.0) + CUT_MM for at in begins}
        for step in sorted({-CUT_MM, CUT_MM, *outside} if stray else ()):
            if 2.0 * abs(step) >= width:
                continue
            plane = replace(
                surface.plane, origin=surface.plane.origin + step * surface.plane.normal
            )
            metal = shapely.union_all([sections.metal(soup, plane) for soup in stray])
            metal = metal.difference(self.predicted.removed(plane))
            # The polygon is of the closing surface itself: the ball there is hardly larger.
            circle = largest_circle_mm(void.difference(metal)) + CUT_MM
            width = min(width, float(np.hypot(circle, 2.0 * step)))
        return width

    def in_front(self, radii: float = 2.0, edge_on: bool = True) -> bool:
        """Whether stray metal stands in front of an end, nearer than some radii of its mouth.

        `edge_on`: also that which stands behind metal in the mouth's own plane, seen from within:
        a sheet that runs out through the mouth.
        """
        return any(self._metal_in_front(end, radii, edge_on) for end in self.ends)

    def _metal_in_front(self, end: Closing, radii: float, edge_on: bool) -> bool:
        if not self.predicted.events and self.predicted.added is None:
            return False
        for surface in end.surfaces:
            plane, depth = surface.plane, radii * end.mouth.radius
            ring = plane.to_space(shapely.get_coordinates(surface.polygon))
            box = Box.around(np.concatenate([ring, ring + depth * plane.normal])).grown(CUT_MM)
            core = surface.polygon.buffer(-CUT_MM)
            corners = self._stray_in(box).reshape(-1, 3)
            own = np.column_stack([plane.to_plane(corners), plane.signed(corners)])
            faces = clipped(own.reshape(-1, 3, 3).astype(np.float32), CUT_MM, depth, np.zeros(3))
            # A hull is a valid shape also where a face is seen edge on.
            seen = shapely.convex_hull(shapely.multipoints(faces[:, :, :2].astype(np.float64)))
            if not edge_on and abs(plane.normal[2]) < LEVEL:
                standing = stray_metal(self.predicted, plane).buffer(CUT_MM)
                seen = shapely.difference(seen, standing)
            if shapely.intersects(core, seen).any():
                return True
        return False

    def _joined(self, taken: list[Taken]) -> bool:
        void = self._less(taken)
        start, end = self._ends(void, taken)
        return bool(start & end)

    def _less(self, taken: list[Taken]) -> PossibleVoid:
        """The possible void with some crossings taken out: once for all passages of the void."""
        # Each passage has crossings of its own, which are the same.
        key = frozenset((one.crossing.stray, one.z, one.crossing.centre_mm) for one in taken)
        return self.predicted.kept.get(
            ("less", key), lambda: self.predicted.possible_less([one.runs for one in taken])
        )

    def _fine(self, low: float, high: float, enough: float) -> float:
        """How wide a bracket may stay."""
        pitch = self.predicted.grid.pitch_mm
        return 0.1 * pitch if low < enough <= high else 0.3 * pitch
