"""Pages of paper: text that is measured, tables and figures that flow from page to page.

In: words, sizes in inches. Out: Matplotlib figures, one a page. What stands on them is
decided elsewhere. Text is wrapped by the widths of its letters, so that nothing runs out of
its place whatever the names are.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType
from typing import Any

from matplotlib.figure import Figure
from matplotlib.font_manager import FontProperties, findfont
from matplotlib.ft2font import FT2Font
from matplotlib.lines import Line2D

from clearance.figures import style
from clearance.figures.files import Bookmark

PAPERS = {"a4": (8.27, 11.69), "letter": (8.5, 11.0)}
"""Width and height, inches."""
MARGIN_IN, FOOT_IN = 0.5, 0.62
"""Empty border; at the foot there is a line of text in it."""
LEADING = 1.36 / 72.0
"""Height of a line for each point of its letters, inches."""
TIED = "\u00a0"
PAD_IN = 0.035
"""Air in a cell of a table."""
BODY_PT = style.SMALLEST_PT
"""Letters of all that is no title: nothing is smaller."""
MOST_LINES = 30
"""Lines of a row at most: longer ones go on in a row of their own, which fits on a page."""
THIN_PT, RULE_PT = 0.4, 0.9


# ---- letters ---------------------------------------------------------------------------------


@lru_cache(maxsize=4)
def _face(bold: bool) -> FT2Font:
    weight = "bold" if bold else "normal"
    font = FT2Font(findfont(FontProperties(family=style.SETTINGS["font.family"], weight=weight)))
    font.set_size(100.0, 72)
    return font


@lru_cache(maxsize=10_000)
def _advance(letter: str, bold: bool) -> float:
    """Width of a letter in points, of a size of one point."""
    glyph = _face(bold).load_char(ord(letter))
    return float(glyph.linearHoriAdvance) / 65536.0 / 100.0


def width_in(text: str, size_pt: float, bold: bool = False) -> float:
    """Width of a line of text, inches."""
    return sum(_advance(letter, bold) for letter in text) * size_pt / 72.0


@lru_cache(maxsize=10_000)
def legible(text: str) -> str:
    """The same text; a letter that the font does not have is named by its number.

    A box in its place would look the same for every name.
    """
    text = unicodedata.normalize("NFC", text)
    known = _face(False)
    return "".join(
        letter
        if letter.isspace() or (letter.isprintable() and known.get_char_index(ord(letter)))
        else f"[U+{ord(letter):04X}]"
        for letter in text
    )


def wrapped(text: str, room_in: float, size_pt: float, bold: bool = False) -> list[str]:
    """Lines no wider than a room; words that are wider are broken."""
    lines: list[str] = []
    for paragraph in legible(text).split("\n"):
        line = ""
        for word in _words(paragraph):
            longer = f"{line} {word}" if line else word
            if width_in(longer, size_pt, bold) <= room_in:
                line = longer
                continue
            if line:
                lines.append(line)
            *full, line = _broken(word, room_in, size_pt, bold)
            lines += full
        lines.append(line)
    return lines


def _words(text: str) -> list[str]:
    """Words; a hard space (`TIED`) keeps a number with its unit."""
    return [word for word in re.split(r"[ \t\n]+", text) if word]


def tied(text: str) -> str:
    """The same text, not to be broken over lines."""
    return text.replace(" ", TIED)


def _broken(word: str, room_in: float, size_pt: float, bold: bool) -> list[str]:
    """Pieces of a word that fit, at least a letter each."""
    pieces, piece = [], ""
    for letter in word:
        if piece and width_in(piece + letter, size_pt, bold) > room_in:
            pieces.append(piece)
            piece = ""
        piece += letter
    return [*pieces, piece]


def shortened(text: str, room_in: float, size_pt: float, bold: bool = False) -> str:
    """Head and tail of a text that is too wide: names often differ in their last letters."""
    text = " ".join(legible(text).split())
    if width_in(text, size_pt, bold) <= room_in:
        return text
    keep = len(text)
    while keep > 2 and width_in(_ends(text, keep), size_pt, bold) > room_in:
        keep -= 1
    return _ends(text, keep)


def _ends(text: str, keep: int) -> str:
    tail = keep // 3
    return f"{text[: keep - tail]}…{text[len(text) - tail :] if tail else ''}"


# ---- a page ----------------------------------------------------------------------------------


class Page:
    """A sheet of paper on which things are put at places in inches from its lower left."""

    def __init__(self, size_in: tuple[float, float]):
        self.width, self.height = size_in
        self.figure = Figure(figsize=size_in)

    def text(self, x: float, y: float, words: str, size_pt: float = BODY_PT, **how: Any) -> None:
        """Put a line of text with its foot at y."""
        how.setdefault("color", style.INK)
        self.figure.text(
            x / self.width, y / self.height, words, fontsize=size_pt, va="baseline", **how
        )

    def line(self, x0: float, y0: float, x1: float, y1: float, width_pt: float = THIN_PT) -> None:
        """Draw a straight line."""
        xs, ys = (x0 / self.width, x1 / self.width), (y0 / self.height, y1 / self.height)
        self.figure.add_artist(
            Line2D(xs, ys, color=style.INK, linewidth=width_pt, solid_capstyle="butt")
        )

    def box(self, x: float, y: float, width: float, height: float, width_pt: float) -> None:
        """Draw the outline of a rectangle, x and y its lower left corner."""
        self.line(x, y, x + width, y, width_pt)
        self.line(x, y + height, x + width, y + height, width_pt)
        self.line(x, y, x, y + height, width_pt)
        self.line(x + width, y, x + width, y + height, width_pt)


@dataclass(frozen=True)
class Strip:
    """Something as wide as the page: its height, and how it is drawn from its top down."""

    height: float
    draw: Callable[[Page, float], None]


@dataclass(frozen=True)
class Block:
    """Strips under a title; the head stands above them on every page.

    A block without a title has a name, under which it goes on on the next page.
    """

    title: str
    strips: tuple[Strip, ...]
    head: Strip | None = None
    name: str = ""

    @property
    def height(self) -> float:
        """Height of the whole block on one page."""
        return self.above + sum(strip.height for strip in self.strips)

    @property
    def above(self) -> float:
        """Height of title and head."""
        title = HEADING_IN if self.title else 0.0
        return title + (self.head.height if self.head else 0.0)

    def split(self, room_in: float) -> tuple[Block, Block | None]:
        """As much as a room holds, and what is left over."""
        left, count = room_in - self.above, 0
        for strip in self.strips:
            left -= strip.height
            if left < -1e-9:
                break
            count += 1
        if count == len(self.strips):
            return self, None
        rest = Block(_continued(self.title or self.name), self.strips[count:], self.head)
        return Block(self.title, self.strips[:count], self.head, self.name), rest

    def least(self, strips: int) -> float:
        """Height with the first few strips only."""
        return self.above + sum(strip.height for strip in self.strips[:strips])


def gap(block: Block) -> float:
    """Air below a block: less where it has no title."""
    return 0.1 if block.title else 0.05


def _continued(title: str) -> str:
    return title if title.endswith("(continued)") else f"{title} (continued)"


HEADING_IN = 0.22


def heading(title: str) -> Strip:
    """A block's title over a rule."""

    def draw(page: Page, top: float) -> None:
        room = page.width - 2.0 * MARGIN_IN
        words = shortened(title, room, style.TEXT_PT, bold=True)
        page.text(MARGIN_IN, top - 0.15, words, style.TEXT_PT, fontweight="bold")
        page.line(MARGIN_IN, top - 0.185, MARGIN_IN + room, top - 0.185, THIN_PT)

    return Strip(HEADING_IN, draw)


