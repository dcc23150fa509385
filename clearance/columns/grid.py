"""Where columns stand: a rectangle of them on a grid of integers.

In: a box and a pitch, mm. Out: `Grid`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from clearance.kernels.compiler import inner

UNIT_MM = 2.0**-18
"""Length of the integer grid: 3.8e-6 mm, so that 400 mm squared fits 64 bits."""


def snap_even(length_mm: float) -> int:
    """Nearest even number of units to a length in mm."""
    return 2 * round(length_mm / (2.0 * UNIT_MM))


class Cells(NamedTuple):
    """A grid as kernels take it: where it begins in x and y, its pitch (mm), columns each way."""

    left: float
    front: float
    size: float
    nx: int
    ny: int


@inner
def spanned(t, cells, slack):  # type: ignore[no-untyped-def]
    """First and last cell, along x and y, that a triangle reaches in plan, and a little farther."""
    left, front, size = cells.left, cells.front, cells.size
    i0 = int(np.floor((min(t[0, 0], t[1, 0], t[2, 0]) - left) / size - slack))
    i1 = int(np.floor((max(t[0, 0], t[1, 0], t[2, 0]) - left) / size + slack))
    j0 = int(np.floor((min(t[0, 1], t[1, 1], t[2, 1]) - front) / size - slack))
    j1 = int(np.floor((max(t[0, 1], t[1, 1], t[2, 1]) - front) / size + slack))
    return i0, i1, j0, j1


@dataclass(frozen=True)
class Grid:
    """A rectangle of columns: column (i, j) stands at (x0 + i step, y0 + j step) units."""

    x0: int
    y0: int
    step: int
    nx: int
    ny: int

    @classmethod
    def over(
        cls, low: NDArray[np.float64], high: NDArray[np.float64], pitch_mm: float, pad: int = 2
    ) -> Grid:
        """Columns over a box in plan, `pad` pitches beyond it on every side.

        Columns of one pitch stand at the same places whatever the box, so that
        the answer in a window equals the answer over the whole part.
        """
        step = max(2, snap_even(pitch_mm))
        # Half a step off the multiples: faces drawn on round numbers fall between columns.
        half = (step // 2) | 1
        first = [math.floor((float(low[a]) / UNIT_MM - half) / step) - pad for a in (0, 1)]
        last = [math.ceil((float(high[a]) / UNIT_MM - half) / step) + pad for a in (0, 1)]
        return cls(
            first[0] * step + half,
            first[1] * step + half,
            step,
            last[0] - first[0] + 1,
            last[1] - first[1] + 1,
        )

    @property
    def pitch_mm(self) -> float:
        """Distance between neighbouring columns, mm."""
        return self.step * UNIT_MM

    @property
    def count(self) -> int:
        """Number of columns."""
        return self.nx * self.ny

    def x_mm(self, i: NDArray[np.int64] | int) -> NDArray[np.float64]:
        """Place of column row i, mm."""
        return (self.x0 + np.asarray(i) * self.step) * UNIT_MM

    def y_mm(self, j: NDArray[np.int64] | int) -> NDArray[np.float64]:
        """Place of column row j, mm."""
        return (self.y0 + np.asarray(j) * self.step) * UNIT_MM

    def nearest(self, x_mm: float, y_mm: float) -> tuple[int, int]:
        """Indices of the column nearest to a place, clipped to the grid."""
        i = round((x_mm / UNIT_MM - self.x0) / self.step)
        j = round((y_mm / UNIT_MM - self.y0) / self.step)
        return min(max(i, 0), self.nx - 1), min(max(j, 0), self.ny - 1)

    def columns_at(self, xy_mm: NDArray[np.float64]) -> NDArray[np.int64]:
        """Numbers of the columns nearest to places (N, 2 or more), clipped to the grid."""
        i = np.rint((xy_mm[:, 0] / UNIT_MM - self.x0) / self.step)
        j = np.rint((xy_mm[:, 1] / UNIT_MM - self.y0) / self.step)
        i, j = np.clip(i, 0, self.nx - 1), np.clip(j, 0, self.ny - 1)
        return np.asarray(i * self.ny + j, np.int64)

    def each(self, every: int) -> Grid:
        """Each `every`-th column both ways, and one more where the last would be left out."""
        nx, ny = (-(-(n - 1) // every) + 1 for n in (self.nx, self.ny))
        return Grid(self.x0, self.y0, self.step * every, nx, ny)

    def cells(self, shift_mm: tuple[float, float] = (0.0, 0.0)) -> Cells:
        """The same for kernels; `shift_mm`: how far what it is laid over has moved."""
        left, front = self.x0 * UNIT_MM - shift_mm[0], self.y0 * UNIT_MM - shift_mm[1]
        return Cells(left, front, self.pitch_mm, self.nx, self.ny)

    def corner(self) -> Grid:
        """Grid of the squares between the columns, named by their lower corner."""
        return Grid(self.x0, self.y0, self.step, self.nx - 1, self.ny - 1)
