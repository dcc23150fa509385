"""What a picture can be, in words, and as a [[reading]] to paste.

In: a `PhotoResult`. Out: lines of text.
"""

from __future__ import annotations

import json

from clearance.report.table import wrapped
from clearance.result.photo import PhotoResult
from clearance.verdict.names import listed
from clearance.verdict.numbers import given, most, near

MOST_RANGES = 8
"""Ranges that a line names."""


def text(found: PhotoResult, height_mm: float | None, width: int) -> str:
    """The answer in a few lines, then the reading."""
    off = "" if found.residual_mm is None else f", off by {most(found.residual_mm)} mm at most"
    named = [one.replace("-", " to ") for one in found.can_be[:MOST_RANGES]]
    more = len(found.can_be) - MOST_RANGES
    named += [f"{more} more ranges"] if more > 0 else []
    can_be = f"it can be slice {listed(named)}" if named else "it can be none of the slices"
    lines = [
        f"{found.name}: {can_be}, of {found.slices} counted from 0",
        f"best: slice {found.best.slice}, {near(100 * found.best.overlap, 1)} % overlap",
        f"{found.points} points{off}; pixel {most(found.pixel_mm)} mm, edges to "
        f"{most(found.edge_mm)} mm",
        *(f"note: {said}" for said in found.notices),
    ]
    told = [row for line in lines for row in wrapped(line, width, "", "  ")]
    return "\n".join([*told, *_reading(found, height_mm)]) + "\n"


def _reading(found: PhotoResult, height_mm: float | None) -> list[str]:
    """A table for the case file; nothing where the picture is none of the slices."""
    if not found.can_be:
        return []
    height = json.dumps("fill in") if height_mm is None else given(height_mm)
    return [
        "",
        "[[reading]]",
        'kind = "photo"',
        f"height = {height}    # mm above the platform: underside of the layer pictured",
        f"slices = {json.dumps(list(found.can_be))}",
    ]
