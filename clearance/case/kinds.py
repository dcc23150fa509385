"""Building blocks for the tables of the case and plate files.

In: nothing. Out: the base class of all tables, and the kinds of value that their
keys hold. What the tables are is left to tables.py, event.py and plate.py.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Any

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    WithJsonSchema,
)
from pydantic_core import PydanticCustomError

LARGEST_MM = 1e6
"""Lengths beyond a kilometre are slips of the pen; a bound keeps every product finite."""

LARGEST_LAYER = 200_000
LARGEST_SHIFT_MM = 2000.0  # more than the platform of any machine
MM_PER_INCH = 25.4  # exact since 1959 (international yard and pound agreement)
LARGEST_DRILL_MM = 120.0  # where the table of tolerances ends
"""The same for layer numbers."""

LARGEST_FEED = 10.0  # mm a turn
LARGEST_K = 3000.0
"""The same for differences of temperature: more than any alloy stands."""

LONGEST_NAME = 200
LONGEST_TEXT = 1000
"""Letters of a name and of other texts, at most: they are printed on every sheet."""


class Table(BaseModel):
    """A table of a TOML file: unknown keys, wrong types, nan and inf are refused."""

    model_config = ConfigDict(strict=True, frozen=True, extra="forbid", allow_inf_nan=False)


def key(meaning: str, unit: str = "", default: Any = ..., otherwise: str = "") -> Any:
    """One key of a table.

    Parameters
    ----------
    meaning : str
        One sentence for docs/case-file.md and for editors.
    unit : str
        Unit of the value; empty for words and plain numbers.
    default : object
        Value of a silent file; without it the key is required.
    otherwise : str
        What a silent file means, where `default` is None.
    """
    extra = {name: text for name, text in (("unit", unit), ("otherwise", otherwise)) if text}
    return Field(default, description=meaning, json_schema_extra=extra or None)  # type: ignore[arg-type]


def refuse(expected: str) -> PydanticCustomError:
    """Build the error that says what was expected of a value."""
    return PydanticCustomError("expected", "{expected}", {"expected": expected})


def _list_of(count: int, expected: str) -> BeforeValidator:
    """Take a TOML array of exactly `count` items as a tuple; strict mode would refuse it."""

    def check(value: object) -> tuple[object, ...]:
        if not isinstance(value, list | tuple) or len(value) != count:
            raise refuse(expected)
        return tuple(value)

    return BeforeValidator(check)


def _any_list(value: object) -> object:
    return tuple(value) if isinstance(value, list) else value


def _as_range(value: object) -> tuple[object, ...]:
    """One value means the range from it to itself."""
    if not isinstance(value, list | tuple):
        return (value, value)
    if len(value) != 2:
        raise refuse("one value, or [low, high]")
    return tuple(value)


def _rising(pair: tuple[Any, Any]) -> tuple[Any, Any]:
    if pair[0] > pair[1]:
        raise refuse("[low, high] with low not above high")
    return pair


def _not_zero(vector: tuple[float, float, float]) -> tuple[float, float, float]:
    if not any(vector):
        raise refuse("a direction, not the zero vector")
    return vector


def _visible(name: str) -> str:
    if not name.strip() or not name.isprintable():
        raise refuse("a name of visible characters")
    return name


def _written_path(value: object) -> object:
    if isinstance(value, str) and (not value.strip() or "\0" in value):
        raise refuse("the path of a file")
    return value


def _range_schema(item: str, limit: float) -> WithJsonSchema:
    return _one_or_two({"type": item, "minimum": 0, "maximum": limit})


def _one_or_two(one: dict[str, Any]) -> WithJsonSchema:
    pair = {"type": "array", "items": one, "minItems": 2, "maxItems": 2}
    return WithJsonSchema({"anyOf": [one, pair]})


Coordinate = Annotated[float, Field(ge=-LARGEST_MM, le=LARGEST_MM)]
Positive = Annotated[float, Field(gt=0, le=LARGEST_MM)]
NotNegative = Annotated[float, Field(ge=0, le=LARGEST_MM)]
DrillDiameter = Annotated[float, Field(gt=0, le=LARGEST_DRILL_MM)]
Fraction = Annotated[float, Field(gt=0, le=1)]
LayerNumber = Annotated[int, Field(ge=0, le=LARGEST_LAYER)]
Name = Annotated[str, Field(min_length=1, max_length=LONGEST_NAME), AfterValidator(_visible)]
Text = Annotated[str, Field(max_length=LONGEST_TEXT)]
FilePath = Annotated[Path, Field(strict=False), BeforeValidator(_written_path)]

Point = Annotated[
    tuple[Coordinate, Coordinate, Coordinate], _list_of(3, "three numbers, [x, y, z]")
]
Direction = Annotated[Point, AfterValidator(_not_zero)]
Offset = Annotated[tuple[Coordinate, Coordinate], _list_of(2, "two numbers, [x, y]")]
_Shifted = Annotated[float, Field(ge=-LARGEST_SHIFT_MM, le=LARGEST_SHIFT_MM)]
Shift = Annotated[tuple[_Shifted, _Shifted], _list_of(2, "two numbers, [x, y]")]
Span = Annotated[
    tuple[NotNegative, NotNegative],
    _list_of(2, "two numbers, [low, high]"),
    AfterValidator(_rising),
]
Size = Annotated[tuple[Positive, Positive], _list_of(2, "two numbers, [x, y]")]

LayerRange = Annotated[
    tuple[LayerNumber, LayerNumber],
    BeforeValidator(_as_range),
    AfterValidator(_rising),
    _range_schema("integer", LARGEST_LAYER),
]
LengthRange = Annotated[
    tuple[NotNegative, NotNegative],
    BeforeValidator(_as_range),
    AfterValidator(_rising),
    _range_schema("number", LARGEST_MM),
]

_Feed = Annotated[float, Field(gt=0, le=LARGEST_FEED)]
FeedRange = Annotated[
    tuple[_Feed, _Feed],
    BeforeValidator(_as_range),
    AfterValidator(_rising),
    _one_or_two({"type": "number", "exclusiveMinimum": 0, "maximum": LARGEST_FEED}),
]
_Constant = Annotated[float, Field(ge=1e3, le=1e6)]
ConstantRange = Annotated[
    tuple[_Constant, _Constant],
    BeforeValidator(_as_range),
    AfterValidator(_rising),
    _one_or_two({"type": "number", "minimum": 1e3, "maximum": 1e6}),
]
_Share = Annotated[float, Field(gt=0, lt=1)]
ShareRange = Annotated[
    tuple[_Share, _Share],
    BeforeValidator(_as_range),
    AfterValidator(_rising),
    _one_or_two({"type": "number", "exclusiveMinimum": 0, "exclusiveMaximum": 1}),
]
_Kelvin = Annotated[float, Field(ge=0, le=LARGEST_K)]
KelvinRange = Annotated[
    tuple[_Kelvin, _Kelvin],
    BeforeValidator(_as_range),
    AfterValidator(_rising),
    _range_schema("number", LARGEST_K),
]

AnyList: Callable[[object], object] = _any_list
"""Before-validator of keys and tables that hold a list of any length."""

AS_TABLE, AS_NAME = "[as a table]", "[as a name]"
"""Steps that the validator adds where a value may be either; no step of the file."""
