"""Ranges of slices as a file writes them.

In: texts such as 0-2. Out: numbers.
"""

from __future__ import annotations

import re
from collections.abc import Sequence


def spans(slices: Sequence[str]) -> list[tuple[int, int]]:
    """Ranges as written, first and last slice."""
    found = []
    for text in slices:
        numbers = [int(word) for word in re.findall(r"\d+", text)]
        found.append((numbers[0], numbers[-1]))
    return found


def holds(slices: Sequence[str], number: float) -> bool:
    """Whether a slice is among some ranges."""
    return any(first <= number <= last for first, last in spans(slices))


def in_words(slices: Sequence[str]) -> str:
    """Ranges in words."""
    return "slice " + " or ".join(text.replace("-", " to ").strip() for text in slices)
