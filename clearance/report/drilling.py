"""Drilling plans in words.

In: `Rework`s of a `Result`. Out: lines of text.
"""

from __future__ import annotations

from collections.abc import Iterable

from clearance.drilling.aslant import wanders
from clearance.result import Drilling, PassageResult, Rework
from clearance.verdict.numbers import point, rounded_down


def drilling_lines(passages: Iterable[PassageResult]) -> list[str]:
    """Every operation of every plan, and what it leads to, a line each."""
    lines = []
    for passage in passages:
        if passage.rework is None:
            continue
        for stroke in passage.rework.drilling:
            lines.append(f"{passage.name}: {stroke_line(stroke)}")
        after = f"{rounded_down(passage.rework.clear_diameter_after_mm, 2)} mm"
        wall = "".join(f"; {said}" for said in wall_words(passage.rework))
        lines.append(f"{passage.name} then: {passage.rework.state_after}, at least {after}{wall}")
        lines += [f"{passage.name}: not settled: {said}" for said in passage.rework.conflicts]
    return lines


def wall_words(plan: Rework) -> list[str]:
    """What a plan cuts of the wall and what it leaves, at its worst; empty where it keeps clear."""
    said = []
    if plan.cuts_wall:
        worst = max(
            plan.drilling, key=lambda d: d.wall_cut_mm + d.drill_tolerance_mm + d.run_out_mm
        )
        taken = worst.wall_cut_mm + worst.drill_tolerance_mm + worst.run_out_mm
        said.append(f"the wall cut by {worst.wall_cut_mm:.2f}, with run-out {taken:.2f} mm")
    if plan.wall_least_mm is not None:
        said.append(f"{rounded_down(plan.wall_least_mm, 2)} mm of wall left at worst")
    return said


def stroke_line(stroke: Drilling) -> str:
    """One drilling operation in words, all its numbers."""
    ux, uy, uz = stroke.direction
    aslant = f"; {way}" if (way := wanders(stroke)) else ""
    cleared = ", ".join(str(n) for n in dict.fromkeys((stroke.crossing, *stroke.also_clears)))
    return (
        f"twist drill {stroke.drill_diameter_mm:g} mm ({stroke.series}, flute "
        f"{stroke.flute_mm:g}, overall {stroke.overall_mm:g}) from {stroke.from_}, "
        f"through crossing {cleared}; entry {point(stroke.entry_mm)}, direction "
        f"({ux:.4f}, {uy:.4f}, {uz:.4f}), its shank {stroke.tilt_from_z_deg:.2f} deg off +z; "
        f"depth {stroke.depth_mm:.2f} mm, {stroke.length_to_diameter:.1f} times the diameter; "
        f"wall margin {stroke.wall_margin_mm:.2f} mm, overrun {stroke.overrun_mm:.2f} mm, "
        f"tilt tolerance {stroke.tilt_tolerance_deg:.2f} deg{aslant}"
    )
