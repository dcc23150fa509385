"""What the pieces, bends, ends and crossings of a passage lose, at one end of the bracket.

In: an `End` and a flow. Out: its shares in kPa, the flow divided over ways beside one another.
Every loss coefficient stands on the mean velocity in the passage at that place.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from itertools import pairwise

from clearance.flow.channel import ROUND, Bend, Branch, End, Piece, Restriction, Stream, equal_mm
from clearance.flow.dividing import divide
from clearance.flow.orifice import SPREAD, Loss, loss
from clearance.result import Shares

LAMINAR = 2040.0
"""Reynolds number up to which `fluids` takes the flow in a tube as laminar."""
TURBULENT = 4000.0
"""Reynolds number from which the flow in a tube is surely taken as turbulent."""
STEP = 0.9
"""Ratio of areas above which a change of diameter loses nothing that counts."""
MITRE_CREEPING, SMOOTH_CREEPING = 1000.0, 800.0
"""What a bend of 90 degrees adds in slow flow, over Re (two-K method, Hooper 1981)."""


def shares(end: End, stream: Stream, most: bool) -> Shares:
    """What a passage loses at one end of the bracket, kPa; of a block by one of its branches."""
    rough = end.roughness_mm
    found: Shares = {
        "friction_kpa": sum(_friction(p, rough, stream, most) for p in end.pieces),
        "bends_kpa": sum(_bend(b, rough, stream, most) for b in end.bends),
        "steps_kpa": _steps(end.pieces, [stream] * len(end.pieces)) if most else 0.0,
        "entrance_kpa": _entrance(end.inlet_mm2, stream, most),
        "exit_kpa": _exit(end.outlet_mm2, stream, most),
        "restrictions_kpa": sum(restriction_kpa(c, stream, rough, most) for c in end.crossings),
    }
    for block in end.blocks:
        part = _divided(block, stream, rough, most)
        found = {
            "friction_kpa": found["friction_kpa"] + part["friction_kpa"],
            "bends_kpa": found["bends_kpa"] + part["bends_kpa"],
            "steps_kpa": found["steps_kpa"] + part["steps_kpa"],
            "entrance_kpa": found["entrance_kpa"] + part["entrance_kpa"],
            "exit_kpa": found["exit_kpa"] + part["exit_kpa"],
            "restrictions_kpa": found["restrictions_kpa"] + part["restrictions_kpa"],
        }
    return found


def whole_kpa(parts: Shares) -> float:
    """All shares together."""
    flowing = parts["friction_kpa"] + parts["bends_kpa"] + parts["steps_kpa"]
    return flowing + parts["entrance_kpa"] + parts["exit_kpa"] + parts["restrictions_kpa"]


def _divided(block: Sequence[Branch], stream: Stream, rough: float, most: bool) -> Shares:
    """Ways beside one another, each with its share of the flow."""

    def way(branch: Branch, share: float) -> Shares:
        return _branch(branch, stream.part(share), stream, rough, most)

    found = divide([lambda q, b=branch: whole_kpa(way(b, q)) for branch in block], not most)  # type: ignore[misc]
    used = [(branch, float(q)) for branch, q in zip(block, found, strict=True) if q > 0.0]
    parts = [way(branch, share) for branch, share in used]
    return max(parts, key=whole_kpa) if most else min(parts, key=whole_kpa)


def _branch(branch: Branch, own: Stream, whole: Stream, rough: float, most: bool) -> Shares:
    flows = [own if alone else whole for alone in branch.own]
    friction = (_friction(p, rough, f, most) for p, f in zip(branch.pieces, flows, strict=True))
    bends = [_bend(b, rough, own, most) for b in branch.bends]
    bends += [_bend(b, rough, whole, most) for b in branch.shared_bends]
    tubes = [own if alone else whole for alone in branch.tube]
    return {
        "friction_kpa": sum(friction),
        "bends_kpa": sum(bends),
        "steps_kpa": _steps(branch.pieces, tubes) if most else 0.0,
        "entrance_kpa": _entrance(branch.inlet_mm2, tubes[0], most) if tubes else 0.0,
        "exit_kpa": _exit(branch.outlet_mm2, tubes[-1], most) if tubes else 0.0,
        "restrictions_kpa": sum(restriction_kpa(c, own, rough, most) for c in branch.crossings),
    }


# ---- crossings ---------------------------------------------------------------------------------


def restriction(
    crossing: Restriction, area_mm2: float, stream: Stream, roughness_mm: float
) -> Loss:
    """Loss coefficient of a crossing that leaves an area open, on the passage's velocity there."""
    return loss(
        area_mm2,
        crossing.nominal_area_mm2,
        crossing.thickness_mm,
        stream.reynolds(crossing.channel_mm2),
        roughness_mm,
        crossing.hydraulic_mm,
    )


