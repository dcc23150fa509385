"""Whether a drill could reopen a passage, for all heights of a sheet.

In: a passage's check and its state at every height. Out: a `Way` for each height. Reach is
searched, and the plan re-checked, at some heights, and taken over between like answers.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from clearance.drilling.reach import Reach
from clearance.predicted.slabs import Event
from clearance.predicted.variants import Variant
from clearance.result import State
from clearance.result.sweep import Reopen
from clearance.sweeps.looked_at import At, rows_of
from clearance.sweeps.result import IMPOSSIBLE, NOT_NEEDED, POSSIBLE
from clearance.verdict.passage_check import PassageCheck

Floats = NDArray[np.float64]
REACH_MM = 5.0
"""Reach is searched at least so often, and halved down to a layer where the answer changes."""


@dataclass(frozen=True)
class Way:
    """Whether a drill could reopen a passage at one height, and from which openings."""

    answer: Reopen
    openings: tuple[str, ...] = ()


class Drills:
    """Reach at all heights of a passage: searched at some, taken over between like ones."""

    def __init__(
        self,
        check: PassageCheck,
        variants: list[tuple[tuple[Event, ...], int]],
        bottoms: Floats,
        rows: list[At],
    ):
        self.check, self.variants = check, variants
        self.bottoms, self.rows = bottoms, rows
        self.found: dict[int, Way] = {}

    def all(self) -> list[Way]:
        """An answer for every height."""
        for first, last in rows_of([at.state is not State.OPEN for at in self.rows]):
            self._row(first, last)
        return [self.found.get(n, Way(NOT_NEEDED)) for n in range(len(self.rows))]

    def _row(self, first: int, last: int) -> None:
        """One row of heights that are not open; its ends may be near the requirement."""
        step = float(self.bottoms[last] - self.bottoms[first]) / REACH_MM
        marks = np.unique(np.linspace(first, last, max(math.ceil(step), 1) + 1).round())
        numbers = marks.astype(int).tolist()
        for n in numbers:
            self._look(n)
        for c, d in pairwise(numbers):
            self._between(c, d)

    def _between(self, a: int, b: int) -> None:
        """Halve until what lies between two heights has the answer of both."""
        if b - a < 2:
            return
        if self.found[a] == self.found[b]:
            for n in range(a + 1, b):
                self.found[n] = self.found[a]
            return
        middle = (a + b) // 2
        self._look(middle)
        self._between(a, middle)
        self._between(middle, b)

    def _look(self, n: int) -> None:
        """Search and re-check a plan as `check` does."""
        if n in self.found:
            return
        self.found[n] = Way(IMPOSSIBLE)
        if self.check.nominal.state is not State.OPEN:
            return  # drilling does not mend a design
        there = [Variant(self._at(n, *variant), "") for variant in self.variants]
        # The state is known: only the crossings are needed.
        predicted = self.check.predicted(there[0].events, self.check.checked.pitch_mm)
        crossed = self.check.crossed(predicted, there[0])
        rework = Reach(self.check, crossed, there[1:], explain=False).reached().rework
        if rework is not None:
            openings = dict.fromkeys(stroke.from_ for stroke in rework.drilling)
            self.found[n] = Way(POSSIBLE, tuple(openings))

    def _at(self, n: int, events: tuple[Event, ...], own: int) -> tuple[Event, ...]:
        """The events of a variant with the one that moves at a height."""
        moved = replace(events[own], bottom=float(self.bottoms[n]))
        return (*events[:own], moved, *events[own + 1 :])
