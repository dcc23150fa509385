"""Pages of a PDF as a test looks at them: words with their places, fonts, pictures.

Lengths in points, from the top left corner.
"""

from __future__ import annotations

import io
from dataclasses import dataclass
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
import pypdf
import pypdfium2
from pypdfium2.raw import FPDF_PAGEOBJ_TEXT


class Span(NamedTuple):
    """A piece of text, the box of its letters (left, top, right, bottom), and their size."""

    text: str
    box: tuple[float, float, float, float]
    size: float


@dataclass(frozen=True)
class Page:
    """One page; `number` counts from 1."""

    number: int
    width: float
    height: float
    text: str
    spans: tuple[Span, ...]
    fonts: frozenset[str]
    data: bytes

    def words(self) -> str:
        """Return its text on one line."""
        return " ".join(self.text.split())

    def picture(self, dpi: float) -> Any:
        """Return brightness (H, W), 0 to 255."""
        page = pypdfium2.PdfDocument(self.data)[self.number - 1]
        return np.asarray(page.render(scale=dpi / 72.0).to_pil().convert("L"))


def pages(file: Path | bytes) -> list[Page]:
    data = file if isinstance(file, bytes) else file.read_bytes()
    fonts = [_fonts(page) for page in pypdf.PdfReader(io.BytesIO(data)).pages]
    document = pypdfium2.PdfDocument(data)
    return [_page(n, page, fonts[n - 1], data) for n, page in enumerate(document, 1)]


def _page(number: int, page: Any, fonts: frozenset[str], data: bytes) -> Page:
    width, height = page.get_size()
    words = page.get_textpage()
    spans: list[Span] = []
    for one in page.get_objects(filter=[FPDF_PAGEOBJ_TEXT], textpage=words):
        left, low, right, high = one.get_bounds()
        box = left, height - high, right, height - low
        _add(spans, Span(one.extract(), box, one.get_font_size()))
    spans = [Span(s.text.strip(), s.box, s.size) for s in spans if s.text.strip()]
    text = words.get_text_range().replace("\r\n", "\n").replace("\ufffe", "-")
    return Page(number, width, height, text, tuple(spans), fonts, data)


def _add(spans: list[Span], new: Span) -> None:
    """Ligatures and letters of another font are objects of their own: they go on in the word."""
    if spans:
        last = spans[-1]
        (x0, top, x1, foot), (left, high, right, low) = last.box, new.box
        beside = abs(left - x1) < 0.25 * new.size and top < 0.5 * (high + low) < foot
        if beside and last.size == new.size:
            box = x0, min(top, high), right, max(foot, low)
            spans[-1] = Span(last.text + new.text, box, new.size)
            return
    spans.append(new)


def _fonts(page: Any) -> frozenset[str]:
    """Kinds of its fonts: Type0 over FontFile2 is an embedded TrueType font."""
    found = set()
    for font in page["/Resources"].get("/Font", {}).values():
        font = font.get_object()
        inner = font["/DescendantFonts"][0].get_object() if "/DescendantFonts" in font else font
        file = "embedded" if "/FontFile2" in inner.get("/FontDescriptor", {}) else "not embedded"
        found.add(f"{font['/Subtype'].removeprefix('/')} {file}")
    return frozenset(found)


def streams(file: Path) -> list[bytes]:
    """Decoded streams of all objects, those with them that no page shows."""
    reader = pypdf.PdfReader(file)
    found = [reader.get_object(n) for n in range(1, reader.trailer["/Size"])]
    return [one.get_data() for one in found if isinstance(one, pypdf.generic.StreamObject)]
