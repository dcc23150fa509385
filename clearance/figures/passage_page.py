"""Pages of a passage that does not conform, and the level section in a box that they share.

In: a `PassagePage`, sections and curves. Out: things drawn on pages of a `Flow`. Nothing is
decided here.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from clearance.drawing.drill import DrillSection
from clearance.drawing.level_parts import Detail, LevelSection, Void
from clearance.drawing.level_words import share_in_words
from clearance.drawing.sheet import PassagePage
from clearance.figures import style
from clearance.figures.along import place_curve
from clearance.figures.areas import draw_level, key_of, swatch
from clearance.figures.level import (
    FEW_LABELS,
    Room,
    drawn_scale,
    frame,
    height_needed,
    labels,
    labels_in,
    mark_detail,
    name_in_detail,
    outline_axes,
)
from clearance.figures.paper import (
    LEADING,
    MARGIN_IN,
    Block,
    Flow,
    Page,
    Strip,
    listing,
    table,
    text_strips,
    width_in,
    wrapped,
)
from clearance.figures.planes import (
    axes_in,
    draw_trace,
    place_drill,
    place_drill_detail,
)
from clearance.figures.scale import inches_per_mm, ratio, scale_bar, to_scale, true_scale
from clearance.figures.style import Look
from clearance.result import State
from clearance.verdict.numbers import NAMEWORTHY

DETAIL_IN = 1.9
NARROW = Room(label_in=1.7, edge_in=0.17, foot_in=0.42)
LETTERED = replace(NARROW, label_in=1.92, leader_in=0.52)
"""Room for the letters of other sections between a part and its labels."""
FLAT_IN = 1.3
"""More room than that for a label that stands in one line, at most."""
LINE_IN = style.SMALLEST_PT * LEADING
FINDING_PT = 10.5
TITLE_IN, KEY_IN, KEY_AIR_IN = 0.4, 0.2, 0.08
LEAST_IN, MOST_IN = (2.15, 1.95, 2.8), (4.0, 2.9, 5.2)
"""Heights of level section, curve and drill section: at least, at most."""
DRILL_COLUMN_IN = 2.55
GAP_IN, ROUNDING_IN, TRACE_IN = 0.1, 1e-6, 0.15

Trace = tuple[str, NDArray[np.float64]]


# ---- letters of sections -----------------------------------------------------------------------


@dataclass
class Letters:
    """One letter for each plane of the document, in the order in which they are met.

    Those that look like numbers or like the letter of details are left out.
    """

    known: dict[str, str] = field(default_factory=dict)
    fresh: Iterator[str] = field(
        default_factory=lambda: (
            "".join(letters)
            for size in itertools.count(1)
            for letters in itertools.product("ABCDEFGHJKLMNPRSTUVWZ", repeat=size)
        )
    )

    def of_level(self, section: LevelSection) -> str:
        """Letter of a level section: the same height, the same letter."""
        if section.plane not in self.known:
            self.known[section.plane] = next(self.fresh)
        return self.known[section.plane]

    def of_drill(self) -> str:
        """Letter of a section through a drill."""
        return next(self.fresh)


# ---- a level section in a box ------------------------------------------------------------------


def draw_section(
    page: Page,
    top: float,
    height: float,
    section: LevelSection,
    letter: str,
    traces: Sequence[Trace] = (),
) -> None:
    """Draw a level section with its detail beside it and its key below, as wide as the page."""
    wide = page.width - 2.0 * MARGIN_IN
    aside = DETAIL_IN + 0.2 if section.detail is not None else 0.0
    key = _key_rows(section, wide)
    foot = KEY_IN * len(key) + KEY_AIR_IN
    box = (MARGIN_IN, top - height + foot, wide - aside, height - foot - TITLE_IN)
    axes = axes_in(page.figure, box)
    named, about = _beside(section, box[2:], LETTERED if traces else NARROW)
    frame(axes, section, box[2:], about)
    title = f"section {letter}-{letter} ({ratio(true_scale(axes))}): {section.plane}"
    lines = wrapped(title, wide - aside, style.SMALLEST_PT, bold=True)[:2]
    for n, line in enumerate(lines):
        page.text(MARGIN_IN, top - 0.13 - n * LINE_IN, line, style.SMALLEST_PT, fontweight="bold")
    draw_level(axes, section)
    lowest = labels(axes, named, section.bounds, box[2:], about)
    ends = [
        float(end) - TRACE_IN / inches_per_mm(axes, box[2]) for _, t in traces for end in t[:, 1]
    ]
    outline_axes(axes, section.bounds, min([lowest, *ends]), box[2:], about)
    for name, trace in traces:
        draw_trace(axes, name, trace)
    if section.detail is not None:
        _detail(page, axes, top, height - foot, section, section.detail)
    for n, row in enumerate(key):
        _draw_key(page, top - height + foot - (n + 1) * KEY_IN, row, wide)


def section_height(section: LevelSection, wide: float, most: float) -> float:
    """Height that a section takes where it may be drawn no higher than at most."""
    aside = DETAIL_IN + 0.2 if section.detail is not None else 0.0
    over = KEY_IN * len(_key_rows(section, wide)) + KEY_AIR_IN + TITLE_IN
    size = wide - aside, most - over
    needed = over + height_needed(section, size, _beside(section, size, NARROW)[1])
    beside = LEAST_IN[0] if section.detail is not None else 0.0
    return min(max(needed, beside), most)


def _beside(section: LevelSection, size: Sequence[float], room: Room) -> tuple[list[Void], Room]:
    """Pieces with their labels, and the room that these take beside the part.

    Where the lines of the labels do not fit one under the other, they stand in one, unless that
    takes a smaller scale.
    """
    named = _named(section.voids)
    about = room.about(named)
    most = sorted(named, key=lambda void: -len(void.label))[: (len(named) + 1) // 2]
    if labels_in(most) <= size[1] - room.foot_in - 0.05:
        return named, about
    flat = [replace(void, label=(", ".join(void.label),)) for void in named]
    wider = replace(room, label_in=room.label_in + FLAT_IN).about(flat)
    if drawn_scale(section, size, wider) < drawn_scale(section, size, about):
        return named, about
    return flat, wider


def _named(voids: Sequence[Void]) -> list[Void]:
    """Pieces with short labels: all if they are few, else one for each that is told alike."""
    if len(voids) <= FEW_LABELS:
        return [replace(void, label=_short(void)) for void in voids]
    alike: dict[tuple[str, ...], list[Void]] = {}
    for void in voids:
        if void.state is not State.OPEN:
            alike.setdefault(_short(void), []).append(void)
    found = []
    for label, those in alike.items():
        count = f", {len(those)} alike" if len(those) > 1 else ""
        found.append(replace(those[0], label=(f"{label[0]}{count}", *label[1:])))
    return found


def _short(void: Void) -> tuple[str, ...]:
    """Name, state, and what is open here: all of it, of a passage that suffers elsewhere."""
    if void.open_fraction >= NAMEWORTHY:
        return void.label[:2] + (() if void.state is State.OPEN else ("open here",))
    return (*void.label[:2], share_in_words(void.open_fraction).removesuffix(" here"))


def _detail(
    page: Page, main: Axes, top: float, room: float, section: LevelSection, detail: Detail
) -> None:
    left = page.width - MARGIN_IN - DETAIL_IN
    title = wrapped(detail.title, DETAIL_IN, style.SMALLEST_PT, True)[:2]
    lines = [
        line for words in detail.lines for line in wrapped(words, DETAIL_IN, style.SMALLEST_PT)[:2]
    ]
    above = LINE_IN * len(title) + 0.1
    size = min(DETAIL_IN, room - above - 0.28 - LINE_IN * len(lines))
    axes = axes_in(page.figure, (left, top - above - size, size, size))
    to_scale(axes, detail.bounds)
    draw_level(axes, section)
    name_in_detail(axes, detail)
    mark_detail(main, axes)
    axes.set(xlabel="", ylabel="", xticks=[], yticks=[])
    scale_bar(axes, 0.0, -0.12 / size)
    for n, line in enumerate(title):
        page.text(left, top - 0.13 - n * LINE_IN, line, style.SMALLEST_PT, fontweight="bold")
    for n, line in enumerate(lines):
        page.text(left, top - above - size - 0.34 - n * LINE_IN, line, style.SMALLEST_PT)


def _key_rows(section: LevelSection, wide: float) -> list[list[tuple[float, Look | State, str]]]:
    """Looks and their meaning, with the place of each in its row."""
    states = [s for s in State if any(void.state is s for void in section.voids)]
    key: list[tuple[Look | State, str]] = [*key_of(section)]
    key += [(state, f"passage {state.value}") for state in states]
    rows: list[list[tuple[float, Look | State, str]]] = [[]]
    x = 0.02
    for look, words in key:
        words = words.split(":")[0]
        size = 0.32 + width_in(words, style.SMALLEST_PT) + 0.2
        if rows[-1] and x + size > wide:
            rows.append([])
            x = 0.02
        rows[-1].append((x, look, words))
        x += size
    return rows


def _draw_key(
    page: Page, foot: float, row: Sequence[tuple[float, Look | State, str]], wide: float
) -> None:
    panel = axes_in(page.figure, (MARGIN_IN, foot, wide, KEY_IN))
    panel.set_xlim(0.0, wide)
    panel.set_ylim(0.0, KEY_IN)
    panel.set_axis_off()
    for x, look, words in row:
        swatch(panel, (x + 0.03, 0.055, x + 0.25, KEY_IN - 0.055), look)
        panel.text(x + 0.32, 0.5 * KEY_IN, words, fontsize=style.SMALLEST_PT, va="center")


# ---- a passage's pages -------------------------------------------------------------------------


def add_passage(flow: Flow, page: PassagePage, letters: Letters) -> None:
    """Section, curve, crossings and drills of one passage; on one page if it holds them."""
    flow.new_page(f"passage {page.name}")
    level = "" if page.section is None else letters.of_level(page.section)
    drills = [(letters.of_drill(), drill) for drill in page.drills]
    words = [_crossings(page, flow.wide), Block("reasons", listing(page.reasons, flow.wide))]
    title = Block("", tuple(text_strips(page.title, flow.wide, FINDING_PT, bold=True)[:3]))
    flow.put_whole(title)
    room = flow.room - sum(block.height + GAP_IN for block in words)
    least = [0.0 if page.section is None else LEAST_IN[0], LEAST_IN[1]]
    beside = [_drill_words(drill, flow.wide) for _, drill in drills]
    wanted = [sum(least) + sum(LEAST_IN[2] + w for w in beside[:n]) for n in range(len(drills) + 1)]
    here = max((n for n, size in enumerate(wanted) if size <= room), default=0)
    spare = max(room - wanted[here], 0.0)
    sizes = _grown(least, MOST_IN[:2], 0.4 * spare if here else spare)
    _draw_passage(flow, page, sizes, level, _together(drills))
    for block in words:
        flow.add(block)
    _drills(flow, drills[:here], level, beside[:here])
    for n in range(here, len(drills), 2):
        flow.new_page()
        _drills(flow, drills[n : n + 2], level, beside[n : n + 2])


def _grown(least: Sequence[float], most: Sequence[float], spare: float) -> list[float]:
    """Sizes with some more room shared out, no larger than at most."""
    each = spare / len(least)
    return [min(one + each, top) if one else 0.0 for one, top in zip(least, most, strict=True)]


def _draw_passage(
    flow: Flow, page: PassagePage, sizes: Sequence[float], letter: str, traces: Sequence[Trace]
) -> None:
    section = page.section
    if section is not None:
        flow.add_figure(
            sizes[0], lambda p, top: draw_section(p, top, sizes[0], section, letter, traces)
        )
    wide = flow.wide

    def draw(paper: Page, top: float) -> None:
        box = (MARGIN_IN + 0.55, top - sizes[1] + 0.46, wide - 0.57, sizes[1] - 0.52)
        place_curve(paper.figure, box, page.curve)

    flow.add_figure(sizes[1], draw)


def _together(drills: Sequence[tuple[str, DrillSection]]) -> list[Trace]:
    """Lines of the sections; those that lie on one line share it."""
    found: list[Trace] = []
    for letter, drill in drills:
        for n, (others, trace) in enumerate(found):
            if np.allclose(np.sort(trace, axis=0), np.sort(drill.trace, axis=0), atol=0.1):
                found[n] = (f"{others}, {letter}", trace)
                break
        else:
            found.append((letter, drill.trace))
    return found


CROSSING_HEADS = ("crossing", "worst height and centre, mm", "open area", "state", "passes")
CROSSING_SHARES = (0.14, 0.32, 0.22, 0.14, 0.18)


def _crossings(page: PassagePage, wide: float) -> Block:
    rows = [(c.number, c.place, c.open_area, c.share, c.passes) for c in page.crossings]
    return table("crossings", CROSSING_HEADS, rows, [s * wide for s in CROSSING_SHARES])


# ---- drills ------------------------------------------------------------------------------------


def _drills(
    flow: Flow, drills: Sequence[tuple[str, DrillSection]], level: str, beside: Sequence[float]
) -> None:
    """Share out what is left of a page among some strokes."""
    if drills:
        size = min((flow.room - sum(beside)) / len(drills) - ROUNDING_IN, MOST_IN[2])
        for letter, drill in drills:
            _drill(flow, drill, (letter, level or "–"), size)


def _drill_words(drill: DrillSection, wide: float) -> float:
    """Height of title and numbers of a stroke."""
    title = text_strips(drill.title, wide, style.SMALLEST_PT, bold=True)
    return (
        sum(
            strip.height
            for strip in (
                *title,
                *two_columns((*drill.lines, *drill.scan), wide, style.SMALLEST_PT),
            )
        )
        + GAP_IN
    )


def _drill(flow: Flow, drill: DrillSection, letters: tuple[str, str], size: float) -> None:
    wide = flow.wide
    for strip in text_strips(drill.title, wide, style.SMALLEST_PT, bold=True):
        flow.put(strip)

    def draw(page: Page, top: float) -> None:
        left = (MARGIN_IN + 0.42, top - size, wide - 0.42 - DRILL_COLUMN_IN, size - 0.04)
        main = place_drill(page.figure, left, drill, letters)
        square = min(DRILL_COLUMN_IN - 0.25, size - TITLE_IN - 0.3)
        at = (MARGIN_IN + wide - square, top - 0.04 - TITLE_IN - square, square, square)
        place_drill_detail(page.figure, at, drill, main)

    flow.put(Strip(size, draw))
    for strip in two_columns((*drill.lines, *drill.scan), wide, style.SMALLEST_PT):
        flow.put(strip)
    flow.space(GAP_IN)


def two_columns(
    items: Sequence[str | tuple[str, str]],
    wide: float,
    size_pt: float = style.SMALLEST_PT,
    indent: float = 0.22,
) -> tuple[Strip, ...]:
    """Items in two columns, read downward, as one strip; each with its mark, or with a dash."""
    cells, step = [], size_pt * LEADING
    for item in items:
        mark, words = ("–", item) if isinstance(item, str) else item
        lines = wrapped(words, 0.5 * wide - indent - 0.12, size_pt)
        marks = [mark, *[""] * (len(lines) - 1)]
        cells.append(list(zip(marks, lines, strict=True)))
    total, half = sum(map(len, cells)), 0
    while half < len(cells) and 2 * sum(map(len, cells[:half])) < total:
        half += 1
    columns = [[line for cell in part for line in cell] for part in (cells[:half], cells[half:])]

    def draw(page: Page, top: float) -> None:
        for k, lines in enumerate(columns):
            left = MARGIN_IN + k * 0.5 * wide
            for m, (mark, line) in enumerate(lines):
                foot = top - (m + 0.8) * step
                page.text(left, foot, mark, size_pt)
                page.text(left + indent, foot, line, size_pt)

    return (Strip(max(map(len, columns), default=0) * step + 0.02, draw),)
