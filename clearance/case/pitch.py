"""The resolution that a case asks for: how far apart the columns stand.

In: a case. Out: a distance in mm.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from clearance.case.read import Case

PITCHES = (0.02, 0.05, 0.1, 0.2, 0.5, 1.0)
"""Default pitches: the largest that is at most a 20th of the narrowest requirement."""
MOST_DEFAULT_CELLS = 300_000_000
"""Dense cells of the part's box at the default pitch, at most: keeps windows within memory."""


def fine_pitch(case: Case) -> float:
    """Pitch chosen from the narrowest requirement alone, mm."""
    narrowest = min((p.min_clear_diameter for p in case.passage), default=PITCHES[-1])
    return max([p for p in PITCHES if p <= narrowest / 20.0 + 1e-9], default=PITCHES[0])


def chord(case: Case, pitch_mm: float | None = None) -> float:
    """Greatest distance of triangles made of a STEP file from its surface, mm: a tenth of a pitch.

    The part's size, which may make the pitch coarser, is not known before it is read.
    """
    return 0.1 * (pitch_mm or case.grid.pitch or fine_pitch(case))


def default_pitch(case: Case, low: NDArray[np.float64], high: NDArray[np.float64]) -> float:
    """Pitch chosen from the narrowest requirement, coarser where the part is too large, mm."""
    fine, volume = fine_pitch(case), float(np.prod(high - low))
    fits = [p for p in PITCHES if p >= fine and volume / p**3 <= MOST_DEFAULT_CELLS]
    return fits[0] if fits else PITCHES[-1]
