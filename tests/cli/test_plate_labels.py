"""Each part of a plate has its own sheet, whichever parts are equal to it."""

import json
import re

import pdf
import plates
import pytest

from clearance.plates.members import Label
from clearance.plates.stamp import stamped

LONG = (
    "a very long name of a part that nobody would give but somebody will, and its last letters tell"
)
SAME = [
    {
        "name": "A1",
        "case": "leaning.toml",
        "x": 50,
        "y": 50,
        "turn": 180,
        "more": 'serial = "0101"',
    },
    {"name": "A2", "case": "leaning.toml", "x": -50, "y": 20, "turn": 0, "more": 'serial = "0102"'},
    {"name": "A3", "case": "leaning.toml", "x": 0, "y": 0, "turn": 90},
    {"name": "B", "case": "straight.toml", "x": 50, "y": -50, "turn": 0},
]


def record(folder, serial):
    for name in ("leaning.toml", "straight.toml"):
        path = folder / name
        path.write_text(f'{path.read_text()}\n[record]\nserial = "{serial}"\n')


@pytest.fixture(scope="module")
def done(tmp_path_factory):
    folder = tmp_path_factory.mktemp("labels")
    plates.write_designs(folder)
    record(folder, "of the case")
    found = plates.here(plates.write_plate(folder, SAME), folder / "out")
    assert found.returncode == 3, found.stderr
    return folder, found


def pages(out, name):
    return [page.words() for page in pdf.pages(out / "parts" / f"{name}.pdf")]


def data(out, name):
    return json.loads((out / "parts" / f"{name}.json").read_text())


def test_sheets_of_equal_parts_are_told_apart_on_every_page(done):
    folder, found = done
    assert "4 parts to compute, 2 of them different" in found.stderr
    places = {"A1": "x 50, y 50 mm, turned 180°", "A2": "x -50, y 20 mm, turned 0°"}
    for name, serial in (("A1", "0101"), ("A2", "0102")):
        first, *others = pages(folder / "out", name)
        for word in (f"plate part {name}", f"serial {serial}", "plate small", places[name]):
            assert word in first
        assert "of the case" not in first
        assert others
        for page in (first, *others):
            assert f"{name}, serial {serial}; plate small" in page
    one, other = (data(folder / "out", name) for name in ("A1", "A2"))
    assert one["plate"].pop("label") == {
        "name": "A1", "serial": "0101", "plate": "small", "at_mm": [50.0, 50.0], "turn_deg": 180.0,
    }  # fmt: skip
    other["plate"].pop("label")
    # The label is on the sheet; and it and the name are in what the other hash is made of.
    for own in ("sheet_sha256", "data_sha256"):
        assert one["plate"].pop(own) != other["plate"].pop(own)
    assert {**one, "part": "A2"} == other


def test_a_case_that_several_parts_share_tells_nobodys_serial(done):
    folder, _ = done
    first = pages(folder / "out", "A3")[0]
    assert "serial not given" in first
    assert "of the case" not in first
    assert "serial of the case" in pages(folder / "out", "B")[0]  # the only part of its case
    serials = [entry["serial"] for entry in plates.summary(folder / "out")["parts"]]
    assert serials == ["0101", "0102", None, "of the case"]


def test_the_hash_in_the_footer_is_of_the_plates_event(done):
    folder, _ = done
    there = folder / "other"
    plate = plates.write_plate(folder, SAME[-1:], "later.toml", height=7.0)
    assert plates.here(plate, there).returncode == 0
    said = [
        next(w for w in pages(out, "B")[0].split("input ")[1:]) for out in (folder / "out", there)
    ]
    assert said[0][:12] != said[1][:12]


def test_another_serial_or_place_is_written_without_computing(done):
    folder, _ = done
    moved = [{**SAME[0], "x": -40, "more": 'serial = "0999"'}, *SAME[1:]]
    again = plates.here(plates.write_plate(folder, moved), folder / "out")
    assert again.returncode == 3
    assert " s)" not in again.stderr
    assert "3 parts are unchanged" in again.stderr
    first = pages(folder / "out", "A1")[0]
    assert "0999" in first
    assert "x -40, y 50" in first
    assert "0101" not in first
    streams = pdf.streams(folder / "out" / "parts" / "A1.pdf")
    assert len(streams) > 3
    as_word = re.compile(rb"(?<![\d.])0101(?!\d)")  # coordinates may have these digits
    assert not any(as_word.search(one) for one in streams)


@pytest.mark.parametrize("name", ["A1", LONG])
def test_a_label_is_whole_and_covers_nothing(done, name):
    folder, _ = done
    sheet = (folder / "out" / "parts" / "A2.pdf").read_bytes()
    label = Label(name, "S" * 60, f"plate {LONG}", (-123.456, 98.765), 12.5)
    one = stamped(sheet, label)
    assert one == stamped(sheet, label)
    page, *others = pdf.pages(one)
    said = page.text.replace("\n", "").replace(" ", "")
    for word in (name, "S" * 60, f"plate {LONG}"):
        assert said.count(word.replace(" ", "")) >= 1
    metal = page.picture(dpi=30)
    assert (metal[len(metal) // 4 :] < 225).sum() > 400  # the sheet shows through
    top = page.picture(dpi=300)[:500]
    assert ((top < 200).mean(axis=1) > 0.8).any()  # and the rule below the label is drawn
    assert max(s.box[3] for p in (page, *others) for s in p.spans) < page.height - 6.0
    spans = page.spans
    assert min(span.size for span in spans) > 6.99
    design = next(s for s in spans if s.text == "leaning" and s.size > 8.0)
    lowest = max(s.box[3] for s in spans if s.box[1] < design.box[1] - 3.0)
    assert lowest < design.box[1] + 1.0
    assert all(0.0 < s.box[0] and s.box[2] < page.width for s in spans)
