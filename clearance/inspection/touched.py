"""Methods that go in from a port: a scope, a ball, a pin.

In: a `Target`, the passage's check and what is computed of balls and pins. Out: answers.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from clearance.evidence.balls import in_words
from clearance.evidence.pins import held, tip
from clearance.geometry import polylines
from clearance.geometry.box_tree import Tree
from clearance.geometry.segments import segment_clearances
from clearance.inspection.answers import Said
from clearance.inspection.simple import rigid_length
from clearance.inspection.targets import Target
from clearance.passages.crossings import Crossing
from clearance.passages.way import enters
from clearance.predicted.part import NOMINAL
from clearance.result import Ball, GaugePin
from clearance.verdict.numbers import least, most, near
from clearance.verdict.passage_check import PassageCheck

Floats = NDArray[np.float64]

POINTS = 60
"""Places along the way between which straight stretches are looked for."""
ROUGH_MM = 0.1
"""A ball that stands this near to one of its limits may be kept or let through by roughness."""
ROUNDING = 1e-9
"""A distance is looked for up to so much more than is asked for, as a share of it."""
FIRST_ONLY = "it shows the first face only, and not what stands behind it"


@dataclass(frozen=True)
class Seen:
    """Straight stretches by which something of a diameter gets from a port to a crossing."""

    port: str
    legs: int
    length_mm: float
    turn_deg: float


def scope(target: Target, check: PassageCheck) -> Said:
    """A scope from either port, rigid where the way is straight, else flexible."""
    keys = check.checked.case.inspection
    assert target.crossing is not None
    route = check.nominal.way.route
    place = enters(route, target.crossing) if len(route) else None
    if place is None:
        why = "it lies beside the way from inlet to outlet: ask where a scope gets in"
        return Said("scope", "ask", {}, why)
    tree = check.search(check.predicted(NOMINAL, check.checked.pitch_mm), []).tree
    others = [c for c in check.judged[0].crossings if c is not target.crossing]
    tried = [
        (d, kind, seen)
        for d, kind in ((keys.rigid_scope, "rigid"), (keys.flexible_scope, "flexible"))
        for seen in _ways(check, tree, route, place, others, d)
    ]
    straight = [t for t in tried if t[1] == "rigid" and t[2].legs == 1]
    if straight:
        d, _, seen = min(straight, key=lambda t: t[2].length_mm)
        numbers = {"scope_mm": d, "bends": 0.0, "length_mm": seen.length_mm}
        answer = "yes" if seen.length_mm <= keys.rigid_reach * d else "ask"
        said = f"rigid, {d:g} mm, from the {seen.port}, straight, {most(seen.length_mm)} mm deep"
        return Said("scope", answer, numbers, f"{said}; {FIRST_ONLY}")  # type: ignore[arg-type]
    bent = [t for t in tried if t[1] == "flexible"]
    if not bent:
        why = f"no way for a scope of {keys.flexible_scope:g} mm up to it from either port"
        return Said("scope", "no", {}, why)
    d, _, seen = min(bent, key=lambda t: (t[2].legs, t[2].length_mm))
    bore = check.nominal.way.low_mm
    stiff = rigid_length(bore, d, 0.5 * bore)
    numbers = {
        "scope_mm": d,
        "bends": float(seen.legs - 1),
        "length_mm": seen.length_mm,
        "turn_deg": seen.turn_deg,
        "rigid_length_mm": stiff,
    }
    said = (
        f"flexible, {d:g} mm, from the {seen.port}, {most(seen.length_mm)} mm, "
        f"{seen.legs - 1} bend{'s' if seen.legs > 2 else ''}, {seen.turn_deg:.0f} deg together; a "
        f"rigid tip of up to {least(stiff)} mm passes a sharp bend of the narrowest bore"
    )
    return Said("scope", "ask", numbers, f"{said}; {FIRST_ONLY}")


def _ways(
    check: PassageCheck,
    tree: Tree,
    route: Floats,
    place: Floats,
    others: list[Crossing],
    diameter: float,
) -> list[Seen]:
    """From each port from which no other crossing is in the way."""
    found = []
    for port, way in (("inlet", route), ("outlet", route[::-1])):
        upto = _upto(way, place)
        before = upto[1:-1] if len(upto) > 2 else upto
        if any(_in_the_way(before, other, diameter) for other in others):
            continue
        seen = _legs(tree, upto, diameter)
        if seen is not None:
            found.append(Seen(port, *seen))
    return found


def _in_the_way(way: Floats, other: Crossing, diameter: float) -> bool:
    return other.circle_mm < diameter and len(way) > 1 and enters(way, other) is not None


def _upto(way: Floats, place: Floats) -> Floats:
    """A way up to the place nearest to a point, at even distances."""
    along = polylines.lengths(way)
    many = polylines.points_at(np.linspace(0.0, along[-1], 10 * POINTS), along, way)
    last = int(np.argmin(np.linalg.norm(many - place, axis=1)))
    end = along[-1] * last / (10 * POINTS - 1)
    return polylines.points_at(np.linspace(0.0, end, POINTS), along, way)


def _legs(tree: Tree, points: Floats, diameter: float) -> tuple[int, float, float] | None:
    """Fewest straight stretches along some points that keep half a diameter from metal.

    The first and last bit, as long as the diameter, may lie nearer: there a rim or the sheet is.
    """
    along = polylines.lengths(points)
    inside = (along >= 0.5 * diameter) & (along <= along[-1] - 0.5 * diameter)
    inner = points[inside]
    if len(inner) < 2:
        return 1, float(along[-1]), 0.0
    corners, enough = [0], 0.5 * diameter
    while corners[-1] < len(inner) - 1:
        here = corners[-1]
        ahead = inner[here + 1 :]
        starts = np.repeat(inner[here][None], len(ahead), 0)
        room, _, _ = segment_clearances(tree, starts, ahead, enough * (1.0 + ROUNDING))
        free = np.flatnonzero(room >= enough)
        if not len(free):
            return None
        corners.append(here + 1 + int(free[-1]))
    legs = np.diff(inner[corners], axis=0)
    legs /= np.linalg.norm(legs, axis=1)[:, None]
    turns = [math.acos(float(np.clip(a @ b, -1.0, 1.0))) for a, b in itertools.pairwise(legs)]
    return len(legs), float(along[-1]), math.degrees(sum(turns))


def ball(passage: str, balls: tuple[Ball, ...], narrowed: int) -> Said:
    """A bearing ball through the passage; `narrowed`: crossings that suffer in it."""
    found = next((one for one in balls if one.passage == passage), None)
    if found is None or found.tells_mm is None:
        residual = None if found is None else found.residual_mm
        numbers = {} if residual is None else {"residual_mm": residual}
        return Said("ball", "no", numbers, "no stock ball passes one part and not the other")
    limits = [found.passes_nominal_mm, found.passes_predicted_mm]
    which = "" if narrowed < 2 else f"; not which of {narrowed} crossings stops it"
    numbers = {"ball_mm": found.tells_mm}
    numbers |= {
        name: value
        for name, value in zip(("passes_nominal_mm", "passes_predicted_mm"), limits, strict=True)
        if value is not None
    }
    said = f"{in_words(found.tells_mm)} must pass, and stops if it is as predicted{which}"
    return Said("ball", "yes", numbers, said)


def pin(target: Target, check: PassageCheck, pins: tuple[GaugePin, ...]) -> Said:
    """A gauge pin from a port, as far as it stops at this crossing."""
    crossing = target.crossing
    assert crossing is not None
    name = check.passage.name
    for port, mouth in (("inlet", check.inlet), ("outlet", check.outlet)):
        for one in pins:
            if one.port != f"{name} {port}" or not one.tells_apart:
                continue
            end = tip(mouth, one)
            if end is None or not _at(crossing, end, one):
                continue
            numbers = {"pin_mm": one.pin_diameter_mm, "depth_mm": float(one.stops_at_mm or 0.0)}
            if one.nominal_stops_at_mm is not None:
                numbers["nominal_depth_mm"] = one.nominal_stops_at_mm
            aslant = f", {way}" if (way := held(one.off_normal_deg)) else ""
            said = f"{near(one.pin_diameter_mm)} mm in the {port}{aslant}: stops at "
            return Said("pin", "yes", numbers, f"{said}{near(numbers['depth_mm'], 1)} mm")
    return Said("pin", "no", {}, "no straight pin from a port stops at it")


def _at(crossing: Crossing, end: Floats, one: GaugePin) -> bool:
    """Whether a pin whose axis ends there meets the crossing's sheet with its face."""
    down = 1.0 if one.direction is None else abs(one.direction[2])
    reach = 0.5 * one.pin_diameter_mm * math.sqrt(max(1.0 - down * down, 0.0)) + 2.0 * ROUGH_MM
    return bool(crossing.low - reach <= end[2] <= crossing.high + reach)
