"""The restart card on paper: numbers to be read from afar, the right layer to scale, wrong ones.

In: a `Card`. Out: pages. Black and white is enough. Nothing is decided here.
"""

from __future__ import annotations

from functools import partial
from typing import Any

import matplotlib as mpl
import shapely
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from clearance.figures import style
from clearance.figures.areas import area
from clearance.figures.paper import (
    BODY_PT,
    LEADING,
    MARGIN_IN,
    PAPERS,
    Block,
    Flow,
    Page,
    Strip,
    column_widths,
    listing,
    table,
    text_strips,
    width_in,
    wrapped,
)
from clearance.figures.planes import axes_in
from clearance.figures.scale import ratio, scale_bar, to_scale, true_scale
from clearance.figures.style import Look
from clearance.report.restart import cooled_words, eye_words, harm_words, thickness_words
from clearance.restart.card import Card, Layer
from clearance.result.restart import Candidate, RestartResult
from clearance.verdict.numbers import near

CAPITAL = 0.729
"""Height of a capital over the size of the font (DejaVu Sans)."""
LARGE_MM = 10.0
LARGE_PT = LARGE_MM / CAPITAL / 25.4 * 72.0
"""Size at which capitals and digits are 10 mm high."""
LARGE_STEP_IN = 0.56
RIGHT_IN, WRONG_IN, COLUMNS = 3.9, 2.45, 2
BEYOND = 0.01
MELTED = Look("#8a8a8a", "#000000", width_pt=0.9)
"""A melted layer: toned, with a dark outline; a copy keeps it apart from paper."""
RIGHT_LINE = Look("none", "#000000", line=(0, (4.0, 2.0)), width_pt=0.9)
PLATFORM = Look("none", style.GREY, width_pt=0.6)
HEADS = ("part", "area, mm2", "islands", "x, mm", "y, mm")


def restart_pages(card: Card, paper: str = "a4") -> list[Figure]:
    """All pages of a card."""
    with mpl.rc_context(style.SETTINGS):
        flow = Flow(
            PAPERS[paper], f"restart card: {card.result.name}; it does not release the part"
        )
        _first(flow, card)
        _wrong(flow, card)
        return flow.numbered(f"{card.result.name}; program {card.result.program}")


def large_lines(result: RestartResult) -> list[str]:
    """What is to be read from afar: the numbers and the caution."""
    right, last = result.next_layer, result.last_good_layer
    from_0, from_1 = (f"NEXT {right}", f"LAST {last}"), (f"NEXT {right + 1}", f"LAST {last + 1}")
    counted = {0: (from_0, "FROM 0"), 1: (from_1, "FROM 1")}
    shown = [counted[n] for n in (0, 1) if result.first_number in (None, n)]
    lines = [f"{which}: {'  '.join(words)}" for words, which in shown]
    return [*lines, "WRONG NUMBER: STOP"]


def _first(flow: Flow, card: Card) -> None:
    result = card.result
    flow.new_page("restart card")
    title = f"restart card: {result.name}"
    flow.put_whole(Block("", tuple(text_strips(title, flow.wide, style.TITLE_PT, bold=True))))
    for words in large_lines(result):
        flow.put(Strip(LARGE_STEP_IN, partial(_large, words)))
    flow.put_whole(Block("", tuple(text_strips(thickness_words(result), flow.wide, bold=True))))
    flow.add_figure(RIGHT_IN, partial(_draw_right, card))
    care = (cooled_words(result), *result.cautions, *result.notices)
    flow.add(Block("take care", listing(care, flow.wide)))
    rows = [
        (
            one.name,
            near(one.area_mm2, 1),
            f"{one.islands}",
            *(
                ("complete", "")
                if one.extents_mm is None
                else (
                    f"{near(one.extents_mm[0], 1)} to {near(one.extents_mm[2], 1)}",
                    f"{near(one.extents_mm[1], 1)} to {near(one.extents_mm[3], 1)}",
                )
            ),
        )
        for one in result.parts
    ]
    title = f"layer {result.next_layer}, counted from 0: what belongs there"
    flow.add(table(title, HEADS, rows, column_widths(HEADS, rows, flow.wide)))


def _large(words: str, page: Page, top: float) -> None:
    room = page.width - 2.0 * MARGIN_IN
    size = LARGE_PT
    if width_in(words, size, True) > room:  # numbers of six digits: narrower letters, as high
        _squeezed(page, words, top, room)
        return
    page.text(MARGIN_IN, top - LARGE_STEP_IN + 0.1, words, size, fontweight="bold")


