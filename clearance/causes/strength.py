"""How strongly readings speak for one cause over another: numbers and words.

In: log-likelihoods. Out: ratios, words of a published scale, the misfit of the best. Pure numbers.
"""

from __future__ import annotations

import numpy as np
import scipy
from numpy.typing import NDArray

from clearance.result.causes import Words

Floats = NDArray[np.float64]

SCALE: tuple[tuple[float, Words], ...] = (
    (3.0, "weak"),
    (20.0, "positive"),
    (150.0, "strong"),
    (np.inf, "very strong"),
)
"""Upper end of each band of a likelihood ratio, and its word.

Source: Kass and Raftery, Journal of the American Statistical Association 90 (1995) 773, as the
documentation of an R package gives it: 1 to 3, 3 to 20, 20 to 150, above 150. It says how strongly
findings speak for one cause over another, never how probable a cause is.
"""
SCALE_SOURCE = (
    "words of Kass and Raftery, J. Am. Stat. Assoc. 90 (1995) 773: weak to 3, positive to 20, "
    "strong to 150, very strong above"
)


def words(ratio: float) -> Words:
    """How strongly the readings speak for the best over a class whose likelihood ratio is given.

    Parameters
    ----------
    ratio : float
        Likelihood of the class over that of the best, 0 to 1.

    Examples
    --------
    >>> [words(1.0), words(0.4), words(1 / 20), words(0.01), words(0.0)]
    ['none', 'weak', 'positive', 'strong', 'very strong']
    """
    if ratio >= 1.0:
        return "none"
    times = np.inf if ratio <= 0.0 else 1.0 / ratio
    return next(word for end, word in SCALE if times <= end)


def ratios(log_likelihood: Floats) -> Floats:
    """Likelihood of each suspect over the largest; all 1 where none has any."""
    best = float(log_likelihood.max())
    if not np.isfinite(best):
        return np.ones_like(log_likelihood)
    return np.asarray(np.exp(log_likelihood - best))


def posterior(weights: Floats, ratio: Floats) -> Floats:
    """Weights after the readings: p' = p L / sum p L (Bayes)."""
    product = weights * ratio
    total = float(product.sum())
    return product / total if total > 0.0 else weights / float(weights.sum())


def misfit(chi2: float, readings: int) -> float | None:
    """Chance of a misfit this large or larger if the suspect is true; None without a reading.

    Parameters
    ----------
    chi2 : float
        Sum of squares of the readings' distances in standard uncertainties.
    readings : int
        How many measured ones; go/no-go are left out.

    Examples
    --------
    >>> round(misfit(2.0, 2), 9)  # exp(-1)
    0.367879441
    """
    return None if readings == 0 else float(scipy.special.chdtrc(readings, chi2))
