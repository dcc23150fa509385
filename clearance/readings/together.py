"""Readings of one thing together: which ones exclude each other, and what they weigh jointly.

In: readings, and what each should be. Out: pairs that cannot both be right, whatever the event is;
likelihoods over the one true state that all readings of a thing share. A passage has one clear
diameter, a port one depth for each pin, the log one number of layers: where readings of it exclude
each other, no event explains them all, and only what is beyond that speaks against an event.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np
import scipy
from numpy.typing import NDArray

from clearance.case.readings import MEASURED, ReadingTable
from clearance.evidence.pins import READING_MM
from clearance.readings.prediction import Chance, Prediction
from clearance.readings.spans import holds, spans

Floats = NDArray[np.float64]
Pair = tuple[ReadingTable, Prediction]
Thing = tuple[object, ...]

THROUGH = 1e9
"""Depth of a pin that goes through; a number, so that differences are numbers too."""


def thing(reading: ReadingTable) -> Thing:
    """What a reading is of: equal for readings that share one true state."""
    one = reading
    at: dict[str, Thing] = {
        "ball": (one.passage,),
        "pin": (one.port, one.held),
        "seen": (one.passage, one.crossing, one.height),
        "rim_seen": (one.event,),
        "layers_logged": (),
    }
    other: Thing = (one.event, one.direction, one.datum, one.passage, one.height, one.rate)
    other = (*other, one.sisters, one.at, one.over, one.recesses)
    return (one.kind, one.stage, *at.get(one.kind, other))


def things(readings: Sequence[ReadingTable]) -> dict[Thing, list[int]]:
    """Numbers, from 0, of the readings of each thing."""
    found: dict[Thing, list[int]] = {}
    for n, reading in enumerate(readings):
        found.setdefault(thing(reading), []).append(n)
    return found


def depth_room_mm(reading: ReadingTable) -> float:
    """How far a pin's depth may be read off, mm."""
    return max(READING_MM, 3.0 * (reading.u or READING_MM))


# ---- what excludes ---------------------------------------------------------------------------


def excluded_by(
    readings: Sequence[ReadingTable], u: Callable[[ReadingTable], float], k: float
) -> list[int | None]:
    """For each reading the number, from 0, of another one that cannot be right together with it.

    Parameters
    ----------
    readings : sequence of ReadingTable
    u : callable
        Standard uncertainty of a measured reading by itself.
    k : float
        Standard uncertainties of a difference beyond which two measured readings exclude.
    """
    found: list[int | None] = [None] * len(readings)
    for (kind, *_), members in things(readings).items():
        if kind in ("seen", "rim_seen") or len(members) < 2:
            continue  # not seen is not gone
        some = [readings[n] for n in members]
        apart = (
            _photos(some)
            if kind == "photo"
            else _measured(some, u, k)
            if kind in MEASURED
            else _go_no_go(some)
        )
        for n, row in zip(members, apart, strict=True):
            found[n] = members[int(row.argmax())] if row.max() > 0.0 else None
    return found


def _measured(some: Sequence[ReadingTable], u: Callable[[ReadingTable], float], k: float) -> Floats:
    """(N, N): by how much two values are farther apart than their uncertainties allow."""
    value = np.array([_level(one) for one in some])
    square = np.array([u(one) for one in some]) ** 2
    room = k * np.sqrt(square[:, None] + square)
    return np.asarray(np.abs(value[:, None] - value) - room)


def _go_no_go(some: Sequence[ReadingTable]) -> Floats:
    """(N, N): by how much a thicker ball or pin went farther than a thinner one."""
    size, level = np.array([_size(one) for one in some]), np.array([_level(one) for one in some])
    room = np.array([_room(one) for one in some])
    over = level[:, None] - level - (room[:, None] + room)
    over = np.where(size[:, None] >= size, over, -np.inf)  # the row's is as thick or thicker
    return np.asarray(np.maximum(over, over.T))


def _photos(some: Sequence[ReadingTable]) -> Floats:
    """(N, N): 1 where two pictures of one layer can be of no slice in common, else -1."""

    def shared(one: ReadingTable, other: ReadingTable) -> bool:
        ends = [end for span in spans((*one.slices, *other.slices)) for end in span]
        return any(holds(one.slices, end) and holds(other.slices, end) for end in ends)

    return np.array([[-1.0 if shared(a, b) else 1.0 for b in some] for a in some])


def _size(reading: ReadingTable) -> float:
    return reading.diameter or 0.0


