"""One passage, judged: states and what the reasons say, on small parts.

Expected numbers are analytic: the shapes' docstrings and the events say why.
"""

import make
import manifold3d as m3
import pytest
import shapes

from clearance.case.read import read_case
from clearance.result import State
from clearance.verdict.passage_check import PassageCheck
from clearance.verdict.prepared import prepare


def test_facets_alone_do_not_hide_behind_a_verdict(tmp_path):
    # A bore of 12 sides drawn as 6.0: 6 cos(pi / 12) = 5.796 passes, 6 is required.
    solid = shapes.straight_bore(radius=3.0, segments=12)
    passage = make.passage((0, 0, 0), (0, 0, float(solid[..., 2].max())), 3.0, 6.0)
    found = make.first(tmp_path, solid, passage, pitch=0.5)
    assert found.state is State.RESTRICTED
    assert "mesh_tolerance = 0.2" in " ".join(found.reasons)
    allowed = make.first(tmp_path, solid, passage, part={"mesh_tolerance": 0.21}, pitch=0.5)
    assert allowed.state is State.OPEN
    # Half a millimetre short is no matter of facets.
    short = make.first(tmp_path, solid, {**passage, "min_clear_diameter": 6.5}, pitch=0.5)
    assert "mesh_tolerance" not in " ".join(short.reasons)


def test_a_pitch_as_grids_round_it_asks_for_no_second_window(tmp_path):
    """Verdicts tell the rounded one: flow and heights between would cast all columns anew."""
    solid, way = shapes.straight_bore(segments=12), make.passage((0, 0, 0), (0, 0, 30), 3.0, 5.0)
    checked = prepare(read_case(make.write_case(tmp_path, solid, way, pitch=0.7)))
    check = PassageCheck(checked, checked.case.passage[0])
    for pitch in (0.7, 0.35):
        window = check.window(pitch)
        assert window.grid.pitch_mm != pitch
        assert check.window(window.grid.pitch_mm) is window
    assert check.window(0.35) is not check.window(0.7)


def branch(**keys):
    return make.passage((0, 0, 0), (0, 0, 40), 3.0, 2.8, **keys)


def plugged_bore():
    """Closed mesh of a sheet across the main bore of `side_branch` at z 20, not the loop."""
    return m3.Manifold.cylinder(0.5, 4.0, circular_segments=48).translate((0, 0, 20))


@pytest.fixture(scope="module")
def with_plug(tmp_path_factory):
    """The passage, and the same one of which every branch is needed."""
    stray = {"shape": "mesh", "source": "measured", "mesh": "plug.stl"}
    ways = [branch(), branch(name="every", every_branch=True)]
    return make.checked(
        tmp_path_factory.mktemp("plug"), shapes.side_branch(), ways, stray,
        meshes={"plug": plugged_bore()}, pitch=0.5,
    )  # fmt: skip


def test_a_sealed_crossing_that_can_be_passed_by_is_named(with_plug):
    passage = with_plug.passages[0]
    assert passage.state is State.OPEN
    assert any("passes it by" in reason for reason in passage.reasons)
    assert [c.sealed for c in passage.crossings] == [True]
    assert abs(passage.clear_diameter_mm.predicted - 3.0) < 0.1  # the loop's bore


def test_every_branch_makes_a_sealed_branch_fail(with_plug):
    passage = with_plug.passages[1]
    assert passage.state is State.RESTRICTED


def test_open_fraction_is_a_requirement(tmp_path):
    # Bore of radius 3 resumed 1 mm aside: the lens holds 0.789 of the area (analytic).
    solid = shapes.straight_bore(radius=3.0)
    top = float(solid[..., 2].max())
    shift = make.sheet(10.0, 0, next_layer=100, resume_shift=[1.0, 0.0])
    for least, state in ((0.75, State.OPEN), (0.82, State.RESTRICTED)):
        passage = make.passage((0, 0, 0), (0, 0, top), 3.0, 4.5, min_open_fraction=least)
        assert make.first(tmp_path, solid, passage, shift, pitch=0.5).state is state


def test_unknown_resume_is_computed_both_ways(tmp_path):
    # A tilted bore: slices of the first layers cut it, whichever way the build went on.
    solid = shapes.tilted_bore(2.0, 45, (60.0, 14.0, 20.0))
    passage = make.passage((-10, 0, 0), (10, 0, 20), 2.0, 3.0)
    stray = make.sheet(10.0, 3)
    del stray["resume"]
    result = make.checked(tmp_path, solid, passage, stray)
    assert result.passages[0].state is State.BLOCKED
    assert any("resume" in assumption for assumption in result.assumptions)


def test_an_uncertain_height_that_flips_the_state_is_undetermined(tmp_path):
    # Upright bore up to z 10, from there leaning by 45 degrees: slices of layers 0-2 leave it
    # open below the bend and cut it above.
    line = [(0, 0, -1), (0, 0, 10), (11, 0, 21)]
    bore = shapes.tube_along(shapes.bent_line(line, 4.0), 2.0, 48)
    solid = m3.Manifold.cube([44, 16, 20]).translate((-12, -8, 0)) - bore
    passage = make.passage((0, 0, 0), (10, 0, 20), 2.2, 3.5)
    near = make.sheet(9.0, 3, height_uncertainty=0.2)
    assert make.first(tmp_path, solid, passage, near, pitch=0.5).state is State.OPEN
    far = make.sheet(13.0, 3, height_uncertainty=4.0)
    found = make.first(tmp_path, solid, passage, far, pitch=0.5)
    assert found.state is State.UNDETERMINED
    assert "height" in found.settled_by[0]


def test_a_port_that_a_sheet_cuts_is_kept_and_named(tmp_path):
    solid = shapes.elbow()
    bounds = solid.reshape(-1, 3).min(0), solid.reshape(-1, 3).max(0)
    assert bounds[1][2] > 0
    side = m3.Manifold.cube([20, 20, 20], True) - m3.Manifold.cylinder(
        30, 3.0, circular_segments=64, center=True
    ).rotate((0, 90, 0))
    passage = make.passage((-10, 0, 0), (10, 0, 0), 3.0, 2.0)
    result = make.checked(
        tmp_path,
        side,
        passage,
        make.sheet(11.0, 2, shape="plane"),
        part={"platform_z": -10.0},
    )
    assert result.passages[0].state is State.OPEN  # what is left above and below leads through
    assert any("cuts the port a inlet" in notice for notice in result.notices)


def test_an_unnamed_mouth_is_asked_for(tmp_path):
    # A tee whose third mouth the case does not name: a ball could leave by it.
    tee = m3.Manifold.cube([20, 20, 20], True)
    tee -= m3.Manifold.cylinder(30, 2.0, circular_segments=64, center=True)
    tee -= m3.Manifold.cylinder(15, 2.0, circular_segments=64).rotate((0, 90, 0))
    passage = make.passage((0, 0, -10), (0, 0, 10), 2.0, 3.0)
    found = make.first(tmp_path, tee, passage, part={"platform_z": -10.0})
    assert found.state is State.UNDETERMINED
    assert "[[closed]]" in found.reasons[0]
    third = [{"name": "gauge", "centre": [10.0, 0.0, 0.0], "radius": 2.0}]
    named = make.first(tmp_path, tee, passage, part={"platform_z": -10.0}, closed=third)
    assert named.state is State.OPEN
