"""The disposition sheet on paper: the first page, a page a passage, and what lies behind.

In: a `Sheet`. Out: the bytes of a PDF; the same each time. Nothing is decided here.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

import matplotlib as mpl
from matplotlib.figure import Figure

from clearance.drawing.level_parts import LevelSection
from clearance.drawing.sheet import BOXES, HOLD, NOT_JUDGED, PassageRow, Sheet
from clearance.drawing.sheet_facts import EVENT_HEADS, Fact
from clearance.figures import style
from clearance.figures.files import pdf_bytes
from clearance.figures.paper import (
    LEADING,
    MARGIN_IN,
    PAPERS,
    RULE_PT,
    THIN_PT,
    Block,
    Flow,
    Page,
    Strip,
    listing,
    table,
    table_row,
    text_strips,
    width_in,
    wrapped,
)
from clearance.figures.passage_page import (
    FINDING_PT,
    GAP_IN,
    ROUNDING_IN,
    Letters,
    add_passage,
    draw_section,
    section_height,
    two_columns,
)

BESIDES_PT = 8.5
LEAST_SECTION_IN, MOST_SECTION_IN = 1.9, 5.0
"""Height of the section on the first page."""
KEY_IN = 0.98
GOES_ON = "… (whole under reasons)"
PLATE_IN = 0.58
"""At the top of the first sheet of a part of a plate: room for its label (`stamp`)."""
POWDER = re.compile(r"\bpowder|\bignite", re.IGNORECASE)
"""Steps of work that have to do with loose powder say so."""
RULES = ("judged", "row", "if", "then")
ORDER, LEAST_ORDER_IN = "order of work", 0.75


def report(sheet: Sheet, paper: str = "a4") -> bytes:
    """All pages of a sheet as PDF; parameters as for `sheet_figures`."""
    return pdf_bytes(sheet_figures(sheet, paper))


def sheet_figures(sheet: Sheet, paper: str = "a4") -> list[Figure]:
    """All pages of a sheet.

    Parameters
    ----------
    sheet : Sheet
    paper : {"a4", "letter"}
    """
    with mpl.rc_context(style.SETTINGS):
        header = "; ".join(f"{key} {value}" for key, value in sheet.identity)
        flow, letters = Flow(PAPERS[paper], f"{header}; {HOLD[1]}"), Letters()
        left_over = _first(flow, sheet, letters)
        if left_over:  # then the page that they need has room for the reasons
            flow.new_page()
        for block in (*left_over, *(_reasons(sheet, flow.wide) if left_over else ())):
            flow.add(block)
        for page in sheet.passages:
            add_passage(flow, page, letters)
        _joints(flow, sheet, letters)
        flow.new_page()
        for block in () if left_over else _reasons(sheet, flow.wide):
            flow.add(block)
        _behind(flow, sheet)
        return flow.numbered(sheet.footer)


# ---- the first page ----------------------------------------------------------------------------


def _first(flow: Flow, sheet: Sheet, letters: Letters) -> list[Block]:
    """Draw the first page; returns what did not fit on it."""
    wide, section = flow.wide, sheet.section
    flow.new_page()
    if sheet.on_plate:
        flow.space(PLATE_IN)
    flow.put(_identity(sheet, wide))
    for strip in _clauses("finding", sheet.finding, wide, FINDING_PT, 2):
        flow.put(strip)
    flow.space(0.04)
    for strip in _besides(sheet.besides, wide):
        flow.put(strip)
    for strip in _clauses("recommendation", sheet.recommendation, wide, FINDING_PT - 1.0, 3):
        flow.put(strip)
    flow.space(0.08)
    last = [_not_judged(wide), _boxes(wide)]
    end = sum(block.height + GAP_IN for block in last)
    blocks = [_rows(sheet.rows, wide), _event(sheet.event, wide), *_orders(sheet, wide)]
    room = flow.room - end - GAP_IN * len(blocks)
    least = 0.0 if section is None else LEAST_SECTION_IN
    placed, left_over = _that_fit(blocks, sheet, room - least, wide)
    if section is not None:
        most = min(room - sum(block.height for block in placed), MOST_SECTION_IN)
        size = section_height(section, wide, most)
        letter = letters.of_level(section)
        flow.put(Strip(size, lambda p, top: draw_section(p, top, size, section, letter)))
    for block in placed:
        flow.put_whole(block)
    flow.space(flow.room - end)
    for block in last:
        flow.put_whole(block)
    return left_over


def _that_fit(
    blocks: Sequence[Block], sheet: Sheet, room: float, wide: float
) -> tuple[list[Block], list[Block]]:
    """What stands on the first page: of each block what leaves a little of those that follow."""
    placed, left_over = [], []
    for n, block in enumerate(blocks):
        kept = sum(_least(other, sheet, wide) for other in blocks[n + 1 :])
        share = room - kept + ROUNDING_IN
        now, rest = _order_split(block, sheet, share, wide)
        if rest is not None:
            now = replace(now, title=f"{now.title} (goes on, page 2)")
            left_over.append(rest)
        placed.append(now)
        room -= now.height
    return placed, left_over


def _least(block: Block, sheet: Sheet, wide: float) -> float:
    """What a block keeps on the first page, whatever comes before it."""
    if block.title != ORDER:
        return block.least(1)
    return min(max(LEAST_ORDER_IN, _steps(sheet, 1, wide).height), block.height)


def _order_split(
    block: Block, sheet: Sheet, room: float, wide: float
) -> tuple[Block, Block | None]:
    """As much as there is room for; the order of work stands in columns and is laid out anew.

    Steps that touch powder stay on the first page, and behind it stand all steps once more.
    """
    if block.title != ORDER or block.height <= room:
        return block.split(room)
    for count in range(len(sheet.order_of_work) - 1, 0, -1):
        now = _steps(sheet, count, wide)
        if now.height <= room or count == 1:
            break
    return now, Block(f"{ORDER} (all of it)", two_columns(_numbered(sheet.order_of_work), wide))


def _steps(sheet: Sheet, count: int, wide: float) -> Block:
    """The first few steps, and of the others those that touch powder."""
    numbered = _numbered(sheet.order_of_work)
    kept = [step for n, step in enumerate(numbered) if n < count or POWDER.search(step[1])]
    return Block(ORDER, two_columns(kept, wide))


def _numbered(steps: Sequence[str]) -> list[tuple[str, str]]:
    return [(f"{n}.", step) for n, step in enumerate(steps, 1)]


def _identity(sheet: Sheet, wide: float) -> Strip:
    """What the part is, and that it is on hold."""
    hold_in = 2.25
    half = 0.5 * (wide - hold_in - 0.2)
    words = [
        (key, wrapped(value, half - 0.95, style.TEXT_PT, True)) for key, value in sheet.identity
    ]
    step = style.TEXT_PT * LEADING
    high = [max(len(value) for _, value in words[n : n + 2]) for n in range(0, len(words), 2)]
    height = max(sum(high) * step, 0.62) + 0.1

    def draw(page: Page, top: float) -> None:
        for n, (key, value) in enumerate(words):
            left = MARGIN_IN + (n % 2) * half
            for m, line in enumerate(value):
                foot = top - (sum(high[: n // 2]) + m + 0.8) * step
                if m == 0:
                    page.text(left, foot, key, style.SMALLEST_PT)
                page.text(left + KEY_IN - 0.1, foot, line, style.TEXT_PT, fontweight="bold")
        left = MARGIN_IN + wide - hold_in
        page.box(left, top - 0.6, hold_in, 0.6, 1.6)
        middle = left + 0.5 * hold_in
        page.text(middle, top - 0.34, HOLD[0], 20.0, ha="center", fontweight="bold")
        page.text(middle, top - 0.52, HOLD[1], ha="center")

    return Strip(height, draw)


def _clauses(
    key: str, clauses: Sequence[str], wide: float, size_pt: float, most: int
) -> list[Strip]:
    """As many clauses as some lines hold, and how many there are besides."""
    room = wide - KEY_IN
    shown = list(clauses)
    while True:
        more = len(clauses) - len(shown)
        words = "; ".join([*shown, *([f"and {more} more"] if more else [])])
        lines = wrapped(words, room, size_pt, True)
        if len(lines) <= most or len(shown) <= 1:
            break
        shown.pop()
    if len(lines) > most:
        kept = lines[most - 1].split()
        while kept and width_in(" ".join([*kept, GOES_ON]), size_pt, True) > room:
            kept.pop()  # whole words: half a number or a name cut short says something else
        lines = [*lines[: most - 1], " ".join([*kept, GOES_ON])]
    step = size_pt * LEADING

    def strip(n: int, line: str) -> Strip:
        def draw(page: Page, top: float) -> None:
            foot = top - 0.8 * step
            if n == 0:
                page.text(MARGIN_IN, foot, key, style.SMALLEST_PT)
            page.text(MARGIN_IN + KEY_IN, foot, line, size_pt, fontweight="bold")

        return Strip(step, draw)

    return [strip(n, line) for n, line in enumerate(lines)]


def _besides(said: Sequence[tuple[str, str]], wide: float) -> list[Strip]:
    """What no row of a passage tells, each whole in a box of its own: nothing is left out."""
    room = wide - KEY_IN - 0.16
    step = BESIDES_PT * LEADING
    strips = []
    for key, text in said:
        lines = wrapped(text, room, BESIDES_PT, True)
        height = len(lines) * step + 0.1

        def draw(
            page: Page, top: float, key: str = key, lines: list[str] = lines, height: float = height
        ) -> None:
            page.box(MARGIN_IN + KEY_IN - 0.08, top - height + 0.04, wide - KEY_IN + 0.08,
                     height - 0.04, RULE_PT)  # fmt: skip
            page.text(MARGIN_IN, top - 0.8 * step - 0.04, key, style.SMALLEST_PT)
            for n, line in enumerate(lines):
                foot = top - 0.04 - (n + 0.8) * step
                page.text(MARGIN_IN + KEY_IN, foot, line, BESIDES_PT, fontweight="bold")

        strips.append(Strip(height + 0.02, draw))
    return strips


HEADS = ("passage", "required", "computed,\nlow to high", "where", "after\nrework",
         "check it with\n(pin: how deep along the bore)", "measured")  # fmt: skip
ROW_SHARES = (0.125, 0.085, 0.105, 0.185, 0.095, 0.295, 0.11)


def _rows(rows: Sequence[PassageRow], wide: float) -> Block:
    """One row a passage; the last column is left to be written in."""
    cells = [
        (f"{r.name}\n{r.state.value}", r.required, r.computed, r.where, r.after, r.check_with, "")
        for r in rows
    ]
    return table(
        "passages, clear diameters in mm", HEADS, cells, [share * wide for share in ROW_SHARES]
    )


EVENT_SHARES = (0.06, 0.14, 0.07, 0.1, 0.19, 0.105, 0.12, 0.1, 0.115)


def _event(strays: Sequence[Sequence[Fact]], wide: float) -> Block:
    """A row a stray sheet: each number over where it comes from."""
    title = "event: numbers, and where each comes from (log, measured, assumed)"
    rows = [[f"{fact.value}\n{fact.source}".rstrip() for fact in facts] for facts in strays]
    if len(strays[0]) == 1:
        return Block(
            title, tuple(text_strips(f"{strays[0][0].value}: {strays[0][0].source}", wide))
        )
    return table(title, EVENT_HEADS, rows, [share * wide for share in EVENT_SHARES])


def _orders(sheet: Sheet, wide: float) -> list[Block]:
    """Conditions with what would settle it, then the order of work."""
    settled = [f"would settle it: {'; '.join(sheet.settled_by)}"] if sheet.settled_by else []
    blocks = [Block("conditions", listing([*sheet.conditions, *settled], wide))]
    if sheet.order_of_work:
        blocks.append(Block(ORDER, two_columns(_numbered(sheet.order_of_work), wide)))
    return blocks


def _not_judged(wide: float) -> Block:
    return Block("not judged", tuple(text_strips(NOT_JUDGED, wide)))


def _boxes(wide: float) -> Block:
    """Empty boxes: the decision, then for each role its date and signature."""
    decision, *roles = BOXES
    height = 0.8

    def draw(page: Page, top: float) -> None:
        first = 0.25 * wide
        page.box(MARGIN_IN, top - height, first, height, RULE_PT)
        page.text(MARGIN_IN + 0.05, top - 0.13, decision, fontweight="bold")
        each = (wide - first) / len(roles)
        for n, role in enumerate(roles):
            left = MARGIN_IN + first + n * each
            page.box(left, top - height, each, height, RULE_PT)
            page.text(left + 0.05, top - 0.13, role, fontweight="bold")
            for word, foot in (("date", 0.42), ("signature", 0.72)):
                page.text(left + 0.05, top - foot, word)
                page.line(left + 0.6, top - foot, left + each - 0.08, top - foot, THIN_PT)

    return Block("", (Strip(height, draw),))


def _joints(flow: Flow, sheet: Sheet, letters: Letters) -> None:
    """Sections through joints that are not whole and stand on no page yet."""
    for section in sheet.joint_sections:
        size = section_height(section, flow.wide, MOST_SECTION_IN)
        letter = letters.of_level(section)
        if not flow.pages or flow.room < size:
            flow.new_page()

        def draw(p: Page, top: float, cut: LevelSection = section, letter: str = letter,
                 size: float = size) -> None:  # fmt: skip
            draw_section(p, top, size, cut, letter)

        flow.put_whole(Block("joint that is not whole", (Strip(size, draw),)))


# ---- what lies behind --------------------------------------------------------------------------


def _reasons(sheet: Sheet, wide: float) -> list[Block]:
    """Reasons, and what they rest on."""
    told = (
        ("reasons of the recommendation", sheet.reasons),
        (
            "how far the event may be off before anything changes",
            sheet.margins,
        ),
        ("cautions", sheet.cautions),
        ("assumptions, named as such", sheet.assumptions or ("none",)),
        ("second opinion on the states, by solid booleans", sheet.second_opinion),
        ("notices and translations", sheet.notices),
        ("signs of the event, computed", sheet.signs),
    )
    return [Block(title, listing(items, wide)) for title, items in told if items]


def _behind(flow: Flow, sheet: Sheet) -> None:
    """Rules that decided, inputs, settings, coefficients, method."""
    wide = flow.wide
    if sheet.rules:
        shares = [share * wide for share in (0.24, 0.06, 0.36, 0.34)]
        flow.add(table("rules that decided, by their row", RULES, sheet.rules, shares))
    names = [share * wide for share in (0.42, 0.58)]
    flow.add(table("inputs", ("file", "SHA-256"), sheet.files, names))
    flow.add(_settings(sheet.settings, wide))
    if sheet.coefficients:
        flow.add(Block("coefficients", listing(sheet.coefficients, wide)))
    method = Block("method", listing(sheet.method, wide, numbered=True))
    if flow.room < method.height:  # ten lines are not torn apart
        flow.new_page()
    flow.add(method)


def _settings(facts: Sequence[Fact], wide: float) -> Block:
    half = (len(facts) + 1) // 2
    rows = []
    for n in range(half):
        left = facts[n]
        right = facts[n + half] if n + half < len(facts) else Fact("", "", "")
        rows.append((left.what, left.value, right.what, right.value))
    widths = [share * wide for share in (0.22, 0.28) * 2]
    strips = tuple(table_row(row, widths) for row in rows)
    return Block("settings", strips)
