"""The disposition sheet on paper: the first page, a page a passage, and what lies behind.

In: a `Sheet`. Out: the bytes of a PDF; the same each time. Nothing is decided here.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

import matplotlib as mpl
from matplotlib.figure import Figure

from clearance.disposition.steps import told
from clearance.drawing.level_parts import LevelSection
from clearance.drawing.sheet import BOXES, HOLD, NOT_JUDGED, Sheet
from clearance.drawing.sheet_facts import EVENT_HEADS, Fact
from clearance.drawing.sheet_rows import PassageRow
from clearance.figures import style
from clearance.figures.files import pdf_bytes
from clearance.figures.laboratory import add_laboratory
from clearance.figures.paper import (
    BODY_PT,
    LEADING,
    MARGIN_IN,
    PAPERS,
    RULE_PT,
    THIN_PT,
    TIED,
    Block,
    Flow,
    Page,
    Strip,
    column_widths,
    gap,
    listing,
    table,
    table_row,
    text_strips,
    tied,
    whole_item,
    width_in,
    wrapped,
)
from clearance.figures.passage_page import (
    Letters,
    add_passage,
    draw_section,
    section_height,
    two_columns,
)
from clearance.figures.projection import first_angle
from clearance.figures.shop import add_shop

WORD_PT, HOLD_PT, CALL_PT, WRONG_PT = 26.0, 16.0, 11.0, 10.0
"""Letters of the recommendation, the largest of all; of the hold; of what is said beside."""
BESIDE_WORD_IN = 2.6
"""Room that a sentence needs to stand beside the recommendation instead of under it."""
LEAST_SECTION_IN, LEAST_LEAK_IN, MOST_SECTION_IN = 2.2, 3.6, 5.0
"""Height of the section on the first page; LEAK where its detail names circuits that meet."""
KEY_IN = 1.28
PLATE_IN = 0.58
"""At the top of the first sheet of a part of a plate: room for its label (`stamp`)."""
RULES = ("judged", "row", "if", "then")
ORDER, FORGET = "work sequence", "not to be forgotten"


def report(sheet: Sheet, paper: str = "a4") -> bytes:
    """All pages of a sheet as PDF; parameters as for `sheet_figures`."""
    flow = _pages(sheet, paper)
    named = "; ".join(value for key, value in sheet.identity if key in ("part", "serial"))
    title = f"Disposition sheet: {named}: {sheet.headline.word.lower()}"
    return pdf_bytes(flow.numbered(sheet.footer), title, flow.marks)


def sheet_figures(sheet: Sheet, paper: str = "a4") -> list[Figure]:
    """All pages of a sheet.

    Parameters
    ----------
    sheet : Sheet
    paper : {"a4", "letter"}
    """
    return _pages(sheet, paper).numbered(sheet.footer)


def _pages(sheet: Sheet, paper: str) -> Flow:
    with mpl.rc_context(style.SETTINGS):
        header = "; ".join(f"{key} {value}" for key, value in sheet.identity)
        flow, letters = Flow(PAPERS[paper], f"{header}; {HOLD[1]}"), Letters()
        left_over = _first(flow, sheet, letters)
        flow.new_page("reasons")
        for block in (*left_over, *_second(sheet, flow.wide)):
            flow.add(block)
        for page in sheet.passages:
            add_passage(flow, page, letters)
        _joints(flow, sheet, letters)
        add_shop(flow, sheet.shop)
        add_laboratory(flow, sheet.laboratory)
        flow.new_page("appendix: rules, inputs, settings")
        _behind(flow, sheet)
        return flow


# ---- the first page ----------------------------------------------------------------------------


def _first(flow: Flow, sheet: Sheet, letters: Letters) -> list[Block]:
    """Draw the first page; returns what did not fit on it, in whole rows."""
    wide, section = flow.wide, sheet.section
    flow.new_page("recommendation")
    if sheet.on_plate:
        flow.space(PLATE_IN)
    flow.put(_identity(sheet, wide))
    for strip in _recommendation(sheet, wide):
        flow.put(strip)
    last = [_boxes(wide), _title_block(sheet, wide)]
    end = sum(block.height + gap(block) for block in last)
    blocks = _blocks(sheet, wide)
    order = _elsewhere(sheet), Block(ORDER, _one_below_the_other(sheet.order_of_work, wide))
    room = flow.room - end - sum(map(gap, blocks))
    leak = section is not None and section.detail is not None and section.detail.named
    least = 0.0 if section is None else LEAST_LEAK_IN if leak else LEAST_SECTION_IN
    placed, left_over = _that_fit(blocks, room - least, order)
    if section is not None and any(block.title.startswith(FORGET) for block in left_over):
        placed, left_over = _that_fit(blocks, room, order)  # the picture gives way to hazards
        size = section_height(section, wide, MOST_SECTION_IN)
        left_over.insert(0, Block("", (_picture(section, size, letters),)))
        section = None
    size = 0.0
    if section is not None:
        most = min(room - sum(block.height for block in placed), MOST_SECTION_IN)
        size = section_height(section, wide, most)
    for block in placed:
        if not block.title:
            flow.put_whole(block)
    if section is not None:
        flow.put(_picture(section, size, letters))
    for block in placed:
        if block.title:
            flow.put_whole(block)
    flow.space(flow.room - end)
    for block in last:
        flow.put_whole(block)
    return left_over


def _blocks(sheet: Sheet, wide: float) -> list[Block]:
    """What stands between the recommendation and the boxes, in the order of the meeting."""
    blocks = [
        _said("what is wrong", sheet.wrong, wide, WRONG_PT, True),
        Block("", tuple(_besides(sheet.besides, wide)), name=FORGET),
        _said("why", sheet.why, wide, bold=True),
        _said("needed to decide", sheet.settled_by, wide, bold=True),
        _said("the part now", (sheet.condition,), wide, bold=True),
        _said("what happened", (*sheet.happened, sheet.frame), wide),
        _rows(sheet.rows, wide),
        *_order(sheet.order_of_work, wide),
    ]
    return [block for block in blocks if block.strips]


def _picture(section: LevelSection, size: float, letters: Letters) -> Strip:
    letter = letters.of_level(section)
    return Strip(size, lambda page, top: draw_section(page, top, size, section, letter))


GOING_ON_IN = BODY_PT * LEADING


def _that_fit(
    blocks: Sequence[Block], room: float, order: tuple[Block, Block]
) -> tuple[list[Block], list[Block]]:
    """What stands on the first page: of each block the rows that leave one of those that follow.

    The work sequence stands there whole; else `order`: what says where it is, and the sequence as
    it stands there. A few of its steps would mislead.
    """
    instead, whole = order
    placed, left_over = [], []
    for n, block in enumerate(blocks):
        kept = sum(_kept(instead if other.title == ORDER else other) for other in blocks[n + 1 :])
        if block.title == ORDER:
            now, rest = (block, None) if block.height <= room else (instead, whole)
        else:
            now, rest = block.split(room - kept)
            if rest is not None and not block.title:  # then a line says so
                now, rest = block.split(room - kept - GOING_ON_IN)
        if rest is not None:
            left_over.append(rest)
            if block.title != ORDER:
                now = _going_on(now, len(rest.strips))
        placed.append(now)
        room -= now.height
    return placed, left_over


def _kept(block: Block) -> float:
    """What the blocks before it leave of one: of what nobody may forget all."""
    return block.height if block.name == FORGET else block.least(1)


def _going_on(block: Block, more: int) -> Block:
    """A block that says that it goes on."""
    if block.title:
        return replace(block, title=f"{block.title} (goes on, page 2)")
    said = text_strips(f"and {more} more, page 2", 7.0, bold=True, indent=KEY_IN)
    return replace(block, strips=(*block.strips, *said))


def _elsewhere(sheet: Sheet) -> Block:
    """Stands for a work sequence that is too long: where it is, and which steps touch powder."""
    steps = sheet.order_of_work
    title = f"{ORDER}: all {len(steps)} steps on the next page"
    if touching := [f"{n}" for n, step in enumerate(steps, 1) if POWDER.search(told(step))]:
        title += f", of them about powder: {', '.join(touching)}"
    return Block(title, (Strip(0.0, lambda page, top: None),))


POWDER = re.compile(r"\bpowder|\bignite", re.IGNORECASE)
"""Steps of work that have to do with loose powder say so."""


def _identity(sheet: Sheet, wide: float) -> Strip:
    """What the part is, and that it is on hold."""
    hold_in, key_in = 1.5, 1.0
    half = 0.5 * (wide - hold_in - 0.2)
    words = [
        (key, wrapped(value, half - key_in - 0.1, style.TEXT_PT, True))
        for key, value in sheet.identity
    ]
    step = style.TEXT_PT * LEADING
    high = [max(len(value) for _, value in words[n : n + 2]) for n in range(0, len(words), 2)]
    height = max(sum(high) * step, 0.7) + 0.08

    def draw(page: Page, top: float) -> None:
        for n, (key, value) in enumerate(words):
            left = MARGIN_IN + (n % 2) * half
            for m, line in enumerate(value):
                foot = top - (sum(high[: n // 2]) + m + 0.8) * step
                if m == 0:
                    page.text(left, foot, key, style.SMALLEST_PT)
                page.text(left + key_in, foot, line, style.TEXT_PT, fontweight="bold")
        left = MARGIN_IN + wide - hold_in
        page.box(left, top - 0.68, hold_in, 0.68, 1.6)
        middle = left + 0.5 * hold_in
        page.text(middle, top - 0.27, HOLD[0], HOLD_PT, ha="center", fontweight="bold")
        for n, line in enumerate(wrapped(HOLD[1], hold_in - 0.06, BODY_PT)):
            page.text(middle, top - 0.45 - n * BODY_PT * LEADING, line, ha="center")

    return Strip(height, draw)


def _recommendation(sheet: Sheet, wide: float) -> list[Strip]:
    """The word, and beside it, or under it where the room is too small, why and what comes next."""
    said = sheet.headline
    word = said.word
    left = width_in(word, WORD_PT, True) + 0.25
    beside = wide - left >= BESIDE_WORD_IN
    room = wide - (left if beside else 0.0)
    step, high = CALL_PT * LEADING, WORD_PT * LEADING
    lines = [
        line
        for sentence in (
            said.sentence.removeprefix(word).lstrip(" ,:"),
            f"Next: {said.action}" if said.action else "",
        )
        if sentence
        for line in wrapped(f"{sentence}.", room, CALL_PT, True)
    ]
    height = max(high, len(lines) * step) if beside else high + len(lines) * step

    def draw(page: Page, top: float) -> None:
        page.text(MARGIN_IN, top - 0.8 * high, word, WORD_PT, fontweight="bold")
        x, y = (MARGIN_IN + left, top - 0.02) if beside else (MARGIN_IN, top - high)
        for n, line in enumerate(lines):
            page.text(x, y - (n + 0.8) * step, line, CALL_PT, fontweight="bold")

    return [Strip(height + 0.1, draw)]


def _said(
    key: str, clauses: Sequence[str], wide: float, size_pt: float = BODY_PT, bold: bool = False
) -> Block:
    """A row for each clause, whole, its key before the first."""
    step = size_pt * LEADING
    strips = []
    for n, clause in enumerate(clauses):
        lines = wrapped(clause, wide - KEY_IN, size_pt, bold)

        def draw(page: Page, top: float, n: int = n, lines: list[str] = lines) -> None:
            for m, line in enumerate(lines):
                foot = top - (m + 0.8) * step
                if n == m == 0:
                    page.text(MARGIN_IN, foot, key)
                weight = "bold" if bold else "normal"
                page.text(MARGIN_IN + KEY_IN, foot, line, size_pt, fontweight=weight)

        strips.append(Strip(len(lines) * step + 0.02, draw))
    return Block("", tuple(strips), name=key)


def _besides(said: Sequence[tuple[str, str]], wide: float) -> list[Strip]:
    """What no row of a passage tells, each whole in a box of its own: nothing is left out."""
    room = wide - KEY_IN - 0.08
    step = BODY_PT * LEADING
    strips = []
    for key, text in said:
        lines = wrapped(text, room, BODY_PT, True)
        height = len(lines) * step + 0.12

        def draw(
            page: Page, top: float, key: str = key, lines: list[str] = lines, height: float = height
        ) -> None:
            page.box(MARGIN_IN + KEY_IN - 0.08, top - height + 0.04, wide - KEY_IN + 0.08,
                     height - 0.04, RULE_PT)  # fmt: skip
            page.text(MARGIN_IN, top - 0.8 * step - 0.04, key, fontweight="bold")
            for n, line in enumerate(lines):
                foot = top - 0.04 - (n + 0.8) * step
                page.text(MARGIN_IN + KEY_IN, foot, line, fontweight="bold")

        strips.append(Strip(height, draw))
    return strips


HEADS = ("passage", "clear", "where", "after\ndrilling",
         "before work:\nto\u00a0stop, if\nas\u00a0computed",
         "before work: pin\ndepth (in a\nsound\u00a0part)", "at the end:\nmust\u00a0pass",
         "measured")  # fmt: skip
MAY_BE_EMPTY = (3, 4, 5, 6)
"""Columns that are left out where no passage has any."""
MEASURED_IN = 0.85
BOX = "☐"
"""To be ticked by hand."""


def _rows(rows: Sequence[PassageRow], wide: float) -> Block:
    """One row a passage; the boxes are to be ticked, the last column to be written in."""
    cells = [
        (
            f"{r.name}\n{r.state.value}{f', {r.beside}' if r.beside else ''}",
            tied(f"{r.computed}\n{r.required} required"),
            r.where,
            r.after,
            *(
                "\n".join(f"{BOX}{TIED}{t}" for t in told)
                for told in (map(tied, r.must_stop), r.pins, map(tied, r.must_pass))
            ),
            "\n".join(r.measured),
        )
        for r in rows
    ]
    kept = [n for n in range(len(HEADS)) if n not in MAY_BE_EMPTY or any(cell[n] for cell in cells)]
    head, body = [HEADS[n] for n in kept], [[cell[n] for n in kept] for cell in cells]
    widths = column_widths(head, body, wide, {len(kept) - 1: MEASURED_IN})
    return table("passages, clear diameters in mm", head, body, widths)


def _event(strays: Sequence[Sequence[Fact]], wide: float) -> Block:
    """A row a stray sheet: each number over where it comes from."""
    title = "event: numbers, and where each comes from (log, measured, assumed)"
    rows = [[f"{fact.value}\n{fact.source}".rstrip() for fact in facts] for facts in strays]
    if len(strays[0]) == 1:
        return Block(
            title, tuple(text_strips(f"{strays[0][0].value}: {strays[0][0].source}", wide))
        )
    return table(title, EVENT_HEADS, rows, column_widths(EVENT_HEADS, rows, wide))


def _order(steps: Sequence[str], wide: float) -> list[Block]:
    """The work sequence in two columns, each step with a box to tick."""
    if not steps:
        return []
    ticked = [(f"{BOX} {n}.", step) for n, step in enumerate(steps, 1)]
    return [Block(ORDER, two_columns(ticked, wide, indent=TICK_IN))]


def _one_below_the_other(steps: Sequence[str], wide: float) -> tuple[Strip, ...]:
    """The same over as many pages as it needs."""
    ticked = [(f"{BOX} {n}.", step) for n, step in enumerate(steps, 1)]
    return tuple(
        strip
        for mark, step in ticked
        for strip in whole_item(text_strips(step, wide, mark=mark, indent=TICK_IN))
    )


TICK_IN = 0.45


def _boxes(wide: float) -> Block:
    """Empty boxes: the decision, then for each role its date and signature; what is not judged."""
    decision, *roles = BOXES
    height = 0.8

    def draw(page: Page, top: float) -> None:
        first = 0.25 * wide
        page.box(MARGIN_IN, top - height, first, height, RULE_PT)
        page.text(MARGIN_IN + 0.05, top - 0.14, decision, fontweight="bold")
        each = (wide - first) / len(roles)
        for n, role in enumerate(roles):
            left = MARGIN_IN + first + n * each
            page.box(left, top - height, each, height, RULE_PT)
            page.text(left + 0.05, top - 0.14, role, fontweight="bold")
            for word, foot in (("date", 0.42), ("signature", 0.72)):
                page.text(left + 0.05, top - foot, word)
                page.line(left + 0.68, top - foot, left + each - 0.08, top - foot, THIN_PT)

    not_judged = text_strips(f"not judged: {NOT_JUDGED}", wide)
    return Block("", (*not_judged, Strip(0.05, lambda page, top: None), Strip(height, draw)))


TITLE_IN, SYMBOL_IN = 0.36, 0.115
KIND = ("document", tied("disposition sheet, mm"))
PROJECTION = ("projection", "")


def _title_block(sheet: Sheet, wide: float) -> Block:
    """Fields after ISO 7200 in a row at the foot; what is not given is left to be written in."""
    fields = (*sheet.title_block, KIND, PROJECTION)
    head, row = [tied(key) for key, _ in fields], [value for _, value in fields]
    widths = column_widths(head, [row], wide)
    cells = [
        wrapped(value, width - 0.06, BODY_PT) for value, width in zip(row, widths, strict=True)
    ]
    step = BODY_PT * LEADING
    height = TITLE_IN + step * (max(map(len, cells)) - 1)

    def draw(page: Page, top: float) -> None:
        x = MARGIN_IN
        for key, lines, width in zip(head, cells, widths, strict=True):
            page.box(x, top - height, width, height, THIN_PT)
            page.text(x + 0.04, top - 0.8 * step, key, color=style.GREY)
            for n, line in enumerate(lines, 1):
                page.text(x + 0.04, top - (n + 0.8) * step, line)
            x += width
        first_angle(page.figure, (x - width + 0.16, top - height + 0.035), SYMBOL_IN)

    return Block("", (Strip(height, draw),))


def _joints(flow: Flow, sheet: Sheet, letters: Letters) -> None:
    """Sections through leaks, and through joints that are not whole and stand on no page yet."""
    both = [("circuits that are not apart", section) for section in sheet.leak_sections]
    both += [("joint that is not whole", section) for section in sheet.joint_sections]
    for title, section in both:
        size = section_height(section, flow.wide, MOST_SECTION_IN)
        flow.add(Block(title, (_picture(section, size, letters),)))


# ---- what lies behind --------------------------------------------------------------------------


def _second(sheet: Sheet, wide: float) -> list[Block]:
    """The event in numbers, reasons, and what they rest on."""
    told = (
        ("reasons of the recommendation", sheet.reasons),
        ("what else was found", sheet.conditions),
        ("readings of the part", sheet.readings),
        ("the part as measured by its scan, beside what is predicted", sheet.scan),
        ("sensitivity to the event's data: how far it may be off", sheet.margins),
        ("cautions", sheet.cautions),
        ("costs", sheet.costs),
        ("assumptions, named as such", sheet.assumptions or ("none",)),
        ("second opinion on the states, by solid booleans", sheet.second_opinion),
        ("notices and translations", sheet.notices),
        ("what to look for on the part, computed", sheet.signs),
    )
    blocks = [Block(title, listing(items, wide)) for title, items in told if items]
    return [_event(sheet.event, wide), *blocks]


def _behind(flow: Flow, sheet: Sheet) -> None:
    """Rules that decided, inputs, settings, coefficients, method."""
    wide = flow.wide
    if sheet.rules:
        shares = [share * wide for share in (0.24, 0.06, 0.36, 0.34)]
        flow.add(table("rules that decided, by their row", RULES, sheet.rules, shares))
    names = [share * wide for share in (0.28, 0.72)]  # a hash stands on one line
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
    strips = tuple(strip for row in rows for strip in table_row(row, widths))
    return Block("settings", strips)
