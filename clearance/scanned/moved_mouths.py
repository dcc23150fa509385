"""The mouths of a part where its scan has them: what a wrong restart has lifted moves them too.

In: a scan laid on the part, a nominal mouth. Out: the mouth moved as its piece was measured, how
far metal before it has to be looked for, and whether the scan shows the face around it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import shapely

from clearance.geometry import distance
from clearance.passages import closings
from clearance.ports.mouth import Mouth
from clearance.predicted.slabs import Event, offset
from clearance.scanned.pose import WIDE_MM, Floats
from clearance.scanned.registration import Registered

ASIDE = 1.5
"""So many times farther from the rim than a shown surface may lie, a point is not shown by the
walls of the bore itself."""
ON_IT_MM = 0.02
"""A point of the face around a mouth lies no farther off the nominal surface."""


@dataclass(frozen=True, eq=False)
class Moved:
    """A mouth in the scan.

    Attributes
    ----------
    mouth : Mouth
        Nominal, moved by what its piece was measured to have moved.
    ahead_mm : float
        So far before it no metal may stand: it may really lie as far outward.
    shown : bool
        The scan shows the face around it, there or where another piece of the part lies.
    """

    mouth: Mouth
    ahead_mm: float
    shown: bool


def moved(mouth: Mouth, found: Registered, every: Sequence[tuple[Event, ...]]) -> Moved:
    """Where a scan has a mouth.

    Parameters
    ----------
    mouth : Mouth
        Of the nominal part.
    found : Registered
    every : sequence of tuple of Event
        Events that are possible: which piece it belongs to, and how far that may have moved.
    """
    z = float(mouth.centre[2])
    told = [offset(events, z) for events in every]
    piece = sum(z + float(told[0][2]) > 0.5 * (low + high) for low, high in found.levels)
    known = np.array([found.fit.told(k) for k in range(1, piece + 1)]).reshape(-1, 3).all(axis=0)
    aside = np.where(known, -found.fit.moves[piece], 0.0) + 0.0
    ring = _face_around(mouth, found)
    spread = max(float(np.linalg.norm(move + aside)) for move in found.fit.moves)
    ahead = max(mouth.radius, found.near_mm + spread)
    if not len(ring) and not known.all():
        ahead += WIDE_MM + max(float(np.linalg.norm(one - aside)) for one in told)
    return Moved(closings.moved(mouth, aside), ahead, bool(found.shows(ring).all()))


def _face_around(mouth: Mouth, found: Registered) -> Floats:
    """Points of the nominal face around a mouth, (N, 3) mm; none where it has none."""
    rim = shapely.Polygon(mouth.polygon.exterior).buffer(ASIDE * found.near_mm, quad_segs=4)
    ring = mouth.plane.to_space(shapely.get_coordinates(rim.exterior)[:-1])
    return np.asarray(ring[distance.distances(found.nominal.tree, ring) < ON_IT_MM])
