"""What the result says of readings: each as read, as predicted and as in the nominal part.

In: nothing. Out: dataclasses whose fields are the keys of the JSON.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

from clearance.result.keys import told

Says = Literal["as-predicted", "as-nominal", "both", "neither"]
Ends = tuple[float | None, float | None]


@dataclass(frozen=True)
class ReadingResult:
    """A reading of the case, answered."""

    kind: Annotated[str, told("kind of reading, as in the case")]
    where: Annotated[str, told("stray sheet, passage, port or height that it is of")]
    passage: Annotated[
        str | None, told("passage that it is of, by its port too; null where it is of the part")
    ]
    stage: Annotated[str, told("found, emptied or drilled")]
    value: Annotated[
        float | bool | str | None,
        told(
            "what was read, heights as they were read and not the mesh's z; true or false, or "
            "passes or stops, where it is no number",
            "`unit`",
        ),
    ]
    unit: Annotated[str, told("of value, predicted and nominal; empty for yes and no")]
    u: Annotated[
        float | None,
        told("standard uncertainty with what its group shares; null where it has none", "`unit`"),
    ]
    predicted: Annotated[
        Ends | None,
        told(
            "least and greatest over all that the case leaves possible; an end is null where "
            "nothing bounds it; null where there is no such thing or nothing can be told",
            "`unit`",
        ),
    ]
    nominal: Annotated[Ends | None, told("the same of the nominal part", "`unit`")]
    says: Annotated[Says, told("which of the two it agrees with")]
    off_u: Annotated[
        float | None,
        told("standard uncertainties that it lies outside the predicted range; null without `u`"),
    ] = None
    contradicts: Annotated[
        bool, told("it contradicts the event as told, by itself or with others that weigh")
    ] = False
    excluded_by: Annotated[
        int | None,
        told(
            "number, from 1, of another reading that cannot be right together with this one, "
            "whatever the event is; null where there is none"
        ),
    ] = None
    conforms: Annotated[
        bool | None,
        told("of stage drilled: what is required is met; null where it does not tell"),
    ] = None
    note: Annotated[str, told("what else there is to say of it; mostly empty")] = ""
