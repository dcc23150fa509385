"""Whose sheet it is: equal parts of a plate share a sheet, and each gets its own identity on it.

In: the bytes of a sheet on which room was left for it, and a `Label`. Out: the same sheet with
name, serial, plate and position on its first page, and name and serial at the foot of every
page. A sheet that bears a label already gets the new one in its place. The same input gives
the same bytes.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from typing import Any

import matplotlib as mpl
from matplotlib.figure import Figure

from clearance.figures import style
from clearance.figures.files import pdf_bytes
from clearance.figures.first_page import PLATE_IN
from clearance.figures.paper import BODY_PT, FOOT_IN, LEADING, MARGIN_IN, THIN_PT, Page, wrapped
from clearance.plates.members import Label

MARK = "/ClearanceLabel"
KEY_IN, LEFT_SHARE = 0.72, 0.58
SIZES_PT = (style.TEXT_PT, BODY_PT)
SMALLER_PT = (BODY_PT, 7.0, 6.0, 5.0)
"""The first at which a label fits: it is never shortened. Where it is too long for its table it
becomes a paragraph; only one that would fill that too has smaller letters."""
FOOTER_IN = 0.27
"""Where the first line at the foot of a page stands: below the sheet's own."""
POINTS = 72.0


def stamped(sheet: bytes, label: Label) -> bytes:
    """The sheet with a label on it.

    Parameters
    ----------
    sheet : bytes
        PDF of `first_page.report` for a part of a plate, with or without a label.
    """
    from pypdf import PdfReader, PdfWriter

    writer = PdfWriter(clone_from=PdfReader(io.BytesIO(sheet)))
    box = writer.pages[0].mediabox
    size = float(box.width) / POINTS, float(box.height) / POINTS
    marks = PdfReader(io.BytesIO(_marks(label, size))).pages
    for number, page in enumerate(writer.pages):
        _put(writer, page, marks[min(number, 1)], f"{MARK}{number}")
    file = io.BytesIO()
    writer.write(file)
    return file.getvalue()


def _put(writer: Any, page: Any, mark: Any, name: str) -> None:
    """Lay a page over another one, in the place of what has the same name there."""
    from pypdf.generic import ArrayObject, DecodedStreamObject, NameObject

    form = DecodedStreamObject()
    form.set_data(mark.get_contents().get_data())
    form[NameObject("/Type")] = NameObject("/XObject")
    form[NameObject("/Subtype")] = NameObject("/Form")
    form[NameObject("/BBox")] = mark.mediabox.clone(writer)
    form[NameObject("/Resources")] = mark["/Resources"].clone(writer)
    known = page["/Resources"]["/XObject"]
    if name in known:
        writer._replace_object(known.raw_get(name), form.flate_encode())
        return
    known[NameObject(name)] = writer._add_object(form.flate_encode())
    # What the sheet leaves set at its end, an opacity for one, must not reach the label.
    begin, call = DecodedStreamObject(), DecodedStreamObject()
    begin.set_data(b"q")
    call.set_data(f"Q q {name} Do Q".encode())
    around = [begin, page.raw_get("/Contents"), call]
    page[NameObject("/Contents")] = ArrayObject(
        [one if one is around[1] else writer._add_object(one) for one in around]
    )


# ---- what is laid over -----------------------------------------------------------------------


def _marks(label: Label, size_in: tuple[float, float]) -> bytes:
    """Two pages without anything but the label: for the first page, and for all others."""
    with mpl.rc_context(style.SETTINGS):
        pages = [_first(label, size_in), _other(label, size_in)]
        for page in pages:
            page.patch.set_visible(False)  # else it would hide the sheet
        return pdf_bytes(pages)


def _first(label: Label, size_in: tuple[float, float]) -> Figure:
    page = Page(size_in)
    wide, room = page.width - 2.0 * MARGIN_IN, PLATE_IN - 0.04
    left = LEFT_SHARE * wide
    x, y = label.at
    rows = (
        (("plate part", label.name), ("serial", label.serial or "not given")),
        (("plate", label.plate), ("position", f"x {x:g}, y {y:g} mm, turned {label.turn:g}°")),
    )
    for size in SIZES_PT:
        lines = [_cells(row, (left, wide - left), size) for row in rows]
        if sum(_high(row) for row in lines) * size * LEADING <= room:
            break
    else:
        _paragraph(page, "; ".join(f"{key} {value}" for row in rows for key, value in row), room)
        lines = []
    top = page.height - MARGIN_IN
    for row, words in zip(rows, lines, strict=False):
        for at, (key, _), cell in zip((0.0, left), row, words, strict=True):
            for n, line in enumerate(cell):
                foot = top - (n + 0.8) * size * LEADING
                if n == 0:
                    page.text(MARGIN_IN + at, foot, key, BODY_PT)
                page.text(MARGIN_IN + at + KEY_IN, foot, line, size, fontweight="bold")
        top -= _high(words) * size * LEADING
    foot = page.height - MARGIN_IN - PLATE_IN + 0.02
    page.line(MARGIN_IN, foot, MARGIN_IN + wide, foot, THIN_PT)
    _footer(page, label)
    return page.figure


def _paragraph(page: Page, words: str, room_in: float) -> None:
    """All of a label across the page, as large as there is room for."""
    wide = page.width - 2.0 * MARGIN_IN
    for size in SMALLER_PT:
        lines = wrapped(words, wide, size, True)
        if len(lines) * size * LEADING <= room_in:
            break
    for n, line in enumerate(lines):
        foot = page.height - MARGIN_IN - (n + 0.8) * size * LEADING
        page.text(MARGIN_IN, foot, line, size, fontweight="bold")


def _cells(
    row: Sequence[tuple[str, str]], widths: Sequence[float], size_pt: float
) -> list[list[str]]:
    return [
        wrapped(value, width - KEY_IN - 0.08, size_pt, True)
        for (_, value), width in zip(row, widths, strict=True)
    ]


def _high(cells: Sequence[Sequence[str]]) -> int:
    return max(len(cell) for cell in cells)


def _other(label: Label, size_in: tuple[float, float]) -> Figure:
    page = Page(size_in)
    _footer(page, label)
    return page.figure


def _footer(page: Page, label: Label) -> None:
    serial = f", serial {label.serial}" if label.serial else ""
    words = f"{label.name}{serial}"
    step, room = BODY_PT * LEADING, page.width - 2.0 * MARGIN_IN
    lines = wrapped(f"{words}; plate {label.plate}", room, BODY_PT)
    if len(lines) > 1:  # then the plate stands on the first page alone
        lines = wrapped(words, room, BODY_PT)
    for n, line in enumerate(lines):
        page.text(MARGIN_IN, min(FOOTER_IN, FOOT_IN) - n * step, line)
