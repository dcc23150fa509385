"""How likely a set of readings is after an event, and how far off it lies.

In: readings and what each should be. Out: logarithms of likelihoods, numbers of standard
uncertainties. What is unknown of the whole part is integrated once over all its readings.

Bayes' rule for the use of likelihoods; standard uncertainty as in JCGM 100. A reading that should
lie anywhere between a and b has (Phi((b - y) / u) - Phi((a - y) / u)) / (b - a).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import NDArray

from clearance.case.readings import ReadingTable
from clearance.readings.prediction import Absent, Chance, Measured, Prediction, Untold
from clearance.readings.sisters import with_scatter
from clearance.readings.together import Thing, thing
from clearance.readings.together import log_likelihood as joint
from clearance.readings.unknowns import Unknowns

Floats = NDArray[np.float64]
Pair = tuple[ReadingTable, Prediction]

FALSE_ALARM = math.erfc(3.0 / math.sqrt(2.0))
"""0.27 %: how often a true event is contradicted by a whole set of readings, at most."""
MOST_RATIO = 100.0
"""Readings that only weigh contradict an event where they are jointly so many times likelier."""
JOINT = ("ball", "seen")
"""Kinds whose readings of one thing share a state that an event may leave open."""
NARROW = 1e-3
"""A range narrower than this share of the uncertainty is one number."""


def coverage(count: int) -> float:
    """How many standard uncertainties off contradict, in a set of so many measured readings.

    Shared errors change nothing: the chances that single readings are off add up at most.

    Examples
    --------
    >>> [round(coverage(n), 2) for n in (1, 5, 20)]
    [3.0, 3.46, 3.82]
    """
    return float(-scipy.special.ndtri(0.5 * FALSE_ALARM / max(count, 1)))


def own_uncertainty(reading: ReadingTable) -> float:
    """Standard uncertainty of a value by itself, without what its group shares."""
    assert reading.u is not None
    if reading.kind == "mass":
        return with_scatter(reading.u, reading.sisters)
    return reading.u


def uncertainty(reading: ReadingTable) -> float:
    """Standard uncertainty of a value with everything in it."""
    return math.hypot(own_uncertainty(reading), reading.u_group or 0.0)


def off(reading: ReadingTable, low: float, high: float) -> float:
    """How many standard uncertainties a value lies outside a range; 0 within it."""
    value = number(reading)
    return max(0.0, low - value, value - high) / uncertainty(reading)


def number(reading: ReadingTable) -> float:
    """The value of a measured reading."""
    assert reading.value is not None
    return float(reading.value)


def log_likelihood(pairs: Sequence[Pair], unknowns: Unknowns) -> float:
    """Logarithm of the likelihood of readings after one event.

    Parameters
    ----------
    pairs : sequence of (ReadingTable, Prediction)
        Each reading with what it should be; those of which nothing is told count for nothing.
    unknowns : Unknowns
        Of the part: packing and melt depth node by node, cooling by its closed form.

    Returns
    -------
    float
        Minus infinity where something was measured that is not there after the event.
    """
    if any(isinstance(told, Absent) for _, told in pairs):
        return -math.inf
    return _weighed(pairs) + float(scipy.special.logsumexp(at_nodes(pairs, unknowns)))


def of_untold(
    readings: Sequence[ReadingTable],
    told: Sequence[Sequence[Prediction]],
    unknowns: Unknowns,
) -> Floats:
    """Logarithm of what measured readings weigh for the events of which they tell nothing.

    As much as for that of the others which they fit best: a density has a unit, and compared
    with nothing at all it would speak for or against an event by that unit alone.

    Parameters
    ----------
    readings : sequence of R
    told : sequence of N rows of R
        What each reading should be after each event.
    unknowns : Unknowns

    Returns
    -------
    (N,) ndarray
        0 for events of which every reading tells something.
    """
    measured = {n for row in told for n, one in enumerate(row) if isinstance(one, Measured)}
    silent = [
        tuple(n for n, one in enumerate(row) if n in measured and isinstance(one, Untold))
        for row in told
    ]

    def most(which: Sequence[int]) -> float:
        rows = [[(readings[n], row[n]) for n in which] for row in told]
        full = [row for row in rows if all(isinstance(one, Measured) for _, one in row)]
        if not full and len(which) > 1:  # no event is told of them all
            return sum(most((n,)) for n in which)
        return max(log_likelihood(row, unknowns) for row in full)

    known = {which: most(which) for which in set(silent)}
    return np.array([known[which] for which in silent])


def at_nodes(pairs: Sequence[Pair], unknowns: Unknowns) -> Floats:
    """The same of the measured readings alone at each node, its weight in it, (Q,)."""
    points, ranges = _parted(pairs)
    found = np.log(unknowns.weight)
    for reading, told in ranges:
        found = found + _log_range(reading, told)
    if points:
        found = found + _Points.of(points, unknowns.count).log_density(unknowns.kelvin)
    return np.asarray(found)


def _weighed(pairs: Sequence[Pair]) -> float:
    """Logarithm of the likelihood of what only weighs, readings of one state together.

    A rim that is gone is not seen by anyone, so that it counts once.
    """
    found: dict[Thing, list[tuple[ReadingTable, Chance]]] = {}
    for n, (reading, told) in enumerate(pairs):
        if isinstance(told, Chance):
            alone = reading.kind not in JOINT
            rim = ("rim", reading.event, reading.value)
            key = rim if reading.kind == "rim_seen" else (n,) if alone else thing(reading)
            found.setdefault(key, []).append((reading, told))
    total = 0.0
    for (kind, *_), some in found.items():
        first = some[0][1]
        total += math.log(first.told) if len(some) == 1 or kind == "rim" else joint(some)
    return total


def misfit(pairs: Sequence[Pair], unknowns: Unknowns) -> tuple[float, int]:
    """Chi-squared of measured readings where the unknowns fit them best, and how many they are."""
    if any(isinstance(told, Absent) for _, told in pairs):
        return math.inf, sum(isinstance(told, Measured | Absent) for _, told in pairs)
    points, ranges = _parted(pairs)
    at_nodes = np.zeros(unknowns.count)
    for reading, told in ranges:
        value = number(reading)
        outside = np.maximum(0.0, np.maximum(told.low - value, value - told.high))
        at_nodes += (outside / uncertainty(reading)) ** 2
    if points:
        at_nodes += _Points.of(points, unknowns.count).least_square(unknowns.kelvin)
    return float(at_nodes.min()), len(points) + len(ranges)


Told = tuple[ReadingTable, Measured]


def _parted(pairs: Sequence[Pair]) -> tuple[list[Told], list[Told]]:
    """Measured readings that should be one number, and those that should lie in a range."""
    measured = [(r, told) for r, told in pairs if isinstance(told, Measured)]
    points = [(r, m) for r, m in measured if np.array_equal(m.low, m.high)]
    kept = {id(m) for _, m in points}
    return points, [(r, m) for r, m in measured if id(m) not in kept]


def _log_range(reading: ReadingTable, told: Measured) -> Floats:
    """Logarithm of the density of a value that should lie in a range, at each node."""
    u, value = uncertainty(reading), number(reading)
    a, b = (told.low - value) / u, (told.high - value) / u
    width = b - a
    middle = -0.5 * (0.5 * (a + b)) ** 2 - 0.5 * math.log(2.0 * math.pi)
    wide = np.maximum(width, NARROW)
    spread = _log_between(a, a + wide) - np.log(wide)
    return np.asarray(np.where(width < NARROW, middle, spread) - math.log(u))


def _log_between(a: Floats, b: Floats) -> Floats:
    """Logarithm of the normal distribution between two places, far out too."""
    flip = a > 0.0
    low, high = np.where(flip, -b, a), np.where(flip, -a, b)
    return np.asarray(
        scipy.special.log_ndtr(high)
        + np.log1p(-np.exp(scipy.special.log_ndtr(low) - scipy.special.log_ndtr(high)))
    )


@dataclass(frozen=True, eq=False, slots=True)
class _Points:
    """Readings with one number each: residuals (Q, R), their fall with cooling, their covariance.

    In terms of the cooling x, the square is a x^2 + 2 b x + c at each node.
    """

    a: float
    b: Floats
    c: Floats
    log_norm: float

    @classmethod
    def of(cls, points: Sequence[Told], count: int) -> _Points:
        values = np.array([number(reading) for reading, _ in points])
        fall = np.array([told.per_kelvin for _, told in points])
        left = values - np.stack([told.low for _, told in points], axis=1).reshape(count, -1)
        columns = np.column_stack([fall, left.T])
        columns, log_det = whitened([reading for reading, _ in points], columns)
        fall, left = columns[:, 0], columns[:, 1:]
        log_norm = -log_det - 0.5 * len(values) * math.log(2.0 * math.pi)
        return cls(float(fall @ fall), fall @ left, (left**2).sum(axis=0), log_norm)

    def log_density(self, kelvin: tuple[float, float]) -> Floats:
        """Mean density over the range of cooling, at each node."""
        low, high = kelvin
        if self.a * (high - low) ** 2 < NARROW**2:
            x = 0.5 * (low + high)
            return self.log_norm - 0.5 * (self.a * x * x + 2.0 * self.b * x + self.c)
        root, at = math.sqrt(self.a), -self.b / self.a
        mass = _log_between(root * (low - at), root * (high - at))
        width = math.log(root * (high - low)) - 0.5 * math.log(2.0 * math.pi)
        return self.log_norm - 0.5 * (self.c - self.b**2 / self.a) + mass - width

    def least_square(self, kelvin: tuple[float, float]) -> Floats:
        """Least square within the range of cooling, at each node."""
        x = np.clip(-self.b / self.a, *kelvin) if self.a > 0.0 else np.full_like(self.b, kelvin[0])
        return np.asarray(np.maximum(self.a * x * x + 2.0 * self.b * x + self.c, 0.0))


def whitened(readings: Sequence[ReadingTable], columns: Floats) -> tuple[Floats, float]:
    """Values freed of their covariance, and the logarithm of the root of its determinant.

    Own errors u, and an error g that a group shares: with v = g / u it is I + v v' in units of u,
    whose inverse root is I - (1 - 1 / sqrt(1 + v'v)) v v' / v'v. No matrix is needed, so that a
    thousand readings cost no more than their number.

    Parameters
    ----------
    readings : sequence of R
    columns : (R, C) ndarray
    """
    u = np.array([own_uncertainty(reading) for reading in readings])
    columns, log_det = columns / u[:, None], float(np.log(u).sum())
    for members in _groups(readings):
        v = np.array([readings[n].u_group or 0.0 for n in members]) / u[members]
        square = float(v @ v)
        if square > 0.0:
            share = (1.0 - 1.0 / math.sqrt(1.0 + square)) / square
            columns[members] -= share * np.outer(v, v @ columns[members])
            log_det += 0.5 * math.log1p(square)
    return columns, log_det


def _groups(readings: Sequence[ReadingTable]) -> list[list[int]]:
    groups: dict[str, list[int]] = {}
    for n, reading in enumerate(readings):
        if reading.group is not None:
            groups.setdefault(reading.group, []).append(n)
    return list(groups.values())