def restriction_kpa(
    crossing: Restriction,
    stream: Stream,
    roughness_mm: float,
    most: bool,
    area_mm2: float | None = None,
) -> float:
    """What a crossing loses at one end of the bracket; infinite if it is sealed."""
    area = crossing.open_area_mm2 if area_mm2 is None else area_mm2
    found = restriction(crossing, area, stream, roughness_mm)
    if found.coefficient is None:
        return math.inf
    if most:
        return stream.kpa(found.most * (1.0 + found.spread), crossing.channel_mm2)
    # However the passage slants, its section is no larger than the level one.
    return stream.kpa(found.least * (1.0 - found.spread), crossing.nominal_area_mm2)


# ---- pieces, bends, ends -----------------------------------------------------------------------


def _friction(piece: Piece, roughness_mm: float, stream: Stream, most: bool) -> float:
    reynolds = stream.reynolds(piece.area_mm2, piece.diameter_mm)
    factor = _factor(reynolds, roughness_mm / piece.diameter_mm, piece.laminar, most)
    return stream.kpa(factor * piece.length_mm / piece.diameter_mm, piece.area_mm2)


def _factor(reynolds: float, relative: float, laminar: float, most: bool) -> float:
    """Darcy friction factor on the hydraulic diameter; between laminar and turbulent both count.

    In turbulent flow the Reynolds number is that of the round tube with the same laminar
    friction (Jones 1976).
    """
    slow = laminar / reynolds
    if reynolds <= LAMINAR:
        return slow
    import fluids

    fast = float(fluids.friction_factor(Re=max(reynolds * ROUND / laminar, TURBULENT), eD=relative))
    if reynolds >= TURBULENT:
        return fast
    return max(slow, fast) if most else min(slow, fast)


def _bend(bend: Bend, roughness_mm: float, stream: Stream, most: bool) -> float:
    """What a bend loses: beyond the friction of its length at the low end, all at the high one."""
    area = 0.25 * math.pi * bend.diameter_mm**2
    reynolds = stream.reynolds(area)
    rough = roughness_mm / bend.diameter_mm
    factor = _factor(reynolds, rough, ROUND, most)
    if most:
        return stream.kpa(_bend_at_most(bend, reynolds, factor, roughness_mm), area)
    if reynolds < TURBULENT:
        return 0.0  # in slow flow nothing is sure
    # What is left of the form of Rennels and Hudson however gentle the bend is.
    half = math.sin(0.5 * math.radians(bend.angle_deg))
    return stream.kpa((0.10 + 2.4 * factor) * half, area)


MITRES = ("Rennels", "Miller", "Crane", "Blevins")
ROUNDED = ("Rennels", "Miller")
"""Published forms of the library `fluids`; they differ by a factor of two."""


def _bend_at_most(bend: Bend, reynolds: float, factor: float, roughness_mm: float) -> float:
    """The greatest coefficient of the published forms, with what slow flow adds."""
    import fluids

    size = {"Di": bend.diameter_mm * 1e-3, "Re": reynolds, "roughness": roughness_mm * 1e-3}
    if bend.radius_mm is None:
        forms = [
            fluids.bend_miter(angle=bend.angle_deg, method=method, **size) for method in MITRES
        ]
        slow = MITRE_CREEPING
    else:
        radius = bend.radius_mm * 1e-3
        forms = [
            fluids.bend_rounded(angle=bend.angle_deg, fd=factor, rc=radius, method=method, **size)
            for method in ROUNDED
        ]
        slow = SMOOTH_CREEPING
    return float(max(forms)) + slow / reynolds * bend.angle_deg / 90.0


