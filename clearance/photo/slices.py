"""A rectified picture against every slice: overlap of each, and which it can be.

In: grey values, their plane, solids and a layer thickness. Out: `Compared`. Light may be uneven
and metal brighter or darker than powder: grey values are fitted by two smooth fields, of powder
and of what metal adds to it, for the slice that fits best; halfway between lies the edge.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import NDArray

from clearance.columns.cast import Columns, cast
from clearance.columns.grid import Grid
from clearance.errors import ClearanceError
from clearance.geometry.soup import Soup, extent
from clearance.photo.plane import PicturePlane

Floats = NDArray[np.float64]
Mask = NDArray[np.bool_]

MOST_CELLS = 400_000
"""Cells that the platform under the parts is cut into, at most; not finer than a pixel."""
MARGIN_MM = 2.0
"""How far around the parts is looked at."""
EDGE_PIXELS = 2.0
"""How far an edge in a picture is off, in pixels: blur, and a pixel that is half metal."""
SAMPLES = 20_000
"""Cells that the light is fitted to."""
LEAST_CONTRAST = 2.0
"""Step from powder to metal, at least, over the scatter of grey values about the fit."""
LEAST_SEEN = 0.5
"""Share of the parts' place that has to lie in the picture."""


@dataclass(frozen=True, eq=False)
class Compared:
    """A picture compared with every slice.

    Attributes
    ----------
    overlaps : (N,) ndarray
        Area of metal in both over that in either, of slice 0 to N - 1; 0 where the part has none.
    can_be : (N,) ndarray of bool
        Slices that differ from the picture by no more than its edges are off.
    seen : float
        Share of the parts' place that lies in the picture.
    pixel_mm, edge_mm, contrast : float
        Side of a pixel there; how far an edge may be off; step over scatter.
    """

    overlaps: Floats
    can_be: NDArray[np.bool_]
    seen: float
    pixel_mm: float
    edge_mm: float
    contrast: float


def compared(
    picture: Floats,
    plane: PicturePlane,
    solids: Sequence[Soup],
    platform_z: float,
    layer_mm: float,
) -> Compared:
    """Compare a picture with every slice.

    Parameters
    ----------
    picture : (rows, columns) ndarray
    plane : PicturePlane
    solids : sequence of (F, 3, 3) ndarray, mm
        Closed, where they stand on the platform.
    platform_z, layer_mm : float

    Raises
    ------
    ClearanceError
        Less than half of the parts lies in the picture, or it shows no step from powder to metal.
    """
    soup = np.concatenate(list(solids))
    low, high = extent(soup)
    middle = 0.5 * (low + high)[:2]
    pixel = plane.pixel_mm(middle)
    size = (high - low)[:2] + 2.0 * MARGIN_MM
    cell = max(pixel, math.sqrt(float(np.prod(size)) / MOST_CELLS))
    grid = Grid.over(low - MARGIN_MM, high + MARGIN_MM, cell, pad=0)
    grey, valid = _rectified(picture, plane, grid, cell / pixel)
    columns = cast(soup, grid)
    count = max(int((high[2] - platform_z) / layer_mm + 0.5 - 1e-9), 1)
    place = np.diff(columns.metal.start).reshape(grid.nx, grid.ny) > 0
    seen = float((place & valid).sum()) / max(int(place.sum()), 1)
    if seen < LEAST_SEEN:
        raise ClearanceError(
            f"{100 * seen:.0f} % of the parts' place lies in the picture, expected at least "
            f"{100 * LEAST_SEEN:.0f} %: do the points belong to it?"
        )
    edge = EDGE_PIXELS * max(pixel, cell) + float(plane.off_mm.max())
    light = _Light.of(grey, valid)
    best = max(
        _distinct(columns, grid, platform_z, layer_mm, count),
        key=lambda one: light.explained(one[1]),
    )[1]
    melted, contrast = light.metal(best)
    melted = scipy.ndimage.median_filter(melted.astype(np.uint8), 3).astype(bool)
    overlaps, can_be = np.zeros(count), np.zeros(count, np.bool_)
    square = math.ceil(edge / cell) + 1
    last: tuple[float, bool] = (0.0, False)
    for number, mask, new in _slices(columns, grid, platform_z, layer_mm, count):
        if new:
            last = _alike(mask & valid, melted & valid, square)
        overlaps[number], can_be[number] = last
    return Compared(overlaps, can_be, seen, pixel, edge, contrast)


def _rectified(
    picture: Floats, plane: PicturePlane, grid: Grid, coarser: float
) -> tuple[Floats, Mask]:
    """Grey values at the columns of a grid, and where the picture has them."""
    if coarser > 1.5:  # several pixels to a cell: their mean, or noise would be picked from them
        picture = scipy.ndimage.gaussian_filter(picture, 0.4 * coarser)
    x, y = (a.ravel() for a in np.meshgrid(*_axes(grid), indexing="ij"))
    pixels = plane.to_pixels(np.column_stack([x, y]))
    shape = (grid.nx, grid.ny)
    rows, columns = picture.shape
    inside = (pixels >= 0.0).all(axis=1) & (pixels <= (columns - 1, rows - 1)).all(axis=1)
    grey = scipy.ndimage.map_coordinates(picture, pixels[:, ::-1].T, order=1, mode="nearest")
    return grey.reshape(shape), inside.reshape(shape)