def text_strips(
    text: str,
    room_in: float,
    size_pt: float = BODY_PT,
    bold: bool = False,
    mark: str = "",
    indent: float = 0.0,
) -> list[Strip]:
    """A paragraph as strips of one line each, a mark before its first line."""
    weight = "bold" if bold else "normal"

    def strip(line: str, first: bool) -> Strip:
        def draw(page: Page, top: float) -> None:
            foot = top - size_pt * LEADING * 0.8
            if first and mark:
                page.text(MARGIN_IN, foot, mark, size_pt, fontweight=weight)
            page.text(MARGIN_IN + indent, foot, line, size_pt, fontweight=weight)

        return Strip(size_pt * LEADING, draw)

    lines = wrapped(text, room_in - indent, size_pt, bold)
    return [strip(line, n == 0) for n, line in enumerate(lines)]


def listing(items: Sequence[str], room_in: float, numbered: bool = False) -> tuple[Strip, ...]:
    """Items one under the other, each with a dash or its number."""
    strips: list[Strip] = []
    for n, item in enumerate(items, 1):
        mark = f"{n}." if numbered else "–"
        strips += whole_item(text_strips(item, room_in, mark=mark, indent=0.22))
    return tuple(strips)


def whole_item(lines: Sequence[Strip]) -> list[Strip]:
    """Lines of an item as one strip, so that no page ends within it; a long one as it is."""
    if len(lines) > MOST_LINES:
        return list(lines)

    def draw(page: Page, top: float) -> None:
        for line in lines:
            line.draw(page, top)
            top -= line.height

    return [Strip(sum(line.height for line in lines), draw)]


