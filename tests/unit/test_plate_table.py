"""The plate's table for spreadsheets: a row a part, and no text that would be run as a formula."""

import csv
import io

import pytest

from clearance.plates.run import COLUMNS, as_cell, as_csv

ENTRY = {
    "name": "A1",
    "case": "a.toml",
    "at_mm": [-5.0, 3.0],
    "turn_deg": 0.0,
    "recommendation": "rework",
    "exit_status": 3,
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
