"""What the result says of inspections: which method could see a crossing or a gap.

In: nothing. Out: a dataclass whose fields are the keys of the JSON.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

from clearance.result.keys import told

Target = Literal["crossing", "gap"]
Answer = Literal["yes", "ask", "no"]
Method = Literal[
    "radiograph-along",
    "radiograph-across",
    "tomography",
    "scope",
    "ball",
    "pin",
    "flow",
    "weighing",
    "ultrasound",
]


@dataclass(frozen=True)
class Inspection:
    """Whether one method could see one crossing or one unmelted gap, if it is as predicted."""

    target: Annotated[Target, told("a crossing that narrows or seals, or an unmelted gap")]
    passage: Annotated[str | None, told("name of the passage; null of a gap")]
    crossing: Annotated[
        int | None, told("number in the passage's `crossings`, from 0; null of a gap")
    ]
    gap: Annotated[int | None, told("number in `unmelted`, from 0; null of a crossing")]
    method: Annotated[Method, told("the method; docs/laboratory.md says what each rests on")]
    answer: Annotated[
        Answer,
        told("it could see it; only the laboratory can say; it could not. Never a proof of open"),
    ]
    numbers: Annotated[
        dict[str, float], told("what the answer rests on, by the names of docs/laboratory.md")
    ]
    set_up: Annotated[str, told("how to do it, or why it would show nothing, in words")]
