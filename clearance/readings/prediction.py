"""What a reading should be after an event: three kinds of answer.

In: nothing. Out: the kinds, which `forward` makes and `likelihood` reads.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from clearance.readings.unknowns import Unknowns

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False, slots=True)
class Measured:
    """What is measured with an uncertainty, at each node of what is unknown of the part.

    Attributes
    ----------
    low, high : (Q,) ndarray
        In the unit of the reading's value; the same where it is one number.
    per_kelvin : float
        The value falls by so much for each kelvin that the part has cooled since it was built.
    """

    low: Floats
    high: Floats
    per_kelvin: float = 0.0

    def span(self, unknowns: Unknowns) -> tuple[float, float]:
        """Least and greatest value over all that is unknown of the part."""
        colder = [self.per_kelvin * kelvin for kelvin in unknowns.kelvin]
        return float(self.low.min()) - max(colder), float(self.high.max()) - min(colder)


@dataclass(frozen=True, slots=True)
class Chance:
    """What can be wrong, or be missed: it weighs, and contradicts only together with others.

    Attributes
    ----------
    told : float
        How likely what was found is after this event.
    most : float
        How likely it is after the event that fits it best.
    agrees : bool or None
        Whether it is what the event leads one to expect; None where the event does not tell.
    low, high : float
        What was expected, as a number where it is one; else 0 for no and 1 for yes.
    """

    told: float
    most: float
    agrees: bool | None
    low: float
    high: float


@dataclass(frozen=True, slots=True)
class Absent:
    """What was measured is not there after this event: a rim, of an event that leaves none."""


@dataclass(frozen=True, slots=True)
class Untold:
    """Nothing can be said of this reading, and why; it weighs nothing."""

    why: str


Prediction = Measured | Chance | Absent | Untold


def yes_or_no(found: bool, there: bool | None, detection: float, false_call: float) -> Chance:
    """Something that is looked for, and seen or not.

    Parameters
    ----------
    found : bool
    there : bool or None
        Whether it is there after the event; None where that is not known.
    detection, false_call : float
        Chance that it is seen where it is, and where it is not.
    """
    seen, unseen = (detection, false_call) if found else (1.0 - detection, 1.0 - false_call)
    told = {True: seen, False: unseen, None: 0.5 * (seen + unseen)}[there]
    low, high = (0.0, 1.0) if there is None else (float(there), float(there))
    return Chance(told, max(seen, unseen), None if there is None else found is there, low, high)


def right_or_wrong(agrees: bool | None, wrong: float, low: float, high: float) -> Chance:
    """A result that is right but for a chance; `low` to `high`: what was expected."""
    told = {True: 1.0 - wrong, False: wrong, None: 0.5}[agrees]
    return Chance(told, max(1.0 - wrong, wrong), agrees, low, high)


def hull(found: Sequence[Prediction], unknowns: Unknowns) -> Prediction:
    """One answer over several events: whatever any of them allows."""
    first = next((one for one in found if isinstance(one, Untold)), found[0])
    if isinstance(first, Untold) or len(found) == 1:
        return first
    measured = [one for one in found if isinstance(one, Measured)]
    if measured:
        ends = [one.span(unknowns) for one in measured]
        low, high = min(low for low, _ in ends), max(high for _, high in ends)
        at = 0.0 * unknowns.weight
        return Measured(at + low, at + high)
    chances = [one for one in found if isinstance(one, Chance)]
    if not chances:
        return Absent()
    best = max(chances, key=lambda one: one.told)
    agrees = best.agrees if len({one.agrees for one in chances}) == 1 else None
    return replace(
        best,
        agrees=agrees,
        low=min(one.low for one in chances),
        high=max(one.high for one in chances),
    )
