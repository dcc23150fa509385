"""Drilling plans in words.

In: `Rework`s of a `Result`. Out: lines of text.
"""

from __future__ import annotations

from collections.abc import Iterable

from clearance.drilling.aslant import wanders
from clearance.result import Drilling, PassageResult, Rework
from clearance.verdict.names import listed
from clearance.verdict.numbers import given, least, most, near, point


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
        after = f"{plan.state_after}, at least {least(plan.clear_diameter_after_mm)} mm"
        lines.append("; ".join([f"{passage.name} then: {after}", *wall_words(plan)]))
        lines += [f"{passage.name}: undecided: {said}" for said in plan.conflicts]
    return lines


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
    return (
        f"twist drill {given(found.drill_diameter_mm)} mm ({found.series}, flute "
        f"{given(found.flute_mm)}, overall {given(found.overall_mm)}) from {found.from_}, "
        f"through crossing {cleared}; entry {point(found.entry_mm)}, direction "
        f"({ux:z.4f}, {uy:z.4f}, {uz:z.4f}), its shank {near(found.tilt_from_z_deg)} deg off +z; "
        f"depth {near(found.depth_mm, 1)} mm, {near(found.length_to_diameter, 1)} times the "
        f"diameter; radial clearance {least(found.wall_margin_mm)} mm, breakthrough "
        f"{near(found.overrun_mm)} mm, permissible angular error "
        f"{least(found.tilt_tolerance_deg)} deg{aslant}"
    )