def _steps(pieces: Sequence[Piece], flows: Sequence[Stream]) -> float:
    """Changes of section, every one as if it were sudden, from one extreme to the next.

    A short neck loses as much as a thin plate, if that is more than its two steps together.
    """
    import fluids

    steps: dict[int, float] = {}
    for m, n in pairwise(_extremes([piece.area_mm2 for piece in pieces])):
        before, after = pieces[m].area_mm2, pieces[n].area_mm2
        narrow, at = (before, m) if before < after else (after, n)
        if narrow >= STEP * max(before, after):
            continue
        # Both coefficients of the library stand on the velocity in the narrower tube.
        change = fluids.diffuser_sharp if before < after else fluids.contraction_sharp
        lost = flows[at].kpa(float(change(equal_mm(before), equal_mm(after))), narrow)
        steps[at] = steps.get(at, 0.0) + lost
    total = sum(steps.values())
    for (first, last), plate in _necks(pieces, flows):
        total += max(0.0, plate - sum(steps.get(k, 0.0) for k in range(first, last + 1)))
    return total * (1.0 + SPREAD)


SHORT = 3.0
"""Length over diameter up to which a neck may lose as much as a thin plate."""


def _necks(
    pieces: Sequence[Piece], flows: Sequence[Stream]
) -> Iterator[tuple[tuple[int, int], float]]:
    """Short necks as thin plates (Idelchik, diagram 4-14): the jet need not fill them.

    In a channel as wide as it is anywhere near, at most as far off as a neck is short.
    """
    areas = [piece.area_mm2 for piece in pieces]
    done = 0
    for k, area in enumerate(areas):
        first, last = k, k
        while first > 0 and areas[first - 1] <= area / STEP:
            first -= 1
        while last + 1 < len(areas) and areas[last + 1] <= area / STEP:
            last += 1
        length = sum(piece.length_mm for piece in pieces[first : last + 1])
        least = area <= min(areas[first : last + 1])
        if k < done or not least or length > SHORT * equal_mm(area):
            continue
        done = last + 1
        reach = SHORT * equal_mm(area)
        before, after = (
            area / _widest(row, reach) if row else 0.0
            for row in (pieces[first - 1 :: -1] if first else (), pieces[done:])
        )
        plate = (1.0 - after + 0.707 * (1.0 - before) ** 0.375) ** 2
        yield (first, last), flows[k].kpa(plate, area)


def _widest(pieces: Sequence[Piece], reach_mm: float) -> float:
    """Largest section within a length from the first of them on."""
    widest, length = 0.0, 0.0
    for piece in pieces:
        if length > reach_mm:
            break
        widest, length = max(widest, piece.area_mm2), length + piece.length_mm
    return widest


def _extremes(areas: Sequence[float]) -> list[int]:
    """Places in a row at its ends and turning points."""
    kept: list[int] = []
    for n, area in enumerate(areas):
        if len(kept) > 1:
            rise = areas[kept[-1]] - areas[kept[-2]]
            if rise * (area - areas[kept[-1]]) >= 0.0:
                kept.pop()
        kept.append(n)
    return kept


def _entrance(area: float, stream: Stream, most: bool) -> float:
    """A sharp edge at the high end, none at the low end."""
    import fluids

    coefficient = float(fluids.entrance_sharp()) * (1.0 + SPREAD) if most else 0.0
    return stream.kpa(coefficient, area) if math.isfinite(area) else 0.0


def _exit(area: float, stream: Stream, most: bool) -> float:
    """The whole kinetic energy: of a flat profile, or twice as much of a laminar one."""
    if not math.isfinite(area):
        return 0.0
    slow = most and stream.reynolds(area) < TURBULENT
    return stream.kpa(2.0 if slow else 1.0, area)
