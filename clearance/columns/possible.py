"""Where void may be: the proof that two places are not connected.

In: per square and strip the z intervals that are surely metal (`sure`). Out: what is left, the
possible void, in pieces. Two squares are joined where their common strip leaves possible void, so
no way through the void can leave this graph: places that it keeps apart are apart. Source:
docs/method.md, "Blocked".
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from clearance.columns.grid import Grid, spanned
from clearance.columns.runs import Runs
from clearance.columns.sure import Places
from clearance.geometry.stretches import fixed
from clearance.kernels.compiler import inner, kernel
from clearance.kernels.forest import compact, join, trees
from clearance.kernels.growing import grown_runs


@dataclass(frozen=True, eq=False, slots=True)
class PossibleVoid:
    """Pieces of the possible void over a grid.

    Attributes
    ----------
    places : Places
    metal : Runs
        What is surely metal.
    piece : (N,) ndarray of int32
        Piece of each possible void run of the squares (run k of square c has
        number ``metal.start[c] + c + k``).
    outside : int
        Number of the piece that holds everything above, below and beside the grid.
    """

    places: Places
    metal: Runs
    piece: NDArray[np.int32]
    outside: int

    @property
    def runs(self) -> tuple[NDArray[np.int64], NDArray[np.float64], NDArray[np.float64]]:
        """Square, foot and head of every run of the possible void, in the order of `piece`."""
        count = self.places.squares
        start, z = self.metal.start[: count + 1], self.metal.z
        squares = np.repeat(np.arange(count), np.diff(start) + 1)
        low, high = np.full(len(squares), -np.inf), np.full(len(squares), np.inf)
        metal = np.arange(start[-1])
        at = metal + np.repeat(np.arange(count), np.diff(start))
        low[at + 1], high[at] = z[metal, 1], z[metal, 0]
        return squares, low, high

    def pieces_at(self, points_mm: NDArray[np.float64]) -> set[int]:
        """Pieces that hold the given (N, 3) points; a point in sure metal has none."""
        found: set[int] = set()
        for x, y, z in points_mm:
            c = self.places.square_at(x, y)
            runs = self.metal.of(c)
            k = int(np.searchsorted(runs[:, 1], z))
            if k < len(runs) and runs[k, 0] < z:
                continue
            found.add(int(self.piece[self.metal.start[c] + c + k]))
        return found

    def pieces_over(
        self,
        squares: NDArray[np.int64],
        low: NDArray[np.float64],
        high: NDArray[np.float64],
    ) -> set[int]:
        """Pieces of all void runs of some squares that meet a z range in each."""
        seen = np.zeros(int(self.piece.max(initial=0)) + 1, np.bool_)
        _pieces_over(self.metal.start, self.metal.z, self.piece, squares, low, high, seen)
        return {int(n) for n in np.nonzero(seen)[0]}


@kernel
def _pieces_over(start, z, piece, squares, low, high, seen):  # type: ignore[no-untyped-def]
    for n in range(squares.shape[0]):
        c = squares[n]
        k = _first_reaching(start, z, c, low[n])
        while True:
            bottom = -np.inf if k == 0 else z[start[c] + k - 1, 1]
            if bottom > high[n]:
                break
            seen[piece[start[c] + c + k]] = True
            if start[c] + k >= start[c + 1]:
                break
            k += 1


def possible_void(metal: Runs, grid: Grid) -> PossibleVoid:
    """Join the possible void of neighbouring squares; what comes out apart is apart."""
    piece, outside = _join_squares(metal.start, metal.z, grid.nx, grid.ny)
    return PossibleVoid(Places(grid), metal, piece, int(outside))


@inner
def _first_reaching(start, z, c, low):  # type: ignore[no-untyped-def]
    """Number (within square c) of the first void run that ends above `low`."""
    k = 0
    while start[c] + k < start[c + 1] and z[start[c] + k, 0] <= low:
        k += 1
    return k


@kernel
def _join_squares(start, z, nx, ny):  # type: ignore[no-untyped-def]
    squares = (nx - 1) * (ny - 1)
    strips_x = (nx - 1) * ny
    nodes = start[squares] + squares
    outside = nodes  # one more node: all that is beyond the grid
    parent = trees(nodes + 1)
    pairs, spans = np.empty((16, 2), np.int64), np.empty((16, 2), np.float64)
    for i in range(nx - 1):
        for j in range(ny - 1):
            c = i * (ny - 1) + j
            join(parent, start[c] + c, outside)
            join(parent, start[c + 1] + c, outside)
            if i == 0 or j == 0 or i == nx - 2 or j == ny - 2:
                for k in range(start[c], start[c + 1]):
                    join(parent, k + c, outside)
            if j > 0:
                strip = squares + i * ny + j
                n, pairs, spans = meetings(start, z, c - 1, c, strip, pairs, spans)
                for m in range(n):
                    join(parent, pairs[m, 0], pairs[m, 1])
            if i > 0:
                strip = squares + strips_x + i * (ny - 1) + j
                n, pairs, spans = meetings(start, z, c - (ny - 1), c, strip, pairs, spans)
                for m in range(n):
                    join(parent, pairs[m, 0], pairs[m, 1])
    piece = compact(parent)
    return piece[:-1], piece[-1]


@inner
def meetings(start, z, a, b, strip, pairs, spans):  # type: ignore[no-untyped-def]
    """Void runs of squares a and b that meet in their common strip's void: how many.

    Their numbers, (N, 2), and the heights over which they meet, (N, 2), are written to the arrays
    that are given; larger ones come back where they do not suffice. (A kernel that yields would
    never give back the arrays that it was given.) Where squares are blocked and the strip between
    them is not, a void run of the strip may touch several of theirs.
    """
    n = 0
    for s in range(start[strip], start[strip + 1] + 1):
        low = -np.inf if s == start[strip] else z[s - 1, 1]
        high = np.inf if s == start[strip + 1] else z[s, 0]
        ka, kb = _first_reaching(start, z, a, low), _first_reaching(start, z, b, low)
        while True:
            low_a = -np.inf if ka == 0 else z[start[a] + ka - 1, 1]
            low_b = -np.inf if kb == 0 else z[start[b] + kb - 1, 1]
            top_a = z[start[a] + ka, 0] if start[a] + ka < start[a + 1] else np.inf
            top_b = z[start[b] + kb, 0] if start[b] + kb < start[b + 1] else np.inf
            bottom, top = max(low, low_a, low_b), min(high, top_a, top_b)
            if bottom < top:
                if n == pairs.shape[0]:
                    pairs, spans = grown_runs(pairs), grown_runs(spans)
                pairs[n, 0], pairs[n, 1] = start[a] + a + ka, start[b] + b + kb
                spans[n, 0], spans[n, 1] = bottom, top
                n += 1
            if top == high or max(low_a, low_b) >= high:
                break
            if top_a <= top_b:
                ka += 1
            else:
                kb += 1
    return n, pairs, spans


def bounding(
    void: PossibleVoid, triangles: NDArray[np.float32], pieces: set[int]
) -> NDArray[np.float32]:
    """Triangles that may bound some pieces of the possible void.

    A piece holds every triangle that touches the void in it, so the metal nearest
    to a point of that void is among these.
    """
    wanted = np.zeros(int(void.piece.max(initial=0)) + 1, np.bool_)
    wanted[sorted(pieces)] = True
    cells, metal = void.places.grid.cells(), void.metal
    keep = _bounding(fixed(triangles), cells, metal.start, metal.z, void.piece, wanted)
    return triangles[keep]


@kernel
def _bounding(triangles, cells, start, z, piece, wanted):  # type: ignore[no-untyped-def]
    keep = np.zeros(triangles.shape[0], np.bool_)
    for f in range(triangles.shape[0]):
        t = triangles[f]
        # A little wider than the triangle: soups are rounded, squares are snapped.
        i0, i1, j0, j1 = spanned(t, cells, 1e-3)
        low = min(t[0, 2], t[1, 2], t[2, 2]) - 1e-4
        high = max(t[0, 2], t[1, 2], t[2, 2]) + 1e-4
        for i in range(max(i0, 0), min(i1, cells.nx - 2) + 1):
            for j in range(max(j0, 0), min(j1, cells.ny - 2) + 1):
                c = i * (cells.ny - 1) + j
                k = _first_reaching(start, z, c, low)
                while not keep[f]:
                    if wanted[piece[start[c] + c + k]]:
                        keep[f] = True
                    if start[c] + k >= start[c + 1] or z[start[c] + k, 1] > high:
                        break
                    k += 1
            if keep[f]:
                break
    return keep


def block(metal: Runs, squares: NDArray[np.int64], low: float, high: float) -> Runs:
    """Intervals [low, high] on the given squares only, to be united with `metal`."""
    count = np.zeros(metal.start.shape[0], np.int64)
    count[squares + 1] = 1
    z = np.tile(np.array([low, high]), (len(squares), 1))
    return Runs(np.cumsum(count), z)
