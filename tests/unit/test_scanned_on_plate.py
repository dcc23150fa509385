"""A scan of a part that stands turned on a plate, its upper piece lifted by a wrong restart.

The scans are exact solids: what they show is analytic.
"""

import io
from pathlib import Path

import make
import pytest
import shapes
from pypdf import PdfReader

from clearance.case.plate import read_plate
from clearance.plates.cluster import packed
from clearance.plates.members import members
from clearance.plates.one_part import compute
from clearance.report.scan import moved_lines

LOW, HIGH = (0.0, 0.0, 0.0), (12.0, 9.0, 8.0)
SHEET, LAYER, DEPTH = 4.0, 0.05, 0.1
LIFT = 4 * LAYER
ENDS = make.passage([4, 4, 0], [4, 4, 8], 1.5, 2.5)
SCAN = {"mesh": "scan.stl", "uncertainty": 0.05, "placed": True, "thinnest_shown": 0.1}


def part():
    """A block with a notch, which no turn and no mirror maps on itself, and a bore."""
    bore = shapes.bore([4, 4, -1], [4, 4, 9], 1.5, segments=24)
    return shapes.block(LOW, HIGH) - bore - shapes.block([9, 6, 6], [13, 10, 9])


def built(thick, aside=(0.0, -0.2)):
    """The part as built: its upper piece moved and lifted, a sheet below that."""
    below = part() ^ shapes.block([-9, -9, -9], [19, 19, SHEET])
    above = (part() ^ shapes.block([-9, -9, SHEET], [19, 19, 19])).translate((*aside, LIFT))
    sheet = shapes.block([0, 0, SHEET - DEPTH], [12, 9, SHEET - DEPTH + thick])
    return below + above + sheet.translate((*aside, 0.0))


def on_plate(folder, parts, scan=None):
    """A plate whose event is 0.2 mm along its x, with a part of each case."""
    rows = [
        '[plate]\nname = "p"\nsize = [200.0, 200.0]',
        f'[[stray]]\nshape = "plane"\nheight = {SHEET}\nlayers = 4\nresume = "layer"',
        f"penetration = {DEPTH}\nresume_shift = [0.2, 0.0]",
    ]
    keys = {"layer": LAYER, "pitch": 0.8, "scan": SCAN}
    for number, (name, case) in enumerate(parts.items()):
        if not (folder / case).exists():
            meshes = {"scan": built(DEPTH + LIFT) if scan is None else scan}
            make.write_case(folder / case, part(), ENDS, (), meshes=meshes, **keys)
        rows.append(f'[[part]]\nname = "{name}"\ncase = "{case}/case.toml"\nturn = 90')
        rows.append(f"at = [{40.0 * number}, 5.0]")
    path = folder / "plate.toml"
    path.write_text("\n".join(rows))
    return read_plate(path)


def test_what_has_moved_is_along_the_axes_of_the_turned_part(tmp_path):
    """Turned by 90 degrees, x of the platform is -y of the part; four layers lift it by 0.2 mm.

    All of that is analytic, and the case of the plate's part is judged as it is on a plate.
    """
    (one,) = members(on_plate(tmp_path, {"A": "a"}))
    assert one.task.case.stray[0].resume_shift == (0.0, -0.2)
    result = make.judged(one.task.case)
    (step,), (sheet,) = result.scan.steps, result.scan.sheets
    assert step.moved_mm == pytest.approx((0.0, -0.2, LIFT), abs=1e-3)
    assert sheet.where_mm[2] == pytest.approx(SHEET - DEPTH, abs=1e-3)
    assert sheet.thickness_mm == pytest.approx(DEPTH + LIFT, abs=1e-3)
    said = {r.where: r for r in result.readings}
    aside, growth = said["offset along y above event 1"], said["growth above event 1"]
    assert (aside.value, aside.says) == (pytest.approx(-0.2, abs=1e-3), "as-predicted")
    assert growth.says == "as-predicted"
    assert growth.nominal[1] < 0.0 < growth.predicted[0]
    assert not any(r.contradicts for r in result.readings)
    assert result.passages[0].state == result.passages[0].scanned.state == "blocked"
    words = "x +0.00 (u 0.03), y -0.20 (u 0.03), growth +0.20 (u 0.03)"
    assert any(words in line for line in moved_lines(result.scan, 0.0))


@pytest.mark.more
def test_its_result_and_sheet_are_written(tmp_path):
    (one,) = members(on_plate(tmp_path, {"A": "a"}))
    found = compute(one.task)
    assert found.data["scan"]["steps"][0]["moved_mm"] == pytest.approx([0.0, -0.2, LIFT], abs=1e-3)
    pages = PdfReader(io.BytesIO(found.figure)).pages
    said = " ".join(" ".join(one.extract_text().split()) for one in pages)
    assert "x and y as in the mesh, before the part's turn on the plate" in said


def test_a_scan_of_two_parts_is_of_none(tmp_path):
    """What one part shows must not stand on the sheet of another."""
    plate = on_plate(tmp_path, {"A": "a", "B": "a", "C": "c"})
    faults = [one.fault or "" for one in members(plate)]
    for fault, other in zip(faults, "BA", strict=False):
        assert f"a/case.toml: [scan]: found scan.stl for {other} too" in fault
        assert "expected a scan of one part" in fault
    assert faults[2] == ""


def test_another_scan_or_finished_shape_is_another_part(tmp_path):
    """Run again, a part whose scan was made anew is not taken from the run before."""
    plate = on_plate(tmp_path, {"A": "a"}, built(0.2))
    case = tmp_path / "a/case.toml"
    shapes.write_stl(tmp_path / "a/done.stl", make.soup_of(part()))
    text = case.read_text().replace("[part]", '[part]\nfinished = "done.stl"', 1)
    case.write_text(text)
    keys = [members(plate)[0].task.key]
    for name in ("scan", "done"):
        shapes.write_stl(tmp_path / f"a/{name}.stl", make.soup_of(built(0.3)))
        keys.append(members(plate)[0].task.key)
    assert len(set(keys)) == 3


def test_scan_and_finished_shape_travel_to_a_cluster(tmp_path):
    """Every file that a worker reads lies in the parcel."""
    plate = on_plate(tmp_path, {"A": "a"})
    case = tmp_path / "a/case.toml"
    shapes.write_stl(tmp_path / "a/done.stl", make.soup_of(part()))
    case.write_text(case.read_text().replace("[part]", '[part]\nfinished = "done.stl"', 1))
    parcel = packed(members(plate)[0].task)
    inside = {Path(name) for name, _, _ in parcel.files}
    assert {path.name for path in inside} == {"part.stl", "scan.stl", "done.stl"}
    assert set(parcel.task.files()) == inside
