"""The nominal bodies that the predicted part is cut from.

In: closed soups, mm. Out: `Bodies`, with bands of them kept for sections.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from clearance.geometry.level_faces import level_faces
from clearance.geometry.soup import Box, Soup, box_soup, extent, meeting
from clearance.system.once import once

BAND_MARGIN_MM = 0.01
"""Triangles so near a band of heights are kept with it: more than heights are rounded by."""


@dataclass(frozen=True, eq=False)
class Bodies:
    """Closed soups of the nominal: what the slabs of the predicted part are cut from.

    Attributes
    ----------
    part : (F, 3, 3) ndarray of float32, mm
        The nominal part.
    melted : (F, 3, 3) ndarray
        The part and all that was melted with it (support blocks, stock).
    added_by_stray : dict of int to (F, 3, 3) ndarray
        Measured or drawn stray metal (shape "mesh"), in the part's coordinates, by stray table.
    overlapping : bool
        Whether shells of `melted` overlap.
    standing : (F, 3, 3) ndarray
        What stands beside the part and may be in a drill's way.
    finished : (F, 3, 3) ndarray, optional
        The part after machining, where the case gives it.
    known : dict
        What is worked out of the part once and asked for again, by who asks.
    """

    part: Soup
    melted: Soup
    added_by_stray: dict[int, Soup]
    overlapping: bool
    standing: Soup = field(default_factory=lambda: np.empty((0, 3, 3), np.float32))
    finished: Soup | None = None
    known: dict[Any, Any] = field(default_factory=dict)
    _bands: dict[tuple[str, int], Soup] = field(default_factory=dict)
    _levels: dict[tuple[str, int], NDArray[np.float64]] = field(default_factory=dict)

    @once
    def bounds(self) -> NDArray[np.float64]:
        """(2, 3) lowest and highest corner of the part, mm."""
        return extent(self.part)

    @once
    def added(self) -> Soup | None:
        """All stray metal that is given as a mesh, in one soup."""
        return np.concatenate(list(self.added_by_stray.values())) if self.added_by_stray else None

    def near(self, body: str, z: float) -> Soup:
        """Triangles of a body that can cross height z; those of a millimetre are kept together."""
        key = (body, int(np.floor(z)))
        if key not in self._bands:
            band = Box(np.array([-np.inf, -np.inf, key[1]]), np.array([np.inf, np.inf, key[1] + 1]))
            self._bands[key] = meeting(getattr(self, body), band.grown(BAND_MARGIN_MM))
        return self._bands[key]

    def levels(self, body: str, z: float) -> NDArray[np.float64]:
        """Heights at which a body has level faces, those within a millimetre or so of `z`."""
        key = (body, int(np.floor(z)))
        if key not in self._levels:
            self._levels[key] = level_faces(self.near(body, z))
        return self._levels[key]

    @once
    def plane(self) -> Soup:
        """The part's bounding rectangle as a column of metal without end."""
        low, high = self.bounds
        return box_soup((low[0], low[1], -1e6), (high[0], high[1], 1e6))
