"""Ways through dense cells: the widest, the shortest, and what hangs together.

In: cells that a way may use, and a radius of each. Out: flat indices of cells. Neighbours are cells
that share a face. What is noted of a cell is noted of the passable ones alone, which are few.
"""

from __future__ import annotations

import math
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from clearance.columns.cells import as_bytes, as_flat
from clearance.kernels.compiler import kernel
from clearance.kernels.forest import find, join, trees

BUCKETS = 4096  # steps of the radius in which `widest_route` sorts its cells
CUT_LINK = (2, 4, 8)
"""Bits of a passable cell: the link to the next cell along x, y, z is cut."""

Array = NDArray[Any]


@kernel
def _largest_finite(radius: Array) -> float:
    most = np.float32(0.0)
    for r in radius:
        if most < r < np.inf:
            most = r
    return np.float64(most)


class Packed(NamedTuple):
    """The passable cells of a window.

    Attributes
    ----------
    cells : (N,) ndarray of int32
        Flat indices, in order.
    first : (X * Y + 1,) ndarray of int64
        Where those of each column begin.
    """

    cells: NDArray[np.int32]
    first: NDArray[np.int64]

    def some(self, which: NDArray[np.bool_]) -> Packed:
        """Those that a mask over them picks out."""
        index = np.flatnonzero(which)
        return Packed(self.cells[index], np.searchsorted(index, self.first))


def packed(passable: Array) -> Packed:
    """The cells of a window that are not 0."""
    return Packed(*_packed(as_bytes(passable)))


@kernel
def _packed(passable: Array) -> tuple[Array, Array]:
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
    """Place among `cells`, from `low` up to `high`, of a flat index; -1 if it is none of them."""
    if low >= high:
        return -1
    guess = low + at - cells[low]  # where all below it in its column are passable
    if low <= guess < high and cells[guess] == at:
        return guess
    guess = high - 1 - (cells[high - 1] - at)  # where all above it are
    if low <= guess < high and cells[guess] == at:
        return guess
    end = high
    while low < high:
        middle = (low + high) >> 1
        if cells[middle] < at:
            low = middle + 1
        else:
            high = middle
    return low if low < end and cells[low] == at else -1


@kernel
def _beside(cells: Array, first: Array, shape: Array, n: int, six: Array) -> None:
    """Which passable cells lie behind the six faces of the n-th, -1 where none does."""
    nx, ny, nz = shape
    at = np.int64(cells[n])
    column = at // nz
    i = column // ny
    k, j = at - column * nz, column - i * ny
    six[0] = n + 1 if k < nz - 1 and n + 1 < cells.size and cells[n + 1] == at + 1 else -1
    six[1] = n - 1 if k > 0 and n > 0 and cells[n - 1] == at - 1 else -1
    six[2] = _place_of(cells, first[column + 1], first[column + 2], at + nz) if j < ny - 1 else -1
    six[3] = _place_of(cells, first[column - 1], first[column], at - nz) if j > 0 else -1
    far = ny * nz
    c = column + ny
    six[4] = _place_of(cells, first[c], first[c + 1], at + far) if i < nx - 1 else -1
    c = column - ny
    six[5] = _place_of(cells, first[c], first[c + 1], at - far) if i > 0 else -1


