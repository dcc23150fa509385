"""What a drill needs and stands: published tables and closed forms.

Thrust and torque: Shaw and Oxford's formula as Machinery's Handbook (31st ed., pp. 1152-1153) gives
it in SI units; K 23 300 for alloy steel of 200 HB: Fundamentals of Tool Design (6th ed., p. 83).
Buckling: Euler's cases; the share of the section that two flutes leave is from a model of it.
"""

import math

import pytest

from clearance.drilling import forces

STEEL = 23_300.0


@pytest.mark.parametrize(
    ("d", "f", "thrust", "split", "torque"),
    [
        (1, 0.015, 60, 45, 0.022),
        (2, 0.03, 186, 136, 0.13),
        (3, 0.05, 390, 282, 0.42),
        (5, 0.08, 881, 620, 1.52),
        (8, 0.12, 1841, 1251, 4.9),
        (10, 0.15, 2673, 1789, 8.7),
    ],
)
def test_thrust_and_torque_as_the_handbook_has_them(d, f, thrust, split, torque):
    """The same table's factors: f 0.10 gives 0.158, d 6.4 gives 4.42 and 28.26."""
    assert 0.10**0.8 == pytest.approx(0.158, abs=5e-4)
    assert (6.4**0.8, 6.4**1.8) == pytest.approx((4.42, 28.26), abs=6e-3)
    found = forces.cutting(d, f, STEEL, split=False)
    assert found.lips_n + found.chisel_n == pytest.approx(thrust, rel=0.01)
    assert found.torque_nm == pytest.approx(torque, rel=0.03)
    other = forces.cutting(d, f, STEEL, split=True)
    assert other.lips_n + other.chisel_n == pytest.approx(split, rel=0.01)


def test_the_chisel_edge_takes_its_load_at_any_feed():
    """d 3 in 316L, K 24 000 to 35 000: 45 to 66 N of 402 to 586 N, torque 0.43 to 0.62 N m."""
    for feed in (0.02, 0.05):
        ends = [forces.cutting(3.0, feed, k, split=False).chisel_n for k in (24e3, 35e3)]
        assert ends == pytest.approx([45.4, 66.2], abs=0.1)
    low, high = (forces.cutting(3.0, 0.05, k, split=False) for k in (24e3, 35e3))
    assert (low.lips_n + low.chisel_n, high.lips_n + high.chisel_n) == pytest.approx(
        (402, 586), rel=0.005
    )
    assert (low.torque_nm, high.torque_nm) == pytest.approx((0.43, 0.62), abs=0.01)


@pytest.mark.parametrize(
    ("t", "span", "share"),
    [(0.1, 0.17, 0.11), (0.2, 0.33, 0.22), (0.3, 0.50, 0.33), (0.5, 0.83, 0.55)],
)
def test_of_a_thin_sheet_the_lips_cut_a_part_only(t, span, share):
    """A point spans t tan(59 deg) of each lip in a sheet; d 3, so of 1.5 mm."""
    assert forces.lip_share(3.0, t) == pytest.approx(share, abs=0.006)
    assert forces.lip_share(3.0, t) * 1.5 == pytest.approx(span, abs=0.006)
    # Solid from the point's length on: 0.3004 d at 118 degrees.
    assert forces.lip_share(3.0, 0.89) < 1.0 == forces.lip_share(3.0, 0.902)


def test_torque_of_the_outermost_part_of_the_lips():
    """Force even along the lip, times its distance from the axis: 1 - (1 - s)^2."""
    steps = 100_000
    s = 0.25
    radii = [(n + 0.5) / steps for n in range(steps)]
    outer = math.fsum(r for r in radii if r > 1.0 - s) / math.fsum(radii)
    assert forces.torque_share(s) == pytest.approx(outer, rel=1e-4)
    assert forces.torque_share(1.0) == 1.0


