"""Flows that divide, against networks solved by other means and published numbers.

Sources stand beside each number. The networks are solved here by their own equations (continuity
at each node, one pressure at each node), friction factors by the library `fluids`.
"""

import math

import fluids
import numpy as np
import pytest
import shapely
from scipy.optimize import fsolve
from water import MU, RHO, Flow

from clearance.flow import pressure_loss as losses
from clearance.flow.channel import Branch, End, Piece, Restriction, Stream
from clearance.flow.course import Section
from clearance.flow.dividing import divide
from clearance.flow.losses import restriction_kpa, shares, whole_kpa
from clearance.geometry.planes import Plane


def stream(rate_l_min):
    return Stream(RHO, MU, rate_l_min / 60_000.0)


def branch(length, diameter, *crossings):
    return Branch((Piece.round(length, diameter),), (True,), (True,), crossings=crossings)


def block_kpa(branches, rate, most, mouth=1e9):
    """What ways beside one another lose; the mouths are so wide that they lose nothing."""
    end = End((), mouth, mouth, blocks=(tuple(branches),))
    return whole_kpa(shares(end, stream(rate), most))


@pytest.mark.parametrize("most", [False, True])
@pytest.mark.parametrize("shut", [0, 1, 3])
def test_laminar_legs_share_like_conductances(shut, most):
    # Analytic: dp = 128 mu L Q / (pi d^4); flows go as d^4 / L, conductances add up.
    legs = [(50.0, 1.0), (50.0, 1.5), (80.0, 1.2), (30.0, 0.8), (60.0, 1.0)][shut:]
    rate = 0.02
    conductance = sum(math.pi * (d * 1e-3) ** 4 / (128 * MU * x * 1e-3) for x, d in legs)
    exact = rate / 60_000.0 / conductance * 1e-3
    assert block_kpa([branch(*leg) for leg in legs], rate, most) == pytest.approx(exact, rel=0.01)


@pytest.mark.parametrize(("count", "shut"), [(8, 1), (10, 1), (2, 1), (8, 5)])
def test_equal_legs_some_of_which_are_sealed(count, shut):
    # Published ratio (analytic): in turbulent flow, losses going with the square, equal legs lose
    # as one with its share; of 8 outlets with one sealed (8/7)^2 as much. Rough walls: the factor
    # does not change with the flow.
    rate = 60.0
    rough = {"roughness_mm": 0.2}

    def lost(legs):
        end = End((), 1e9, 1e9, blocks=((branch(60.0, 4.0),) * legs,), **rough)
        return whole_kpa(shares(end, stream(rate), True))

    assert lost(count - shut) / lost(count) == pytest.approx(
        (count / (count - shut)) ** 2, rel=0.03
    )
    area = math.pi * 4.0
    each = stream(rate / count)
    factor = fluids.friction_factor(Re=each.reynolds(area), eD=0.05)
    assert lost(count) == pytest.approx(each.kpa(factor * 15.0, area), rel=0.01)


def header(outlets, rate, pieces):
    """Loss to the farthest node's outlet of a header with legs to one plenum, node by node.

    Unknown: the pressures along the header. Continuity: what comes along less what goes on leaves
    by the leg.
    """
    along, leg = pieces

    def kpa(flow, piece):
        flow = max(abs(flow), 1e-9) * np.sign(flow or 1.0)
        one = stream(abs(flow))
        factor = fluids.friction_factor(Re=one.reynolds(piece.area_mm2))
        return np.sign(flow) * one.kpa(factor * piece.length_mm / piece.diameter_mm, piece.area_mm2)

    def off(flows):
        left, lost, found = rate, 0.0, []
        for n, flow in enumerate(flows):
            lost += kpa(left, along)
            found.append(lost + kpa(flow, leg) if outlets[n] else flow * 1e3)
            left -= flow
        first = next(n for n, is_open in enumerate(outlets) if is_open)
        rest = [(x - found[first]) if outlets[n] else x for n, x in enumerate(found) if n != first]
        return [*rest, (sum(flows) - rate) * 10.0]

    start = [rate / sum(outlets) if is_open else 0.0 for is_open in outlets]
    flows = fsolve(off, start, xtol=1e-10)
    assert np.abs(off(flows)).max() < 1e-4
    first = next(n for n, is_open in enumerate(outlets) if is_open)
    return kpa(rate, along) * 1.0 + _to(first, flows, rate, along, kpa) + kpa(flows[first], leg)


