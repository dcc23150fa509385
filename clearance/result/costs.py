"""What the result says of money and days, beside the recommendation.

In: nothing. Out: typed dicts, whose keys are those of the JSON.
"""

from __future__ import annotations

from typing import Annotated, Literal

from typing_extensions import TypedDict

from clearance.result.keys import told

Cheaper = Literal["rework", "rebuild"]


class Flip(TypedDict):
    """An input whose other value, all else as it is, makes the other way the cheaper one."""

    what: Annotated[str, told("the key of [costs]; chance stands for one drilling operation")]
    given: Annotated[float, told("its value in the case, or what good and of give")]
    flips_at: Annotated[float, told("the value at which both cost the same")]


class CostsResult(TypedDict):
    """Expected cost and days of the rework and of a new part; the currency is the case's."""

    operations: Annotated[int, told("drilling operations that all have to end well")]
    chance_each: Annotated[float, told("that one ends well: given, or (good + 1) / (of + 2)", "1")]
    chance_each_low: Annotated[
        float | None, told("its lower limit, 5 %, from good and of; null where it is given", "1")
    ]
    chance_all: Annotated[float, told("that all end well", "1")]
    rework_cost: Annotated[
        float, told("expected: rework, inspection, and a new part where it does not end well")
    ]
    rework_cost_low_chance: Annotated[
        float | None, told("the same at the lower limit of the chance; null without one")
    ]
    rework_cost_most: Annotated[float, told("where it does not end well")]
    rebuild_cost: Annotated[float, told("of a new part at once")]
    cheaper: Annotated[Cheaper, told("which of the two is expected to cost less")]
    break_even_all: Annotated[
        float,
        told("chance of all from which on the rework costs less; above 1: never", "1"),
    ]
    break_even_each: Annotated[float, told("the same of one operation", "1")]
    rework_days: Annotated[float | None, told("expected; null where days are not given", "days")]
    rework_days_most: Annotated[float | None, told("where it does not end well", "days")]
    rebuild_days: Annotated[float | None, told("of a new part at once", "days")]
    flips: Annotated[list[Flip], told("inputs that flip it, the nearest first")]
