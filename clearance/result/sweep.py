"""What `sweep` says of every height.

In: nothing. Out: typed dicts, whose keys are those of the JSON.
"""

from __future__ import annotations

from typing import Annotated, Literal

from typing_extensions import TypedDict

from clearance.result.keys import told
from clearance.result.passage import State
from clearance.result.whole import Inputs

Reopen = Literal["not-needed", "possible", "impossible"]


class SweptPassage(TypedDict):
    """One passage; every list is as long as `heights_mm`."""

    name: Annotated[str, told("name, of the case")]
    state: Annotated[list[State], told("verdict of `check` at that height")]
    clear_diameter_mm: Annotated[list[float], told("middle of its bracket", "mm")]
    low_mm: Annotated[list[float], told("a ball of this size surely passes", "mm")]
    high_mm: Annotated[list[float], told("no larger ball passes", "mm")]
    open_fraction: Annotated[
        list[float], told("smallest of its crossings; 1 where it does not cross the sheet", "1")
    ]
    reopen: Annotated[
        list[Reopen] | None,
        told("whether a straight drill reopens it there; null without --reach"),
    ]
    drilled_from: Annotated[
        list[list[str]] | None, told("ports that a plan enters; null without --reach")
    ]


class SweepResult(TypedDict):
    """All that `clearance sweep` says of one stray sheet."""

    schema: Annotated[int, told("1; a new number would mean that a key has changed")]
    part: Annotated[str, told("name of the part")]
    pitch_mm: Annotated[float, told("resolution: distance of the columns", "mm")]
    stray: Annotated[int, told("number of the stray sheet that moves, from 0")]
    case_height_mm: Annotated[
        tuple[float, float],
        told("its height in the case above the platform, at least and at most", "mm"),
    ]
    heights_mm: Annotated[
        list[float], told("heights looked at, above the platform, as in [[stray]] height", "mm")
    ]
    apart_mm: Annotated[
        float | None,
        told(
            "how far apart they are, where that is more than a layer: nothing is computed "
            "between them; null: every layer was looked at",
            "mm",
        ),
    ]
    passages: Annotated[list[SweptPassage], told("the passages, in the case's order")]
    notices: Annotated[list[str], told("what the user should know besides")]
    not_looked_at: Annotated[
        list[str],
        told("what `check` judges and a sweep does not: an open passage says nothing of it"),
    ]
    inputs: Annotated[Inputs | None, told("what it was computed from; null if that is not known")]
    program: Annotated[str, told("name and version of the program")]
