"""The neck of a way, in cells split as finely as it needs: can a ball of some radius pass.

In: cells that the ball's centre can be in, exact distances. Out: whether the ends come
apart. Proof: docs/method.md, "The bracket". No plane section need exist: the neck may be
bounded by spheres, by a rib, by two ways round a post.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from clearance.geometry import box_tree, distance
from clearance.kernels.compiler import kernel

PARTS = 8
"""A cell is split into this many along each axis, a power of two."""
MOST_SPLIT = 30_000
"""Cells split at most."""
MOST_SEEN = 200_000_000
"""Cells that all rounds together may go over."""
BESIDE = 2
"""How many cells around those that a route leads through are split with them."""
REACH = 4.0
"""First those that are no farther than so many cells from the throat, then twice as many."""

Array = NDArray[Any]
Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


class Neck:
    """Cells of a window around a way, for the question whether a ball of `radius_mm` passes.

    Parameters
    ----------
    active : (X, Y, Z) ndarray of uint8
        Every cell that the centre of a ball of this radius can be in; taken over.
    tree : box_tree.Tree
        The metal's surface.
    origin : (3,) ndarray, mm
        Centre of the first cell.
    pitch_mm, radius_mm : float
        `radius_mm` at least `least_radius_mm(pitch_mm)`.
    """

    def __init__(
        self,
        active: NDArray[np.uint8],
        tree: box_tree.Tree,
        origin: Floats,
        pitch_mm: float,
        radius_mm: float,
    ):
        self.shape = active.shape
        self.state = active.astype(np.int32)
        self.tree, self.origin, self.pitch_mm, self.radius_mm = tree, origin, pitch_mm, radius_mm
        self.fine = np.empty((0, PARTS**3), np.uint8)

    def parted(self, sources: Ints, targets: Ints, throat: Floats | None = None) -> bool:
        """Whether no chain of cells leads from sources to targets, as far as it can be told.

        True is proof that no ball of the radius passes; False proves nothing. `throat`: a place
        (3,), mm, where the way is likely shut: about it cells are split first, and often alone.
        """
        rounds = max(8, MOST_SEEN // self.state.size)
        reach = np.inf
        if throat is not None:
            reach = REACH * self.pitch_mm
            rounds += int(np.ceil(np.log2(max(self.state.shape) / REACH)))
        for _ in range(rounds):
            route = _chain(self.state, self.fine, sources, targets)
            if len(route) == 0:
                return True
            doubtful, reach = self._doubtful(route, throat, reach)
            if len(doubtful) == 0 or len(self.fine) + len(doubtful) > MOST_SPLIT:
                return False
            self._split(doubtful)
            reach *= 2.0
        return False

    def _doubtful(self, route: Ints, throat: Floats | None, reach: float) -> tuple[Ints, float]:
        """Cells on a route and beside it that are not split yet and may not hold the ball.

        Only what is within reach of the throat; if nothing is, the reach is doubled until some is.
        """
        flat = self.state.ravel()
        route = route[flat[route] == 1]
        enough = self.radius_mm + _half_diagonal(self.pitch_mm)
        room = distance.distances_between(self.tree, self._centres(route), enough, enough)
        route = route[room < enough]
        if len(route) == 0:
            return route, reach
        if throat is not None:
            off = np.linalg.norm(self._centres(route) - throat, axis=1)
            while off.min() > reach:
                reach *= 2.0
            route = route[off <= reach]
        steps = np.arange(-BESIDE, BESIDE + 1)
        around = np.stack(np.meshgrid(steps, steps, steps, indexing="ij"), -1).reshape(-1, 3)
        places = np.stack(np.unravel_index(route, self.shape), -1)[:, None] + around
        places = places.reshape(-1, 3)
        inside = ((places >= 0) & (places < self.shape)).all(1)
        cells = np.unique(np.ravel_multi_index(tuple(places[inside].T), self.shape))
        return np.asarray(cells[flat[cells] == 1]), reach

    def _centres(self, cells: Ints) -> Floats:
        places = np.stack(np.unravel_index(cells, self.shape), -1)
        return np.asarray(self.origin + places * self.pitch_mm)

    def _split(self, cells: Ints) -> None:
        """Replace cells by their parts, those shut that are too near the surface throughout."""
        fine = np.zeros((len(cells), PARTS, PARTS, PARTS), np.uint8)
        owner = np.arange(len(cells))
        corner = np.zeros((len(cells), 3), np.int64)
        size = PARTS
        sure = np.zeros(len(cells), np.bool_)
        while True:
            at = self._centres(cells)[owner]
            at = at + ((corner + 0.5 * size) / PARTS - 0.5) * self.pitch_mm
            half = _half_diagonal(self.pitch_mm * size / PARTS)
            near = self.radius_mm - half
            # The smallest parts are only asked whether they are able: quicker. Those of a part
            # whose middle holds the ball are, for their middles are no farther from it than that.
            far = near if size == 1 else self.radius_mm + half
            room = np.full(len(at), np.inf)
            asked = ~sure if size == 1 else np.ones(len(at), np.bool_)
            room[asked] = distance.distances_between(self.tree, at[asked], near, far)
            able = room + half > self.radius_mm
            # Finer cannot tell more than this: each part of such a cell is near enough all over.
            whole = able & ((room - half > self.radius_mm) | (size == 1))
            many = PARTS // size
            groups = fine.reshape(len(cells), many, size, many, size, many, size)
            i, j, k = (corner[whole] // size).T
            groups[owner[whole], i, :, j, :, k, :] = 1
            rest = able & ~whole
            if size == 1 or not rest.any():
                break
            size //= 2
            steps = size * np.array([(a, b, c) for a in (0, 1) for b in (0, 1) for c in (0, 1)])
            corner = (corner[rest][:, None] + steps).reshape(-1, 3)
            owner = np.repeat(owner[rest], 8)
            sure = np.repeat(room[rest] > self.radius_mm, 8)
        self.state.ravel()[cells] = 2 + len(self.fine) + np.arange(len(cells), dtype=np.int32)
        self.fine = np.concatenate([self.fine, fine.reshape(len(cells), -1)])


def least_radius_mm(pitch_mm: float) -> float:
    """Smallest radius that can be asked for.

    Then neighbouring parts that both may hold the ball lie on one side of the surface,
    so that no chain creeps through metal.
    """
    part = pitch_mm / PARTS
    return part + _half_diagonal(part)


def _half_diagonal(side: float) -> float:
    return 0.5 * float(np.sqrt(3.0)) * side


@kernel
def _chain(state, fine, sources, targets):  # type: ignore[no-untyped-def]
    """Cells of a shortest chain from a source to a target; empty if there is none.

    `state`: 0 shut, 1 open, 2 + b split into the parts fine[b]. Nodes: an open cell's
    flat index, a part's index after all cells. A split source or target counts whole.
    """
    nx, ny, nz = state.shape
    flat, parts = state.ravel(), fine.ravel()
    size, block = flat.size, PARTS * PARTS * PARTS
    # Where each node was reached from; -1 if it was not, -2 if it is shut.
    came = np.empty(size + parts.size, np.int32)
    for c in range(size):
        came[c] = -1 if flat[c] == 1 else -2
    for q in range(parts.size):
        came[size + q] = -1 if parts[q] else -2
    owner = np.empty(fine.shape[0], np.int64)
    for c in range(size):
        if flat[c] > 1:
            owner[flat[c] - 2] = c
    goal = np.zeros(size, np.uint8)
    for t in targets:
        goal[t] = 1
    waiting = np.empty(came.size, np.int32)
    first, last = 0, 0
    for s in sources:
        start, count = s, 1
        if flat[s] > 1:
            start, count = size + (flat[s] - 2) * block, block
        for node in range(start, start + count):
            if came[node] == -1:
                came[node] = node
                waiting[last] = node
                last += 1
    steps, edge = (1, nz, ny * nz), (nz - 1, ny - 1, nx - 1)  # of cells along z, y and x
    # Steps of a part within its cell along z, y and x, and the bits that hold its place there.
    bits = (PARTS - 1, (PARTS - 1) * PARTS, (PARTS - 1) * PARTS * PARTS)
    end = -1
    while first < last and end < 0:
        node = int(waiting[first])
        first += 1
        split = node >= size
        p, cell = 0, node
        if split:
            p, cell = (node - size) % block, owner[(node - size) // block]
        if goal[cell]:
            end = node
            break
        column = cell // nz
        i = column // ny
        at = (cell - column * nz, column - i * ny, i)  # told once for six faces
        for side in range(6):
            axis = side // 2  # z, y, x; forward where `side` is even
            mask = bits[axis]
            step = mask // (PARTS - 1)
            place = mask if side % 2 == 0 else 0
            if split and p & mask != place:
                other = node + step if side % 2 == 0 else node - step
                if came[other] == -1:
                    came[other] = node
                    waiting[last] = other
                    last += 1
                continue
            if at[axis] == (edge[axis] if side % 2 == 0 else 0):
                continue
            beside = cell + steps[axis] if side % 2 == 0 else cell - steps[axis]
            if flat[beside] == 0:
                continue
            if flat[beside] == 1:
                if came[beside] == -1:
                    came[beside] = node
                    waiting[last] = beside
                    last += 1
                continue
            there = size + (flat[beside] - 2) * block
            if split:
                other = there + (p ^ mask)  # the part across the face
                if came[other] == -1:
                    came[other] = node
                    waiting[last] = other
                    last += 1
                continue
            # All parts at the face, in order.
            for q in range(block):
                if q & mask == mask - place and came[there + q] == -1:
                    came[there + q] = node
                    waiting[last] = there + q
                    last += 1
    if end < 0:
        return np.empty(0, np.int64)
    length = 1
    node = int(end)
    while came[node] != node:
        node = int(came[node])
        length += 1
    route = np.empty(length, np.int64)
    node = int(end)
    for n in range(length - 1, -1, -1):
        route[n] = node if node < size else owner[(node - size) // block]
        node = int(came[node])
    return route
