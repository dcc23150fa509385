"""Faults of meshes by name, thin places, level sheets: expected numbers are analytic."""

import json

import bad_meshes
import numpy as np
import pytest
import shapes
import shared

from clearance.errors import PartError
from clearance.report.mesh import as_json, faults, text
from clearance.survey.faults import examine, suggested_unit
from clearance.survey.flat_sheets import flat_sheets
from clearance.survey.thickness import surface


@pytest.fixture
def written(tmp_path):
    def write(triangles, name="part.stl"):
        path = tmp_path / name
        with np.errstate(all="ignore"):
            shapes.write_stl(path, triangles)
        return path

    return write


def test_there_are_at_least_twenty_kinds_of_fault():
    assert len(bad_meshes.BAD) >= 20


@pytest.mark.parametrize("name", bad_meshes.BAD)
def test_every_fault_is_named(written, name):
    make, words = bad_meshes.BAD[name]
    found = shared.mesh_report(written(make()))
    said = faults(found)
    assert any(words in sentence for sentence in said), said
    json.dumps(as_json(found), allow_nan=False)
    assert "faults:" in text(found)
    for width in (40, 60, 80, 120):
        assert max(map(len, text(found, width).splitlines())) <= width


@pytest.mark.parametrize("name", bad_meshes.DAMAGED)
def test_damaged_files_are_refused_by_name(written, name):
    spoil, words = bad_meshes.DAMAGED[name]
    path = written(bad_meshes.sound())
    path.write_bytes(spoil(path.read_bytes()))
    with pytest.raises(PartError, match=words) as fault:
        examine(path)
    assert str(path) in str(fault.value)


def test_a_sound_mesh_has_no_faults_and_its_numbers_are_right(written):
    found = examine(written(bad_meshes.sound()))
    assert faults(found) == []
    assert found.fit
    data = as_json(found)
    assert data["closed"] is True
    assert data["triangles"] == len(bad_meshes.sound())
    assert data["bounds_mm"] == ((-10, -10, 0), (10, 10, 30))
    sides = 48
    hole = 0.5 * sides * 9.0 * np.sin(2 * np.pi / sides)
    assert data["volume_mm3"] == pytest.approx(30 * (400 - hole), rel=1e-5)
    assert data["thinnest_wall_mm"] == pytest.approx(7.0, abs=2e-3)
    flat_to_flat = 6.0 * np.cos(np.pi / sides)
    assert data["thinnest_gap_mm"] == pytest.approx(flat_to_flat, abs=2e-3)
    sagitta = 3.0 * (1.0 - np.cos(np.pi / sides))
    assert data["chord_error_mm"]["max"] == pytest.approx(sagitta, rel=1e-3)
    assert data["chord_error_mm"]["p99"] == pytest.approx(sagitta, rel=1e-3)
    assert data["taken_from_clear_diameter_mm"] == pytest.approx(2 * sagitta, rel=1e-3)
    for key in ("unclosed_edges", "facing_inward", "duplicate", "zero_area", "overlapping_pieces"):
        assert data[key] == 0
    assert data["flat_sheets"] == []
    assert data["suggested_unit"] == "mm"


def test_turned_triangles_do_not_change_what_is_measured(written):
    found = examine(written(bad_meshes.inside_out()))
    assert found.facing_inward == found.triangles
    assert found.volume_mm3 < 0.0
    assert found.wall.width_mm == pytest.approx(7.0, abs=2e-3)


def test_a_unit_given_is_used(written):
    found = examine(written(bad_meshes.in_inches()), "inch")
    assert found.high - found.low == pytest.approx([20, 20, 30], rel=1e-5)
    assert found.suggested_unit == "inch"
    assert faults(found) == []


def test_an_unknown_unit_is_refused(written):
    with pytest.raises(PartError, match="'furlong'"):
        examine(written(bad_meshes.sound()), "furlong")


@pytest.mark.parametrize(
    ("largest", "used", "unit"),
    [
        (80.0, "mm", "mm"),
        (0.08, "mm", "m"),
        (2.0, "mm", "inch"),
        (8e4, "mm", "um"),
        (1e9, "mm", None),
    ],
)
def test_suggested_unit(largest, used, unit):
    assert suggested_unit(largest, used) == unit


