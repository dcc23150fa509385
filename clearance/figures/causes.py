"""Figure of causes: readings against classes, the likeliest on top, on one page of A4.

In: a `CausesResult`. Out: a Matplotlib `Figure`. Nothing is decided here.
"""

from __future__ import annotations

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from clearance.figures import style
from clearance.figures.paper import shortened, width_in, wrapped
from clearance.report.causes import how_known, ranges_words, ratio_words
from clearance.result.causes import CauseClass, CausesResult, ReadingUsed
from clearance.verdict.numbers import counted, given, height, near

MOST_ROWS, MOST_COLUMNS = 12, 5
"""Classes and readings on the page; the rest are counted."""
LEFT, NAMES, RIGHT, FOOT, HEAD = 0.04, 0.30, 0.70, 0.12, 0.80
"""Ends of the columns of readings and of their rows, of the page."""
REACH = 6.0
"""Standard uncertainties to either side that are drawn; what lies beyond has an arrow."""
HALF, LEAST = 0.24, 0.12
"""Half the height of a bar, of its row; its least width, in standard uncertainties."""


def causes_figure(result: CausesResult) -> Figure:
    """One page of A4, landscape."""
    with mpl.rc_context(style.SETTINGS):
        figure = Figure(figsize=style.A4_LANDSCAPE_IN)
        _title(figure, result)
        rows = result.classes[:MOST_ROWS]
        columns = _columns(result, rows)
        _names(figure, rows)
        if not rows:
            figure.text(LEFT, 0.5 * (HEAD + FOOT), "no suspect is left")
        for n, (at, reading) in enumerate(columns):
            _column(figure, result, rows, (n, len(columns)), at, reading)
        _outcomes(figure, rows)
        _foot(figure, result, len(columns))
        return figure


def _columns(result: CausesResult, rows: tuple[CauseClass, ...]) -> list[tuple[int, ReadingUsed]]:
    """Readings that were measured, the ones that part the classes most first."""
    found = [(n, one) for n, one in enumerate(result.readings) if one.u is not None]

    def spread(column: tuple[int, ReadingUsed]) -> float:
        ends = [end for row in rows for end in (row.predicted[column[0]] or ())]
        u = column[1].u or 1.0
        return -(max(ends) - min(ends)) / u if ends else 0.0

    return sorted(sorted(found, key=spread)[:MOST_COLUMNS])


def _title(figure: Figure, result: CausesResult) -> None:
    words = f"{result.part}: {result.decision.said}"
    room = 0.92 * style.A4_LANDSCAPE_IN[0]
    lines = wrapped(words, room, style.TITLE_PT, bold=True)
    lines = [*lines[:2], " ".join(lines[2:])] if len(lines) > 3 else lines
    lines = [shortened(line, room, style.TITLE_PT, bold=True) for line in lines]
    figure.text(LEFT, 0.975, "\n".join(lines), fontsize=style.TITLE_PT, weight="bold", va="top")


def _y(n: int, rows: int) -> float:
    """Middle of a row, of the page."""
    step = (HEAD - FOOT) / max(rows, 4)
    return HEAD - (n + 0.5) * step


def _row_in(rows: int) -> float:
    return (HEAD - FOOT) / max(rows, 4) * style.A4_LANDSCAPE_IN[1]


def _names(figure: Figure, rows: tuple[CauseClass, ...]) -> None:
    room = (NAMES - LEFT - 0.01) * style.A4_LANDSCAPE_IN[0]
    fits = max(1, int(_row_in(len(rows)) / (1.25 * style.SMALLEST_PT / 72.0)))
    for n, one in enumerate(rows):
        words = ranges_words(one.ranges) + (" (as told)" if one.told else "")
        lines = wrapped(words, room, style.SMALLEST_PT)
        if len(lines) > fits:
            last = shortened(" ".join(lines[fits - 1 :]), room, style.SMALLEST_PT)
            lines = [*lines[: fits - 1], last]
        figure.text(LEFT, _y(n, len(rows)), "\n".join(lines), va="center")


