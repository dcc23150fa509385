"""How deep powder lies and is melted: closed values, and those of REFERENCES-3.md, A5."""

import numpy as np
import pytest

from clearance.case.materials import alloy
from clearance.case.powder_bed import joint_gap, recess, shrinkage, welded
from clearance.case.stray_tables import BuildEvent, StrayKeys, read_event
from clearance.predicted.slabs import Event

T = 0.05


@pytest.mark.parametrize(("packing", "first", "limit"), [
    (0.5, (0.025, 0.0375, 0.04375), 0.05),  # A5: 25 / 37.5 / 43.8 ... 50 um
    (0.6, (0.020, 0.028, 0.0312), 0.0333),  # A5: 20 / 28 / 31.2 ... 33 um
    (0.45, (0.0275, 0.042625), 0.0611),  # DESIGN-2, section 0: 1.22 t
])  # fmt: skip
def test_the_recess_is_where_layer_upon_layer_tends_to(packing, first, limit):
    # Powder of depth s + t, spread up to the counted face, melts to packing times that.
    depths = [0.0]
    for _ in range(60):
        depths.append((1.0 - packing) * (depths[-1] + T))
    assert depths[1 : 1 + len(first)] == pytest.approx(first, rel=1e-9)
    assert recess(T, packing) == pytest.approx(depths[-1], rel=1e-9)
    assert recess(T, packing) == pytest.approx(limit, abs=5e-5)
    assert max(depths) <= recess(T, packing)  # the limit is the cautious end


@pytest.mark.parametrize(("material", "cooled", "lost"), [
    ("316L", 150, 0.08), ("AlSi10Mg", 150, 0.10), ("Ti-6Al-4V", 150, 0.04), ("IN718", 80, 0.03),
])  # fmt: skip
def test_what_a_height_loses_in_cooling(material, cooled, lost):
    # A5: a height of 31.2 mm.
    assert shrinkage(31.2, cooled, alloy(material).expansion_1e6_k) == pytest.approx(
        lost, abs=0.005
    )


def event_of(t=T, height=31.2, expansion=16.5, **keys):
    """Gap of a sheet and of its joint for the keys of a stray table."""
    faults = []
    table = StrayKeys.model_validate({"height": height, "layers": 1, **keys})
    read: BuildEvent = read_event([table], t, "", lambda *said: faults.append(said), expansion)
    assert not faults
    (stray,) = read.strays
    slices = tuple(np.arange(stray.layers_high) * t)
    weld, joint = stray.welded(height, t), stray.joint_gap(height, t)
    return Event(0, height, slices, t, False, stray.penetration_high, 0.0, (0, 0), (), weld, joint)


@pytest.mark.parametrize(("keys", "gap"), [
    # A5: with t 50 um, packing 0.5 and p = t a single layer leaves 50 um, where n t - p gives none.
    ({"penetration": T, "packing": 0.5}, 0.05),
    ({}, 0.05),  # what is assumed: [t, 2 t] and [0.45, 0.6]
    ({"penetration": 0.1, "packing": 0.5}, 0.0),
    ({"penetration": 0.08, "packing": 0.5}, 0.02),
    # Of a range the least melt depth and the loosest powder count.
    ({"penetration": [0.08, 0.2], "packing": [0.5, 0.6]}, 0.02),
    ({"layers": 3, "penetration": 0.1}, 0.15 - (0.1 - 0.05 * 0.55 / 0.45)),
    ({"layers": 3, "penetration": 0.0}, 0.15),  # never thicker than the layers are
    ({"layers": 0, "next_layer": 624}, 0.0),
    # Cooling adds to what the melt has to bridge: 31.2 mm, 100 K, 16.5e-6/K.
    ({"penetration": 0.1, "packing": 0.5, "cooled": 100}, 0.05 - (0.05 - 0.05148) - 0.00148),
    ({"penetration": 0.14, "packing": 0.5, "cooled": [0, 100]}, 0.05 - 0.03852),
])  # fmt: skip
def test_how_thick_a_gap_can_be(keys, gap):
    assert event_of(**keys).sheet_gap == pytest.approx(gap, abs=1e-9)


@pytest.mark.parametrize(("keys", "gap"), [
    ({}, 0.0),
    ({"cooled": 0}, 0.0),
    ({"cooled": [0, 100]}, 0.05148),  # assumed melt depth: what the part shrank may all be left
    ({"cooled": 100, "penetration": 0.1, "packing": 0.5}, 0.00148),
    ({"cooled": 100, "penetration": 0.15, "packing": 0.5}, 0.0),
    ({"cooled": 100, "layers": 0, "next_layer": 624}, 0.05148),
    ({"cooled": 100, "layers": 0, "next_layer": 624, "penetration": 0.09, "packing": 0.5}, 0.01148),
])  # fmt: skip
def test_how_thick_an_unmelted_joint_can_be(keys, gap):
    assert event_of(**keys).joint_gap == pytest.approx(gap, abs=1e-9)


def test_a_layer_that_welds_leaves_no_joint_and_one_that_does_not_heals_nothing():
    rng = np.random.default_rng(1)
    for p, s, d in rng.uniform(0.0, 0.1, (200, 3)):
        assert welded(p, s, d) == 0.0 or joint_gap(p, s, d) == 0.0
        assert 0.0 <= joint_gap(p, s, d) <= d
        assert joint_gap(p, s, 0.0) == 0.0


@pytest.mark.parametrize("short", ["IN718", "alloy 718", "UNS N07718", "alloy 718 (UNS N07718)"])
def test_an_alloy_is_known_by_its_short_form_and_printed_by_its_name(short):
    found = alloy(short)
    assert found.name == "alloy 718 (UNS N07718)"
    assert (found.density_g_cm3, found.expansion_1e6_k) == (8.19, 13.0)
    assert alloy("in 718") is None
