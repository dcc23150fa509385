"""Intervals of z per column, and what sets of them have in common.

In: sorted, disjoint intervals. Out: `Runs`, their union, difference and intersection.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from clearance.columns.grid import Grid
from clearance.kernels.compiler import kernel


@dataclass(frozen=True, eq=False, slots=True)
class Runs:
    """Disjoint closed z intervals, sorted, per column.

    Attributes
    ----------
    start : (C + 1,) ndarray of int64
        Intervals of column c are ``z[start[c]:start[c + 1]]``; c = i * ny + j.
    z : (R, 2) ndarray of float64, mm
    """

    start: NDArray[np.int64]
    z: NDArray[np.float64]

    def of(self, column: int) -> NDArray[np.float64]:
        """(n, 2) intervals of one column."""
        return self.z[self.start[column] : self.start[column + 1]]

    def window(self, grid: Grid, part: Grid) -> Runs:
        """The intervals of a smaller grid whose columns are among those of `grid`."""
        i, j = (part.x0 - grid.x0) // grid.step, (part.y0 - grid.y0) // grid.step
        return Runs(*_within(self.start, self.z, grid.ny, i, j, part.nx, part.ny))

    def each(self, grid: Grid, every: int) -> Runs:
        """The intervals of each `every`-th column both ways over ``grid.each(every)``.

        What that grid has beyond this one is left empty.
        """
        coarse = grid.each(every)
        i, j = (a.ravel() for a in np.mgrid[: coarse.nx, : coarse.ny] * every)
        inside = (i < grid.nx) & (j < grid.ny)
        column = np.where(inside, i * grid.ny + j, 0)
        first = self.start[column]
        count = np.where(inside, self.start[column + 1] - first, 0)
        start = np.concatenate(([0], np.cumsum(count)))
        index = np.arange(start[-1]) + np.repeat(first - start[:-1], count)
        return Runs(start, self.z[index])

    def length_mm(self) -> NDArray[np.float64]:
        """(C,) total length of the intervals of each column, mm."""
        total = np.concatenate(([0.0], np.cumsum(self.z[:, 1] - self.z[:, 0])))
        return np.asarray(total[self.start[1:]] - total[self.start[:-1]])


@kernel
def _within(start, z, ny, i0, j0, nx, ny_in):  # type: ignore[no-untyped-def]
    out_start = np.zeros(nx * ny_in + 1, np.int64)
    for i in range(nx):
        for j in range(ny_in):
            c = (i0 + i) * ny + j0 + j
            n = i * ny_in + j
            out_start[n + 1] = out_start[n] + start[c + 1] - start[c]
    out = np.empty((out_start[-1], 2), np.float64)
    for i in range(nx):
        a = start[(i0 + i) * ny + j0]
        b = start[(i0 + i) * ny + j0 + ny_in]
        shift = out_start[i * ny_in] - a
        for r in range(a, b):
            out[r + shift, 0], out[r + shift, 1] = z[r, 0], z[r, 1]
    return out_start, out


def unite(a: Runs, b: Runs) -> Runs:
    """Union, column by column, of two sets of intervals over the same grid."""
    start, z = _unite(a.start, a.z, b.start, b.z)
    return Runs(start, z)


@kernel
def _unite(start_a, z_a, start_b, z_b):  # type: ignore[no-untyped-def]
    columns = start_a.shape[0] - 1
    start = np.zeros(columns + 1, np.int64)
    z = np.empty((z_a.shape[0] + z_b.shape[0], 2), np.float64)
    n = 0
    for c in range(columns):
        a, b = start_a[c], start_b[c]
        while a < start_a[c + 1] or b < start_b[c + 1]:
            if b >= start_b[c + 1] or (a < start_a[c + 1] and z_a[a, 0] <= z_b[b, 0]):
                low, high = z_a[a, 0], z_a[a, 1]
                a += 1
            else:
                low, high = z_b[b, 0], z_b[b, 1]
                b += 1
            if n > start[c] and low <= z[n - 1, 1]:
                z[n - 1, 1] = max(z[n - 1, 1], high)
            else:
                z[n, 0] = low
                z[n, 1] = high
                n += 1
        start[c + 1] = n
    return start, z[:n].copy()


def subtract(a: Runs, b: Runs) -> Runs:
    """Intervals of `a` less those of `b`, column by column."""
    return Runs(*_subtract(a.start, a.z, b.start, b.z))


def intersect(a: Runs, b: Runs) -> Runs:
    """What the intervals of `a` and `b` share, column by column."""
    return subtract(a, subtract(a, b))


@kernel
def _subtract(start_a, z_a, start_b, z_b):  # type: ignore[no-untyped-def]
    columns = start_a.shape[0] - 1
    start = np.zeros(columns + 1, np.int64)
    z = np.empty((z_a.shape[0] + z_b.shape[0], 2), np.float64)
    n = 0
    for c in range(columns):
        b = start_b[c]
        for a in range(start_a[c], start_a[c + 1]):
            low, high = z_a[a, 0], z_a[a, 1]
            while b < start_b[c + 1] and z_b[b, 1] <= low:
                b += 1
            k = b
            while k < start_b[c + 1] and z_b[k, 0] < high:
                if z_b[k, 0] > low:
                    z[n, 0], z[n, 1] = low, z_b[k, 0]
                    n += 1
                low = max(low, z_b[k, 1])
                k += 1
            if low < high:
                z[n, 0], z[n, 1] = low, high
                n += 1
        start[c + 1] = n
    return start, z[:n].copy()


def levels(runs: Runs, heights: list[float], half_mm: float) -> Runs:
    """Thin intervals around the given heights (rising), over every column that has any."""
    count = np.diff(runs.start) > 0
    z = np.array([(h - half_mm, h + half_mm) for h in heights]).reshape(-1, 2)
    start = np.concatenate(([0], np.cumsum(count * len(z)))).astype(np.int64)
    found = Runs(start, np.tile(z, (int(count.sum()), 1)))
    return unite(found, found)  # merges what overlaps
