"""Section properties: every expected number is analytic unless it says otherwise."""

import math

import numpy as np
import pytest
import shapely

from clearance.evidence.section_properties import resumed_section, torsion_constant

MANY = 2048  # corners of a circle: the polygon differs from it by 3e-6


def circle(radius, centre=(0.0, 0.0), corners=MANY):
    turn = np.linspace(0.0, 2.0 * np.pi, corners, endpoint=False)
    return np.column_stack([centre[0] + radius * np.cos(turn), centre[1] + radius * np.sin(turn)])


def test_annulus_of_the_reference_table():
    # published: REFERENCES.md section 8, D 20, d 12
    found = resumed_section(shapely.Polygon(circle(10.0), [circle(6.0)]))
    assert found["metal_area_mm2"] == pytest.approx(201.0619, rel=1e-5)
    assert found["Ixx_mm4"] == pytest.approx(6836.106, rel=1e-5)
    assert found["Iyy_mm4"] == pytest.approx(6836.106, rel=1e-5)
    assert found["J_mm4"] == pytest.approx(13672.211, rel=2e-3)
    assert abs(found["J_mm4"] - 13672.211) < found["J_uncertainty_mm4"] < 5e-3 * 13672.211


def test_moments_are_about_the_centroid_and_named_by_their_axis():
    found = resumed_section(shapely.box(100.0, 200.0, 104.0, 210.0))
    assert found["metal_area_mm2"] == pytest.approx(40.0)
    assert found["Ixx_mm4"] == pytest.approx(4.0 * 10.0**3 / 12.0)
    assert found["Iyy_mm4"] == pytest.approx(10.0 * 4.0**3 / 12.0)


def test_a_right_triangle_has_a_product_of_inertia():
    """Handbook formula, from memory: -b^2 h^2 / 72 about the centroid, legs along the axes."""
    found = resumed_section(shapely.Polygon([(50, 20), (56, 20), (50, 24)]))
    assert found["Ixy_mm4"] == pytest.approx(-(6.0**2) * 4.0**2 / 72.0)


@pytest.mark.parametrize(
    ("shape", "expected"),
    [
        (shapely.Polygon(circle(10.0)), math.pi * 10.0**4 / 2.0),
        (shapely.box(0.0, 0.0, 10.0, 10.0), 0.1405770 * 10.0**4),
        # Saint-Venant's series, ratio 2: 0.228682 a b**3
        (shapely.box(3.0, 3.0, 23.0, 13.0), 0.228682 * 20.0 * 10.0**3),
        (
            shapely.affinity.scale(shapely.Polygon(circle(1.0)), 12.0, 5.0),
            math.pi * 12.0**3 * 5.0**3 / (12.0**2 + 5.0**2),
        ),
        # equilateral triangle, side 12: sqrt(3) a**4 / 80
        (shapely.Polygon([(0, 0), (12, 0), (6, 6 * math.sqrt(3))]), math.sqrt(3) * 12**4 / 80),
    ],
)
def test_torsion_of_solid_sections(shape, expected):
    assert torsion_constant(shape, 20_000) == pytest.approx(expected, rel=5e-4)


def test_torsion_of_a_thin_tube_by_area_inside_its_middle_line():
    tube = shapely.Polygon(circle(10.05), [circle(9.95)])
    assert torsion_constant(tube, 40_000) == pytest.approx(2 * math.pi * 10**3 * 0.1, rel=2e-3)


def test_an_open_slit_takes_the_stiffness_of_a_tube_away():
    tube = shapely.Polygon(circle(10.0), [circle(9.0)])
    slit = tube.difference(shapely.box(0.0, -0.05, 20.0, 0.05))
    # thin open wall: length t**3 / 3
    assert torsion_constant(slit, 40_000) == pytest.approx(2 * math.pi * 9.5 / 3.0, rel=0.02)


@pytest.mark.parametrize("turn", [0.0, 10.0, 45.0])
def test_turned_and_moved_sections_are_as_stiff(turn):
    shape = shapely.Polygon(circle(10.0), [circle(3.0, (4.0, 1.0)), circle(2.0, (-5.0, 2.0))])
    moved = shapely.affinity.translate(shapely.affinity.rotate(shape, turn), 300.0, -120.0)
    plain, found = torsion_constant(shape, 40_000), torsion_constant(moved, 40_000)
    assert found == pytest.approx(plain, rel=2e-3)


def test_separate_pieces_add_up_in_torsion():
    one = shapely.box(0.0, 0.0, 4.0, 4.0)
    two = shapely.union_all([one, shapely.affinity.translate(one, 10.0, 0.0)])
    assert torsion_constant(two, 20_000) == pytest.approx(2 * 0.1405770 * 4.0**4, rel=1e-3)


def test_an_island_in_a_hole_is_a_piece_of_its_own():
    tube, disc = shapely.Polygon(circle(10.0), [circle(6.0)]), shapely.Polygon(circle(3.0))
    found = torsion_constant(shapely.union_all([tube, disc]), 40_000)
    assert found == pytest.approx(13672.211 + math.pi * 3.0**4 / 2.0, rel=2e-3)


def test_nothing_has_no_stiffness():
    assert set(resumed_section(shapely.MultiPolygon()).values()) == {0.0}


def test_error_falls_with_the_pitch():
    shape, exact = shapely.Polygon(circle(10.0)), math.pi * 10.0**4 / 2.0
    errors = [abs(torsion_constant(shape, n) / exact - 1.0) for n in (500, 8_000)]
    assert errors[1] < 0.25 * errors[0]  # four times finer
