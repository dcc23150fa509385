"""Figures: what a drawing shows, put on a sheet.

In: a `LevelSection`. Out: a Matplotlib `Figure`, and its bytes as PNG, PDF or
SVG. Nothing is decided here; the same input gives the same bytes.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import matplotlib as mpl
import numpy as np
import shapely
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Rectangle
from matplotlib.patheffects import withStroke

from clearance.drawing.level_parts import DETAIL_LETTERS, Detail, LevelSection, Row, Void
from clearance.figures import style
from clearance.figures.areas import draw_level, key_of, swatch
from clearance.figures.deviations import draw_deviations
from clearance.figures.paper import shortened, width_in, wrapped
from clearance.figures.scale import (
    MM_PER_INCH,
    inches_per_mm,
    ratio,
    scale_bar,
    size_in,
    standard,
    to_scale,
    true_scale,
)
from clearance.report.headline import SEVERITY
from clearance.result import State

MAIN = (0.35, 0.95, 7.8, 6.6)
"""Left, bottom, width and height of the section's axes, inches."""
SIDE = (8.4, 1.2, 2.95, 6.35)
"""The same of the column beside it: detail, passages, key."""
WORDS_IN = SIDE[2] - 0.46
"""Room for words beside what a key explains."""
LINE_IN = 0.165
"""Height of a line of the smaller letters."""
ROW_IN, KEY_IN = 0.42, 0.23
"""Height of a passage's row and of a line of the key."""
GAP_IN, TICK_IN, ROUNDING_IN = 0.08, 0.42, 0.01
NAME_IN = 0.8
"""Width of a name within a detail, at most."""
"""Air between labels, and between numbers of an axis."""
AXIS_IN = 0.12
"""The level axis stands this far below the part; the scale bar stands left of it."""
DETAIL_IN, SMALL_DETAIL_IN, FEW_ROWS = 2.75, 1.9, 4
"""Size of the detail, and with more passages than so many to list below it."""
MOST_KEYED = 6
"""With more passages than so many the rings are explained by state, as not every row may fit."""
FEW_LABELS, MOST_LABELS = 8, 20
"""More pieces than this: open ones go without a label."""
LEADER_IN, NUMBERS_IN = 0.3, 0.5
"""Room for leaders between a part and the labels beside it, and for the numbers of an axis beyond
them."""


@dataclass(frozen=True)
class Room:
    """Inches beside a part for labels, above it for air, below it for an axis."""

    label_in: float = 2.0
    edge_in: float = 0.2
    foot_in: float = 0.42
    leader_in: float = LEADER_IN

    @property
    def words_in(self) -> float:
        """Inches for a label's line."""
        return self.label_in - self.leader_in - NUMBERS_IN - GAP_IN

    def about(self, voids: Sequence[Void]) -> Room:
        """The same with no more room beside the part than the labels take."""
        lines = [
            width_in(line, style.SMALLEST_PT)
            for void in _labelled(voids)
            for words in void.label
            for line in wrapped(words, self.words_in, style.SMALLEST_PT)
        ]
        widest = max(lines, default=0.0) + ROUNDING_IN
        return replace(self, label_in=self.leader_in + NUMBERS_IN + GAP_IN + widest)


ROOMY = Room()
BESIDE_ARROWS = Room(label_in=2.45, leader_in=LEADER_IN + 0.45)
"""With room for arrows and their numbers between part and labels."""


def level_figure(section: LevelSection) -> Figure:
    """An A4 sheet, landscape: the section, a detail, the passages, the key."""
    with mpl.rc_context(style.SETTINGS):
        figure = Figure(figsize=style.A4_LANDSCAPE_IN)
        axes = placed_axes(figure, MAIN)
        about = (BESIDE_ARROWS if section.deviations else ROOMY).about(section.voids)
        frame(axes, section, MAIN[2:], about)
        title = f"section A-A ({ratio(true_scale(axes))})"
        axes.set_title(title, fontsize=style.SMALLEST_PT, loc="left", fontweight="bold")
        draw_level(axes, section)
        lowest = labels(axes, section.voids, section.bounds, MAIN[2:], about)
        draw_deviations(axes, section.deviations)
        outline_axes(axes, section.bounds, lowest, MAIN[2:], about)
        room = SIDE[3]
        if section.detail is not None:
            room = _detail(figure, axes, section, section.detail)
        _side(figure, section, room)
        _words(figure, section)
    return figure


