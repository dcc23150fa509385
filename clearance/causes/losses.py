"""Pressure losses of suspects, where a check or sections give a bracket.

In: outcomes of suspects, and results of those that were checked. Out: a prediction for a
pressure-loss reading, or why there is none: a loss is never guessed from that of another event.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np

from clearance.case.readings import ReadingTable
from clearance.causes.states import Outcome
from clearance.readings.answer import pressure_loss
from clearance.readings.forward import Events, Forward
from clearance.readings.prediction import Absent, Measured, Prediction, Untold
from clearance.result import PassageResult, Result, State

NOT_CHECKED = Untold(
    "its loss is told only where it was checked itself, seals the passage, or leaves it untouched"
)
UNBOUNDED = Untold("nothing bounds its loss from above")


class Losses:
    """Pressure losses of the suspects of one case.

    Parameters
    ----------
    forward : Forward
    names : sequence of str
        Of the passages, in the order of the outcomes' states.
    parts : sequence of int, N of them
        Equal numbers for suspects that leave the same part.
    found : mapping of int to Outcome
        By number of the suspect.
    results : mapping of int to Result
        Of those that were checked; one at least.
    """

    def __init__(
        self,
        forward: Forward,
        names: Sequence[str],
        parts: Sequence[int],
        found: Mapping[int, Outcome],
        results: Mapping[int, Result],
    ):
        self.forward, self.names = forward, list(names)
        self._outcome = {parts[n]: one for n, one in found.items()}
        self._result = {parts[n]: one for n, one in results.items()}
        self._any = next(iter(results.values()))

    def predict(self, part: int, every: Sequence[Events], reading: ReadingTable) -> Prediction:
        """What a pressure loss should be of one part.

        Parameters
        ----------
        part : int
        every : sequence of Events
            Its events, once for each way in which something of them is not known.
        reading : ReadingTable
        """
        nominal = pressure_loss(self._passage(self._any, reading), reading)[1]
        if isinstance(nominal, Untold):
            return nominal
        if part in self._result:
            checked = pressure_loss(self._passage(self._result[part], reading), reading)[0]
            return self._whole(checked)
        outcome = self._outcome.get(part)
        if outcome is None:
            return NOT_CHECKED
        if outcome.states[self.names.index(reading.passage or "")] is State.BLOCKED:
            return Absent()  # nothing flows
        if all(self.forward.untouched(events, reading.passage or "") for events in every):
            return self._whole(nominal)
        return NOT_CHECKED

    @staticmethod
    def _passage(result: Result, reading: ReadingTable) -> PassageResult:
        return next(p for p in result.passages if p.name == reading.passage)

    def _whole(self, told: Prediction) -> Prediction:
        """A bracket at every node of what is unknown of the part."""
        if not isinstance(told, Measured):
            return told
        if not math.isfinite(float(told.high.max())):
            return UNBOUNDED
        every = np.ones(self.forward.unknowns.count)
        return Measured(told.low * every, told.high * every)