def _squeezed(page: Page, words: str, top: float, room: float) -> None:
    """The same letters 10 mm high, narrower."""
    from matplotlib.font_manager import FontProperties
    from matplotlib.patches import PathPatch
    from matplotlib.textpath import TextPath
    from matplotlib.transforms import Affine2D

    path = TextPath((0.0, 0.0), words, size=LARGE_PT, prop=FontProperties(weight="bold"))
    wide = path.get_extents().x1 / 72.0
    axes = axes_in(page.figure, (MARGIN_IN, top - LARGE_STEP_IN + 0.1, room, LARGE_STEP_IN))
    axes.set_axis_off()
    axes.set_xlim(0.0, room)
    axes.set_ylim(0.0, LARGE_STEP_IN)
    scale = Affine2D().scale(min(room / wide, 1.0) / 72.0, 1.0 / 72.0)
    axes.add_artist(PathPatch(path.transformed(scale), facecolor=style.INK, linewidth=0.0))


def _draw_right(card: Card, page: Page, top: float) -> None:
    wide = page.width - 2.0 * MARGIN_IN
    axes = axes_in(page.figure, (MARGIN_IN, top - RIGHT_IN + 0.3, wide, RIGHT_IN - 0.5))
    box = _box(card)
    to_scale(axes, box)
    _platform(axes, card)
    area(axes, card.right.metal, MELTED, "right")
    _bare(axes)
    scale_bar(axes, 0.0, -0.04)
    title = f"the right layer, {card.right.number} from 0 ({ratio(true_scale(axes))})"
    page.text(MARGIN_IN, top - 0.14, f"{title}; x right, y up", style.TEXT_PT, fontweight="bold")


def _wrong(flow: Flow, card: Card) -> None:
    result = card.result
    flow.new_page("wrong layers")
    words = (
        f"wrong layers: if the screen shows one of these, stop. Grey: what it melts; dashed: the "
        f"right layer. Harm: of {result.layers} from each"
    )
    flow.put_whole(Block("", tuple(text_strips(words, flow.wide, style.TEXT_PT, bold=True))))
    pairs = list(zip(result.candidates, card.wrong, strict=True))
    half = flow.wide / COLUMNS - 0.15
    for n in range(0, len(pairs), COLUMNS):
        row = pairs[n : n + COLUMNS]
        told = [_words(one, result, half) for one, _ in row]
        height = WRONG_IN + max(map(len, told)) * BODY_PT * LEADING + 0.15
        flow.add_figure(height, partial(_draw_row, card, row, told))


def _words(one: Candidate, result: RestartResult, wide: float) -> list[str]:
    said = [eye_words(one, result), *harm_words(one)]
    return [line for words in said for line in wrapped(words, wide, BODY_PT)]


def _draw_row(
    card: Card,
    row: list[tuple[Candidate, Layer]],
    told: list[list[str]],
    page: Page,
    top: float,
) -> None:
    half = (page.width - 2.0 * MARGIN_IN) / COLUMNS
    for n, ((one, layer), lines) in enumerate(zip(row, told, strict=True)):
        left = MARGIN_IN + n * half
        title = f"WRONG: {one.layer} from 0, {one.layer_from_1} from 1"
        page.text(left, top - 0.2, title, style.TITLE_PT, fontweight="bold")
        axes = axes_in(page.figure, (left, top - WRONG_IN + 0.1, half - 0.15, WRONG_IN - 0.4))
        to_scale(axes, _box(card))
        _platform(axes, card)
        area(axes, layer.metal, MELTED, "wrong")
        area(axes, card.right.metal, RIGHT_LINE, "right outline")
        _bare(axes)
        for k, line in enumerate(lines):
            page.text(left, top - WRONG_IN - (k + 0.8) * BODY_PT * LEADING, line)


def _platform(axes: Axes, card: Card) -> None:
    if card.size_mm is not None:
        x, y = (0.5 * side for side in card.size_mm)
        area(axes, shapely.box(-x, -y, x, y), PLATFORM, "platform")


def _bare(axes: Axes) -> None:
    axes.set(xlabel="", ylabel="", xticks=[], yticks=[])
    for side in axes.spines.values():
        side.set_visible(False)


def _box(card: Card) -> tuple[float, float, float, float]:
    """Around all layers shown, and the platform."""
    shapes: list[Any] = [card.right.metal, *(one.metal for one in card.wrong)]
    if card.size_mm is not None:
        x, y = (0.5 * side for side in card.size_mm)
        shapes.append(shapely.box(-x, -y, x, y))
    x0, y0, x1, y1 = shapely.total_bounds([one for one in shapes if not one.is_empty])
    more = BEYOND * max(x1 - x0, y1 - y0)
    return float(x0 - more), float(y0 - more), float(x1 + more), float(y1 + more)
