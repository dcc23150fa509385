"""What a sweep is asked for: which sheet moves, through which heights, in which pieces.

In: a case, and words of the command line. Out: a `Wanted` and its `Piece`s. Nothing is
computed here, so that a process that only hands out pieces need not load what computes.
"""

from __future__ import annotations

from dataclasses import dataclass

from clearance.case.read import Case
from clearance.errors import CaseError

PARTS = 8
"""Pieces of a passage's heights; the result hardly depends on it, and not on who does them."""


@dataclass(frozen=True)
class Wanted:
    """Which heights to look at, mm above the platform; None: all layers of the part."""

    first: float | None = None
    last: float | None = None
    step: float | None = None
    reach: bool = False


@dataclass(frozen=True)
class Piece:
    """A part of the heights of one passage: `part` of `PARTS`, from below."""

    passage: int
    part: int


def pieces(case: Case) -> list[Piece]:
    """All pieces of a case's sweep."""
    return [Piece(n, part) for n in range(len(case.passage)) for part in range(PARTS)]


def moving(case: Case) -> int:
    """Number of the stray table that a sweep moves: the first that has a height."""
    for number, stray in enumerate(case.stray):
        if stray.shape != "mesh":
            return number
    found = "only a stray sheet of shape mesh" if case.stray else "no [[stray]]"
    raise CaseError(
        f"{case.path.name}: a sweep moves a stray sheet through all heights; found {found}, "
        "expected a [[stray]] of shape layer or plane with height and layers"
    )
