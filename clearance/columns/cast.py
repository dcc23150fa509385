"""Columns: where metal begins and ends along vertical lines, exact in z.

In: a closed triangle soup and a grid of columns. Out: `Columns`, per column a
sorted list of z intervals of metal. Leaves to others: which metal is stray
(`stray`), what lies between two columns (`possible`).

Vertices are snapped to even multiples of `UNIT_MM` and columns stand on odd
ones, so no vertex and no axis-parallel edge lies on a column; what is left is
a column on a slanting edge, settled by a tie rule in exact integers.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from clearance.columns.grid import UNIT_MM, Grid, snap_even
from clearance.columns.runs import Runs
from clearance.errors import GridError
from clearance.geometry.stretches import fixed
from clearance.kernels.compiler import inner, kernel
from clearance.kernels.growing import grown, grown_runs

MOST_COLUMNS = 150_000_000
"""Columns of a grid at most: about 70 bytes each while they are sorted."""


@dataclass(frozen=True, eq=False, slots=True)
class Columns:
    """Metal per column of a grid."""

    grid: Grid
    metal: Runs
    most_winding: int
    least_winding: int
    unclosed: int

    def within(self, grid: Grid) -> Columns | None:
        """The columns of a smaller grid, or None if they are not among these."""
        mine = self.grid
        i, off_x = divmod(grid.x0 - mine.x0, mine.step)
        j, off_y = divmod(grid.y0 - mine.y0, mine.step)
        inside = 0 <= i <= mine.nx - grid.nx and 0 <= j <= mine.ny - grid.ny
        if grid.step != mine.step or off_x or off_y or not inside:
            return None
        runs = self.metal.window(mine, grid)
        return Columns(grid, runs, self.most_winding, self.least_winding, self.unclosed)

    def volume_mm3(self) -> float:
        """Volume of metal: sum of the run lengths times the cell area."""
        return float(self.metal.length_mm().sum()) * self.grid.pitch_mm**2


def cast(
    triangles: NDArray[np.float32], grid: Grid, shift_mm: tuple[float, float] = (0.0, 0.0)
) -> Columns:
    """Cut a closed soup by the columns of a grid.

    Parameters
    ----------
    triangles : (F, 3, 3) ndarray of float32, mm
    grid : Grid
    shift_mm : tuple of float
        The soup is moved by this much in x and y first (rounded to even units).

    Returns
    -------
    Columns
        Winding number 1 or more is metal, so overlapping shells are one piece.
        `unclosed` counts the columns along which the winding number does not
        return to zero: the soup is open there.
    """
    if grid.count > MOST_COLUMNS:
        raise GridError(
            f"pitch {grid.pitch_mm:.3g} mm needs {grid.count:.2e} columns, more than "
            f"{MOST_COLUMNS:.1e}, which is what fits: give a larger pitch"
        )
    shift = (snap_even(shift_mm[0]), snap_even(shift_mm[1]))
    try:
        column, z, delta = _crossings(
            fixed(triangles), grid.x0, grid.y0, grid.step, grid.nx, grid.ny, *shift
        )
        start, runs, most, least, unclosed = _wind(column, z, delta, grid.count)
    except MemoryError:
        raise GridError(
            f"pitch {grid.pitch_mm:.3g} mm needs {grid.count:.2e} columns, which do not fit in "
            "memory: give a larger pitch"
        ) from None
    return Columns(grid, Runs(start, runs), int(most), int(least), int(unclosed))


@inner
def snapped(value: float, shift: int) -> int:
    """A coordinate in units of the grid, moved by `shift` units."""
    return 2 * int(np.rint(value / (2.0 * UNIT_MM))) + shift


@kernel
def _crossings(triangles, x0, y0, step, nx, ny, shift_x, shift_y):  # type: ignore[no-untyped-def]
    """Column number, z and winding step (+1 upward into metal) of every crossing."""
    capacity = max(1024, triangles.shape[0])
    column = np.empty(capacity, np.int32)
    height = np.empty(capacity, np.float64)
    delta = np.empty(capacity, np.int8)
    n = 0
    for f in range(triangles.shape[0]):
        ax = snapped(triangles[f, 0, 0], shift_x)
        bx = snapped(triangles[f, 1, 0], shift_x)
        cx = snapped(triangles[f, 2, 0], shift_x)
        i0 = max(0, -((x0 - min(ax, bx, cx)) // step))
        i1 = min(nx - 1, (max(ax, bx, cx) - x0) // step)
        if i0 > i1:
            continue
        ay = snapped(triangles[f, 0, 1], shift_y)
        by = snapped(triangles[f, 1, 1], shift_y)
        cy = snapped(triangles[f, 2, 1], shift_y)
        j0 = max(0, -((y0 - min(ay, by, cy)) // step))
        j1 = min(ny - 1, (max(ay, by, cy) - y0) // step)
        if j0 > j1:
            continue
        area = (bx - ax) * (cy - ay) - (by - ay) * (cx - ax)
        if area == 0:
            continue
        az = np.float64(triangles[f, 0, 2])
        bz = np.float64(triangles[f, 1, 2])
        cz = np.float64(triangles[f, 2, 2])
        sign = np.int8(-1)  # normal up: leaving metal on the way up
        if area < 0:
            bx, cx = cx, bx
            by, cy = cy, by
            bz, cz = cz, bz
            area = -area
            sign = np.int8(1)
        for i in range(i0, i1 + 1):
            px = x0 + i * step
            for j in range(j0, j1 + 1):
                py = y0 + j * step
                wa = (cx - bx) * (py - by) - (cy - by) * (px - bx)
                if wa < 0 or (wa == 0 and not _owns(cx - bx, cy - by)):
                    continue
                wb = (ax - cx) * (py - cy) - (ay - cy) * (px - cx)
                if wb < 0 or (wb == 0 and not _owns(ax - cx, ay - cy)):
                    continue
                wc = area - wa - wb
                if wc < 0 or (wc == 0 and not _owns(bx - ax, by - ay)):
                    continue
                if n == capacity:
                    capacity *= 2
                    column = grown(column, capacity)
                    height = grown(height, capacity)
                    delta = grown(delta, capacity)
                column[n] = i * ny + j
                # An offset from one vertex, so that a level triangle gives its z exactly.
                height[n] = az + (wb * (bz - az) + wc * (cz - az)) / area
                delta[n] = sign
                n += 1
    return column[:n], height[:n], delta[:n]


@inner
def _owns(dx: int, dy: int) -> bool:
    """Tie rule: of the two directions of a shared edge exactly one owns its points."""
    return dy > 0 or (dy == 0 and dx > 0)


@kernel
def _wind(column, height, delta, columns):  # type: ignore[no-untyped-def]
    """Sort the crossings of each column and keep where the winding number is 1 or more."""
    first = np.zeros(columns + 1, np.int64)
    for n in range(column.shape[0]):
        first[column[n] + 1] += 1
    for c in range(columns):
        first[c + 1] += first[c]
    z = np.empty(column.shape[0], np.float64)
    d = np.empty(column.shape[0], np.int8)
    fill = first[:-1].copy()
    for n in range(column.shape[0]):
        at = fill[column[n]]
        z[at] = height[n]
        d[at] = delta[n]
        fill[column[n]] += 1
    start = np.zeros(columns + 1, np.int64)
    runs = np.empty((column.shape[0] // 2 + 1, 2), np.float64)
    n = 0
    most = 0
    least = 0
    unclosed = 0
    for c in range(columns):
        _sort(z, d, first[c], first[c + 1])
        winding = 0
        for a in range(first[c], first[c + 1]):
            before = winding
            winding += d[a]
            most = max(most, winding)
            least = min(least, winding)
            if before < 1 and winding >= 1:
                if n == runs.shape[0]:
                    runs = grown_runs(runs)
                if n > start[c] and runs[n - 1, 1] == z[a]:
                    n -= 1  # two shells that touch: one piece
                else:
                    runs[n, 0] = z[a]
            elif before >= 1 and winding < 1:
                runs[n, 1] = z[a]
                n += 1
        if winding != 0:
            unclosed += 1
            if winding >= 1:
                n = max(n, start[c])
        start[c + 1] = n
    return start, runs[:n].copy(), most, least, unclosed


@inner
def _sort(z, d, low, high):  # type: ignore[no-untyped-def]
    """Insertion sort by z, entering before leaving where two coincide (no zero-thin gap)."""
    for a in range(low + 1, high):
        za, da = z[a], d[a]
        b = a - 1
        while b >= low and (z[b] > za or (z[b] == za and d[b] < da)):
            z[b + 1] = z[b]
            d[b + 1] = d[b]
            b -= 1
        z[b + 1] = za
        d[b + 1] = da
