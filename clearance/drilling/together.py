"""The plans of one part judged together: holes that are fine one by one may meet.

In: the holes of every passage's plan. Out: for each passage what speaks against drilling its plan
as well as the others. A hole that keeps clear of every other void, and of every other hole, leaves
all other passages as they were, so that each plan's own re-check still holds.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import cache
from itertools import combinations

import numpy as np

from clearance.drilling import bore as bores
from clearance.drilling.hole_faces import Faces, Walls
from clearance.drilling.wall_left import NEAR_MM, Hole
from clearance.geometry import box_tree, segments
from clearance.heights import place
from clearance.predicted.part import Events
from clearance.verdict.prepared import Checked


def conflicts(
    checked: Checked, events: Events, plans: Mapping[str, tuple[Hole, ...]]
) -> dict[str, tuple[str, ...]]:
    """For each passage with a plan what speaks against drilling the others' too.

    Parameters
    ----------
    checked : Checked
    events : Events
        Where the part stands.
    plans : mapping of passage name to holes
    """
    standing = checked.whole.predict(events)

    @cache
    def cut(hole: Hole) -> Walls:
        return Walls(Faces(checked.whole, hole.bore(True, 0.0)).metal(standing))

    found: dict[str, list[str]] = {name: [] for name in plans}
    for a, b in combinations(plans, 2):
        if _one_void(checked, a, b):
            continue
        for one in plans[a]:
            for two in plans[b]:
                said = _between(checked, cut, one, two)
                if said:
                    found[a].append(f"drilled as well as the plan of {b}, {said}")
                    found[b].append(f"drilled as well as the plan of {a}, {said}")
    return {name: tuple(dict.fromkeys(said)) for name, said in found.items()}


def _one_void(checked: Checked, a: str, b: str) -> bool:
    """Whether two passages run through one void of the nominal part: there holes may meet."""
    behind = checked.patches.behind
    return bool(behind[f"{a} inlet"] & behind[f"{b} inlet"])


def _between(checked: Checked, cut: Callable[[Hole], Walls], one: Hole, two: Hole) -> str:
    """What is wrong between two holes of different voids, at their largest; empty if nothing."""
    solids = one.bore(True, 0.0), two.bore(True, 0.0)
    soups = bores.soup(solids[0]), bores.soup(solids[1])
    tree = box_tree.build(np.array([[two.entry, two.tip, two.tip]], np.float32))
    axes, at, _ = segments.segment_clearance(tree, one.entry, one.tip)
    left = axes - one.radius - two.radius
    near = place(at, checked.platform_z)
    if len(bores.meeting(soups[1], solids[0])) or len(bores.meeting(soups[0], solids[1])):
        return (
            f"the two holes meet near {near}: {left:.2f} mm of wall between them, of which "
            f"drill tolerances and run-out may take {one.taken + two.taken:.2f} mm"
        )
    least = checked.case.drilling.min_wall
    if least is None or left - one.taken - two.taken > max(least, NEAR_MM):
        return ""
    walls = [cut(one).apart(Walls(soups[1]), NEAR_MM), cut(two).apart(Walls(soups[0]), NEAR_MM)]
    wall = min((found for found in walls if found is not None), default=least)
    if wall >= least:
        return ""
    return (
        f"{wall:.2f} mm of wall would be left between the two holes near {near} once drill "
        f"tolerances and run-out are taken off, {least:.2f} required"
    )
