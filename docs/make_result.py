"""Write docs/result.md and the schemas from the types: ``python docs/make_result.py``."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from clearance.plates.run import COLUMNS
from clearance.result.schema import result_schema

PAGE = Path(__file__).with_name("result.md")
PACKAGE = Path(__file__).parent.parent / "clearance"
SCHEMAS = {"result.schema.json": result_schema}

OPENING = """\
# The result

Written by `docs/make_result.py` from the types that the program writes its results with; a test
compares them. `clearance check --json` writes one result. Its JSON Schema (draft 2020-12) is
`clearance/result.schema.json`, inside the installed package.

Every key is always there; `null` where nothing is known, as each key says. Keys may be added within
a `schema`; none is changed or taken away. Numbers are rounded to 1e-6 of their unit, never NaN.
Coordinates and z are those of the nominal mesh; sentences speak of heights above the platform
([conventions](conventions.md)). Stray sheets and crossings are counted from 0. The same input gives
the same bytes: neither a time nor a folder stands in a result. `program` and `inputs` say by which
version and from which bytes it was made. The result does not release a part: its `cautions` belong
to it.

A result file of a plate, `parts/NAME.json`, holds one key more, `plate`: see [plate](plate.md).
"""

PLATE_OPENING = """\
## plate.csv

A row a part, in the plate's order; empty where nothing is known, as of a part without a result.
"""


def text_of(schema: dict[str, Any]) -> str:
    """A schema as it is shipped."""
    return json.dumps(schema, indent=2) + "\n"


def tables(schema: dict[str, Any], first: str) -> str:
    """A section for every kind of object, the whole first, each before those it holds."""
    known = {first: schema, **schema.get("$defs", {})}
    order, found = [first], []
    while order:
        name = order.pop(0)
        if name in found or "properties" not in known[name]:
            continue
        found.append(name)
        order = [*_held(known[name]["properties"]), *order]
    return "\n".join(_section(name, known[name]) for name in found)


def _held(value: Any) -> list[str]:
    if isinstance(value, dict):
        own = [value["$ref"].rsplit("/", 1)[1]] if "$ref" in value else []
        return own + [name for inner in value.values() for name in _held(inner)]
    return [name for inner in value for name in _held(inner)] if isinstance(value, list) else []


def _section(name: str, schema: dict[str, Any]) -> str:
    said = " ".join(schema.get("description", "").split()) if name != "Result" else ""
    rows = [
        f"| `{key}` | {_kind(one)} | {one.get('unit', '')} | {one['description']} |"
        for key, one in schema["properties"].items()
    ]
    head = [f"## {name}", "", *([said, ""] if said else [])]
    return "\n".join([*head, "| key | value | unit | meaning |", "|---|---|---|---|", *rows, ""])


PLAIN = {"string": "text", "boolean": "true or false", "integer": "whole number"}


def _kind(one: dict[str, Any]) -> str:
    """What a value is, in words; its own kinds lead to their section."""
    if "$ref" in one:
        name = one["$ref"].rsplit("/", 1)[1]
        return "State" if name == "State" else f"[{name}](#{name.lower()})"
    if "anyOf" in one:
        return " or ".join(_kind(inner) for inner in one["anyOf"])
    if "enum" in one or "const" in one:
        return ", ".join(f"`{word}`" for word in one.get("enum", [one.get("const")]))
    if "prefixItems" in one:
        return f"{len(one['prefixItems'])} numbers"
    if one.get("type") == "array":
        return f"list of {_kind(one['items'])}"
    return PLAIN.get(one["type"], one["type"])


STATES = """\
## State

`open`, `restricted`, `blocked` or `undetermined`: docs/conventions.md says when.
"""


def page() -> str:
    """Text of docs/result.md."""
    columns = ["| column | unit | meaning |", "|---|---|---|"]
    columns += [f"| `{name}` | {unit} | {said} |" for name, (unit, said) in COLUMNS.items()]
    return "\n".join(
        [OPENING, tables(result_schema(), "Result"), STATES, PLATE_OPENING, *columns, ""]
    )


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
    for name, make in SCHEMAS.items():
        (PACKAGE / name).write_text(text_of(make()), encoding="utf-8")
