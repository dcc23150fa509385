"""Which sides of a level a passage's void has: all levels at once.

In: the pieces of the possible void that a passage runs through. Out: for every level the
connected regions below and above it, and which of them its sections join. The regions
below are grown once from the bottom up, those above from the top down. Possible void
holds all void, so what comes out apart here is apart. Source: docs/method.md, "Sweep".
"""

from __future__ import annotations

from dataclasses import dataclass
from heapq import heappop, heappush
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from clearance.columns.possible import PossibleVoid, meetings
from clearance.kernels.compiler import kernel
from clearance.kernels.forest import find, join, trees
from clearance.kernels.growing import grown
from clearance.kernels.rows import first_not_below

Ints = NDArray[np.int64]
Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Level:
    """One level: its sections, and the regions that they join.

    Attributes
    ----------
    z : float, mm
    of : (nodes, sections)
        Void runs that the level cuts, in order, and the section of each; sections may be wider
        than the void's own.
    below, above : dict
        Region below and above the level, of each section.
    ends : tuple of two (below, above) pairs of frozensets
        Regions that the inlet and the outlet touch.
    """

    z: float
    of: tuple[Ints, Ints]
    below: dict[int, int]
    above: dict[int, int]
    ends: tuple[tuple[frozenset[int], frozenset[int]], tuple[frozenset[int], frozenset[int]]]

    @property
    def sections(self) -> set[int]:
        """All sections."""
        return set(self.below)

    def section_of(self, run: int) -> int | None:
        """Section that a void run belongs to, if the level cuts it."""
        nodes, section = self.of
        n = int(np.searchsorted(nodes, run))
        return int(section[n]) if n < len(nodes) and nodes[n] == run else None


class Cuts:
    """Levels through some pieces of a possible void, prepared for given heights."""

    def __init__(
        self,
        void: PossibleVoid,
        own: set[int],
        layers: tuple[tuple[Ints, Floats, Floats], tuple[Ints, Floats, Floats]],
        heights: Floats,
    ):
        """`layers`: squares, low and high of the layer just inside the inlet and the outlet."""
        self.void = void
        self._kept: dict[int, Level] = {}
        self.heights = np.unique(np.round(heights, 9))
        g = void.places.grid
        wanted = np.zeros(int(void.piece.max(initial=0)) + 1, np.bool_)
        wanted[sorted(own)] = True
        start, z = void.metal.start, void.metal.z
        self._low, self._high = _spans(start, z, void.places.squares)
        a, b, low, high = _edges(start, z, g.nx, g.ny, void.piece, wanted)
        self._edges = (a, b, low, high)
        self._wanted = wanted[void.piece[: len(self._low)]]
        nodes, first = _held(self._low, self._high, self._wanted, self.heights)
        self._nodes, self._first = nodes, first
        ends = [self._end(layer) for layer in layers]
        count = len(self._low)
        up, down = np.argsort(low, kind="stable"), np.argsort(-high, kind="stable")
        self._below, at_below = _grow(
            count, a[up], b[up], low[up], self.heights, nodes, first, ends[0][0], ends[1][0]
        )
        self._above, at_above = _grow(
            count,
            a[down],
            b[down],
            -high[down],
            -self.heights[::-1],
            *_reversed(nodes, first),
            ends[0][0],
            ends[1][0],
        )
        self._above = _back(self._above, first)
        self._ends = ends
        self._at = (at_below, [at[::-1] for at in at_above])
        self._sections = _sections(count, a, b, low, high, self.heights, nodes, first)

    def _end(self, layer: tuple[Ints, Floats, Floats]) -> tuple[Ints, Floats, Floats]:
        """Void runs behind a mouth, and what of the layer there each of them holds."""
        squares, low, high = layer
        return _layer_nodes(
            self.void.metal.start, self.void.metal.z, squares, low, high, self._wanted
        )

    def level(self, z: float) -> Level:
        """The level at one of the heights that were given."""
        n = int(np.searchsorted(self.heights, round(z, 9) - 5e-10))
        if n in self._kept:
            return self._kept[n]
        part = slice(self._first[n], self._first[n + 1])
        ends = []
        for e in (0, 1):
            _, low, high = self._ends[e]
            ends.append(
                (
                    frozenset(np.unique(self._at[0][e][n][low < self.heights[n]]).tolist()),
                    frozenset(np.unique(self._at[1][e][n][high > self.heights[n]]).tolist()),
                )
            )
        section, index = np.unique(self._sections[part], return_index=True)
        names = section.tolist()
        below = dict(zip(names, self._below[part][index].tolist(), strict=True))
        above = dict(zip(names, self._above[part][index].tolist(), strict=True))
        found = Level(
            float(self.heights[n]),
            (self._nodes[part], self._sections[part]),
            below,
            above,
            (ends[0], ends[1]),
        )
        self._kept[n] = found
        return found

    def nearest(self, z: float) -> Level:
        """The level nearest to a height."""
        return self.level(float(self.heights[int(np.argmin(np.abs(self.heights - z)))]))

    def node_at(self, x: float, y: float, z: float) -> int:
        """Void run of the square that holds a point; -1 if it is sure metal there."""
        c = self.void.places.square_at(x, y)
        runs = self.void.metal.of(c)
        k = int(np.searchsorted(runs[:, 1], z))
        if k < len(runs) and runs[k, 0] < z:
            return -1
        return int(self.void.metal.start[c] + c + k)


