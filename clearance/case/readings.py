"""What was measured on the part: the [[reading]] tables as written, and what they must hold.

In: [[reading]] tables. Out: `ReadingTable` objects, and sentences for those that contradict
themselves. What a reading should be after the event is left to `readings`.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import Annotated, Any, Literal, NamedTuple

from pydantic import AfterValidator, BeforeValidator, Field

from clearance.axes import Direction, to_platform
from clearance.case.kinds import (
    AnyList,
    Coordinate,
    Name,
    NotNegative,
    Positive,
    Table,
    Text,
    key,
    refuse,
)
from clearance.case.machine_log import RangeText

Kind = Literal[
    "rim_seen",
    "rim_top",
    "rim_bottom",
    "rim_thickness",
    "rim_width",
    "step",
    "growth",
    "sheet_top",
    "sheet_bottom",
    "part_height",
    "mass",
    "ball",
    "pin",
    "pressure_loss",
    "open_area",
    "seen",
    "layers_logged",
    "photo",
]
Stage = Literal["found", "emptied", "drilled"]
Outcome = Literal["passes", "stops"]


def _not_zero(vector: tuple[float, ...]) -> tuple[float, ...]:
    if not any(vector):
        raise refuse("a direction, not the zero vector")
    return vector


def _two_or_three(value: object) -> tuple[object, ...]:
    if not isinstance(value, list | tuple) or len(value) not in (2, 3):
        raise refuse("two numbers, [x, y], or three, [x, y, z]")
    return tuple(value)


PlanDirection = Annotated[
    tuple[Coordinate, ...],
    BeforeValidator(_two_or_three),
    AfterValidator(_not_zero),
    Field(min_length=2, max_length=3),
]
PlanPlace = Annotated[
    tuple[Coordinate, ...],
    BeforeValidator(_two_or_three),
    Field(min_length=2, max_length=3),
]
LEAST_IN_PLAN = 1e-3
"""Of a direction's part along the build, at least, what lies in plan."""
Chance = Annotated[float, Field(gt=0, lt=1)]
Number = Annotated[int, Field(ge=1, le=100_000)]


class ReadingTable(Table):
    """[[reading]]: one thing that was measured, felt or seen on the part.

    After reading, a direction is (x, y) of the platform.
    """

    kind: Kind = key("What was measured; the next table says which keys each kind takes.")
    value: bool | Coordinate | None = key(
        "What was read; true or false for rim_seen, a whole number for layers_logged.",
        "mm, g, kPa, mm2",
        None,
        "required by most kinds",
    )
    u: Positive | None = key(
        "Standard uncertainty of the value (JCGM 100).",
        "as value",
        None,
        "required where something is measured; 0.2 mm for a pin",
    )
    datum: Literal["platform", "top"] = key(
        "What a height is measured from: `platform`, upward; `top`, downward from the part's top.",
        "",
        "platform",
    )
    group: Name | None = key(
        "Readings of one group share an error, such as the zero of one gauge.", "", None, "none"
    )
    u_group: Positive | None = key(
        "Standard uncertainty of the error that the group shares; the same in all of them.",
        "as value",
        None,
        "none",
    )
    stage: Stage = key(
        "What the reading is of: `found`, the part as it was found; `emptied`, after the powder "
        "was removed; `drilled`, after the work.",
        "",
        "found",
    )
    event: Number = key("Number of the stray sheet whose rim or step it is, counted from 1.", "", 1)
    direction: PlanDirection | None = key(
        "Direction in plan, [x, y] of the mesh, in which a rim or step was measured; [x, y, z] of "
        "the mesh where [part] has a build_direction.",
        "",
        None,
        "where a rim stands out farthest",
    )
    at: PlanPlace | None = key(
        "Place in plan, [x, y] of the mesh, at which a face of the sheet was measured; [x, y, z] "
        "of the mesh where [part] has a build_direction.",
        "mm",
        None,
        "required for a face of the sheet",
    )
    over: NotNegative | None = key(
        "What lies between the two faces that a growth or a face of the sheet was measured "
        "between, by the mesh: it shrinks as the part cools.",
        "mm",
        None,
        "required for a growth; of a face of the sheet its height",
    )
    recesses: Annotated[float, Field(ge=-1, le=1)] = key(
        "How often the recess of a face that looks up (powder packs) lowers the value: of a "
        "growth 0 where both faces look up, 1 where the lower one looks down; of a face of the "
        "sheet -1 where it is measured from a face that looks up.",
        "1",
        0.0,
    )
    sisters: Annotated[tuple[Positive, ...], BeforeValidator(AnyList)] = key(
        "Masses of parts of the same mesh from builds without this event, emptied as this one is.",
        "g",
        (),
    )
    passage: Name | None = key("Name of the passage.", "", None, "required where one is meant")
    port: Name | None = key(
        "Port that a pin was pushed into, such as `cooling inlet`.", "", None, "required for a pin"
    )
    diameter: Positive | None = key("Of the ball or pin.", "mm", None, "required for both")
    result: Outcome | None = key(
        "What ball or pin did: `passes` or `stops`; a pin that stops has its depth as value.",
        "",
        None,
        "required for a ball",
    )
    held: Literal["bore", "square"] = key(
        "How a pin was held: along the bore, or square to the port's plane.", "", "bore"
    )
    rate: Positive | None = key(
        "Flow at which the pressure loss was read.", "L/min", None, "flow's"
    )
    height: NotNegative | None = key(
        "Height above the platform, of an open area, of what was looked for, or of the underside "
        "of the layer pictured, as the machine stood.",
        "mm",
        None,
        "required for an open area and a photo",
    )
    slices: Annotated[tuple[RangeText, ...], BeforeValidator(AnyList)] = key(
        "Slices of the part that the picture can be of, as `clearance photo` found them, counted "
        "from 0: numbers and ranges.",
        "",
        (),
    )
    crossing: Number | None = key(
        "Crossing of the passage, numbered as the result does.", "", None, "any of the passage"
    )
    method: Text | None = key("How it was looked for, in words.", "", None, "not said")
    found: bool | None = key("Whether stray metal was seen there.", "", None, "required for seen")
    wrong: Chance = key(
        "Chance that a go/no-go result, a log or a photo is wrong; an assumption.", "", 0.02
    )
    detection: Chance = key("Chance that it is seen if it is there; an assumption.", "", 0.5)
    false_call: Chance = key("Chance that it is seen if it is not there; an assumption.", "", 0.01)


