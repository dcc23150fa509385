"""What a straight line would take: a longer drill, a guided one, a cut of the wall.

In: a line that is nearly wide enough, or one that no drill at hand reaches along. Out: a `Change`,
with the numbers that would have to be given for a plan along it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Protocol

from clearance.drilling.drill_length import Practice, reach_limits
from clearance.drilling.drills import (
    CLAMPED_DIAMETERS,
    H8_LOWER_MM,
    STEP_MM,
    Drill,
    h8_lower,
    least_diameter,
    point_length,
)
from clearance.drilling.strokes import fit, taken
from clearance.drilling.widest_line import Widest
from clearance.result.passage import Change
from clearance.verdict.numbers import rounded_down, rounded_up

REDESIGN_MM = 0.5
"""More of the wall is not cut to save a part (DESIGN: that is a redesign)."""
FACET_MM = 0.02
"""A cut no deeper may be the mesh's facets' doing."""


class Given(Protocol):
    """What [drilling] gives: mm, and a number of diameters."""

    @property
    def wall_allowance(self) -> float: ...  # noqa: D102
    @property
    def max_length_to_diameter(self) -> float: ...  # noqa: D102


def needed(
    opening: str,
    line: Widest,
    required_mm: float,
    depth_of: Callable[[Drill], float],
    given: Given,
    practice: Practice,
    at_hand: Sequence[Drill],
    facet_mm: float = 0.0,
    refused_mm: float = 0.0,
    standoff_mm: float = 0.0,
) -> tuple[Change, ...]:
    """What it would take to drill along a line, the least cut first; none if its room is not known.

    Parameters
    ----------
    opening : str
        Where it enters.
    line : Widest
    required_mm : float
        Ball that has to pass.
    depth_of : callable
        Depth of the full diameter of a drill along the line, mm.
    given : the [drilling] table
    practice : Practice
    at_hand : sequence of Drill
    facet_mm : float
        By so much the mesh's wall may stand inward of the true one.
    refused_mm : float
        Drills up to this were refused by the re-check.
    standoff_mm : float
        So far from the entry the holder's face has to stay: it leans with the line.
    """
    least = max(least_diameter(required_mm), refused_mm + STEP_MM)
    if line.radius <= 0.0 or least > H8_LOWER_MM[-1][0]:
        return ()
    ideal = _ideal(least, depth_of, practice, standoff_mm)
    useful = [d for d in at_hand if d.diameter > refused_mm]
    useful = [d for d in useful if d.diameter + h8_lower(d.diameter) >= required_mm]
    long_enough = [d for d in useful if not _too_short(d, depth_of(d), practice, standoff_mm)]
    own = min(long_enough, key=lambda d: fit(d, line.radius, facet_mm), default=None)
    found = []
    if own is None or _cut(own, line, facet_mm) > _cut(ideal, line, facet_mm):
        found.append(
            _change(opening, line, ideal, depth_of, given, practice, facet_mm, standoff_mm)
        )
    if own is not None and 0.5 * own.diameter - line.radius <= REDESIGN_MM:
        found.append(_change(opening, line, own, depth_of, given, practice, facet_mm, standoff_mm))
    return tuple(found)


def asks(change: Change) -> bool:
    """Whether a change asks for anything that is not given."""
    wanted = (change.max_length_to_diameter, change.wall_allowance_mm)
    return not change.at_hand or wanted != (None, None)


def _change(
    opening: str,
    line: Widest,
    drill: Drill,
    depth_of: Callable[[Drill], float],
    given: Given,
    practice: Practice,
    facet_mm: float,
    standoff_mm: float,
) -> Change:
    """What one drill takes; a drill whose series is none is still to be had."""
    size = drill.diameter
    if not drill.series:  # one of the size that is said, in two decimals, has to do
        size = float(rounded_up(size, 2))
    tip = depth_of(drill) + point_length(size, practice.point_angle_deg)
    ratio = tip / drill.diameter
    wall = _cut(drill, line, facet_mm)
    change = Change(
        from_=opening,
        least_diameter_mm=drill.diameter,
        greatest_diameter_mm=max(drill.diameter, 2.0 * line.radius),
        depth_mm=tip,
        flute_mm=tip + practice.chip_room_diameters * size,
        overall_mm=tip + CLAMPED_DIAMETERS * size + standoff_mm,
        at_hand=bool(drill.series),
        max_length_to_diameter=ratio if ratio > given.max_length_to_diameter else None,
        wall_allowance_mm=wall if wall > given.wall_allowance else None,
        redesign=0.5 * drill.diameter - line.radius > REDESIGN_MM,
        words="",
    )
    return replace(change, words=_words(change, drill, given, line))


def _ideal(
    diameter: float, depth_of: Callable[[Drill], float], practice: Practice, standoff_mm: float
) -> Drill:
    """The shortest drill of a diameter that is long enough."""
    angle = practice.point_angle_deg
    tip = depth_of(Drill(diameter, 0.0, 0.0, "", angle=angle)) + point_length(diameter, angle)
    flute = tip + practice.chip_room_diameters * diameter
    overall = tip + CLAMPED_DIAMETERS * diameter + standoff_mm
    return Drill(diameter, flute, max(overall, flute), "", angle=angle)


def _too_short(drill: Drill, depth_mm: float, practice: Practice, standoff_mm: float) -> bool:
    limits = reach_limits(drill, depth_mm, practice)
    if any(limit.kind in ("flute", "overall") for limit in limits):
        return True
    projects = drill.overall - CLAMPED_DIAMETERS * drill.diameter
    return projects < depth_mm + drill.point + standoff_mm


def _cut(drill: Drill, line: Widest, facet_mm: float) -> float:
    """What a drill cuts of the wall with tolerance and run-out, mm; 0 if it cuts none without."""
    cut = 0.5 * drill.diameter - line.radius
    return cut + taken(drill) if cut > facet_mm else 0.0


def _words(change: Change, drill: Drill, given: Given, line: Widest) -> str:
    if change.at_hand:
        said = f"{drill.words} {change.depth_mm:.1f} mm deep from the {change.from_}"
    else:
        size = rounded_up(change.least_diameter_mm, 2)
        largest = rounded_down(change.greatest_diameter_mm, 2)
        size += f" to {largest}" if float(largest) > float(size) else ""
        flute, overall = rounded_up(change.flute_mm, 1), rounded_up(change.overall_mm, 1)
        said = (
            f"a drill of {size} mm that goes {change.depth_mm:.1f} mm deep from the "
            f"{change.from_}: {flute} mm of flute, {overall} mm overall ([drilling] drills)"
        )
    if change.max_length_to_diameter is not None:
        ratio = rounded_up(change.max_length_to_diameter, 1)
        said += f", guided ([drilling] max_length_to_diameter of {ratio}"
        said += f", {given.max_length_to_diameter:g} given)"
    if change.wall_allowance_mm is not None:
        cut = 0.5 * drill.diameter - line.radius
        said += (
            f"; it cuts {_fine(cut)} mm of the wall, with tolerance and run-out "
            f"{rounded_up(change.wall_allowance_mm, 2)} mm ([drilling] wall_allowance of "
            f"{rounded_up(change.wall_allowance_mm, 2)}, {given.wall_allowance:g} given)"
        )
        if cut <= FACET_MM:
            said += (
                f", or is that the mesh's facets ([part] mesh_tolerance of {rounded_up(cut, 3)})?"
            )
        elif change.redesign:
            said += ": a redesign, not a remedy"
    return said


def _fine(cut: float) -> str:
    """A cut in two decimals, in three where it is small."""
    return rounded_up(cut, 3 if cut < 0.1 else 2)