@pytest.mark.parametrize(
    ("d", "flute", "held", "free"),
    [
        (2, 56, 202, 25), (2, 85, 88, 11), (3, 66, 735, 90), (3, 100, 320, 39), (3, 160, 125, 15),
        (5, 87, 3265, 399), (5, 135, 1356, 166), (5, 210, 560, 68), (8, 265, 2306, 282),
    ],
)  # fmt: skip
def test_slender_drills_buckle_as_euler_has_it(d, flute, held, free):
    """Chuck fixed; the tip held, 2.046 pi^2 E I / L^2, or free, pi^2 E I / (4 L^2); E 210 GPa."""
    assert forces.buckling(d, flute, True) == pytest.approx(held, rel=0.01)
    assert forces.buckling(d, flute, False) == pytest.approx(free, rel=0.03)


def test_stout_drills_yield_before_they_buckle():
    """Johnson's parabola from a slenderness of 45.5 down: L / d of 10.5 held, 3.7 free."""
    assert forces.slenderest(210e3, 2000.0) == pytest.approx(45.5, abs=0.05)
    for held, ratio in ((True, 10.4), (False, 3.64)):
        assert forces.slenderness(1.0, ratio, held) == pytest.approx(45.5, abs=0.2)
        # Both curves touch there: half of yield.
        area = 0.19 / 16.0 / 0.16**2 * math.pi / 4.0 * 100.0
        at = ratio * 45.5 / forces.slenderness(1.0, ratio, held)
        assert forces.buckling(10.0, 10.0 * at, held) == pytest.approx(1000.0 * area, rel=0.01)
    euler = 2.046 * math.pi**2 * 210e3 * 0.19 * math.pi * 8.0**4 / 64.0 / 75.0**2
    assert euler == pytest.approx(28_800, rel=0.01)  # published as Euler's
    assert forces.buckling(8.0, 75.0, True) < euler


@pytest.mark.parametrize(("d", "most"), [(1, 0.022), (2, 0.18), (3, 0.59), (5, 2.75), (8, 11.3)])
def test_torque_that_a_drill_stands(d, most):
    """Torsion modulus 0.022 d^3 of two flutes, 1000 MPa in shear."""
    assert forces.torque_limit(d, 2000.0) == pytest.approx(most, rel=0.025)


@pytest.mark.parametrize(
    ("modulus", "thin", "thick"),
    [(193, 14, 1150), (114, 8, 680), (200, 15, 1190), (70, 5, 420)],
    ids=["316L", "Ti-6Al-4V", "alloy 718", "AlSi10Mg"],
)
def test_load_that_bends_a_clamped_sheet_by_its_thickness(modulus, thin, thick):
    """16 pi D t / a^2 in the middle of a clamped disc of 5 mm, small deflections."""
    assert forces.sheet_load(0.1, 5.0, modulus) == pytest.approx(thin, rel=0.07)
    assert forces.sheet_load(0.3, 5.0, modulus) == pytest.approx(thick, rel=0.02)


@pytest.mark.parametrize(
    ("d", "feed"),
    [(3.2, (0.025, 0.05)), (3.3, (0.05, 0.10)), (6.4, (0.05, 0.10)), (12.0, (0.10, 0.18))],
)
def test_feeds_of_a_training_page(d, feed):
    """Published to 12.7 mm."""
    assert forces.usual_feed(d) == feed


@pytest.mark.parametrize(("d", "allowed"), [(3.0, 0.25), (5.0, 0.30), (8.0, 0.40), (2.0, None)])
def test_reaming_allowance_of_a_cutter_maker(d, allowed):
    """On the diameter, at most: 0.25 at 2.3 to 4.3 mm, 0.30 to 7.1, 0.40 to 22."""
    assert forces.reaming_allowance(d) == allowed


@pytest.mark.parametrize(
    ("point", "limit"), [(118, 31.0), (120, 30.0), (130, 25.0), (135, 22.5), (140, 20.0)]
)
def test_the_point_meets_a_sheet_before_its_corner(point, limit):
    """90 degrees less half the point's angle."""
    assert forces.steepest(point) == pytest.approx(limit)


@pytest.mark.parametrize(("tilt", "uneven"), [(10.0, 0.39), (20.0, 0.48)])
def test_uneven_cutting_lasts_so_long(tilt, uneven):
    """Point's length and half the diameter times tan(tilt), over the diameter, at 118 degrees."""
    assert forces.uneven(1.0, tilt) == pytest.approx(uneven, abs=0.006)
