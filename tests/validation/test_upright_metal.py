"""Measured metal that stands upright in a level run: level sections do not see what it shuts.

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


@pytest.mark.parametrize("asked", [{"every_branch": True}, {"min_open_fraction": 0.35}])
def test_a_measured_sheet_is_judged_as_before(tmp_path, asked):
    """It leaves 0.8 of the 2 mm of one branch, which is 0.4 of its area."""
    sheet = block((3.0, -1.6, 9.5), (4.2, 1.6, 9.7))
    passage = make.passage((0, 0, 0), (0, 0, 20), 2.0, 1.5, **asked)
    stray = {"shape": "mesh", "mesh": "m.stl"}
    case = make.write_case(tmp_path, two_branches(), passage, stray, meshes={"m": sheet})
    assert make.judged(read_case(case)).passages[0].state is State.OPEN
