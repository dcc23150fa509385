"""Ways through dense cells: the widest, the shortest, and what hangs together.

In: cells that a way may use, and a radius of each. Out: flat indices of cells. Neighbours are cells
that share a face. What is noted of a cell is noted of the passable ones alone, which are few.
"""

from __future__ import annotations

from threading import RLock
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from clearance.columns.cells import as_bytes, as_flat
from clearance.kernels.compiler import inner, kernel
from clearance.kernels.forest import find, join, trees

WINDING = 4
"""A widest route with more cells than so many times the sides of the window strays."""
ALIKE = 0.999
"""Then a route of this share of its smallest radius serves as well."""
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


@inner
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


@inner
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


GONE_ON = -2
"""In `_Growing.order`: this less the place in the row of cells that were gone on from."""


@kernel
def _seed(
    cells: Array, first: Array, nz: int, room: Array, most: float, sources: Array, state: Any
) -> Array:
    """Put the sources on their piles; on which pile each cell belongs."""
    head, order, came, ends = state
    scale = (BUCKETS - 1) / most if most > 0.0 else 0.0
    bucket = np.empty(cells.size, np.int16)
    for n in range(cells.size):
        bucket[n] = int(min(np.float64(room[n]), most) * scale)
    for s in sources:
        n = _place_of(cells, first[s // nz], first[s // nz + 1], s)
        if n >= 0 and came[n] < 0:
            came[n] = n
            order[n] = head[bucket[n]]
            head[bucket[n]] = n
            ends[0] = max(ends[0], bucket[n])
    return bucket


@kernel
def _grow(
    cells: Array, first: Array, shape: Array, links: Array, bucket: Array, goals: Array, state: Any
) -> Any:
    """Go on until a goal (a place among `cells`) is next; it, or -1 if none is reached."""
    head, order, came, ends = state
    goal, six = np.zeros(cells.size, np.uint8), np.empty(6, np.int64)
    for n in goals:
        goal[n] = 1
    top = ends[0]
    while top >= 0:
        n = np.int64(head[top])
        if n < 0:
            top -= 1
            continue
        ends[0] = top
        if goal[n]:
            return n
        head[top] = order[n]
        order[n] = GONE_ON - ends[1]
        ends[1] += 1
        _beside(cells, first, shape, n, six)
        for side in range(6):
            m = six[side]
            if m < 0 or came[m] >= 0:
                continue
            link = links[m] if side & 1 else links[n]
            if link & (8 >> (side >> 1)):  # a link that is cut
                continue
            came[m] = n
            order[m] = head[bucket[m]]
            head[bucket[m]] = m
            top = max(top, bucket[m])
    ends[0] = -1
    return np.int64(-1)


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
    return Widest(radius, passable, sources, known).to(targets)


class Widest:
    """Widest routes from some cells, to whatever is asked for: each goes on where the last ended.

    Parameters
    ----------
    radius, passable, sources, known
        As for `widest_route`.
    """

    def __init__(
        self,
        radius: NDArray[np.float32],
        passable: Array,
        sources: ArrayLike,
        known: Packed | None = None,
    ):
        self._radius = np.require(radius, np.float32, ["C", "W"])
        passable = as_bytes(passable)
        self._cells, self._first = packed(passable) if known is None else known
        self._links = passable.ravel()[self._cells]
        self._shape, self._lock = np.array(self._radius.shape), RLock()
        count = self._cells.size
        self._state = (
            np.full(BUCKETS, -1, np.int32),  # the first of a pile for each step of the radius
            np.empty(count, np.int32),  # while a cell waits, the next of its pile
            np.full(count, -1, np.int32),  # from which it was met; -1: not, itself: a source
            np.array([-1, 0]),  # the highest pile, and how many cells were gone on from
        )
        flat = self._radius.ravel()
        room, begin = flat[self._cells], as_flat(sources, flat.size)
        known_cells = (self._cells, self._first, int(self._shape[2]))
        self._bucket = _seed(*known_cells, room, _largest_finite(flat), begin, self._state)

    def to(self, targets: ArrayLike) -> tuple[NDArray[np.int64], float]:
        """The route to the target that is reached first, and its bottleneck: see `widest_route`."""
        finish = as_flat(targets, self._radius.size).astype(np.int32)
        place = np.searchsorted(self._cells, finish)
        place = place[place < self._cells.size]
        place = place[np.isin(self._cells[place], finish)]
        with self._lock:
            end = self._reached(place)
            route = _back(self._cells, self._state[2], end) if end >= 0 else np.empty(0, np.int64)
        return route, float(self._radius.ravel()[route].min()) if route.size else 0.0

    def _reached(self, place: NDArray[np.int64]) -> int:
        order = self._state[1][place]
        gone = (self._state[2][place] >= 0) & (order <= GONE_ON)
        if gone.any():  # on the way to another target
            return int(place[gone][np.argmax(order[gone])])
        cells = (self._cells, self._first, self._shape, self._links, self._bucket)
        return int(_grow(*cells, place, self._state))


def widest_bound(radius: NDArray[np.float32], bottleneck: float) -> float:
    """Upper bound of the smallest radius of every route, mm, from that of `widest_route`.

    Radii of one bucket are not told apart there. The step is taken from one bucket fewer, which
    holds the rounding of which bucket a radius falls in.
    """
    return bottleneck + _largest_finite(np.ravel(radius)) / (BUCKETS - 2)


@kernel
def _shortest(
    cells: Array, first: Array, shape: Array, links: Array, sources: Array, targets: Array
) -> Array:
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
        for side in range(6):
            m = six[side]
            if m < 0 or came[m] >= 0:
                continue
            link = links[m] if side & 1 else links[n]
            if link & (8 >> (side >> 1)):
                continue
            came[m] = n
            waiting[count] = m
            count += 1
    return np.empty(0, np.int64)


def shortest(
    free: Packed, passable: Array, sources: ArrayLike, targets: ArrayLike
) -> NDArray[np.int64]:
    """Flat indices of a shortest chain of cells, ends included; empty if there is none.

    `passable`: as for `widest_route`; of it only the cells in `free` are used.
    """
    passable = as_bytes(passable)
    begin, finish = (as_flat(ends, passable.size) for ends in (sources, targets))
    links = passable.ravel()[free.cells]
    return np.asarray(_shortest(*free, np.array(passable.shape), links, begin, finish))


def straightened(
    index: NDArray[np.int64],
    radius: NDArray[np.float32],
    passable: Array,
    ends: tuple[ArrayLike, ArrayLike],
    free: Packed | None = None,
) -> NDArray[np.int64]:
    """A widest route over cells, or a shortest that is as wide where it strays.

    In a flat slit or a plenum all cells are alike, and the widest route strays all over them.
    """
    if len(index) <= WINDING * sum(passable.shape):
        return index
    free = packed(passable) if free is None else free
    room = radius.ravel()
    wide = room[free.cells] >= ALIKE * float(room[index].min())
    return shortest(free.some(wide), passable, *ends)


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
