"""Passages: is a ball's way from inlet to outlet proven, disproven, or neither, and how wide is it.

In: the predicted part in a window, the two mouths of a passage and its crossings.
Out: a `Way` with a proven bracket on the clear diameter. The lower bound is a
route with exact distances; the upper bound are sections that every route has to
pass. Source of both: docs/method.md, "The bracket".
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Any, Literal

import numpy as np
import shapely
from numpy.typing import NDArray

from clearance.columns import cells as dense
from clearance.columns.grid import Grid
from clearance.columns.possible import PossibleVoid, block, bounding
from clearance.columns.runs import Runs
from clearance.errors import GridError
from clearance.geometry import box_tree, distance, routes, sections, segments
from clearance.geometry.planes import Plane
from clearance.geometry.soup import Box
from clearance.passages.closings import (
    RIM_MM,
    Closing,
    Surface,
    closing,
    crossed,
    drawn_in,
    imaged,
    moved,
    reaches,
)
from clearance.passages.crossings import CUT_MM, Crossing, squares_of
from clearance.passages.levels import CIRCLE_MM, TOUCH_MM2, largest_circle_mm, polygonal
from clearance.passages.neck import Neck, least_radius_mm, shortest
from clearance.passages.parting import Parting
from clearance.passages.stoppers import (
    LEVEL,
    grown_by,
    layer_behind,
    pieces_at,
    sunk_mm,
)
from clearance.ports.mouth import Mouth
from clearance.ports.plug import plug
from clearance.predicted.part import Predicted
from clearance.system.once import once

SURFACE_MM = 2e-5
"""Float32 rounding of the surface near 350 mm: off every lower bound, onto every upper one.
Farther out a whole step of float32 is."""
ALIKE_MM = 0.01
"""An opening wider than a crossing's circle by more is not of that crossing."""
MOST_CELLS = 600_000_000
"""Cells of a dense window at most (about 8 bytes each while a way is sought)."""
MOST_WINDOW = 3_000_000_000
"""Cells of a window at the pitch itself at most: its columns and squares have to fit."""
ROOMY = 8.0
"""Cells are first taken so large that a ball of the mouth's size is so many in radius."""
MOST_TRIES = 8
"""Routes tried before a way is left unproven."""
BEND = 2.0
"""A route is bent over so many radii before and behind stray metal in its way."""
WINDING = 4
"""A route of more cells than this many times the window's sides is made short."""
NECK = 0.2
"""A neck is asked for a radius that is larger than the proven one by this much of a pitch."""
NECK_CELLS = 60_000_000
"""Cells of a window in which a neck is split, at most (about 20 bytes each)."""
QUICK_CELLS = 4_000_000
"""The same where the verdict does not hang on it."""
CHORD = float(np.cos(np.pi / 64.0))
"""A figure grown by shapely ends in polygons inscribed in arcs, of 64 sides all round: at least so
much of what was asked for."""
CUT_CELLS = 200_000_000
"""Cells gone over for all plane sections together, about; at least MOST_TRIES sections."""

Floats = NDArray[np.float64]
NO_ROUTE: Floats = np.empty((0, 3))


@dataclass(frozen=True, eq=False)
class Way:
    """What is known of the widest way from one mouth to another.

    Attributes
    ----------
    low_mm, high_mm : float
        The largest ball that can travel has a diameter in [low, high]; 0 and 0 if no way exists.
        Both are proven: a low above the high is a contradiction, a fault of the program.
    route : (N, 3) ndarray, mm
        A way on which `low_mm` is proven; empty if none was found.
    leak : bool
        The void may reach the outside otherwise than through a mouth that is known.
    throat : (3,) ndarray, mm, or None
        Where the route is narrowest.
    leak_mm : float
        Upper bound of the widest ball that can leave the part elsewhere; 0 if none can.
    leak_at : (3,) ndarray, mm, or None
        Where such a way is narrowest, about.
    """

    low_mm: float
    high_mm: float
    route: Floats
    leak: bool
    throat: Floats | None
    leak_mm: float = 0.0
    leak_at: Floats | None = None

    @property
    def blocked(self) -> bool:
        """Proven that no way exists."""
        return self.high_mm == 0.0


def moved_mouth(predicted: Predicted, mouth: Mouth) -> Mouth:
    """The mouth where it lies in the predicted part: it moves with its centre."""
    return moved(mouth, predicted.moved(mouth.centre) - mouth.centre)


def enters(route: Floats, crossing: Crossing) -> Floats | None:
    """Place where a route (N, 3) is first within a crossing, or None."""
    a, b = route[:-1], route[1:]
    rise = np.where(a[:, 2] == b[:, 2], 1.0, b[:, 2] - a[:, 2])
    at = (np.array([[crossing.low], [crossing.high]]) - a[:, 2]) / rise
    level = a[:, 2] == b[:, 2]
    between = (a[:, 2] >= crossing.low) & (a[:, 2] <= crossing.high)
    first = np.clip(np.where(level, 0.0, at.min(0)), 0.0, 1.0)
    last = np.clip(np.where(level, 1.0, at.max(0)), 0.0, 1.0)
    meets = np.where(level, between, np.maximum(a[:, 2], b[:, 2]) >= crossing.low)
    meets &= np.minimum(a[:, 2], b[:, 2]) <= crossing.high
    ends = np.stack([a + share[:, None] * (b - a) for share in (first, last)], 1)[meets]
    lines = shapely.linestrings(ends[:, :, :2])
    inside = np.flatnonzero(shapely.intersects(lines, crossing.footprint))
    return ends[inside[0]].mean(0) if len(inside) else None


