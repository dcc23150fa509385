"""Parts placed and turned, and metal of other parts' slices over a part's place."""

import numpy as np
import pytest
import shapes
import shared
from hypothesis import given
from hypothesis import strategies as st

from clearance.case.plate import read_plate
from clearance.plates import placed
from clearance.plates.members import members
from clearance.plates.placed import Neighbour, Place

MM = st.floats(-200.0, 200.0)
DEG = st.floats(-360.0, 360.0)


def test_quarter_turns_are_exact():
    found = Place((10.0, -5.0), 90.0).to_platform([[3.0, 0.0], [0.0, 2.0]])
    assert found.tolist() == [[10.0, -2.0], [8.0, -5.0]]  # analytic


@given(MM, MM, DEG, MM, MM, DEG, MM, MM)
def test_a_place_seen_from_another_part_is_the_same_place(ax, ay, a, bx, by, b, x, y):
    one, other = Place((ax, ay), a), Place((bx, by), b)
    through = other.to_platform(one.within(other).to_platform([[x, y]]))
    assert np.allclose(through, one.to_platform([[x, y]]), atol=1e-9)  # analytic


@given(DEG, MM)
def test_a_placed_mesh_stays_closed(turn, x):
    soup = shapes.tilted_bore(segments=12)
    found = placed.moved(soup, Place((x, 7.0), turn), 3.0)
    assert shapes.is_closed(found)
    assert shapes.volume(found) == pytest.approx(shapes.volume(soup), rel=1e-4)  # analytic
    assert found[..., 2].min() == 3.0


def test_only_footprints_that_overlap_count():
    box = np.array([[-5.0, -5.0], [5.0, 5.0]])
    at = [((0.0, 0.0), 0.0), ((10.0, 0.0), 0.0), ((10.5, 10.5), 45.0), ((4.0, 4.0), 0.0)]
    found = placed.over([placed.footprint(box, Place(*p)) for p in at])
    # 0 and 1 share a line only; 2 is a diamond whose side runs past the corner of 0.
    assert found == [[3], [2, 3], [1, 3], [0, 1, 2]]


# ---- a part under another's overhang ---------------------------------------------------------

CASE = """\
[part]
name = "{name}"
mesh = "{name}.stl"
layer_thickness = 0.5
platform_z = {platform}

[[passage]]
name = "way"
inlet = {{ centre = [0.0, 0.0, 0.0], radius = 3.0 }}
outlet = {{ centre = [0.0, 0.0, {top}], radius = 3.0 }}
min_clear_diameter = 5.0

[grid]
pitch = 0.5
"""

PLATE = """\
[plate]
name = "pair"
size = [100.0, 100.0]

[[stray]]
shape = "layer"
source = "log"
height = 6.0
from_layer = {first}
layers = 1
resume = "height"
penetration = 0.5
resume_shift = [0.0, 0.0]

[[part]]
name = "low"
case = "low.toml"
at = [0.0, 0.0]
turn = 90.0

[[part]]
name = "tree"
case = "tree.toml"
at = [0.0, 30.0]
turn = 90.0
{more}
"""


def tree():
    """A trunk 12 wide, 30 high with a bore of 6, and an arm at z 20 to 25 out to x = -40."""
    solid = shapes.block((-6, -6, 0), (6, 6, 30)) + shapes.block((-40, -12, 20), (0, 12, 25))
    return shapes.soup(solid - shapes.bore((0, 0, -1), (0, 0, 31), 3.0, segments=24))


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    found = tmp_path_factory.mktemp("pair")
    shapes.write_stl(found / "low.stl", shapes.straight_bore(3.0, (14.0, 14.0, 12.0), 24))
    shapes.write_stl(found / "tree.stl", placed.moved(tree(), Place((0.0, 0.0)), 0.0))
    (found / "low.toml").write_text(CASE.format(name="low", platform=0.0, top=12.0))
    (found / "tree.toml").write_text(CASE.format(name="tree", platform=0.0, top=30.0))
    return found


def low(folder, first, more=""):
    """Result of the low part if a layer was melted again at height 6."""
    plate = folder / "plate.toml"
    plate.write_text(PLATE.format(first=first, more=more))
    member = members(read_plate(plate))[0]
    return member.task, shared.data_of(member.task)


def test_the_slice_of_an_overhang_seals_the_part_below(folder):
    # The tree is turned by 90 degrees: its arm lies over y -10 to 30 of the platform, so that
    # layer 42, at z 21.25, covers the low part, which has no metal of its own there.
    task, data = low(folder, 42)
    assert [n.name for n in task.neighbours] == ["tree"]
    assert data["passages"][0]["state"] == "blocked"  # analytic
    assert any("tree" in notice for notice in data["notices"])


def test_a_slice_below_the_overhang_leaves_the_part_open(folder):
    task, data = low(folder, 2)
    assert [n.name for n in task.neighbours] == ["tree"]  # over each other in plan all the same
    assert data["passages"][0]["state"] == "open"  # analytic: its own hole lies under its bore
    assert not any("tree" in notice for notice in data["notices"])


def test_a_part_that_got_no_stray_layer_brings_no_metal(folder):
    task, data = low(folder, 42, more="layers = 0")
    assert task.neighbours == ()
    assert data["passages"][0]["state"] == "open"


def test_platforms_are_made_one(tmp_path):
    shapes.write_stl(tmp_path / "slab.stl", shapes.soup(shapes.block((-9, -9, 0), (9, 9, 2))))
    slab = Neighbour("slab", (tmp_path / "slab.stl",), "mm", Place((4.0, 0.0)), 10.0)
    place = np.array([[-1.0, -1.0], [1.0, 1.0]])
    soup, names = placed.beside([slab], [11.0], place, 0.0)
    assert names == ("slab",)
    assert soup[..., 2].min() == 10.0
    assert soup[..., 0].min() == -5.0
    assert placed.beside([slab], [9.0, 12.5], place, 0.0)[1] == ()
    far = np.array([[14.0, -1.0], [16.0, 1.0]])
    assert placed.beside([slab], [11.0], far, 0.5)[1] == ()
    assert placed.beside([slab], [11.0], far, 1.5)[1] == ("slab",)  # the shift reaches it
