"""What a medium flows through: pieces, bends, ends and restrictions of a passage.

In: lengths, areas and radii, mm. Out: records that a pressure loss is worked out from.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol

ROUND = 64.0
"""Darcy friction factor times Reynolds number of laminar flow in a round tube."""


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

    @property
    def roughness(self) -> tuple[float, float] | None:
        """Least and greatest height of the walls' sand grain, mm; None: not given."""


@dataclass(frozen=True, slots=True)
class Piece:
    """A stretch of a passage with one section.

    Attributes
    ----------
    length_mm, area_mm2 : float
    diameter_mm : float
        Hydraulic: four times the area over the perimeter.
    laminar : float
        Friction factor times Reynolds number in laminar flow, both on `diameter_mm`.
    """

    length_mm: float
    area_mm2: float
    diameter_mm: float
    laminar: float = ROUND

    @classmethod
    def round(cls, length_mm: float, diameter_mm: float) -> Piece:
        """A stretch of round tube."""
        return cls(length_mm, 0.25 * math.pi * diameter_mm**2, diameter_mm)


@dataclass(frozen=True, slots=True)
class Bend:
    """A bend of at most a right angle: the radius of its centre line, None for a mitre."""

    angle_deg: float
    diameter_mm: float
    radius_mm: float | None = None


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
    hydraulic_mm : float, optional
        Four times the open area over the length of its outline; default: of a round hole.
    along : bool
        The sheet lies along the passage rather than across it, so that no form for a plate
        holds: unless it leaves everything open, nothing bounds what it loses.
    passed_by : bool
        Another way leads past it: at the low end it loses nothing.
    """

    nominal_area_mm2: float
    open_area_mm2: float
    thickness_mm: float
    smallest_mm2: float | None = None
    largest_mm2: float | None = None
    after_mm2: float | None = None
    channel_area_mm2: float | None = None
    hydraulic_mm: float | None = None
    along: bool = False
    passed_by: bool = False

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
class Branch:
    """One of several ways beside one another, from where they part to where they meet.

    Attributes
    ----------
    pieces : tuple of Piece
    own : tuple of bool
        For each piece whether it carries this branch's part of the flow only; else the whole rate.
    tube : tuple of bool
        Whether the piece's section carries this branch's part only: the ends of a tube too, which
        its first and last `own` piece touch. Steps go by it.
    bends, shared_bends : tuple of Bend
        Those that its own part passes, and those that may carry the whole rate.
    crossings : tuple of Restriction
        Those that its own part goes through.
    inlet_mm2, outlet_mm2 : float
        Areas of what it has of the mouths, where it begins or ends at one; else infinite.
    """

    pieces: tuple[Piece, ...]
    own: tuple[bool, ...]
    tube: tuple[bool, ...]
    bends: tuple[Bend, ...] = ()
    shared_bends: tuple[Bend, ...] = ()
    crossings: tuple[Restriction, ...] = ()
    inlet_mm2: float = math.inf
    outlet_mm2: float = math.inf


@dataclass(frozen=True, slots=True)
class End:
    """A passage as it loses least, or as it loses most.

    Attributes
    ----------
    pieces : tuple of Piece
        From inlet to outlet: those that carry the whole rate.
    inlet_mm2, outlet_mm2 : float
        Areas of the mouths; infinite where ways beside one another begin or end there.
    bends : tuple of Bend
    roughness_mm : float
        Height of the walls' sand grain.
    blocks : tuple of tuples of Branch
        In series with the pieces and with each other: ways beside one another.
    crossings : tuple of Restriction
        Those of a way through an open part that carry the whole rate.
    """

    pieces: tuple[Piece, ...]
    inlet_mm2: float
    outlet_mm2: float
    bends: tuple[Bend, ...] = ()
    roughness_mm: float = 0.0
    blocks: tuple[tuple[Branch, ...], ...] = ()
    crossings: tuple[Restriction, ...] = ()

    def __post_init__(self) -> None:
        """Refuse lengths and sections that cannot be."""
        sizes = [x for p in self.pieces for x in (p.area_mm2, p.diameter_mm, p.laminar)]
        if any(p.length_mm < 0.0 for p in self.pieces) or min(sizes, default=1.0) <= 0.0:
            raise ValueError("lengths and sections of the route must be positive")
        if min(self.inlet_mm2, self.outlet_mm2) <= 0.0:
            raise ValueError("the mouths of the route must have an area above zero")


@dataclass(frozen=True, slots=True)
class Stopped:
    """Where no way is left: in the predicted part as told, at the bad end, at the good end.

    `beside`: stray metal that is none of the crossings may take more than they do.
    """

    predicted: bool = False
    bad: bool = False
    good: bool = False
    after: bool = False
    beside: bool = False


NOT_STOPPED = Stopped()


@dataclass(frozen=True, slots=True)
class Stream:
    """A fluid at a rate of flow, SI units inside, mm and kPa outside."""

    density: float
    viscosity: float
    rate_m3_s: float

    def part(self, share: float) -> Stream:
        """A part of the flow."""
        return Stream(self.density, self.viscosity, share * self.rate_m3_s)

    def velocity(self, area_mm2: float) -> float:
        """Mean velocity, m/s."""
        return self.rate_m3_s / (area_mm2 * 1e-6)

    def reynolds(self, area_mm2: float, diameter_mm: float | None = None) -> float:
        """Reynolds number on a diameter; default: that of equal area."""
        diameter = equal_mm(area_mm2) if diameter_mm is None else diameter_mm
        return self.density * self.velocity(area_mm2) * diameter * 1e-3 / self.viscosity

    def kpa(self, coefficient: float, area_mm2: float) -> float:
        """Pressure loss of a loss coefficient on the velocity in that area."""
        return coefficient * 0.5 * self.density * self.velocity(area_mm2) ** 2 * 1e-3


def equal_mm(area_mm2: float) -> float:
    """Diameter of the circle of that area."""
    return math.sqrt(4.0 * area_mm2 / math.pi)
