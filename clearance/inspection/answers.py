"""An answer of one method, before it is put beside what it is of."""

from __future__ import annotations

import math
from dataclasses import dataclass

from clearance.result.inspection import Answer, Inspection, Method, Target


@dataclass(frozen=True)
class Said:
    """What one method says: yes, ask or no, its numbers and words."""

    method: Method
    answer: Answer
    numbers: dict[str, float]
    set_up: str

    def of(self, kind: Target, passage: str | None, number: int) -> Inspection:
        """The same for the result; a number without bound is left out."""
        gap = kind == "gap"
        return Inspection(
            kind,
            passage,
            None if gap else number,
            number if gap else None,
            self.method,
            self.answer,
            {name: value for name, value in self.numbers.items() if math.isfinite(value)},
            self.set_up,
        )
