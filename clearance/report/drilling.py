"""Drilling plans in words.

In: `Rework`s of a `Result`. Out: lines of text.
"""

from __future__ import annotations

from collections.abc import Iterable

from clearance.drilling.aslant import wanders
from clearance.drilling.practice import worded
from clearance.result import Drilling, PassageResult, Pieces, Rework
from clearance.verdict.names import listed
from clearance.verdict.numbers import (
    given,
    least,
    most,
    near,
    point,
    rounded_down,
    rounded_up,
)


def drilling_lines(passages: Iterable[PassageResult]) -> list[str]:
    """Every operation of every plan, and what it leads to, a line each."""
    lines = []
    for passage in passages:
        plan = passage.rework
        if plan is None:
            continue
        count = len(plan.drilling)
        for number, operation in enumerate(plan.drilling, 1):
            every = "both" if count == 2 else f"all {count}"
            which = f", {number} of {count}, open only after {every}" if count > 1 else ""
            lines.append(f"{passage.name}{which}: {operation_line(operation)}")
            said = (forces_line(operation), *worded(operation.practice))
            lines += [f"{passage.name}: {one}" for one in said if one]
            lines += [f"{passage.name}: {pieces_line(one)}" for one in operation.pieces]
        if plan.why_electrode:
            lines.append(f"{passage.name}: an electrode, since {plan.why_electrode}")
        after = f"{plan.state_after}, at least {least(plan.clear_diameter_after_mm)} mm"
        lines.append("; ".join([f"{passage.name} then: {after}", *wall_words(plan)]))
        lines += [f"{passage.name}: undecided: {said}" for said in plan.conflicts]
    return lines


def pieces_line(found: Pieces) -> str:
    """What comes loose of a crossing and what stays, in words."""
    low, high = least(found["thickness_low_mm"]), most(found["thickness_high_mm"])
    said = [f"crossing {found['crossing'] + 1}, sheet {low} to {high} mm thick"]
    if found["loose_mm"] > 0.0:
        piece = f"a piece up to {most(found['loose_mm'])} mm wide{_mass(found['loose_g'])}"
        said.append(f"loose: {piece}, if it comes off whole")
    if found["rim_width_mm"] > 0.0:
        said.append(
            f"a rim stays, up to {most(found['rim_width_mm'])} mm wide on "
            f"{near(found['rim_length_mm'], 1)} mm of wall{_mass(found['rim_g'])}: it may break off"
        )
    else:
        said.append("no rim stays")
    if found["strainer_mm"] is not None:
        said.append(f"strainer behind it: openings of {least(found['strainer_mm'])} mm at most")
    return "; ".join(said)


def _mass(mass_g: float | None) -> str:
    return "" if mass_g is None else f" ({near(1e3 * mass_g, 0)} mg)"


def wall_words(plan: Rework) -> list[str]:
    """What a plan cuts of the wall and what it leaves, at its worst; empty where it keeps clear."""
    said = []
    if plan.cuts_wall:
        worst = max(
            plan.drilling, key=lambda d: d.wall_cut_mm + d.drill_tolerance_mm + d.run_out_mm
        )
        taken = worst.wall_cut_mm + worst.drill_tolerance_mm + worst.run_out_mm
        cut, with_run_out = most(worst.wall_cut_mm), most(taken)
        said.append(f"the wall cut by {cut} mm, {with_run_out} mm with run-out")
    if plan.wall_least_mm is not None:
        said.append(f"{least(plan.wall_least_mm)} mm of wall left at worst")
    return said


def operation_line(found: Drilling) -> str:
    """One drilling operation in words, all its numbers."""
    ux, uy, uz = found.direction
    aslant = f"; {way}" if (way := wanders(found)) else ""
    cleared = listed([f"{n + 1}" for n in dict.fromkeys((found.crossing, *found.also_clears))])
    if found.tool == "electrode":
        tool, shank = f"electrode for a hole of {given(found.drill_diameter_mm)} mm", "axis"
    else:
        shank = "shank"
        lengths = f"flute {given(found.flute_mm)}, overall {given(found.overall_mm)}"
        tool = f"twist drill {given(found.drill_diameter_mm)} mm ({found.series}, {lengths})"
    return (
        f"{tool} from {found.from_}, through crossing {cleared}; entry {point(found.entry_mm)}, "
        f"direction ({ux:z.4f}, {uy:z.4f}, {uz:z.4f}), its {shank} "
        f"{near(found.tilt_from_z_deg)} deg off +z; "
        f"depth {near(found.depth_mm, 1)} mm, {near(found.length_to_diameter, 1)} times the "
        f"diameter; radial clearance {least(found.wall_margin_mm)} mm, breakthrough "
        f"{near(found.overrun_mm)} mm, permissible angular error "
        f"{least(found.tilt_tolerance_deg)} deg{aslant}"
    )


def forces_line(found: Drilling) -> str:
    """Thrust and torque that a drill needs, where they are known; else empty."""
    numbers: dict[str, float] = {}
    for one in found.practice:
        numbers |= one["numbers"]
    if not {"thrust_low_n", "torque_low_nm"} <= numbers.keys():
        return ""
    low, high = rounded_down(numbers["thrust_low_n"], 0), rounded_up(numbers["thrust_high_n"], 0)
    turn = (
        f"{rounded_down(numbers['torque_low_nm'], 2)} to {rounded_up(numbers['torque_high_nm'], 2)}"
    )
    return f"thrust {low} to {high} N, torque {turn} N m"


def by_electrode(passage: PassageResult) -> bool:
    """Whether its plan is one of spark erosion."""
    plan = passage.rework
    return plan is not None and any(one.tool == "electrode" for one in plan.drilling)


def end_of(stroke: Drilling) -> str:
    """What a depth is counted to."""
    return "end" if stroke.tool == "electrode" else "tip"


def tool_named(stroke: Drilling) -> str:
    """A tool as a drawing names it."""
    wide = f"⌀{given(stroke.drill_diameter_mm)}"
    return f"electrode, {wide}" if stroke.tool == "electrode" else f"{wide} drill, {stroke.series}"


def tool_line(stroke: Drilling) -> str:
    """A tool with its lengths."""
    wide = f"⌀{given(stroke.drill_diameter_mm)}"
    if stroke.tool == "electrode":
        return f"spark erosion, electrode for a hole of {wide}, overcut included"
    flute, overall = given(stroke.flute_mm), given(stroke.overall_mm)
    return f"twist drill {wide}, {stroke.series}: flute {flute}, overall {overall} mm"
