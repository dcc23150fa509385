"""Where circuits that must stay apart are joined: the place, its size, and each circuit there.

In: outlines of a level section and the verdicts on pairs of circuits. Out: a `Detail`.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import shapely

from clearance.drawing.level_parts import DETAIL_LETTERS, Detail, Void, largest
from clearance.geometry.areas import largest_circle_mm
from clearance.result import SeparateResult
from clearance.verdict.names import APART
from clearance.verdict.numbers import most

NEAR_MM = 0.5
"""So near to the section a leak is cut by it: places are told by columns."""
AROUND, SLENDER, LEAST_MM, MOST_MM = 0.9, 4.0, 1.0, 10.0
"""Half the detail's size: a share of the leak's length, so many times its width at most, and in mm
at least, at most."""
SAID = {state: said for state, said in APART.items() if state != "apart"}
"""Verdicts that are drawn, the gravest first."""

Named = tuple[tuple[str, ...], Any]


def leak_detail(
    separate: Sequence[SeparateResult],
    z: float,
    voids: Sequence[Void],
    beneath: Sequence[Named],
    gaps: tuple[Any, Any],
) -> Detail | None:
    """The gravest leak at a height in mesh coordinates; None where there is none.

    Parameters
    ----------
    beneath : sequence of (names, outline)
        At a step, what lies just below it of other circuits.
    gaps : (joined, unmelted), shapely geometries
        Where one circuit leads into another, and powder through which it may leak.
    """
    here = [
        s
        for s in separate
        if s.state in SAID and s.where_mm is not None and abs(s.where_mm[2] - z) <= NEAR_MM
    ]
    for pair in sorted(here, key=lambda s: list(SAID).index(s.state)):
        gap = gaps[pair.through == "unmelted"]
        if not gap.is_empty:
            return _detail(pair, gap, voids, beneath)
    return None


def _detail(
    pair: SeparateResult, gap: Any, voids: Sequence[Void], beneath: Sequence[Named]
) -> Detail:
    assert pair.where_mm is not None
    at = shapely.Point(pair.where_mm[:2])
    piece = min(shapely.get_parts(gap), key=lambda part: float(part.distance(at)))
    x0, y0, x1, y1 = piece.bounds
    wide, long = largest_circle_mm(piece), max(x1 - x0, y1 - y0)
    half = float(np.clip(min(AROUND * long, SLENDER * wide), LEAST_MM, MOST_MM))
    middle = shapely.Point(0.5 * (x0 + x1), 0.5 * (y0 + y1))
    if 2.0 * half < long:  # a stretch of it
        middle = at if piece.covers(at) else piece.representative_point()
    box = shapely.box(middle.x - half, middle.y - half, middle.x + half, middle.y + half)
    circuits: list[Named] = [(void.names, void.nominal) for void in voids]
    named = []
    for name in pair.passages:
        own = [shape.intersection(box) for names, shape in (*circuits, *beneath) if name in names]
        place = shapely.union_all(own).difference(piece)
        if not place.is_empty:
            inside = shapely.get_coordinates(largest(place).representative_point())[0]
            named.append((name, (float(inside[0]), float(inside[1]))))
    both = " and ".join(pair.passages)
    what = "unmelted powder" if pair.through == "unmelted" else "open"
    bounds = box.bounds
    return Detail(
        (bounds[0], bounds[1], bounds[2], bounds[3]),
        f"detail {DETAIL_LETTERS[0]}: {both} {SAID[pair.state]}",
        (
            f"{what} between them: {most(piece.area)} mm2 in plan",
            f"{most(wide)} mm at the widest",
        ),
        tuple(named),
    )
