"""Figures as files: the same figure gives the same bytes.

In: Matplotlib figures. Out: PNG, PDF or SVG.
"""

from __future__ import annotations

import io
import re
import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import matplotlib as mpl
from matplotlib.figure import Figure
from matplotlib.text import Text

from clearance.errors import ClearanceError
from clearance.figures import style
from clearance.system.files import write_whole


def write(figure: Figure, path: Path) -> None:
    """Write a figure whole, as its file name says."""
    write_whole(path, as_bytes(figure, style.figure_kind(path)))


def write_pages(figures: Sequence[Figure], path: Path) -> None:
    """Write several figures whole: pages of a PDF, or one figure of another kind.

    Raises
    ------
    ClearanceError
        Several figures, and a file of a kind that holds one.
    """
    if len(figures) == 1:
        write(figures[0], path)
        return
    if style.figure_kind(path) != ".pdf":
        raise ClearanceError(f"{path}: {len(figures)} pages need a file that ends in .pdf")
    write_whole(path, pdf_bytes(figures))


@dataclass(frozen=True)
class Bookmark:
    """A line of a PDF's outline: its words, and the page that it leads to, from 0."""

    title: str
    page: int


def pdf_bytes(
    figures: Sequence[Figure], title: str = "", bookmarks: Sequence[Bookmark] = ()
) -> bytes:
    """Bytes of a PDF with a page for each figure; the same each time.

    With a title it has that, its language and the bookmarks.
    """
    from matplotlib.backends.backend_pdf import PdfPages

    file = io.BytesIO()
    with mpl.rc_context(style.SETTINGS), _plain_fonts(), warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph .* missing from")
        with PdfPages(file, metadata={"CreationDate": None}) as pages:
            for figure in figures:
                _with_exponents(figure)
                pages.savefig(figure)
    return _described(file, title, bookmarks) if title else file.getvalue()


def _described(file: io.BytesIO, title: str, bookmarks: Sequence[Bookmark]) -> bytes:
    """A PDF with what readers, search and screen readers ask for (ISO 32000-1, 12.3.3, 14.9.2)."""
    from pypdf import PdfReader, PdfWriter
    from pypdf.generic import BooleanObject, NameObject, TextStringObject

    writer = PdfWriter(clone_from=PdfReader(file))
    writer.root_object[NameObject("/Lang")] = TextStringObject(LANGUAGE)
    writer.add_metadata({"/Title": title})
    shown = writer.create_viewer_preferences()
    shown[NameObject("/DisplayDocTitle")] = BooleanObject(True)
    for mark in bookmarks:
        writer.add_outline_item(title=mark.title, page_number=mark.page)
    if bookmarks:
        writer.page_mode = "/UseOutlines"
    out = io.BytesIO()
    writer.write(out)
    return out.getvalue()


LANGUAGE = "en"


def _with_exponents(figure: Figure) -> None:
    """Write areas, volumes and moments as paper does, ``mm²`` for ``mm2``.

    Words of the program are plain letters, for terminals, JSON and tables; here alone they become
    paper's. They only get narrower, so that what was laid out still fits.
    """
    for words in figure.findobj(Text):
        said = words.get_text()
        if (now := with_exponents(said)) != said:
            words.set_text(now)


def with_exponents(said: str) -> str:
    """Words with areas, volumes and moments as paper has them: ``mm²`` for ``mm2``."""
    return _POWER.sub(lambda found: found[0].translate(EXPONENTS), said)


EXPONENTS = str.maketrans("234", "²³⁴")
_POWER = re.compile(r"\b[cm]?m[234]\b")


@contextmanager
def _plain_fonts() -> Iterator[None]:
    """Cut fonts for a PDF without their tables for ligatures, which no reader looks at there.

    To read them takes most of the time that a PDF takes; a version of the library that does not
    know the setting only takes that time.
    """
    from fontTools.subset import Options

    known = getattr(Options, "_drop_tables_default", None)
    if known is not None:
        Options._drop_tables_default = [*known, "GSUB", "GPOS", "GDEF"]
    try:
        yield
    finally:
        if known is not None:
            Options._drop_tables_default = known


def as_bytes(figure: Figure, kind: str) -> bytes:
    """Bytes of a figure; the same each time."""
    metadata: dict[str, dict[str, Any]] = {
        ".png": {"Software": None},
        ".pdf": {"CreationDate": None},
        ".svg": {"Date": None},
    }
    file = io.BytesIO()
    with mpl.rc_context(style.SETTINGS), _plain_fonts(), warnings.catch_warnings():
        # A letter that the font has not is drawn as a box; that is no fault of the user's.
        warnings.filterwarnings("ignore", message="Glyph .* missing from")
        _with_exponents(figure)
        figure.savefig(file, format=kind[1:], metadata=metadata[kind])
    return file.getvalue()