@dataclass(eq=False)
class Cells:
    """The predicted part as dense cells, for finding ways; what they prove is said elsewhere.

    A cell is metal if any metal lies on its column within its height, so that no
    sheet is missed however thin. No radius above `most_mm` is told from it. With `every`
    only each such column is looked at, in cells as many pitches wide and high: metal
    between them may be missed, so a radius is rather too large, as it is anyway.
    """

    predicted: Predicted
    closings: tuple[Closing, ...]
    most_mm: float
    every: int = 1

    @once
    def grid(self) -> Grid:
        """Columns of the cells."""
        return self.predicted.grid.each(self.every)

    @property
    def pitch_mm(self) -> float:
        """Side of a cell, mm."""
        return self.grid.pitch_mm

    @once
    def shape(self) -> tuple[int, int, int]:
        """Number of cells along x, y, z."""
        box, pitch = self.predicted.window.box, self.pitch_mm
        nz = int(np.ceil((box.high[2] - box.low[2]) / pitch)) + 1
        shape = (self.grid.nx, self.grid.ny, nz)
        if np.prod(shape, dtype=np.float64) > MOST_CELLS:
            raise GridError(
                f"a window of {shape[0]} x {shape[1]} x {shape[2]} cells at pitch {pitch:.3g} mm "
                "does not fit; give a larger pitch"
            )
        return shape

    @once
    def radius(self) -> NDArray[np.float32]:
        """Distance from each cell's centre to the nearest metal cell's centre, mm."""
        return dense.clear_radius(
            self._metal("touched"), self.pitch_mm, self.most_mm + 2.0 * self.pitch_mm
        )

    def _metal(self, rule: Literal["centre", "touched"]) -> NDArray[np.uint8]:
        grid, metal = self.grid, self.predicted.metal
        if self.every > 1:
            metal = metal.each(self.predicted.grid, self.every)
        return dense.raster(
            metal.start,
            metal.z,
            grid.nx,
            grid.ny,
            float(self.origin[2]),
            grid.pitch_mm,
            self.shape[2],
            rule,
        )

    @property
    def origin(self) -> Floats:
        """Centre of the first cell, (3,) mm."""
        grid = self.predicted.grid
        low = float(self.predicted.window.box.low[2])
        return np.array([float(grid.x_mm(0)), float(grid.y_mm(0)), low])

    def inside(self, tree: box_tree.Tree) -> NDArray[np.bool_]:
        """Cells all in metal, as far as the outermost two layers of them tell."""
        from scipy.ndimage import binary_dilation

        metal = self._metal("centre").astype(bool)
        skin = metal & binary_dilation(~metal, iterations=2)
        index = np.flatnonzero(skin)
        room = distance.distances(tree, self.centres(index))
        deep = np.zeros(self.shape, bool)
        half = self.half_diagonal_mm
        deep.ravel()[index[room > half]] = True
        return deep

    @property
    def half_diagonal_mm(self) -> float:
        """What a point of a cell may be off its centre."""
        return 0.5 * float(np.sqrt(3.0)) * self.pitch_mm

    @property
    def slack_mm(self) -> float:
        """What a point of a cell may be farther from metal than `radius` says of its centre."""
        # Metal on the column within half a pitch of the metal cell's centre; half a diagonal.
        return 0.5 * self.pitch_mm + self.half_diagonal_mm

    def centres(self, index: NDArray[np.int64]) -> Floats:
        """Centres of cells given by flat index, (N, 3) mm."""
        i, j, k = np.unravel_index(index, self.shape)
        grid = self.grid
        z = self.predicted.window.box.low[2] + k * grid.pitch_mm
        return np.stack([grid.x_mm(i), grid.y_mm(j), z], axis=1)

    def within(self, low: Floats, high: Floats) -> NDArray[np.int64]:
        """Flat indices of the cells whose centres lie in a box."""
        pitch = self.pitch_mm
        first = np.maximum(np.ceil((low - self.origin) / pitch).astype(int), 0)
        last = np.minimum(
            np.floor((high - self.origin) / pitch).astype(int), np.array(self.shape) - 1
        )
        axes = [np.arange(a, b + 1) for a, b in zip(first, last, strict=True)]
        if any(len(axis) == 0 for axis in axes):
            return np.empty(0, np.int64)
        i, j, k = np.meshgrid(*axes, indexing="ij")
        return np.asarray(np.ravel_multi_index((i.ravel(), j.ravel(), k.ravel()), self.shape))

    def near_plate(
        self, plane: Plane, polygon: Any, low: float, high: float, grow: float
    ) -> NDArray[np.int64]:
        """Cells whose centre lies over a plane figure grown by `grow`, between two offsets.

        A little more is taken: what is grown ends in chords of arcs.
        """
        grown = polygon.buffer(grow / CHORD)
        x0, y0, x1, y1 = grown.bounds
        corners = plane.to_space(np.array([(x0, y0), (x0, y1), (x1, y0), (x1, y1)]))
        corners = np.concatenate([corners + low * plane.normal, corners + high * plane.normal])
        index = self.within(corners.min(0), corners.max(0))
        centres = self.centres(index)
        offset = plane.signed(centres)
        between = (offset >= low) & (offset <= high)
        index = index[between]
        xy = plane.to_plane(centres[between])
        shapely.prepare(grown)
        return np.asarray(index[shapely.contains_xy(grown, xy[:, 0], xy[:, 1])])

    def barrier(self, beyond_mm: float) -> NDArray[np.int64]:
        """Cells outward of the mouths: `beyond_mm` past the closing surface and a few farther."""
        outermost = (one.outermost for one in self.closings)
        found = [self._beyond(surface, beyond_mm) for surface in outermost]
        return np.concatenate(found) if found else np.empty(0, np.int64)

    def _beyond(self, surface: Surface, beyond_mm: float) -> NDArray[np.int64]:
        """Void cells in front of a mouth that lead to those over it; not what a wall parts off."""
        from scipy.ndimage import label

        pitch = self.pitch_mm
        found, over = (
            self.near_plate(
                surface.plane, surface.polygon, beyond_mm, beyond_mm + 3.0 * pitch, grow
            )
            for grow in (3.0 * pitch, 0.0)
        )
        found = found[self.radius.ravel()[found] > 0.0]
        if len(found) == 0:
            return found
        places = np.stack(np.unravel_index(found, self.shape))
        low = places.min(1)
        free = np.zeros(places.max(1) - low + 1, bool)
        free[tuple(places - low[:, None])] = True
        group = label(free)[0][tuple(places - low[:, None])]
        return np.asarray(found[np.isin(group, group[np.isin(found, over)])])

    @once
    def passable(self) -> NDArray[np.uint8]:
        """Void cells on the inner side of the mouths."""
        passable = (self.radius > 0.0).astype(np.uint8)
        passable.ravel()[self.barrier(0.0)] = 0
        return passable

    def behind(self, mouth: Mouth) -> NDArray[np.int64]:
        """Void cells just inside a mouth."""
        pitch = self.pitch_mm
        index = self.near_plate(mouth.plane, mouth.polygon, -1.5 * pitch, 0.0, 0.0)
        return index[self.passable.ravel()[index] > 0]


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