class Keys(NamedTuple):
    """Keys of one kind: those it needs, and those it may have."""

    needs: tuple[str, ...]
    may: tuple[str, ...] = ()


_SHARED = ("group", "u_group")
_OF_A_FACE = ("event", "datum", "over", "recesses", *_SHARED)
KEYS: dict[Kind, Keys] = {
    "rim_seen": Keys(("value",), ("event", "detection", "false_call")),
    "rim_top": Keys(("value", "u"), ("event", "datum", *_SHARED)),
    "rim_bottom": Keys(("value", "u"), ("event", "datum", *_SHARED)),
    "rim_thickness": Keys(("value", "u"), ("event", *_SHARED)),
    "rim_width": Keys(("value", "u"), ("event", "direction", *_SHARED)),
    "step": Keys(("value", "u", "direction"), ("event", *_SHARED)),
    "growth": Keys(("value", "u", "over"), ("event", "recesses", *_SHARED)),
    "sheet_top": Keys(("value", "u", "at"), _OF_A_FACE),
    "sheet_bottom": Keys(("value", "u", "at"), _OF_A_FACE),
    "part_height": Keys(("value", "u"), _SHARED),
    "mass": Keys(("value", "u"), ("sisters",)),
    "ball": Keys(("passage", "diameter", "result"), ("wrong",)),
    "pin": Keys(("port", "diameter"), ("value", "u", "result", "held", "wrong")),
    "pressure_loss": Keys(("passage", "value", "u"), ("rate", *_SHARED)),
    "open_area": Keys(("passage", "height", "value", "u"), _SHARED),
    "seen": Keys(
        ("found",), ("passage", "crossing", "height", "method", "detection", "false_call")
    ),
    "layers_logged": Keys(("value",), ("wrong",)),
    "photo": Keys(("slices", "height"), ("wrong",)),
}
"""Which keys each kind needs and may have; `kind` and `stage` are of all."""
MEASURED: frozenset[Kind] = frozenset(kind for kind, keys in KEYS.items() if "u" in keys.needs)
"""Kinds whose value carries a standard uncertainty: these can contradict alone."""
HEIGHTS: frozenset[Kind] = frozenset({"rim_top", "rim_bottom", "part_height"})
"""Kinds that are measured from one end of the part to a face that was melted."""
UNITS: dict[str, str] = {"mass": "g", "pressure_loss": "kPa", "open_area": "mm2"}
"""Units of values that are no lengths."""
WHAT: dict[str, str] = {
    "value": "what was read",
    "u": "the standard uncertainty of the value, above 0",
    "direction": "the direction in plan, [x, y]",
    "at": "the place in plan, [x, y]",
    "over": "what lies between the two faces by the mesh, mm",
    "passage": "the name of a passage",
    "port": "a port, such as 'cooling inlet'",
    "diameter": "the diameter of the ball or pin, mm",
    "result": "'passes' or 'stops'",
    "height": "a height above the platform, mm",
    "found": "true or false",
    "slices": "the slices that the picture can be of, such as ['0-2', '40']",
}


