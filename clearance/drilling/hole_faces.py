"""The faces of a hole: where they lie in metal, and how near that is to other walls, exactly.

In: a bore and the part where it stands. Out: triangles of its faces in the part's metal, without
the sheets, and the least distance from them to walls.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from clearance.drilling import bore as bores
from clearance.drilling.bore import Bore
from clearance.geometry import box_tree, segments
from clearance.geometry.planes import Plane
from clearance.geometry.sight import winding_at
from clearance.geometry.soup import Box, Soup, flat, meeting
from clearance.predicted.part import Predicted, Window
from clearance.predicted.plane_sections import (
    Move,
    nominal_metal,
    predicted_metal,
    seen_of,
)
from clearance.predicted.slabs import Slab, pieces_of, rounded, slabs
from clearance.system.once import once

CLEAR_MM = 1e-3
"""Faces of a hole that are no nearer to any of the part's lie as a whole in metal or in void."""
LEVEL_MM = 1e-2
"""A face that rises by less is cut for each place by itself: where a part is cut and moved within
it, rounding does not tell what of its triangles lies above and what below."""
Floats = NDArray[np.float64]


class Walls:
    """Triangles to which distances are taken.

    Attributes
    ----------
    soup : (F, 3, 3) ndarray, mm
    """

    def __init__(self, soup: Soup | Floats):
        self.soup = soup

    @once
    def _tree(self) -> Any:
        """Its tree of boxes."""
        return box_tree.build(np.ascontiguousarray(self.soup, np.float32))

    @once
    def _ends(self) -> tuple[NDArray[Any], NDArray[Any]]:
        """(F, 3) lowest and highest corner of the box of each triangle."""
        return self.soup.min(axis=1), self.soup.max(axis=1)

    def apart(self, other: Walls, within: float) -> float | None:
        """Least distance to others that do not meet these, mm; None if it is not below `within`.

        Between two triangles it is taken at an edge of one of them.
        """
        if not len(self.soup) or not len(other.soup):
            return None
        least = within
        for one, two in ((self, other), (other, self)):
            low, high = two._ends[0].min(axis=0) - least, two._ends[1].max(axis=0) + least
            near = one.soup[((one._ends[0] <= high) & (one._ends[1] >= low)).all(axis=1)]
            if len(near):
                start, end = (
                    np.concatenate([near[:, n] for n in order]) for order in ((0, 1, 2), (1, 2, 0))
                )
                least = segments.least_clearance(two._tree, start, end, least)
        return least if least < within else None


class Faces:
    """The faces of a hole, kept for all places where the part may stand in a window.

    The nominal part is cut once for each shift and lift that it has anywhere; what stands between
    two heights is then taken of the triangles.
    """

    def __init__(self, window: Window, bore: Bore):
        self.window, self.bore = window, bore
        facets, height = bores.facets(bore), bores.solid(bore).vertices[:, 2]
        level = [np.ptp(height[face]) < LEVEL_MM for face in bores.solid(bore).faces]
        self._level = [facet for facet, one in zip(facets, level, strict=True) if one]
        self._rising = [facet for facet, one in zip(facets, level, strict=True) if not one]
        self._cut: dict[Move, Floats] = {}

    def metal(self, predicted: Predicted) -> Floats:
        """Where they lie in the metal of the part without the sheets, (T, 3, 3)."""
        if predicted.in_place and self._in_void(predicted):
            return np.empty((0, 3, 3))
        bare = _Bare(predicted.window, predicted.events, None)
        pieces = pieces_of(bare.table)
        found = [_between(self._nominal((shift, lift)), *ends) for *ends, lift, shift in pieces]
        for plane, face in self._level:
            found.append(in_space(plane, predicted_metal(bare, plane, True, face)[1]))
        return np.concatenate(found)

    def _nominal(self, move: Move) -> Floats:
        """Metal of the nominal part in all faces that rise."""
        if move not in self._cut:
            part = self._part(move)
            found = [np.empty((0, 3, 3))]
            for plane, face in self._rising:
                seen = seen_of(self.window, plane, face)
                if not seen.is_empty:
                    found.append(in_space(plane, nominal_metal(part, plane, move, seen)))
            self._cut[move] = np.concatenate(found)
        return self._cut[move]

    def _part(self, move: Move) -> Soup:
        """Triangles of the nominal part near the hole, and above it, where the part stands so."""
        shift, lift = move
        aside = np.array([*rounded(shift), lift])
        box = Box.around(bores.solid(self.bore).vertices - aside).grown(CLEAR_MM)
        return meeting(self.window.bodies.part, Box(box.low, np.append(box.high[:2], np.inf)))

    def _in_void(self, predicted: Predicted) -> bool:
        """Whether no face is near metal of a part that stands where it did."""
        bore = self.bore
        start = bore.start - CLEAR_MM * bore.direction
        length = bore.length + 2.0 * CLEAR_MM
        around = replace(bore, start=start, radius=bore.radius + CLEAR_MM, length=length)
        if bores.enters(predicted.bare_surface(bores.box(around)), around):
            return False
        return bool(winding_at(predicted.window.bodies.part, bore.start[None])[0] < 1)


def in_space(plane: Plane, figure: Any) -> Floats:
    """A figure of a plane as triangles (T, 3, 3) in space, mm."""
    level = flat(figure, 0.0).astype(np.float64)
    return plane.to_space(level[..., :2].reshape(-1, 2)).reshape(-1, 3, 3)


def _between(triangles: Floats, low: float, high: float) -> Floats:
    """What of triangles lies between two heights."""
    z = triangles[..., 2]
    if not len(z) or (z.min() >= low and z.max() <= high):
        return triangles
    upright = np.array([[0.0, 0.0, -1.0], [0.0, 0.0, 1.0]])
    ends = np.array([-low, high])
    finite = np.isfinite(ends)
    kept = bores.within(triangles.astype(np.float32), upright[finite], ends[finite])
    return kept.astype(np.float64)


class _Bare(Predicted):
    """The part where it stands now, without the sheets."""

    @once
    def table(self) -> tuple[Slab, ...]:
        """Slabs without gates."""
        return tuple(replace(slab, gates=()) for slab in slabs(self.events))