@kernel
def _widest_tree(
    cells: Array,
    first: Array,
    shape: Array,
    links: Array,
    room: Array,
    most: float,
    sources: Array,
    targets: Array,
) -> tuple[Array, Array, Any]:
    """Widest ways over passable cells, up to the first target that is reached or to all cells.

    `links`, `room`: what `passable` and `radius` hold. Tells from which cell each was met (-1: not,
    itself: a source), the order in which they were gone on from, and the target, -1 if none is.
    """
    nz = shape[2]
    scale = (BUCKETS - 1) / most if most > 0.0 else 0.0
    head = np.full(BUCKETS, -1, np.int64)  # a pile of waiting cells per step of the radius
    order = np.empty(cells.size, np.int32)  # while a cell waits, the next of its pile
    came = np.full(cells.size, -1, np.int32)
    goal, six = np.zeros(cells.size, np.uint8), np.empty(6, np.int64)
    for t in targets:
        n = _place_of(cells, first[t // nz], first[t // nz + 1], t)
        if n >= 0:
            goal[n] = 1
    top, gone = -1, np.int64(0)
    for s in sources:
        n = _place_of(cells, first[s // nz], first[s // nz + 1], s)
        if n >= 0 and came[n] < 0:
            came[n] = n
            bucket = int(min(np.float64(room[n]), most) * scale)
            order[n] = head[bucket]
            head[bucket] = n
            top = max(top, bucket)
    while top >= 0:
        n = head[top]
        if n < 0:
            top -= 1
            continue
        if goal[n]:
            return came, order, n
        head[top] = order[n]
        order[n] = gone
        gone += 1
        _beside(cells, first, shape, n, six)
        for side in range(6):
            m = six[side]
            if m < 0 or came[m] >= 0:
                continue
            link = links[m] if side & 1 else links[n]
            if link & (8 >> (side >> 1)):  # a link that is cut
                continue
            came[m] = n
            bucket = int(min(np.float64(room[m]), most) * scale)
            order[m] = head[bucket]
            head[bucket] = m
            top = max(top, bucket)
    return came, order, np.int64(-1)


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
    radius: NDArray[np.float32],
    passable: Array,
    sources: ArrayLike,
    targets: ArrayLike,
    known: Packed | None = None,
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
    known : Packed, optional
        The passable cells, where they are known.

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
    cells, came, _, end = _tree(radius, passable, sources, targets, known)
    route = _back(cells, came, end) if end >= 0 else np.empty(0, np.int64)
    return route, float(np.ravel(radius)[route].min()) if route.size else 0.0


class Tree(NamedTuple):
    """Widest routes from some cells to all others, as `widest_route` finds each.

    Attributes
    ----------
    cells : (N,) ndarray of int32
        Flat indices of the passable ones, in order.
    came, order : (N,) ndarrays of int32
        From which of them each was met, and which was gone on from first.
    radius : (X, Y, Z) ndarray of float32, mm
    """

    cells: NDArray[np.int32]
    came: NDArray[np.int32]
    order: NDArray[np.int32]
    radius: NDArray[np.float32]

    def to(self, targets: NDArray[np.int64]) -> tuple[NDArray[np.int64], float]:
        """The route and bottleneck that `widest_route` gives to these targets."""
        place = np.minimum(np.searchsorted(self.cells, targets), len(self.cells) - 1)
        place = place[(self.cells[place] == targets) & (self.came[place] >= 0)]
        if len(place) == 0:
            return np.empty(0, np.int64), 0.0
        end = place[np.argmin(self.order[place])]
        route = np.asarray(_back(self.cells, self.came, end))
        return route, float(self.radius.ravel()[route].min())


def widest_tree(
    radius: NDArray[np.float32], passable: Array, sources: ArrayLike, known: Packed
) -> Tree:
    """Widest routes to wherever one is asked for, in the time of one or two."""
    cells, came, order, _ = _tree(radius, passable, sources, (), known)
    return Tree(cells, came, order, radius)


def _tree(
    radius: NDArray[np.float32],
    passable: Array,
    sources: ArrayLike,
    targets: ArrayLike,
    known: Packed | None,
) -> tuple[Array, Array, Array, int]:
    radius = np.require(radius, np.float32, ["C", "W"])
    begin, finish = as_flat(sources, radius.size), as_flat(targets, radius.size)
    passable = as_bytes(passable)
    cells, first = packed(passable) if known is None else known
    links, room = passable.ravel()[cells], radius.ravel()[cells]
    most, shape = _largest_finite(radius.ravel()), np.array(radius.shape)
    return cells, *_widest_tree(cells, first, shape, links, room, most, begin, finish)


def widest_bound(radius: NDArray[np.float32], bottleneck: float) -> float:
    """Upper bound of the smallest radius of every route, mm, from that of `widest_route`.

    Radii of one bucket are not told apart there. The step is taken from one bucket fewer, which
    holds the rounding of which bucket a radius falls in.
    """
    return bottleneck + _largest_finite(np.ravel(radius)) / (BUCKETS - 2)


@kernel
def _shortest(cells: Array, first: Array, shape: Array, sources: Array, targets: Array) -> Array:
    nz = shape[2]
    came = np.full(cells.size, -1, np.int32)
    goal, six = np.zeros(cells.size, np.uint8), np.empty(6, np.int64)
    for t in targets:
        n = _place_of(cells, first[t // nz], first[t // nz + 1], t)
        if n >= 0:
            goal[n] = 1
    waiting = np.empty(cells.size, np.int32)
    done, count = 0, 0
    for s in sources:
        n = _place_of(cells, first[s // nz], first[s // nz + 1], s)
        if n >= 0 and came[n] < 0:
            came[n] = n
            waiting[count] = n
            count += 1
    while done < count:
        n = np.int64(waiting[done])
        done += 1
        if goal[n]:
            return _back(cells, came, n)
        _beside(cells, first, shape, n, six)
        for m in six:
            if m >= 0 and came[m] < 0:
                came[m] = n
                waiting[count] = m
                count += 1
    return np.empty(0, np.int64)


def shortest(
    free: Packed, shape: tuple[int, ...], sources: ArrayLike, targets: ArrayLike
) -> NDArray[np.int64]:
    """Flat indices of a shortest chain of passable cells, ends included; empty if there is none.

    `shape`: of the window.
    """
    begin, finish = (as_flat(ends, math.prod(shape)) for ends in (sources, targets))
    return np.asarray(_shortest(*free, np.array(shape), begin, finish))


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
def _groups(cells: Array, first: Array, shape: Array, links: Array) -> Array:
    parent, six = trees(cells.size), np.empty(6, np.int64)
    for n in range(cells.size):
        _beside(cells, first, shape, n, six)
        for axis in range(3):
            m = six[2 * axis]
            if m >= 0 and not links[n] & (8 >> axis):
                join(parent, n, m)
    number = np.empty(cells.size, np.int32)
    for n in range(cells.size):
        number[n] = cells[find(parent, n)]
    return number


def groups(passable: Array) -> Groups:
    """Which cells hang together.

    Parameters
    ----------
    passable : (X, Y, Z) ndarray of uint8
        Not 0 where cells hang together with neighbours; bits of `CUT_LINK` cut links.
    """
    passable = as_bytes(passable)
    free = packed(passable)
    links = passable.ravel()[free.cells]
    return Groups(free.cells, _groups(*free, np.array(passable.shape), links))
