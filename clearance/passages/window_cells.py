"""Dense cells of the window around a passage.

In: the predicted part in a window. Out: for each cell a radius that metal leaves free, within a
stated slack, and numbers of cells near planes, boxes and mouths.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
import shapely
from numpy.typing import NDArray

from clearance.columns import cells as dense
from clearance.columns import ways
from clearance.columns.grid import Grid
from clearance.errors import GridError
from clearance.geometry import box_tree, distance
from clearance.geometry.planes import Plane
from clearance.kernels.pieces import pieces
from clearance.passages.closings import (
    Closing,
    Surface,
)
from clearance.passages.way import Floats
from clearance.ports.mouth import Mouth
from clearance.predicted.part import Predicted
from clearance.system.once import once

Ints = NDArray[np.int64]

MOST_CELLS = 300_000_000
"""Cells of a dense window at most (5 bytes each, 14 more of void while a way is sought)."""
CHORD = float(np.cos(np.pi / 64.0))
"""A figure grown by shapely ends in polygons inscribed in arcs, of 64 sides all round: at least so
much of what was asked for."""


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
        most = self.most_mm + 2.0 * self.pitch_mm
        return self.predicted.dense.get_if_held(
            ("radius", self.every, self._steps),
            lambda: dense.clear_radius(self._metal("touched"), self.pitch_mm, most),
        )

    @property
    def _steps(self) -> int:
        """Largest radius that is told, in cells: mouths of about one size have one answer."""
        return math.ceil((self.most_mm + 2.0 * self.pitch_mm) / self.pitch_mm)

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
        half = self.half_diagonal_mm
        room = distance.distances_between(tree, self.centres(index), half, half)
        deep = np.zeros(self.shape, bool)
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

    def rim(self) -> NDArray[np.int64]:
        """Flat indices of the cells along the six faces of the window."""
        found = []
        for axis, count in enumerate(self.shape):
            places = [np.arange(n) for n in self.shape]
            places[axis] = np.array([0, count - 1])
            found.append(np.ravel_multi_index(np.ix_(*places), self.shape).ravel())
        return np.concatenate(found)

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
        group = pieces(*_neighbours(found, self.shape), len(found))
        return np.asarray(found[np.isin(group, group[np.isin(found, over)])])

    @once
    def passable(self) -> NDArray[np.uint8]:
        """Void cells on the inner side of the mouths."""
        mouths = tuple(one.mouth.name for one in self.closings)
        key = ("passable", self.every, mouths)
        return self.predicted.dense.get_if_held(key, self._passable)

    @once
    def free(self) -> ways.Packed:
        """The passable cells."""
        mouths = tuple(one.mouth.name for one in self.closings)
        key = ("free", self.every, mouths)
        return self.predicted.dense.get_if_held(key, lambda: ways.packed(self.passable))

    def _passable(self) -> NDArray[np.uint8]:
        passable = (self.radius > 0.0).view(np.uint8)
        passable.ravel()[self.barrier(0.0)] = 0
        return passable

    def behind(self, mouth: Mouth) -> NDArray[np.int64]:
        """Void cells just inside a mouth."""
        pitch = self.pitch_mm
        index = self.near_plate(mouth.plane, mouth.polygon, -1.5 * pitch, 0.0, 0.0)
        return index[self.passable.ravel()[index] > 0]

    def ways_from(self, mouth: Mouth) -> ways.Widest | None:
        """Widest ways from a mouth to all others, where passages share what is worked out here."""
        kept = self.predicted.dense
        if not kept.held:
            return None
        names = tuple(one.mouth.name for one in self.closings)
        begin = self.behind(mouth)
        key = ("ways", self.every, names, self._steps, begin.tobytes())
        return kept.get_if_held(
            key, lambda: ways.Widest(self.radius, self.passable, begin, self.free)
        )


def _neighbours(cells: Ints, shape: tuple[int, ...]) -> tuple[Ints, Ints]:
    """Which of some cells, given by flat index in rising order, share a face: pairs of places."""
    pairs: list[tuple[Ints, Ints]] = []
    for axis, place in enumerate(np.unravel_index(cells, shape)):
        own = np.flatnonzero(place + 1 < shape[axis])
        wanted = cells[own] + math.prod(shape[axis + 1 :])
        other = np.minimum(np.searchsorted(cells, wanted), len(cells) - 1)
        met = cells[other] == wanted
        pairs.append((own[met], other[met]))
    one, two = zip(*pairs, strict=True)
    return np.concatenate(one), np.concatenate(two)
