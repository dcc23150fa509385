"""Dense cells of a window around a passage: what is worked out on a regular grid.

In: metal runs per column, or metal cells (X, Y, Z), indexed [i, j, k] = x, y, z. Out: cells,
distances, the widest route, what is connected. Neighbours are cells that share a face. A cell is
only a sample of the part: what is read here starts a proof and never ends one.
"""

from __future__ import annotations

import math
from typing import Any, Literal, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from clearance.kernels.compiler import kernel
from clearance.kernels.forest import find, join, trees

BUCKETS = 4096  # steps of the radius in which `widest_route` sorts its cells
CUT_LINK = (2, 4, 8)
"""Bits of a passable cell: the link to the next cell along x, y, z is cut."""
_NONE = 1 << 29  # squared distance that stands for "no metal"; twice it still fits 32 bits

Array = NDArray[Any]
Mask = NDArray[np.uint8]


def _as_bytes(mask: Array) -> Mask:
    """A boolean or byte array as contiguous writable bytes: one array type for the kernels."""
    mask = np.asarray(mask)
    mask = mask.view(np.uint8) if mask.dtype == np.bool_ else mask
    return np.require(mask, np.uint8, ["C", "W"])


def _as_flat(indices: ArrayLike, size: int) -> NDArray[np.int64]:
    """Whole numbers from 0 to size - 1, checked because the kernels do not."""
    flat = np.require(np.ravel(indices), np.int64, ["C", "W"])
    if flat.size and not (flat.min() >= 0 and flat.max() < size):
        raise IndexError(f"index {flat.min()} or {flat.max()} is not one of {size}")
    return flat


# ---- columns to cells -------------------------------------------------------------------------


@kernel
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
    start = _as_flat(runs_start, len(z) + 1)
    if start.size != nx * ny + 1:
        raise ValueError(f"{start.size} run starts for {nx} x {ny} columns: expected one more")
    cells = np.zeros((nx, ny, nz), np.uint8)
    _raster(start, z, cells, float(z0), float(pitch), rule == "touched")
    return cells


# ---- distance ---------------------------------------------------------------------------------


@kernel
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


@kernel
def _lower(row: Array, other: Array, step: int) -> None:
    """Lower a row to other + step^2: the loop that the processor does many cells at a time."""
    add = np.int32(step * step)
    for k in range(row.size):
        row[k] = min(row[k], np.int32(other[k] + add))


@kernel
def _row(square: Array, m: int, n: int, axis: int) -> Array:
    """Row n along the axis (0 or 1), at m on the other one."""
    return square[n, m] if axis == 0 else square[m, n]


@kernel
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
    metal = _as_bytes(metal)
    radius = np.empty(metal.shape, np.float32)
    if not metal.any():
        radius.fill(np.inf)
    else:
        cells = math.ceil(most_mm / pitch) if math.isfinite(most_mm) else 1 << 14
        _clear_radius(metal, float(pitch), radius, min(cells * cells, _NONE))
    return radius


# ---- ways through -----------------------------------------------------------------------------


@kernel
def _largest_finite(radius: Array) -> float:
    most = np.float32(0.0)
    for r in radius:
        if most < r < np.inf:
            most = r
    return np.float64(most)


@kernel
def _packed(passable: Array) -> tuple[Array, Array]:
    """Flat indices of the passable cells, in order, and where those of each column begin."""
    nx, ny, nz = passable.shape
    free = passable.ravel()
    first = np.empty(nx * ny + 1, np.int64)
    count = 0
    for c in range(nx * ny):
        first[c] = count
        for at in range(c * nz, (c + 1) * nz):
            if free[at]:
                count += 1
    first[nx * ny] = count
    cells = np.empty(count, np.int32)
    count = 0
    for at in range(free.size):
        if free[at]:
            cells[count] = at
            count += 1
    return cells, first


@kernel
def _place_of(cells: Array, low: int, high: int, at: int) -> int:
    """Place among `cells`, from `low` up to `high`, of a flat index that is one of them."""
    guess = low + at - cells[low]  # where all between them are passable
    if guess < high and cells[guess] == at:
        return guess
    while low < high:
        middle = (low + high) >> 1
        if cells[middle] < at:
            low = middle + 1
        else:
            high = middle
    return low


