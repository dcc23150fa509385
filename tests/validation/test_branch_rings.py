"""Branches that leave a region of void and come back to it elsewhere, over stray metal.

Inlet and outlet lie in one region between the sheets, so that every way between them may stay in
it: a branch is what leads out of it and back.
"""

import make
import pytest
import shapes

from clearance.result import State

block = shapes.block


def loop(top):
    """From inlet to outlet, both below, a low run leads and one higher up."""
    void = block((-4, -1, 3), (4, 1, 5)) + block((-4, -1, top - 1), (4, 1, top))
    for x in (-4, 4):
        void += shapes.bore((x, 0, -1), (x, 0, top), 1.2, segments=24)
    return block((-7, -4, 0), (7, 4, 16)) - void


@pytest.mark.parametrize(
    ("top", "stray", "state"),
    [
        (13, make.plane(8.0, 3), State.RESTRICTED),
        (9, make.plane(7.9, 20), State.RESTRICTED),
        (9, {"shape": "mesh", "mesh": "m.stl"}, State.UNDETERMINED),
    ],
    ids=["over the sheet", "bend within it", "fin in the bend"],
)
def test_a_branch_that_leaves_a_region_and_comes_back_counts(tmp_path, top, stray, state):
    passage = make.passage((-4, 0, 0), (4, 0, 0), 1.2, 1.0, every_branch=True)
    plate = {"m": block((0, -1.2, 7.8), (0.3, 1.2, 9.5))} if "mesh" in stray else {}
    found = make.first(tmp_path, loop(top), passage, stray, meshes=plate)
    assert found.state is state, found.reasons


def legs():
    void = block((-5, -1, -1), (-3, 1, 13)) + block((3, -1, 2), (5, 1, 17))
    void += block((-5, -1, 2), (5, 1, 4)) + block((-5, -1, 12), (5, 1, 14))
    return block((-7, -4, 0), (7, 4, 16)) - void


def test_of_two_sheets_in_one_leg_each_counts(tmp_path):
    """Nothing crosses the other leg, so that the plenums are one region."""
    sheets = block((2, -2, 6), (5.5, 2, 6.2)) + block((2, -2, 9), (4.2, 2, 9.2))
    passage = make.passage((-4, 0, 0), (4, 0, 16), 1.0, 0.9, every_branch=True)
    stray = {"shape": "mesh", "mesh": "m.stl"}
    found = make.first(tmp_path, legs(), passage, stray, meshes={"m": sheets})
    assert found.state is State.RESTRICTED, found.reasons
