"""Ways that lead round a crossing: none of them may be lost when the crossing is taken out.

Every expectation is by construction: the widths are those of square ducts.
"""

from __future__ import annotations

import make
import pytest
import shapes as s
import shared

from clearance.case.read import read_case
from clearance.sweeps.sweep import sweep
from clearance.sweeps.wanted import Wanted

BLOCK = ((-12.0, -8.0, 0.0), (16.0, 8.0, 30.0))


def with_bypass(wide: float = 2.6, top: float = 20.0):
    """A duct of 4 that turns aside at the top, and a bypass of its lower half beside it.

    The bypass comes back over the duct's own place in plan, below the turn.
    """
    half = 0.5 * wide
    void = s.block((-2, -2, -1), (2, 2, top)) + s.block((-2, -2, top - 4), (17, 2, top))
    void += s.block((-8, -half, 3), (0, half, 3 + wide))
    void += s.block((-8, -half, 3), (-8 + wide, half, top - 1))
    void += s.block((-8, -half, top - 1 - wide), (0, half, top - 1))
    return s.block(*BLOCK) - void


def through(need: float, top: float = 20.0, **keys):
    return make.passage((0, 0, 0), (16, 0, top - 2), 2.25, need, **keys)


def turned(solid, passage):
    """The same upside down."""
    ends = {end: make.port((x, -y, 30.0 - z), passage[end]["radius"])
            for end in ("inlet", "outlet") for x, y, z in [passage[end]["centre"]]}  # fmt: skip
    return solid.rotate((180, 0, 0)).translate((0, 0, 30)), {**passage, **ends}


MESH = {"shape": "mesh", "mesh": "sheet.stl"}


@pytest.mark.parametrize("upside_down", [True, *shared.more(False)])
@pytest.mark.parametrize(
    ("wide", "height", "pitch"), [(2.6, 10.0, 0.3), *shared.more((2.4, 8.85, 0.25))]
)
def test_a_bypass_beside_a_half_covered_crossing(tmp_path, upside_down, wide, height, pitch):
    solid, passage = with_bypass(wide), through(wide - 0.2)
    plate = s.block((-3, -3, height), (0, 3, height + 0.3))
    if upside_down:
        solid, passage = turned(solid, passage)
        plate = plate.rotate((180, 0, 0)).translate((0, 0, 30))
    found = make.first(tmp_path, solid, passage, MESH, meshes={"sheet": plate}, pitch=pitch)
    assert found.state == "open", found.reasons
    assert found.clear_diameter_mm.low == pytest.approx(wide, abs=0.1)
    assert found.clear_diameter_mm.high >= wide - 1e-3


@pytest.mark.more
def test_a_bypass_is_not_blocked_where_little_else_is_a_way(tmp_path):
    plate = s.block((-3, -3, 10), (0, 3, 10.3))
    found = make.first(
        tmp_path, with_bypass(), through(2.4), MESH, meshes={"sheet": plate}, smallest_way=2.1
    )
    assert found.state == "open", found.reasons


@pytest.mark.parametrize("height", [10.0, *shared.more(12.4)])
def test_a_bypass_beside_layers_melted_again(tmp_path, height):
    # The inlet comes from the side; pockets in the bottom face let the first layers leave the
    # bypass free and half of the duct.
    void = s.block((-2, -2, 2), (2, 2, 20)) + s.block((-2, -2, 16), (17, 2, 20))
    void += s.block((-2, -2, 2), (2, 9, 6))
    void += s.block((-8, -1.3, 3), (0, 1.3, 5.6)) + s.block((-8, -1.3, 3), (-5.4, 1.3, 19))
    void += s.block((-8, -1.3, 16.4), (0, 1.3, 19))
    void += s.block((0, -2, -1), (2, 2, 1)) + s.block((-8, -1.3, -1), (-5.4, 1.3, 1))
    passage = make.passage((0, 8, 4), (16, 0, 18), 2.25, 2.4)
    found = make.first(tmp_path, s.block(*BLOCK) - void, passage, make.sheet(height))
    assert found.state == "open", found.reasons
    assert {round(c.open_fraction, 2) for c in found.crossings} == {0.5, 1.0}


