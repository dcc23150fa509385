"""Twist drills: the standard lengths, the shop's own drills, and how deep a drill reaches.

In: which series are at hand, and a depth. Out: drills, and the limit that keeps one from reaching
that depth, in numbers and in words. The lengths lie in drills.csv with their sources.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from typing import Protocol

POINT_ANGLE_DEG = 118.0
"""Usual general-purpose point (several toolmakers' pages)."""

CHIP_ROOM_DIAMETERS = 1.0
"""Flute that stays clear of the hole for the chips; common practice, no source."""

CLAMPED_DIAMETERS = 2.5
"""Least length of shank in the holder; common practice, no source."""

SHOP = "shop"

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
    """A twist drill.

    Attributes
    ----------
    diameter : float, mm
    flute : float, mm
        Length of the flutes, measured from the tip.
    overall : float, mm
        Measured to the tip.
    series : str
        "jobber", "long", "extra-long 1", "extra-long 2", "extra-long 3" or "shop".
    """

    diameter: float
    flute: float
    overall: float
    series: str

    @property
    def words(self) -> str:
        """How a sentence calls it."""
        if self.series == SHOP:
            return f"the shop's {_size(self.diameter)} mm drill"
        name, _, number = self.series.partition(" ")
        of = f" of series {number}" if number else ""
        size = _size(self.diameter)
        article = "an" if size.startswith("8") or size.split(".")[0] in ("11", "18") else "a"
        return f"{article} {size} mm {name} drill{of}"


class ShopDrill(Protocol):
    """What the case file gives of a drill of the shop's own, mm."""

    @property
    def diameter(self) -> float: ...  # noqa: D102
    @property
    def flute(self) -> float: ...  # noqa: D102
    @property
    def overall(self) -> float: ...  # noqa: D102


@dataclass(frozen=True, slots=True)
class Practice:
    """How a shop drills: settings that hold for every drill.

    Attributes
    ----------
    point_angle_deg : float
        Full angle of the point.
    chip_room_diameters : float
        Flute that must stay outside the hole, over the diameter.
    max_length_to_diameter : float
        Deepest hole, to the drill's tip, over the diameter.
    """

    point_angle_deg: float = POINT_ANGLE_DEG
    chip_room_diameters: float = CHIP_ROOM_DIAMETERS
    max_length_to_diameter: float = math.inf


USUAL = Practice()


@dataclass(frozen=True, slots=True)
class Limit:
    """Why a drill does not reach.

    Attributes
    ----------
    kind : str
        "flute", "overall" or "length-to-diameter".
    available, needed : float
        mm; diameters for "length-to-diameter".
    words : str
        A clause for the report.
    """

    kind: str
    available: float
    needed: float
    words: str


@lru_cache(maxsize=1)
def standard() -> tuple[Drill, ...]:
    """Return all standard drills of the table, by diameter, then by length of flute."""
    text = resources.files(__package__).joinpath("drills.csv").read_text("utf-8")
    lines = [line for line in text.splitlines() if not line.startswith("#")]
    found = []
    for row in csv.DictReader(lines):
        first, last, step = (float(row[name]) for name in ("from", "to", "step"))
        for n in range(round((last - first) / step) + 1):
            size = round(first + n * step, 2)
            found.append(Drill(size, float(row["flute"]), float(row["overall"]), row["series"]))
    return tuple(sorted(found))


def drills(series: Iterable[str], shop: Iterable[ShopDrill] = ()) -> tuple[Drill, ...]:
    """Return the drills at hand.

    Parameters
    ----------
    series : iterable of str
        "jobber", "long", "extra-long" (all three), or one of these, as "extra-long 2".
    shop : iterable
        The shop's own drills: anything with diameter, flute and overall, mm.

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
        if not any(_belongs(one, name) for one in known):
            raise ValueError(f"no series of drills is called {name!r}")
    found = [d for d in standard() if any(_belongs(d.series, name) for name in wanted)]
    own = [Drill(float(d.diameter), float(d.flute), float(d.overall), SHOP) for d in shop]
    return tuple(sorted(found + own))


def _belongs(series: str, name: str) -> bool:
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


def run_out(drill: Drill) -> float:
    """Run-out of a drill as supplied, mm: about 0.03 + 0.01 overall / diameter.

    Source: a toolmaker's specification page; an order of size, not a promise.
    """
    return 0.03 + 0.01 * drill.overall / drill.diameter


def reach_limits(
    drill: Drill,
    depth_mm: float,
    practice: Practice = USUAL,
) -> Iterator[Limit]:
    """Give the limits that keep a drill from a depth; none if it reaches.

    Parameters
    ----------
    drill : Drill
    depth_mm : float
        How deep the full diameter must go, from the opening's face along the axis.
    practice : Practice

    Yields
    ------
    Limit
        In the order flute, overall, length-to-diameter.
    """
    tip = depth_mm + point_length(drill.diameter, practice.point_angle_deg)
    flute = tip + practice.chip_room_diameters * drill.diameter  # our rule: chips must leave
    if flute > drill.flute:
        words = f"{drill.words} has {drill.flute:g} mm of flute, {_up(flute)} mm needed"
        yield Limit("flute", drill.flute, flute, words)
    clamped = CLAMPED_DIAMETERS * drill.diameter
    free = drill.overall - clamped
    if tip > free:
        words = (
            f"{drill.words} is {drill.overall:g} mm long and projects at most {free:.1f} mm from a "
            f"holder that grips {clamped:.1f} mm, {_up(tip)} mm needed"
        )
        yield Limit("overall", free, tip, words)
    ratio = tip / drill.diameter
    if ratio > practice.max_length_to_diameter:
        words = (
            f"{tip:.1f} mm is {_up(ratio)} diameters deep for {drill.words}, "
            f"{practice.max_length_to_diameter:g} allowed (max_length_to_diameter)"
        )
        yield Limit("length-to-diameter", practice.max_length_to_diameter, ratio, words)


def reach_limit(
    drill: Drill,
    depth_mm: float,
    practice: Practice = USUAL,
) -> Limit | None:
    """Return the first limit that bites (see `reach_limits`), or None if the drill reaches."""
    return next(reach_limits(drill, depth_mm, practice), None)


def not_at_hand(
    diameter: float,
    depth_mm: float,
    series: Iterable[str],
    practice: Practice = USUAL,
) -> Drill | None:
    """Return the shortest standard drill that would reach, of a series that is not at hand.

    Parameters
    ----------
    diameter : float, mm
        Of the drill, as in the table.
    depth_mm : float
        As in `reach_limits`, like practice.
    series : iterable of str
        What is at hand.
    practice : Practice
    """
    names = list(series)
    for drill in standard():
        offered = any(_belongs(drill.series, name) for name in names)
        if drill.diameter == diameter and not offered:
            if reach_limit(drill, depth_mm, practice) is None:
                return drill
    return None


def _size(diameter: float) -> str:
    """Diameter with at least one decimal."""
    return f"{diameter:.1f}" if round(diameter, 1) == diameter else f"{diameter:g}"


def _up(value: float) -> str:
    """Round up to 0.1, so that what is needed never reads as what is there."""
    return f"{math.ceil(10.0 * value - 1e-6) / 10.0:g}"
