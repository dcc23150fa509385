"""Every suspect against the readings: predictions, likelihoods, what excludes.

In: a part that is read, suspects, readings. Out: `Weighed`. What a reading should be is `readings`'
to say; here every suspect is asked, those that leave the same part once.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from clearance.case.readings import ReadingTable
from clearance.case.suspected import Suspect, as_stray
from clearance.causes.losses import Losses
from clearance.predicted.slabs import Event, Gate
from clearance.readings.forward import Forward
from clearance.readings.likelihood import at_nodes, log_likelihood, misfit, of_untold, off
from clearance.readings.prediction import Absent, Chance, Measured, Prediction, hull
from clearance.readings.shapes import Names
from clearance.readings.unknowns import Unknowns
from clearance.result import Result
from clearance.system.once import once
from clearance.verdict.other_event import unknown_of
from clearance.verdict.prepared import Checked, Progress, silent

Floats = NDArray[np.float64]
Events = tuple[Event, ...]
Pairs = list[tuple[ReadingTable, Prediction]]

KELVIN_NODES = 5
"""Nodes of the range of cooling (Gauss and Legendre), at least: low parts fall by a tenth of a
millimetre over it. Tall ones have one for half an uncertainty, as far as `MOST_NODES` goes."""
MOST_NODES = 4_000
"""Of cooling and of what else is unknown of the part, together."""
KEPT, MOST_KEPT = 12, 200
"""Values, of equal weight, that stand for all a suspect predicts for a reading not made yet: more
where its uncertainty is small against that."""


@dataclass(frozen=True, eq=False)
class Weighed:
    """What the readings say of every suspect.

    Attributes
    ----------
    parts : tuple of int, N of them
        Equal numbers for suspects that leave the same part.
    predictions : list of list of Prediction, for each part, then for each reading
    log_likelihood : (N,) ndarray
        Minus infinity where something was measured that the suspect does not leave.
    off : (N, R) ndarray
        Standard uncertainties off its prediction; infinite where there should be nothing; 0 of
        readings that only weigh.
    """

    parts: tuple[int, ...]
    predictions: list[list[Prediction]]
    log_likelihood: Floats
    off: Floats


class Scales:
    """Weighs the suspects of one case.

    Parameters
    ----------
    checked : Checked
    suspects : sequence of Suspect
    stray : int
        Number of the stray sheet that each replaces.
    """

    def __init__(
        self,
        checked: Checked,
        suspects: Sequence[Suspect],
        stray: int,
        progress: Progress = silent,
    ):
        self.checked, self.suspects, self.stray = checked, suspects, stray
        self.forward = Forward(checked)
        self.unknowns: Unknowns = self.forward.unknowns
        self.progress = progress
        self._names = Names()
        self._named: dict[tuple[str, float], int] = {}
        self.events = [self._events(one) for one in suspects]
        numbers: dict[object, int] = {}
        self.parts = tuple(
            numbers.setdefault(self._left(events), len(numbers)) for events in self.events
        )
        self.firsts = [self.parts.index(n) for n in range(len(numbers))]

    def weighed(self, readings: Sequence[ReadingTable]) -> Weighed:
        """What some readings say of every suspect."""
        told = [[self._predict(n, one) for one in readings] for n in self._said("readings of")]
        return self._compared(readings, told)

    def with_losses(
        self, weighed: Weighed, readings: Sequence[ReadingTable], losses: Losses
    ) -> Weighed:
        """The same with pressure losses, which are told only once suspects have been checked."""
        told = [
            [
                losses.predict(part, self.events[self.firsts[part]], reading)
                if reading.kind == "pressure_loss"
                else known
                for reading, known in zip(readings, row, strict=True)
            ]
            for part, row in enumerate(weighed.predictions)
        ]
        return self._compared(readings, told)

    def _compared(self, readings: Sequence[ReadingTable], told: list[list[Prediction]]) -> Weighed:
        logs = np.array([log_likelihood(self._pairs(readings, row), self.unknowns) for row in told])
        logs += of_untold(readings, told, self.unknowns)
        away = np.array([[self._off(r, p) for r, p in zip(readings, row, strict=True)]
                         for row in told]).reshape(len(told), len(readings))  # fmt: skip
        index = np.array(self.parts)
        return Weighed(self.parts, told, logs[index], away[index])

    def misfit(
        self, number: int, readings: Sequence[ReadingTable], weighed: Weighed
    ) -> tuple[float, int]:
        """Chi-squared of the measured readings for one suspect, and how many they are."""
        row = weighed.predictions[self.parts[number]]
        return misfit(self._pairs(readings, row), self.unknowns)

    def look_closer(self, result: Result) -> None:
        """Tell balls and crossings more closely from here on, by a check of the case."""
        self.forward = Forward(self.checked, result)
        self.forward.trapped_g = 0.0  # that of this one event: of others nothing is told

    # ---- what is not made yet -------------------------------------------------------------------

    def foreseen(
        self, numbers: Sequence[int], one: ReadingTable, shares: Sequence[Floats]
    ) -> tuple[Floats | None, Floats | None]:
        """What some suspects predict for a reading that is not made: means and chances.

        Parameters
        ----------
        numbers : sequence of M
        one : ReadingTable
        shares : sequence of M arrays (K, Q)
            As `shares` gives them.

        Returns
        -------
        means : (M, KEPT) ndarray or None
            nan where there is nothing to measure.
        chances : (M,) ndarray or None
            Both None where nothing is told.
        """
        found = {self.parts[n]: n for n in numbers}
        told = {part: self._predict(n, one) for part, n in found.items()}
        row = [told[self.parts[n]] for n in numbers]
        if any(isinstance(p, Chance) for p in row):
            return None, np.array([p.told if isinstance(p, Chance) else 0.5 for p in row])
        if not any(isinstance(p, Measured) for p in row):
            return None, None
        if not all(isinstance(p, Measured | Absent) for p in row):
            return None, None
        u = one.u or math.inf
        spans = [p.span(self.unknowns) for p in row if isinstance(p, Measured)]
        widest = max(high - low for low, high in spans)
        count = int(min(max(KEPT, math.ceil(widest / u)), MOST_KEPT))
        means = np.full((len(row), count), np.nan)
        for n, (p, share) in enumerate(zip(row, shares, strict=True)):
            if isinstance(p, Measured):
                means[n] = _kept(*self._values(p, share, count), count)
        return means, None

    def shares(
        self, numbers: Sequence[int], readings: Sequence[ReadingTable], weighed: Weighed
    ) -> list[Floats]:
        """Weights of cooling and nodes after the readings, for some suspects: (K, Q) each."""
        known: dict[int, Floats] = {}
        for part in {self.parts[n] for n in numbers}:
            pairs = self._pairs(readings, weighed.predictions[part])
            rows = [at_nodes(pairs, replace(self.unknowns, kelvin=(k, k))) for k in self._kelvin[0]]
            logs = np.array(rows) + np.log(self._kelvin[1])[:, None]
            share = np.exp(logs - logs.max())
            known[part] = share / share.sum()
        return [known[self.parts[n]] for n in numbers]

    @once
    def _kelvin(self) -> tuple[Floats, Floats]:
        """Nodes of the range of cooling and their weights."""
        low, high = self.unknowns.kelvin
        if high <= low:
            return np.array([low]), np.array([1.0])
        tall = float(self.checked.bodies.bounds[1, 2]) - self.checked.platform_z
        falls = self.unknowns.per_mm_kelvin * tall * (high - low)
        finest = min((r.u for r in self.checked.case.reading if r.u), default=math.inf)
        most = max(KELVIN_NODES, MOST_NODES // self.unknowns.count)
        count = int(min(max(KELVIN_NODES, math.ceil(2.0 * falls / finest)), most))
        at, weight = np.polynomial.legendre.leggauss(count)
        return 0.5 * (low + high) + 0.5 * (high - low) * at, 0.5 * weight

    def _values(self, told: Measured, share: Floats, count: int) -> tuple[Floats, Floats]:
        """Values that may be read and their weights, those of a range at some places in it."""
        fall = told.per_kelvin * self._kelvin[0][:, None]
        middle, half = 0.5 * (told.low + told.high), 0.5 * (told.high - told.low)
        if not half.any():
            return (middle - fall).ravel(), share.ravel()
        within = (2.0 * np.arange(count) + 1.0) / count - 1.0
        values = [middle + at * half - fall for at in within]
        return np.concatenate(values).ravel(), np.tile(share / count, (count, 1)).ravel()

    # ---- suspects -------------------------------------------------------------------------------

    def _events(self, one: Suspect) -> tuple[Events, ...]:
        """The event of a suspect, once for each way in which something of it is not known."""
        strays = list(self.checked.case.stray)
        if one.cause == "mesh":
            del strays[self.stray]
        else:
            strays[self.stray] = as_stray(strays[self.stray], one)
        unknown = unknown_of(self.checked, replace(self.checked.case, stray=tuple(strays)))
        return tuple(dict.fromkeys(variant.events or () for variant in unknown.variants))

    def _left(self, every: tuple[Events, ...]) -> object:
        """A key that is equal where events leave the same part."""
        return tuple(
            (
                event.stray,
                event.bottom,
                event.rise,
                event.shift,
                event.plane,
                event.unknown_slices,
                tuple(self._slice("plane" if event.plane else "melted", z) for z in event.slices),
            )
            if event is not None
            else None
            for events in every
            for event in (*events, None)
        )

    def _slice(self, body: str, z: float) -> int:
        """Number of a section; equal ones have one number."""
        key = (body, z)
        if key not in self._named:
            nominal = self.checked.whole.predict(())
            self._named[key] = self._names.of(nominal.outline(Gate(body, z, (0.0, 0.0))))
        return self._named[key]

    def _said(self, what: str) -> Sequence[int]:
        self.progress(f"{what} {len(self.suspects)} suspects, {len(self.firsts)} of them unlike")
        return self.firsts

    def _predict(self, number: int, reading: ReadingTable) -> Prediction:
        found = [self.forward.predict(events, reading) for events in self.events[number]]
        return hull(found, self.unknowns)

    def _pairs(self, readings: Sequence[ReadingTable], row: Sequence[Prediction]) -> Pairs:
        return list(zip(readings, row, strict=True))

    def _off(self, reading: ReadingTable, told: Prediction) -> float:
        if isinstance(told, Absent):
            return math.inf
        if isinstance(told, Measured):
            return off(reading, *told.span(self.unknowns))
        return 0.0


def _kept(values: Floats, weights: Floats, count: int) -> Floats:
    """A few values of equal weight in place of many: means of equal parts of the distribution."""
    order = np.argsort(values, kind="stable")
    values, weights = values[order], weights[order]
    ends = np.concatenate([[0.0], np.cumsum(weights)])
    ends /= ends[-1]
    area = np.concatenate([[0.0], np.cumsum(values * np.diff(ends))])
    at = np.interp(np.linspace(0.0, 1.0, count + 1), ends, area)
    return np.asarray(np.diff(at) * count)
