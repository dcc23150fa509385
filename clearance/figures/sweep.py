"""Figure of a sweep: heights upward, passages side by side, states coloured and hatched.

In: a `Sweep`. Out: a Matplotlib `Figure`. Nothing is decided here.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch, Rectangle
from matplotlib.patheffects import withStroke

from clearance.figures import style
from clearance.figures.paper import shortened, width_in, wrapped
from clearance.figures.scale import size_in
from clearance.result import State
from clearance.sweeps.result import POSSIBLE, PassageHeights, Sweep, runs
from clearance.verdict.names import sheet
from clearance.verdict.numbers import given

BAR = 0.46
"""Width of a passage's bar, of the room it has."""
WAIST, LEAST_SHARE, WORD_IN = 0.12, 0.006, 0.17
"""Width between two states; least height of a state, of the axes'; height of a word, inches."""
MOST_PASSAGES = 6
"""Passages on one sheet."""
NAME_SHARE, MOST_LINES = 0.92, 3
"""Width of a name, of the room of its passage; its lines, at most."""


def sweep_figures(sweep: Sweep) -> list[Figure]:
    """A4 sheets, landscape, with up to six passages each."""
    groups = [
        sweep.passages[n : n + MOST_PASSAGES] for n in range(0, len(sweep.passages), MOST_PASSAGES)
    ]
    return [_figure(sweep, group) for group in groups]


def _figure(sweep: Sweep, passages: tuple[PassageHeights, ...]) -> Figure:
    with mpl.rc_context(style.SETTINGS):
        figure = Figure(figsize=style.A4_LANDSCAPE_IN)
        _title(figure, finding(sweep))
        axes = figure.add_axes((0.07, 0.1, 0.68, 0.76))
        _heights(axes, sweep)
        axes.set_xlim(-0.5, len(passages) - 0.5 + 0.12)
        for n, passage in enumerate(passages):
            _bar(axes, sweep, passage, n)
            _curve(axes, sweep, passage, n)
            _window(axes, sweep, passage, n)
        room = NAME_SHARE * size_in(axes)[0] / (len(passages) + 0.12)
        axes.set_xticks(range(len(passages)), [_named(p, room) for p in passages])
        _case_height(axes, sweep)
        _legend(figure, sweep)
    return figure


def _named(passage: PassageHeights, room_in: float) -> str:
    """Name of a passage and what it requires, no wider than its bar and curve."""
    lines = wrapped(passage.name, room_in, style.SMALLEST_PT)
    if len(lines) > MOST_LINES:
        lines = [*lines[: MOST_LINES - 1], shortened(" ".join(lines[MOST_LINES - 1 :]), room_in,
                 style.SMALLEST_PT)]  # fmt: skip
    return "\n".join([*lines, f"{given(passage.required_mm)} mm required"])


def _title(figure: Figure, words: str) -> None:
    """The finding over the figure, all of it."""
    room = 0.92 * style.A4_LANDSCAPE_IN[0]
    lines, size = wrapped(words, room, style.TITLE_PT, bold=True), style.TITLE_PT
    if len(lines) > 2:
        lines, size = wrapped(words, room, style.SMALLEST_PT, bold=True), style.SMALLEST_PT
    figure.text(0.07, 0.985, "\n".join(lines), fontsize=size, weight="bold", va="top")


def finding(sweep: Sweep) -> str:
    """The title: over which heights the passages conform, and which do not."""
    low, high = sweep.heights_mm[0], sweep.heights_mm[-1]
    whole = [p.name for p in sweep.passages if set(p.state) == {State.OPEN}]
    partly = [p.name for p in sweep.passages if State.OPEN in p.state and p.name not in whole]
    never = [p.name for p in sweep.passages if State.OPEN not in p.state]
    words = [
        f"{', '.join(names)} {word}"
        for names, word in (
            (whole, "open throughout" if sweep.apart_mm is None else "open at each"),
            (partly, "open at some"),
            (never, "open at none"),
        )
        if names
    ]
    if sweep.not_looked_at:
        words.append(f"NOT LOOKED AT: {', '.join(sweep.not_looked_at)}")
    over = f"from {low:g} to {high:g} mm"
    over += "" if sweep.apart_mm is None else f", every {given(sweep.apart_mm)} mm"
    return f"{sweep.part}, {sheet(sweep.stray)} {over}: {'; '.join(words)}"


