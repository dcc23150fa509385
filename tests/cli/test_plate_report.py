"""What a plate says as a whole: what happened, what to hold, coupons, one reason, next steps."""

import csv
import json
import sys
from pathlib import Path

import pytest
import shapes

sys.path.insert(0, str(Path(__file__).parent))
import plates

from clearance.case.plate import read_plate
from clearance.plates.folder import Folder
from clearance.plates.map import pages
from clearance.plates.members import members
from clearance.plates.run import run as run_plate
from clearance.plates.summary import write_summary
from clearance.system import processes

BAR = """\
[part]
name = "{name}"
mesh = "{name}.stl"
layer_thickness = 0.5
platform_z = 0.0
"""
COUPON = "coupon = true"
# The event is at 6: the tall bar has the joint, the short one and the one that ends there have not.
PARTS = [
    {"name": "L1", "case": "leaning.toml", "x": 50, "y": 50, "turn": 180, "more": 'serial = "7"'},
    {"name": "L2", "case": "leaning.toml", "x": -50, "y": 0, "turn": 0, "more": "layers = 0"},
    {"name": "L3", "case": "leaning.toml", "x": 55, "y": 60, "turn": 180},
    {"name": "bad", "case": "none.toml", "x": 0, "y": -60, "turn": 0},
    {"name": "T1", "case": "tall.toml", "x": 80, "y": 0, "turn": 0, "more": COUPON},
    {"name": "T2", "case": "short.toml", "x": 80, "y": 30, "turn": 0, "more": COUPON},
    {"name": "T3", "case": "level.toml", "x": 80, "y": -30, "turn": 0, "more": COUPON},
]


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    folder = tmp_path_factory.mktemp("report")
    plates.write_designs(folder)
    for name, top in (("tall", 9.0), ("short", 4.5), ("level", 6.0)):
        bar = shapes.bore((0, 0, 0), (0, 0, top), 3.0, segments=24)
        shapes.write_stl(folder / f"{name}.stl", shapes.soup(bar))
        (folder / f"{name}.toml").write_text(BAR.format(name=name))
    return folder


def one_by_one(jobs):
    from clearance.plates.one_part import compute

    for job in jobs:
        yield job, processes.attempt(compute, job.payload)


def summed(plate, out, spread=one_by_one):
    """Run a plate in this process; returns its summary and the pages of its report."""
    known = read_plate(plate)
    with Folder(out) as held:
        summary = run_plate(known, members(known), held, spread)
        drawn = pages(summary, held.read)
        write_summary(held, summary, drawn)
    return summary, drawn


@pytest.fixture(scope="module")
def done(folder):
    return summed(plates.write_plate(folder, PARTS), folder / "out")


def by_name(done):
    return {entry["name"]: entry for entry in done[0].data["parts"]}


def test_coupons_say_whether_they_have_the_joint(done, folder):
    found = by_name(done)
    assert {name: found[name]["crossed_mm"] for name in ("T1", "T2", "T3", "L1", "L2", "bad")} == {
        "T1": [6.0], "T2": [], "T3": [], "L1": [6.0], "L2": [6.0], "bad": None,
    }  # fmt: skip
    for name in ("T1", "T2", "T3"):
        entry = found[name]
        assert (entry["recommendation"], entry["exit_status"]) == ("coupon", 0)
        assert entry["coupon"]
        assert entry["result"] is None
        assert not (folder / "out" / "parts" / f"{name}.json").exists()
    assert "joint at z 6 mm" in found["T1"]["finding"]
    assert found["T2"]["finding"] == found["T3"]["finding"] == "ends below the event, has no joint"
    assert done[0].data["counts"]["coupon"] == 3
    # Analytic: a circle of radius 3 as 24 corners, seen from above.
    xs = [x for x, _ in done[0].outlines["T1"][0]]
    assert (min(xs), max(xs)) == pytest.approx((-3.0, 3.0), abs=0.1)


def test_a_coupon_with_passages_is_judged_as_a_part(folder):
    parts = [{**PARTS[0], "more": COUPON}]
    found = members(read_plate(plates.write_plate(folder, parts, "judged.toml")))
    assert found[0].task is not None
    assert found[0].part.coupon


def test_what_happened_is_said_once_and_for_whom(done):
    most, few = done[0].data["events"]
    assert most["parts"] == ["L1", "L3", "T1", "T2", "T3"]
    assert most["said"][0].startswith("2 wrong layers, numbers 0 to 1 at z 6 mm")
    assert "from the machine's log" in most["said"][0]
    assert few["parts"] == ["L2"]
    assert "no stray layer" in few["said"][0]


def test_a_sideways_offset_is_told_in_the_platforms_axes(folder):
    path = plates.write_plate(folder, [{**PARTS[0], "turn": 90}], "offset.toml")
    path.write_text(path.read_text().replace("[0.0, 0.0]", "[0.5, 0.0]"))
    (member,) = members(read_plate(path))
    assert "lateral offset x 0.5, y 0 mm" in member.told[0]
    assert member.task.case.stray[0].resume_shift == (0.0, -0.5)


def test_every_part_has_one_reason_and_a_next_step(done, folder):
    found = by_name(done)
    for entry in found.values():
        assert entry["finding"]
        assert entry["next_step"]
        assert "\n" not in entry["finding"]
    assert "blocked" in found["L1"]["finding"]
    assert "none.toml" in found["bad"]["finding"]
    assert done[0].data["hold"] == ["bad", *(n for n in ("L1", "L3") if n in found)]
    stored = json.loads((folder / "out/parts/L1.json").read_text())["plate"]
    assert (stored["finding"], stored["next_step"]) == (
        found["L1"]["finding"],
        found["L1"]["next_step"],
    )
    with open(folder / "out/plate.csv", newline="", encoding="utf-8") as file:
        rows = {row["name"]: row for row in csv.DictReader(file)}
    assert rows["T1"]["coupon"] == "yes"
    assert rows["T1"]["crossed_mm"] == "6"
    assert rows["L1"]["next_step"] == found["L1"]["next_step"]


def test_outlines_that_overlap_bring_a_warning(done):
    (said,) = [text for text in done[0].data["notices"] if "overlap" in text]
    # Analytic: blocks 24 x 14 apart by 5 and 10 share 19 x 4 mm, less the bores' sections, whose
    # outer outlines are not taken off.
    assert said.startswith("outlines of L1 and L3 overlap, 76.0 mm2 at the height of the stop")


def test_parts_side_by_side_bring_none(folder, tmp_path):
    def nothing(jobs):
        yield from ()

    parts = [{**PARTS[4], "name": f"T{n}", "x": 6 * n} for n in range(3)]  # they touch
    summary, _ = summed(plates.write_plate(folder, parts, "beside.toml"), tmp_path, nothing)
    assert not [text for text in summary.data["notices"] if "overlap" in text]
    near = [{**part, "x": 5 * n} for n, part in enumerate(parts)]
    summary, _ = summed(plates.write_plate(folder, near, "near.toml"), tmp_path / "b", nothing)
    assert sum("overlap" in text for text in summary.data["notices"]) == 2
