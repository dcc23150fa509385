"""Suspects that the readings cannot tell apart.

In: what each suspect predicts for every reading made, and what would be recommended. Out: groups.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

ROUNDED = 10.0
"""Predictions are rounded to the standard uncertainty over this."""


def alike(predicted: Floats, u: Floats, also: Sequence[Hashable]) -> list[list[int]]:
    """Numbers of the suspects of each class, in the order of its first one.

    Parameters
    ----------
    predicted : (N, P) ndarray
        Numbers that say what each suspect predicts; nan where it predicts nothing.
    u : (P,) ndarray
        Standard uncertainties of these numbers; 0 where they have to be equal as they stand.
    also : sequence of N
        What has to be equal besides: states and recommendation.
    """
    step = np.where(u > 0.0, u / ROUNDED, 1e-9)
    whole = np.where(np.isnan(predicted), np.iinfo(np.int64).min, np.round(predicted / step))
    groups: dict[Hashable, list[int]] = {}
    for n, (row, one) in enumerate(zip(whole.tolist(), also, strict=True)):
        groups.setdefault((tuple(row), one), []).append(n)
    return list(groups.values())
