"""Pressure loss of a passage with restrictions: nominal, predicted, after rework.

In: lengths and diameters along the route, the areas of each crossing, the fluid. Out: loss
coefficients with the form used and whether its range is left, pressure losses in kPa, and
whether the allowed loss is kept. Plain numbers only; geometry is left to others.

Every loss coefficient stands on the mean velocity in the passage at that place.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, Literal, Protocol

from clearance.orifice import SEALED, SPREAD, SPREAD_BEYOND, Loss, friction_factor, loss

__all__ = ["Fluid", "Loss", "Restriction", "Stream", "loss", "pressure_loss", "verdict"]

VELOCITY_BASIS = "mean velocity in the passage at that place"
LAMINAR = 2040.0
"""Reynolds number up to which `fluids` takes the flow in a tube as laminar."""
STEP = 0.9
"""Ratio of neighbouring areas below which a change of diameter counts as sudden."""

Verdict = Literal["not given", "met", "not met", "undetermined"]


class Fluid(Protocol):
    """The [flow] table: kg/m3, Pa s, L/min, kPa."""

    @property
    def density(self) -> float:
        """Density, kg/m3."""

    @property
    def viscosity(self) -> float:
        """Dynamic viscosity, Pa s."""

    @property
    def rate(self) -> float:
        """Flow through the passage, L/min."""

    @property
    def max_pressure_loss(self) -> float | None:
        """Allowed loss from inlet to outlet, kPa, or None."""


@dataclass(frozen=True, slots=True)
class Restriction:
    """One crossing that the flow has to go through.

    Attributes
    ----------
    nominal_area_mm2, open_area_mm2 : float
        In the plane of the sheet.
    thickness_mm : float
        Of the sheet; the greatest that is possible.
    smallest_mm2, largest_mm2 : float, optional
        Open area at the bad and at the good end of what is possible; default: the open area.
    after_mm2 : float, optional
        Open area after rework; None: not drilled.
    channel_area_mm2 : float, optional
        Area of the passage square to its axis, where it meets the sheet at a slant;
        default: the nominal area.
    """

    nominal_area_mm2: float
    open_area_mm2: float
    thickness_mm: float
    smallest_mm2: float | None = None
    largest_mm2: float | None = None
    after_mm2: float | None = None
    channel_area_mm2: float | None = None

    @property
    def channel_mm2(self) -> float:
        """Area that the velocity of the passage stands on."""
        return self.channel_area_mm2 or self.nominal_area_mm2

    @property
    def bad_mm2(self) -> float:
        """Least open area that is possible."""
        return self.open_area_mm2 if self.smallest_mm2 is None else self.smallest_mm2

    @property
    def good_mm2(self) -> float:
        """Greatest open area that is possible."""
        return self.open_area_mm2 if self.largest_mm2 is None else self.largest_mm2

    @property
    def drilled_mm2(self) -> float:
        """Open area after rework; the least possible where nothing is drilled."""
        return self.bad_mm2 if self.after_mm2 is None else self.after_mm2


@dataclass(frozen=True, slots=True)
class Stream:
    """A fluid at a rate of flow, SI units inside, mm and kPa outside."""

    density: float
    viscosity: float
    rate_m3_s: float

    def velocity(self, area_mm2: float) -> float:
        """Mean velocity, m/s."""
        return self.rate_m3_s / (area_mm2 * 1e-6)

    def reynolds(self, area_mm2: float) -> float:
        """Reynolds number on the diameter of equal area."""
        diameter = math.sqrt(4.0 * area_mm2 / math.pi) * 1e-3
        return self.density * self.velocity(area_mm2) * diameter / self.viscosity

    def kpa(self, coefficient: float, area_mm2: float) -> float:
        """Pressure loss of a loss coefficient on the velocity in that area."""
        return coefficient * 0.5 * self.density * self.velocity(area_mm2) ** 2 * 1e-3


def pressure_loss(
    lengths_mm: Sequence[float],
    diameters_mm: Sequence[float],
    crossings: Sequence[Restriction],
    flow: Fluid,
    *,
    roughness_mm: float = 0.0,
    bends: Sequence[tuple[float, float, float]] = (),
    blocked: bool = False,
) -> dict[str, Any]:
    """Pressure loss of a passage from its inlet to its outlet.

    Parameters
    ----------
    lengths_mm, diameters_mm : sequences of float, (N,)
        Pieces of the route from inlet to outlet: length and diameter of equal area.
    crossings : sequence of Restriction
        Those the flow has to go through, one behind the other.
    flow : Fluid
        The [flow] table.
    roughness_mm : float
        Height of the wall's roughness; 0 is a smooth wall.
    bends : sequence of (angle in degrees, radius of the centre line in mm, diameter in mm)
        What they lose beyond their friction is added.
    blocked : bool
        The predicted passage has no way although no single crossing is sealed.

    Returns
    -------
    dict
        "nominal", "predicted", "bad_end", "after_rework" (null without rework): each with
        "pressure_loss_kpa" (null where nothing flows, then with "said"), its bounds
        "low_kpa" and "high_kpa", its shares, and its "restrictions". "requirement": the
        allowed loss and a verdict for each. "velocity_basis", "reynolds", "assumptions".

    Raises
    ------
    ValueError
        Lengths and diameters do not match or are not positive.
    """
    if not lengths_mm or len(lengths_mm) != len(diameters_mm):
        raise ValueError("a length and a diameter are needed for every piece of the route")
    if min(lengths_mm) < 0.0 or min(diameters_mm) <= 0.0:
        raise ValueError("lengths and diameters of the route must be positive")
    stream = Stream(flow.density, flow.viscosity, flow.rate / 60_000.0)
    areas = [0.25 * math.pi * d**2 for d in diameters_mm]
    shares = {
        "friction_kpa": _friction(lengths_mm, diameters_mm, areas, stream, roughness_mm),
        "bends_kpa": _bends(bends, stream, roughness_mm),
        "steps_kpa": _steps(diameters_mm, areas, stream),
        "entrance_kpa": _entrance(areas[0], stream),
        "exit_kpa": _exit(areas[-1], stream),
    }

    def total(area: Callable[[Restriction], float]) -> dict[str, Any]:
        return _total(shares, crossings, area, stream, roughness_mm)

    stopped = _nothing_flows([])
    predicted = stopped if blocked else total(lambda c: c.open_area_mm2)
    bad = stopped if blocked else total(lambda c: c.bad_mm2)
    good = stopped if blocked else total(lambda c: c.good_mm2)
    reworked = any(c.after_mm2 is not None for c in crossings)
    after = total(lambda c: c.drilled_mm2) if reworked else None
    nominal = total(lambda c: c.nominal_area_mm2)
    allowed = flow.max_pressure_loss
    numbers = [stream.reynolds(a) for a in areas]
    return {
        "rate_l_min": flow.rate,
        "velocity_basis": VELOCITY_BASIS,
        "reynolds": {"least": min(numbers), "greatest": max(numbers)},
        "nominal": nominal,
        "predicted": predicted,
        "bad_end": bad,
        "after_rework": after,
        "requirement": {
            "max_pressure_loss_kpa": allowed,
            "nominal": verdict(allowed, nominal, nominal),
            "predicted": verdict(allowed, good, bad),
            "after_rework": None if after is None else verdict(allowed, after, after),
        },
        "assumptions": _assumptions(numbers, roughness_mm, bends),
    }


def verdict(allowed_kpa: float | None, good: dict[str, Any], bad: dict[str, Any]) -> Verdict:
    """Whether an allowed loss is kept over everything between a good and a bad end.

    Parameters
    ----------
    allowed_kpa : float or None
    good, bad : dict
        Scenarios of `pressure_loss`: the least and the greatest restriction that is possible.
    """
    if allowed_kpa is None:
        return "not given"
    if bad["high_kpa"] is not None and bad["high_kpa"] <= allowed_kpa:
        return "met"
    if good["low_kpa"] is None or good["low_kpa"] > allowed_kpa:
        return "not met"
    return "undetermined"


def _total(
    shares: dict[str, float],
    crossings: Sequence[Restriction],
    area: Callable[[Restriction], float],
    stream: Stream,
    roughness_mm: float,
) -> dict[str, Any]:
    """One scenario: the passage with its crossings as far open as `area` says."""
    restrictions = []
    at_rest = sum(shares.values())
    lost = low = high = 0.0
    for crossing in crossings:
        found = loss(
            area(crossing),
            crossing.nominal_area_mm2,
            crossing.thickness_mm,
            stream.reynolds(crossing.channel_mm2),
            roughness_mm,
        )
        k = found.coefficient
        kpa = None if k is None else stream.kpa(k, crossing.channel_mm2)
        restrictions.append(
            {
                "loss_coefficient": k,
                "pressure_loss_kpa": kpa,
                "form": found.form,
                "in_range": found.in_range,
                "note": found.note,
            }
        )
        if kpa is not None:
            lost += kpa
            low += kpa * (1.0 - found.spread)
            high += kpa * (1.0 + found.spread)
    if any(r["loss_coefficient"] is None for r in restrictions):
        return _nothing_flows(restrictions)
    return {
        "pressure_loss_kpa": at_rest + lost,
        "low_kpa": at_rest + low,
        "high_kpa": at_rest + high,
        **shares,
        "restrictions_kpa": lost,
        "restrictions": restrictions,
        "said": "",
    }


def _nothing_flows(restrictions: list[dict[str, Any]]) -> dict[str, Any]:
    return {
        "pressure_loss_kpa": None,
        "low_kpa": None,
        "high_kpa": None,
        "restrictions": restrictions,
        "said": SEALED,
    }


def _friction(
    lengths_mm: Sequence[float],
    diameters_mm: Sequence[float],
    areas: Sequence[float],
    stream: Stream,
    roughness_mm: float,
) -> float:
    return sum(
        stream.kpa(friction_factor(stream.reynolds(a), roughness_mm / d) * length / d, a)
        for length, d, a in zip(lengths_mm, diameters_mm, areas, strict=True)
    )


def _steps(diameters_mm: Sequence[float], areas: Sequence[float], stream: Stream) -> float:
    """Sudden changes of diameter; a change below a tenth of the area counts as gradual."""
    import fluids

    lost = 0.0
    for n in range(len(areas) - 1):
        before, after = diameters_mm[n], diameters_mm[n + 1]
        if min(areas[n : n + 2]) >= STEP * max(areas[n : n + 2]):
            continue
        # Both coefficients of the library stand on the velocity in the narrower tube.
        change = fluids.diffuser_sharp if before < after else fluids.contraction_sharp
        lost += stream.kpa(float(change(before, after)), min(areas[n], areas[n + 1]))
    return lost


def _entrance(area: float, stream: Stream) -> float:
    import fluids

    return stream.kpa(float(fluids.entrance_sharp()), area)


def _exit(area: float, stream: Stream) -> float:
    """The whole kinetic energy: of a flat profile, or twice as much of a laminar one."""
    import fluids

    twice = 2.0 if stream.reynolds(area) < LAMINAR else 1.0
    return stream.kpa(twice * float(fluids.exit_normal()), area)


def _bends(
    bends: Sequence[tuple[float, float, float]], stream: Stream, roughness_mm: float
) -> float:
    """What bends lose beyond the friction of their length, after Rennels and Hudson."""
    import fluids

    lost = 0.0
    for angle, radius, diameter in bends:
        area = 0.25 * math.pi * diameter**2
        factor = friction_factor(stream.reynolds(area), roughness_mm / diameter)
        whole = fluids.bend_rounded(Di=diameter, angle=angle, rc=radius, fd=factor)
        along = factor * math.radians(angle) * radius / diameter
        lost += stream.kpa(max(float(whole) - along, 0.0), area)
    return lost


def _assumptions(
    numbers: Sequence[float],
    roughness_mm: float,
    bends: Sequence[tuple[float, float, float]],
) -> list[str]:
    """What the numbers rest on, in words."""
    wall = "smooth" if roughness_mm == 0.0 else f"rough by {roughness_mm:g} mm"
    said = [
        f"walls taken as {wall}",
        "sections taken as round, of the same area",
        "sharp entrance and exit of the passage are counted",
        f"loss coefficients of restrictions taken as right to {SPREAD:.0%}, "
        f"out of their range to {SPREAD_BEYOND:.0%}",
    ]
    if not bends:
        said.append("what bends lose beyond friction is not counted")
    if min(numbers) < LAMINAR:
        said.append("where the flow is laminar it is taken as fully developed")
    if min(numbers) < 4000.0 and max(numbers) > LAMINAR:
        said.append("part of the passage lies between laminar and turbulent flow (Re 2040 to 4000)")
    return said
