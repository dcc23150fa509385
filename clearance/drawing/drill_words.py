"""What a drawing says of an operation's axis, set-up and tolerances.

In: a stroke of a plan. Out: words.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from clearance.drilling.aslant import off_normal, wanders
from clearance.result import Drilling
from clearance.result.passage import Tool
from clearance.verdict.numbers import given, near, rounded_up

UPRIGHT_DEG = 0.005
"""Less tilt than this has no direction to turn to."""
TURN_DEG = 0.05
"""Nearer to an axis than this a direction is that axis."""


def compass(x: float, y: float) -> str:
    """A direction in the layer plane: an axis of the part where it is one, else its turn."""
    turn = math.degrees(math.atan2(y, x)) % 360.0
    quarter = round(turn / 90.0)
    if abs(turn - 90.0 * quarter) < TURN_DEG:
        return ("+x", "+y", "-x", "-y")[quarter % 4]
    return f"{turn:.1f} deg from +x to +y"


def axis_words(direction: Sequence[float], tool: Tool = "drill") -> str:
    """Which way a tool goes: up or down, how far off the vertical, and towards where."""
    x, y, z = direction
    done = "eroded" if tool == "electrode" else "drilled"
    way = f"{done} {'upward' if z > 0.0 else 'downward'}"
    tilt = math.degrees(math.atan2(math.hypot(x, y), abs(z)))
    if tilt < UPRIGHT_DEG:
        return f"axis vertical, {way}"
    towards = compass(x, y)
    if tilt > 90.0 - TURN_DEG:
        return f"axis horizontal, towards {towards}"
    return f"axis {tilt:.1f} deg from vertical, towards {towards}, {way}"


def taken(stroke: Drilling) -> str:
    """What drill tolerance and run-out take: of the margin, or of the wall on top of the cut."""
    said = f"tolerance h8 {given(stroke.drill_tolerance_mm)} mm, "
    said += f"run-out {near(stroke.run_out_mm)} mm: "
    both = stroke.drill_tolerance_mm + stroke.run_out_mm
    if stroke.tool == "electrode":
        return f"the hole's radius may be {given(both)} mm more: still to come off the clearance"
    if stroke.wall_cut_mm > 0.0:
        return f"{said}with both {rounded_up(stroke.wall_cut_mm + both, 2)} mm of the wall is cut"
    if stroke.wall_margin_mm < both:
        return f"{said}together more than the clearance, the drill may touch the wall"
    return f"{said}both are still to come off the clearance"


def set_up(stroke: Drilling) -> str:
    """How the part stands under an upright spindle, and which way the shank leans."""
    shank = "axis" if stroke.tool == "electrode" else "shank"
    turned_over = stroke.tilt_from_z_deg > 90.0
    off, turn = off_normal(stroke), stroke.turn_about_z_deg
    said = f"set-up: build direction {'down' if turned_over else 'up'}, "
    if off < UPRIGHT_DEG:
        return f"{said}{stroke.tool} upright: {shank} {stroke.tilt_from_z_deg:.2f} deg off +Z"
    said += (
        f"{shank} {off:.2f} deg off the vertical: {stroke.tilt_from_z_deg:.2f} deg off +Z, "
        f"turned {abs(turn) if near(turn) == '-180.00' else turn:.2f} deg about +Z from +x to +y"
    )
    return said + (f"; {aslant}" if (aslant := wanders(stroke)) else "")