# ---- tables ----------------------------------------------------------------------------------


def table_row(cells: Sequence[str], widths_in: Sequence[float], bold: bool = False) -> list[Strip]:
    """A ruled row of a table; cells are wrapped, an empty one stays empty to be written in.

    Nothing of a cell is left out: what is longer than a row may be goes on in one more.
    """
    lines = [
        wrapped(cell, width - 2.0 * PAD_IN, BODY_PT, bold)
        for cell, width in zip(cells, widths_in, strict=True)
    ]
    count = max(len(one) for one in lines)
    return [
        _row([one[n : n + MOST_LINES] for one in lines], widths_in, bold)
        for n in range(0, count, MOST_LINES)
    ]


def _row(lines: Sequence[Sequence[str]], widths_in: Sequence[float], bold: bool) -> Strip:
    height = max(len(one) for one in lines) * BODY_PT * LEADING + 2.0 * PAD_IN
    weight = "bold" if bold else "normal"

    def draw(page: Page, top: float) -> None:
        x = MARGIN_IN
        for column, width in zip(lines, widths_in, strict=True):
            for n, line in enumerate(column):
                foot = top - PAD_IN - (n + 0.8) * BODY_PT * LEADING
                page.text(x + PAD_IN, foot, line, fontweight=weight)
            page.line(x, top, x, top - height)
            x += width
        page.line(x, top, x, top - height)
        for y in (top, top - height):
            page.line(MARGIN_IN, y, x, y)

    return Strip(height, draw)


def table(
    title: str,
    head: Sequence[str],
    rows: Sequence[Sequence[str]],
    widths_in: Sequence[float],
) -> Block:
    """A table whose head is repeated on every page."""
    strips = tuple(strip for row in rows for strip in table_row(row, widths_in))
    return Block(title, strips, table_row(head, widths_in, bold=True)[0])


def column_widths(
    head: Sequence[str],
    rows: Sequence[Sequence[str]],
    wide: float,
    least: Mapping[int, float] = MappingProxyType({}),
) -> list[float]:
    """Widths at which no word is broken, if there is room, and the table is low.

    What is left over goes, share by share, where it takes away the most lines.

    Parameters
    ----------
    head, rows : sequences of str
    wide : float, inches
        Of all columns together.
    least : mapping of int to float, inches
        Columns that keep some width whatever stands in them.
    """
    columns = [[(title, True), *((row[n], False) for row in rows)] for n, title in enumerate(head)]
    widths = [max(least.get(n, 0.0), _longest_word(cells)) for n, cells in enumerate(columns)]
    spare = wide - sum(widths)
    if spare < 0.0:  # then the longest words are broken
        return [wide * width / sum(widths) for width in widths]
    share = spare / SHARES
    lines = [_lines(cells, width) for cells, width in zip(columns, widths, strict=True)]
    left = SHARES
    while left:
        best, count, column = 0.0, left, -1
        for n, cells in enumerate(columns):
            for more in range(1, left + 1):
                then = [*lines[:n], _lines(cells, widths[n] + more * share), *lines[n + 1 :]]
                gain = (_rows_high(lines) - _rows_high(then)) / more
                if gain > best + 1e-9:
                    best, count, column = gain, more, n
        if column < 0:
            break
        widths[column] += count * share
        lines[column] = _lines(columns[column], widths[column])
        left -= count
    return [width + left * share / len(widths) for width in widths]