def _to(first, flows, rate, along, kpa):
    left, lost = rate, 0.0
    for n in range(first):
        left -= flows[n]
        lost += kpa(left, along)
    return lost


@pytest.mark.parametrize("rate", [12.0, 0.05])
@pytest.mark.parametrize("sealed", [(), (2,), (0, 7)])
def test_a_manifold_with_eight_outlets_lies_between_its_ends(rate, sealed):
    # At the high end every stretch of the header that a leg's way has carries the whole rate, at
    # the low end the header loses nothing. Independent: the network solved by scipy's fsolve.
    along, leg = Piece.round(10.0, 6.0), Piece.round(60.0, 2.0)
    outlets = [n not in sealed for n in range(8)]
    exact = header(outlets, rate, (along, leg))
    count = sum(outlets)
    ways = [
        Branch((*[along] * (n + 1), leg), (*[False] * (n + 1), True), (*[False] * (n + 1), True))
        for n in range(8)
        if outlets[n]
    ]
    low = block_kpa([branch(60.0, 2.0)] * count, rate, False)
    # Steps of the section are no part of the solved network.
    end = End((), 1e9, 1e9, blocks=(tuple(ways),))
    found = shares(end, stream(rate), True)
    high = found["friction_kpa"]
    assert low <= exact <= high
    assert high < 1.5 * low
    # One tube at the whole rate is what the passage was taken for before.
    assert high < 0.3 * block_kpa([branch(60.0, 2.0)], rate, True)


def test_ten_channels_with_a_plate_each_pass_what_the_plate_leaves():
    # Analytic (shared reference: K 4.37 of a plate of half the area added to 2.0): the flow left
    # at the same pressure is sqrt(2 / 6.37) = 0.56; of ten with one shut 0.9.
    assert math.sqrt(2.0 / 6.37) == pytest.approx(0.56, abs=0.005)

    def kpa(k, share):
        return k * share**2

    plain = [lambda q: kpa(2.0, q)] * 10
    for ways in (plain, plain[1:], [lambda q: kpa(6.37, q)] * 10):
        found = divide(ways, True)
        assert sum(found) == pytest.approx(1.0)
        assert found == pytest.approx(np.full(len(ways), 1.0 / len(ways)), rel=1e-3)
    lost = [
        max(way(q) for way, q in zip(w, divide(w, True), strict=True)) for w in (plain, plain[1:])
    ]
    assert math.sqrt(lost[0] / lost[1]) == pytest.approx(0.9, rel=1e-3)


def test_any_division_bounds_the_loss():
    # What method.md proves: the worst way of any division is no less than what the network loses,
    # the best one no more. Exact: three power laws with other exponents, solved by bisection.
    laws = [(3.0, 1.0), (1.0, 2.0), (2.0, 1.75)]
    ways = [lambda q, r=r, n=n: r * q**n for r, n in laws]
    low, high = 0.0, 10.0
    for _ in range(100):
        level = 0.5 * (low + high)
        total = sum((level / r) ** (1.0 / n) for r, n in laws)
        low, high = (level, high) if total < 1.0 else (low, level)
    random = np.random.default_rng(5)
    for split in [divide(ways, True), *random.dirichlet(np.ones(3), 50)]:
        lost = [way(q) for way, q in zip(ways, split, strict=True)]
        assert min(lost) <= low * (1 + 1e-12)
        assert max(lost) >= low * (1 - 1e-12)
    best = [way(q) for way, q in zip(ways, divide(ways, True), strict=True)]
    assert max(best) < 1.01 * low < 1.03 * min(best)


