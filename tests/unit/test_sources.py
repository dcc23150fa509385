"""Gamma sources and accelerators beside tubes, and what is said of them.

Ranges for steel are from memory of a table of ISO 17636-1 and a user setting. As a check from
outside: half-value layers of steel of about 13 mm (Ir-192) and 22 mm (Co-60), handbooks of
radiography, from memory; the upper ends, 100 and 200 mm, are seven to nine of them, as long as
exposures get: so is what film passes at 450 kV, 90 mm (REFERENCES, handbook of a film maker).
"""

import pytest

from clearance.case.tables import InspectionTable, Source
from clearance.inspection.sources import USUAL, as_steel_mm, passing, words


@pytest.mark.parametrize(("name", "half_mm"), [("Ir-192", 13.0), ("Co-60", 22.0)])
def test_the_upper_end_is_some_half_value_layers(name, half_mm):
    (one,) = [source for source in USUAL if source.name == name]
    assert 7.0 <= one.steel[1] / half_mm <= 9.5


def test_mass_on_the_ray_decides():
    """100 mm of AlSi10Mg at 2.67 weigh as 34 mm of steel at 7.85; nothing known: as it is."""
    assert as_steel_mm(100.0, ("AlSi10Mg",)) == pytest.approx(267.0 / 7.85)
    assert as_steel_mm(100.0, ("316L", "alloy 718 (UNS N07718)")) == pytest.approx(819.0 / 7.85)
    assert as_steel_mm(100.0, ()) == 100.0


def test_which_lie_in_range():
    assert [one.name for one in passing(USUAL, 150.0)] == ["Co-60", "1 to 4 MeV"]
    assert passing(USUAL, 250.0) == []
    assert [one.name for one in passing(USUAL, 150.0, scan=True)] == ["1 to 4 MeV"]
    assert words(None, 250.0, ("316L",)) == ""
    said = words(None, 90.0, ("316L",))
    assert said == (
        "as 91 mm of steel it lies in the range of Ir-192 (20 to 100 mm), Co-60 (40 to 200 mm) and "
        "1 to 4 MeV (30 to 200 mm), from memory"
    )


def test_the_laboratorys_own_take_their_place():
    own = (Source(name="9 MeV", steel=(50.0, 350.0)),)
    assert (
        words(own, 300.0, ()) == "as 300 mm of steel it lies in the range of 9 MeV (50 to 350 mm)"
    )
    assert words((), 90.0, ()) == ""
    assert InspectionTable().sources is None
