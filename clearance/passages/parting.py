"""Which plane sections every wide way crosses, shown on cells.

In: cells that the centre of a ball of some radius can be in, plane sections of the void. Out: the
cells with their links through the sections cut, whether chains are left, and whether every way
crosses a section. Proof: docs/method.md, "The bracket".
"""

from __future__ import annotations

from itertools import pairwise
from typing import Any, Protocol

import numpy as np
import shapely
from numpy.typing import NDArray

from clearance.columns import ways
from clearance.geometry.planes import Plane

Ints = NDArray[np.int64]
Vector = int
"""Sections that a chain of cells crosses an odd number of times, a bit each."""


class Cells(Protocol):
    """What is asked of cells: `search.Cells` are such."""

    @property
    def shape(self) -> tuple[int, int, int]:
        """Number of cells along x, y, z."""
        ...

    @property
    def radius(self) -> NDArray[np.float32]:
        """Distance from each cell's centre to metal, mm."""
        ...

    @property
    def pitch_mm(self) -> float:
        """Side of a cell, mm."""
        ...

    @property
    def half_diagonal_mm(self) -> float:
        """What a point of a cell may be off its centre, mm."""
        ...

    @property
    def slack_mm(self) -> float:
        """What a point of a cell may be farther from metal than `radius` says, mm."""
        ...

    def centres(self, index: Ints) -> NDArray[np.float64]:
        """Centres of cells given by flat index, (N, 3) mm."""
        ...

    def near_plate(self, plane: Plane, polygon: Any, low: float, high: float, grow: float) -> Ints:
        """Cells over a plane figure grown by `grow`, between two offsets."""
        ...


