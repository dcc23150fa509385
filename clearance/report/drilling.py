"""Drilling plans in words.

In: `Rework`s of a `Result`. Out: lines of text.
"""

from __future__ import annotations

from collections.abc import Iterable

from clearance.drilling.aslant import wanders
from clearance.result import Drilling, PassageResult, Pieces, Rework
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
            lines += [f"{passage.name}: {pieces_line(one)}" for one in operation.pieces]
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
