"""How much a measurement would tell: of the suspects, and of a label that they carry.

In: weights of the suspects and what each predicts. Out: bits, and the chance of being wrong. Pure
numbers; which measurements there are is left to others.

Mutual information of suspect S and reading Y, I = H(Y) - sum p(s) H(Y given s), in bits (Lindley,
Annals of Mathematical Statistics 27 (1956) 986). Entropies are sums over an even grid, which for
smooth densities that end at zero converge faster than any power of its step.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Labels = NDArray[np.int64]

STEPS = 8
"""Points of the grid to a standard uncertainty."""
TAIL = 8.0
"""Standard uncertainties beyond the outermost prediction, where the grid ends: 1e-15 is left."""
SAME = 1e-3
"""Predictions that agree within so much of the uncertainty are one: bits change by less than
1e-6."""
MOST_CELLS = 40_000_000
"""Numbers held at once."""
APART = 2.0 * TAIL + 4.0
"""Predictions that lie farther apart are told apart for sure, however far: so many uncertainties
stand for all of that."""
MOST_STEPS = 2_000_000
"""Points of the grid at most; where it would have more, the uncertainty is taken as larger."""


@dataclass(frozen=True, slots=True)
class Told:
    """What a measurement would tell.

    Attributes
    ----------
    bits : float
        Of the suspects.
    label_bits : float
        Of the label.
    wrong : float
        Chance that the label which weighs most after the reading is not the true one.
    """

    bits: float
    label_bits: float
    wrong: float


def told_by_measuring(weights: Floats, means: Floats, u: float, labels: Labels) -> Told:
    """Information of a reading with standard uncertainty u.

    Parameters
    ----------
    weights : (N,) ndarray
        Of the suspects; they add up to 1.
    means : (N, Q) ndarray
        What a suspect predicts: Q values of equal weight, for what is not known of the part.
    u : float
        In the unit of the means.
    labels : (N,) ndarray of int, from 0
    """
    count = int(labels.max()) + 1
    kept = weights > 0.0
    centres, weight, label = _merged(weights[kept], means[kept], u, labels[kept])
    centres = closer(centres, APART * u)
    u = max(u, float(np.ptp(centres)) * STEPS / MOST_STEPS)
    step = u / STEPS
    first = np.floor(centres.min(axis=1) / step - TAIL * STEPS).astype(np.int64)
    reach = int(np.ceil((np.ptp(centres, axis=1)).max() / step + 2.0 * TAIL * STEPS)) + 2
    origin = int(first.min())
    length = int(first.max()) - origin + reach
    by_label = np.zeros((count, length))
    inner = 0.0
    block = max(1, MOST_CELLS // (reach * centres.shape[1]))
    for a in range(0, len(centres), block):
        b = slice(a, a + block)
        at = first[b, None] + np.arange(reach)
        z = (at[:, None, :] * step - centres[b, :, None]) / u
        density = np.exp(-0.5 * z * z).mean(axis=1)
        density /= u * np.sqrt(2.0 * np.pi)
        inner += float(weight[b] @ _entropy(density, step))
        cell = label[b, None] * length + at - origin
        by_label += np.bincount(
            cell.ravel(), (weight[b, None] * density).ravel(), count * length
        ).reshape(count, length)
    of_label = by_label.sum(axis=1) * step
    outer = float(_entropy(by_label.sum(axis=0), step))
    # H(Y given label), the density of each label made to 1.
    given = float(_entropy(by_label, step).sum() + of_label @ _log2(of_label))
    wrong = 1.0 - largest(by_label, step)
    return Told(max(outer - inner, 0.0), max(outer - given, 0.0), max(wrong, 0.0))


def told_by_asking(weights: Floats, chances: Floats, labels: Labels) -> Told:
    """Information of a reading that is yes or no.

    Parameters
    ----------
    weights : (N,) ndarray
        Of the suspects; they add up to 1.
    chances : (N,) ndarray
        That it says yes, errors of the reading included.
    labels : (N,) ndarray of int, from 0
    """
    answers = np.stack([weights * chances, weights * (1.0 - chances)])
    by_label = np.stack([np.bincount(labels, row).astype(np.float64) for row in answers])
    bits, label_bits = (_of_table(table) for table in (answers, by_label))
    return Told(bits, label_bits, max(1.0 - float(by_label.max(axis=1).sum()), 0.0))


def wrong_now(weights: Floats, labels: Labels) -> float:
    """Chance that the label which weighs most now is not the true one."""
    return max(1.0 - float(np.bincount(labels, weights).max()), 0.0)


def entropy(weights: Floats) -> float:
    """What is not known, in bits: -sum p log2 p.

    Examples
    --------
    >>> import numpy as np
    >>> entropy(np.full(8, 0.125))
    3.0
    """
    return max(-float(weights @ _log2(weights)), 0.0)


def largest(densities: Floats, step: float) -> float:
    """Integral of the largest of some functions on a grid (L, G); it has a kink where another is.

    The sum over the grid is right to the second order of its step (Euler and Maclaurin) once the
    corner between two points is taken off, and a twelfth of the change of slope is added.
    """
    top = densities.argmax(axis=0)
    at = np.flatnonzero(top[1:] != top[:-1])
    one, other = top[at], top[at + 1]
    before = densities[one, at] - densities[other, at]
    after = densities[other, at + 1] - densities[one, at + 1]
    both = before + after
    corner = np.divide(before * after, both, out=np.zeros_like(both), where=both > 0.0)
    return float(densities.max(axis=0).sum() + (both / 12.0 - 0.5 * corner).sum()) * step


def _of_table(joint: Floats) -> float:
    """Mutual information of rows and columns of a table of chances."""
    both = entropy(joint.ravel())
    return max(entropy(joint.sum(axis=0)) + entropy(joint.sum(axis=1)) - both, 0.0)


def _entropy(density: Floats, step: float) -> Floats:
    return np.asarray(-(density * _log2(density)).sum(axis=-1) * step)


def _log2(values: Floats) -> Floats:
    """Logarithm; 0 where the value is 0, whose product with it is 0."""
    return np.log2(values, out=np.zeros_like(values), where=values > 0.0)


def closer(values: Floats, most: float) -> Floats:
    """The same values in the same order, with no gap between two neighbours above a limit."""
    known, place = np.unique(values, return_inverse=True)
    moved = np.concatenate([[0.0], np.cumsum(np.minimum(np.diff(known), most))])
    return np.asarray(moved[place.reshape(values.shape)])


def _merged(
    weights: Floats, means: Floats, u: float, labels: Labels
) -> tuple[Floats, Floats, Labels]:
    """Suspects of equal prediction and label as one: (D, Q) means, weights, labels."""
    key = np.concatenate([np.round(means / (SAME * u)), labels[:, None]], axis=1)
    _, first, number = np.unique(key, axis=0, return_index=True, return_inverse=True)
    weight = np.bincount(number.ravel(), weights).astype(np.float64)
    return means[first], weight, labels[first]
