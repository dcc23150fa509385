"""The sweep's result: what every passage would be at every height.

In: rows of states and numbers. Out: a `Sweep` and its JSON; `report.sweep` puts it in words.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from itertools import chain
from typing import TYPE_CHECKING, Any

from clearance.result import PROGRAM, Inputs, State, as_json
from clearance.result.sweep import Reopen, SweepResult, SweptPassage
from clearance.result.whole import named

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

NOT_NEEDED: Reopen = "not-needed"
POSSIBLE: Reopen = "possible"
IMPOSSIBLE: Reopen = "impossible"


@dataclass(frozen=True)
class PassageHeights:
    """One passage at every height; lists as long as the sweep's heights.

    Attributes
    ----------
    name : str
    required_mm : float
    state : tuple of State
    clear_diameter_mm, low_mm, high_mm : tuple of float
        Middle of the bracket, and the bracket that holds the true value.
    open_fraction : tuple of float
        Smallest of the passage's crossings there; 1 where it does not cross the sheet.
    reopen : tuple of Reopen or None
        "not-needed", "possible" or "impossible"; None if it was not asked for.
    drilled_from : tuple of tuple of str
        The openings that a plan enters, where one is possible.
    openings_mm : dict
        Height above the platform of every opening of the nominal part.
    """

    name: str
    required_mm: float
    state: tuple[State, ...]
    clear_diameter_mm: tuple[float, ...]
    low_mm: tuple[float, ...]
    high_mm: tuple[float, ...]
    open_fraction: tuple[float, ...]
    reopen: tuple[Reopen, ...] | None = None
    drilled_from: tuple[tuple[str, ...], ...] = ()
    openings_mm: dict[str, float] = field(default_factory=dict)


@dataclass(frozen=True, eq=False)
class SweepArrays:
    """A sweep of P passages and H heights.

    Attributes
    ----------
    passages : tuple of str
        Names of the P passages.
    required_mm : (P,) ndarray of float, mm
    heights_mm : (H,) ndarray of float, mm above the platform
    state : (P, H) ndarray of str
    clear_diameter_mm, low_mm, high_mm : (P, H) ndarray of float, mm
        Middle and ends of the bracket that holds the clear diameter.
    open_fraction : (P, H) ndarray of float
    """

    passages: tuple[str, ...]
    required_mm: NDArray[np.float64]
    heights_mm: NDArray[np.float64]
    state: NDArray[np.str_]
    clear_diameter_mm: NDArray[np.float64]
    low_mm: NDArray[np.float64]
    high_mm: NDArray[np.float64]
    open_fraction: NDArray[np.float64]


@dataclass(frozen=True)
class Sweep:
    """All heights of one stray sheet.

    Attributes
    ----------
    part : str
    stray : int
        Number of the stray table that moves.
    case_heights_mm : (float, float)
        Height of that sheet in the case, at least and at most.
    heights_mm : tuple of float
        Above the platform, as in [[stray]] height.
    not_looked_at : tuple of str
        What a check judges and a sweep does not: an open passage says nothing of it.
    apart_mm : float or None
        How far apart the heights are, where that is more than a layer: between them nothing was
        computed. None: every layer was looked at.
    """

    part: str
    pitch_mm: float
    stray: int
    case_heights_mm: tuple[float, float]
    heights_mm: tuple[float, ...]
    passages: tuple[PassageHeights, ...]
    notices: tuple[str, ...] = ()
    not_looked_at: tuple[str, ...] = ()
    inputs: Inputs | None = None
    apart_mm: float | None = None

    def passage(self, name: str) -> PassageHeights:
        """Give one passage by its name.

        Raises
        ------
        ClearanceError
            There is no such passage; the text names the nearest.

        Examples
        --------
        >>> from clearance import sweep
        >>> sweep(case, first=4.0, last=5.0, step=0.5).passage("bore").required_mm
        5.5
        """
        found: PassageHeights = named(name, {one.name: one for one in self.passages}, self.part)
        return found

    def arrays(self) -> SweepArrays:
        """All numbers as numpy arrays, passages by heights.

        Returns
        -------
        SweepArrays

        Examples
        --------
        >>> from clearance import sweep
        >>> found = sweep(case, first=4.0, last=5.0, step=0.5).arrays()
        >>> (found.low_mm < found.required_mm[:, None]).all()
        np.True_
        """
        import numpy as np

        rows = self.passages
        return SweepArrays(
            passages=tuple(p.name for p in rows),
            required_mm=np.array([p.required_mm for p in rows]),
            heights_mm=np.array(self.heights_mm),
            state=np.array([[s.value for s in p.state] for p in rows]),
            clear_diameter_mm=np.array([p.clear_diameter_mm for p in rows]),
            low_mm=np.array([p.low_mm for p in rows]),
            high_mm=np.array([p.high_mm for p in rows]),
            open_fraction=np.array([p.open_fraction for p in rows]),
        )

    def as_json(self) -> SweepResult:
        """Plain values with the keys of the contract."""
        return {
            "schema": 1,
            "part": self.part,
            "pitch_mm": self.pitch_mm,
            "stray": self.stray,
            "case_height_mm": self.case_heights_mm,
            "heights_mm": _rounded(self.heights_mm),
            "apart_mm": self.apart_mm,
            "passages": [_passage_json(p) for p in self.passages],
            "notices": list(self.notices),
            "not_looked_at": list(self.not_looked_at),
            "inputs": as_json(self.inputs),
            "program": PROGRAM,
        }


def _passage_json(p: PassageHeights) -> SweptPassage:
    return {
        "name": p.name,
        "state": list(p.state),
        "clear_diameter_mm": _rounded(p.clear_diameter_mm),
        "low_mm": _rounded(p.low_mm),
        "high_mm": _rounded(p.high_mm),
        "open_fraction": _rounded(p.open_fraction),
        "reopen": None if p.reopen is None else list(p.reopen),
        "drilled_from": None if p.reopen is None else [list(one) for one in p.drilled_from],
    }


def _rounded(values: Iterable[float]) -> list[float]:
    return [round(value, 6) for value in values]


def joined(pieces: Sequence[Sweep]) -> Sweep:
    """One sweep of pieces: of each passage, in the order given, the heights one after another."""
    by_name: dict[str, list[tuple[tuple[float, ...], PassageHeights]]] = {}
    for piece in pieces:
        for passage in piece.passages:
            by_name.setdefault(passage.name, []).append((piece.heights_mm, passage))
    notices = dict.fromkeys(chain.from_iterable(piece.notices for piece in pieces))
    rows = next(iter(by_name.values()))
    return replace(
        pieces[0],
        heights_mm=tuple(chain.from_iterable(heights for heights, _ in rows)),
        passages=tuple(_joined([p for _, p in rows]) for rows in by_name.values()),
        notices=tuple(notices),
    )


def _joined(pieces: list[PassageHeights]) -> PassageHeights:
    def all_of(name: str) -> Any:
        return tuple(chain.from_iterable(getattr(piece, name) for piece in pieces))

    names = ("state", "clear_diameter_mm", "low_mm", "high_mm", "open_fraction", "drilled_from")
    reopen = None if pieces[0].reopen is None else all_of("reopen")
    return replace(pieces[0], reopen=reopen, **{name: all_of(name) for name in names})


# ---- rows and JSON -----------------------------------------------------------------------------


def runs(values: Sequence[str]) -> list[tuple[int, int, str]]:
    """First and last number and value of every row of equal values."""
    found: list[tuple[int, int, str]] = []
    for n, value in enumerate(values):
        if found and found[-1][2] == value:
            found[-1] = (found[-1][0], n, value)
        else:
            found.append((n, n, value))
    return found


def written(result: Sweep) -> str:
    """The sweep as JSON text."""
    return json.dumps(result.as_json(), allow_nan=False, ensure_ascii=False) + "\n"