def _step(sweep: Sweep) -> float:
    h = sweep.heights_mm
    return h[1] - h[0] if len(h) > 1 else 1.0


def _heights(axes: Axes, sweep: Sweep) -> None:
    half = 0.5 * _step(sweep)
    low, high = sweep.heights_mm[0] - half, sweep.heights_mm[-1] + half
    margin = 0.02 * (high - low)
    axes.set_ylim(low - margin, high + margin)
    axes.set_ylabel("height of the sheet above the platform, mm")
    axes.spines[["top", "right"]].set_visible(False)
    axes.tick_params(axis="x", length=0)


def _bar(axes: Axes, sweep: Sweep, passage: PassageHeights, n: int) -> None:
    """States as a column: each from the first height at which it was computed to the last.

    Between two states, where nothing was computed, there is a narrow waist; between all heights
    where they are farther apart than layers.
    """
    rows, heights = runs(passage.state), sweep.heights_mm
    found = _computed(sweep, passage.state)
    least = LEAST_SHARE * float(axes.get_ylim()[1] - axes.get_ylim()[0])
    for (_, last, _), (first, _, _) in itertools.pairwise(found):
        low, high = heights[last], heights[first]
        waist = Rectangle(
            (n - 0.4 + 0.5 * (BAR - WAIST), low), WAIST, high - low, **style.BETWEEN.patch()
        )
        waist.set_zorder(1.5)
        axes.add_patch(waist)
    for first, last, state in found:
        low, high = heights[first], heights[last]
        grow = max(0.5 * (least - (high - low)), 0.0)  # a state of one height is still seen
        size = high - low + 2.0 * grow
        look = style.STATES[state]
        axes.add_patch(Rectangle((n - 0.4, low - grow), BAR, size, zorder=2, **look.patch()))
    for first, last, state in rows:
        low, high = heights[first], heights[last]
        _word(axes, state, (n - 0.4 + 0.5 * BAR, 0.5 * (low + high)), max(high - low, least))


def _computed(sweep: Sweep, values: Sequence[str]) -> list[tuple[int, int, str]]:
    """First and last number and value of every row of heights between which nothing is left out."""
    if sweep.apart_mm is None:
        return runs(values)
    return [(n, n, value) for n, value in enumerate(values)]


def _word(axes: Axes, state: str, at: tuple[float, float], high: float) -> None:
    """The state within its bar, across or along it; none where there is no room for it."""
    wide_in, high_in = size_in(axes)
    (x0, x1), (y0, y1) = axes.get_xlim(), axes.get_ylim()
    along = width_in(state, style.SMALLEST_PT) + 0.1
    room = BAR * wide_in / (x1 - x0), high * high_in / (y1 - y0)
    if min(room) < WORD_IN or max(room) < along:
        return
    axes.text(
        *at, state, rotation=0.0 if along <= room[0] else 90.0, ha="center", va="center",
        fontsize=style.SMALLEST_PT, bbox=style.BACKED, zorder=5,
    )  # fmt: skip


def _curve(axes: Axes, sweep: Sweep, passage: PassageHeights, n: int) -> None:
    """Bracket of the clear diameter beside the states, from 0 at the left to its largest."""
    largest = max(*passage.high_mm, passage.required_mm, 1e-9)
    left, room = n - 0.4 + BAR + 0.05, 0.26
    at = [[left + room * x / largest for x in row] for row in (passage.low_mm, passage.high_mm)]
    if sweep.apart_mm is None:
        axes.fill_betweenx(
            sweep.heights_mm, at[0], at[1], color=style.INK, linewidth=style.LINE_PT, zorder=3
        )
    else:
        _brackets(axes, sweep, at)
    need = left + room * passage.required_mm / largest
    bottom, top = axes.get_ylim()
    required = f"⌀{given(passage.required_mm)} mm"
    for x, word, line, side in ((left, "0", "-", "right"), (need, required, "--", "left")):
        axes.plot([x, x], (bottom, top), color=style.INK, linewidth=style.HAIR_PT, linestyle=line)
        axes.annotate(
            word, (x, top), (0, 2), textcoords="offset points", ha=side,
            fontsize=style.SMALLEST_PT,
        )  # fmt: skip