def _axes(grid: Grid) -> tuple[Floats, Floats]:
    return grid.x_mm(np.arange(grid.nx)), grid.y_mm(np.arange(grid.ny))


def _slices(
    columns: Columns, grid: Grid, platform_z: float, layer_mm: float, count: int
) -> Iterator[tuple[int, Mask, bool]]:
    """Metal of every slice as a mask, and whether it is another than the one before."""
    of = np.repeat(np.arange(grid.nx * grid.ny), np.diff(columns.metal.start))
    low, high = columns.metal.z.T
    before: Mask | None = None
    for number in range(count):
        z = platform_z + (number + 0.5) * layer_mm
        mask = np.zeros(grid.nx * grid.ny, np.bool_)
        mask[of[(low <= z) & (z < high)]] = True
        new = before is None or not np.array_equal(mask, before)
        before = mask
        yield number, mask.reshape(grid.nx, grid.ny), new


def _distinct(
    columns: Columns, grid: Grid, platform_z: float, layer_mm: float, count: int
) -> Iterator[tuple[int, Mask]]:
    """Slices that differ from the one below."""
    for number, mask, new in _slices(columns, grid, platform_z, layer_mm, count):
        if new:
            yield number, mask


def _alike(slice_: Mask, melted: Mask, square: int) -> tuple[float, bool]:
    """Overlap, and whether what differs holds no square of so many cells."""
    either = int((slice_ | melted).sum())
    overlap = float((slice_ & melted).sum()) / either if either else 0.0
    if not slice_.any():
        return 0.0, False
    differs = np.zeros((slice_.shape[0] + 1, slice_.shape[1] + 1), np.int32)
    np.cumsum(np.cumsum(slice_ ^ melted, axis=0), axis=1, out=differs[1:, 1:])
    if min(slice_.shape) < square:
        return overlap, False
    k = square
    full = differs[k:, k:] - differs[:-k, k:] - differs[k:, :-k] + differs[:-k, :-k]
    return overlap, bool((full < k * k).all())


@dataclass(frozen=True, eq=False)
class _Light:
    """Grey values fitted by two smooth fields, of powder and of what metal adds."""

    grey: Floats
    fields: Floats
    chosen: NDArray[np.int64]

    @classmethod
    def of(cls, grey: Floats, valid: Mask) -> _Light:
        x, y = np.meshgrid(*(np.linspace(-1.0, 1.0, n) for n in grey.shape), indexing="ij")
        fields = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=-1)
        inside = np.flatnonzero(valid)
        every = max(len(inside) // SAMPLES, 1)
        return cls(grey, fields.reshape(-1, 6), inside[::every])

    def _fit(self, mask: Mask) -> tuple[Floats, Floats]:
        """Coefficients of both fields, and what is left over at the cells chosen.

        By the normal equations: of a thousand slices each is fitted to all these cells.
        """
        on = mask.ravel()[self.chosen]
        own, grey = self.fields[self.chosen], self.grey.ravel()[self.chosen]
        lit = own[on]
        every, some = own.T @ own, lit.T @ lit
        square = np.block([[every, some], [some, some]])
        sums = np.concatenate([own.T @ grey, lit.T @ grey[on]])
        found = np.asarray(np.linalg.lstsq(square, sums, rcond=None)[0], np.float64)
        left = grey - own @ found[: own.shape[1]]
        left[on] -= lit @ found[own.shape[1] :]
        return found, left

    def explained(self, mask: Mask) -> float:
        """How well a slice explains the grey values: less is left over."""
        share = mask.ravel()[self.chosen].mean()
        if share in (0.0, 1.0):
            return -math.inf
        return -float(np.square(self._fit(mask)[1]).sum())

    def metal(self, mask: Mask) -> tuple[Mask, float]:
        """Where the picture shows metal, by the light of a slice, and the contrast.

        Raises
        ------
        ClearanceError
            Metal does not differ from powder all over, one way.
        """
        found, left = self._fit(mask)
        powder, step = self.fields @ found[:6], self.fields @ found[6:]
        scatter = max(float(left.std()), 1e-12)
        some = step[self.chosen]
        contrast = float(np.abs(some).mean()) / scatter
        one_way = min(float((some > 0.0).mean()), float((some < 0.0).mean())) < 0.01
        found_is = f"found a contrast of {contrast:.2g}, expected {LEAST_CONTRAST:g} or more"
        if contrast >= LEAST_CONTRAST and not one_way:
            found_is = "metal would be brighter than powder here and darker there"
        if contrast < LEAST_CONTRAST or not one_way:
            raise ClearanceError(
                f"no step from powder to metal is seen that is like any slice: {found_is}; do the "
                "points belong to the picture?"
            )
        above = (self.grey.ravel() - powder) / np.where(step == 0.0, 1e-12, step) > 0.5
        return above.reshape(self.grey.shape), contrast
