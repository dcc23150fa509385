"""Whether a drill is long enough for a depth.

In: a drill and a depth. Out: the limit that keeps it from reaching it, in numbers and in words.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from clearance.drilling.drills import (
    CLAMPED_DIAMETERS,
    POINT_ANGLE_DEG,
    Drill,
    belongs,
    point_length,
    standard,
)

CHIP_ROOM_DIAMETERS = 1.0
"""Flute that stays clear of the hole for the chips; common practice, no source."""


@dataclass(frozen=True, slots=True)
class Practice:
    """How a shop drills: settings that hold for every drill.

    Attributes
    ----------
    point_angle_deg : float
        Full angle of the point.
    chip_room_diameters : float
        Flute that must stay outside the hole, over the diameter.
    max_length_to_diameter : float
        Deepest hole, to the drill's tip, over the diameter.
    """

    point_angle_deg: float = POINT_ANGLE_DEG
    chip_room_diameters: float = CHIP_ROOM_DIAMETERS
    max_length_to_diameter: float = math.inf


USUAL = Practice()


@dataclass(frozen=True, slots=True)
class Limit:
    """Why a drill does not reach.

    Attributes
    ----------
    kind : str
        "flute", "overall" or "length-to-diameter".
    available, needed : float
        mm; diameters for "length-to-diameter".
    words : str
        A clause for the report.
    """

    kind: str
    available: float
    needed: float
    words: str


def reach_limits(
    drill: Drill,
    depth_mm: float,
    practice: Practice = USUAL,
) -> Iterator[Limit]:
    """Give the limits that keep a drill from a depth; none if it reaches.

    Parameters
    ----------
    drill : Drill
    depth_mm : float
        How deep the full diameter must go, from the opening's face along the axis.
    practice : Practice

    Yields
    ------
    Limit
        In the order flute, overall, length-to-diameter.
    """
    if drill.erodes:
        yield from _reach_of_electrode(drill, depth_mm)
        return
    tip = depth_mm + point_length(drill.diameter, practice.point_angle_deg)
    flute = tip + practice.chip_room_diameters * drill.diameter  # our rule: chips must leave
    if flute > drill.flute:
        words = f"{drill.words} has {drill.flute:g} mm of flute, {_up(flute)} mm required"
        yield Limit("flute", drill.flute, flute, words)
    clamped = CLAMPED_DIAMETERS * drill.diameter
    free = drill.overall - clamped
    if tip > free:
        words = (
            f"{drill.words} is {drill.overall:g} mm long and projects at most {free:.1f} mm from a "
            f"holder that grips {clamped:.1f} mm, {_up(tip)} mm required"
        )
        yield Limit("overall", free, tip, words)
    ratio = tip / drill.diameter
    if ratio > practice.max_length_to_diameter:
        words = (
            f"{tip:.1f} mm is {_up(ratio)} diameters deep for {drill.words}, "
            f"{practice.max_length_to_diameter:g} allowed (max_length_to_diameter)"
        )
        yield Limit("length-to-diameter", practice.max_length_to_diameter, ratio, words)


def _reach_of_electrode(drill: Drill, depth_mm: float) -> Iterator[Limit]:
    if depth_mm >= drill.reach:
        given, ratio = drill.reach / drill.diameter, depth_mm / drill.diameter
        words = (
            f"{depth_mm:.1f} mm is {_up(ratio)} diameters deep for {drill.words}, less than "
            f"{given:g} given (max_length_to_diameter)"
        )
        yield Limit("length-to-diameter", given, ratio, words)


def reach_limit(
    drill: Drill,
    depth_mm: float,
    practice: Practice = USUAL,
) -> Limit | None:
    """Return the first limit that bites (see `reach_limits`), or None if the drill reaches."""
    return next(reach_limits(drill, depth_mm, practice), None)


def not_at_hand(
    diameter: float,
    depth_mm: float,
    series: Iterable[str],
    practice: Practice = USUAL,
) -> Drill | None:
    """Return the shortest standard drill that would reach, of a series that is not at hand.

    Parameters
    ----------
    diameter : float, mm
        Of the drill, as in the table.
    depth_mm : float
        As in `reach_limits`, like practice.
    series : iterable of str
        What is at hand.
    practice : Practice
    """
    names = list(series)
    for drill in standard():
        if drill.diameter != diameter or any(belongs(drill.series, name) for name in names):
            continue
        if reach_limit(drill, depth_mm, practice) is None:
            return drill
    return None


def _up(value: float) -> str:
    """Round up to 0.1, so that what is needed never reads as what is there."""
    return f"{math.ceil(10.0 * value - 1e-6) / 10.0:g}"
