"""Level floors and ceilings exactly where a part was cut: a face is not a film of metal.

Every expected value is analytic: a chamber whose floor or ceiling lies at the cut leaves what the
bore beside it leaves, wherever the other half was moved. Bores are meshes of 96 sides.
"""

from __future__ import annotations

import make
import manifold3d as m3
import numpy as np
import pytest
import shapes as s
import shared

T = 0.1
FACETS = np.cos(np.pi / 96)
SIDE = 7.0


def cylinder(low, high, r):
    """Upright, on the axis."""
    return m3.Manifold.cylinder(high - low, r, r, 96).translate((0, 0, low))


def chamber_over_bore(face: float, r: float = 1.0, upside_down: bool = False) -> m3.Manifold:
    """Bore of r up to `face`, a chamber from there on, a bore of 2 out of it; or mirrored."""
    high = face + 9.0
    void = cylinder(-1, face + 1e-9, r) + cylinder(face + 1, high + 1, 2.0)
    void += s.block((-4, -4, face), (4, 4, face + 4))
    solid = s.block((-SIDE, -SIDE, 0), (SIDE, SIDE, high)) - void
    if not upside_down:
        return solid
    return solid.mirror((0, 0, 1)).translate((0, 0, high))


def one(folder, solid, low, high, radii, event, **keys):
    """The passage from below to above."""
    table = {"name": "a", "min_clear_diameter": 1.9}
    table["inlet"] = make.port((0, 0, low), radii[0])
    table["outlet"] = make.port((0, 0, high), radii[1])
    return make.first(folder, solid, table, event, **keys)


@pytest.mark.parametrize(
    ("face", "upside_down"),
    [(10.07, False), (300.1, True), *shared.more((6.0, False), (10.07, True))],
)
def test_a_chamber_that_begins_at_the_cut_moves_as_a_whole(tmp_path, face, upside_down):
    # 300.1 is rounded to 300.10001, 10.07 to 10.069999: a face's storage is no film either.
    base = face - 6.0
    solid = chamber_over_bore(6.0, upside_down=upside_down)
    height = 9.0 if upside_down else 6.0
    solid = solid.translate((0, 0, base))
    event = make.sheet(height, 0, next_layer=round(height / T), resume_shift=[0.5, 0.0])
    radii = (2.0, 1.0) if upside_down else (1.0, 2.0)
    part = {"platform_z": base}
    found = one(tmp_path, solid, base, base + 15.0, radii, event, part=part)
    assert found.clear_diameter_mm.low >= 2.0 * FACETS - 0.01
    assert found.clear_diameter_mm.high <= 2.0 + 0.01
    assert found.state == "open"


def test_a_move_wider_than_the_bore_takes_the_chamber_along(tmp_path):
    event = make.sheet(6.0, 0, next_layer=60, resume_shift=[2.5, 0.0])
    found = one(tmp_path, chamber_over_bore(6.0), 0.0, 15.0, (1.0, 2.0), event)
    assert found.state == "open"  # bore of 2 under the floorless chamber, 2.5 from its middle
    assert found.clear_diameter_mm.low >= 2.0 * FACETS - 0.01


@pytest.mark.parametrize("upside_down", [False, True])
def test_a_floor_at_which_a_lifted_part_goes_on_is_not_there(tmp_path, upside_down):
    # A chamber from 6 to 14, in from its side below the cut, out above; built up to 10 and then
    # from 6 on again (or the other way round: to the ceiling, and from 10 on again).
    solid = s.block((-SIDE, -SIDE, 0), (SIDE, SIDE, 20)) - s.block((-4, -4, 6), (4, 4, 14))
    low, high = (8.0, 12.0)
    for z, side in ((low, -1), (high, 1)):
        solid -= s.tube_along(np.array([(0, 0, z), (9 * side, 0, z)]), 1.5, 96)
    stop, go_on = (14.0, 10.0) if upside_down else (10.0, 6.0)
    event = make.sheet(stop, 0, next_layer=round(go_on / T))
    table = make.passage((-SIDE, 0, low), (SIDE, 0, high), 1.5, 2.9)
    found = make.first(tmp_path, solid, table, event)
    assert found.state == "open"
    assert found.clear_diameter_mm.low >= 3.0 * FACETS - 0.01


@pytest.mark.parametrize(
    ("low", "from_layer", "layers"), [(6.4, 33, 1), (5.4, 27, 2), *shared.more((5.4, 28, 1))]
)
def test_a_gap_under_a_ceiling_at_the_cut_counts_as_metal(tmp_path, low, from_layer, layers):
    """A level duct 1.0 high whose ceiling (or floor) lies at the cut; the part above is lifted.

    The slices have the duct's void over it: what belongs there above the cut stays powder, which
    counts as metal for passages. So the duct is 1.0 high as before, not 1.2 or 1.4.
    """
    solid = s.block((0, 0, 0), (12, 8, 12)) - s.block((-1, 2, low), (13, 6, low + 1.0))
    ends = [(x, 4.0, low + 0.5) for x in (0.0, 12.0)]
    way = make.passage(*ends, 1.13, 0.9)
    stray = make.sheet(6.4, layers, resume="layer", from_layer=from_layer)
    passage = make.first(tmp_path, solid, [way], stray, layer=0.2, pitch=0.3)
    assert passage.clear_diameter_mm.high <= 1.02
    assert passage.clear_diameter_mm.low >= 0.95


def test_above_a_lifted_cut_goes_on_what_lies_just_above_it(tmp_path):
    """As above, and a second duct 0.2 higher: the lift of 0.4 would reach into its void.

    Just above the cut lies the metal between the two: the lower duct is 1.0 high as before.
    """
    solid = s.block((0, 0, 0), (12, 8, 12)) - s.block((-1, 2, 5.4), (13, 6, 6.4))
    solid -= s.block((-1, 1, 6.6), (13, 7, 7.6))
    way = make.passage(*[(x, 4.0, 5.9) for x in (0.0, 12.0)], 1.13, 0.9)
    stray = make.sheet(6.4, 2, resume="layer", from_layer=27)
    passage = make.first(tmp_path, solid, [way], stray, layer=0.2, pitch=0.3)
    assert 0.95 <= passage.clear_diameter_mm.low
    assert passage.clear_diameter_mm.high <= 1.02