SHARES = 16
"""Shares in which the width is given away that no word needs."""

Cells = Sequence[tuple[str, bool]]
"""Texts of a column, and whether each is bold."""


def _longest_word(cells: Cells) -> float:
    """Width of a column that breaks none of its words."""
    widths = (
        width_in(legible(word), BODY_PT, bold) for text, bold in cells for word in _words(text)
    )
    return max(widths, default=0.0) + 2.0 * PAD_IN + 0.01


def _lines(cells: Cells, width: float) -> list[int]:
    """Lines of each cell of a column."""
    return [len(wrapped(text, width - 2.0 * PAD_IN, BODY_PT, bold)) for text, bold in cells]


def _rows_high(columns: Sequence[Sequence[int]]) -> int:
    """Lines of all rows together."""
    return sum(map(max, zip(*columns, strict=True)))


# ---- pages that follow each other --------------------------------------------------------------


class Flow:
    """Puts blocks one under the other, and goes on on a new page where there is no room."""

    def __init__(self, size_in: tuple[float, float], header: str):
        self.size, self.header = size_in, header
        self.pages: list[Page] = []
        self.marks: list[Bookmark] = []
        self.top = 0.0

    @property
    def room(self) -> float:
        """Height that is left on this page."""
        return self.top - FOOT_IN

    @property
    def wide(self) -> float:
        """Width between the margins."""
        return self.size[0] - 2.0 * MARGIN_IN

    def new_page(self, mark: str = "") -> Page:
        """Begin a page, with a bookmark where it has a name."""
        page = Page(self.size)
        if mark:
            self.marks.append(Bookmark(mark, len(self.pages)))
        self.pages.append(page)
        self.top = self.size[1] - MARGIN_IN
        if len(self.pages) > 1:
            lines = wrapped(self.header, self.wide, BODY_PT)
            step = BODY_PT * LEADING
            self.top -= max(len(lines) - 2, 0) * step
            for n, line in enumerate(lines):
                first = 0.38 if len(lines) == 1 else 0.38 - step
                page.text(MARGIN_IN, self.size[1] - first - n * step, line)
        return page

    def put(self, strip: Strip) -> None:
        """Draw a strip here; there must be room."""
        strip.draw(self.pages[-1], self.top)
        self.top -= strip.height

    def space(self, height: float) -> None:
        """Leave air."""
        self.top -= height

    def add(self, block: Block) -> None:
        """Put a block, over as many pages as it needs."""
        rest: Block | None = block
        while rest is not None:
            first = rest.strips[0].height if rest.strips else 0.0
            if not self.pages or self.room < rest.above + first:
                self.new_page()
            now, rest = rest.split(max(self.room, rest.above + first))  # no page holds more
            self.put_whole(now)

    def put_whole(self, block: Block) -> None:
        """Put a block for which there is room."""
        if block.title:
            self.put(heading(block.title))
        if block.head is not None:
            self.put(block.head)
        for strip in block.strips:
            self.put(strip)
        self.space(gap(block))

    def add_figure(self, height: float, draw: Callable[[Page, float], None]) -> None:
        """Draw something of a height, from its top down, on this page or a new one."""
        if not self.pages or self.room < height:
            self.new_page()
        self.put(Strip(height, draw))

    def numbered(self, footer: str) -> list[Figure]:
        """All pages, each with the footer and its number."""
        count = len(self.pages)
        for n, page in enumerate(self.pages, 1):
            said = f"page {n} of {count}"
            room = self.wide - width_in(said, BODY_PT) - 0.2
            page.line(MARGIN_IN, 0.54, MARGIN_IN + self.wide, 0.54)
            page.text(MARGIN_IN, 0.4, shortened(footer, room, BODY_PT))
            page.text(MARGIN_IN + self.wide, 0.4, said, ha="right")
        return [page.figure for page in self.pages]
