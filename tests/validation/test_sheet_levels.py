"""A sheet over its whole thickness: level floors, bores within a layer, measured metal in bodies.

Every expected value is analytic, worked out by hand beside it; bores are meshes of 96 sides.
"""

from __future__ import annotations

import make
import manifold3d as m3
import numpy as np
import pytest
import shapes as s
import shared

from clearance.case.read import read_case
from clearance.sweeps.sweep import sweep
from clearance.sweeps.wanted import Wanted

T = 0.1
SIDE = 7.0
FACETS = np.sin(2 * np.pi / 96) * 96 / (2 * np.pi)
"""Area of a polygon of 96 sides, as a share of its circle's."""


def cylinder(low, high, r):
    """Upright, on the axis."""
    return m3.Manifold.cylinder(high - low, r, r, 96).translate((0, 0, low))


def lying(z, r, half=SIDE + 2):
    """A bore along x at a height."""
    return s.tube_along(np.array([(-half, 0, z), (half, 0, z)]), r, 96)


def chamber_on_bore(upside_down: bool = False) -> m3.Manifold:
    """Foot with a hole of the chamber's outline, a bore of 2, a chamber 8 x 8 from 6 to 12."""
    void = s.block((-4, -4, -1), (4, 4, 1)) + cylinder(-1, 7, 1.0)
    void += s.block((-4, -4, 6), (4, 4, 12)) + cylinder(11, 16, 1.0)
    void += s.block((-4, -4, 14), (4, 4, 16))
    solid = s.block((-SIDE, -SIDE, 0), (SIDE, SIDE, 15)) - void
    return solid.mirror((0, 0, 1)).translate((0, 0, 15.0)) if upside_down else solid


# ---- level floors: what is open nominally ----


@pytest.mark.parametrize(
    ("height", "layers", "upside_down"),
    [
        (5.9, 3, False),
        *shared.more((9.0, 2, True), (6.0, 2, False), (12.0, 2, False), (3.0, 1, True)),
    ],
)
def test_nothing_is_closed_by_a_sheet_of_the_chambers_own_outline(
    tmp_path, height, layers, upside_down
):
    table = make.passage((0, 0, 0), (0, 0, 15), 4.5, 1.9)
    case = read_case(
        make.write_case(tmp_path, chamber_on_bore(upside_down), table, make.sheet(height, layers))
    )
    found = make.judged(case).passages[0]
    assert found.state == "open"
    assert [c.open_fraction for c in found.crossings] == pytest.approx([1.0], abs=1e-6)
    swept = sweep(case, Wanted(height - 0.05, height + 0.05)).passages[0]
    assert swept.open_fraction == pytest.approx([1.0] * len(swept.state), abs=1e-6)


def test_what_is_closed_on_a_floor_is_told_of_the_bore_below_and_of_the_chamber(tmp_path):
    # The slices have the foot's hole, 3 x 3 here: all of the bore of 2, 9 of the chamber's 64.
    solid = chamber_on_bore() + (
        s.block((-5, -5, 0), (5, 5, 0.5)) - s.block((-1.5, -1.5, -1), (1.5, 1.5, 1))
    )
    table = make.passage((0, 0, 0), (0, 0, 15), 1.7, 1.9)
    table["outlet"] = make.port((0, 0, 15), 4.5)
    case = read_case(make.write_case(tmp_path, solid, table, make.sheet(6.0, 1)))
    (crossing,) = make.judged(case).passages[0].crossings
    assert crossing.open_fraction == pytest.approx(9 / 64, abs=1e-6)
    assert crossing.height_mm == pytest.approx(6.1, abs=1e-6)
    assert crossing.open_area_mm2 == pytest.approx(np.pi * FACETS, abs=1e-4)  # at the floor
    swept = sweep(case, Wanted(6.0, 6.0)).passages[0]
    assert swept.open_fraction == pytest.approx([9 / 64], abs=1e-6)


# ---- a bore that lies wholly between two faces ----


