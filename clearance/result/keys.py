"""What a key of a result says of itself.

In: a meaning and a unit. Out: what stands beside a field's type, from which the JSON Schema and
the tables of docs/result.md are made.
"""

from __future__ import annotations

from typing import Any

from pydantic import Field


def told(meaning: str, unit: str = "", alias: str | None = None) -> Any:
    """Meaning and unit of one key.

    Parameters
    ----------
    meaning : str
        One sentence for docs/result.md and the schema.
    unit : str
        Unit of the value; empty for words and plain numbers.
    alias : str, optional
        The key, where the field's name has to be another one.
    """
    return Field(
        description=meaning, json_schema_extra={"unit": unit} if unit else None, alias=alias
    )
