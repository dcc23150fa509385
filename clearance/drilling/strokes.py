"""Strokes, one drill on one line each, and what drilling can do for a passage.

In: lines and drills. Out: `Stroke`s, the fewest that clear what has to be cleared, `Reached`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from clearance.drilling.bore import Bore
from clearance.drilling.drills import Drill, h8_lower, point_length, run_out
from clearance.drilling.obstacles import Tool
from clearance.drilling.wall_left import Hole
from clearance.drilling.widest_line import Widest
from clearance.kernels.vectors import Floats
from clearance.result import Drilling, Rework
from clearance.verdict.one_variant import Judged


@dataclass(frozen=True)
class Reached:
    """What drilling can do for one passage.

    Attributes
    ----------
    rework : Rework or None
    why_not : str
        The nearest miss, in words; empty if there is a plan.
    whole_interval : bool
        The plan works whatever is true of what is not known of the event.
    faces_platform : bool
        Only mouths that face the platform could be entered.
    ruled_out : bool
        It is proven that no straight line is wide enough, whatever the drill, even if half a
        millimetre of the wall were cut.
    settled_by : tuple of str
        Tools or keys with which there might be a plan.
    bores : tuple of Bore
        What the plan takes out, in the first variant.
    holes : tuple of Hole
        The same with what tolerance and run-out may take.
    after : Judged or None
        The re-check in the first variant.
    """

    rework: Rework | None
    why_not: str
    whole_interval: bool = True
    faces_platform: bool = False
    ruled_out: bool = False
    settled_by: tuple[str, ...] = ()
    bores: tuple[Bore, ...] = ()
    holes: tuple[Hole, ...] = ()
    after: Judged | None = None


@dataclass(frozen=True, eq=False)
class Stroke:
    """One drill on one line."""

    opening: str
    order: int
    target: int
    clears: tuple[int, ...]
    line: Widest
    drill: Drill
    depth: float  # full diameter, from the entry, mm
    overrun: float
    bore: Bore

    @property
    def margin(self) -> float:
        """Wall margin, mm; negative where the wall is cut."""
        return self.line.radius - 0.5 * self.drill.diameter

    @property
    def hole(self) -> Hole:
        """What it may take away inward of the mouth."""
        taken = run_out(self.drill) - h8_lower(self.drill.diameter)
        point = point_length(self.drill.diameter)
        radius = 0.5 * self.drill.diameter
        return Hole(self.line.start, self.line.direction, radius, self.depth, point, taken)

    @property
    def tool(self) -> Tool:
        """The drill in its holder."""
        tip = self.depth + point_length(self.drill.diameter)
        return Tool(self.drill, self.line.start, self.line.direction, tip, self.margin)

    def key(self) -> tuple[float, ...]:
        """Not cutting first, then more sheets at once, most margin, shortest drill, port order."""
        cuts = 0.0 if self.margin >= 0.0 else 1.0
        return (cuts, -len(self.clears), -round(self.margin, 3), self.drill.overall, self.order)


@dataclass(frozen=True)
class Miss:
    """A line or drill that does not do, how near it comes (larger is nearer), what would do."""

    nearness: float
    words: str
    settled_by: str = ""


def covering(strokes: list[Stroke], targets: list[int], needed: set[int]) -> list[Stroke] | None:
    """Strokes that clear what they reach of the targets, the best first, as few as that needs.

    None if some of those that are needed stay.
    """
    plan: list[Stroke] = []
    left = set(targets)
    for stroke in sorted(strokes, key=Stroke.key):
        if left & set(stroke.clears):
            plan.append(stroke)
            left -= set(stroke.clears)
    return None if left & needed else sorted(plan, key=lambda stroke: stroke.target)


def plain(at: Floats) -> tuple[float, float, float]:
    """A place as plain numbers."""
    return float(at[0]), float(at[1]), float(at[2])


def in_words(stroke: Drilling) -> str:
    """One operation: which drill, from where, how deep."""
    start = f"the {stroke.from_}" if stroke.from_ in ("inlet", "outlet") else stroke.from_
    return (
        f"{stroke.drill_diameter_mm:g} mm drill ({stroke.series}) from {start}, "
        f"{stroke.depth_mm:.1f} mm deep to its tip"
    )


def described(stroke: Stroke) -> Drilling:
    """A stroke as the result tells it."""
    out = -stroke.line.direction
    depth = stroke.depth + point_length(stroke.drill.diameter)
    margin = stroke.margin
    return Drilling(
        crossing=stroke.target,
        also_clears=tuple(n for n in stroke.clears if n != stroke.target),
        drill_diameter_mm=stroke.drill.diameter,
        series=stroke.drill.series,
        flute_mm=stroke.drill.flute,
        overall_mm=stroke.drill.overall,
        from_=stroke.opening,
        entry_mm=plain(stroke.line.start),
        direction=plain(stroke.line.direction),
        depth_mm=depth,
        length_to_diameter=depth / stroke.drill.diameter,
        wall_margin_mm=max(margin, 0.0),
        wall_cut_mm=max(-margin, 0.0),
        overrun_mm=stroke.overrun,
        # Tilted about its entry by a, the drill's end moves by depth x tan a at most.
        tilt_tolerance_deg=math.degrees(math.atan(max(margin, 0.0) / depth)),
        tilt_from_z_deg=math.degrees(math.acos(min(max(float(out[2]), -1.0), 1.0))),
        turn_about_z_deg=round(math.degrees(math.atan2(float(out[1]), float(out[0]))), 6) + 0.0,
        drill_tolerance_mm=-h8_lower(stroke.drill.diameter),
        run_out_mm=run_out(stroke.drill),
    )
