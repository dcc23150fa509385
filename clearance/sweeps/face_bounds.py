"""What one face of a sheet proves of every way: its openings join the regions beside it.

In: the nominal levels with their regions, an event and a `Face`. Out: an upper bound of a way's
diameter, and whether a way may avoid the face by staying on one side of it.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np
import shapely

from clearance.passages.levels import Face
from clearance.predicted.slabs import Event
from clearance.sweeps.regions import Cuts, Level, reached_mm, widest_mm
from clearance.sweeps.station import Station


class FaceBounds:
    """Bounds from faces.

    Parameters
    ----------
    cuts : Cuts
        All nominal levels at which the part is cut, or a layer of the sheet ends.
    smallest : float, mm
        A narrower opening counts as none.
    still : bool
        The sheet only adds metal: nothing is moved.
    """

    def __init__(self, cuts: Cuts, smallest: float, still: bool):
        self.cuts, self.smallest, self.still = cuts, smallest, still
        self._kept: dict[int, tuple[float, bool]] = {}

    def plain(self, event: Event, face: Face, free: float) -> tuple[float, bool]:
        """`bound`, kept: while a sheet moves up, most faces come again."""
        if not self.still:
            return self.bound(event, face, free)
        key = id(face.pieces)
        if key not in self._kept:
            self._kept[key] = self.bound(event, face, free)
        return self._kept[key]

    def bound(
        self, event: Event, face: Face, free: float, widths: dict[int, float] | None = None
    ) -> tuple[float, bool]:
        """Bound from one face, and whether a way may avoid it by staying on one side."""
        if not self.still and face.z != event.bottom:
            return free, True  # the lower part ends at the cut: only there sides are told
        lower = self.cuts.level(face.z if self.still else event.bottom)
        upper = lower if self.still or event.rise == 0.0 else self.cuts.level(
            event.top - event.rise
        )  # fmt: skip
        if widest_mm(lower, upper, [], free) > 0.0:
            return free, True
        joins = self._joins(event, face, lower, upper, widths)
        return (free, True) if joins is None else (widest_mm(lower, upper, joins, free), False)

    def on_station(
        self,
        event: Event,
        face: Face,
        station: Station,
        widest: Callable[[Any, float, float], float],
        widths: dict[int, float] | None = None,
    ) -> float:
        """Bound of a ball whose centre is on a plane section, where its way can come to, mm.

        The face parts the section in pieces, each in one region beside the face; `widest`: the
        bound on a piece, of points that are at most so high and at least so high. Infinite where
        the regions are not told.
        """
        level = self.cuts.level(face.z)
        joins = self._joins(event, face, level, level, widths) if self.still else None
        if joins is None:
            return np.inf
        reached = reached_mm(level, joins, np.inf)
        most = 0.0
        for side, limits in (("b", (face.z, -np.inf)), ("a", (np.inf, face.z))):
            for piece, at in station.pieces(face.z, above=side == "a"):
                section = None if at is None else level.section_of(self.cuts.node_at(*at, face.z))
                if section is None:
                    return np.inf
                region = (level.above if side == "a" else level.below)[section]
                width = reached.get((side, region), 0.0)
                if width > most:
                    most = max(most, min(width, widest(piece, *limits)))
        return most

    def _joins(
        self, event: Event, face: Face, lower: Level, upper: Level, widths: dict[int, float] | None
    ) -> list[tuple[int, int, float]] | None:
        """Openings as joins of sections; None if some section is not told by a piece."""
        joins: list[tuple[int, int, float]] = []
        known_low, known_high = set(), set()
        for k, piece in enumerate(face.pieces):
            section = lower.section_of(self.cuts.node_at(*piece.nominal, lower.z))
            if section is None:
                return None
            known_low.add(section)
            width = piece.circle_mm if widths is None else widths.get(k, piece.circle_mm)
            width = 0.0 if width < self.smallest else width
            if upper is lower and self.still:
                known_high.add(section)
                joins.append((section, section, width))
                continue
            for part in shapely.get_parts(piece.opening):
                x, y = shapely.get_coordinates(shapely.point_on_surface(part))[0]
                other = upper.section_of(
                    self.cuts.node_at(x - event.shift[0], y - event.shift[1], upper.z)
                )
                if other is None:
                    return None
                joins.append((section, other, width))
        if not lower.sections <= known_low:
            return None
        return joins
