"""Whether the event has left anything in the part: judged by exact sections, not by columns.

A duct of 4 x 4 is narrower by a step, or the block wider, over its first millimetre. Stray layers
from there, melted at half height, stand so far into the duct or out of the side: analytic.
"""

import make
import pytest
import shapes

WAY = {**make.passage((0, 0, 20), (0, 0, 0), 2.26, 3.0)}
STEP = 0.03


def part(side, into=STEP, out=0.0):
    """A block with a duct one of whose walls is nearer in the first millimetre, or a side wider."""
    faces = {"+x": (1, 0), "-x": (-1, 0), "+y": (0, 1), "-y": (0, -1)}
    x, y = faces[side]
    block = shapes.block((-10, -10, 0), (10, 10, 20)) - shapes.block((-2, -2, -1), (2, 2, 21))
    tooth = shapes.block((-2, -2, 0), (2, 2, 1)).translate((x * (4 - into), y * (4 - into), 0))
    foot = shapes.block((-10, -10, 0), (10, 10, 1)).translate((x * out, y * out, 0))
    if out:
        block += foot - shapes.block((-9, -9, -1), (9, 9, 2))
    return block + tooth if into else block


def recommended(folder, solid, pitch, height=10.0, **keys):
    keys = {"from_layer": 2, "source": "log", **keys}
    found = make.checked(folder, solid, WAY, make.sheet(height, **keys), pitch=pitch)
    return found.disposition.recommendation, found


@pytest.mark.parametrize(
    ("side", "into", "pitch"), [("+x", 0.03, 0.2), ("-y", 0.1, 0.4), ("-x", 0.02, 0.4)]
)
def test_a_slice_that_stands_a_little_into_the_passage_affects_the_part(
    tmp_path, side, into, pitch
):
    said, found = recommended(tmp_path, part(side, into), pitch)
    assert found.passages[0].crossings[0].open_fraction == pytest.approx(1.0 - into / 4.0, abs=1e-4)
    assert said == "use-as-is"


@pytest.mark.parametrize("side", ["+x", "-y"])
def test_so_does_one_that_stands_out_of_the_side(tmp_path, side):
    assert recommended(tmp_path, part(side, 0.0, 0.03), 0.4, 9.93)[0] == "use-as-is"


def test_so_does_metal_that_a_slice_leaves_out(tmp_path):
    # The duct is wider over the first millimetre: wrong slices leave 0.03 of the wall as powder.
    wider = shapes.block((-2, -2, -1), (2 + STEP, 2, 1))
    said, found = recommended(tmp_path, part("+x", 0.0) - wider, 0.4)
    assert [p.state.value for p in found.passages] == ["open"]
    assert said == "use-as-is"


def test_slices_of_the_parts_own_outline_leave_nothing(tmp_path):
    # From layer 20 on every section is the same one.
    said, found = recommended(tmp_path, part("+x"), 0.4, from_layer=20)
    assert said == "not-affected"
    assert found.exit_status == 0


def test_slices_of_a_round_bore_leave_nothing_either(tmp_path):
    solid = shapes.block((-10, -10, 0), (10, 10, 20)).rotate((0, 0, 17.0))
    solid = (solid - shapes.bore((0, 0, -1), (0, 0, 21), 2.26)).translate((313.37, -271.11, 0.0))
    way = make.passage((313.37, -271.11, 20), (313.37, -271.11, 0), 2.26, 3.0)
    stray = make.sheet(9.97, source="log")
    assert make.checked(tmp_path, solid, way, stray).disposition.recommendation == "not-affected"
