"""Pressure loss of a passage with restrictions, from below and from above.

In: the passage as it loses least and as it loses most, the areas of each crossing, the fluid.
Out: for the nominal and the predicted part and after rework a bracket of the pressure loss in
kPa, its shares at both ends, and whether the allowed loss is kept: "met" by the high end alone,
"not met" by the low end alone. Plain numbers only; geometry is left to others.

Every loss coefficient stands on the mean velocity in the passage at that place.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from clearance.flow.channel import NOT_STOPPED, End, Fluid, Restriction, Stopped, Stream
from clearance.flow.dividing import divide
from clearance.flow.losses import (
    LAMINAR,
    TURBULENT,
    restriction,
    restriction_kpa,
    shares,
    whole_kpa,
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
ROUGHNESS_MM = (0.0, 0.1)
"""Height of the sand grain that is assumed of printed walls; see docs/method.md."""
UNTOLD = "no way of the nominal part is proven: how much it loses is not computed"
UNBOUNDED = "open, but by a way beside stray metal that nothing bounds; its loss is not computed"
CONTRADICTED = (
    "two bounds contradict each other: an internal fault, please report it; no loss is told"
)
ROUNDING = 1e-6
NONE: Shares = {
    "friction_kpa": 0.0,
    "bends_kpa": 0.0,
    "steps_kpa": 0.0,
    "entrance_kpa": 0.0,
    "exit_kpa": 0.0,
    "restrictions_kpa": 0.0,
}
WHOLE = 1.0 - 1e-6
"""Open fraction from which what is lacking is rounding."""
Areas = Callable[[Restriction], float]


@dataclass(frozen=True, slots=True)
class Open:
    """High ends by the ways that are proven open in the part as it is, the flow divided over them.

    Of each scenario the parts that it stands for; none: nothing is known of them. All of them are
    upper bounds beside that of the nominal passage with its crossings.

    Attributes
    ----------
    nominal, predicted, after : End or None
    possible : tuple of End
        All that is possible of the event.
    """

    nominal: End | None = None
    predicted: End | None = None
    possible: tuple[End, ...] = ()
    after: End | None = None


NOT_LOOKED_AT = Open()


def pressure_loss(
    low: End,
    high: End,
    crossings: Sequence[Restriction],
    flow: Fluid,
    stopped: Stopped = NOT_STOPPED,
    opened: Open = NOT_LOOKED_AT,
    cuts: Sequence[Sequence[int]] = (),
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
    opened : Open
        Further upper bounds: the least counts.
    cuts : sequence of sequences of int
        Crossings of which all of the flow passes some, beside one another.

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
    ends = (shares(low, stream, False), shares(high, stream, True))
    rough = (low.roughness_mm, high.roughness_mm)

    passage = _Passage(ends, crossings, cuts, stream, rough)

    def total(area: Areas, nothing: bool, others: Sequence[Shares], beside: bool) -> Scenario:
        if nothing:
            return scenario(None, None, [], SEALED)
        return passage.total(area, others, beside)

    one, possible = (
        [shares(end, stream, True) for end in ends if end is not None]
        for ends in ((opened.predicted,), opened.possible)
    )
    worst, best = ([pick(possible, key=whole_kpa)] if possible else [] for pick in (max, min))
    beside = stopped.beside
    predicted = total(lambda c: c.open_area_mm2, stopped.predicted, one, beside)
    bad = total(lambda c: c.bad_mm2, stopped.bad, worst, beside)
    good = total(lambda c: c.good_mm2, stopped.good, best, beside)
    reworked = any(c.after_mm2 is not None for c in crossings)
    drilled = [] if opened.after is None else [shares(opened.after, stream, True)]
    after = total(lambda c: c.drilled_mm2, stopped.after, drilled, beside) if reworked else None
    legs = [] if opened.nominal is None else [shares(opened.nominal, stream, True)]
    nominal = total(lambda c: c.nominal_area_mm2, False, legs, False)
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


@dataclass(frozen=True, slots=True)
class _Passage:
    """A passage at one rate, with all that its scenarios share."""

    ends: tuple[Shares, Shares]
    crossings: Sequence[Restriction]
    cuts: Sequence[Sequence[int]]
    stream: Stream
    rough: tuple[float, float]

    def total(self, area: Areas, others: Sequence[Shares], unbounded: bool) -> Scenario:
        """One scenario: the passage with its crossings as far open as `area` says."""
        told: list[RestrictionResult] = []
        for crossing in self.crossings:
            found = restriction(crossing, area(crossing), self.stream, self.rough[1])
            along = _lies_along(crossing, area(crossing))
            unbounded = unbounded or along or found.coefficient is None
            kpa = None
            if found.coefficient is not None and not along:
                kpa = self.stream.kpa(found.coefficient, crossing.channel_mm2)
            told.append(
                {
                    "loss_coefficient": found.coefficient,
                    "pressure_loss_kpa": kpa,
                    "form": found.form,
                    "in_range": found.in_range,
                    "note": found.note,
                }
            )
        low: Shares = {**self.ends[0], "restrictions_kpa": self._least(area)}
        high = list(others)
        if not unbounded:
            high.append({**self.ends[1], "restrictions_kpa": self._most(area)})
        if not high:
            return scenario(low, None, told, UNBOUNDED)
        least = min(high, key=whole_kpa)
        if whole_kpa(low) > whole_kpa(least) * (1.0 + ROUNDING):
            return scenario({**NONE}, None, told, CONTRADICTED)
        return scenario(low, least, told, "")

    def _most(self, area: Areas) -> float:
        """All crossings one behind the other."""
        return sum(self._kpa(c, area(c), True, self.stream) for c in self.crossings)

    def _least(self, area: Areas) -> float:
        """Those that no way leads past, and of the sheets that nothing passes by the worst."""
        single = [
            self._kpa(c, area(c), False, self.stream)
            for c in self.crossings
            if not c.passed_by and area(c) > 0.0 and not _lies_along(c, area(c))
        ]
        return sum(single) + max((self._cut(cut, area) for cut in self.cuts), default=0.0)

    def _cut(self, cut: Sequence[int], area: Areas) -> float:
        crossings = [self.crossings[n] for n in cut]
        crossings = [c for c in crossings if area(c) > 0.0]
        if not crossings or any(_lies_along(c, area(c)) for c in crossings):
            return 0.0

        def lost(crossing: Restriction, share: float) -> float:
            return self._kpa(crossing, area(crossing), False, self.stream.part(share))

        found = divide([lambda q, c=c: lost(c, q) for c in crossings], True)  # type: ignore[misc]
        return min(lost(c, float(q)) for c, q in zip(crossings, found, strict=True))

    def _kpa(self, crossing: Restriction, area_mm2: float, most: bool, stream: Stream) -> float:
        return restriction_kpa(crossing, stream, self.rough[int(most)], most, area_mm2)


def _lies_along(crossing: Restriction, area_mm2: float) -> bool:
    """Whether no form for a plate holds for it: unless it leaves everything open."""
    return crossing.along and area_mm2 < WHOLE * crossing.nominal_area_mm2


def _assumptions(numbers: Sequence[float], rough: tuple[float, float], assumed: bool) -> list[str]:
    """What the numbers rest on, in words."""
    wall = f"{rough[0]:g} to {rough[1]:g} mm" if rough[0] != rough[1] else f"{rough[0]:g} mm"
    source = " (assumed of printed walls: common practice, no source)" if assumed else ""
    said = [
        f"sand-grain roughness of the walls {wall}{source}",
        "low end: each section as the circle of its area, bends as gentle as can be, no loss at "
        "the entrance and at changes of section; of ways beside one another their tubes alone",
        "high end: each section by its hydraulic diameter and the greatest friction of its shape, "
        "tight bends as mitres by the highest of four published forms, changes of section as "
        "sudden, a sharp entrance; the flow divides over ways proven open where each is a tube of "
        "its own, else the whole rate goes one way, crossings one behind the other",
        "the kinetic energy is lost at the outlet",
        f"loss coefficients of restrictions taken as right to {SPREAD:.0%}, "
        f"out of their range to {SPREAD_BEYOND:.0%}",
    ]
    if min(numbers) < LAMINAR:
        said.append("where the flow is laminar it is taken as fully developed")
    if min(numbers) < TURBULENT and max(numbers) > LAMINAR:
        said.append("part of the passage lies between laminar and turbulent flow (Re 2040 to 4000)")
    return said
