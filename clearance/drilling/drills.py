"""Straight tools: twist drills of standard lengths, the shop's own, electrodes; tolerances.

In: what is at hand. Out: drills. The lengths lie in drills.csv with their sources.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from functools import lru_cache
from importlib import resources
from itertools import pairwise
from typing import Protocol

from clearance.case.kinds import MM_PER_INCH

POINT_ANGLE_DEG = 118.0
"""Usual general-purpose point (several toolmakers' pages)."""

SHOP, ELECTRODE = "shop", "electrode"
CLAMPED_DIAMETERS = 2.5
"""Least length of shank in the holder; common practice, no source."""
STEP_MM = 0.1
"""Sizes between listed ones come so often."""
BETWEEN = "between listed sizes: lengths of"

H8_LOWER_MM = (
    (3.0, -0.014),
    (6.0, -0.018),
    (10.0, -0.022),
    (18.0, -0.027),
    (30.0, -0.033),
    (50.0, -0.039),
    (80.0, -0.046),
    (120.0, -0.054),
)
"""Diameter up to and including, lower limit; the upper limit is 0.

Source: h8 of ISO 286-2, to 30 mm read in two independent tables, above that in none.
"""


@dataclass(frozen=True, slots=True, order=True)
class Drill:
    """A twist drill, or an electrode, which has no flute and no point.

    Attributes
    ----------
    diameter : float, mm
        Of an electrode the hole's that it makes.
    flute : float, mm
        Length of the flutes, measured from the tip.
    overall : float, mm
        Measured to the tip.
    series : str
        "jobber", "long", "extra-long 1", "extra-long 2", "extra-long 3", "shop" or "electrode".
    source : str
        Where its lengths come from.
    reach, off : float, mm
        Of an electrode: its greatest depth, and by how much its hole's radius may be off.
    angle : float, degrees
        Full angle of a drill's point.
    """

    diameter: float
    flute: float
    overall: float
    series: str
    source: str = field(default="", compare=False)
    reach: float = field(default=math.inf, compare=False)
    off: float = field(default=0.0, compare=False)
    angle: float = field(default=POINT_ANGLE_DEG, compare=False)

    @property
    def erodes(self) -> bool:
        """It is an electrode."""
        return self.series == ELECTRODE

    @property
    def point(self) -> float:
        """Length of its point, mm."""
        return 0.0 if self.erodes else point_length(self.diameter, self.angle)

    @property
    def least(self) -> float:
        """Smallest diameter of the hole that it makes, mm."""
        return self.diameter - 2.0 * self.off if self.erodes else self.diameter - self.thinner

    @property
    def thinner(self) -> float:
        """How much thinner than its diameter a drill may be, mm; of an electrode what is off."""
        return self.off if self.erodes else -h8_lower(self.diameter)

    @property
    def wanders(self) -> float:
        """Run-out of a drill, mm; none of an electrode, whose hole is as it is given."""
        return 0.0 if self.erodes else run_out(self)

    @property
    def words(self) -> str:
        """How a sentence calls it."""
        if self.erodes:
            return f"the electrode for {_size(self.diameter)} mm"
        if self.series == SHOP:
            return f"the shop's {_size(self.diameter)} mm drill"
        name, _, number = self.series.partition(" ")
        of = f" of series {number}" if number else ""
        size = _size(self.diameter)
        article = "an" if size.startswith("8") or size.split(".")[0] in ("11", "18") else "a"
        return f"{article} {size} mm {name} drill{of}"


class ShopDrill(Protocol):
    """What the case file gives of a drill of the shop's own, lengths in its unit."""

    @property
    def diameter(self) -> float: ...  # noqa: D102
    @property
    def flute(self) -> float: ...  # noqa: D102
    @property
    def overall(self) -> float: ...  # noqa: D102
    @property
    def unit(self) -> str: ...  # noqa: D102


@lru_cache(maxsize=1)
def listed() -> tuple[Drill, ...]:
    """Return the standard drills that the table lists, by diameter, then by length of flute."""
    text = resources.files(__package__).joinpath("drills.csv").read_text("utf-8")
    lines = [line for line in text.splitlines() if not line.startswith("#")]
    found = []
    for row in csv.DictReader(lines):
        first, last, step = (float(row[name]) for name in ("from", "to", "step"))
        flute, overall = float(row["flute"]), float(row["overall"])
        for n in range(round((last - first) / step) + 1):
            size = round(first + n * step, 2)
            found.append(Drill(size, flute, overall, row["series"], row["source"]))
    return tuple(sorted(found))


@lru_cache(maxsize=1)
def standard() -> tuple[Drill, ...]:
    """Return the listed drills and, every 0.1 mm, the sizes between them.

    A size between two listed ones of its series takes the lengths of the shorter of them, and says
    so in its source.
    """
    found = list(listed())
    for series in {drill.series for drill in listed()}:
        row = [drill for drill in listed() if drill.series == series]
        for below, above in pairwise(row):
            shorter = min(below, above, key=lambda drill: (drill.flute, drill.overall))
            said = f"{BETWEEN} {_size(shorter.diameter)} mm, {shorter.source}"
            for n in range(1, round((above.diameter - below.diameter) / STEP_MM)):
                size = round(below.diameter + n * STEP_MM, 2)
                found.append(replace(shorter, diameter=size, source=said))
    return tuple(sorted(found))


def drills(
    series: Iterable[str],
    shop: Iterable[ShopDrill] = (),
    point_angle_deg: float = POINT_ANGLE_DEG,
) -> tuple[Drill, ...]:
    """Return the drills at hand.

    Parameters
    ----------
    series : iterable of str
        "jobber", "long", "extra-long" (all three), or one of these, as "extra-long 2".
    shop : iterable
        The shop's own drills: anything with diameter, flute, overall and unit ("mm", "inch").
    point_angle_deg : float
        Of all of them.

    Returns
    -------
    tuple of Drill
        By diameter, then by length of flute: the first that does is the shortest.

    Raises
    ------
    ValueError
        There is no series of that name.
    """
    wanted = list(series)
    known = {drill.series for drill in standard()}
    for name in wanted:
        if not any(belongs(one, name) for one in known):
            raise ValueError(f"no series of drills is called {name!r}")
    found = [d for d in standard() if any(belongs(d.series, name) for name in wanted)]
    found += [_own(d) for d in shop]
    if point_angle_deg != POINT_ANGLE_DEG:
        found = [replace(d, angle=point_angle_deg) for d in found]
    return tuple(sorted(found))


def _own(drill: ShopDrill) -> Drill:
    """A drill of the shop's own, in mm."""
    mm = MM_PER_INCH if drill.unit == "inch" else 1.0
    given = (float(drill.diameter), float(drill.flute), float(drill.overall))
    diameter, flute, overall = (round(length * mm, 6) for length in given)
    return Drill(diameter, flute, overall, SHOP, "the case's [drilling] drills")


class ShopElectrode(Protocol):
    """What the case file gives of an electrode: mm, and a number of diameters."""

    @property
    def diameter(self) -> float: ...  # noqa: D102
    @property
    def max_length_to_diameter(self) -> float: ...  # noqa: D102
    @property
    def tolerance(self) -> float: ...  # noqa: D102


def electrodes(shop: Iterable[ShopElectrode]) -> tuple[Drill, ...]:
    """Return the electrodes at hand, by diameter.

    Each stands out of its holder by its greatest depth.
    """
    found = []
    for one in shop:
        reach = float(one.max_length_to_diameter * one.diameter)
        overall = reach + CLAMPED_DIAMETERS * one.diameter
        source = "the case's [drilling] electrodes"
        found.append(
            Drill(float(one.diameter), 0.0, overall, ELECTRODE, source, reach, float(one.tolerance))
        )
    return tuple(sorted(found))


def belongs(series: str, name: str) -> bool:
    """Whether a series of drills is meant by a name."""
    return series == name or series.partition(" ")[0] == name


def point_length(diameter: float, point_angle_deg: float = POINT_ANGLE_DEG) -> float:
    """Length of a drill's point, mm: (d / 2) / tan(angle / 2); 0.3004 d at 118 degrees.

    Parameters
    ----------
    diameter : float, mm
    point_angle_deg : float
        Full angle, above 0 and at most 180 (flat).
    """
    return 0.5 * diameter / math.tan(math.radians(point_angle_deg) / 2.0)


def h8_lower(diameter: float) -> float:
    """Lower limit of the tolerance h8, mm (negative; the upper limit is 0).

    Raises
    ------
    ValueError
        The diameter is beyond the table (120 mm).
    """
    for largest, lower in H8_LOWER_MM:
        if diameter <= largest:
            return lower
    raise ValueError(f"the tolerance table ends at 120 mm, found {diameter:g}")


def least_diameter(required_mm: float) -> float:
    """Smallest diameter whose lower limit of size is not below what is required, mm.

    Infinite where the table of tolerances ends.
    """
    sizes = ((required_mm - lower, largest) for largest, lower in H8_LOWER_MM)
    return next((size for size, largest in sizes if size <= largest), math.inf)


def run_out(drill: Drill) -> float:
    """Run-out of a drill as supplied, mm: about 0.03 + 0.01 overall / diameter.

    Source: a toolmaker's specification page; an order of size, not a promise.
    """
    return 0.03 + 0.01 * drill.overall / drill.diameter


def _size(diameter: float) -> str:
    """Diameter with at least one decimal."""
    return f"{diameter:.1f}" if round(diameter, 1) == diameter else f"{diameter:g}"
