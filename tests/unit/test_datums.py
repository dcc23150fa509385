"""Datums: distances from a part's own faces, as a rule and a caliper would have them. Analytic."""

import pytest
import shapes
from manifold3d import Manifold

from clearance.drawing.datums import datums

BLOCK = shapes.block((-20, -10, 5), (20, 30, 45))


def test_the_faces_of_a_block():
    found = datums(shapes.soup(BLOCK))
    assert found.low == pytest.approx((-20, -10, 5))
    assert found.high == pytest.approx((20, 30, 45))
    assert found.low_mm2 == pytest.approx((1600, 1600, 1600))
    assert found.high_mm2 == pytest.approx((1600, 1600, 1600))


def test_a_place_from_the_nearer_face():
    found = datums(shapes.soup(BLOCK))
    said = found.of((-15.0, 28.0, 45.0))
    assert said == (
        "5.00 mm from the lowest x face and 2.00 mm from the highest y face; 0.00 mm from the "
        "highest z face"
    )
    assert found.height(15.0) == "10.00 mm above its lowest face, 30.00 mm below its top"


def test_a_round_side_is_no_face_and_a_holed_one_has_less():
    drum = Manifold.cylinder(30.0, 10.0, 10.0, 96)
    found = datums(shapes.soup(drum - shapes.bore((0, 0, -1), (0, 0, 31), 5.0)))
    assert found.low_mm2[2] == found.high_mm2[2] == pytest.approx(3.1416 * 75.0, rel=0.01)
    assert found.along(2, 12.0) == "12.00 mm from the lowest z face"
    # One strip of 2 x 10 sin(pi / 96) x 30 lies within the extent of x; it is 0.65 mm wide.
    cone = Manifold.cylinder(30.0, 10.0, 6.0, 96)
    round_one = datums(shapes.soup(cone.translate((5.0, 0.0, 0.0))))
    assert "no flat face there" in round_one.along(0, 1.0)
    assert round_one.of((5.0, 4.0, 30.0)) == (
        "4.00 mm from the middle of its outside, at 90.0 deg from +x to +y, which has to be marked "
        "on it; 0.00 mm from the highest z face"
    )
