"""Columns: where metal begins and ends along vertical lines, exact in z.

In: a closed triangle soup and a grid of columns. Out: `Columns`, per column a
sorted list of z intervals of metal. Leaves to others: which metal is stray
(`stray`), what lies between two columns (`possible`).

Vertices are snapped to even multiples of `UNIT_MM` and columns stand on odd
ones, so no vertex and no axis-parallel edge lies on a column; what is left is
a column on a slanting edge, settled by a tie rule in exact integers.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from clearance.errors import GridError
from clearance.geometry.stretches import fixed
from clearance.kernels.compiler import kernel

MOST_COLUMNS = 150_000_000
"""Columns of a grid at most: about 70 bytes each while they are sorted."""
UNIT_MM = 2.0**-18
"""Length of the integer grid: 3.8e-6 mm, so that 400 mm squared fits 64 bits."""


def snap_even(length_mm: float) -> int:
    """Nearest even number of units to a length in mm."""
    return 2 * round(length_mm / (2.0 * UNIT_MM))


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

    def each(self, every: int) -> Grid:
        """Each `every`-th column both ways, and one more where the last would be left out."""
        nx, ny = (-(-(n - 1) // every) + 1 for n in (self.nx, self.ny))
        return Grid(self.x0, self.y0, self.step * every, nx, ny)

    def corner(self) -> Grid:
        """Grid of the squares between the columns, named by their lower corner."""
        return Grid(self.x0, self.y0, self.step, self.nx - 1, self.ny - 1)


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


@kernel
def _snap(value: float, shift: int) -> int:
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
        ax = _snap(triangles[f, 0, 0], shift_x)
        bx = _snap(triangles[f, 1, 0], shift_x)
        cx = _snap(triangles[f, 2, 0], shift_x)
        i0 = max(0, -((x0 - min(ax, bx, cx)) // step))
        i1 = min(nx - 1, (max(ax, bx, cx) - x0) // step)
        if i0 > i1:
            continue
        ay = _snap(triangles[f, 0, 1], shift_y)
        by = _snap(triangles[f, 1, 1], shift_y)
        cy = _snap(triangles[f, 2, 1], shift_y)
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
                    column = _grown(column, capacity)
                    height = _grown(height, capacity)
                    delta = _grown(delta, capacity)
                column[n] = i * ny + j
                # An offset from one vertex, so that a level triangle gives its z exactly.
                height[n] = az + (wb * (bz - az) + wc * (cz - az)) / area
                delta[n] = sign
                n += 1
    return column[:n], height[:n], delta[:n]


@kernel
def _owns(dx: int, dy: int) -> bool:
    """Tie rule: of the two directions of a shared edge exactly one owns its points."""
    return dy > 0 or (dy == 0 and dx > 0)


@kernel
def _grown(array, capacity):  # type: ignore[no-untyped-def]
    larger = np.empty(capacity, array.dtype)
    for n in range(array.shape[0]):  # a slice would be copied as fast, but compiles in seconds
        larger[n] = array[n]
    return larger


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
                    runs = _grown_runs(runs)
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


@kernel
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


@kernel
def _grown_runs(runs):  # type: ignore[no-untyped-def]
    larger = np.empty((2 * runs.shape[0], 2), np.float64)
    for n in range(runs.shape[0]):
        larger[n, 0], larger[n, 1] = runs[n, 0], runs[n, 1]
    return larger


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


def around(
    metal: Runs, grid: Grid, piece: NDArray[np.int32], wanted: set[int], cells: int, z_mm: float
) -> Runs:
    """Where some pieces of the void are, grown sideways by `cells` columns and in z by `z_mm`.

    Parameters
    ----------
    piece : (R + C,) ndarray
        Piece of each void run, of `label`.

    Returns
    -------
    Runs
        Over the same grid; unbounded runs are left as they are.
    """
    mask = np.zeros(int(piece.max()) + 1, np.bool_)
    mask[sorted(wanted)] = True
    start, z = _void_of(metal.start, metal.z, piece, mask, z_mm)
    for along_x in (True, False):
        start, z = _spread(start, z, grid.nx, grid.ny, cells, along_x)
    return Runs(start, z)


def levels(runs: Runs, heights: list[float], half_mm: float) -> Runs:
    """Thin intervals around the given heights (rising), over every column that has any."""
    count = np.diff(runs.start) > 0
    z = np.array([(h - half_mm, h + half_mm) for h in heights]).reshape(-1, 2)
    start = np.concatenate(([0], np.cumsum(count * len(z)))).astype(np.int64)
    found = Runs(start, np.tile(z, (int(count.sum()), 1)))
    return unite(found, found)  # merges what overlaps


@kernel
def _void_of(start, z, piece, mask, grow):  # type: ignore[no-untyped-def]
    columns = start.shape[0] - 1
    out_start = np.zeros(columns + 1, np.int64)
    out = np.empty((piece.shape[0], 2), np.float64)
    n = 0
    for c in range(columns):
        for k in range(start[c + 1] - start[c] + 1):
            if not mask[piece[start[c] + c + k]]:
                continue
            low = z[start[c] + k - 1, 1] - grow if k > 0 else -np.inf
            high = z[start[c] + k, 0] + grow if start[c] + k < start[c + 1] else np.inf
            if n > out_start[c] and low <= out[n - 1, 1]:
                out[n - 1, 1] = high
            else:
                out[n, 0], out[n, 1] = low, high
                n += 1
        out_start[c + 1] = n
    return out_start, out[:n].copy()


@kernel
def _spread(start, z, nx, ny, cells, along_x):  # type: ignore[no-untyped-def]
    """Union of the intervals of the columns up to `cells` away along one axis."""
    out_start = np.zeros(nx * ny + 1, np.int64)
    out = np.empty((max(1024, 2 * z.shape[0]), 2), np.float64)
    own = np.empty((1024, 2), np.float64)
    n = 0
    for i in range(nx):
        for j in range(ny):
            m = 0
            for step in range(-cells, cells + 1):
                a, b = (i + step, j) if along_x else (i, j + step)
                if 0 <= a < nx and 0 <= b < ny:
                    for r in range(start[a * ny + b], start[a * ny + b + 1]):
                        if m == own.shape[0]:
                            own = _grown_runs(own)
                        e = m
                        while e > 0 and own[e - 1, 0] > z[r, 0]:
                            own[e, 0], own[e, 1] = own[e - 1, 0], own[e - 1, 1]
                            e -= 1
                        own[e, 0], own[e, 1] = z[r, 0], z[r, 1]
                        m += 1
            first = n
            for r in range(m):
                if n > first and own[r, 0] <= out[n - 1, 1]:
                    out[n - 1, 1] = max(out[n - 1, 1], own[r, 1])
                    continue
                if n == out.shape[0]:
                    out = _grown_runs(out)
                out[n, 0], out[n, 1] = own[r, 0], own[r, 1]
                n += 1
            out_start[i * ny + j + 1] = n
    return out_start, out[:n].copy()


def label(metal: Runs, grid: Grid) -> NDArray[np.int32]:
    """Connected pieces of the void: overlapping void runs of neighbouring columns are joined.

    The void runs of column c are numbered ``metal.start[c] + c`` upward: one
    below each metal run and one above the last. Walls thinner than the pitch
    may be jumped and gaps narrower than it missed, so this is an estimate; the
    proofs are in `possible` and `distance`.

    Returns
    -------
    (R + C,) ndarray of int32
        Piece of each void run; pieces are numbered from 0 in order of their
        first run. Piece 0 is the void around the part (the grid's rim).
    """
    return _label(metal.start, metal.z, grid.nx, grid.ny)


@kernel
def find(parent, a):  # type: ignore[no-untyped-def]
    """Root of a in a union-find forest, halving the way."""
    while parent[a] != a:
        parent[a] = parent[parent[a]]
        a = parent[a]
    return a


@kernel
def join(parent, a, b):  # type: ignore[no-untyped-def]
    """Join two trees; the smaller number stays root, so the result has one order."""
    a, b = find(parent, a), find(parent, b)
    if a < b:
        parent[b] = a
    elif b < a:
        parent[a] = b


@kernel
def _join_columns(parent, start, z, c, d):  # type: ignore[no-untyped-def]
    a, b = start[c], start[d]
    end_a, end_b = start[c + 1], start[d + 1]
    while True:
        low_a = -np.inf if a == start[c] else z[a - 1, 1]
        high_a = np.inf if a == end_a else z[a, 0]
        low_b = -np.inf if b == start[d] else z[b - 1, 1]
        high_b = np.inf if b == end_b else z[b, 0]
        if max(low_a, low_b) < min(high_a, high_b):
            join(parent, a + c, b + d)
        if a == end_a and b == end_b:
            return
        if high_a <= high_b:
            a += 1
        else:
            b += 1


@kernel
def _label(start, z, nx, ny):  # type: ignore[no-untyped-def]
    count = z.shape[0] + nx * ny
    parent = np.arange(count).astype(np.int32)
    for i in range(nx):
        for j in range(ny):
            c = i * ny + j
            if i > 0:
                _join_columns(parent, start, z, c, c - ny)
            if j > 0:
                _join_columns(parent, start, z, c, c - 1)
    return compact(parent)


@kernel
def compact(parent):  # type: ignore[no-untyped-def]
    """Number the trees of a forest whose roots are smallest, from 0."""
    n = 0
    number = np.empty(parent.shape[0], np.int32)
    for a in range(parent.shape[0]):
        root = find(parent, a)
        if root == a:
            number[a] = n
            n += 1
        else:
            number[a] = number[root]
    return number
