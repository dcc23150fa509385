"""The folder of results: nothing of somebody else's is touched, nothing damaged is believed."""

import json
import os
from functools import partial
from pathlib import Path

import openpyxl
import plates
import pytest

from clearance.errors import ClearanceError
from clearance.plates import report
from clearance.plates.folder import Folder

pytestmark = pytest.mark.skipif(os.name == "nt", reason="writes to /dev/full")


here = partial(plates.here, few_sheets=True)  # shared with test_plate.py


@pytest.fixture(scope="module")
def plate(tmp_path_factory):
    folder = tmp_path_factory.mktemp("plate")
    plates.write_designs(folder)
    return plates.write_plate(folder, plates.PARTS[:1])


@pytest.mark.parametrize("name", ["plate.csv", "parts/S1.pdf", "drawing.dwg"])
def test_a_folder_of_somebody_else_is_left_alone(plate, tmp_path, name):
    file = tmp_path / "mine" / name
    file.parent.mkdir(parents=True)
    file.write_text("mine")
    before = sorted(tmp_path.rglob("*"))
    found = here(plate, tmp_path / "mine")
    assert found.returncode == 2
    assert "is no folder of an earlier run" in found.stderr
    assert sorted(tmp_path.rglob("*")) == before
    assert file.read_text() == "mine"


def test_an_empty_folder_and_one_of_ours_are_taken(tmp_path):
    (tmp_path / ".hidden").write_text("a file manager's")
    for _ in range(2):
        with Folder(tmp_path):
            (tmp_path / "plate.csv").write_text("x")
    with (
        pytest.raises(ClearanceError, match="no folder of an earlier run"),
        Folder(Path(__file__).parent),
    ):
        pass


def test_a_workbook_of_somebody_elses_is_left_alone(tmp_path):
    with Folder(tmp_path):
        pass
    book = tmp_path / "plate.xlsx"  # made of the plate.csv of a version that wrote no workbook
    openpyxl.Workbook().save(book)
    mine = book.read_bytes()
    with pytest.raises(ClearanceError, match=r"its plate\.xlsx was not written by a run"):
        Folder(tmp_path).__enter__()
    assert book.read_bytes() == mine


def test_what_is_damaged_is_computed_again(plate, tmp_path, monkeypatch):
    """Written anew in each round; drawn once for what is the same."""
    draw, drawn = report.pages, {}

    def pages(summary, read):
        known = json.dumps(summary.data, sort_keys=True)
        if known not in drawn:
            drawn[known] = draw(summary, read)
        return drawn[known]

    monkeypatch.setattr(report, "pages", pages)
    out = tmp_path / "out"
    assert here(plate, out).returncode == 0
    good = plates.timeless(out)
    result, sheet = out / "parts" / "S1.json", out / "parts" / "S1.pdf"

    def edited(data):
        data["passages"][0]["state"] = "blocked"

    def without_outline(data):
        del data["plate"]["outline_mm"]

    def in_json(change):
        data = json.loads(result.read_text(encoding="utf-8"))
        change(data)
        result.write_text(json.dumps(data), encoding="utf-8")

    damages = {
        "sheet of no bytes": lambda: sheet.write_bytes(b""),
        "state by hand": lambda: in_json(edited),
        "no outline": lambda: in_json(without_outline),
        "deep": lambda: result.write_text("[" * 100_000),
        "no map": (out / "plate.pdf").unlink,
        "a table by hand": lambda: (out / "plate.csv").write_text("open"),
        "a workbook of no bytes": lambda: (out / "plate.xlsx").write_bytes(b""),
        "no workbook": (out / "plate.xlsx").unlink,
    }
    for name, damage in damages.items():
        damage()
        found = here(plate, out)
        assert found.returncode == 0, (name, found.stderr)
        assert plates.timeless(out) == good, name
    again = here(plate, out)
    assert again.returncode == 0
    assert not again.computed  # what is whole is not


def test_a_full_device_is_one_message(plate, tmp_path):
    if not Path("/dev/full").exists():
        pytest.skip("no such device")
    assert here(plate, tmp_path / "out").returncode == 0  # so that nothing is left to do
    with open("/dev/full", "w") as full:
        found = plates.run(plate, tmp_path / "out", "--jobs", 1, stdout=full)
    assert "1 part is unchanged" in found.stderr
    assert found.returncode == 2
    assert found.stderr.splitlines()[-1].startswith("error: standard output cannot be written")
    assert "Traceback" not in found.stderr
