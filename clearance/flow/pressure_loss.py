"""Pressure loss of a passage with restrictions, from below and from above.

In: the passage as it loses least and as it loses most, the areas of each crossing, the fluid.
Out: for the nominal and the predicted part and after rework a bracket of the pressure loss in
kPa, its shares at both ends, and whether the allowed loss is kept: "met" by the high end alone,
"not met" by the low end alone. Plain numbers only; geometry is left to others.

Every loss coefficient stands on the mean velocity in the passage at that place.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from itertools import pairwise

from clearance.flow.channel import (
    NOT_STOPPED,
    ROUND,
    Bend,
    End,
    Fluid,
    Piece,
    Restriction,
    Stopped,
    Stream,
    equal_mm,
)
from clearance.flow.orifice import SEALED, SPREAD, SPREAD_BEYOND, Loss, loss
from clearance.flow.scenario import scenario
from clearance.result import FlowResult, FlowVerdict, RestrictionResult, Scenario, Shares

__all__ = [
    "Loss",
    "loss",
    "pressure_loss",
    "untold",
    "verdict",
]
VELOCITY_BASIS = "mean velocity in the passage at that place"
LAMINAR = 2040.0
"""Reynolds number up to which `fluids` takes the flow in a tube as laminar."""
TURBULENT = 4000.0
"""Reynolds number from which the flow in a tube is surely taken as turbulent."""
STEP = 0.9
"""Ratio of areas above which a change of diameter loses nothing that counts."""
ROUGHNESS_MM = (0.0, 0.1)
"""Height of the sand grain that is assumed of printed walls; see docs/method.md."""
MITRE_CREEPING, SMOOTH_CREEPING = 1000.0, 800.0
"""What a bend of 90 degrees adds in slow flow, over Re (two-K method, Hooper 1981)."""
UNTOLD = "no way of the nominal part is proven: how much it loses is not computed"
UNBOUNDED = "open, but by a way beside or along stray metal; how much it loses is not computed"
WHOLE = 1.0 - 1e-6
"""Open fraction from which what is lacking is rounding."""


def pressure_loss(
    low: End,
    high: End,
    crossings: Sequence[Restriction],
    flow: Fluid,
    stopped: Stopped = NOT_STOPPED,
) -> FlowResult:
    """Pressure loss of a passage from its inlet to its outlet.

    Parameters
    ----------
    low, high : End
        The passage as it loses least and as it loses most.
    crossings : sequence of Restriction
        Those the flow may have to go through, taken as one behind the other at the high end.
    flow : Fluid
        The [flow] table.
    stopped : Stopped
        Where no way is left. A sealed crossing alone stops nothing.

    Returns
    -------
    FlowResult
        A dict: "nominal", "predicted", "bad_end", "good_end", "after_rework" (null without rework):
        each with the bracket "low_kpa" and "high_kpa", their middle "pressure_loss_kpa", the
        shares of the middle, "least" and "greatest" with the shares of either end, and its
        "restrictions"; null where nothing flows or nothing bounds it, then with "said".
        "requirement": the allowed loss and a verdict for each. "velocity_basis", "reynolds",
        "roughness_mm", "assumptions".
    """
    stream = Stream(flow.density, flow.viscosity, flow.rate / 60_000.0)
    ends = (_shares(low, stream, False), _shares(high, stream, True))
    rough = (low.roughness_mm, high.roughness_mm)

    def total(
        area: Callable[[Restriction], float], nothing: bool, beside: bool = stopped.beside
    ) -> Scenario:
        if nothing:
            return scenario(None, None, [], SEALED)
        return _total(ends, crossings, area, stream, rough, beside)

    predicted = total(lambda c: c.open_area_mm2, stopped.predicted)
    bad, good = total(lambda c: c.bad_mm2, stopped.bad), total(lambda c: c.good_mm2, stopped.good)
    reworked = any(c.after_mm2 is not None for c in crossings)
    after = total(lambda c: c.drilled_mm2, stopped.after) if reworked else None
    nominal = total(lambda c: c.nominal_area_mm2, False, beside=False)
    allowed = flow.max_pressure_loss
    numbers = [stream.reynolds(p.area_mm2, p.diameter_mm) for p in (*low.pieces, *high.pieces)]
    return {
        "rate_l_min": flow.rate,
        "velocity_basis": VELOCITY_BASIS,
        "reynolds": {"least": min(numbers), "greatest": max(numbers)},
        "roughness_mm": list(rough),
        "nominal": nominal,
        "predicted": predicted,
        "bad_end": bad,
        "good_end": good,
        "after_rework": after,
        "requirement": {
            "max_pressure_loss_kpa": allowed,
            "nominal": verdict(allowed, nominal, nominal),
            "predicted": verdict(allowed, good, bad),
            "after_rework": None if after is None else verdict(allowed, after, after),
        },
        "assumptions": _assumptions(numbers, rough, flow.roughness is None),
    }


def untold(flow: Fluid) -> FlowResult:
    """The keys of `pressure_loss` where no nominal way is proven: nothing is bounded."""
    nothing = scenario(None, None, [], UNTOLD)
    rough = ROUGHNESS_MM if flow.roughness is None else flow.roughness
    kept: FlowVerdict = "not given" if flow.max_pressure_loss is None else "undetermined"
    return {
        "rate_l_min": flow.rate,
        "velocity_basis": VELOCITY_BASIS,
        "reynolds": {"least": None, "greatest": None},
        "roughness_mm": list(rough),
        "nominal": nothing,
        "predicted": nothing,
        "bad_end": nothing,
        "good_end": nothing,
        "after_rework": None,
        "requirement": {
            "max_pressure_loss_kpa": flow.max_pressure_loss,
            "nominal": kept,
            "predicted": kept,
            "after_rework": None,
        },
        "assumptions": [],
    }


def verdict(allowed_kpa: float | None, good: Scenario, bad: Scenario) -> FlowVerdict:
    """Whether an allowed loss is kept over everything between a good and a bad end.

    Parameters
    ----------
    allowed_kpa : float or None
    good, bad : Scenario
        Of `pressure_loss`: the least and the greatest restriction that is possible.
    """
    if allowed_kpa is None:
        return "not given"
    if bad["high_kpa"] is not None and bad["high_kpa"] <= allowed_kpa:
        return "met"
    if good["low_kpa"] is None or good["low_kpa"] > allowed_kpa:
        return "not met"
    return "undetermined"


def _total(
    ends: tuple[Shares, Shares],
    crossings: Sequence[Restriction],
    area: Callable[[Restriction], float],
    stream: Stream,
    rough: tuple[float, float],
    unbounded: bool,
) -> Scenario:
    """One scenario: the passage with its crossings as far open as `area` says."""
    restrictions: list[RestrictionResult] = []
    lost = [0.0, 0.0]
    for crossing in crossings:
        found = [
            loss(
                area(crossing),
                crossing.nominal_area_mm2,
                crossing.thickness_mm,
                stream.reynolds(crossing.channel_mm2),
                roughness,
                crossing.hydraulic_mm,
            )
            for roughness in rough
        ]
        kpa = None
        along = crossing.along and area(crossing) < WHOLE * crossing.nominal_area_mm2
        unbounded = unbounded or along or found[1].coefficient is None
        if found[1].coefficient is not None and not along:
            kpa = stream.kpa(found[1].coefficient, crossing.channel_mm2)
            if not crossing.passed_by:
                # However the passage slants, its section is no larger than the level one.
                least = found[0].least * (1.0 - found[0].spread)
                lost[0] += stream.kpa(least, crossing.nominal_area_mm2)
            most = found[1].most * (1.0 + found[1].spread)
            lost[1] += stream.kpa(most, crossing.channel_mm2)
        restrictions.append(
            {
                "loss_coefficient": found[1].coefficient,
                "pressure_loss_kpa": kpa,
                "form": found[1].form,
                "in_range": found[1].in_range,
                "note": found[1].note,
            }
        )
    low: Shares = {**ends[0], "restrictions_kpa": lost[0]}
    high: Shares = {**ends[1], "restrictions_kpa": lost[1]}
    if unbounded:
        return scenario(low, None, restrictions, UNBOUNDED)
    return scenario(low, high, restrictions, "")


# ---- the passage itself ------------------------------------------------------------------------


def _shares(end: End, stream: Stream, most: bool) -> Shares:
    """What the passage loses without its crossings, kPa, at one end of the bracket."""
    import fluids

    entrance = float(fluids.entrance_sharp()) * (1.0 + SPREAD) if most else 0.0
    return {
        "friction_kpa": sum(_friction(p, end.roughness_mm, stream, most) for p in end.pieces),
        "bends_kpa": sum(_bend(b, end.roughness_mm, stream, most) for b in end.bends),
        "steps_kpa": _steps(end, stream) if most else 0.0,
        "entrance_kpa": stream.kpa(entrance, end.inlet_mm2),
        "exit_kpa": _exit(end.outlet_mm2, stream, most),
        "restrictions_kpa": 0.0,
    }


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


def _steps(end: End, stream: Stream) -> float:
    """Changes of section, every one as if it were sudden, from one extreme to the next."""
    import fluids

    areas = _extremes([piece.area_mm2 for piece in end.pieces])
    lost = 0.0
    for before, after in pairwise(areas):
        narrow = min(before, after)
        if narrow >= STEP * max(before, after):
            continue
        # Both coefficients of the library stand on the velocity in the narrower tube.
        change = fluids.diffuser_sharp if before < after else fluids.contraction_sharp
        lost += stream.kpa(float(change(equal_mm(before), equal_mm(after))), narrow)
    return (lost + _necks(end, stream)) * (1.0 + SPREAD)


SHORT = 3.0
"""Length over diameter up to which a neck may lose as much as a thin plate."""


def _necks(end: End, stream: Stream) -> float:
    """Short necks as thin plates (Idelchik, diagram 4-14): the jet need not fill them."""
    areas = [piece.area_mm2 for piece in end.pieces]
    lost, done = 0.0, 0
    for k, area in enumerate(areas):
        first, last = k, k
        while first > 0 and areas[first - 1] <= area / STEP:
            first -= 1
        while last + 1 < len(areas) and areas[last + 1] <= area / STEP:
            last += 1
        length = sum(piece.length_mm for piece in end.pieces[first : last + 1])
        least = area <= min(areas[first : last + 1])
        if k < done or not least or length > SHORT * equal_mm(area):
            continue
        done = last + 1
        before = area / max(areas[:first]) if first else 0.0
        after = area / max(areas[last + 1 :]) if done < len(areas) else 0.0
        plate = (1.0 - after + 0.707 * (1.0 - before) ** 0.375) ** 2
        lost += stream.kpa(plate, area)
    return lost


def _extremes(areas: Sequence[float]) -> list[float]:
    """A row without what lies between its turning points."""
    kept: list[float] = []
    for area in areas:
        if len(kept) > 1 and (kept[-1] - kept[-2]) * (area - kept[-1]) >= 0.0:
            kept.pop()
        kept.append(area)
    return kept


def _exit(area: float, stream: Stream, most: bool) -> float:
    """The whole kinetic energy: of a flat profile, or twice as much of a laminar one."""
    slow = most and stream.reynolds(area) < TURBULENT
    return stream.kpa(2.0 if slow else 1.0, area)


def _assumptions(numbers: Sequence[float], rough: tuple[float, float], assumed: bool) -> list[str]:
    """What the numbers rest on, in words."""
    wall = f"{rough[0]:g} to {rough[1]:g} mm" if rough[0] != rough[1] else f"{rough[0]:g} mm"
    source = " (assumed of printed walls: common practice, no source)" if assumed else ""
    said = [
        f"sand-grain roughness of the walls {wall}{source}",
        "low end: each section as the circle of its area, bends as gentle as can be, no loss at "
        "the entrance and at changes of section, where a second way leads past nothing",
        "high end: each section by its hydraulic diameter and the greatest friction of its shape, "
        "tight bends as mitres by the highest of four published forms, changes of section as "
        "sudden, a sharp entrance, the whole rate through every crossing one behind the other",
        "the kinetic energy is lost at the outlet",
        f"loss coefficients of restrictions taken as right to {SPREAD:.0%}, "
        f"out of their range to {SPREAD_BEYOND:.0%}",
    ]
    if min(numbers) < LAMINAR:
        said.append("where the flow is laminar it is taken as fully developed")
    if min(numbers) < TURBULENT and max(numbers) > LAMINAR:
        said.append("part of the passage lies between laminar and turbulent flow (Re 2040 to 4000)")
    return said
