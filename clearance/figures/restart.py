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
from clearance.figures.scale import (
    inches_per_mm,
    ratio,
    scale_bar,
    size_in,
    to_scale,
    true_scale,
)
from clearance.figures.style import Look
from clearance.report.restart import (
    cooled_words,
    count_words,
    countings,
    eye_words,
    harm_head,
    harm_words,
    height_words,
    number_words,
)
from clearance.restart.card import Card, Layer
from clearance.result.restart import Candidate, RestartResult
from clearance.verdict.numbers import near

CAPITAL = 0.729
"""Height of a capital over the size of the font (DejaVu Sans)."""
LARGE_MM = 10.0
LARGE_PT = LARGE_MM / CAPITAL / 25.4 * 72.0
"""Size at which capitals and digits are 10 mm high."""
LARGE_STEP_IN = 0.56
RIGHT_IN, WRONG_IN, COLUMNS, HAND_IN = (2.2, 4.2), 2.45, 2, 0.45
BEYOND = 0.01
MOST_NAMES = 24
"""More names than this would hide the picture."""
NAME_IN, NAME_STEP_IN = 0.85, 0.15
"""Room for a name beside a picture, and from one to the next."""
MELTED = Look("#8a8a8a", "#000000", width_pt=0.9)
"""A melted layer: toned, with a dark outline; a copy keeps it apart from paper."""
RIGHT_LINE = Look("none", "#000000", line=(0, (4.0, 2.0)), width_pt=0.9)
PLATFORM = Look("none", style.GREY, width_pt=0.6)
HEADS = ("part", "area, mm2", "pieces", "holes", "x, mm", "y, mm")
SAME = "SAME PICTURE: READ NUMBER"
BY_HAND = (
    ("serial", "job", "machine", "date"),
    (
        "number of the job's first layer",
        "reader 1: number, signature",
        "reader 2: number, signature",
    ),
)
"""Boxes to be filled in at the machine, row by row."""


def restart_pages(card: Card, paper: str = "a4") -> list[Figure]:
    """All pages of a card."""
    with mpl.rc_context(style.SETTINGS):
        flow = Flow(
            PAPERS[paper], f"restart card: {card.result.name}; it does not release the part"
        )
        _first(flow, card)
        _wrong(flow, card)
        return flow.numbered(f"{card.result.name}; program {card.result.program}")


def large_lines(result: RestartResult) -> list[tuple[str, ...]]:
    """What is to be read from afar, line by line; side by side where the counting is not known."""
    known = countings(result)
    right = tuple(f"NEXT {result.next_layer + n}" for n in known)
    last = tuple(f"LAST GOOD {result.last_good_layer + n}" for n in known)
    if len(known) == 1:
        return [right, last, ("OTHER NUMBER: STOP",)]
    ask = [("STOP. LOOK ON THE SCREEN:",), ("IS THE FIRST LAYER 0 OR 1?",)]
    return [*ask, tuple(f"IF IT IS {n}:" for n in known), right, last, ("OTHER NUMBER: STOP",)]


def _first(flow: Flow, card: Card) -> None:
    result = card.result
    flow.new_page("restart card")
    title = f"restart card: {result.name}"
    flow.put_whole(Block("", tuple(text_strips(title, flow.wide, style.TITLE_PT, bold=True))))
    for cells in large_lines(result):
        flow.put(Strip(LARGE_STEP_IN, partial(_large, cells)))
    flow.put_whole(Block("", tuple(text_strips(_small(result), flow.wide, bold=True))))
    for names in BY_HAND:
        flow.put(Strip(HAND_IN, partial(_by_hand, names)))
    flow.space(0.1)
    first, _ = _care(card)
    block = Block("take care", listing(first, flow.wide))
    height = min(max(flow.room - block.height, RIGHT_IN[0]), RIGHT_IN[1])
    flow.add_figure(height, partial(_draw_right, card, height))
    flow.add(block)


def _care(card: Card) -> tuple[list[str], list[str]]:
    """Cautions of page 1 and of page 2, which has no room where it lists a plate's parts."""
    result = card.result
    first = [cooled_words(result), result.notices[0], *result.cautions[:2]]
    later = [*result.notices[1:], *result.cautions[2:]]
    return (first, later) if card.size_mm is None else (first + later, [])


def _small(result: RestartResult) -> str:
    """How the machine's counting is found, and where the build stands."""
    found = count_words(result)
    if result.first_number is None:
        found = (
            f"{found.removeprefix('STOP: ').capitalize()}, write it in the box below and cross out "
            "the half that does not hold. Cannot be seen, or neither 0 nor 1: do not start, ask."
        )
    else:
        found = f"{found.capitalize()}. If it is not, do not start: ask."
    return f"{found} {height_words(result).capitalize()}."


