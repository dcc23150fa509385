"""Where a twist drill meets a sheet aslant.

In: a stroke of a plan. Out: words for the work sequence, or none.
"""

from __future__ import annotations

from clearance.result import Drilling

WANDERS_DEG = 30.0
"""Farther off the normal of the face that it meets, a twist drill wanders: common practice, no
source."""
EDGE_ON_DEG = 80.0
"""From here on it runs along the sheet rather than into its face."""


def off_normal(stroke: Drilling) -> float:
    """Angle between a drill's axis and the normal of a sheet, which is level, in degrees."""
    return min(stroke.tilt_from_z_deg, 180.0 - stroke.tilt_from_z_deg)


def wanders(stroke: Drilling) -> str:
    """That a drill meets the sheet so far off its normal that it needs to be led; else empty.

    An electrode does not touch it.
    """
    if stroke.tool == "electrode":
        return ""
    off = off_normal(stroke)
    if off <= WANDERS_DEG:
        return ""
    if off < EDGE_ON_DEG:
        help_first = "a guide bush or a spot face first"
    else:
        help_first = "it runs along the sheet, a guide bush first"
    return (
        f"meets the sheet {off:.0f} deg off its normal, where a twist drill wanders: {help_first}"
    )
