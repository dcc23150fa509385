"""The void between runs of metal: which of it hangs together, and what is near a piece of it.

In: runs of metal over a grid. Out: a piece for each void run; runs around pieces.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from clearance.columns.grid import Grid
from clearance.columns.runs import Runs
from clearance.kernels.compiler import inner, kernel
from clearance.kernels.forest import compact, join, trees
from clearance.kernels.growing import grown_runs


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


def run_at(metal: Runs, grid: Grid, point: NDArray[np.float64]) -> int | None:
    """Number of the void run of the nearest column that holds a point (3,) mm; None in metal."""
    run = int(runs_at_points(metal, grid, np.asarray(point)[None])[0])
    return None if run < 0 else run


def runs_at_points(metal: Runs, grid: Grid, points: NDArray[np.float64]) -> NDArray[np.int64]:
    """The same of points (N, 3) mm, (N,); -1 in metal."""
    return runs_at(metal, grid.columns_at(points), points[:, 2])


def runs_at(
    metal: Runs, columns: NDArray[np.int64], z_mm: NDArray[np.float64] | float
) -> NDArray[np.int64]:
    """Numbers of the void runs of some columns (N,) at heights, (N,); -1 in metal."""
    z = np.asarray(z_mm, np.float64)
    at, end = metal.start[columns], metal.start[columns + 1]
    if not len(metal.z):
        return np.asarray(at + columns)
    last = len(metal.z) - 1
    while (below := (at < end) & (metal.z[np.minimum(at, last), 1] < z)).any():
        at = at + below
    within = (at < end) & (metal.z[np.minimum(at, last), 0] <= z)
    return np.where(within, -1, at + columns)


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
                            own = grown_runs(own)
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
                    out = grown_runs(out)
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


@inner
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
    parent = trees(count)
    for i in range(nx):
        for j in range(ny):
            c = i * ny + j
            if i > 0:
                _join_columns(parent, start, z, c, c - ny)
            if j > 0:
                _join_columns(parent, start, z, c, c - 1)
    return compact(parent)
