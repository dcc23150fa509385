"""Lengths and points along a polyline.

In: its vertices. Out: lengths from its start, points at lengths.
"""

from __future__ import annotations

import numpy as np

from clearance.geometry.cutting import Floats


def lengths(points: Floats) -> Floats:
    """Length of a polyline (N, 3) up to each of its vertices, (N,)."""
    steps = np.linalg.norm(np.diff(points, axis=0), axis=1)
    return np.concatenate(([0.0], np.cumsum(steps)))


def points_at(at: Floats | float, along: Floats, points: Floats) -> Floats:
    """Points at lengths `at` (K,) of a polyline whose `lengths` are `along`: (K, 3), or (3,)."""
    return np.stack([np.interp(at, along, points[:, k]) for k in range(3)], axis=-1)
