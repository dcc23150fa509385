"""The table of a plate for spreadsheets: plate.csv and plate.xlsx, a row a part.

In: what is known of the plate. Out: the text of the one and the bytes of the other; the same
input gives the same bytes. A text that begins like a formula is one in neither of them.
"""

from __future__ import annotations

import contextlib
import csv
import datetime
import io
import zipfile
from pathlib import Path
from typing import Any

from clearance.result import PROGRAM
from clearance.result.plate import PlatePart, PlateSummary

COLUMNS = {
    "name": ("", "name of the part on the plate"),
    "case": ("", "its case file, from the plate file's folder"),
    "recommendation": (
        "",
        "of its result; error, no verdict, undetermined or coupon where there is none",
    ),
    "exit_status": ("", "of this part alone, as `clearance check` ends"),
    "worst_passage": ("", "its passage in the gravest state, of several the narrowest"),
    "state": ("", "state of that passage"),
    "clear_low_mm": ("mm", "low end of its clear diameter"),
    "clear_high_mm": ("mm", "high end of its clear diameter"),
    "required_mm": ("mm", "clear diameter that its case asks for"),
    "x_mm": ("mm", "x of the mesh's origin on the platform"),
    "y_mm": ("mm", "y of the mesh's origin on the platform"),
    "turn_deg": ("deg", "turn of the part about +Z, counter-clockwise"),
    "height_mm": ("mm", "height of the predicted part"),
    "height_at_event_mm": ("mm", "how much of it stood at the last stop"),
    "metal_mm3": ("mm3", "metal of the predicted part, from the columns"),
    "metal_at_event_mm3": ("mm3", "how much of it stood at the last stop"),
    "mass_g": ("g", "mass of the predicted part, where the case gives a density"),
    "mass_at_event_g": ("g", "how much of it stood at the last stop"),
    "reasons": ("", "of the recommendation, parted by a stroke; what is wrong with a bad case"),
    "result": ("", "its result file, from the plate's folder"),
    "serial": ("", "its serial number, if it is known"),
    "finding": ("", "one reason; of a bad case what is wrong; of a coupon where its joint lies"),
    "next_step": ("", "what comes next, in a few words"),
    "coupon": ("", "yes: the plate file calls it a test piece"),
    "crossed_mm": ("mm", "heights of the event above which it goes on, parted by a blank"),
    "seconds": (
        "s",
        "time of its computation, the only column that differs between two runs; not in plate.xlsx",
    ),
}
"""Columns, with unit and meaning for docs/result.md."""

Cell = str | float | int | None


def _row(entry: PlatePart) -> dict[str, Cell]:
    """Cells of a part, by column; None where nothing is known."""
    worst: Any = entry["worst_passage"] or {}
    known: dict[str, Any] = {
        **entry,
        **worst,
        "name": entry["name"],
        "worst_passage": worst.get("name"),
        "x_mm": entry["at_mm"][0],
        "y_mm": entry["at_mm"][1],
        "reasons": " | ".join(entry["reasons"]),
        "coupon": "yes" if entry["coupon"] else None,
        "crossed_mm": " ".join(f"{height:g}" for height in entry["crossed_mm"] or ()) or None,
    }
    return {name: known.get(name) for name in COLUMNS}


# ---- plate.csv -------------------------------------------------------------------------------


def as_cell(value: Cell) -> Cell:
    """A value as a spreadsheet shows it: a text that would be run gets an apostrophe."""
    return f"'{value}" if isinstance(value, str) and value[:1] in RUN else value


RUN = ("=", "+", "-", "@", "\t", "\r")
"""A spreadsheet takes a text that begins so for a formula."""


def as_csv(data: PlateSummary) -> str:
    """Table of a plate, a row a part; empty where nothing is known."""
    file = io.StringIO()
    table = csv.writer(file, lineterminator="\r\n")
    table.writerow(COLUMNS)
    for entry in data["parts"]:
        table.writerow([as_cell(value) for value in _row(entry).values()])
    return file.getvalue()


# ---- plate.xlsx ------------------------------------------------------------------------------

LONGEST_CELL = 32_767
"""Letters of a cell at most, of a workbook (common practice, no source)."""
GOES_ON = " ... (whole in plate.json)"
WIDE = {
    "name": 18,
    "case": 30,
    "worst_passage": 18,
    "recommendation": 16,
    "reasons": 80,
    "finding": 50,
    "next_step": 40,
}
"""Widths of columns, in letters; of those that are not named, of their head."""
MARK = "written by"


def as_xlsx(data: PlateSummary) -> bytes:
    """The same table as a workbook; a second sheet tells unit and meaning of its columns.

    Texts are stored as texts, numbers as numbers. It bears neither a time nor a user: the same
    plate gives the same bytes.
    """
    import xlsxwriter

    file = io.BytesIO()
    with xlsxwriter.Workbook(file, {"in_memory": True}) as book:
        book.set_properties({"title": f"plate {data['plate']}", "created": EPOCH})
        book.set_custom_property(MARK, PROGRAM)
        head = book.add_format({"bold": True, "bottom": 1})
        plain = book.add_format({"text_wrap": True, "valign": "top"})
        # Marked as a text, it does not become a formula either when somebody edits the cell.
        told = book.add_format({"text_wrap": True, "valign": "top", "quote_prefix": True})
        names = [name for name in COLUMNS if name != "seconds"]
        parts = book.add_worksheet("parts")
        parts.freeze_panes(1, 1)
        parts.autofilter(0, 0, len(data["parts"]), len(names) - 1)
        for column, name in enumerate(names):
            parts.write_string(0, column, name, head)
            parts.set_column(column, column, WIDE.get(name, len(name) + 3))
        for row, entry in enumerate(data["parts"], 1):
            cells = _row(entry)
            for column, name in enumerate(names):
                value = cells[name]
                if isinstance(value, str):
                    if len(value) > LONGEST_CELL:
                        value = value[: LONGEST_CELL - len(GOES_ON)] + GOES_ON
                    parts.write_string(row, column, value, told if value[:1] in RUN else plain)
                elif value is not None:
                    parts.write_number(row, column, value, plain)
        _columns(book, names, head, plain)
    return file.getvalue()


EPOCH = datetime.datetime(1980, 1, 1)
"""Time that stands in the workbook: the earliest of a ZIP entry."""


def _columns(book: Any, names: list[str], head: Any, plain: Any) -> None:
    sheet = book.add_worksheet("columns")
    sheet.set_column(0, 0, 22)
    sheet.set_column(2, 2, 80)
    for row, cells in enumerate(
        [("column", "unit", "meaning"), *((name, *COLUMNS[name]) for name in names)]
    ):
        for column, word in enumerate(cells):
            sheet.write_string(row, column, word, plain if row else head)


def is_foreign(path: Path) -> bool:
    """Whether a file is a workbook that this program has not written, in no version."""
    with contextlib.suppress(OSError, zipfile.BadZipFile), zipfile.ZipFile(path) as book:
        try:
            return f'name="{MARK}"'.encode() not in book.read("docProps/custom.xml")
        except KeyError:
            return True
    return False
