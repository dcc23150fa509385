"""Gamma sources and accelerators beside tubes: which might pass what no tube does.

In: metal along the ray, the alloys that a part may be, the laboratory's sources. Out: words.
"""

from __future__ import annotations

from collections.abc import Sequence

from clearance.case.materials import alloy
from clearance.case.tables import Source
from clearance.verdict.names import listed
from clearance.verdict.numbers import given, near

USUAL = (
    Source(name="Se-75", steel=(10.0, 40.0)),
    Source(name="Ir-192", steel=(20.0, 100.0)),
    Source(name="Co-60", steel=(40.0, 200.0)),
    Source(name="1 to 4 MeV", steel=(30.0, 200.0), scans=True),
)
"""From memory of the table of ISO 17636-1 for steel, class A; the laboratory's own replace it."""
STEEL_G_CM3 = 7.85
"""Of carbon steel, for which ranges are given; general knowledge."""


def as_steel_mm(metal_mm: float, alloys: Sequence[str]) -> float:
    """Steel with as much mass on the ray, mm, of the densest of some alloys.

    Above some hundred keV scattering by electrons decides, which goes with the mass on the ray
    (Compton; within a tenth for these alloys, derived). Of none the metal itself.

    Examples
    --------
    >>> round(as_steel_mm(100.0, ("AlSi10Mg",)), 1), round(as_steel_mm(40.0, ("316L",)), 1)
    (34.0, 40.5)
    """
    known = [one.density_g_cm3 for name in alloys if (one := alloy(name)) is not None]
    return metal_mm * max(known) / STEEL_G_CM3 if known else metal_mm


def passing(sources: Sequence[Source], steel_mm: float, scan: bool = False) -> list[Source]:
    """Sources in whose range a length of steel lies; of a scan those that tomographs work with."""
    usable = [one for one in sources if one.scans or not scan]
    return [one for one in usable if one.steel[0] <= steel_mm <= one.steel[1]]


def words(
    sources: Sequence[Source] | None,
    metal_mm: float,
    alloys: Sequence[str],
    scan: bool = False,
) -> str:
    """Which sources might do, with the ranges; empty where none does. None: the usual ones."""
    steel = as_steel_mm(metal_mm, alloys)
    found = passing(USUAL if sources is None else sources, steel, scan)
    if not found:
        return ""
    each = [f"{one.name} ({given(one.steel[0])} to {given(one.steel[1])} mm)" for one in found]
    known = ", from memory" if sources is None else ""
    return f"as {near(steel, 0)} mm of steel it lies in the range of {listed(each)}{known}"