def reading_faults(raw: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    """Keys of one [[reading]] that do not fit its kind, and what is expected of each.

    Parameters
    ----------
    raw : mapping
        The table as written, its keys of the right type.
    """
    kind = raw.get("kind")
    if kind not in KEYS:
        return
    keys = KEYS[kind]
    for name in (name for name in keys.needs if name not in raw):
        yield name, WHAT[name]
    for name in raw:
        if name not in ("kind", "stage", *keys.needs, *keys.may):
            yield name, f"none, since kind = '{kind}' has no such key"
    yield from _value_faults(kind, raw.get("value"))
    for one, other in (_SHARED, _SHARED[::-1]):
        if one in raw and other not in raw and other in keys.may:
            yield other, f"a value, since {one} is given"
    if kind == "pin":
        yield from _pin_faults(raw)
    if kind == "seen":
        yield from _seen_faults(raw)
    if kind == "photo" and raw.get("slices") == []:
        yield "slices", WHAT["slices"]


def place_fault(place: Sequence[float], build_direction: Direction | None) -> str | None:
    """What is expected of a place or a direction of two numbers; None where these do."""
    turned = "[x, y, z] of the mesh, since [part] has a build_direction"
    return turned if len(place) == 2 and build_direction is not None else None


def plan_fault(way: Sequence[float], build_direction: Direction | None) -> str | None:
    """What is expected of a direction that does not lie in plan; None if it does."""
    if len(way) == 2:
        return place_fault(way, build_direction)
    x, y, z = to_platform(way, build_direction)
    return None if math.hypot(x, y) > LEAST_IN_PLAN * abs(z) else "a direction across the build"


def in_plan(reading: ReadingTable, build_direction: Direction | None) -> ReadingTable:
    """The reading with its direction and its place as (x, y) of the platform."""
    told = {"direction": reading.direction, "at": reading.at}
    for name, value in told.items():
        if value is not None and len(value) == 3:
            x, y, _ = to_platform(value, build_direction)
            reading = reading.model_copy(update={name: (float(x), float(y))})
    return reading


def group_faults(readings: Sequence[Mapping[str, Any]]) -> Iterator[tuple[int, str, str]]:
    """Readings that cannot share their group's error: number (from 0), key, what is expected."""
    first: dict[str, Mapping[str, Any]] = {}
    for number, raw in enumerate(readings):
        if "group" not in raw or "u_group" not in raw:
            continue
        one = first.setdefault(raw["group"], raw)
        if one["u_group"] != raw["u_group"]:
            yield number, "u_group", f"{one['u_group']:g}, as in the group's first reading"
        unit = UNITS.get(one["kind"], "mm")
        if unit != UNITS.get(raw["kind"], "mm"):
            yield number, "group", f"another group: the readings of this one are in {unit}"


def _value_faults(kind: str, value: Any) -> Iterator[tuple[str, str]]:
    if value is None:
        return
    if kind == "rim_seen":
        if not isinstance(value, bool):
            yield "value", "true or false"
    elif isinstance(value, bool):
        yield "value", "a number"
    elif kind == "layers_logged" and (not float(value).is_integer() or value < 0):
        yield "value", "a whole number of layers"
    elif value < 0.0 and kind not in ("step", "growth"):
        yield "value", "at least 0"


def _pin_faults(raw: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    if raw.get("result") == "passes":
        for name in (name for name in ("value", "u") if name in raw):
            yield name, "none, since the pin passes"
    elif "value" not in raw:
        yield "value", "how deep the pin went, mm; or result = 'passes'"


def _seen_faults(raw: Mapping[str, Any]) -> Iterator[tuple[str, str]]:
    if "passage" in raw and "height" in raw:
        yield "height", "none beside passage: only one of the two"
    if "passage" not in raw and "height" not in raw:
        yield "passage", "the name of a passage, or a height"
    if "crossing" in raw and "passage" not in raw:
        yield "crossing", "none without the name of a passage"