@pytest.mark.parametrize("wall", [0.05, 0.3, 2.0])
def test_thinnest_wall_and_gap_of_two_plates(wall):
    gap = 1.5 * wall
    low = shapes.block((0, 0, 0), (20, 20, wall))
    high = shapes.block((0, 0, wall + gap), (20, 20, 10))
    found = surface(shapes.soup(low + high))
    assert found.wall.width_mm == pytest.approx(wall, rel=1e-3)
    assert found.wall.at_mm[2] == pytest.approx(0.5 * wall, abs=1e-3)
    assert found.gap.width_mm == pytest.approx(gap, rel=1e-3)
    assert found.gap.at_mm[2] == pytest.approx(wall + 0.5 * gap, abs=1e-3)


def test_thinnest_wall_between_bores_is_found_between_the_points():
    found = surface(shapes.two_bores(3.0, 6.4))
    assert found.wall.width_mm == pytest.approx(0.4, abs=0.02)
    assert found.wall.at_mm[:2] == pytest.approx([0, 0], abs=0.3)


def test_corners_are_no_thin_walls():
    found = surface(shapes.soup(shapes.block((0, 0, 0), (10, 20, 30))))
    assert found.wall.width_mm == pytest.approx(10.0)
    assert not np.isfinite(found.gap.width_mm)


def test_sheets_are_measured():
    sheet, _ = flat_sheets(bad_meshes.thin_sheet())
    assert len(sheet) == 1
    assert sheet[0].height_mm == pytest.approx(12.0)
    assert sheet[0].thickness_mm == pytest.approx(0.15, abs=1e-5)
    bore = 0.5 * 48 * 9.0 * np.sin(2 * np.pi / 48)
    assert sheet[0].area_mm2 == pytest.approx(bore, rel=0.01)


def test_a_plate_with_a_hole_is_a_ring():
    sheet, _ = flat_sheets(shapes.plate_in_tube(5.0, 2.0, 1.0, 0.5))
    assert [one.height_mm for one in sheet] == pytest.approx([15.0])
    assert sheet[0].area_mm2 == pytest.approx(np.pi * (25 - 4), rel=0.01)


@pytest.mark.parametrize(
    "make", [shapes.straight_bore, shapes.u_passage, shapes.duct, shapes.level_set]
)
def test_sound_parts_have_no_sheets(make):
    assert flat_sheets(make()) == ([], 0)


def test_a_thick_floor_is_no_sheet():
    assert flat_sheets(shapes.plate_in_tube(5.0, 0.0, 0.0, 3.0)) == ([], 0)


@pytest.mark.parametrize(("count", "left_out"), [(10, 0), (12, 18)])
def test_pairs_of_level_faces_that_are_not_looked_at_are_counted(tmp_path, count, left_out):
    """Analytic: n faces within a millimetre make n (n + 1) / 2 pairs, 60 are looked at."""
    corners = np.array([(0.0, 0.0, 0.0), (4.0, 0.0, 0.0), (0.0, 4.0, 0.0)], np.float32)
    faces = corners + np.array([(0.0, 0.0, 0.05 * n) for n in range(count)], np.float32)[:, None]
    assert flat_sheets(faces)[1] == left_out
    shapes.write_stl(tmp_path / "faces.stl", faces)
    said = [one for one in examine(tmp_path / "faces.stl").notices if "level faces" in one]
    assert len(said) == (left_out > 0)


@pytest.mark.parametrize("off", [(0.0, 0.0, 3e-5), (5e-5, 0.0, 0.0)])
def test_a_mesh_that_check_mends_says_what_was_joined(written, off):
    """F12: eight unclosed edges, and yet `check` takes it: corners within 1e-4 mm are joined."""
    mesh = bad_meshes.crack()
    upper = mesh[:, :, 2].max(axis=1) > 10.005
    mesh[upper] += np.float32([0, 0, -0.01]) + np.float32(off)
    found = examine(written(mesh))
    assert found.unclosed_edges == 8
    assert found.refused is None
    (said,) = as_json(found)["mended"]
    assert said.startswith("cracks were closed: 4 vertices at most ")
    assert f"`check` takes this mesh, mended: {said}" in " ".join(text(found).split())
