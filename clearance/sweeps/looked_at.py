"""What is known of a height of a sweep.

In: -. Out: `At`, what is told of it; `Cut`, its event and the bound of its section.
"""

from __future__ import annotations

from dataclasses import dataclass

from clearance.passages.levels import Face
from clearance.predicted.slabs import Event
from clearance.result import State


@dataclass(frozen=True)
class At:
    """What is known of a passage with the sheet at one height.

    `exact`: judged as `check` does, not bounded by sections and neighbours.
    """

    state: State
    low_mm: float
    high_mm: float
    open_fraction: float
    exact: bool = False


@dataclass(eq=False)
class Cut:
    """One height: the faces of the sheet, and what they alone say."""

    events: tuple[Event, ...]
    levels: list[Face]
    fraction: float
    crosses: bool
    touched: bool
    high_mm: float
    """Bound from sections; 0 if they are sealed and the ends come apart."""
    best: Face | None
    """The face that gives the bound."""
    one_sided: bool
    """Some way stays on one side of every face, or too little is known to tell."""
    hidden: bool = False
    """A stopper hides void at its height, of which sections tell nothing."""


def rows_of(unknown: list[bool]) -> list[tuple[int, int]]:
    """First and last number of every row of heights that are not known."""
    rows: list[tuple[int, int]] = []
    for n, is_unknown in enumerate(unknown):
        if is_unknown and (not rows or rows[-1][1] != n - 1):
            rows.append((n, n))
        elif is_unknown:
            rows[-1] = (rows[-1][0], n)
    return rows