def _column(
    figure: Figure,
    result: CausesResult,
    rows: tuple[CauseClass, ...],
    place: tuple[int, int],
    at: int,
    reading: ReadingUsed,
) -> None:
    """One reading: where each class would have it, in its uncertainties off what was read."""
    number, count = place
    wide = (RIGHT - NAMES) / count
    axes = figure.add_axes((NAMES + number * wide, FOOT, 0.9 * wide, HEAD - FOOT))
    axes.set_xlim(-REACH, REACH)
    axes.set_ylim(max(len(rows), 4), 0.0)
    axes.set_yticks([])
    axes.spines[["top", "right", "left"]].set_visible(False)
    u = "" if count > MOST_COLUMNS // 2 else " u"  # the foot says what the numbers are
    axes.set_xticks([-5, 0, 5], [f"-5{u}", "0", f"+5{u}"])
    axes.axvspan(-result.k, result.k, color=style.PALER, zorder=0)
    axes.axvline(0.0, color=style.INK, linewidth=style.LINE_PT, zorder=1)
    assert reading.u is not None
    assert reading.value is not None
    for n, one in enumerate(rows):
        span = one.predicted[at]
        if span is None:
            axes.text(0.0, n + 0.5, "not told", ha="center", va="center", bbox=style.BACKED)
            continue
        low, high = ((end - reading.value) / reading.u for end in span)
        _bar(axes, n + 0.5, low, high)
    room = 0.88 * wide * style.A4_LANDSCAPE_IN[0]
    read = f"{height(reading.value)} {reading.unit}", f"u {given(round(reading.u, 4))}"
    fits = width_in(", ".join(read), style.SMALLEST_PT) <= room
    words = wrapped(reading.kind.replace("_", " "), room, style.SMALLEST_PT)
    words += [", ".join(read)] if fits else read
    axes.set_title("\n".join(words), fontsize=style.SMALLEST_PT)


def _bar(axes: Axes, y: float, low: float, high: float) -> None:
    """The range in which a class would have it; an arrow at the edge where it lies beyond."""
    if high < -REACH or low > REACH:
        side = -1.0 if high < -REACH else 1.0
        axes.annotate(
            "", (side * REACH, y), (side * (REACH - 1.4), y),
            arrowprops={"arrowstyle": "-|>", "color": style.INK, "linewidth": style.LINE_PT},
        )  # fmt: skip
        return
    grow = max(0.5 * (LEAST - (high - low)), 0.0)
    low, high = max(low - grow, -REACH), min(high + grow, REACH)
    axes.add_patch(
        Rectangle((low, y - HALF), high - low, 2.0 * HALF, zorder=3, **style.DRILL.patch())
    )


def _outcomes(figure: Figure, rows: tuple[CauseClass, ...]) -> None:
    """How strongly the readings speak against a class, and what is recommended of it."""
    x, step = RIGHT + 0.01, 1.0 / style.A4_LANDSCAPE_IN[0]
    y = HEAD + 0.012
    figure.text(x, y, "likelihood against\nthe best", va="baseline")
    figure.text(x + 1.55 * step, y, "recommended", va="baseline")
    size = 0.16
    for n, one in enumerate(rows):
        at = _y(n, len(rows))
        said = f"{ratio_words(one.ratio)}\n{one.words}"
        if one.words == "none":
            said = "best" if n == 0 else "as good"
        figure.text(x, at, said, va="center")
        word = one.recommendation or "not looked at"
        if word in style.MARKS:
            high = size / style.A4_LANDSCAPE_IN[1]
            corner = (x + 1.55 * step, at - 0.5 * high)
            look = style.MARKS[word][1].patch()
            box = Rectangle(corner, size * step, high, transform=figure.transFigure, **look)
            figure.add_artist(box)
        how = how_known(one)
        said = f"{word}\n({how})" if how else word
        figure.text(x + (1.6 + size) * step, at, said, va="center")


def _foot(figure: Figure, result: CausesResult, columns: int) -> None:
    """How to read it, and what is not on the page."""
    words = [
        "Bars: where a reading should be if the class were true, in standard uncertainties off "
        f"what was read (line). Shaded: {near(result.k)} u; a suspect whose bar lies beyond is "
        "excluded."
    ]
    measured = sum(one.u is not None for one in result.readings)
    left_out = []
    if measured > columns:
        left_out.append(f"{measured - columns} measured readings that part the classes less")
    if len(result.readings) > measured:
        weigh = len(result.readings) - measured
        left_out.append(f"{counted(weigh, 'reading')} without an uncertainty")
    if len(result.classes) > MOST_ROWS:
        left_out.append(f"{len(result.classes) - MOST_ROWS} less likely classes")
    if left_out:
        words.append(f"Not on this page: {', '.join(left_out)}.")
    words.append("No release; the responsible engineer decides.")
    room = 0.92 * style.A4_LANDSCAPE_IN[0]
    lines = wrapped(" ".join(words), room, style.SMALLEST_PT)
    assert all(width_in(line, style.SMALLEST_PT) <= room + 0.1 for line in lines)
    figure.text(LEFT, 0.02, "\n".join(lines), va="bottom")
