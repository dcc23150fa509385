"""The pressure loss of parts whose flow divides: legs beside one another, sheets along a bore.

Expected numbers are worked out beside each test from published forms (library `fluids`).
"""

import math
from types import SimpleNamespace

import fluids
import make
import numpy as np
import pytest
import shapes
import shared

from clearance.flow.branches import Void

RHO, MU = 998.0, 1.0e-3


def water(rate, allowed=None, **keys):
    table = {"density": RHO, "viscosity": MU, "rate": rate, "roughness": 0.0, **keys}
    return table if allowed is None else {**table, "max_pressure_loss": allowed}


def head_kpa(rate, area_mm2):
    return 0.5 * RHO * (rate / 60_000.0 / (area_mm2 * 1e-6)) ** 2 * 1e-3


def factor(rate, area_mm2, hydraulic_mm):
    velocity = rate / 60_000.0 / (area_mm2 * 1e-6)
    return fluids.friction_factor(Re=RHO * velocity * hydraulic_mm * 1e-3 / MU)


def tube_kpa(rate, length, diameter, extra=0.0):
    """A round tube: friction after Colebrook, and further loss coefficients."""
    area = math.pi * diameter**2 / 4.0
    return head_kpa(rate, area) * (factor(rate, area, diameter) * length / diameter + extra)


APART, LEG = 8.0, 30.0


def legs(radius=1.0, count=2, flip=False):
    """A plenum below, one above, upright legs of 30 mm between; wide ports left and right."""
    end = APART * (count - 1)
    top = 10.0 + LEG
    void = shapes.block((-4, -4, 3), (end + 4, 4, 10))
    void += shapes.block((-4, -4, top), (end + 4, 4, top + 7))
    for n in range(count):
        void += shapes.bore((APART * n, 0, 9), (APART * n, 0, top + 1), radius, segments=48)
    void += shapes.bore((-9, 0, 6.5), (0, 0, 6.5), 3.0)
    void += shapes.bore((end, 0, top + 3.5), (end + 9, 0, top + 3.5), 3.0)
    solid = shapes.block((-8, -8, 0), (end + 8, 8, top + 10)) - void
    ends = [(-8, 0, 6.5), (end + 8, 0, top + 3.5)]
    if flip:
        solid = solid.rotate((180, 0, 0)).translate((0, 0, top + 10))
        ends = [(x, -y, top + 10 - z) for x, y, z in ends]
    return solid, make.passage(*ends, 3.0, 1.0)


def plugs(which, low, high):
    """A drawn sheet in some of the legs, at a height."""
    whole = None
    for n in which:
        plug = shapes.block((APART * n - 3, -3, low), (APART * n + 3, 3, high))
        whole = plug if whole is None else whole + plug
    return whole


DRAWN = {"shape": "mesh", "mesh": "plug.stl", "source": "log"}


def sealed(folder, which, count=2, flip=False, rate=2.0, allowed=None):
    solid, way = legs(count=count, flip=flip)
    plug = plugs(which, 24.0, 24.4)
    return make.first(
        folder, solid, way, DRAWN, meshes={"plug": plug}, flow=water(rate, allowed), pitch=0.5
    )


@pytest.mark.parametrize(("rest", "flip"), [(1, True), *shared.more((0, False))])
def test_one_of_two_legs_sealed_the_other_carries_everything(tmp_path, rest, flip):
    # By hand: a leg with a sharp entrance and an exit into the plenum, at the whole rate,
    # and nominally at half of it; the plena and ports of 6 mm lose little.
    found = sealed(tmp_path, [rest], flip=flip, allowed=1000.0)
    assert found.state.value == "open"
    alone, half = (tube_kpa(rate, LEG, 2.0, 1.5) for rate in (2.0, 1.0))
    nominal, predicted = found.flow["nominal"], found.flow["predicted"]
    # R12: not twice the leg at the whole rate, which is eight times as much.
    assert nominal["low_kpa"] < half < nominal["high_kpa"] < 5.0 * half
    friction = tube_kpa(1.0, LEG, 2.0)
    assert 0.6 * friction < nominal["least"]["friction_kpa"] < 1.05 * friction
    assert alone < predicted["high_kpa"] < 5.0 * alone
    assert predicted["low_kpa"] < alone
    assert found.flow["requirement"]["predicted"] == "met"


