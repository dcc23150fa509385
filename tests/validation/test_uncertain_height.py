"""A height that is known to +/- some millimetres: a state over all of them, or none.

Every expected value is analytic. A sheet across a lying bore leaves a piece of the circle above and
one below it; the wider is narrowest where the sheet lies in the middle.
"""

from __future__ import annotations

import make
import numpy as np
import pytest
import shapes as s
import shared

from clearance.result import State
from clearance.verdict.between import drift

T = 0.1
SIDE = 7.0


def lying(centre=7.15, r=1.0):
    """A bore along x; a sheet of 0.3 at 7.0 lies in its middle and leaves 0.85 above and below."""
    tool = s.tube_along(np.array([(-9, 0, centre), (9, 0, centre)]), r, 96)
    return s.block((-SIDE, -SIDE, 0), (SIDE, SIDE, 14)) - tool


def along(need, **keys):
    return make.passage((-SIDE, 0, 7.15), (SIDE, 0, 7.15), 1.0, need, **keys)


@pytest.mark.parametrize("upside_down", [False, *shared.more(True)])
def test_a_restricted_height_between_two_that_are_open_is_not_open(tmp_path, upside_down):
    # At 6.95, 7.05 and 7.15, which are looked at, 0.9 and more is left; from 6.99 to 7.01 less than
    # the 0.86 required.
    solid, middle = lying(), 7.05
    if upside_down:
        solid, middle = solid.mirror((0, 0, 1)).translate((0, 0, 14.3)), 6.95
    ends = make.passage((-SIDE, 0, 7.15), (SIDE, 0, 7.15), 1.0, 0.86)
    found = make.first(
        tmp_path, solid, ends, make.plane(middle, 3, height_uncertainty=0.1), pitch=0.2
    )
    assert found.state == "undetermined"
    assert any("not proven open" in reason for reason in found.reasons)
    assert any("height" in text for text in found.settled_by)


def test_open_at_every_height_is_proven(tmp_path):
    # 0.85 is left at the worst height, 0.82 required.
    stray = make.plane(7.05, 3, height_uncertainty=0.1)
    found = make.first(tmp_path, lying(), along(0.82), stray, pitch=0.2)
    assert found.state == "open"
    assert 0.82 <= found.clear_diameter_mm.low <= 0.85


def test_restricted_at_every_height_is_proven(tmp_path):
    # At most 0.95 is left within 0.1 of the middle; 1.2 required.
    stray = make.plane(7.0, 3, height_uncertainty=0.1)
    found = make.first(tmp_path, lying(), along(1.2), stray, pitch=0.2)
    assert found.state == "restricted"
    assert found.clear_diameter_mm.low <= 0.85
    assert found.clear_diameter_mm.high >= 0.94


def upright(need, event, tmp_path, lean=0.0, **keys):
    """A bore of 4, upright or leaning, under an event at 8."""
    aside = 8.0 * np.tan(np.radians(lean))
    line = np.array([(-aside * 1.25, 0, -2), (aside * 1.25, 0, 18)])
    solid = s.block((-9, -9, 0), (9, 9, 16)) - s.tube_along(line, 2.0, 96)
    r = 2.0 / np.sqrt(np.cos(np.radians(lean)))
    ends = make.passage((-aside, 0, 0), (aside, 0, 16), r, need, **keys)
    return make.first(tmp_path, solid, ends, event)


@pytest.mark.parametrize(
    "keys",
    [
        {"resume": "height"},
        {"resume": "height", "resume_shift": [0.5, 0.0]},
        *shared.more({"resume": "layer"}, {"resume": "unknown"}),
    ],
)
def test_an_upright_bore_stays_open(tmp_path, keys):
    event = make.sheet(8.02, 2, height_uncertainty=0.05, **keys)
    found = upright(3.0, event, tmp_path)
    assert found.state == "open"
    left = 3.5 if "resume_shift" in keys else 4.0
    assert found.clear_diameter_mm.low <= left
    assert found.clear_diameter_mm.high >= left - 0.01


def test_an_upright_bore_that_nothing_touches_is_open_with_nothing_to_spare(tmp_path):
    event = make.sheet(8.02, 2, height_uncertainty=0.05)
    assert upright(3.98, event, tmp_path, min_open_fraction=0.99).state == "open"


@pytest.mark.parametrize(
    "keys",
    [
        {"resume": "height", "resume_shift": [0.5, 0.0]},
        *shared.more({"resume": "height"}, {"resume": "layer"}),
    ],
)
def test_a_full_plane_blocks_at_every_height(tmp_path, keys):
    event = make.plane(8.02, 3, height_uncertainty=0.12, **keys)
    found = upright(3.0, event, tmp_path)
    assert found.state == "blocked"
    assert (found.clear_diameter_mm.low, found.clear_diameter_mm.high) == (0.0, 0.0)


def test_a_plane_thinner_than_a_step_of_heights_still_blocks(tmp_path):
    event = make.plane(8.02, 1, height_uncertainty=0.23)
    assert upright(3.0, event, tmp_path).state == "blocked"


def test_a_leaning_bore_moved_aside_is_told_by_its_drift(tmp_path):
    # tan(20) = 0.364: outlines drift so much each mm of height. Moved by 0.5: 4 - 0.5 cos(20) left.
    keys = {"resume_shift": [0.5, 0.0], "layers": 0, "next_layer": 80}
    event = {**make.sheet(8.0, **keys), "height_uncertainty": 0.05}
    assert upright(3.0, event, tmp_path / "open", lean=20.0).state == "open"


def test_where_a_floor_lies_between_the_heights_nothing_moved_is_told(tmp_path):
    solid = s.block((-9, -9, 0), (9, 9, 16)) - s.block((-4, -4, 8.02), (4, 4, 12))
    solid -= s.tube_along(np.array([(0, 0, -1), (0, 0, 17)]), 2.0, 96)
    event = make.sheet(8.02, 1, height_uncertainty=0.05, resume="layer")
    found = make.first(tmp_path, solid, make.passage((0, 0, 0), (0, 0, 16), 2.0, 3.0), event)
    assert found.state == "undetermined"


def test_drift_of_walls():
    soup = s.soup(s.block((-2, -2, 0), (2, 2, 9)))
    assert drift(soup, 3.0, 4.0) == pytest.approx(4 / 9)  # along the diagonals of its sides
    assert drift(soup, 8.5, 9.5) == np.inf
    assert drift(soup, 20.0, 21.0) == 0.0


def test_part_complete_below_some_of_the_heights(tmp_path):
    # From 15.9 on nothing of the part is left to be built; below, the plane blocks it.
    event = make.plane(15.95, 1, height_uncertainty=0.1)
    found = upright(3.0, event, tmp_path)
    assert found.state is State.UNDETERMINED
