"""Sets of suspects, named by their ranges.

In: suspects. Out: `Box`es that together hold exactly these. Words for them are the report's.
"""

from __future__ import annotations

from collections.abc import Callable, Hashable, Iterable, Sequence
from itertools import groupby
from typing import Any

from clearance.case.suspected import Suspect
from clearance.result.causes import Box, Way

Point = tuple[int, int, int, int]
"""Numbers of a suspect's height, first wrong layer, number of layers and way to resume."""
Span = tuple[int, int]
WAYS: tuple[Way | None, ...] = ("height", "layer", None)
BESIDE = 1_000_000
"""Heights that are no whole layer are numbered from here, each apart from the others."""


class Ranges:
    """Names sets of the suspects of one case.

    Parameters
    ----------
    suspects : sequence of Suspect
        All of them: what lies between two of them is a gap only if one of them lies there.
    """

    def __init__(self, suspects: Sequence[Suspect]):
        events = [one for one in suspects if one.cause == "event"]
        whole = sorted({one.height for one in events if one.after_layer is not None})
        beside = sorted({one.height for one in events if one.after_layer is None})
        self._numbers = {height: n for n, height in enumerate(whole)}
        self._numbers |= {height: BESIDE + 2 * n for n, height in enumerate(beside)}
        self._heights = {n: height for height, n in self._numbers.items()}
        self._layers = {one.height: one.after_layer for one in events}

    def boxes(self, suspects: Iterable[Suspect]) -> tuple[Box, ...]:
        """Boxes that hold these suspects and no other one, the mesh's own last."""
        listed = list(suspects)
        spans: list[tuple[Span, ...]] = [
            tuple((n, n) for n in self._point(one)) for one in listed if one.cause == "event"
        ]
        for axis in (1, 0, 2, 3):
            spans = _merged(spans, axis)
        found = [self._box(one) for one in sorted(spans)]
        if any(one.cause == "mesh" for one in listed):
            found.append(Box("mesh", None, None, None, None, ()))
        return tuple(found)

    def _point(self, one: Suspect) -> Point:
        return (self._numbers[one.height], one.from_layer, one.layers, WAYS.index(one.resume))

    def _box(self, spans: tuple[Span, ...]) -> Box:
        height, first, layers, ways = spans
        ends = (self._heights[height[0]], self._heights[height[1]])
        low, high = (self._layers[z] for z in ends)
        numbers = None if low is None or high is None else (low, high)
        resumed = tuple(way for way in WAYS[ways[0] : ways[1] + 1] if way is not None)
        return Box("event", ends, numbers, first, layers, resumed)


def _merged(boxes: list[tuple[Span, ...]], axis: int) -> list[tuple[Span, ...]]:
    """Boxes that are alike but for one axis, joined where they follow each other on it."""

    def rest(box: tuple[Span, ...]) -> tuple[Span, ...]:
        return box[:axis] + box[axis + 1 :]

    found: list[tuple[Span, ...]] = []
    for _, alike in groupby(sorted(boxes, key=lambda b: (rest(b), b[axis])), key=rest):
        run: tuple[Span, ...] | None = None
        for box in alike:
            if run is not None and box[axis][0] == run[axis][1] + 1:
                run = (*run[:axis], (run[axis][0], box[axis][1]), *run[axis + 1 :])
                continue
            if run is not None:
                found.append(run)
            run = box
        assert run is not None
        found.append(run)
    return found


def gathered(keys: Sequence[Hashable], order: Callable[[list[int]], Any]) -> list[list[int]]:
    """Numbers with equal keys together, the groups in a given order."""
    groups: dict[Hashable, list[int]] = {}
    for n, key in enumerate(keys):
        groups.setdefault(key, []).append(n)
    return sorted(groups.values(), key=order)
