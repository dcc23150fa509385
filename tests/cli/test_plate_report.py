"""What a plate says as a whole: what happened, what to hold, coupons, one reason, next steps."""

import csv
import io
import json
from dataclasses import replace

import pdf
import plates
import pypdf
import pytest
import shapes
import shared

from clearance.case.plate import read_plate
from clearance.plates.folder import Folder
from clearance.plates.members import members
from clearance.plates.report import _sections as sections
from clearance.plates.report import pages
from clearance.plates.run import run as run_plate
from clearance.plates.summary import write_summary

BAR = """\
[part]
name = "{name}"
mesh = "{name}.stl"
layer_thickness = 0.5
platform_z = 0.0
"""
COUPON = "coupon = true"
GAUGE = "gauge = [2.0, 8.0]"
# The event is at 6: the tall bar has the joint, the short one and the one that ends there have not.
PARTS = [
    {"name": "L1", "case": "leaning.toml", "x": 50, "y": 50, "turn": 180, "more": 'serial = "7"'},
    {"name": "L2", "case": "leaning.toml", "x": -50, "y": 0, "turn": 0, "more": "layers = 0"},
    {"name": "L3", "case": "leaning.toml", "x": 55, "y": 60, "turn": 180},
    {"name": "bad", "case": "none.toml", "x": 0, "y": -60, "turn": 0},
    {"name": "T1", "case": "tall.toml", "x": 80, "y": 0, "turn": 0, "more": f"{COUPON}\n{GAUGE}"},
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
        yield job, shared.part_of_a_plate(job, compute, few_sheets=True)


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


def test_which_coupons_count_and_what_is_not_complete(done):
    """The sheet of two layers of 0.5 lies from 6 to 7, within the gauge length from 2 to 8."""
    data, drawn = done[0].data, done[1]
    assert {one["name"]: one["counts"] for one in data["coupons"]} == {
        "T1": "yes", "T2": "no", "T3": "no",
    }  # fmt: skip
    assert data["coupons"][0]["held_mm"] == [6.0]
    left = {one["name"]: one for one in data["unfinished"]}
    assert set(left) == {"L1", "L2", "L3"}
    for one in left.values():
        assert (one["begun"], one["built"]) == (True, pytest.approx(0.5, abs=0.1))
    assert left["L2"]["say"] == "go on"
    words = " ".join(" ".join(page.words().split()) for page in pdf.pages(drawn))
    assert "T1: counts: gauge length z 2 to 8 mm holds the joint at z 6 mm, both sides" in words
    assert "a coupon that counts tells of the joint" in words
    assert "not complete at the stop: finish or stop" in words


def test_a_coupon_with_passages_is_judged_as_a_part(folder):
    parts = [{**PARTS[0], "more": COUPON}]
    found = members(read_plate(plates.write_plate(folder, parts, "judged.toml")))
    assert found[0].task is not None
    assert found[0].part.coupon


def test_what_happened_is_said_once_and_for_whom(done):
    most, few = done[0].data["events"]
    assert most["parts"] == ["L1", "L3", "T1", "T2", "T3"]
    assert most["said"][0].startswith("2 wrong layers (0 to 1) at z 6,")
    assert "(log)" in most["said"][0]
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
    parts = [{**PARTS[4], "name": f"T{n}", "x": 6 * n} for n in range(3)]  # they touch
    summary, _ = summed(plates.write_plate(folder, parts, "beside.toml"), tmp_path, nothing)
    assert not [text for text in summary.data["notices"] if "overlap" in text]
    near = [{**part, "x": 5 * n} for n, part in enumerate(parts)]
    summary, _ = summed(plates.write_plate(folder, near, "near.toml"), tmp_path / "b", nothing)
    assert sum("overlap" in text for text in summary.data["notices"]) == 2


# ---- the pages -------------------------------------------------------------------------------


def test_the_first_page_says_what_happened_and_what_to_hold(done):
    first = pdf.pages(done[1])[0].words()
    for words in (
        "plate small: HOLD 3 of 7 parts",
        "what happened (z in mm above the platform)",
        "2 wrong layers (0 to 1) at z 6, resumed with the layer of that height (log)",
        "L2: no stray layer reached it",
        "to hold until each is decided: bad, L1, L3",
        "go on above z 6 mm, where their joint lies: T1",
        "end below the event, have no joint: T2, T3",
        "go on above z 6 mm, where their joint lies: L1, L2, L3",
        "overlap, 76.0 mm²",
        "Loose metal powder can be reactive",
    ):
        assert words in first


def test_the_table_has_a_row_for_each_part_with_all_that_a_meeting_asks(done):
    table = pdf.pages(done[1])[1].words()
    for entry in done[0].data["parts"]:
        x, y = entry["at_mm"]
        assert f"x {x:g}, y {y:g} mm" in table
        assert entry["recommendation"].upper() in table
    # A cell is wrapped where a word ends, or a path where the cell does.
    joined = table.replace(" ", "")
    for entry in done[0].data["parts"]:
        assert entry["finding"].replace(" ", "") in joined
        assert entry["next_step"].replace(" ", "") in joined
    assert "50 %" in table  # analytic: 6 of 12 mm of a block of one section
    assert "melted" not in table


def test_readers_find_title_language_and_bookmarks(done):
    read = pypdf.PdfReader(io.BytesIO(done[1]))
    assert read.metadata.title == "plate small"
    assert read.metadata.creation_date is None
    assert read.root_object["/Lang"] == "en"
    assert read.root_object["/ViewerPreferences"]["/DisplayDocTitle"]
    marks = {mark.title: read.get_destination_page_number(mark) for mark in read.outline}
    assert list(marks)[:2] == ["what happened, what to hold, map", "parts, the gravest first"]
    assert not [title for title in marks if title.startswith("L2:")]  # it conforms
    for title, page in list(marks.items())[1:]:
        assert title in " ".join(read.pages[page].extract_text().split())


def test_no_letter_is_small_cut_or_out_of_its_page(done):
    for page in pdf.pages(done[1]):
        assert "…" not in page.text
        for span in page.spans:
            left, top, right, foot = span.box
            assert left > 20.0, span
            assert right < page.width - 20.0, span
            body = 45.0 < top and foot < page.height - 40.0
            assert span.size >= 9.0 - 1e-3 or not body, span


def overlaps(page):
    """Pairs of texts one over the other, but for the rim under a label of the map."""
    found = []
    for n, one in enumerate(page.spans):
        for other in page.spans[n + 1 :]:
            wide = min(one.box[2], other.box[2]) - max(one.box[0], other.box[0])
            high = min(one.box[3], other.box[3]) - max(one.box[1], other.box[1])
            if wide > 0.5 and high > 0.5 and one.text != other.text:
                found.append((one.text, other.text))
    return found


def test_no_text_lies_over_another(done):
    for page in pdf.pages(done[1]):
        assert not overlaps(page)


def nothing(jobs):
    yield from ()


def test_no_page_is_empty_and_what_goes_on_says_of_what(done, folder):
    data = {**done[0].data, "notices": [f"notice {n}" for n in range(90)]}
    many = [f"reason {n}" for n in range(100)]
    summary = replace(done[0], data=data)

    def read(name):
        result = json.loads((folder / "out/parts" / f"{name}.json").read_text())
        return {**result, "notices": many}

    found = pdf.pages(pages(summary, read))
    assert len(found) > len(pdf.pages(done[1]))
    for page in found:
        body = [s for s in page.spans if 45.0 < s.box[1] and s.box[3] < page.height - 40.0]
        assert len(body) > 1, page.number
        assert "\n(continued)" not in page.text
    assert any("assumptions and notices (continued)" in page.words() for page in found)


def test_nothing_is_left_out_where_there_is_much(folder, tmp_path):
    long = "a name that is longer than the map or a cell can hold on one line of letters, number"
    parts = [
        {**PARTS[4], "name": f"{long} {n:03}", "x": 12 * (n % 9) - 50, "y": 12 * (n // 9) - 80}
        for n in range(14)
    ]
    wrong = "\n".join(f"key_{n:03} = 1" for n in range(40))
    (folder / "wrong.toml").write_text(BAR.format(name="tall") + wrong)
    parts.append({**PARTS[3], "name": "bad", "case": "wrong.toml"})
    summary, drawn = summed(plates.write_plate(folder, parts, "many.toml"), tmp_path, nothing)
    found = pdf.pages(drawn)
    words = "".join("".join(page.text.split()) for page in found)
    for n in range(14):
        assert words.count(f"number{n:03}") >= 2  # among the parts with a joint, in the table
    for n in range(40):
        assert f"key_{n:03}" in words
    for title, said in sections(summary):  # what has no room beside the map stands below it
        assert all("".join(one.split()) in words for one in (title, *said)), title
    assert not overlaps(found[0])
    assert "…" not in words
    assert len(summary.data["hold"]) == 1
