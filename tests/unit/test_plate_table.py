"""The plate's table for spreadsheets: a row a part, and no text that would be run as a formula."""

import csv
import io
import time

import openpyxl
import pytest

from clearance.plates.table import COLUMNS, GOES_ON, as_cell, as_csv, as_xlsx, is_foreign

ENTRY = {
    "name": "A1",
    "serial": "0101",
    "case": "a.toml",
    "at_mm": [-5.0, 3.0],
    "turn_deg": 0.0,
    "recommendation": "rework",
    "exit_status": 3,
    "finding": "sealed",
    "next_step": "drill it",
    "coupon": False,
    "crossed_mm": [6.0],
    "reasons": ["sealed"],
    "worst_passage": {"name": "circuit-1", "state": "blocked"},
}


@pytest.mark.parametrize("text", ["=1+1", "@SUM(1+1)", "+1", "-1", "\t=1", "\r=1"])
def test_a_text_that_a_spreadsheet_would_run_gets_an_apostrophe(text):
    assert as_cell(text) == f"'{text}"
    worst = {"name": text, "state": "blocked"}
    entry = {**ENTRY, "name": text, "case": text, "reasons": [text], "worst_passage": worst}
    (row,) = csv.DictReader(io.StringIO(as_csv({"parts": [entry]}), newline=""))
    cells = {name: row[name] for name in ("name", "case", "worst_passage", "reasons")}
    assert set(cells.values()) == {f"'{text}"}
    assert not [name for name in COLUMNS if row[name][:1] in "=+@\t\r" and row[name]]


def test_other_texts_and_numbers_stay_as_they_are():
    (row,) = csv.DictReader(io.StringIO(as_csv({"parts": [ENTRY]})))
    assert (row["name"], row["x_mm"], row["worst_passage"]) == ("A1", "-5.0", "circuit-1")
    assert as_cell("a=1") == "a=1"
    assert as_cell("") == ""
    assert as_cell(None) is None


# ---- the workbook, read back by another library ------------------------------------------------


def book(*entries):
    return openpyxl.load_workbook(io.BytesIO(as_xlsx({"plate": "p", "parts": list(entries)})))


@pytest.mark.parametrize("text", ["=1+1", "@SUM(1+1)", "+1", "-1", "\t=1", "12", "http://a.b"])
def test_a_text_stays_a_text_in_the_workbook(text):
    worst = {"name": text, "state": "blocked"}
    entry = {**ENTRY, "name": text, "serial": text, "reasons": [text], "worst_passage": worst}
    parts = book(entry)["parts"]
    row = dict(zip((cell.value for cell in parts[1]), parts[2], strict=True))
    for name in ("name", "serial", "worst_passage", "reasons"):
        assert row[name].value == text
        assert row[name].data_type == "s"
        assert row[name].hyperlink is None
        assert row[name].quotePrefix == (text[0] in "=@+-\t")
    assert not [cell for line in parts for cell in line if cell.data_type == "f"]


def test_the_serial_number_is_no_formula_either():
    (row,) = csv.DictReader(io.StringIO(as_csv({"parts": [{**ENTRY, "serial": "=1+1"}]})))
    assert row["serial"] == "'=1+1"


def test_the_workbook_holds_what_the_text_table_holds():
    entries = [ENTRY, {**ENTRY, "name": "A2", "worst_passage": None, "mass_g": 1.25}]
    parts = book(*entries)["parts"]
    rows = list(csv.DictReader(io.StringIO(as_csv({"parts": entries}))))
    names = [cell.value for cell in parts[1]]
    assert names == [name for name in COLUMNS if name != "seconds"]
    for line, row in zip(parts.iter_rows(min_row=2, values_only=True), rows, strict=True):
        said = dict(zip(names, line, strict=True))
        assert {name: "" if value is None else str(value) for name, value in said.items()} == {
            name: row[name].removesuffix(".0") for name in names
        }
        assert said["y_mm"] == 3.0


def test_the_workbook_says_what_its_columns_are():
    told = list(book(ENTRY)["columns"].iter_rows(values_only=True))
    assert told[0] == ("column", "unit", "meaning")
    assert [row[0] for row in told[1:]] == [name for name in COLUMNS if name != "seconds"]
    assert all(row[2] for row in told)


def test_the_same_plate_gives_the_same_bytes(monkeypatch):
    one = as_xlsx({"plate": "p", "parts": [ENTRY]})
    monkeypatch.setattr(time, "time", lambda: 2e9)
    assert as_xlsx({"plate": "p", "parts": [ENTRY]}) == one
    assert as_xlsx({"plate": "p", "parts": [{**ENTRY, "seconds": 3.0}]}) == one


def test_what_a_cell_cannot_hold_is_said_to_go_on():
    long = book({**ENTRY, "reasons": ["x" * 40_000]})["parts"]
    (cell,) = [cell.value for cell in long[2] if str(cell.value).startswith("xx")]
    assert len(cell) == 32_767
    assert cell.endswith(GOES_ON)


def test_our_workbook_is_told_from_others(tmp_path):
    ours, theirs, torn = (tmp_path / name for name in ("ours.xlsx", "theirs.xlsx", "torn.xlsx"))
    ours.write_bytes(as_xlsx({"plate": "p", "parts": [ENTRY]}))
    openpyxl.Workbook().save(theirs)
    torn.write_bytes(ours.read_bytes()[:100])
    found = [is_foreign(path) for path in (ours, theirs, torn, tmp_path / "none.xlsx")]
    assert found == [False, True, False, False]
    # Somebody who has opened it and saved it again has our table still.
    openpyxl.load_workbook(ours).save(ours)
    assert not is_foreign(ours)