# ---- the sheet -------------------------------------------------------------------------------


def placed_axes(figure: Figure, box: Sequence[float]) -> Axes:
    """Axes at a place given in inches."""
    width, height = style.A4_LANDSCAPE_IN
    place = (box[0] / width, box[1] / height, box[2] / width, box[3] / height)
    return figure.add_axes(place)


def frame(
    axes: Axes,
    section: LevelSection,
    size: Sequence[float],
    room: Room = ROOMY,
) -> None:
    """Limits at one scale of `SCALES`, with room for labels left and right, and a scale bar."""
    x0, y0, x1, y1 = section.bounds
    width, height = size
    scale = drawn_scale(section, size, room)
    up = 0.5 * (room.edge_in - room.foot_in) / scale
    aside = 0.5 * NUMBERS_IN / scale  # numbers of an axis stand left alone
    middle = 0.5 * (x0 + x1) - aside, 0.5 * (y0 + y1) + up
    axes.set_xlim(middle[0] - 0.5 * width / scale, middle[0] + 0.5 * width / scale)
    axes.set_ylim(middle[1] - 0.5 * height / scale, middle[1] + 0.5 * height / scale)


def drawn_scale(section: LevelSection, size: Sequence[float], room: Room) -> float:
    """Inches on paper for a mm of a section that is framed in axes of a size."""
    x0, y0, x1, y1 = section.bounds
    most = min(
        (size[0] - 2.0 * room.label_in + NUMBERS_IN) / max(x1 - x0, 1e-6),
        (size[1] - room.edge_in - room.foot_in) / max(y1 - y0, 1e-6),
    )
    return standard(most * MM_PER_INCH) / MM_PER_INCH


def height_needed(section: LevelSection, size: Sequence[float], room: Room) -> float:
    """Height that a section takes of axes in which it is framed, inches."""
    _, y0, _, y1 = section.bounds
    return (y1 - y0) * drawn_scale(section, size, room) + room.edge_in + room.foot_in


def outline_axes(
    axes: Axes, bounds: Sequence[float], lowest: float, size: Sequence[float], room: Room = ROOMY
) -> None:
    """Lines and numbers of the axes beside a part and its labels, and the scale bar.

    They reach as far as the part does; their names stand at their ends.
    """
    x0, y0, x1, y1 = bounds
    scale = inches_per_mm(axes, size[0])
    corner = x0 - (room.label_in - NUMBERS_IN) / scale, min(lowest, y0) - AXIS_IN / scale
    at = axes.transLimits.transform((x0 - room.label_in / scale, corner[1]))
    scale_bar(axes, float(at[0]), float(at[1]), words_below=True)
    axes.spines[["top", "right"]].set_visible(False)
    axes.spines["bottom"].set_bounds(x0, x1)
    axes.spines["left"].set_bounds(y0, y1)
    axes.spines["bottom"].set_position(("data", corner[1]))
    axes.spines["left"].set_position(("data", corner[0]))
    for axis, low, high in ((axes.xaxis, x0, x1), (axes.yaxis, y0, y1)):
        ticks = _ticks(low, high, scale)
        axis.set_ticks(ticks, [f"{round(tick, 1) + 0.0:g}".replace("-", "−") for tick in ticks])
    axes.xaxis.set_label_coords(x1 + 0.08 / scale, corner[1], transform=axes.transData)
    axes.yaxis.set_label_coords(
        corner[0] + 0.06 / scale, y1 + 0.13 / scale, transform=axes.transData
    )
    axes.xaxis.label.set(ha="left", va="center")
    axes.yaxis.label.set(ha="right", va="center", rotation=0.0)


def _ticks(low: float, high: float, scale: float) -> list[float]:
    """Round numbers within bounds, no nearer to each other than their digits allow.

    Where that leaves less than two, the bounds.
    """
    power = 10.0 ** np.floor(np.log10(TICK_IN / scale))
    step = next(n * power for n in (1.0, 2.0, 5.0, 10.0) if n * power * scale >= TICK_IN)
    found = step * np.arange(np.ceil(low / step), np.floor(high / step) + 1)
    return [float(tick) for tick in found] if len(found) > 1 else [low, high]