def _level(reading: ReadingTable) -> float:
    """What was found as a number that falls with the size: depth, through or not, a value."""
    if reading.kind == "ball":
        return float(reading.result == "passes")
    if reading.kind == "pin" and reading.result == "passes":
        return THROUGH
    return float((reading.found if reading.kind == "seen" else reading.value) or 0.0)


def _room(reading: ReadingTable) -> float:
    return depth_room_mm(reading) if reading.kind == "pin" else 0.0


# ---- what they weigh -------------------------------------------------------------------------


def against(pairs: Sequence[Pair]) -> float:
    """How much likelier some state makes the readings of one thing than the event does, logarithm.

    Parameters
    ----------
    pairs : sequence of (ReadingTable, Prediction)
        Readings of one thing that only weigh; those of which nothing is told count for nothing.

    Notes
    -----
    The likelihood is the largest over the true state: over any, and over those that the event
    leaves possible.
    """
    known = [(r, told) for r, told in pairs if isinstance(told, Chance)]
    if not known:
        return 0.0
    table = _Table(known)
    best, told = (table.largest(ways) for ways in (np.ones_like(table.possible), table.possible))
    return max(best - told, 0.0)


def log_likelihood(pairs: Sequence[tuple[ReadingTable, Chance]]) -> float:
    """Logarithm of the likelihood of the readings of one thing, its possible states alike.

    Of balls and of what is looked for, whose states are few; each state weighs the same.
    """
    table = _Table(pairs)
    return table.summed(table.log) - table.summed(np.zeros_like(table.log))


class _Table:
    """Sizes of balls or pins, thin to thick, against what each may do, most to least.

    A thicker one never goes farther than a thinner one, so that a state of the thing is a way
    through the table that never rises.
    """

    def __init__(self, known: Sequence[tuple[ReadingTable, Chance]]):
        sizes = sorted({_size(r) for r, _ in known})
        self.levels = self._levels_of(known)
        shape = (len(sizes), len(self.levels))
        self.log, self.possible = np.zeros(shape), np.ones(shape, np.bool_)
        row_of = {size: n for n, size in enumerate(sizes)}
        for reading, told in known:
            row = row_of[_size(reading)]
            low, high = _ends(reading, told)
            self.possible[row] &= (self.levels >= low) & (self.levels <= high)
            self.log[row] += np.log(self._chance(reading))

    @staticmethod
    def _levels_of(known: Sequence[tuple[ReadingTable, Chance]]) -> Floats:
        kind = known[0][0].kind
        if kind in ("ball", "seen", "rim_seen"):
            return np.array([1.0, 0.0])
        ends = [end for reading, told in known for end in _ends(reading, told)]
        if kind == "photo":
            ends += [float(end) for r, _ in known for span in spans(r.slices) for end in span]
            return np.unique(ends)[::-1]
        return np.unique([*ends, *(_level(r) for r, _ in known)])[::-1]

    def _chance(self, reading: ReadingTable) -> Floats:
        """Of what was found, at each level."""
        if reading.kind in ("seen", "rim_seen"):
            seen = np.where(self.levels == 1.0, reading.detection, reading.false_call)
            return np.asarray(seen if _level(reading) else 1.0 - seen)
        right = np.abs(self.levels - _level(reading)) <= _room(reading)
        if reading.kind == "photo":
            right = np.array([holds(reading.slices, level) for level in self.levels])
        return np.where(right, 1.0 - reading.wrong, reading.wrong)

    def largest(self, possible: NDArray[np.bool_]) -> float:
        """Logarithm of the likelihood of the likeliest possible state."""
        rows = np.where(possible, self.log, -np.inf)
        ways = rows[0]
        for row in rows[1:]:
            ways = np.maximum.accumulate(ways) + row
        found = float(ways.max())
        # Depths that are equal but for rounding may rise: each size by itself then.
        return found if math.isfinite(found) else float(rows.max(axis=1).sum())

    def summed(self, log: Floats) -> float:
        """Logarithm of the sum over all possible states."""
        rows = np.where(self.possible, log, -np.inf)
        ways = rows[0]
        for row in rows[1:]:
            ways = np.logaddexp.accumulate(ways) + row
        return float(scipy.special.logsumexp(ways))


def _ends(reading: ReadingTable, told: Chance) -> tuple[float, float]:
    """Least and greatest level that the event leaves possible."""
    if reading.kind == "ball":
        return float(_size(reading) <= told.low), float(_size(reading) <= told.high)
    return min(told.low, THROUGH), min(told.high, THROUGH)
