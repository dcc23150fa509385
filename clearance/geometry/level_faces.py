"""Heights at which a soup has level faces, and where to cut it just beside them.

In: triangles (F, 3, 3) mm, a height. Out: heights, mm.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

ABOVE_MM = 1e-5
"""A section "just above" a level face is taken this much higher than the face as it is stored
(below a face: at it)."""


def same_height_mm(z: float) -> float:
    """Heights nearer than this are one: float32 tells them apart no better, mm."""
    return max(ABOVE_MM, 2.0 * float(np.spacing(np.float32(abs(z)))))


def level_faces(triangles: NDArray[np.float32]) -> NDArray[np.float64]:
    """Heights of level triangles, rising; both ends of those that are level but for rounding."""
    z = triangles[..., 2]
    low, high = z.min(1, initial=np.inf), z.max(1, initial=-np.inf)
    far = float(np.abs(z).max(initial=0.0))
    level = (high - low) <= same_height_mm(far)
    return np.unique(np.concatenate([low[level], high[level]]).astype(np.float64))


def beside(z: float, above: bool, levels: NDArray[np.float64]) -> float:
    """Height at which to cut a body just below or just above `z`.

    A section changes at once where a level face lies at `z`, or where one is stored that was
    meant to. Anywhere else both sections are the one at `z`.
    """
    by = same_height_mm(z)
    at = levels[np.searchsorted(levels, z - by) : np.searchsorted(levels, z + by, "right")]
    if not len(at):
        return z
    return max(z, float(at[-1])) + ABOVE_MM if above else min(z, float(at[0]))