def widest_mm(
    lower: Level, upper: Level, joins: list[tuple[int, int, float]], free_mm: float
) -> float:
    """Upper bound of a way from inlet to outlet past a level.

    Parameters
    ----------
    lower, upper : Level
        Where the lower part ends and where the upper one goes on: the same level, unless the
        part above was lifted.
    joins : list of (section below, section above, width)
        Openings between the sections of both, numbered as in `Level.section`, and the
        diameter of the largest ball whose centre can pass there.
    free_mm : float
        Bound of a way that stays on one side.
    """
    parent: dict[tuple[str, int], tuple[str, int]] = {}

    def root(key: tuple[str, int]) -> tuple[str, int]:
        while parent.setdefault(key, key) != key:
            key = parent[key]
        return key

    def joined() -> bool:
        return root(("end", 0)) == root(("end", 1))

    for e in (0, 1):
        touched = [("b", r) for r in lower.ends[e][0]] + [("a", r) for r in upper.ends[e][1]]
        for region in touched:
            parent[root(region)] = root(("end", e))
    if joined():
        return free_mm
    for a, b, width in sorted(joins, key=lambda j: -j[2]):
        parent[root(("b", lower.below[a]))] = root(("a", upper.above[b]))
        if joined():
            return min(width, free_mm)
    return 0.0


def reached_mm(
    level: Level, joins: list[tuple[int, int, float]], free_mm: float
) -> dict[tuple[str, int], float]:
    """Upper bound of a way from inlet to outlet in each region that it may come to, mm.

    Regions are "b", below, or "a", above, with their number; those left out it cannot come to.
    `joins`, `free_mm`: as for `widest_mm`.
    """
    beside: dict[tuple[str, int], list[tuple[tuple[str, int], float]]] = {}
    for a, b, width in joins:
        below, above = ("b", level.below[a]), ("a", level.above[b])
        beside.setdefault(below, []).append((above, width))
        beside.setdefault(above, []).append((below, width))
    from_ends = []
    for below_at, above_at in level.ends:
        begin = [("b", r) for r in below_at] + [("a", r) for r in above_at]
        known: dict[tuple[str, int], float] = {}
        waiting = [(-free_mm, region) for region in begin]
        while waiting:
            width, region = heappop(waiting)
            if region not in known:
                known[region] = -width
                for other, through in beside.get(region, ()):
                    heappush(waiting, (-min(-width, through), other))
        from_ends.append(known)
    one, two = from_ends
    return {region: min(one[region], two[region]) for region in one.keys() & two.keys()}


@kernel
def _spans(start, z, squares):  # type: ignore[no-untyped-def]
    """Lower and upper end of every void run of the squares."""
    count = start[squares] + squares
    low, high = np.empty(count), np.empty(count)
    for c in range(squares):
        for k in range(start[c + 1] - start[c] + 1):
            low[start[c] + c + k] = z[start[c] + k - 1, 1] if k > 0 else -np.inf
            high[start[c] + c + k] = z[start[c] + k, 0] if start[c] + k < start[c + 1] else np.inf
    return low, high


@kernel
def _edges(start, z, nx, ny, piece, wanted):  # type: ignore[no-untyped-def]
    """Steps between void runs of neighbouring squares, and the heights at which they are."""
    squares = (nx - 1) * (ny - 1)
    strips_x = (nx - 1) * ny
    capacity = 1024
    a = np.empty(capacity, np.int64)
    b = np.empty(capacity, np.int64)
    low = np.empty(capacity)
    high = np.empty(capacity)
    pairs, spans = np.empty((16, 2), np.int64), np.empty((16, 2), np.float64)
    n = 0
    for i in range(nx - 1):
        for j in range(ny - 1):
            c = i * (ny - 1) + j
            for side in range(2):
                if side == 0:
                    if j == 0:
                        continue
                    d, strip = c - 1, squares + i * ny + j
                else:
                    if i == 0:
                        continue
                    d, strip = c - (ny - 1), squares + strips_x + i * (ny - 1) + j
                met, pairs, spans = meetings(start, z, c, d, strip, pairs, spans)
                for m in range(met):
                    if not wanted[piece[pairs[m, 0]]]:
                        continue
                    if n == capacity:
                        capacity *= 2
                        a, b = grown(a, capacity), grown(b, capacity)
                        low, high = grown(low, capacity), grown(high, capacity)
                    a[n], b[n] = pairs[m, 0], pairs[m, 1]
                    low[n], high[n] = spans[m, 0], spans[m, 1]
                    n += 1
    return a[:n], b[:n], low[:n], high[:n]


