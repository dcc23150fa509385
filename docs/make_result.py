"""Write docs/result.md and the schemas from the types: ``python docs/make_result.py``."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from clearance.case.plate import plate_file_schema
from clearance.case.read import case_schema
from clearance.plates.table import COLUMNS
from clearance.result.schema import schemas

PAGE = Path(__file__).with_name("result.md")
PACKAGE = Path(__file__).parent.parent / "clearance"

OPENING = """\
# The result

Written by `docs/make_result.py` from the types that the program writes its results with; a test
compares them. Each kind has its JSON Schema (draft 2020-12) inside the installed package:

| written by | schema |
|---|---|
| `clearance check --json` | `clearance/result.schema.json` |
| `clearance sweep --json` | `clearance/sweep.schema.json` |
| `clearance causes --json` | `clearance/causes.schema.json` |
| `clearance plate`, plate.json | `clearance/plate.schema.json` |
| `clearance plate`, parts/NAME.json | `clearance/plate-part.schema.json` |
| `clearance mesh --json` | `clearance/mesh.schema.json` |
| `clearance restart --json` | `clearance/restart.schema.json` |
| `clearance photo --json` | `clearance/photo.schema.json` |
| `clearance openings --json` | `clearance/openings.schema.json` |

Every key is always there; `null` where nothing is known, as each key says. Keys may be added within
a `schema`; none is changed or taken away. Numbers are rounded to 1e-6 of their unit (those of
`mesh` and `openings` are not), never NaN.
Coordinates and z are those of the nominal mesh; sentences speak of heights above the platform
([conventions](conventions.md)). Stray sheets and crossings are counted from 0. The same input gives
the same bytes: neither a time nor a folder stands in a result. `program` and `inputs` say by which
version and from which bytes it was made. The result does not release a part: its `cautions` belong
to it.
"""

PLATE_OPENING = """\
## plate.csv and plate.xlsx

A row a part, in the plate's order; empty where nothing is known, as of a part without a result.
Of the workbook `parts` is the table and `columns` says what this one says; it has no `seconds`, so
that the same plate gives the same bytes. A text that begins like a formula (`=`, `+`, `-`, `@`)
has an apostrophe in front in plate.csv and is a text in plate.xlsx.
"""


def text_of(schema: dict[str, Any]) -> str:
    """A schema as it is shipped."""
    return json.dumps(schema, indent=2) + "\n"


def tables(kinds: dict[str, dict[str, Any]]) -> str:
    """A section for every kind of object, each before those it holds, none twice."""
    found: dict[str, str] = {"State": STATES}
    for first, schema in kinds.items():
        known = {first: schema, **schema.get("$defs", {})}
        order = [first]
        while order:
            name = order.pop(0)
            if name not in found and "properties" in known[name]:
                found[name] = _section(name, known[name])
                order = [*_held(known[name]["properties"]), *order]
    return "\n".join([*(text for name, text in found.items() if name != "State"), STATES])


def kinds() -> dict[str, dict[str, Any]]:
    """Schemas by the heading of their section; of a part on a plate what it has beside a result."""
    made = schemas()
    known = {
        " ".join(file.split(".")[0].split("-")).capitalize(): one for file, one in made.items()
    }
    more = known["Plate part"]["properties"]
    known["Plate part"] = {
        **known["Plate part"],
        "properties": {
            key: one for key, one in more.items() if key not in known["Result"]["properties"]
        },
    }
    return known


def _held(value: Any) -> list[str]:
    if isinstance(value, dict):
        own = [value["$ref"].rsplit("/", 1)[1]] if "$ref" in value else []
        return own + [name for inner in value.values() for name in _held(inner)]
    return [name for inner in value for name in _held(inner)] if isinstance(value, list) else []


def _section(name: str, schema: dict[str, Any]) -> str:
    said = " ".join(schema.get("description", "").split()).removesuffix(" See docs/result.md.")
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
        count, held = len(one["prefixItems"]), _kind(one["prefixItems"][0])
        return f"{count} numbers" if held == "number" else f"{count} times {held}"
    if one.get("type") == "array":
        return f"list of {_kind(one['items'])}"
    if "additionalProperties" in one:
        return f"{_kind(one['additionalProperties'])} by name"
    return PLAIN.get(one["type"], one["type"])


STATES = """\
## State

`open`, `restricted`, `blocked` or `undetermined`: docs/conventions.md says when.
"""


def read_ones() -> dict[str, dict[str, Any]]:
    """Schemas of the files that people write, for their editors."""
    return {"case.schema.json": case_schema(), "plate-file.schema.json": plate_file_schema()}


def page() -> str:
    """Text of docs/result.md."""
    columns = ["| column | unit | meaning |", "|---|---|---|"]
    columns += [f"| `{name}` | {unit} | {said} |" for name, (unit, said) in COLUMNS.items()]
    return "\n".join([OPENING, tables(kinds()), PLATE_OPENING, *columns, ""])


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
    for name, schema in schemas().items():
        (PACKAGE / name).write_text(text_of(schema), encoding="utf-8")
    for name, schema in read_ones().items():
        (PACKAGE / name).write_text(text_of(schema), encoding="utf-8")