def labels(
    axes: Axes,
    voids: Sequence[Void],
    bounds: Sequence[float],
    size: Sequence[float],
    room: Room = ROOMY,
) -> float:
    """Name the pieces left and right of a part with bounds, with a leader to each.

    Returns the height of the lowest label's foot; the part's own where there is none.
    """
    lowest = bounds[1]
    voids = _labelled(voids)
    low, high = axes.get_xlim()
    per_mm = inches_per_mm(axes, size[0])
    ordered = sorted(voids, key=lambda v: v.at[0])
    half = (len(ordered) + 1) // 2
    if len(ordered) <= FEW_LABELS:  # else both sides are needed, whatever lies where
        near = sum(void.at[0] < 0.5 * (low + high) for void in ordered)
        if max(map(labels_in, (ordered[:near], ordered[near:]))) <= size[1] - room.foot_in - 0.05:
            half = near
    for side, group in (("left", ordered[:half]), ("right", ordered[half:])):
        away = room.leader_in / per_mm
        edge = bounds[0] - away if side == "left" else bounds[2] + away
        bottom, top = room.foot_in, size[1] - 0.05
        lines = _that_fit_beside([void.label for void in group], top - bottom, room.words_in)
        places = spread(
            [(void.at[1] - axes.get_ylim()[0]) * per_mm for void in group],
            [LINE_IN * len(text) for text in lines],
            bottom,
            top,
        )
        for void, text, y_in in zip(group, lines, places, strict=True):
            y = axes.get_ylim()[0] + y_in / per_mm
            _label(axes, void, text, (edge, y), side, per_mm)
            lowest = min(lowest, y - 0.5 * LINE_IN * len(text) / per_mm)
    return lowest


def _labelled(voids: Sequence[Void]) -> list[Void]:
    """Pieces that get a label: not the open ones where there are many, the gravest first."""
    if len(voids) > MOST_LABELS:
        voids = [v for v in voids if v.state is not State.OPEN]
    gravest = sorted(voids, key=lambda v: SEVERITY.index(v.state))[:MOST_LABELS]
    if len(gravest) > FEW_LABELS:  # where each lies nearest to is told where there is room
        gravest = [replace(void, label=void.label[:3]) for void in gravest]
    return gravest


def labels_in(voids: Sequence[Void]) -> float:
    """Height that the labels of some pieces take, their lines whole, inches."""
    return sum(LINE_IN * len(void.label) + GAP_IN for void in voids)


def _that_fit_beside(
    labels: Sequence[Sequence[str]], room_in: float, words_in: float
) -> list[list[str]]:
    """Lines of labels: all of them wrapped, or fewer and shortened where there is no room."""
    whole = [
        [piece for line in label for piece in wrapped(line, words_in, style.SMALLEST_PT)]
        for label in labels
    ]
    if sum(LINE_IN * len(lines) + GAP_IN for lines in whole) <= room_in:
        return whole
    most = max(int((room_in / len(labels) - GAP_IN) / LINE_IN), 1)
    cut = (_in_lines(label, most, words_in) for label in labels)
    return [[shortened(line, words_in, style.SMALLEST_PT) for line in lines] for lines in cut]


def _in_lines(label: Sequence[str], most: int, words_in: float) -> Sequence[str]:
    """A label in fewer lines: a long name is shortened, the word of the state is not.

    A name that has room alone stands alone: its ring tells the state.
    """
    name, *others = label
    if most > 1 and others:
        last = ", ".join(others[most - 2 :])
        fits = width_in(last, style.SMALLEST_PT) <= words_in
        return (name, *others[: most - 2], last) if fits else label[:most]
    state = f", {others[0]}" if others else ""
    room_in = words_in - width_in(state, style.SMALLEST_PT)
    if room_in < width_in(name, style.SMALLEST_PT) <= words_in:
        return [name]
    return [f"{shortened(name, room_in, style.SMALLEST_PT)}{state}"]


