"""What the result says of a passage's pressure loss.

In: nothing. Out: typed dicts, whose keys are those of the JSON.
"""

from __future__ import annotations

from typing import Annotated, Literal

from typing_extensions import TypedDict

from clearance.result.keys import told

FlowVerdict = Literal["met", "not met", "undetermined", "not given"]


class Shares(TypedDict):
    """What the pressure loss of one end of the bracket is made of."""

    friction_kpa: Annotated[float, told("friction along the walls", "kPa")]
    bends_kpa: Annotated[float, told("bends", "kPa")]
    steps_kpa: Annotated[float, told("changes of section and short necks", "kPa")]
    entrance_kpa: Annotated[float, told("the inlet's edge", "kPa")]
    exit_kpa: Annotated[float, told("kinetic energy lost at the outlet", "kPa")]
    restrictions_kpa: Annotated[float, told("crossings with stray sheets", "kPa")]


class RestrictionResult(TypedDict):
    """One crossing as the flow meets it."""

    loss_coefficient: Annotated[
        float | None,
        told("on the mean velocity in the passage; null where it is sealed (infinite)", "1"),
    ]
    pressure_loss_kpa: Annotated[
        float | None,
        told("of this crossing alone at the whole rate; null where no form holds", "kPa"),
    ]
    form: Annotated[str, told("the published form used")]
    in_range: Annotated[bool, told("the form is used within the range it is given for")]
    note: Annotated[str, told("what range is left, and to which side the value errs")]


class Scenario(TypedDict):
    """Pressure loss of the passage in one condition: a bracket, its middle and its shares."""

    pressure_loss_kpa: Annotated[
        float | None, told("middle of the bracket; null where nothing flows or bounds it", "kPa")
    ]
    low_kpa: Annotated[float | None, told("low end; null where nothing flows", "kPa")]
    high_kpa: Annotated[
        float | None, told("high end; null where nothing flows or bounds it", "kPa")
    ]
    friction_kpa: Annotated[float | None, told("share of the middle: friction", "kPa")]
    bends_kpa: Annotated[float | None, told("share of the middle: bends", "kPa")]
    steps_kpa: Annotated[float | None, told("share of the middle: changes of section", "kPa")]
    entrance_kpa: Annotated[float | None, told("share of the middle: entrance", "kPa")]
    exit_kpa: Annotated[float | None, told("share of the middle: exit", "kPa")]
    restrictions_kpa: Annotated[float | None, told("share of the middle: crossings", "kPa")]
    least: Annotated[Shares | None, told("shares of the low end")]
    greatest: Annotated[Shares | None, told("shares of the high end")]
    restrictions: Annotated[
        list[RestrictionResult], told("the crossings, in the order of the passage's `crossings`")
    ]
    said: Annotated[str, told("why a number is null; empty where none is")]


class Reynolds(TypedDict):
    """Reynolds numbers along the passage, on the hydraulic diameter."""

    least: Annotated[float | None, told("the least along the passage", "1")]
    greatest: Annotated[float | None, told("the greatest along the passage", "1")]


class FlowRequirement(TypedDict):
    """Whether the allowed pressure loss is kept."""

    max_pressure_loss_kpa: Annotated[
        float | None, told("allowed by the case; null if it gives none", "kPa")
    ]
    nominal: Annotated[FlowVerdict, told("verdict on the nominal part")]
    predicted: Annotated[FlowVerdict, told("verdict over all that the case leaves possible")]
    after_rework: Annotated[
        FlowVerdict | None, told("verdict on the drilled part; null without a drilling plan")
    ]


class FlowResult(TypedDict):
    """Pressure loss from inlet to outlet."""

    rate_l_min: Annotated[float, told("flow rate, of the case", "L/min")]
    velocity_basis: Annotated[str, told("which velocity the loss coefficients stand on")]
    reynolds: Annotated[Reynolds, told("Reynolds numbers of the nominal passage")]
    roughness_mm: Annotated[
        list[float], told("sand-grain roughness of the walls, least and greatest", "mm")
    ]
    nominal: Annotated[Scenario, told("the nominal part")]
    predicted: Annotated[Scenario, told("the predicted part of the first variant")]
    bad_end: Annotated[Scenario, told("the most that the case leaves possible")]
    good_end: Annotated[Scenario, told("the least that the case leaves possible")]
    after_rework: Annotated[Scenario | None, told("the drilled part; null without a drilling plan")]
    requirement: Annotated[FlowRequirement, told("the allowed loss, and whether it is kept")]
    assumptions: Annotated[list[str], told("what the numbers rest on, in words")]
