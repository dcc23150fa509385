"""Parts of the same mesh without the event: what a mass is compared with.

In: masses of sisters, g. Out: their mean, and how surely another part's mass is told from it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import scipy

TAIL = 0.5 * math.erfc(3.0 / math.sqrt(2.0))
"""Beyond three standard uncertainties, on one side."""


def sisters_mean(masses: Sequence[float]) -> float | None:
    """Mean mass; None of fewer than two, whose scatter nobody knows.

    Examples
    --------
    >>> sisters_mean([100.0, 102.0]), sisters_mean([100.0])
    (101.0, None)
    """
    return float(np.mean(masses)) if len(masses) >= 2 else None


def with_scatter(u: float, masses: Sequence[float]) -> float:
    """Standard uncertainty of a mass less that of its sisters, in the masses' unit.

    Parameters
    ----------
    u : float
        Of the weighing.
    masses : sequence of float
        Two or more.

    Notes
    -----
    One more part of those that scatter by s lies within t s sqrt(1 + 1/N) of the mean of N, t
    being Student's for N - 1 degrees of freedom. Three standard uncertainties are made to reach
    as far as that does, so that few sisters count for little.

    Examples
    --------
    >>> [round(with_scatter(0.0, (-1.0, 0.0, 1.0)) * 3.0, 1)]
    [22.2]
    """
    count = len(masses)
    scatter = float(np.std(masses, ddof=1)) * math.sqrt(1.0 + 1.0 / count)
    reach = float(scipy.special.stdtrit(count - 1, 1.0 - TAIL)) / 3.0
    return math.hypot(u, reach * scatter)