def _label(
    axes: Axes,
    void: Void,
    lines: list[str],
    at: tuple[float, float],
    side: str,
    per_mm: float,
) -> None:
    for n, line in enumerate(lines):  # one by one: lines of one text lie unevenly
        text = axes.text(
            at[0],
            at[1] + (0.5 * (len(lines) - 1) - n) * LINE_IN / per_mm,
            line,
            ha="right" if side == "left" else "left",
            va="center_baseline",
            fontsize=style.SMALLEST_PT,
            color=style.INK,
        )
        text.set_gid("label")
    step = 0.04 / per_mm
    start = (at[0] + step if side == "left" else at[0] - step, at[1])
    axes.annotate(
        "", xy=_rim(void, start), xytext=start,
        arrowprops={
            "arrowstyle": "-|>", "linewidth": style.LEADER_PT, "color": style.INK,
            "shrinkA": 0, "shrinkB": 0, "mutation_scale": 5,
            "path_effects": [withStroke(linewidth=style.HALO_PT, foreground=style.PAPER)],
        },
    ).set_gid("leader")  # fmt: skip


def _rim(void: Void, start: tuple[float, float]) -> tuple[float, float]:
    """Where a line to the middle of a piece meets its outline: the arrow hides nothing inside."""
    inside = shapely.LineString([start, void.at]).intersection(void.nominal)
    ends = shapely.get_coordinates(inside)
    if not len(ends):
        return void.at
    x, y = ends[int(np.argmin(np.hypot(*(ends - start).T)))]
    return float(x), float(y)


def spread(wanted: list[float], heights: list[float], low: float, high: float) -> list[float]:
    """Middles of labels, each as near to its wanted height as leaves them apart.

    Where they do not all fit they are set closer, evenly.
    """
    if not wanted:
        return []
    order = np.argsort(wanted, kind="stable")
    size = np.asarray(heights)[order] + GAP_IN
    if size.sum() > high - low:
        size *= (high - low) / size.sum()
    offset = np.cumsum(size) - 0.5 * size
    # The gaps between neighbours are met if wanted - offset never falls.
    level = _rising(np.asarray(wanted)[order] - offset)
    level = np.clip(level, low, high - size.sum())
    places = np.empty(len(wanted))
    places[order] = level + offset
    return [float(place) for place in places]


def _rising(values: Any) -> Any:
    """Nearest sequence that never falls (least squares): neighbours that do are pooled."""
    pools: list[list[float]] = []
    for value in values:
        pools.append([float(value)])
        while len(pools) > 1 and np.mean(pools[-2]) > np.mean(pools[-1]):
            last = pools.pop()
            pools[-1] += last
    return np.concatenate([np.full(len(pool), np.mean(pool)) for pool in pools])


def _detail(figure: Figure, main: Axes, section: LevelSection, detail: Detail) -> float:
    """Draw the detail at the top of the side column; return the room that is left below it."""
    title = wrapped(detail.title, SIDE[2], style.SMALLEST_PT)
    room = SIDE[3] - LINE_IN * len(title) - 0.08
    size = DETAIL_IN if len(section.rows) <= FEW_ROWS else SMALL_DETAIL_IN
    axes = placed_axes(figure, (SIDE[0], SIDE[1] + room - size, size, size))
    to_scale(axes, detail.bounds)
    draw_level(axes, section)
    name_in_detail(axes, detail)
    mark_detail(main, axes)
    axes.set_xlabel("")
    axes.set_ylabel("")
    axes.set_xticks([])
    axes.set_yticks([])
    scale_bar(axes, 0.0, -0.035)  # below it, where it hides nothing
    axes.set_title("\n".join(title), fontsize=style.SMALLEST_PT, loc="left", pad=4)
    text = panel_axes(figure, SIDE)
    at = room - size - 0.26
    for line in (
        piece for words in detail.lines for piece in wrapped(words, SIDE[2], style.SMALLEST_PT)
    ):
        text.text(0.0, at, line, fontsize=style.SMALLEST_PT, va="top")
        at -= LINE_IN
    return at - 0.1


def name_in_detail(axes: Axes, detail: Detail) -> None:
    """Names of what a detail shows, at their places, one above the other where they would meet."""
    scale = inches_per_mm(axes, size_in(axes)[0])
    low, high = (end * scale for end in axes.get_ylim())
    names = [shortened(name, NAME_IN, style.SMALLEST_PT, bold=True) for name, _ in detail.named]
    lines = [LINE_IN] * len(names)
    heights = spread([at[1] * scale for _, at in detail.named], lines, low, high)
    for name, (_, at), height in zip(names, detail.named, heights, strict=True):
        axes.annotate(
            name, (at[0], height / scale), ha="center", va="center",
            fontsize=style.SMALLEST_PT, fontweight="bold", bbox=style.BACKED, zorder=8,
            annotation_clip=True,
        ).set_gid("circuit")  # fmt: skip