class Search:
    """The way between two mouths in one predicted part."""

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
        self.closings = tuple(closing(predicted.events, mouth) for mouth in mouths)
        self.ends = closing(predicted.events, inlet), closing(predicted.events, outlet)
        self.inlet, self.outlet = (end.mouth for end in self.ends)
        self.crossings = crossings
        self.smallest_way_mm = smallest_way_mm
        far = np.abs([predicted.window.box.low, predicted.window.box.high]).max()
        self.surface_mm = max(SURFACE_MM, float(np.spacing(np.float32(far))))
        self._open: dict[float, list[Any]] = {}
        # No ball wider than a mouth starts there, so larger radii need not be told apart.
        self.cells = Cells(predicted, self.closings, min(0.5 * end.width_mm for end in self.ends))

    def forget_cells(self) -> None:
        """Give back the memory of the cells; they are worked out again if a way is asked for."""
        self.cells = replace(self.cells)

    @once
    def walls(self) -> NDArray[np.float32]:
        """Triangles of the metal that bounds the void behind the two mouths."""
        void = self.predicted.possible
        start, end = self._ends(void)
        return bounding(void, self.predicted.surface, start | end)

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
            if pieces_at(void, place, pitch) & ours
        ]
        return np.concatenate([self.walls, *ends, *thirds])

    def _at_mouth(self, mouth: Mouth, most_mm: float = 0.0) -> NDArray[np.float32]:
        """All metal within reach of a ball whose centre is in a mouth or its stopper."""
        ring = mouth.plane.to_space(np.array(mouth.polygon.exterior.coords))
        pitch = self.predicted.grid.pitch_mm
        inner = ring - (sunk_mm(mouth, pitch) + 2.0 * pitch) * mouth.plane.normal
        points = np.concatenate([ring, inner])
        most_mm = most_mm if np.isfinite(most_mm) else 2.0 * mouth.radius
        reach = max(mouth.inscribed_radius, most_mm) + 2.0 * pitch
        return self.predicted.metal_near(Box(points.min(0), points.max(0)).grown(reach))

    @once
    def tree(self) -> box_tree.Tree:
        """Exact distances to the metal."""
        return box_tree.build(self.metal)

    def _ends(self, void: PossibleVoid, taken: Sequence[Taken] = ()) -> tuple[set[int], set[int]]:
        """Pieces of the possible void that begin behind the inlet and behind the outlet.

        A stopper that begins within the part hides what is between it and the closing surface,
        where a way past a third mouth may lead: what lies behind such a stopper is joined.
        """
        pitch = self.predicted.grid.pitch_mm
        inlet, outlet = (
            set[int]().union(*(pieces_at(void, place, pitch) for place in end.places))
            for end in self.ends
        )
        behind = [group for place in self._thirds for group in self._groups(void, place, taken)]
        return grown_by(inlet, behind), grown_by(outlet, behind)

    @once
    def _thirds(self) -> list[Mouth]:
        """Mouths other than the two ends whose stoppers begin within the part."""
        own = {end.mouth.name for end in self.ends}
        pitch = self.predicted.grid.pitch_mm
        return [
            place
            for one in self.closings
            for place in one.places
            if place.name not in own and sunk_mm(place, pitch) > LEVEL * pitch
        ]

    def _groups(self, void: PossibleVoid, mouth: Mouth, taken: Sequence[Taken]) -> list[set[int]]:
        """Pieces behind a stopper, each group between levels that no way between them passes."""
        pitch = self.predicted.grid.pitch_mm
        squares, low, high = layer_behind(void.places.grid, mouth, pitch)
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
        """Whether all that is open behind a mouth's stopper was taken out at a level."""
        depth = sunk_mm(mouth, self.predicted.grid.pitch_mm)
        plane = replace(mouth.plane, origin=mouth.plane.origin - depth * mouth.plane.normal)
        room = plug(replace(mouth, plane=plane), CUT_MM, depth)
        if not room[..., 2].min() < taken.z < room[..., 2].max():
            return False
        section = sections.metal(room, Plane.level(taken.z))
        left = [piece for piece in self._open_at(taken.z) if shapely.intersects(piece, section)]
        open_here = shapely.union_all(left).intersection(section)
        return bool(open_here.difference(taken.openings).area <= TOUCH_MM2)

    def parted(self) -> tuple[tuple[set[int], set[int]], list[set[int]]]:
        """Pieces of the possible void, all crossings taken out: at the ends, at each crossing."""
        taken = [self._taken(crossing) for crossing in self.crossings]
        void = self.predicted.possible_less([one.runs for one in taken])
        beside = []
        for crossing in self.crossings:
            squares = squares_of(self.predicted, crossing.footprint, shapely.Polygon())
            bounds = crossing.low - RIM_MM, crossing.high + RIM_MM
            low, high = (np.full(len(squares), z) for z in bounds)
            beside.append(void.pieces_over(squares, low, high))
        return self._ends(void, taken), beside

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

    def way(
        self,
        closed: tuple[Crossing, ...] = (),
        enough_mm: float = np.inf,
        hint: Way | None = None,
    ) -> Way:
        """Bracket the widest way that uses none of the crossings in `closed`.

        `enough_mm`: a bracket that lies wholly on one side of it need not be narrower
        than 0.3 of a pitch. `hint`: the way in the nominal part, which may still be the widest.
        """
        ceiling, leak = self._ceiling(closed)
        if ceiling < self.smallest_way_mm:
            return Way(0.0, 0.0, np.empty((0, 3)), leak, None)
        if hint is not None and hint.leak_mm == 0.0 and self.predicted.only_more:
            ceiling = min(ceiling, hint.high_mm)
        still: tuple[float, Floats, Floats | None] = (0.0, NO_ROUTE, None)
        if hint is not None and not closed:
            still = self._still(hint, ceiling, enough_mm)
            if (2.0 * still[0], ceiling, leak) == (hint.low_mm, hint.high_mm, False):
                return Way(hint.low_mm, ceiling, still[1], False, still[2])
        large, fine = self._sizes()
        if still[0] == 0.0 and large > fine and not leak:
            self.cells = replace(self.cells, every=large)
            still = self._route(closed, ceiling, enough_mm, tries=1)
            if ceiling - 2.0 * still[0] > self._fine(2.0 * still[0], ceiling, enough_mm):
                still = (0.0, NO_ROUTE, None)
        self.cells = replace(self.cells, every=fine)
        return self._bracket(closed, ceiling, leak, enough_mm, still)

    def _sizes(self) -> tuple[int, int]:
        """Two sizes of cells in pitches: large ones, which tell a roomy passage, and fine ones.

        Fine is a single pitch, or as few as fit.
        """
        pitch = self.predicted.grid.pitch_mm
        fine = float(np.prod(self.predicted.window.box.high - self.predicted.window.box.low))
        if fine / pitch**3 > MOST_WINDOW:
            raise GridError(
                f"a window of {fine / pitch**3:.1e} cells at pitch {pitch:.3g} mm does not fit; "
                "give a larger pitch"
            )
        least = max(1, int(np.ceil(np.cbrt(fine / pitch**3 / (0.9 * MOST_CELLS)))))
        roomy = self.cells.most_mm / (ROOMY * pitch)
        return int(roomy) if np.isfinite(roomy) else 1, least

    def _bracket(
        self,
        closed: tuple[Crossing, ...],
        ceiling: float,
        leak: bool,
        enough_mm: float,
        known: tuple[float, Floats, Floats | None],
    ) -> Way:
        """The way that the fine cells lead to, or a route that is known if there is one."""
        low, route, throat = known
        if low == 0.0:
            low, route, throat = self._route(closed, ceiling, enough_mm)
        leak_mm, leak_at = self._leak() if leak else (0.0, None)
        # A way wider than the widest leak cannot have left the part.
        leak = leak and 2.0 * low <= leak_mm
        if leak or 2.0 * low < self.smallest_way_mm:
            return Way(0.0, ceiling, NO_ROUTE, leak, None, leak_mm, leak_at)
        high = ceiling
        if high - 2.0 * low > self._fine(2.0 * low, high, enough_mm):
            high = min(high, self._cut(closed, low, route))
        if self._neck_wanted(2.0 * low, high, enough_mm):
            high = min(high, self._neck(closed, low))
        if high < 2.0 * low <= high + 4.0 * self.surface_mm:
            high = 2.0 * low
        return Way(2.0 * low, high, route, leak, throat, leak_mm, leak_at)

    def _fine(self, low: float, high: float, enough: float) -> float:
        """How wide a bracket may stay."""
        pitch = self.predicted.grid.pitch_mm
        return 0.1 * pitch if low < enough <= high else 0.3 * pitch

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

        taken.sort(key=width)
        if not taken or self._joined(taken):
            return mouths, leak
        # The fewest that part the ends: bisect on how many of the ordered ones are out.
        few, many = 0, len(taken)
        while many - few > 1:
            middle = (few + many) // 2
            if self._joined(taken[:middle]):
                few = middle
            else:
                many = middle
        widest = width(taken[many - 1])
        return min(mouths, 0.0 if widest < self.smallest_way_mm else widest), leak

    def _mouth_mm(self, end: Closing) -> float:
        """Upper bound of a ball whose centre is in a mouth: the largest circle beside stray metal.

        Taken just inside the closing surface and just outside it, for metal may end there.
        """
        width = end.width_mm
        if not end.flat:
            return width
        (surface,) = end.surfaces
        void = end.mouth.polygon if len(end.places) == 1 else surface.polygon
        ring = surface.plane.to_space(shapely.get_coordinates(surface.polygon))
        stray = self.predicted.stray_near(Box(ring.min(0), ring.max(0)).grown(2.0 * CUT_MM))
        if not stray:
            return width
        for step in (-CUT_MM, CUT_MM):
            plane = replace(
                surface.plane, origin=surface.plane.origin + step * surface.plane.normal
            )
            metal = shapely.union_all([sections.metal(soup, plane) for soup in stray])
            metal = metal.difference(self.predicted.removed(plane))
            # The polygon is of the closing surface itself: the ball there is hardly larger.
            circle = largest_circle_mm(void.difference(metal)) + CUT_MM
            width = min(width, circle)
        return width

    def _leak(self) -> tuple[float, Floats | None]:
        """Upper bound of the widest way from the inlet to the window's rim, and its throat."""
        cells = self.cells
        index = np.arange(int(np.prod(cells.shape))).reshape(cells.shape)
        rim = np.concatenate([np.take(index, [0, -1], axis).ravel() for axis in range(3)])
        rim = rim[cells.passable.ravel()[rim] > 0]
        found, room = dense.widest_route(
            cells.radius, cells.passable, rim, cells.behind(self.inlet)
        )
        at = None
        if len(found):
            narrowest = int(np.argmin(cells.radius.ravel()[found]))
            at = cells.centres(found[narrowest : narrowest + 1])[0]
        return 2.0 * (dense.widest_bound(cells.radius, room) + cells.slack_mm), at

    def _joined(self, taken: list[Taken]) -> bool:
        void = self.predicted.possible_less([one.runs for one in taken])
        start, end = self._ends(void, taken)
        return bool(start & end)

    def _still(self, hint: Way, ceiling: float, need: float) -> tuple[float, Floats, Floats | None]:
        """The nominal route, perhaps bent, if that is as wide as it was or as the ceiling allows.

        Where nothing has moved, metal is the nominal part's, from which the route keeps the
        distance proven there, or stray.
        """
        if len(hint.route) == 0 or not self.predicted.in_place:
            return 0.0, NO_ROUTE, None
        stray = box_tree.build(self.predicted.stray)
        half = 0.5 * hint.low_mm + self.surface_mm
        bound, where = segments.certified_clearance(stray, hint.route, half)
        if where is None:
            return 0.5 * hint.low_mm, hint.route, hint.throat
        if 2.0 * bound >= ceiling - 4.0 * CIRCLE_MM:
            return bound - self.surface_mm, hint.route, where
        bent = self._bent(hint.route, stray, ceiling)
        bound, where = segments.certified_clearance(self.tree, bent)
        low, bent, where = self._held(max(bound - self.surface_mm, 0.0), bent, where)
        as_wide = 2.0 * low >= hint.low_mm - 1e-4
        if as_wide or ceiling - 2.0 * low <= self._fine(2.0 * low, ceiling, need):
            return low, bent, where
        return 0.0, NO_ROUTE, None

    def _bent(self, route: Floats, stray: box_tree.Tree, ceiling: float) -> Floats:
        """A route led through the middle of what is open where stray metal stands in its way."""
        rooms, _, _ = segments.segment_clearances(stray, route[:-1], route[1:], 0.5 * ceiling)
        tight = np.flatnonzero(np.isfinite(rooms))
        steps = np.linalg.norm(np.diff(route, axis=0), axis=1)
        aside = max(1, int(np.ceil(BEND * 0.5 * ceiling / max(float(np.median(steps)), 1e-9))))
        # Stretches so near to each other that they would be bent twice are bent together.
        stretches = np.split(tight, np.flatnonzero(np.diff(tight) > 2 * aside + 1) + 1)
        bent, kept = [], 0
        for stretch in stretches:
            place = self._open_near(route[stretch[len(stretch) // 2]])
            if place is None or not len(tight):
                return route
            first, last = max(int(stretch[0]) - aside, 0), int(stretch[-1]) + 1 + aside
            piece = [route[first : stretch[0] + 1], place[None], route[stretch[-1] + 1 : last + 1]]
            spacing = max(self.predicted.grid.pitch_mm, 0.05 * ceiling)
            bound, around, _ = self._widened(np.concatenate(piece), ceiling, ceiling, spacing)
            if bound <= 0.0:
                return route
            bent += [route[kept:first], around]
            kept = last + 1
        return np.concatenate([*bent, route[kept:]])

    def _open_near(self, place: Floats) -> Floats | None:
        """Middle of the opening of the crossing nearest to a place; None if nothing is open."""
        if not self.crossings:
            return None
        off = [float(np.linalg.norm(np.array(c.centre_mm) - place)) for c in self.crossings]
        crossing = self.crossings[int(np.argmin(off))]
        if crossing.opening.is_empty:
            return None
        largest = max(shapely.get_parts(crossing.opening), key=lambda part: float(part.area))
        circle = shapely.maximum_inscribed_circle(largest, tolerance=CIRCLE_MM)
        x, y = shapely.get_coordinates(circle)[0]
        return np.array([x, y, crossing.height_mm])

    # ---- the lower bound: a route with exact distances -------------------------------------

    def _route(
        self, closed: tuple[Crossing, ...], ceiling: float, need: float, tries: int = MOST_TRIES
    ) -> tuple[float, Floats, Floats | None]:
        passable = self.cells.passable
        shut = [self._cells_of(crossing) for crossing in closed]
        if shut:
            passable = passable.copy()
            passable.ravel()[np.concatenate(shut)] = 0
        best: tuple[float, Floats, Floats | None] = (0.0, np.empty((0, 3)), None)
        ends = self.cells.behind(self.inlet), self.cells.behind(self.outlet)
        for _ in range(tries):
            index, least = dense.widest_route(self.cells.radius, passable, *ends)
            if len(index) == 0:
                return best
            if len(index) > WINDING * sum(self.cells.shape):
                # In a flat slit all cells are alike, and the widest route strays all over it.
                roomy = (self.cells.radius >= 0.999 * least) & (passable > 0)
                index = shortest(roomy, *ends)
            low, route, throat = self._certify(self.cells.centres(index), ceiling, need)
            place = next((p for p in (enters(route, one) for one in closed) if p is not None), None)
            if place is not None:
                low, throat = 0.0, place  # widened into a crossing that it may not use
            if low > best[0]:
                best = (low, route, throat)
            if 2.0 * low >= self.smallest_way_mm or throat is None:
                return best
            # The cells jumped something thinner than themselves: go round that place.
            near = 1.5 * self.cells.pitch_mm
            passable = passable.copy() if passable is self.cells.passable else passable
            passable.ravel()[self.cells.within(throat - near, throat + near)] = 0
        return best

    def _certify(
        self, centres: Floats, ceiling: float, need: float
    ) -> tuple[float, Floats, Floats | None]:
        """Lead a route over cells from mouth to mouth and widen it."""
        pitch = self.predicted.grid.pitch_mm
        start, end = self._start(self.inlet, centres[0]), self._start(self.outlet, centres[-1])
        for every in (4, 1):  # where there is room, a step need not be a cell's
            inner = centres[::every] if len(centres) > every else centres
            route = np.concatenate([start[None], inner, end[None]])
            bound, where = segments.certified_clearance(self.tree, route, enough=2.0 * pitch)
            if bound > 0.0:
                break
        if bound <= 0.0:
            return 0.0, route, where
        wide = self._held(*self._widened(route, ceiling, need))
        if wide[0] > 0.0:
            return wide
        return self._held(max(bound - self.surface_mm, 0.0), route, where)

    def _held(
        self, low: float, route: Floats, where: Floats | None
    ) -> tuple[float, Floats, Floats | None]:
        """A route held against every closing surface; where it crosses one, laid onto it.

        A route that still crosses one proves nothing: then the place is told instead of the throat.
        """
        if crossed(route, self.closings) is None:
            return low, route, where
        route = drawn_in(route, self.closings)
        place = crossed(route, self.closings)
        if place is not None:
            return 0.0, route, place
        bound, where = segments.certified_clearance(self.tree, route)
        return max(bound - self.surface_mm, 0.0), route, where

    def _widened(
        self, route: Floats, ceiling: float, need: float, spacing: float = 0.0
    ) -> tuple[float, Floats, Floats | None]:
        """A route pushed to where there is more room, and its exact least distance."""
        pitch = self.predicted.grid.pitch_mm
        spacing = spacing or max(2.0 * pitch, 0.15 * ceiling)
        # Nothing can be wider than the ceiling; a tenth of a pitch below it is near enough,
        # unless the requirement lies near it.
        short = 0.1 * pitch if abs(ceiling - need) > pitch else CIRCLE_MM
        enough = max(0.5 * ceiling - short, 0.0)
        route, bound, where = routes.widened(self.tree, route, spacing_mm=spacing, enough=enough)
        return max(bound - self.surface_mm, 0.0), route, where

    def _start(self, mouth: Mouth, first: Floats) -> Floats:
        """The roomiest point of a mouth's closing surface near the first cell of a route."""
        return self._climb(mouth, mouth.plane.to_plane(first[None])[0])

    def _climb(self, mouth: Mouth, xy: Floats) -> Floats:
        """Pattern search for the largest distance on a closing surface."""
        turn = np.linspace(0.0, 2.0 * np.pi, 8, endpoint=False)
        compass = np.stack([np.cos(turn), np.sin(turn)], axis=1)
        step = 0.25 * mouth.inscribed_radius
        room = float(distance.distances(self.tree, mouth.plane.to_space(xy[None]))[0])
        while step > 1e-3:
            step = min(step, 0.9 * room)  # stay within the ball: no wall is jumped
            if step <= 1e-3:
                break
            around = xy + step * compass
            inside = shapely.contains_xy(mouth.polygon, around[:, 0], around[:, 1])
            rooms = distance.distances(self.tree, mouth.plane.to_space(around))
            rooms[~inside] = -1.0
            best = int(np.argmax(rooms))
            if rooms[best] > room:
                room, xy = float(rooms[best]), around[best]
            else:
                step *= 0.5
        return np.asarray(mouth.plane.to_space(xy[None])[0])

    def _cells_of(self, crossing: Crossing) -> NDArray[np.int64]:
        """Cells of a crossing, a cell beyond its faces and rim."""
        pitch = self.cells.pitch_mm
        return self.cells.near_plate(
            Plane.level(0.0),
            crossing.footprint,
            crossing.low - pitch,
            crossing.high + pitch,
            pitch,
        )

    def _cells_within(self, crossing: Crossing) -> NDArray[np.int64]:
        """Cells that lie in a crossing with all of them: another branch may lead through others."""
        half = self.cells.half_diagonal_mm
        low, high = crossing.low + half, crossing.high - half
        if low > high or crossing.footprint.is_empty:
            return np.empty(0, np.int64)
        level = Plane.level(0.0)
        return self.cells.near_plate(level, crossing.footprint, low, high, -half)

    # ---- the upper bound: plane cuts that every wide route passes ---------------------------

    def _cut(self, closed: tuple[Crossing, ...], low: float, route: Floats) -> float:
        """Upper bound of the clear diameter from plane sections.

        Cells that a centre of a ball of radius `low` can be in form a graph that every wider way
        lies in. Its links through some plane sections are cut. If every chain crosses one of them
        an odd number of times, so does every way, and its ball fits into the largest circle there.
        If chains without a link through them are missing only, the ball of a way comes so near to
        one that it meets it.
        """
        cells = self.cells
        half = cells.half_diagonal_mm
        if low < half + RIM_MM:
            return np.inf  # a wall may part a ball from the centre of the cell that it is in
        ends = self._at(self.ends[0]), self._at(self.ends[1])
        parting = Parting(cells, self._active(closed, low), ends)
        # From nothing: a section too narrow for the route contradicts it, and that has to show.
        widest, rest = 0.0, np.inf
        for _ in range(self._tries()):
            cut = self._section(*self._throat(route))
            if cut is None:
                break
            plane, polygon, circle = cut
            widest = max(widest, circle)
            parting.cut(plane, polygon)
            index, room = parting.left()
            # What is left is no wider than the cells of its widest route.
            rest = 0.0 if len(index) == 0 else 2.0 * (room + cells.slack_mm)
            if rest <= widest:
                break
            route = self._drawn_in(cells.centres(index))
        high = max(widest, rest)
        beside = float(np.hypot(widest, 2.0 * half))
        if rest < beside and not parting.all_cross(max(low, 0.5 * high) + 0.5 * self.surface_mm):
            high = beside
        return min(high, 1e9) + 2.0 * self.surface_mm

    def _active(self, closed: tuple[Crossing, ...], radius_mm: float) -> NDArray[np.uint8]:
        """Cells that the centre of a ball of a radius can be in, without some crossings."""
        active = (self.cells.radius >= radius_mm - self.cells.slack_mm).astype(np.uint8)
        active.ravel()[self.cells.barrier(self.cells.pitch_mm)] = 0
        for crossing in closed:
            active.ravel()[self._cells_within(crossing)] = 0
        return active

    def _neck_wanted(self, low: float, high: float, enough: float) -> bool:
        """Whether the bracket is too wide: for the verdict, or for a number in a small window."""
        pitch = self.predicted.grid.pitch_mm
        cells = np.prod(self.cells.shape)
        if low < enough <= high:
            return bool(high - low > pitch and cells <= NECK_CELLS)
        return bool(high - low > 2.0 * pitch and cells <= QUICK_CELLS)

    def _neck(self, closed: tuple[Crossing, ...], low: float) -> float:
        """Upper bound of the clear diameter where no plane section closes the neck."""
        pitch = self.cells.pitch_mm
        radius = max(low + NECK * pitch, least_radius_mm(pitch))
        active = self._active(closed, radius)
        active[self.cells.inside(self.tree)] = 0
        neck = Neck(active, self.tree, self.cells.origin, pitch, radius)
        ends = [self._at(end, radius) for end in self.ends]
        return 2.0 * (radius + self.surface_mm) if neck.parted(*ends) else np.inf

    def _tries(self) -> int:
        """Sections that may be taken: many in a small window, few in a large one."""
        return int(np.clip(CUT_CELLS // np.prod(self.cells.shape), MOST_TRIES, 64))

    def _drawn_in(self, route: Floats) -> Floats:
        """A route over cells, led through the middle of its throat if it runs through void."""
        if segments.certified_clearance(self.tree, route)[0] <= 0.0:
            return route
        return routes.widen(
            self.tree, route, spacing_mm=2.0 * self.predicted.grid.pitch_mm, rounds=8
        )

    def _at(self, end: Closing, radius_mm: float = 0.0) -> NDArray[np.int64]:
        """Cells that hold the centre of a ball in a mouth; its rim is metal."""
        half = self.cells.half_diagonal_mm
        found = [np.empty(0, np.int64)]
        for surface in end.surfaces:
            inner = -0.99 * radius_mm if end.flat else 0.0
            places = surface.polygon.buffer(inner)
            if not places.is_empty:
                found.append(self.cells.near_plate(surface.plane, places, -half, half, half))
        return np.concatenate(found)

    def _throat(self, route: Floats) -> tuple[Floats, Floats, float]:
        """Narrowest vertex of a route, as far as can be from its ends, and the direction there."""
        room = distance.distances(self.tree, route)
        along = np.append(0.0, np.cumsum(np.linalg.norm(np.diff(route, axis=0), axis=1)))
        from_end = np.minimum(along, along[-1] - along)
        narrow = room <= room.min() + max(0.002 * room.min(), 0.005)
        n = int(np.argmax(np.where(narrow, from_end, -1.0)))
        reach = max(float(room[n]), self.predicted.grid.pitch_mm)
        ends = [
            np.array(
                [
                    np.interp(np.clip(along[n] + s, 0, along[-1]), along, route[:, a])
                    for a in range(3)
                ]
            )
            for s in (-reach, reach)
        ]
        tangent = ends[1] - ends[0]
        return route[n], tangent / max(float(np.linalg.norm(tangent)), 1e-12), float(room[n])

    def _section(
        self, place: Floats, tangent: Floats, room: float
    ) -> tuple[Plane, Any, float] | None:
        """The narrowest of a few plane sections of the void near a place."""
        best: tuple[Plane, Any, float] | None = None
        for normal in self._normals(place, tangent, room):
            plane = Plane.through(place, normal)
            polygon = self.void_piece(plane)
            if polygon is None:
                continue
            circle = largest_circle_mm(polygon)
            if best is None or circle < best[2]:
                best = (plane, polygon, circle)
        return best

    def _normals(self, place: Floats, tangent: Floats, room: float) -> list[Floats]:
        """The route's direction; the direction that the places of contact do not span; vertical."""
        turn = np.linspace(0.0, 2.0 * np.pi, 24, endpoint=False)
        level = np.array([0.0, 0.0, 1.0])
        normals = [tangent]
        near = [c for c in self.crossings if c.low - 1e-9 <= place[2] <= c.high + 1e-9]
        if near:
            normals.insert(0, level)
        a = np.cross(tangent, [1.0, 0.0, 0.0] if abs(tangent[0]) < 0.9 else [0.0, 1.0, 0.0])
        a /= np.linalg.norm(a)
        b = np.cross(tangent, a)
        ring = place + 0.3 * room * (np.cos(turn)[:, None] * a + np.sin(turn)[:, None] * b)
        _, touch, _ = distance.closest(self.tree, ring)
        _, _, axes = np.linalg.svd(touch - touch.mean(0))
        if abs(float(axes[2] @ tangent)) > 0.5:
            normals.append(axes[2])
        return normals

    def void_piece(self, plane: Plane) -> Any:
        """Piece of the predicted void in a plane that holds the plane's origin, or None.

        None too where it comes to a mouth: a ball there is bounded by no wall.

        The predicted metal in the plane is put together slab by slab, as everywhere.
        """
        from clearance.predicted.planes import predicted_metal

        window, metal = predicted_metal(self.predicted, plane)
        at = plane.to_plane(plane.origin[None])[0]
        for piece in shapely.get_parts(window.difference(metal)):
            if piece.geom_type == "Polygon" and shapely.intersects_xy(piece, *at):
                surfaces = (s for one in self.closings for s in one.surfaces)
                at_mouth = any(reaches(piece, surface, plane) for surface in surfaces)
                return None if at_mouth or piece.intersects(window.boundary) else piece
        return None