def _brackets(axes: Axes, sweep: Sweep, at: list[list[float]]) -> None:
    """One at each height, from low to high, joined by dots where nothing was computed."""
    middles = [0.5 * (low + high) for low, high in zip(*at, strict=True)]
    axes.plot(middles, sweep.heights_mm, ":", color=style.INK, linewidth=style.HAIR_PT)
    for low, high, height in zip(*at, sweep.heights_mm, strict=True):
        axes.plot(
            [low, high], [height, height], "s-", color=style.INK, zorder=3,
            linewidth=2.5 * style.LINE_PT, markersize=2.5 * style.LINE_PT,
        )  # fmt: skip


def _window(axes: Axes, sweep: Sweep, passage: PassageHeights, n: int) -> None:
    """Where a drill could reopen the passage, and how far it reaches from each opening."""
    if passage.reopen is None:
        return
    right = n - 0.4
    least = LEAST_SHARE * float(axes.get_ylim()[1] - axes.get_ylim()[0])
    for first, last, answer in _computed(sweep, passage.reopen):
        if answer == POSSIBLE:
            low, size = sweep.heights_mm[first], sweep.heights_mm[last] - sweep.heights_mm[first]
            grow = max(0.5 * (least - size), 0.0)
            corner = right - 0.07, low - grow
            axes.add_patch(
                Rectangle(corner, 0.05, size + 2.0 * grow, zorder=2, **style.DRILL.patch())
            )
    for name in sorted({name for names in passage.drilled_from for name in names}):
        at = [
            h for h, names in zip(sweep.heights_mm, passage.drilled_from, strict=True)
            if name in names
        ]  # fmt: skip
        end, word = (
            (max(at), "up") if passage_begins_low(passage, name, sweep) else (min(at), "down")
        )
        axes.plot(
            [right - 0.09, right + BAR],
            [end, end],
            color=style.INK,
            linewidth=style.LINE_PT,
            zorder=4,
        )
        axes.text(
            right + 0.5 * BAR, end, f"a drill from\nthe {name}\n{word} to here",
            fontsize=style.SMALLEST_PT, ha="center", va="bottom" if word == "up" else "top",
            bbox=style.BACKED, zorder=5,
        )  # fmt: skip


def passage_begins_low(passage: PassageHeights, opening: str, sweep: Sweep) -> bool:
    """Whether an opening lies below the heights that a drill reaches from it."""
    reached = [
        h for h, names in zip(sweep.heights_mm, passage.drilled_from, strict=True)
        if opening in names
    ]  # fmt: skip
    height = passage.openings_mm.get(opening, sweep.heights_mm[0])
    return height <= 0.5 * (min(reached) + max(reached))


def _case_height(axes: Axes, sweep: Sweep) -> None:
    """The height of the case, or its range."""
    low, high = sweep.case_heights_mm
    if high > low:
        axes.axhspan(low, high, color=style.INK, alpha=0.15, linewidth=0.0, zorder=1)
    for height in {low, high}:
        axes.axhline(
            height, color=style.INK, linewidth=style.THIN_PT, linestyle=style.AXIS, zorder=4,
            path_effects=[withStroke(linewidth=style.HALO_PT, foreground=style.PAPER)],
        )  # fmt: skip
    words = f"{low:g}" if low == high else f"{low:g} to {high:g}"
    axes.text(
        1.005, high, f"the case:\n{words} mm", transform=axes.get_yaxis_transform(),
        fontsize=style.SMALLEST_PT, va="center",
    )  # fmt: skip


def _legend(figure: Figure, sweep: Sweep) -> None:
    """What bars and lines mean, in one place."""
    marks: list[Patch | Line2D] = [
        Patch(label=state, **look.patch()) for state, look in style.STATES.items()
    ]
    marks.append(Patch(label="not computed between", **style.BETWEEN.patch()))
    if any(p.reopen is not None for p in sweep.passages):
        marks.append(Patch(label="a drill could reopen it", **style.DRILL.patch()))
    bracket, need = "clear diameter, mm:\nits bracket, from 0", "required"
    marks += [
        Line2D([], [], label=bracket, color=style.INK, linewidth=style.BOLD_PT),
        Line2D([], [], label=need, color=style.INK, linewidth=style.HAIR_PT, linestyle="--"),
    ]
    figure.legend(
        handles=marks, loc="upper left", bbox_to_anchor=(0.815, 0.88), frameon=False,
        labelspacing=0.8,
    )  # fmt: skip
