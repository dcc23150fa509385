"""Dense cells of a window around a passage: what is worked out on a regular grid.

In: metal runs per column, or metal cells (X, Y, Z), indexed [i, j, k] = x, y, z. Out: cells and
distances. A cell is only a sample of the part: what is read here starts a proof, never ends one.
"""

from __future__ import annotations

import math
from typing import Any, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from clearance.kernels.compiler import inner, kernel

_NONE = 1 << 29  # squared distance that stands for "no metal"; twice it still fits 32 bits

Array = NDArray[Any]
Mask = NDArray[np.uint8]


def as_bytes(mask: Array) -> Mask:
    """A boolean or byte array as contiguous writable bytes: one array type for the kernels."""
    mask = np.asarray(mask)
    mask = mask.view(np.uint8) if mask.dtype == np.bool_ else mask
    return np.require(mask, np.uint8, ["C", "W"])


def as_flat(indices: ArrayLike, size: int) -> NDArray[np.int64]:
    """Whole numbers from 0 to size - 1, checked because the kernels do not."""
    flat = np.require(np.ravel(indices), np.int64, ["C", "W"])
    if flat.size and not (flat.min() >= 0 and flat.max() < size):
        raise IndexError(f"index {flat.min()} or {flat.max()} is not one of {size}")
    return flat


# ---- columns to cells -------------------------------------------------------------------------


@inner
def _first_from(z: float, z0: float, pitch: float) -> int:
    """Least k with z0 + k pitch >= z, by that very arithmetic."""
    k = math.ceil((z - z0) / pitch)
    while z0 + k * pitch < z:
        k += 1
    while z0 + (k - 1) * pitch >= z:
        k -= 1
    return k


