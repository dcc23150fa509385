"""Which pieces of a passage hang together within a sheet, and how much of each is left open.

In: the faces of a sheet. Out: a `Group` for each connected piece of the nominal passage there.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from clearance.geometry.areas import TOUCH_MM2
from clearance.passages.levels import Face, Overlaps, overlap


@dataclass(eq=False)
class Group:
    """Pieces of the passage that hang together within a sheet.

    `lower`, `upper`: for each face, numbers of the outlines just below and just above it.
    """

    lower: list[list[int]]
    upper: list[list[int]]

    def nominal_mm2(self, n: int, face: Face) -> float:
        """Nominal open area at a face: what is open on both sides of the nominal height.

        Where what stands below and above are of two heights, the larger.
        """
        lower = both_mm2([face.lower[k] for k in self.lower[n]], face.lower, face.lower_both)
        upper = both_mm2([face.upper[k] for k in self.upper[n]], face.upper, face.upper_both)
        return max(lower, upper)

    def through(self, n: int, face: Face) -> bool:
        """Whether the nominal passage goes on through a face, and does not end there."""
        ends = (self.lower[n] and self.upper[n]) or False
        return bool(ends) and self.nominal_mm2(n, face) > TOUCH_MM2


def both_mm2(own: list[Any], side: tuple[Any, ...], other: tuple[Any, ...]) -> float:
    """Area of some outlines of one side of a height that is open on the other side too."""
    if side is other:
        return float(sum(p.area for p in own))
    return float(sum(overlap(p, other).area for p in own))


def grouped(levels: list[Face], overlaps: Overlaps) -> list[Group]:
    """Pieces that hang together within the sheet, in order of where they begin."""
    first = np.cumsum([0, *(len(face.outlines) for face in levels)]).tolist()
    parent = list(range(first[-1]))

    def root(n: int) -> int:
        while parent[n] != n:
            n = parent[n]
        return n

    def join(a: int, b: int) -> None:
        a, b = sorted((root(a), root(b)))
        parent[b] = a

    for n, face in enumerate(levels):
        for k, m in overlaps.within(face):
            join(first[n] + k, first[n] + m)
        if n > 0:
            for k, m in overlaps.between(levels[n - 1], face):
                join(first[n - 1] + k, first[n] + m)
    found: dict[int, Group] = {}
    for n, face in enumerate(levels):
        for k in range(len(face.outlines)):
            name = root(first[n] + k)
            if name not in found:
                found[name] = Group([[] for _ in levels], [[] for _ in levels])
            if k < len(face.lower):
                found[name].lower[n].append(k)
            else:
                found[name].upper[n].append(k - len(face.lower))
    return [found[name] for name in sorted(found)]


def open_fraction(levels: list[Face], overlaps: Overlaps) -> float:
    """Smallest open fraction of all crossings of a sheet; 1 where nothing crosses it.

    Of each connected piece of the nominal passage within the sheet the smallest ratio of open
    to nominal section at one level.
    """
    if not any(face.touched for face in levels):
        return 1.0
    least = 1.0
    for group in grouped(levels, overlaps):
        for n, face in enumerate(levels):
            if group.through(n, face):
                opened = sum(face.pieces[k].opening.area for k in group.lower[n])
                least = min(least, opened / group.nominal_mm2(n, face))
    return least
