"""Stray metal that stands upright in a level run: level sections do not see what it shuts.

Two branches side by side, each with two level runs, drawn by hand; a plate across one run.
"""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent.parent))

import make
import shapes

from clearance.case.read import read_case
from clearance.result import State
from clearance.sweeps.sweep import sweep
from clearance.sweeps.wanted import Wanted

block = shapes.block


def two_branches():
    void = shapes.bore((0, 0, -1), (0, 0, 4.2), 2) + shapes.bore((0, 0, 15.8), (0, 0, 21), 2)
    void += block((-5, -1.5, 4), (5, 1.5, 6)) + block((-5, -1.5, 14), (5, 1.5, 16))
    void += block((-5, -1.5, 4), (-3, 1.5, 16)) + block((3, -1.5, 4), (5, 1.5, 16))
    return block((-8, -6, 0), (8, 6, 20)) - void


@pytest.mark.parametrize("asked", [{"every_branch": True}, {"min_open_fraction": 0.5}, {}])
@pytest.mark.parametrize(("low", "high"), [(3.5, 6.5), (13.5, 16.5)])
def test_an_upright_plate_across_a_level_run_is_no_open_branch(tmp_path, asked, low, high):
    plate = block((2.0, -1.8, low), (2.3, 1.8, high))
    passage = make.passage((0, 0, 0), (0, 0, 20), 2.0, 1.5, **asked)
    stray = {"shape": "mesh", "mesh": "m.stl"}
    case = make.write_case(tmp_path, two_branches(), passage, stray, meshes={"m": plate})
    found = make.judged(read_case(case)).passages[0]
    assert found.state is (State.UNDETERMINED if asked else State.OPEN), found.reasons
    assert not any("--pitch" in way for way in found.settled_by)  # no pitch would tell


@pytest.mark.parametrize("asked", [{"every_branch": True}, {"min_open_fraction": 0.35}])
def test_a_measured_sheet_is_judged_as_before(tmp_path, asked):
    """It leaves 0.8 of the 2 mm of one branch, which is 0.4 of its area."""
    sheet = block((3.0, -1.6, 9.5), (4.2, 1.6, 9.7))
    passage = make.passage((0, 0, 0), (0, 0, 20), 2.0, 1.5, **asked)
    stray = {"shape": "mesh", "mesh": "m.stl"}
    case = make.write_case(tmp_path, two_branches(), passage, stray, meshes={"m": sheet})
    assert make.judged(read_case(case)).passages[0].state is State.OPEN


def branch_with_a_fin():
    """Two shafts, a wide run high up and a lower one; in the foot a recess with a rib across."""
    void = shapes.bore((-6, 0, -1), (-6, 0, 12), 1.2, segments=24)
    void += shapes.bore((6, 0, 3.5), (6, 0, 17), 1.2, segments=24)
    void += block((-6, -1, 5), (6, 1, 7)) + block((-6, -1.5, 9.5), (6, 1.5, 12.5))
    recess = block((-7.5, -2.5, -1), (7.5, 2.5, 2.2)) - block((0, -3, -1), (0.4, 3, 3))
    return block((-8, -4, 0), (8, 4, 16)) - void - recess


TALL = [make.sheet(5.0, 20)]
TWO = [make.sheet(5.0, 10), make.sheet(6.0, 10, from_layer=10)]
"""The rib's slices fill the lower run from floor to ceiling: in one sheet, or in two that touch."""


@pytest.mark.parametrize(
    ("strays", "asked"),
    [(TALL, {"every_branch": True}), (TWO, {"min_open_fraction": 0.8}), (TWO, {})],
)
def test_a_rib_of_many_slices_that_shuts_a_level_run_is_no_open_branch(tmp_path, strays, asked):
    passage = make.passage((-6, 0, 2.2), (6, 0, 16), 1.2, 2.0, **asked)
    case = read_case(make.write_case(tmp_path, branch_with_a_fin(), passage, strays))
    state = State.UNDETERMINED if asked else State.OPEN
    assert make.judged(case).passages[0].state is state
    if strays is TALL:
        assert sweep(case, Wanted(5.0, 5.0)).passages[0].state == (state,)


def test_a_rib_that_leaves_a_gap_above_it_is_no_fin(tmp_path):
    passage = make.passage((-6, 0, 2.2), (6, 0, 16), 1.2, 2.0, every_branch=True)
    found = make.first(tmp_path, branch_with_a_fin(), passage, make.sheet(5.5, 3))
    assert found.state is State.OPEN
