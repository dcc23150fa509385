"""How a flow divides over ways beside one another.

In: the loss of each way as a function of its share of the flow. Out: the shares, and the loss
that they prove.

Any division proves a bound (docs/method.md, "Flow"): no way loses more than the greatest loss of
a division at the high end, and all together no less than the least loss of one at the low end. So
the shares need not be exact, nor the functions rise steadily; the nearer, the closer the bounds.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

Kpa = Callable[[float], float]
LEAST = 1e-3
"""Share of the flow below which a way's loss goes on as a power of it."""
POINTS = 13


def divide(ways: Sequence[Kpa], every: bool) -> NDArray[np.float64]:
    """Shares of the flow, which add up to one, at which all ways lose about the same.

    `every`: over all ways; else over those of them that together lose least, the rest having none.
    """
    if len(ways) == 1:
        return np.ones(1)
    at = np.log(np.geomspace(LEAST, 1.0, POINTS))
    lost = np.array([[way(float(share)) for share in np.exp(at)] for way in ways])
    lost = np.log(np.maximum(np.maximum.accumulate(lost, axis=1), 1e-12))
    lost += 1e-9 * np.arange(POINTS)  # what is flat has no inverse
    easiest = np.argsort(lost[:, 0], kind="stable")
    counts = [len(ways)] if every else range(1, len(ways) + 1)
    levels = {n: _level(at, lost[easiest[:n]]) for n in counts}
    count = min(levels, key=lambda n: levels[n])
    shares = np.zeros(len(ways))
    shares[easiest[:count]] = _shares(levels[count], at, lost[easiest[:count]])
    return shares / shares.sum()


def _level(at: NDArray[np.float64], lost: NDArray[np.float64]) -> float:
    """Logarithm of the loss at which the shares add up to one."""
    from scipy.optimize import brentq

    low, high = float(lost[:, 0].min()) - 50.0, float(lost[:, -1].max())
    found = brentq(lambda x: float(np.log(_shares(x, at, lost).sum())), low, high, xtol=1e-9)
    return float(found)


def _shares(
    level: float, at: NDArray[np.float64], lost: NDArray[np.float64]
) -> NDArray[np.float64]:
    """Share at which each way loses so much; `at`, `lost`: logarithms, a row for each way."""
    found = np.array([np.interp(level, row, at) for row in lost])
    slopes = np.maximum((lost[:, 1] - lost[:, 0]) / (at[1] - at[0]), 1e-3)
    below = np.maximum(at[0] + (level - lost[:, 0]) / slopes, -50.0)
    return np.asarray(np.exp(np.where(level < lost[:, 0], below, found)))
