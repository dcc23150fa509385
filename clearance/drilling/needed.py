"""What a straight line would take: a longer drill, a guided one, a cut of the wall.

In: a line that is nearly wide enough, or one that no drill at hand reaches along. Out: a `Change`,
with the numbers that would have to be given for a plan along it.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
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


@dataclass(frozen=True)
class Along:
    """A line that a drill would go along, and what holds for every drill there.

    Attributes
    ----------
    opening : str
        Where it enters.
    line : Widest
    depth_of : callable
        Depth of the full diameter of a drill along the line, mm.
    given : the [drilling] table
    practice : Practice
    facet_mm : float
        By so much the mesh's wall may stand inward of the true one.
    standoff_mm : float
        So far from the entry the holder's face has to stay: it leans with the line.
    """

    opening: str
    line: Widest
    depth_of: Callable[[Drill], float]
    given: Given
    practice: Practice
    facet_mm: float = 0.0
    standoff_mm: float = 0.0

    def ideal(self, diameter: float) -> Drill:
        """The shortest drill of a diameter that is long enough."""
        angle = self.practice.point_angle_deg
        tip = self.depth_of(Drill(diameter, 0.0, 0.0, "", angle=angle))
        tip += point_length(diameter, angle)
        flute = tip + self.practice.chip_room_diameters * diameter
        overall = tip + CLAMPED_DIAMETERS * diameter + self.standoff_mm
        return Drill(diameter, flute, max(overall, flute), "", angle=angle)

    def too_short(self, drill: Drill) -> bool:
        """Whether flute or shank of a drill end before it is through."""
        depth_mm = self.depth_of(drill)
        limits = reach_limits(drill, depth_mm, self.practice)
        if any(limit.kind in ("flute", "overall") for limit in limits):
            return True
        projects = drill.overall - CLAMPED_DIAMETERS * drill.diameter
        return projects < depth_mm + drill.point + self.standoff_mm

    def cut(self, drill: Drill) -> float:
        """What it cuts of the wall with tolerance and run-out, mm; 0 if it cuts none without."""
        cut = self.beyond(drill)
        return cut + taken(drill) if cut > self.facet_mm else 0.0

    def beyond(self, drill: Drill) -> float:
        """By how much its radius is wider than the line is clear, mm."""
        return 0.5 * drill.diameter - self.line.radius


def needed(
    along: Along, required_mm: float, at_hand: Sequence[Drill], refused_mm: float = 0.0
) -> tuple[Change, ...]:
    """What it would take to drill along a line, the least cut first; none if its room is not known.

    Parameters
    ----------
    along : Along
    required_mm : float
        Ball that has to pass.
    at_hand : sequence of Drill
    refused_mm : float
        Drills up to this were refused by the re-check.
    """
    radius = along.line.radius
    least = max(least_diameter(required_mm), refused_mm + STEP_MM)
    if radius <= 0.0 or least > H8_LOWER_MM[-1][0]:
        return ()
    ideal = along.ideal(least)
    useful = [d for d in at_hand if d.diameter > refused_mm]
    useful = [d for d in useful if d.diameter + h8_lower(d.diameter) >= required_mm]
    long_enough = [d for d in useful if not along.too_short(d)]
    own = min(long_enough, key=lambda d: fit(d, radius, along.facet_mm), default=None)
    found = []
    if own is None or along.cut(own) > along.cut(ideal):
        found.append(_change(along, ideal))
    if own is not None and along.beyond(own) <= REDESIGN_MM:
        found.append(_change(along, own))
    return tuple(found)


def asks(change: Change) -> bool:
    """Whether a change asks for anything that is not given."""
    wanted = (change.max_length_to_diameter, change.wall_allowance_mm)
    return not change.at_hand or wanted != (None, None)


def _change(along: Along, drill: Drill) -> Change:
    """What one drill takes; a drill whose series is none is still to be had."""
    given, practice = along.given, along.practice
    size = drill.diameter
    if not drill.series:  # one of the size that is said, in two decimals, has to do
        size = float(rounded_up(size, 2))
    tip = along.depth_of(drill) + point_length(size, practice.point_angle_deg)
    ratio = tip / drill.diameter
    wall = along.cut(drill)
    change = Change(
        from_=along.opening,
        least_diameter_mm=drill.diameter,
        greatest_diameter_mm=max(drill.diameter, 2.0 * along.line.radius),
        depth_mm=tip,
        flute_mm=tip + practice.chip_room_diameters * size,
        overall_mm=tip + CLAMPED_DIAMETERS * size + along.standoff_mm,
        at_hand=bool(drill.series),
        max_length_to_diameter=ratio if ratio > given.max_length_to_diameter else None,
        wall_allowance_mm=wall if wall > given.wall_allowance else None,
        redesign=along.beyond(drill) > REDESIGN_MM,
        words="",
    )
    return replace(change, words=_words(change, drill, given, along.beyond(drill)))


def _words(change: Change, drill: Drill, given: Given, cut: float) -> str:
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