def test_a_way_that_would_only_cost_is_not_used_at_the_high_end():
    # A leg whose approach at the whole rate loses more than the other leg alone.
    narrow = Branch((Piece.round(5.0, 1.0), Piece.round(10.0, 4.0)), (False, True), (False, True))
    alone = block_kpa([branch(50.0, 4.0)], 5.0, True)
    assert block_kpa([branch(50.0, 4.0), narrow], 5.0, True) == pytest.approx(alone)


def test_all_crossings_of_a_sheet_share_the_flow_at_the_low_end():
    # Two channels beside one another, each with a plate: neither can be passed by without the
    # other; what one of them loses at half the rate.
    area = math.pi * 4.0
    crossing = Restriction(area, 0.3 * area, 0.0, passed_by=True)
    end = End((Piece.round(1.0, 1e4),), 1e9, 1e9)
    half = restriction_kpa(crossing, stream(10.0), 0.0, False)
    found = losses.pressure_loss(end, end, [crossing] * 2, Flow(rate=20.0), cuts=[[0, 1]])
    assert found["predicted"]["low_kpa"] == pytest.approx(half, rel=0.01)
    apart = losses.pressure_loss(end, end, [crossing] * 2, Flow(rate=20.0))
    assert apart["predicted"]["low_kpa"] == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize(("ratio", "published"), [(0.1, 22.343), (0.5, 23.813), (0.8, 23.980)])
def test_an_annulus_lies_between_the_ends(ratio, published):
    # Published: Fanning friction factor times Re on the hydraulic diameter of the concentric
    # annulus (Shah & London), Darcy four times that; turbulent by the hydraulic diameter.
    outer = shapely.Point(0, 0).buffer(5.0, 256)
    ring = outer.difference(shapely.Point(0, 0).buffer(5.0 * ratio, 256))
    section = Section(Plane.level(0.0), ring, 5.0 * (1.0 - ratio) / 2.0)
    most, least = section.piece(100.0), Piece.round(100.0, math.sqrt(4.0 * ring.area / math.pi))
    hydraulic = 10.0 * (1.0 - ratio)
    assert most.diameter_mm == pytest.approx(hydraulic, rel=1e-4)
    for rate in (0.05, 60.0):
        one = stream(rate)
        reynolds = one.reynolds(ring.area, hydraulic)
        assert reynolds < 2000 or reynolds > 4000
        factor = 4.0 * published / reynolds
        if reynolds > 4000:
            factor = fluids.friction_factor(Re=reynolds)
        exact = one.kpa(factor * 100.0 / hydraulic, ring.area)
        ends = [
            whole_kpa(shares(End((piece,), 1e9, 1e9), one, side))
            for piece, side in ((least, False), (most, True))
        ]
        assert ends[0] < exact <= ends[1] * (1 + 1e-9)
        assert ends[1] < 1.15 * exact


def test_a_flat_duct_goes_by_its_hydraulic_diameter():
    # R12: 2 x 10 x 60 at 10 L/min, "2969 kPa said, 67 by hydraulic diameter": friction, sharp
    # entrance 0.57 and exit 1 (package `fluids`).
    duct = shapely.box(-1, -5, 1, 5)
    piece = Section(Plane.level(0.0), duct, 1.0).piece(60.0)
    one = stream(10.0)
    factor = fluids.friction_factor(Re=one.reynolds(20.0, 20.0 / 6.0))
    by_hand = one.kpa(factor * 60.0 / (20.0 / 6.0) + 1.57, 20.0)
    assert by_hand == pytest.approx(67.0, rel=0.05)
    high = whole_kpa(shares(End((piece,), 20.0, 20.0), one, True))
    low = whole_kpa(
        shares(End((Piece.round(60.0, math.sqrt(80 / math.pi)),), 20.0, 20.0), one, False)
    )
    assert low < by_hand < high < 1.2 * by_hand
