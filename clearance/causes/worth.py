"""What one more measurement is worth in money: beside the recommendation, never in it.

In: weights of the suspects after the readings, what each would take and what that costs, what
each predicts for a measurement. Out: the expected saving. Pure numbers; nothing is assumed that
the case does not give.

The value of a test is min_a E c(a) - sum_y P(y) min_a E[c(a) given y]: what is expected to be spent
on the cheapest thing to do now, less what is expected after the reading. That of knowing all is the
most that any test can be worth.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from clearance.case.tables import CostsTable
from clearance.causes.information import APART, MOST_STEPS, STEPS, TAIL, closer, largest
from clearance.disposition.costs import chance_each
from clearance.result.causes import Worth

Floats = NDArray[np.float64]

USED = ("use-as-is", "not-affected")
REWORKED = ("rework", "repair")
USE, REWORK, REBUILD = "use-as-is", "rework", "rebuild"
SAME = 1e-3
"""Predictions that agree within so much of the uncertainty are one."""
AT_ONCE = 50_000
"""Predictions whose densities are held at once."""


@dataclass(frozen=True)
class Taken:
    """What a suspect would take: its recommendation, and drilling operations where it has a plan.

    `operations` is None where nothing is drilled, or their number is not known.
    """

    recommendation: str
    operations: int | None = None


@dataclass(frozen=True, eq=False)
class Choices:
    """What can be done, and what each costs if a suspect is the event.

    Attributes
    ----------
    names : tuple of A str
    costs : (A, N) ndarray, in the currency of the case
    """

    names: tuple[str, ...]
    costs: Floats

    def now(self, weights: Floats) -> tuple[str, float]:
        """The cheapest thing to do now, and what is expected to be spent on it."""
        expected = self.costs @ weights
        n = int(expected.argmin())
        return self.names[n], float(expected[n])

    def all_known(self, weights: Floats) -> float:
        """What knowing the event is worth: no measurement is worth more."""
        return max(self.now(weights)[1] - float(self.costs.min(axis=0) @ weights), 0.0)

    def by_asking(self, weights: Floats, chances: Floats) -> float:
        """What a reading that says yes with some chance of each suspect (N,) is worth."""
        told = [self.costs @ (weights * share) for share in (chances, 1.0 - chances)]
        return max(self.now(weights)[1] - sum(float(one.min()) for one in told), 0.0)

    def by_measuring(self, weights: Floats, means: Floats, u: float) -> float:
        """What a reading with standard uncertainty u is worth; means (N, Q) as of `information`."""
        columns, label = np.unique(self.costs, axis=1, return_inverse=True)
        densities, step = _densities(weights, means, u, label.ravel(), columns.shape[1])
        after = -largest(-(columns @ densities), step)
        return max(self.now(weights)[1] - after, 0.0)


def choices(table: CostsTable, taken: Sequence[Taken]) -> Choices | str:
    """What can be done and what it costs of each suspect; else why that cannot be told.

    A part that is used as it is and conforms costs nothing more; one that does not costs
    `wrong_release`. A rework costs what it and its inspection cost, and a new part where not all
    operations end well, or where no rework would do. A new part costs what it costs.
    """
    words = {one.recommendation for one in taken}
    unknown = words - {*USED, *REWORKED, "scrap"}
    if unknown:
        return "what some of the suspects would take is undetermined"
    counts = [one.operations for one in taken if one.recommendation in REWORKED]
    if any(count is None for count in counts):
        return "how many operations the rework of some suspects takes is not known"
    if words & {*USED} and words - {*USED} and table.wrong_release is None:
        return (
            "[costs] wrong_release is not given: what it costs if a part that does not conform is "
            "used as it is"
        )
    rows = {REBUILD: [table.rebuild] * len(taken)}
    if words & {*REWORKED}:
        most = max(count or 0 for count in counts)
        rows[REWORK] = [_reworked(table, one, most) for one in taken]
    if words & {*USED}:
        wrong = table.wrong_release or 0.0
        rows[USE] = [0.0 if one.recommendation in USED else wrong for one in taken]
    return Choices(tuple(rows), np.array(list(rows.values()), np.float64))


def worth_now(found: Choices, weights: Floats) -> Worth:
    """The cheapest thing to do now, and what knowing all is worth."""
    name, cost = found.now(weights)
    return Worth(cheapest_now=name, cost_now=cost, all_known=found.all_known(weights), why_not="")


def not_told(why: str) -> Worth:
    """The same where it cannot be told."""
    return Worth(cheapest_now=None, cost_now=None, all_known=None, why_not=why)


def _reworked(table: CostsTable, one: Taken, most: int) -> float:
    """What a rework costs if a suspect is the event; `most` operations where it needs none."""
    spent = table.rework + (table.inspection or 0.0)
    if one.recommendation == "scrap":
        return spent + table.rebuild
    operations = one.operations if one.recommendation in REWORKED else most
    well = chance_each(table)[0] ** (operations or most)
    return spent + (1.0 - well) * table.rebuild


def _densities(
    weights: Floats, means: Floats, u: float, label: NDArray[np.intp], count: int
) -> tuple[Floats, float]:
    """Weighted densities of a reading by label, (L, G) on an even grid, and its step."""
    means = closer(means, APART * u)
    u = max(u, float(np.ptp(means)) * STEPS / MOST_STEPS)
    each = np.repeat(weights / means.shape[1], means.shape[1])
    centre = np.round(means.ravel() / (SAME * u))
    of = np.repeat(label, means.shape[1])
    key, number = np.unique(np.stack([centre, of]), axis=1, return_inverse=True)
    each = np.bincount(number.ravel(), each).astype(np.float64)
    centre, of = key[0] * SAME * u, key[1].astype(np.int64)
    step, reach = u / STEPS, int(2.0 * TAIL * STEPS) + 2
    first = np.floor(centre / step - TAIL * STEPS).astype(np.int64)
    first, origin = first - first.min(), float(first.min())
    length = int(first.max()) + reach
    found = np.zeros(count * length)
    for a in range(0, len(centre), AT_ONCE):
        b = slice(a, a + AT_ONCE)
        at = first[b, None] + np.arange(reach)
        z = ((at + origin) * step - centre[b, None]) / u
        density = each[b, None] * np.exp(-0.5 * z * z) / (u * np.sqrt(2.0 * np.pi))
        found += np.bincount((of[b, None] * length + at).ravel(), density.ravel(), len(found))
    return found.reshape(count, length), step
