"""The faces of a hole: where they lie in metal, and how near that is to other walls, exactly.

In: a bore and the part where it stands. Out: triangles of its faces in the part's metal, without
the sheets, and the least distance from them to walls.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from clearance.drilling import bore as bores
from clearance.drilling.bore import Bore
from clearance.geometry import box_tree, segments
from clearance.geometry.planes import Plane
from clearance.geometry.sight import winding_at
from clearance.geometry.soup import Box, Soup, flat
from clearance.predicted.part import Predicted, Window
from clearance.predicted.plane_sections import (
    Move,
    nominal_metal,
    predicted_metal,
    seen_of,
)
from clearance.predicted.slabs import Slab, pieces_of, slabs
from clearance.system.once import once

if TYPE_CHECKING:
    from shapely import Polygon

CLEAR_MM = 1e-3
"""Faces of a hole that are no nearer to any of the part's lie as a whole in metal or in void."""
SECTOR = 12
"""Sides of a hole that are looked at together, and the faces of its point beside them."""
ROUNDED_MM = 1e-4
"""Metal in a face, as triangles in single precision, stands out of the face by less."""

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
    def tree(self) -> Any:
        """Its tree of boxes."""
        return box_tree.build(np.ascontiguousarray(self.soup, np.float32))

    @once
    def ends(self) -> tuple[NDArray[Any], NDArray[Any]]:
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
            low, high = two.ends[0].min(axis=0) - least, two.ends[1].max(axis=0) + least
            near = one.soup[((one.ends[0] <= high) & (one.ends[1] >= low)).all(axis=1)]
            if len(near):
                start, end = (
                    np.concatenate([near[:, n] for n in order]) for order in ((0, 1, 2), (1, 2, 0))
                )
                least = segments.least_clearance(two.tree, start, end, least)
        return least if least < within else None


class Face(NamedTuple):
    """A face of a hole: its plane, and in it the face and what of it lies in the window's box."""

    plane: Plane
    outline: Polygon
    seen: Any


class Faces:
    """The faces of a hole, kept for all places where the part may stand in a window.

    The nominal part is cut once for each shift and lift that it has anywhere, sector by sector
    and only where it is asked for; what stands between two heights is then taken of the triangles.
    """

    def __init__(self, window: Window, bore: Bore):
        self.window, self.bore = window, bore
        self._cut: dict[tuple[int, Move], Floats] = {}

    @once
    def _sectors(self) -> tuple[tuple[Face, ...], ...]:
        """All faces, those near one another together; level ones, and the back, at the end."""
        found: dict[int, list[Face]] = {}
        for n, (plane, outline) in enumerate(bores.facets(self.bore)):
            beside = n < 2 * self.bore.sides and not plane.is_level
            sector = n % self.bore.sides // SECTOR if beside else self.bore.sides
            face = Face(plane, outline, seen_of(self.window, plane, outline))
            found.setdefault(sector, []).append(face)
        return tuple(tuple(found[sector]) for sector in sorted(found))

    @once
    def _bare(self) -> tuple[Walls, ...]:
        """The sectors whole, as triangles."""
        return tuple(
            Walls(np.concatenate([_in_space(face.plane, face.outline) for face in sector]))
            for sector in self._sectors
        )

    def metal(self, predicted: Predicted) -> Floats:
        """Where they lie in the metal of the part without the sheets, (T, 3, 3)."""
        if predicted.in_place and self._in_void(predicted):
            return np.empty((0, 3, 3))
        bare = _Bare(predicted.window, predicted.events, None)
        return np.concatenate([self._metal(n, bare) for n in range(len(self._sectors))])

    def wall(self, predicted: Predicted, walls: Sequence[Walls], within: float) -> float | None:
        """Least distance, mm, from where they lie in metal to walls that they do not meet.

        None if it is not below `within`.

        Notes
        -----
        Metal in a face is no nearer to a wall than the face. So sectors that are cut already come
        first, then the nearest; those that are no nearer than what was found are not cut.
        """
        if predicted.in_place and self._in_void(predicted):
            return None
        bare = _Bare(predicted.window, predicted.events, None)
        cut = [n for n in range(len(self._sectors)) if self._is_cut(n, bare)]
        ready = [np.empty((0, 3, 3)), *(self._metal(n, bare) for n in cut)]
        least = _least(Walls(np.concatenate(ready)), walls, within)
        for bound, n in self._by_distance(walls, least + ROUNDED_MM, cut):
            if bound < least + ROUNDED_MM:
                least = _least(Walls(self._metal(n, bare)), walls, least)
        return least if least < within else None

    def _by_distance(
        self, walls: Sequence[Walls], within: float, left_out: list[int]
    ) -> list[tuple[float, int]]:
        """Distance and number of the sectors that are nearer than `within`, the nearest first."""
        rest = [n for n in range(len(self._sectors)) if n not in left_out]
        found = [(_least(self._bare[n], walls, within), n) for n in rest]
        return sorted(one for one in found if one[0] < within)

    def _is_cut(self, n: int, bare: _Bare) -> bool:
        return all((n, (shift, lift)) in self._cut for _, _, lift, shift in pieces_of(bare.table))

    def _metal(self, n: int, bare: _Bare) -> Floats:
        """Metal in a sector's faces, (T, 3, 3)."""
        level = [f for f in self._sectors[n] if f.plane.is_level]
        found = [
            _in_space(f.plane, predicted_metal(bare, f.plane, True, f.outline)[1]) for f in level
        ]
        for low, high, lift, shift in pieces_of(bare.table):
            found.append(_between(self._nominal(n, (shift, lift)), low, high))
        return np.concatenate(found)

    def _nominal(self, n: int, move: Move) -> Floats:
        if (n, move) not in self._cut:
            faces = [f for f in self._sectors[n] if not (f.plane.is_level or f.seen.is_empty)]
            metal = (nominal_metal(self.window, f.plane, move, f.seen) for f in faces)
            found = [_in_space(f.plane, held) for f, held in zip(faces, metal, strict=True)]
            self._cut[n, move] = np.concatenate([np.empty((0, 3, 3)), *found])
        return self._cut[n, move]

    def _in_void(self, predicted: Predicted) -> bool:
        """Whether no face is near metal of a part that stands where it did."""
        bore = self.bore
        start = bore.start - CLEAR_MM * bore.direction
        length = bore.length + 2.0 * CLEAR_MM
        around = replace(bore, start=start, radius=bore.radius + CLEAR_MM, length=length)
        box = Box.around(bores.solid(around).vertices)
        if bores.enters(predicted.bare_surface(box), around):
            return False
        return bool(winding_at(predicted.window.bodies.part, bore.start[None])[0] < 1)


def _least(one: Walls, walls: Sequence[Walls], within: float) -> float:
    """Least distance to any of the walls, `within` if none is nearer."""
    least = within
    for wall in walls:
        found = one.apart(wall, least)
        least = least if found is None else found
    return least


def _in_space(plane: Plane, figure: Any) -> Floats:
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
