"""The joints of a resume: every expected number is analytic unless it says otherwise."""

import make
import numpy as np
import pytest
import shapes

SIDES = 256
SEGMENT = np.sin(2 * np.pi / SIDES) / (2 * np.pi / SIDES)  # polygon to circle, area
PASSAGE = make.passage((0, 0, 0), (0, 0, 30), 3.0, 5.0)


def bored(height: float = 30.0) -> np.ndarray:
    return shapes.straight_bore(3.0, (20.0, 20.0, height), SIDES)


def rows(folder, solid, *strays, passage=PASSAGE, **keys):
    return make.checked(folder, solid, passage, strays, **{"pitch": 0.5, **keys}).resumed_section


def test_an_annulus_resumed_in_its_place(tmp_path):
    # published: REFERENCES.md section 8, D 20, d 12
    tube = shapes.bore((0, 0, 0), (0, 0, 30), 10.0, segments=SIDES)
    tube -= shapes.bore((0, 0, -1), (0, 0, 31), 6.0, segments=SIDES)
    passage = make.passage((0, 0, 0), (0, 0, 30), 6.0, 10.0)
    found = rows(tmp_path, tube, make.plane(12.0), passage=passage)
    assert [row["height_mm"] for row in found] == pytest.approx([12.0, 12.3])
    for row in found:
        assert row["stray"] == 0
        assert row["share"] == pytest.approx(1.0)
        assert row["metal_area_mm2"] == pytest.approx(201.0619, rel=5e-4)
        assert row["Ixx_mm4"] == pytest.approx(6836.106, rel=5e-4)
        assert row["Iyy_mm4"] == pytest.approx(6836.106, rel=5e-4)
        assert row["J_mm4"] == pytest.approx(13672.211, rel=5e-3)
        assert row["J_uncertainty_mm4"] <= 5e-3 * row["J_mm4"]


def test_a_shift_leaves_what_lies_over_each_other(tmp_path):
    move = make.sheet(12.0, layers=0, next_layer=120, resume_shift=[1.0, 0.0])
    (row,) = rows(tmp_path, bored(), move)
    lens = 2 * 9 * np.arccos(1 / 6) - 0.5 * np.sqrt(4 * 9 - 1)  # REFERENCES.md 2.2
    bores = (2 * 9 * np.pi - lens) * SEGMENT
    assert row["height_mm"] == pytest.approx(12.0)
    assert row["metal_area_mm2"] == pytest.approx(19 * 20 - bores, rel=1e-4)
    assert row["nominal_area_mm2"] == pytest.approx(400 - 9 * np.pi * SEGMENT, rel=1e-6)
    assert row["share"] == pytest.approx(row["metal_area_mm2"] / row["nominal_area_mm2"])
    assert row["centre_x_mm"] == pytest.approx(0.5, abs=1e-4)
    assert row["centre_y_mm"] == pytest.approx(0.0, abs=1e-4)
    # A rectangle less two circles that overlap lies between less both and less one.
    circle = np.pi * 3**4 / 4
    assert 19 * 20**3 / 12 - 2 * circle < row["Ixx_mm4"] < 19 * 20**3 / 12 - circle


def hollow_below() -> np.ndarray:
    """A block whose first 3 mm have a pocket of 10 x 4 beside the bore, solid above."""
    solid = shapes.block((-10, -10, 0), (10, 10, 30))
    solid -= shapes.bore((0, 0, -1), (0, 0, 31), 3.0, segments=SIDES)
    return shapes.soup(solid - shapes.block((-5, 4, -1), (5, 8, 3)))


# Three layers of 0.1 on a solid that lies 0.1 (1 - 0.45) / 0.45 = 0.122 below its counted face.
@pytest.mark.parametrize(("penetration", "missing"), [(0.05, 40.0), (0.42, 40.0), (0.43, 0.0)])
def test_an_unmelted_gap_is_missing_until_it_is_melted_again(tmp_path, penetration, missing):
    sheet = make.sheet(12.0, penetration=penetration)
    full = 400 - 9 * np.pi * SEGMENT
    for row in rows(tmp_path, hollow_below(), sheet):
        assert row["nominal_area_mm2"] == pytest.approx(full, rel=1e-6)
        assert row["metal_area_mm2"] == pytest.approx(full - missing, rel=1e-6)


def test_where_nothing_was_melted_nothing_hangs_together(tmp_path):
    # The last two slices lie beyond the part's top: they are empty, and the build goes on above.
    sheet = make.sheet(12.0, from_layer=298, layers=4)
    below, above = rows(tmp_path, bored(), sheet)
    assert below["share"] == pytest.approx(1.0)
    assert above["nominal_area_mm2"] == pytest.approx(below["nominal_area_mm2"])
    assert above["share"] == above["J_mm4"] == above["Ixx_mm4"] == 0.0


def test_every_event_has_its_joints_and_a_lifted_part_is_cut_where_it_stands(tmp_path):
    strays = [make.plane(8.0, resume="layer"), make.plane(20.0, layers=2)]
    found = rows(tmp_path, bored(), *strays)
    assert [row["stray"] for row in found] == [0, 0, 1, 1]
    assert [row["height_mm"] for row in found] == pytest.approx([8.0, 8.3, 20.0, 20.2])
    assert all(row["share"] == pytest.approx(1.0) for row in found)


def test_a_part_that_was_complete_and_one_with_measured_metal_have_no_joint(tmp_path):
    whole = rows(tmp_path / "whole", bored(), make.plane(40.0))
    stray = {"shape": "mesh", "mesh": "stray.stl", "source": "measured"}
    meshes = {"stray": shapes.block((-5, -5, 12), (5, 5, 12.3))}
    measured = rows(tmp_path / "measured", bored(), stray, meshes=meshes)
    assert whole == measured == ()


def test_the_joint_is_given_with_the_caution_that_it_is_not_qualified(tmp_path):
    found = make.checked(tmp_path, bored(), PASSAGE, make.plane(12.0))
    assert found.resumed_section
    assert any("weak plane" in said and "not qualify" in said for said in found.cautions)
