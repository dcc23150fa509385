"""Readings in words: what they are called, what was read, and how they contradict an event.

In: `ReadingResult`s. Out: pieces of sentences.
"""

from __future__ import annotations

from collections.abc import Sequence

from clearance.result.readings import Ends, ReadingResult
from clearance.verdict.numbers import counted, given, least, most, near

MOST_NAMED = 3
"""Readings that a sentence names; more are counted."""
WORDS = {
    "pin": "gauge pin",
    "seen": "stray metal looked for",
    "layers_logged": "layers in the log",
    "photo": "photograph of a layer",
}
TOLD_WRONG = "the part contradicts the event as told"
MOST_PAIRS = 2
"""Pairs of readings that exclude each other that a sentence names."""
READ_AGAIN = "of two such readings one is wrong: read again"
WAY = "clearance causes says which events explain what was read"
OTHERS = (
    "the case holds other events possible; this is of the one that it tells alone: clearance "
    "causes says what the others would mean"
)
"""Where the case has [suspected]: no check of one event stands for all of them."""


def called(reading: ReadingResult) -> str:
    """What a reading is, and of what."""
    word = WORDS.get(reading.kind, reading.kind.replace("_", " "))
    return f"{word}, {reading.where}" if reading.where else word


def read(reading: ReadingResult) -> str:
    """What was read."""
    value = reading.value
    if isinstance(value, bool):
        return "seen" if value else "not seen"
    if value is None or isinstance(value, str):
        return value or "nothing"
    if reading.kind == "scan":
        value = round(value, 3) + 0.0
    u = "" if not reading.u else f" (u {given(float(f'{reading.u:.2g}'))})"
    return f"{given(value)} {reading.unit}".rstrip() + u


def expected(reading: ReadingResult, ends: Ends | None) -> str:
    """A predicted or nominal range; what it means where it is no number."""
    if ends is None:
        return "not told" if reading.note else "none"
    low, high = ends
    if reading.kind == "ball":
        return _ball(low, high)
    if isinstance(reading.value, bool):
        return "there" if low == 1.0 else "not there" if high == 0.0 else "may be there"
    if low is None:
        return "through"
    if high is None and reading.kind == "pin":
        return f"{least(low)} {reading.unit} or through"
    if high is None:
        return f"{least(low)} {reading.unit} or more"
    if reading.kind == "photo":
        return f"slice {low:g}" if low == high else f"slice {low:g} to {high:g}"
    if reading.kind == "layers_logged":
        return given(low) if low == high else f"{given(low)} to {given(high)}"
    if most(high) == least(low) or high - low < 0.005:
        return f"{near(0.5 * (low + high))} {reading.unit}"
    return f"{least(low)} to {most(high)} {reading.unit}"


def _ball(low: float | None, high: float | None) -> str:
    if high == 0.0:
        return "none passes"
    passes = "" if low is None or low <= 0.0 else f"{least(low)} mm passes"
    stops = "" if high is None else f"above {most(high)} mm none does"
    return ", ".join(word for word in (passes, stops) if word) or "not told"


def contradiction(readings: Sequence[ReadingResult]) -> str:
    """Which readings contradict the event as told; empty if none does."""
    against = [reading for reading in readings if reading.contradicts]
    if not against:
        return ""
    said = [_against(reading) for reading in against[:MOST_NAMED]]
    if len(against) > MOST_NAMED:
        said.append(f"and {counted(len(against) - MOST_NAMED, 'more reading')}")
    return f"{TOLD_WRONG}: {'; '.join(said)}"


def exclusions(readings: Sequence[tuple[int, ReadingResult]]) -> str:
    """Which readings exclude each other, whatever the event is; empty if none do.

    Parameters
    ----------
    readings : sequence of (int, ReadingResult)
        Their numbers in the case, from 1.
    """
    by_number, pairs = dict(readings), []
    for n, one in readings:
        if one.excluded_by is not None and (one.excluded_by, n) not in pairs:
            pairs.append((n, one.excluded_by))
    said = [
        f"readings {a} and {b} exclude each other, whatever the event: "
        f"{_as_read(by_number[a])}, but {_as_read(by_number[b])}"
        for a, b in pairs[:MOST_PAIRS]
    ]
    if len(pairs) > MOST_PAIRS:
        said.append(f"and {counted(len(pairs) - MOST_PAIRS, 'more such pair')}")
    return f"{'; '.join(said)}; {READ_AGAIN}" if said else ""


def _as_read(reading: ReadingResult) -> str:
    return f"{called(reading)}: {read(reading)}"


def _against(reading: ReadingResult) -> str:
    off = "" if not reading.off_u else f", {reading.off_u:.1f} standard uncertainties off"
    predicted = expected(reading, reading.predicted)
    return f"{_as_read(reading)}, predicted {predicted}{off}"
