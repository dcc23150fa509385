"""How much of each joint of a stray sheet hangs together, in words.

In: a `Result`. Out: `Joint`s and lines of text.
"""

from __future__ import annotations

from dataclasses import dataclass

from clearance.result import JointResult, Result, Unmelted
from clearance.verdict.numbers import level, most, near, percent

# ---- what no list of passages tells -----------------------------------------------------------


WHOLE_JOINT = 0.9995
"""A joint of which more than this hangs together is called whole: the rest is rounding."""


@dataclass(frozen=True)
class Joint:
    """The worse of the two faces at which a stray sheet hangs together with the part.

    Attributes
    ----------
    stray : int
    height_mm, metal_mm2, nominal_mm2, share : float
    gap : Unmelted or None
        The powder that is in its way.
    """

    stray: int
    height_mm: float
    metal_mm2: float
    nominal_mm2: float
    share: float
    gap: Unmelted | None


def joints(result: Result) -> tuple[Joint, ...]:
    """The joint of each stray sheet, the worst first."""
    gaps = {gap.stray: gap for gap in result.unmelted if not gap.joint}
    worst: dict[int, JointResult] = {}
    for row in result.resumed_section:
        known = worst.get(row["stray"])
        if known is None or row["share"] < known["share"]:
            worst[row["stray"]] = row
    found = [
        Joint(
            stray,
            row["height_mm"],
            row["metal_area_mm2"],
            row["nominal_area_mm2"],
            row["share"],
            gaps.get(stray),
        )
        for stray, row in worst.items()
    ]
    return tuple(sorted(found, key=lambda joint: joint.share))


def joint_share(share: float) -> str:
    """Share of a joint that hangs together, rounded down: never more than there is."""
    if share < 0.01:
        return "none"
    return "all" if share >= WHOLE_JOINT else percent(share)


def joint_line(joint: Joint) -> str:
    """How much of a joint hangs together, in words."""
    return (
        f"{joint_share(joint.share)} of the section is fused at {level([joint.height_mm])}: "
        f"{near(joint.metal_mm2, 1)} of {near(joint.nominal_mm2, 1)} mm2{not_joined(joint)}"
    )


def not_joined(joint: Joint) -> str:
    """What keeps the rest of a joint apart, and where; nothing where it is whole."""
    if joint.share >= WHOLE_JOINT:
        return ""
    if joint.gap is None:
        return "; the rest does not lie on the metal below it"
    x, y, _ = joint.gap.where_mm
    thick = most(joint.gap.thickness_mm)
    return (
        f"; {near(joint.gap.area_mm2, 1)} mm2 stayed powder {thick} mm thick, around "
        f"x {x:z.1f}, y {y:z.1f}"
    )