@kernel
def _raster(start: Array, z: Array, cells: Array, z0: float, pitch: float, touched: bool) -> None:
    nx, ny, nz = cells.shape
    for column in range(nx * ny):
        row = cells[column // ny, column % ny]
        for run in range(start[column], start[column + 1]):
            low, high = np.float64(z[run, 0]), np.float64(z[run, 1])
            if touched:  # the cell's top lies above the run's foot, its floor below the run's head
                first = _first_from(low, z0 + 0.5 * pitch, pitch)
                if z0 + 0.5 * pitch + first * pitch == low:
                    first += 1
                end = _first_from(high, z0 - 0.5 * pitch, pitch)
            else:
                first = _first_from(low, z0, pitch)
                end = _first_from(high, z0, pitch)
                if z0 + end * pitch == high:
                    end += 1
            for k in range(max(first, 0), min(end, nz)):
                row[k] = 1


def raster(
    runs_start: Array,
    runs_z: Array,
    nx: int,
    ny: int,
    z0: float,
    pitch: float,
    nz: int,
    rule: Literal["centre", "touched"],
) -> Mask:
    """Dense metal cells of columns of metal runs.

    Parameters
    ----------
    runs_start : (nx * ny + 1,) ndarray of int64
        Column c = i * ny + j owns the runs runs_start[c] to runs_start[c + 1].
    runs_z : (R, 2) ndarray of float32, mm
        Foot and head of each run of metal.
    z0 : float, mm
        Height of the centre of cell k = 0; the centre of cell k is z0 + k * pitch.
    rule : "centre" or "touched"
        A cell is metal if its centre lies in a run, ends included; or if any part of a run lies
        strictly between its floor and its top.

    Returns
    -------
    (nx, ny, nz) ndarray of uint8
        1 is metal.

    Raises
    ------
    ValueError
        The rule is unknown or `runs_start` does not fit the columns.
    IndexError
        `runs_start` does not fit the runs.
    """
    if rule not in ("centre", "touched"):
        raise ValueError(f"rule {rule!r}: expected 'centre' or 'touched'")
    z = np.require(np.reshape(runs_z, (-1, 2)), np.float32, ["C", "W"])
    start = as_flat(runs_start, len(z) + 1)
    if start.size != nx * ny + 1:
        raise ValueError(f"{start.size} run starts for {nx} x {ny} columns: expected one more")
    cells = np.zeros((nx, ny, nz), np.uint8)
    _raster(start, z, cells, float(z0), float(pitch), rule == "touched")
    return cells


# ---- distance ---------------------------------------------------------------------------------


@inner
def _along_columns(metal: Array, square: Array, most: int) -> None:
    """Squared distance, in cells, to metal of the same column, but no more than `most`."""
    nx, ny, nz = metal.shape
    for i in range(nx):
        for j in range(ny):
            gap = 1 << 14
            for k in range(nz):
                gap = 0 if metal[i, j, k] else gap + 1
                square[i, j, k] = min(gap * gap, most) if gap < 1 << 14 else most
            gap = 1 << 14
            for k in range(nz - 1, -1, -1):
                gap = 0 if metal[i, j, k] else gap + 1
                if gap < 1 << 14:
                    square[i, j, k] = min(square[i, j, k], np.int32(gap * gap))


@inner
def _lower(row: Array, other: Array, step: int) -> None:
    """Lower a row to other + step^2: the loop that the processor does many cells at a time."""
    add = np.int32(step * step)
    for k in range(row.size):
        row[k] = min(row[k], np.int32(other[k] + add))


@inner
def _row(square: Array, m: int, n: int, axis: int) -> Array:
    """Row n along the axis (0 or 1), at m on the other one."""
    return square[n, m] if axis == 0 else square[m, n]


@inner
def _across(square: Array, axis: int) -> None:
    """Lower each row of cells by the squares of the rows beside it plus the squared step."""
    count, others = square.shape[axis], square.shape[1 - axis]
    old = np.empty((count, square.shape[2]), np.int32)
    for m in range(others):
        for n in range(count):
            row = _row(square, m, n, axis)
            for k in range(row.size):
                old[n, k] = row[k]
        for n in range(count):
            row = _row(square, m, n, axis)
            for step in range(1, count):
                if step * step >= row.max():
                    break
                if n >= step:
                    _lower(row, old[n - step], step)
                if n + step < count:
                    _lower(row, old[n + step], step)


@kernel
def _clear_radius(metal: Array, pitch: float, radius: Array, most: int) -> None:
    nx, ny, nz = metal.shape
    square = radius.view(np.int32)  # worked out in the memory of the answer
    _along_columns(metal, square, most)
    for axis in range(2):
        _across(square, axis)
    for i in range(nx):
        for j in range(ny):
            for k in range(nz):
                s = square[i, j, k]
                radius[i, j, k] = np.inf if s >= _NONE else pitch * math.sqrt(s)


def clear_radius(metal: Array, pitch: float, most_mm: float = np.inf) -> NDArray[np.float32]:
    """Distance from each cell's centre to the nearest metal cell's centre.

    Parameters
    ----------
    metal : (X, Y, Z) ndarray of bool or uint8
        At most 13,000 cells along an axis (32-bit squares). Metal beyond the window is unseen.
    pitch : float, mm
    most_mm : float, mm
        Larger distances need not be told apart: they read as this, or a little more.

    Returns
    -------
    (X, Y, Z) ndarray of float32, mm
        Exact but for rounding; 0 in metal; inf everywhere if there is no metal.

    Notes
    -----
    Squared distances in whole cells, one axis after the other; a row takes the least of the rows
    beside it plus the squared step, no farther than its own largest square can still be lowered.
    """
    metal = as_bytes(metal)
    radius = np.empty(metal.shape, np.float32)
    if not metal.any():
        radius.fill(np.inf)
    else:
        cells = math.ceil(most_mm / pitch) if math.isfinite(most_mm) else 1 << 14
        _clear_radius(metal, float(pitch), radius, min(cells * cells, _NONE))
    return radius
