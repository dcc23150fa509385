"""What the result says of the finished shape: stock on its machined faces, what has moved.

In: nothing. Out: dataclasses whose fields are the keys of the JSON.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

from clearance.result.keys import told
from clearance.result.passage import Point

Inside = Literal["yes", "no", "undetermined"]
Datum = Literal["below", "above"]


@dataclass(frozen=True)
class MovedResult:
    """What lies beside its place in the finished shape."""

    name: Annotated[str, told("of the port or opening; of a piece of the part, what it is")]
    where_mm: Annotated[Point | None, told("centre of a port as drawn; null of a piece", "mm")]
    height_mm: Annotated[
        float | None, told("z from which on a piece reaches up, or down; null of a port", "mm")
    ]
    low_mm: Annotated[
        Point, told("least along x, y and z of the platform, over all that is possible", "mm")
    ]
    high_mm: Annotated[Point, told("greatest of each", "mm")]


@dataclass(frozen=True)
class StockResult:
    """The finished shape made from the part, clamped by one datum."""

    datum: Annotated[
        Datum, told("clamped by what was built before the event, or by what was built after it")
    ]
    inside: Annotated[Inside, told("whether its machined faces lie in the metal")]
    stock_low_mm: Annotated[
        float | None,
        told(
            "least stock along a machined face's normal, over all that is possible; less than 0: "
            "the face stands out of the metal by so much; null without a machined face",
            "mm",
        ),
    ]
    stock_high_mm: Annotated[float | None, told("the greatest that it may be", "mm")]
    where_mm: Annotated[Point | None, told("where the least of them is, as the part stands", "mm")]
    lacking_low_mm2: Annotated[
        float, told("area of machined faces under which the metal lies too low", "mm2")
    ]
    lacking_high_mm2: Annotated[float, told("the greatest that is possible", "mm2")]
    moved: Annotated[
        tuple[MovedResult, ...], told("ports and pieces of the part that lie beside their place")
    ]


@dataclass(frozen=True)
class FinishedResult:
    """The finished shape, against the part as the event left it."""

    file: Annotated[str, told("its name, without its folder")]
    datum: Annotated[Datum | None, told("the datum that the case gives; null: both count")]
    inside: Annotated[
        Inside,
        told("by that datum; without one undetermined where the two differ. It decides no row"),
    ]
    tolerance_mm: Annotated[
        float, told("so far the two meshes may differ where they are one face", "mm")
    ]
    nominal_stock_mm: Annotated[
        float | None, told("least stock in the nominal part; null without a machined face", "mm")
    ]
    by_datum: Annotated[tuple[StockResult, ...], told("below, then above; empty: see why")]
    why: Annotated[str, told("why it cannot be told; else empty")]