@kernel
def _held(low, high, wanted, heights):  # type: ignore[no-untyped-def]
    """Which intervals hold each height: a row of numbers, and where each height begins in it."""
    first = np.zeros(heights.size + 1, np.int64)
    for p in range(low.size):
        if wanted[p]:
            for n in range(first_not_below(heights, low[p]), heights.size):
                if heights[n] > high[p]:
                    break
                first[n + 1] += 1
    for n in range(heights.size):
        first[n + 1] += first[n]
    fill = first[:-1].copy()
    nodes = np.empty(first[-1], np.int64)
    for p in range(low.size):
        if wanted[p]:
            for n in range(first_not_below(heights, low[p]), heights.size):
                if heights[n] > high[p]:
                    break
                nodes[fill[n]] = p
                fill[n] += 1
    return nodes, first


@kernel
def _grow(count, a, b, begins, heights, nodes, first, end_0, end_1):  # type: ignore[no-untyped-def]
    """Regions of the runs of each height, of all steps that begin before it; and of the ends."""
    parent = trees(count)
    region = np.empty(nodes.size, np.int64)
    at_0 = np.empty((heights.size, end_0.size), np.int32)
    at_1 = np.empty((heights.size, end_1.size), np.int32)
    e = 0
    for n in range(heights.size):
        while e < a.size and begins[e] <= heights[n]:
            join(parent, a[e], b[e])
            e += 1
        for k in range(first[n], first[n + 1]):
            region[k] = find(parent, nodes[k])
        for k in range(end_0.size):
            at_0[n, k] = find(parent, end_0[k])
        for k in range(end_1.size):
            at_1[n, k] = find(parent, end_1[k])
    return region, [at_0, at_1]


def _reversed(nodes: Ints, first: Ints) -> tuple[Ints, Ints]:
    """The same rows, the last height first."""
    count = np.diff(first)[::-1]
    rows = [nodes[a:b] for a, b in pairwise(first)][::-1]
    joined = np.concatenate(rows) if rows else nodes
    return joined, np.concatenate([[0], np.cumsum(count)]).astype(np.int64)


def _back(region: Ints, first: Ints) -> Ints:
    """Undo `_reversed`."""
    _, turned = _reversed(region, first)
    rows = [region[a:b] for a, b in pairwise(turned)][::-1]
    return np.concatenate(rows) if rows else region


@kernel
def _sections(count, a, b, low, high, heights, nodes, first):  # type: ignore[no-untyped-def]
    """Connected section, of each height by itself, that each of its runs belongs to."""
    # Steps in rising order of where they begin, so that each height sees few that are over.
    parent = trees(count)
    section = np.empty(nodes.size, np.int64)
    step, of = _held(low, high, np.ones(a.size, np.bool_), heights)
    for n in range(heights.size):
        for k in range(of[n], of[n + 1]):
            join(parent, a[step[k]], b[step[k]])
        for k in range(first[n], first[n + 1]):
            section[k] = find(parent, nodes[k])
        for k in range(of[n], of[n + 1]):
            parent[a[step[k]]] = a[step[k]]
            parent[b[step[k]]] = b[step[k]]
        for k in range(first[n], first[n + 1]):
            parent[nodes[k]] = nodes[k]
    return section


@kernel
def _layer_nodes(start, z, squares, low, high, wanted):  # type: ignore[no-untyped-def]
    """Runs that meet a z range over some squares, and the range's part in each."""
    capacity = 4 * squares.size + 16
    found = np.empty(capacity, np.int64)
    bottom = np.empty(capacity)
    top = np.empty(capacity)
    n = 0
    for s in range(squares.size):
        c = squares[s]
        for k in range(start[c + 1] - start[c] + 1):
            z0 = z[start[c] + k - 1, 1] if k > 0 else -np.inf
            z1 = z[start[c] + k, 0] if start[c] + k < start[c + 1] else np.inf
            p = start[c] + c + k
            if z0 > high[s] or z1 < low[s] or not wanted[p]:
                continue
            if n == capacity:  # none may be left out: a proof rests on all of them
                capacity *= 2
                found = grown(found, capacity)
                bottom, top = grown(bottom, capacity), grown(top, capacity)
            found[n] = p
            bottom[n] = max(z0, low[s])
            top[n] = min(z1, high[s])
            n += 1
    return found[:n], bottom[:n], top[:n]