@kernel
def _widest_route(radius: Array, passable: Array, sources: Array, targets: Array) -> Array:
    """`widest_route`; what it notes of a cell it notes of those alone that are passable."""
    nx, ny, nz = radius.shape
    flat, free = radius.ravel(), passable.ravel()
    steps, last = (1, nz, ny * nz), (nz - 1, ny - 1, nx - 1)
    columns = (0, 1, ny)
    most = _largest_finite(flat)
    scale = (BUCKETS - 1) / most if most > 0.0 else 0.0
    cells, first = _packed(passable)
    head = np.full(BUCKETS, -1, np.int64)  # a pile of waiting cells per step of the radius
    below = np.empty(cells.size, np.int32)  # the next cell of the pile
    came = np.full(cells.size, -1, np.int32)  # from which cell; -1 not met, itself a source
    goal = np.zeros(cells.size, np.uint8)
    for t in targets:
        if free[t]:
            goal[_place_of(cells, first[t // nz], first[t // nz + 1], t)] = 1
    top = -1
    for s in sources:
        if not free[s]:
            continue
        n = _place_of(cells, first[s // nz], first[s // nz + 1], s)
        if came[n] < 0:
            came[n] = n
            bucket = int(min(np.float64(flat[s]), most) * scale)
            below[n] = head[bucket]
            head[bucket] = n
            top = max(top, bucket)
    n = -1
    while top >= 0:
        n = head[top]
        if n < 0:
            top -= 1
            continue
        if goal[n]:
            break
        head[top] = below[n]
        at = np.int64(cells[n])
        column = at // nz
        i = column // ny
        place = (at - column * nz, column - i * ny, i)  # along z, y, x: told once for six faces
        for side in range(6):
            axis = side >> 1
            if side & 1:
                if place[axis] == 0:
                    continue
                to, beside = at - steps[axis], column - columns[axis]
                link = free[to]
            else:
                if place[axis] == last[axis]:
                    continue
                to, beside = at + steps[axis], column + columns[axis]
                link = free[at]
            if not free[to] or link & (8 >> axis):  # a link that is cut
                continue
            if axis == 0:
                m = n - 1 if side & 1 else n + 1
            else:
                m = _place_of(cells, first[beside], first[beside + 1], to)
            if came[m] >= 0:
                continue
            came[m] = n
            bucket = int(min(np.float64(flat[to]), most) * scale)
            below[m] = head[bucket]
            head[bucket] = m
            top = max(top, bucket)
    if top < 0:
        return np.empty(0, np.int64)
    return _back(cells, came, n)


@kernel
def _back(cells: Array, came: Array, end: Any) -> Array:
    """The cells on the way to one, from where `came` is the cell itself."""
    length = 1
    n = end
    while came[n] != n:
        n = np.int64(came[n])
        length += 1
    route = np.empty(length, np.int64)
    n = end
    for k in range(length - 1, -1, -1):
        route[k] = cells[n]
        n = np.int64(came[n])
    return route


def widest_route(
    radius: NDArray[np.float32], passable: Array, sources: ArrayLike, targets: ArrayLike
) -> tuple[NDArray[np.int64], float]:
    """Route over cells whose smallest radius is largest.

    Parameters
    ----------
    radius : (X, Y, Z) ndarray of float32, mm
        As `clear_radius` gives it.
    passable : (X, Y, Z) ndarray of bool or uint8
        Cells that the route may use; links that carry a bit of `CUT_LINK` it may not.
    sources, targets : (N,) array_like of int
        Flat indices of the cells where it may begin and end; cells not passable are left out.

    Returns
    -------
    route : (M,) ndarray of int64
        Flat indices from a source to a target, each sharing a face with the next; empty if there
        is no way.
    bottleneck : float, mm
        Smallest radius on the route, 0 without one. The best possible may be larger:
        `widest_bound` says by how much at most.

    Raises
    ------
    IndexError
        A source or target is not a cell of the window.

    Notes
    -----
    Always goes on from the waiting cell of largest radius (Prim's tree in a queue of buckets), so
    that the route keeps to the ridge of the radius also where it has room to spare.
    """
    radius = np.require(radius, np.float32, ["C", "W"])
    begin, finish = _as_flat(sources, radius.size), _as_flat(targets, radius.size)
    route = _widest_route(radius, _as_bytes(passable), begin, finish)
    return route, float(radius.ravel()[route].min()) if route.size else 0.0


def widest_bound(radius: NDArray[np.float32], bottleneck: float) -> float:
    """Upper bound of the smallest radius of every route, mm, from that of `widest_route`.

    Radii of one bucket are not told apart there. The step is taken from one bucket fewer, which
    holds the rounding of which bucket a radius falls in.
    """
    return bottleneck + _largest_finite(np.ravel(radius)) / (BUCKETS - 2)


@kernel
def _shortest(passable: Array, sources: Array, targets: Array) -> Array:
    nx, ny, nz = passable.shape
    free = passable.ravel()
    steps, last = (1, nz, ny * nz), (nz - 1, ny - 1, nx - 1)
    columns = (0, 1, ny)
    cells, first = _packed(passable)
    came = np.full(cells.size, -1, np.int32)
    goal = np.zeros(cells.size, np.uint8)
    for t in targets:
        if free[t]:
            goal[_place_of(cells, first[t // nz], first[t // nz + 1], t)] = 1
    waiting = np.empty(cells.size, np.int32)
    done, count = 0, 0
    for s in sources:
        if free[s]:
            n = _place_of(cells, first[s // nz], first[s // nz + 1], s)
            if came[n] < 0:
                came[n] = n
                waiting[count] = n
                count += 1
    while done < count:
        n = np.int64(waiting[done])
        done += 1
        if goal[n]:
            return _back(cells, came, n)
        at = np.int64(cells[n])
        column = at // nz
        i = column // ny
        place = (at - column * nz, column - i * ny, i)
        for side in range(6):
            axis = side >> 1
            if place[axis] == (0 if side & 1 else last[axis]):
                continue
            to = at - steps[axis] if side & 1 else at + steps[axis]
            if not free[to]:
                continue
            if axis == 0:
                m = n - 1 if side & 1 else n + 1
            else:
                beside = column - columns[axis] if side & 1 else column + columns[axis]
                m = _place_of(cells, first[beside], first[beside + 1], to)
            if came[m] < 0:
                came[m] = n
                waiting[count] = m
                count += 1
    return np.empty(0, np.int64)


def shortest(passable: Array, sources: ArrayLike, targets: ArrayLike) -> NDArray[np.int64]:
    """Flat indices of a shortest chain of passable cells, ends included; empty if there is none."""
    begin, finish = (_as_flat(ends, passable.size) for ends in (sources, targets))
    return np.asarray(_shortest(_as_bytes(passable), begin, finish))


class Groups(NamedTuple):
    """Which cells hang together.

    Attributes
    ----------
    cells : (N,) ndarray of int32
        Flat indices of the passable ones, in order.
    number : (N,) ndarray of int32
        For each the first cell of those that hang together with it.
    """

    cells: NDArray[np.int32]
    number: NDArray[np.int32]

    def of(self, index: NDArray[np.int64]) -> NDArray[np.int32]:
        """Numbers of passable cells, given by flat index."""
        return self.number[np.searchsorted(self.cells, index)]


@kernel
def _groups(passable: Array) -> tuple[Array, Array]:
    nx, ny, nz = passable.shape
    free = passable.ravel()
    cells, first = _packed(passable)
    parent = trees(cells.size)
    for n in range(cells.size):
        at = np.int64(cells[n])
        column = at // nz
        i = column // ny
        j, link = column - i * ny, free[at]
        if at - column * nz < nz - 1 and free[at + 1] and not link & 8:
            join(parent, n, n + 1)
        if j < ny - 1 and free[at + nz] and not link & 4:
            join(parent, n, _place_of(cells, first[column + 1], first[column + 2], at + nz))
        if i < nx - 1 and free[at + ny * nz] and not link & 2:
            c = column + ny
            join(parent, n, _place_of(cells, first[c], first[c + 1], at + ny * nz))
    number = np.empty(cells.size, np.int32)
    for n in range(cells.size):
        number[n] = cells[find(parent, n)]
    return cells, number


def groups(passable: Array) -> Groups:
    """Which cells hang together.

    Parameters
    ----------
    passable : (X, Y, Z) ndarray of uint8
        Not 0 where cells hang together with neighbours; bits of `CUT_LINK` cut links.
    """
    return Groups(*_groups(_as_bytes(passable)))
