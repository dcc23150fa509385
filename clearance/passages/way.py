"""What is known of the widest way between two mouths, and where a route meets what.

In: a route, a crossing, a mouth. Out: `Way`; the place where a route enters a crossing; the mouth
where it lies in the predicted part.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import shapely
from numpy.typing import NDArray

from clearance.passages.closings import (
    moved,
)
from clearance.passages.crossings import Crossing
from clearance.ports.mouth import Mouth
from clearance.predicted.part import Predicted

Floats = NDArray[np.float64]
NO_ROUTE: Floats = np.empty((0, 3))


@dataclass(frozen=True, eq=False)
class Way:
    """What is known of the widest way from one mouth to another.

    Attributes
    ----------
    low_mm, high_mm : float
        The largest ball that can travel has a diameter in [low, high]; 0 and 0 if no way exists.
        Both are proven: a low above the high is a contradiction, a fault of the program.
    route : (N, 3) ndarray, mm
        A way on which `low_mm` is proven; empty if none was found.
    leak : bool
        The void may reach the outside otherwise than through a mouth that is known.
    throat : (3,) ndarray, mm, or None
        Where the route is narrowest.
    leak_mm : float
        Upper bound of the widest ball that can leave the part elsewhere; 0 if none can.
    leak_at : (3,) ndarray, mm, or None
        Where such a way is narrowest, about.
    """

    low_mm: float
    high_mm: float
    route: Floats
    leak: bool
    throat: Floats | None
    leak_mm: float = 0.0
    leak_at: Floats | None = None

    @property
    def blocked(self) -> bool:
        """Proven that no way exists."""
        return self.high_mm == 0.0


def moved_mouth(predicted: Predicted, mouth: Mouth) -> Mouth:
    """The mouth where it lies in the predicted part: it moves with its centre."""
    return moved(mouth, predicted.moved(mouth.centre) - mouth.centre)


def enters(route: Floats, crossing: Crossing) -> Floats | None:
    """Place where a route (N, 3) is first within a crossing, or None."""
    a, b = route[:-1], route[1:]
    rise = np.where(a[:, 2] == b[:, 2], 1.0, b[:, 2] - a[:, 2])
    at = (np.array([[crossing.low], [crossing.high]]) - a[:, 2]) / rise
    level = a[:, 2] == b[:, 2]
    between = (a[:, 2] >= crossing.low) & (a[:, 2] <= crossing.high)
    first = np.clip(np.where(level, 0.0, at.min(0)), 0.0, 1.0)
    last = np.clip(np.where(level, 1.0, at.max(0)), 0.0, 1.0)
    meets = np.where(level, between, np.maximum(a[:, 2], b[:, 2]) >= crossing.low)
    meets &= np.minimum(a[:, 2], b[:, 2]) <= crossing.high
    ends = np.stack([a + share[:, None] * (b - a) for share in (first, last)], 1)[meets]
    lines = shapely.linestrings(ends[:, :, :2])
    inside = np.flatnonzero(shapely.intersects(lines, crossing.footprint))
    return ends[inside[0]].mean(0) if len(inside) else None