def _by_hand(names: tuple[str, ...], page: Page, top: float) -> None:
    wide = (page.width - 2.0 * MARGIN_IN) / len(names)
    for n, name in enumerate(names):
        page.box(MARGIN_IN + n * wide, top - HAND_IN, wide, HAND_IN, 0.8)
        page.text(MARGIN_IN + n * wide + 0.05, top - 0.15, name)


def _right_table(flow: Flow, result: RestartResult) -> None:
    rows = [
        (
            one.name,
            near(one.area_mm2, 1),
            f"{one.islands}",
            f"{one.holes}",
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
    title = "the right layer: what the screen should show"
    flow.add(table(title, HEADS, rows, column_widths(HEADS, rows, flow.wide)))


def _large(cells: tuple[str, ...], page: Page, top: float) -> None:
    step = (page.width - 2.0 * MARGIN_IN) / len(cells)
    for n, words in enumerate(cells):
        left, room = MARGIN_IN + n * step, step - (0.2 if len(cells) > 1 else 0.0)
        if n:
            page.line(left - 0.1, top, left - 0.1, top - LARGE_STEP_IN, 1.5)
        if width_in(words, LARGE_PT, True) > room:  # narrower letters, as high
            _squeezed(page, words, top, left, room)
        else:
            page.text(left, top - LARGE_STEP_IN + 0.1, words, LARGE_PT, fontweight="bold")


def _squeezed(page: Page, words: str, top: float, left: float, room: float) -> None:
    """The same letters 10 mm high, narrower."""
    from matplotlib.font_manager import FontProperties
    from matplotlib.patches import PathPatch
    from matplotlib.textpath import TextPath
    from matplotlib.transforms import Affine2D

    path = TextPath((0.0, 0.0), words, size=LARGE_PT, prop=FontProperties(weight="bold"))
    wide = path.get_extents().x1 / 72.0
    axes = axes_in(page.figure, (left, top - LARGE_STEP_IN + 0.1, room, LARGE_STEP_IN))
    axes.set_axis_off()
    axes.set_xlim(0.0, room)
    axes.set_ylim(0.0, LARGE_STEP_IN)
    scale = Affine2D().scale(min(room / wide, 1.0) / 72.0, 1.0 / 72.0)
    drawn = PathPatch(path.transformed(scale), facecolor=style.INK, linewidth=0.0, gid=words)
    axes.add_artist(drawn)


def _draw_right(card: Card, height: float, page: Page, top: float) -> None:
    side = _side_in(card)
    wide = page.width - 2.0 * (MARGIN_IN + side)
    axes = axes_in(page.figure, (MARGIN_IN + side, top - height + 0.3, wide, height - 0.5))
    box = _box(card)
    to_scale(axes, box)
    _platform(axes, card)
    area(axes, card.right.metal, MELTED, "right")
    _named(axes, card)
    _bare(axes)
    scale_bar(axes, 0.0, -0.04)
    title = f"the right layer ({ratio(true_scale(axes))}), seen from above; x right, y up"
    page.text(MARGIN_IN, top - 0.14, title, style.TEXT_PT, fontweight="bold")


def _wrong(flow: Flow, card: Card) -> None:
    result = card.result
    flow.new_page("wrong layers")
    _right_table(flow, result)
    if result.candidates:
        _numbers(flow, result)
    pairs = list(zip(result.candidates, card.wrong, strict=True))
    told = [pair for pair in pairs if pair[0].told_by_eye]
    if told:
        _pictures(flow, card, told)
    alike = [one for one, _ in pairs if not one.told_by_eye]
    if alike:
        said = [_alike_words(one, result) for one in alike]
        flow.add_figure(LARGE_STEP_IN, partial(_large, (SAME,)))
        words = f"How they differ, and {harm_head(result)}:"
        flow.add(Block("", tuple(text_strips(words, flow.wide, bold=True)), name="same picture"))
        flow.add(Block("", listing(said, flow.wide), name="same picture"))
    later = _care(card)[1]
    if later:
        flow.add(Block("take care, too", listing(later, flow.wide)))


def _numbers(flow: Flow, result: RestartResult) -> None:
    """Right and wrong numbers, a row for each counting."""
    heads = ("first layer on the screen", "RIGHT", "WRONG: STOP")
    wrong = sorted(one.layer for one in result.candidates)
    rows = [
        (f"{n}", f"{result.next_layer + n}", ", ".join(f"{layer + n}" for layer in wrong))
        for n in countings(result)
    ]
    widths = column_widths(heads, rows, flow.wide)
    flow.add(table("which number is right, and some that are wrong", heads, rows, widths))


def _alike_words(one: Candidate, result: RestartResult) -> str:
    return "; ".join((number_words(one.layer, result), eye_words(one, result), *harm_words(one)))


def _pictures(flow: Flow, card: Card, pairs: list[tuple[Candidate, Layer]]) -> None:
    """Wrong layers that can be told from the right one."""
    words = (
        "If the screen shows one of these pictures, stop. Grey: what the wrong layer melts; "
        f"dashed: the right layer. Below each: how it differs, and {harm_head(card.result)} "
        "(names as in the part's file)."
    )
    flow.put_whole(Block("", tuple(text_strips(words, flow.wide, style.TEXT_PT, bold=True))))
    half = flow.wide / COLUMNS - 0.15
    for n in range(0, len(pairs), COLUMNS):
        row = pairs[n : n + COLUMNS]
        told = [_words(one, card.result, half) for one, _ in row]
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
        for k, title in enumerate(number_words(one.layer, card.result).split("; ")):
            page.text(left, top - 0.2 - 0.2 * k, title, style.TITLE_PT, fontweight="bold")
        side = _side_in(card, wrong=True)
        wide = half - 0.15 - 2.0 * side
        axes = axes_in(page.figure, (left + side, top - WRONG_IN + 0.25, wide, WRONG_IN - 0.75))
        to_scale(axes, _box(card))
        _platform(axes, card)
        area(axes, layer.metal, MELTED, "wrong")
        area(axes, card.right.metal, RIGHT_LINE, "right outline")
        _named(axes, card, wrong=True)
        _bare(axes)
        scale_bar(axes, 0.0, -0.04)
        for k, line in enumerate(lines):
            page.text(left, top - WRONG_IN - (k + 0.8) * BODY_PT * LEADING, line)


def _platform(axes: Axes, card: Card) -> None:
    if card.size_mm is not None:
        x, y = (0.5 * side for side in card.size_mm)
        area(axes, shapely.box(-x, -y, x, y), PLATFORM, "platform")


def _names(card: Card, wrong: bool) -> list[tuple[str, float, float]]:
    """Names with places: of a part's passages where they cross the layer, of a plate's parts.

    The small pictures of wrong layers have no room for a plate's.
    """
    if wrong and card.size_mm is not None:
        return []
    if card.size_mm is None:
        there = [one for part in card.result.parts for one in part.passages or ()]
        named = [(one["name"], one["x_mm"], one["y_mm"]) for one in there]
    else:
        ends = [(one.name, one.extents_mm) for one in card.result.parts if one.extents_mm]
        named = [(name, 0.5 * (e[0] + e[2]), 0.5 * (e[1] + e[3])) for name, e in ends]
    return named if len(named) <= MOST_NAMES else []


def _side_in(card: Card, wrong: bool = False) -> float:
    """Room for names on either side of a picture."""
    return NAME_IN if _names(card, wrong) else 0.0


def _named(axes: Axes, card: Card, wrong: bool = False) -> None:
    """Names beside the picture, with a line to each place: on it they would look like holes."""
    x0, y0, x1, _ = _box(card)
    per_mm = inches_per_mm(axes, size_in(axes)[0])
    names = _names(card, wrong)
    for right in (False, True):
        some = sorted((n for n in names if (n[1] > 0.5 * (x0 + x1)) == right), key=lambda n: n[2])
        heights = _spread([(y - y0) * per_mm for _, _, y in some], NAME_STEP_IN)
        for (name, x, y), high in zip(some, heights, strict=True):
            edge = x1 + 0.04 / per_mm if right else x0 - 0.04 / per_mm
            axes.annotate(
                _cut(name), (x, y), xytext=(edge, y0 + high / per_mm), fontsize=style.SMALLEST_PT,
                ha="left" if right else "right", va="center", annotation_clip=False,
                arrowprops={"arrowstyle": "-", "linewidth": 0.6, "shrinkA": 0, "shrinkB": 0},
                zorder=6,
            )  # fmt: skip


def _spread(heights: list[float], step: float) -> list[float]:
    """Rising heights, each at least a step above the one before; moved down again by half."""
    found: list[float] = []
    for high in heights:
        found.append(max(high, found[-1] + step) if found else high)
    over = max((f - h for f, h in zip(found, heights, strict=True)), default=0.0)
    return [high - 0.5 * over for high in found]


def _cut(name: str) -> str:
    """A name that fits beside a picture."""
    room = NAME_IN - 0.08
    while width_in(name, style.SMALLEST_PT) > room and len(name) > 2:
        name = f"{name.rstrip('…')[:-1]}…"
    return name


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
