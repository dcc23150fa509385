"""A result as plain values and as text.

In: dataclasses, or parts of them. Out: dicts, lists, numbers and strings, and their JSON.
"""

from __future__ import annotations

import dataclasses
import enum
import json
import math
from typing import Any

KEY_NAMES = {"from_": "from"}
"""Fields whose key is a word that Python keeps for itself."""


def as_json(value: Any) -> Any:
    """Plain dicts, lists, numbers and strings; a number that is not finite becomes null."""
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        names = [f.name for f in dataclasses.fields(value)]
        return {KEY_NAMES.get(n, n): as_json(getattr(value, n)) for n in names}
    if isinstance(value, dict):
        return {str(k): as_json(v) for k, v in value.items()}
    if isinstance(value, (list, tuple)):
        return [as_json(v) for v in value]
    if isinstance(value, enum.Enum):
        return value.value
    if isinstance(value, float) or hasattr(value, "dtype"):
        number = float(value)
        return round(number, 6) if math.isfinite(number) else None
    return value


def as_text(plain: Any) -> str:
    """JSON of plain values, as all results are written."""
    return json.dumps(plain, allow_nan=False, indent=2, ensure_ascii=False) + "\n"