@pytest.mark.parametrize(("count", "shut"), shared.more((3, [1]), (4, [1]), (4, [0, 2])))
def test_of_several_legs_some_sealed_the_rest_share_the_flow(tmp_path, count, shut):
    found = sealed(tmp_path, shut, count=count, rate=4.0)
    each = 4.0 / (count - len(shut))
    by_hand = tube_kpa(each, LEG, 2.0, 1.5)
    flow = found.flow["predicted"]
    assert flow["low_kpa"] < by_hand < flow["high_kpa"] < 5.0 * by_hand


def test_a_sheet_over_two_legs_restricts_both(tmp_path):
    # Half of one leg and a quarter of the other are covered: both beside one another, neither at
    # the whole rate. By hand: leg and plate at the shares that lose the same lie between the two
    # legs at half the rate each.
    solid, way = legs()
    cover = shapes.block((-3, 0, 24), (3, 3, 24.2)) + shapes.block((5, 0.4, 24), (11, 3, 24.2))
    found = make.first(
        tmp_path, solid, way, DRAWN, meshes={"plug": cover}, flow=water(2.0), pitch=0.5
    )
    ks = [r["loss_coefficient"] for r in found.flow["predicted"]["restrictions"]]
    assert len(ks) == 2
    most = tube_kpa(1.0, LEG, 2.0, 1.5 + max(ks))
    flow, nominal = found.flow["predicted"], found.flow["nominal"]
    assert flow["low_kpa"] < most
    assert nominal["high_kpa"] < flow["high_kpa"] < 8.0 * most
    assert flow["low_kpa"] > nominal["low_kpa"]


# ---- a sheet along a bore ----------------------------------------------------------------------


def moon(radius, offset):
    """Area and hydraulic diameter of what a chord cuts off a circle, beyond an offset."""
    half = math.acos(offset / radius)
    area = radius**2 * (half - math.sin(half) * math.cos(half))
    return area, 4.0 * area / (2.0 * radius * (half + math.sin(half)))


def beside_kpa(rate, moons, length):
    """Channels beside one another, by bisection: entrance 0.5, friction, exit 1."""

    def lost(share, area, hydraulic):
        flow = share * rate
        return head_kpa(flow, area) * (1.5 + factor(flow, area, hydraulic) * length / hydraulic)

    if len(moons) == 1:
        return lost(1.0, *moons[0])
    low, high = 0.0, 1.0
    for _ in range(50):
        q = 0.5 * (low + high)
        low, high = (q, high) if lost(q, *moons[0]) < lost(1.0 - q, *moons[1]) else (low, q)
    return lost(low, *moons[0])


@pytest.mark.parametrize(
    ("height", "low", "high"), [(10.5, -0.5, 0.7), *shared.more((8.5, 1.5, -1.3))]
)
def test_a_sheet_along_a_level_bore_leaves_half_moons(tmp_path, height, low, high):
    # Below and above a sheet of 0.2 from mouth to mouth; R8: "infinite", then "nothing bounds it".
    void = shapes.bore((-25, 0, 10), (25, 0, 10), 3.0)
    solid = shapes.block((-20, -6, 0), (20, 6, 20)) - void
    way = make.passage((-20, 0, 10), (20, 0, 10), 3.0, 1.0)
    stray = make.plane(height, 2, source="log")
    found = make.first(tmp_path, solid, way, stray, flow=water(5.0, 1000.0))
    assert found.state.value == "open"
    by_hand = beside_kpa(5.0, [moon(3.0, low), moon(3.0, high)], 40.0)
    flow = found.flow["predicted"]
    assert flow["low_kpa"] < by_hand < flow["high_kpa"] < 2.0 * by_hand
    assert found.flow["requirement"]["predicted"] == "met"


