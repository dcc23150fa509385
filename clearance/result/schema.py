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


def schemas() -> dict[str, dict[str, Any]]:
    """Schema of every kind of result, by the name under which it is shipped."""
    from clearance.result.causes import CausesResult
    from clearance.result.mesh import MeshResult, OpeningsResult
    from clearance.result.photo import PhotoResult
    from clearance.result.plate import PlateResult, ResultOnPlate
    from clearance.result.restart import RestartResult
    from clearance.result.sweep import SweepResult
    from clearance.result.whole import Result

    on_part = "parts/NAME.json: the keys of a result, and one more."
    kinds: dict[str, tuple[Any, str]] = {
        "result": (Result, "All that `clearance check --json` says of one part."),
        "sweep": (SweepResult, "All that `clearance sweep --json` says of one stray sheet."),
        "causes": (CausesResult, "All that `clearance causes --json` says of one part."),
        "plate": (PlateResult, "What `clearance plate` writes to plate.json."),
        "plate-part": (ResultOnPlate, on_part),
        "mesh": (MeshResult, "All that `clearance mesh --json` says of one file."),
        "restart": (RestartResult, "All that `clearance restart --json` says."),
        "photo": (PhotoResult, "All that `clearance photo --json` says of one picture."),
        "openings": (OpeningsResult, "All that `clearance openings --json` says of one file."),
    }
    return {
        f"{name}.schema.json": schema_of(kind, f"clearance {name}", f"{said} See docs/result.md.")
        for name, (kind, said) in kinds.items()
    }


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
