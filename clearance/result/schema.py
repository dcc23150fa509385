"""JSON Schema of what is written, made from the same types that write it.

In: a dataclass or typed dict of a result. Out: its schema: every key required, no other one
known, `null` where nothing is known.
"""

from __future__ import annotations

from typing import Any

from pydantic import TypeAdapter
from pydantic.json_schema import GenerateJsonSchema

DIALECT = "https://json-schema.org/draft/2020-12/schema"


class _Written(GenerateJsonSchema):
    """Of what is written and not read: keys with defaults are there too."""

    def field_is_required(self, *_: Any, **__: Any) -> bool:
        return True


def schema_of(kind: Any, title: str, description: str) -> dict[str, Any]:
    """Schema of a kind of result.

    Parameters
    ----------
    kind : type
        Dataclass or typed dict whose fields say what they are (`keys.told`).
    title, description : str

    Returns
    -------
    dict
        JSON Schema, draft 2020-12. Beside the standard's own keywords a number's `unit`.
    """
    made = TypeAdapter(kind).json_schema(schema_generator=_Written, mode="serialization")
    plain: dict[str, Any] = _plain(made)
    plain.update(title=title, description=description)
    return {"$schema": DIALECT, **plain}


def result_schema() -> dict[str, Any]:
    """Schema of the result of a check; shipped as result.schema.json."""
    from clearance.result.whole import Result

    return schema_of(
        Result, "Result of clearance check", "docs/result.md explains it: ../docs/result.md"
    )


def _plain(value: Any) -> Any:
    """Without titles and defaults, which say nothing of what is written; objects closed."""
    if isinstance(value, list):
        return [_plain(one) for one in value]
    if not isinstance(value, dict):
        return value
    found = {
        key: {name: _plain(one) for name, one in inner.items()}
        if key in ("properties", "$defs")
        else _plain(inner)
        for key, inner in value.items()
        if key not in ("title", "default")
    }
    if found.get("type") == "object" and "properties" in found:
        found["additionalProperties"] = False
    return found