def mark_detail(
    axes: Axes, detail: Axes, letter: str = DETAIL_LETTERS[0], above: bool = True
) -> None:
    """The place of a detail, with its letter."""
    (x0, x1), (y0, y1) = detail.get_xlim(), detail.get_ylim()
    axes.add_patch(
        Rectangle(
            (x0, y0),
            x1 - x0,
            y1 - y0,
            fill=False,
            edgecolor=style.INK,
            linewidth=style.THIN_PT,
            path_effects=[withStroke(linewidth=style.HALO_PT, foreground=style.PAPER)],
        )
    )
    axes.annotate(
        letter,
        (x1, y1 if above else y0), (1, 1 if above else -1), textcoords="offset points",
        va="bottom" if above else "top", ha="left",
        fontsize=style.SMALLEST_PT, fontweight="bold", bbox=style.BACKED, zorder=7,
    )  # fmt: skip


def panel_axes(figure: Figure, box: Sequence[float]) -> Axes:
    """Axes without lines whose coordinates are inches."""
    axes = placed_axes(figure, box)
    axes.set_xlim(0.0, box[2])
    axes.set_ylim(0.0, box[3])
    axes.set_axis_off()
    return axes


def _side(figure: Figure, section: LevelSection, top: float) -> None:
    """The passages and the key, below `top` inches of the side column."""
    panel = panel_axes(figure, SIDE)
    key: list[tuple[style.Look | State, str]] = [*key_of(section), *_rings(section)]
    panel.text(0.0, top, "passages", fontsize=style.SMALLEST_PT, fontweight="bold", va="top")
    at = top - 0.24
    shown = _that_fit(section.rows, at - KEY_IN * len(key) - 0.08)
    for row in shown:
        name = shortened(row.name, WORDS_IN - 1.1, style.SMALLEST_PT)
        swatch(panel, (0.02, at - 0.12, 0.36, at), row.state)
        _line(panel, at, f"{name}: {row.state.value}")
        _line(panel, at - LINE_IN, row.numbers)
        at -= ROW_IN
    if len(shown) < len(section.rows):
        _line(panel, at, f"and {len(section.rows) - len(shown)} more")
        at -= ROW_IN
    at -= 0.08
    for look, words in key:
        swatch(panel, (0.02, at - 0.12, 0.36, at), look)
        _line(panel, at, shortened(words, WORDS_IN, style.SMALLEST_PT))
        at -= KEY_IN


def _rings(section: LevelSection) -> list[tuple[State, str]]:
    """Rings that no row tells, as those are drawn with the passages' names where they all fit."""
    if len(section.rows) <= MOST_KEYED:
        return []
    drawn = {void.state for void in section.voids}
    return [(state, f"passage {state.value}") for state in SEVERITY if state in drawn]


def _that_fit(rows: Sequence[Row], room_in: float) -> Sequence[Row]:
    """All rows, or as many as there is room for, the gravest first."""
    most = max(int(room_in / ROW_IN), 1)
    if len(rows) <= most:
        return rows
    gravest = sorted(rows, key=lambda row: SEVERITY.index(row.state))
    return gravest[: max(most - 1, 1)]  # one line says how many are left out


def _line(panel: Axes, at: float, words: str) -> None:
    panel.text(0.46, at - 0.06, words, fontsize=style.SMALLEST_PT, va="center")


def _words(figure: Figure, section: LevelSection) -> None:
    """Title and footer."""
    width, height = style.A4_LANDSCAPE_IN
    wide = width - 0.6
    title = wrapped(section.title, wide, style.TITLE_PT, bold=True)[:2]
    figure.text(
        0.3 / width, 1.0 - 0.2 / height, "\n".join(title), fontsize=style.TITLE_PT,
        fontweight="bold", va="top", color=style.INK,
    )  # fmt: skip
    lines = [piece for line in section.footer for piece in wrapped(line, wide, style.SMALLEST_PT)]
    figure.text(
        0.3 / width, 0.15 / height, "\n".join(lines), fontsize=style.SMALLEST_PT, va="bottom",
        color=style.INK, linespacing=1.3,
    )  # fmt: skip
