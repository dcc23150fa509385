"""Where a surface turns: vertices that no neighbour lies below, or above.

In: a triangle soup. Out: their heights.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Soup = NDArray[np.float32]
Floats = NDArray[np.float64]


def extremes(walls: Soup) -> tuple[Floats, Floats]:
    """Heights of vertices that no neighbour lies below, and of those that none lies above.

    Only right for vertices all of whose triangles are given.
    """
    if not len(walls):
        return np.empty(0), np.empty(0)
    z = walls[..., 2].astype(np.float64)
    corners = np.ascontiguousarray(walls.reshape(-1, 3) + np.float32(0.0))
    names = corners.view(np.dtype((np.void, 12))).ravel()
    _, first, of = np.unique(names, return_index=True, return_inverse=True)
    low, high = np.full(len(first), np.inf), np.full(len(first), -np.inf)
    np.minimum.at(low, of.ravel(), np.repeat(z.min(1), 3))
    np.maximum.at(high, of.ravel(), np.repeat(z.max(1), 3))
    own = z.ravel()[first]
    return own[own <= low], own[own >= high]