@pytest.mark.parametrize("upside_down", [True, *shared.more(False)])
def test_a_bypass_counts_where_a_share_of_the_area_is_asked_for(tmp_path, upside_down):
    solid, passage = with_bypass(), through(2.4, min_open_fraction=0.7)
    plate = s.block((-3, -3, 10), (0, 3, 10.3))
    if upside_down:
        solid, passage = turned(solid, passage)
        plate = plate.rotate((180, 0, 0)).translate((0, 0, 30))
    found = make.first(tmp_path, solid, passage, MESH, meshes={"sheet": plate})
    assert found.state == "open", found.reasons


@pytest.mark.parametrize(
    ("upside_down", "step"), [(False, 9.0), *shared.more((False, 2.5), (True, 2.5))]
)
def test_a_sweep_sees_the_bypass_too(tmp_path, upside_down, step):
    void = s.block((-2, -2, 2), (2, 2, 20)) + s.block((-2, -2, 16), (17, 2, 20))
    void += s.block((-2, -2, 2), (2, 9, 6))
    void += s.block((-8, -1.3, 3), (0, 1.3, 5.6)) + s.block((-8, -1.3, 3), (-5.4, 1.3, 19))
    void += s.block((-8, -1.3, 16.4), (0, 1.3, 19))
    for z in (-1, 29):
        void += s.block((0, -2, z), (2, 2, z + 2)) + s.block((-8, -1.3, z), (-5.4, 1.3, z + 2))
    solid, passage = s.block(*BLOCK) - void, make.passage((0, 8, 4), (16, 0, 18), 2.25, 2.4)
    if upside_down:
        solid, passage = turned(solid, passage)
    path = make.write_case(tmp_path, solid, passage, make.sheet(10.0))
    heights = (16.5, 21.5) if upside_down else (8.5, 13.5)
    (found,) = sweep(read_case(path), Wanted(*heights, step=step)).passages
    assert set(found.state) == {"open"}
    assert min(found.low_mm) == pytest.approx(2.6, abs=0.1)


# ---- ways through another void ------------------------------------------------------------------


def beside_a_chamber(shift: float, height: float, turn: float):
    """A duct of 4 and a closed chamber on three sides of it; what is above moves, and both open.

    The duct is shut by its own wall. The way leads up into the chamber's near arm, round, down
    into its far arm and up into the duct again; both openings are `shift - 1` wide.
    """
    low, high = height - 5, height + 5
    void = s.block((-2, -2, -1), (2, 2, 31))
    void += s.block((-8, -2, low), (-3, 7, high)) + s.block((3, -2, low), (9, 7, high))
    void += s.block((-8, 3, low), (9, 7, high))
    return (s.block((-14, -6, 0), (18, 11, 30)) - void).rotate((0, 0, turn))


@pytest.mark.parametrize("turn", [90.0, *shared.more(0.0)])
@pytest.mark.parametrize(
    ("shift", "height", "layers"), [(4.6, 10.0, 0), *shared.more((4.2, 17.3, 0))]
)
def test_a_way_through_a_chamber_that_a_shift_opens(tmp_path, shift, height, layers, turn):
    solid = beside_a_chamber(shift, height, turn)
    moved = [shift, 0.0] if turn == 0.0 else [0.0, shift]
    event = make.sheet(height, layers, next_layer=round(height / 0.1), resume_shift=moved)
    passage = make.passage((0, 0, 0), (0, 0, 30), 2.25, 2.5)
    found = make.first(tmp_path, solid, passage, event)
    assert found.state in ("open", "undetermined"), found.reasons
    assert found.clear_diameter_mm.high >= shift - 1 - 1e-3
    assert found.clear_diameter_mm.low <= shift - 1 + 1e-3
    assert found.state == "open", found.reasons


def test_a_chamber_that_leads_nowhere_is_no_way(tmp_path):
    # The same chamber without what joins its arms.
    void = s.block((-2, -2, -1), (2, 2, 31))
    void += s.block((-8, -2, 5), (-3, 2, 15)) + s.block((3, -2, 5), (9, 2, 15))
    solid = s.block((-14, -6, 0), (18, 11, 30)) - void
    event = make.sheet(10.0, 0, next_layer=100, resume_shift=[4.6, 0.0])
    found = make.first(tmp_path, solid, make.passage((0, 0, 0), (0, 0, 30), 2.25, 2.5), event)
    assert found.state == "blocked", found.reasons