class Parting:
    """Cells whose links through some plane sections of the void are cut.

    A ball of a radius of half a cell's diagonal and more that passes from cell to cell holds the
    centres of both and the line between them, which therefore lies in the void with it.

    Parameters
    ----------
    cells : Cells
    active : (X, Y, Z) ndarray of uint8
        Cells that a ball's centre can be in; taken over, and marked where links are cut.
    ends : two (N,) ndarrays
        Flat indices of the cells where a way may begin and end.
    """

    def __init__(self, cells: Cells, active: NDArray[np.uint8], ends: tuple[Ints, Ints]):
        self.cells, self.active, self.ends = cells, active, ends
        self._links: list[tuple[Ints, Ints]] = []
        self._at_ends: Vector = 0

    def cut(self, plane: Plane, polygon: Any) -> None:
        """Cut the links between cells that lead through a section."""
        cells, flat = self.cells, self.active.ravel()
        pitch = cells.pitch_mm
        index = cells.near_plate(plane, polygon, -pitch, pitch, pitch)
        index = index[flat[index] > 0]
        offset = plane.signed(cells.centres(index))
        shapely.prepare(polygon)
        places = np.stack(np.unravel_index(index, cells.shape))
        found = []
        for axis in range(3):
            inner = places[axis] + 1 < cells.shape[axis]
            low = index[inner]
            high = low + int(np.prod(cells.shape[axis + 1 :]))
            a = offset[inner]
            b = a + pitch * float(plane.normal[axis])
            through = (flat[high] > 0) & ((a > 0.0) != (b > 0.0))
            low, high, a, b = (v[through] for v in (low, high, a, b))
            at = cells.centres(low)
            at[:, axis] += pitch * a / np.where(a == b, 1.0, a - b)
            xy = plane.to_plane(at)
            inside = shapely.contains_xy(polygon, xy[:, 0], xy[:, 1])
            low, high = low[inside], high[inside]
            flat[low] |= np.uint8(ways.CUT_LINK[axis])
            found.append((low, high))
        half = cells.half_diagonal_mm
        near = cells.near_plate(plane, polygon, -half, half, half)
        # From where a way begins to the centre of its cell it may pass the section unseen.
        if any(np.isin(near, end).any() for end in self.ends):
            self._at_ends |= 1 << len(self._links)
        low, high = (np.concatenate(side) for side in zip(*found, strict=True))
        self._links.append((low, high))

    def left(self) -> tuple[Ints, float]:
        """The widest chain of cells over links that are not cut; no least radius is larger, mm."""
        radius = self.cells.radius
        index, room = ways.widest_route(radius, self.active, *self.ends)
        found = ways.straightened(index, radius, self.active, self.ends)
        return found, ways.widest_bound(radius, room)

    def all_cross(self, radius_mm: float) -> bool:
        """Whether every way of a ball of this radius or more crosses one of the sections.

        A chain of cells crosses each section as often as its way, up to an even number. Those of
        any two chains differ by what chains that end where they begin cross.
        """
        cells = self.cells
        within = self.active * (cells.radius >= radius_mm - cells.slack_mm)
        group, free = ways.groups(within), within.ravel()
        graph: dict[int, set[tuple[int, Vector]]] = {}
        low, high, crosses = self._cut_links()
        kept = (free[low] > 0) & (free[high] > 0)
        sides = [group.of(end[kept]).tolist() for end in (low, high)]
        for a, b, vector in set(zip(*sides, crosses[kept].tolist(), strict=True)):
            graph.setdefault(a, set()).add((b, vector))
            graph.setdefault(b, set()).add((a, vector))
        starts, goals = (np.unique(group.of(end[free[end] > 0])).tolist() for end in self.ends)
        if not starts or not goals:
            return True
        # Where a way begins and ends is one place each: all of it hangs together.
        for places in (starts, goals):
            for a, b in pairwise(places):
                graph.setdefault(a, set()).add((b, 0))
                graph.setdefault(b, set()).add((a, 0))
        crossed, cycles = _crossed(graph, starts[0])
        if goals[0] not in crossed:
            return True
        cycles += [1 << n for n in range(len(self._links)) if self._at_ends >> n & 1]
        return not _spans(cycles, crossed[goals[0]])

    def _cut_links(self) -> tuple[Ints, Ints, NDArray[np.uint64]]:
        """The links that are cut, and for each all sections that it leads through, a bit each."""
        sections = [np.full(len(low), 1 << n, np.uint64) for n, (low, _) in enumerate(self._links)]
        ends = np.concatenate([np.stack(pair, axis=1) for pair in self._links])
        links, place = np.unique(ends, axis=0, return_inverse=True)
        crosses = np.zeros(len(links), np.uint64)
        np.bitwise_or.at(crosses, place.ravel(), np.concatenate(sections))
        return links[:, 0], links[:, 1], crosses


def _crossed(
    graph: dict[int, set[tuple[int, Vector]]], start: int
) -> tuple[dict[int, Vector], list[Vector]]:
    """What a chain from a start to each place crosses, and what chains that close cross."""
    crossed: dict[int, Vector] = {start: 0}
    cycles: set[Vector] = set()
    waiting = [start]
    while waiting:
        at = waiting.pop()
        for to, sections_between in graph.get(at, ()):
            there = crossed[at] ^ sections_between
            if to not in crossed:
                crossed[to] = there
                waiting.append(to)
            elif crossed[to] != there:
                cycles.add(crossed[to] ^ there)
    return crossed, sorted(cycles)


def _spans(vectors: list[Vector], wanted: Vector) -> bool:
    """Whether some of the vectors add up to the one that is wanted (none add up to 0)."""
    leading: dict[int, Vector] = {}
    for vector in vectors:
        rest = _reduced(leading, vector)
        if rest:
            leading[rest.bit_length()] = rest
    return _reduced(leading, wanted) == 0


def _reduced(leading: dict[int, Vector], vector: Vector) -> Vector:
    """What is left of a vector, those with the same leading bit taken off."""
    for bit in sorted(leading, reverse=True):
        if vector >> (bit - 1) & 1:
            vector ^= leading[bit]
    return vector