@pytest.mark.parametrize(
    ("centre", "height"), [(10.2, 10.45), *shared.more((10.0, 10.45), (10.35, 10.65))]
)
def test_a_bore_within_the_penetration_is_crossed(tmp_path, centre, height):
    # A bore of 0.5; no layer's face meets it, only the 0.7 that the first layer reaches down.
    solid = s.block((-SIDE, -SIDE, 0), (SIDE, SIDE, 20)) - lying(centre, 0.25)
    table = make.passage((-SIDE, 0, centre), (SIDE, 0, centre), 0.25, 0.4)
    event = make.sheet(height, 1, penetration=0.75)
    assert height - 0.75 < centre - 0.25
    assert centre + 0.25 <= height
    case = read_case(make.write_case(tmp_path, solid, table, event, pitch=0.1))
    found = make.judged(case).passages[0]
    assert found.state == "blocked"
    (crossing,) = found.crossings
    assert crossing.sealed
    assert crossing.open_fraction == 0.0
    swept = sweep(case, Wanted(height, height)).passages[0]
    assert swept.state == ("blocked",)
    assert swept.open_fraction == (0.0,)


def test_a_bore_within_one_thick_layer_is_crossed(tmp_path):
    solid = s.block((-SIDE, -SIDE, 0), (SIDE, SIDE, 20)) - lying(10.4, 0.25)
    table = make.passage((-SIDE, 0, 10.4), (SIDE, 0, 10.4), 0.25, 0.4)
    case = read_case(
        make.write_case(tmp_path, solid, table, make.sheet(10.0, 1), layer=0.8, pitch=0.1)
    )
    found = make.judged(case).passages[0]
    assert found.state == "blocked"
    assert [c.sealed for c in found.crossings] == [True]
    assert sweep(case, Wanted(10.0, 10.0)).passages[0].state == ("blocked",)


# ---- measured metal: levels of every body ----


def plate(hole):
    """A plate 0.1 thick at z 20 over a bore of 4, with a hole or none."""
    solid = s.block((-3, -3, 20), (3, 3, 20.1))
    return solid - cylinder(19, 21, hole / 2) if hole else solid


SPECKS = [(-5.5, 0, 5.0), (5.5, 3.0, 37.0)]


def specks():
    """Two of 0.5 within the metal, far below and above."""
    boxes = [s.block(np.array(at) - 0.25, np.array(at) + 0.25) for at in SPECKS]
    return boxes[0] + boxes[1]


@pytest.mark.parametrize(
    ("hole", "with_specks"), [(0.0, True), *shared.more((1.8, True), (0.0, False), (1.8, False))]
)
def test_specks_hide_no_crossing(tmp_path, hole, with_specks):
    solid = s.block((-SIDE, -SIDE, 0), (SIDE, SIDE, 40)) - cylinder(-1, 41, 2.0)
    found = make.first(
        tmp_path,
        solid,
        make.passage((0, 0, 0), (0, 0, 40), 2.0, 1.5),
        {"shape": "mesh", "mesh": "stray.stl"},
        meshes={"stray": plate(hole) + specks() if with_specks else plate(hole)},
    )
    (crossing,) = found.crossings
    assert 20.0 <= crossing.height_mm <= 20.1
    assert crossing.open_fraction == pytest.approx(hole**2 / 16.0, abs=1e-3)
    assert found.state == ("open" if hole else "blocked")


@pytest.mark.more
def test_two_plates_are_two_crossings(tmp_path):
    solid = s.block((-SIDE, -SIDE, 0), (SIDE, SIDE, 40)) - cylinder(-1, 41, 2.0)
    found = make.first(
        tmp_path,
        solid,
        make.passage((0, 0, 0), (0, 0, 40), 2.0, 1.0, min_open_fraction=0.2),
        {"shape": "mesh", "mesh": "stray.stl"},
        meshes={"stray": plate(1.2).translate((0, 0, -9)) + plate(2.0) + specks()},
    )
    heights = [c.height_mm for c in found.crossings]
    assert heights == pytest.approx([11.05, 20.05], abs=0.051)
    fractions = [c.open_fraction for c in found.crossings]
    assert fractions == pytest.approx([1.44 / 16, 4 / 16], abs=1e-3)
    assert found.state == "restricted"
