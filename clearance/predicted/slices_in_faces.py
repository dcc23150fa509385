"""Slices that lie in a level face: whether they hold what is above or below it is not known.

In: what is unknown of the event, and at which heights the part has level faces. Out: the same,
with both possibilities for such slices. What a slice holds anywhere else is its section.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from clearance.predicted.slabs import Event
from clearance.predicted.variants import Span, Unknowns, Variant

FACE_MM = 2e-4
"""A slice nearer to a level face lies in it: coordinates are rounded, there and at the machine."""

Levels = Callable[[float], NDArray[np.float64]]
"""Takes a height, mm; gives heights of level faces near it, mm."""


def both_sides(unknowns: Unknowns, levels: Levels, platform_mm: float) -> Unknowns:
    """Variants with slices just below level faces, and just above them, where they lie in one.

    How the machine's slices were cut there is not known; all of them were cut the same way.
    `platform_mm` is the platform's z, for the words.
    """
    found: list[Variant] = []
    said: list[str] = []
    for variant in unknowns.variants:
        touched = [event for event in variant.events or () if any(_in_faces(event, levels))]
        if not touched:
            found.append(variant)
            continue
        for side, word in ((-1.0, "below"), (1.0, "above")):
            events = tuple(_beside(event, levels, side) for event in variant.events or ())
            text = f"slices that lie in a level face as just {word} it"
            found.append(Variant(events, f"{variant.said}, {text}" if variant.said else text))
        said += [_sentence(event, levels, platform_mm) for event in touched]
    notices = tuple(dict.fromkeys((*unknowns.notices, *said)))
    spans = tuple(both for span in unknowns.spans for both in _spans(span, levels))
    return replace(unknowns, variants=tuple(found), notices=notices, spans=spans)


def _spans(span: Span, levels: Levels) -> list[Span]:
    """A span of heights, once for each side of the faces that its slices lie in."""
    if not any(any(_in_faces(event, levels)) for event in span.events):
        return [span]
    return [
        replace(span, events=tuple(_beside(event, levels, side) for event in span.events))
        for side in (-1.0, 1.0)
    ]


def _in_faces(event: Event, levels: Levels) -> list[bool]:
    if event.plane:
        return [False] * len(event.slices)
    return [bool((np.abs(levels(z) - z) <= FACE_MM).any()) for z in event.slices]


def _beside(event: Event, levels: Levels, side: float) -> Event:
    slices = [
        z + 2.0 * side * FACE_MM if inside else z
        for z, inside in zip(event.slices, _in_faces(event, levels), strict=True)
    ]
    return replace(event, slices=tuple(slices))


def _sentence(event: Event, levels: Levels, platform_mm: float) -> str:
    inside = [z for z, lies in zip(event.slices, _in_faces(event, levels), strict=True) if lies]
    heights = ", ".join(f"{z - platform_mm:.3f}" for z in inside)
    return (
        f"event {event.stray + 1}: slices at z {heights} lie in a level face of the part; both "
        "sides of it are computed, and the machine's slice file would tell"
    )