@pytest.mark.parametrize("flip", [False, *shared.more(True)])
def test_a_sheet_along_a_level_run_between_two_upright_ones(tmp_path, flip):
    # The sheet stands in the level run between 0.7 and 1.3 under its middle: the half-moon above it
    # carries everything, the small one below at most. By hand: the bore with its two mitres, and
    # the half-moon with a sudden contraction and expansion at its ends.
    void = shapes.bore((0, 0, -1), (0, 0, 12), 2.0) + shapes.bore((0, 0, 12), (30, 0, 12), 2.0)
    void += shapes.bore((30, 0, 12), (30, 0, 25), 2.0)
    solid = shapes.block((-5, -5, 0), (35, 5, 24)) - void
    ends, z = [(0, 0, 0), (30, 0, 24)], 10.7
    if flip:
        solid = solid.rotate((180, 0, 0)).translate((0, 0, 24))
        ends, z = [(0, 0, 24), (30, 0, 0)], 24 - 11.3
    plug = shapes.block((4, -4, z), (26, 4, z + 0.6))
    found = make.first(
        tmp_path,
        solid,
        make.passage(*ends, 2.0, 1.0),
        DRAWN,
        meshes={"plug": plug},
        flow=water(3.0),
        pitch=0.5,
    )
    (area, hydraulic), bore = moon(2.0, -0.7), math.pi * 4.0
    f = area / bore
    ends = 0.5 * (1.0 - f) ** 0.75 + (1.0 - f) ** 2
    through = head_kpa(3.0, area) * (ends + factor(3.0, area, hydraulic) * 22.0 / hydraulic)
    mitre = fluids.bend_miter(90.0)
    by_hand = tube_kpa(3.0, 32.0, 4.0, 1.5 + 2.0 * mitre) + through
    flow = found.flow["predicted"]
    assert flow["low_kpa"] < by_hand < flow["high_kpa"] < 5.0 * by_hand


@pytest.mark.parametrize("shift", [0.8, *shared.more(-0.8)])
def test_a_lens_in_a_leaning_tube_counts_as_narrow_as_it_is(tmp_path, shift):
    # A slanting section misses how narrow a thin level sheet leaves a tube; nothing that is proven
    # from above may lie below what is proven from below.
    lean = 14.0 * math.tan(math.radians(40.0))
    solid = shapes.block((-6, -6, 0), (lean + 6, 6, 14))
    solid -= shapes.bore((-lean / 14, 0, -1), (lean * 15 / 14, 0, 15), 1.5)
    x = lean / 2.0
    plate = shapes.block((x - 5, -4, 6.9), (x + 5, shift, 7.1))
    if shift < 0.0:
        plate = shapes.block((x + shift, -4, 6.9), (x + 5, 4, 7.1))
    way = make.passage((0, 0, 0), (lean, 0, 14), 1.6, 0.3)
    found = make.first(tmp_path, solid, way, DRAWN, meshes={"plug": plate}, flow=water(1.0))
    flow = found.flow["predicted"]
    k = flow["restrictions"][0]["loss_coefficient"]
    assert flow["low_kpa"] < k * head_kpa(1.0, math.pi * 2.25) < flow["high_kpa"]


def test_a_further_way_without_length_is_no_leg():
    # Found by random parts: of two sections hard by each other a route of one cell.
    course = SimpleNamespace(
        line=SimpleNamespace(places=np.zeros((3, 3))), lids=[0, 1, 2], narrow=[None] * 3
    )
    void = Void(SimpleNamespace(grid=SimpleNamespace(pitch_mm=0.3)), None, None, None)
    (block,) = void.blocks(course, [True, False, True], 1.0)
    assert block.legs == ()
