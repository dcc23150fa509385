"""Figures of a section through a drill's axis, or of why there is no drilling plan.

In: a `DrillSection`. Out: axes in a box of a figure, or a whole sheet.
Nothing is decided here.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import matplotlib as mpl
import numpy as np
import shapely
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patheffects import withStroke

from clearance.drawing.drill import DrillSection
from clearance.drawing.drill_words import compass
from clearance.drawing.level_parts import DETAIL_LETTERS
from clearance.figures import style
from clearance.figures.areas import area, draw_measured
from clearance.figures.deviations import draw_deviations
from clearance.figures.level import GAP_IN as BETWEEN_IN
from clearance.figures.level import mark_detail, spread
from clearance.figures.paper import wrapped
from clearance.figures.scale import scale_bar, size_in, to_scale

COLUMN_IN, PLAN_IN, GAP_IN, TITLE_IN, FOOT_IN, BAR_IN = 2.0, 1.4, 0.35, 0.25, 0.45, 0.3
"""Width of the column of detail and plan, height of the plan, air, room for a title and for the
numbers of the level axis, and how far below it the scale bar stands, inches."""
LABEL_IN, MARK_IN, WORDS_IN, FOOTER_IN, PLAN_WIDE_IN = 0.2, 0.26, 4.05, 11.0, 2.6
LEAST_LEAN_DEG = 0.1
"""A drill that leans less is drawn upright."""
ARROW: Any = {
    "arrowstyle": "-|>", "linewidth": 0.8, "color": style.INK, "shrinkA": 0, "shrinkB": 0,
    "mutation_scale": 6,
}  # fmt: skip
Box = tuple[float, float, float, float]
"""Left, bottom, width and height in a figure, inches."""


def words_sheet(title: str, footer: tuple[str, ...], footer_in: float = FOOTER_IN) -> Figure:
    """An empty A4 sheet, landscape, with its title and a footer of some width."""
    figure = Figure(figsize=style.A4_LANDSCAPE_IN)
    width, height = style.A4_LANDSCAPE_IN
    wide = width - 0.7
    lines = wrapped(title, wide, style.TITLE_PT, bold=True)
    if len(lines) > 2:
        lines = wrapped(title, wide, style.SMALLEST_PT, bold=True)
    figure.text(
        0.35 / width, 1.0 - 0.25 / height, "\n".join(lines[:4]), va="top", color=style.INK,
        fontsize=style.TITLE_PT if len(lines) <= 2 else style.SMALLEST_PT, fontweight="bold",
    )  # fmt: skip
    words = [piece for line in footer for piece in wrapped(line, footer_in, style.SMALLEST_PT)]
    figure.text(
        0.35 / width, 0.2 / height, "\n".join(words), fontsize=style.SMALLEST_PT, va="bottom",
        color=style.INK, linespacing=1.3,
    )  # fmt: skip
    return figure


def axes_in(figure: Figure, box: Box) -> Axes:
    """Axes at a place given in inches."""
    width, height = figure.get_size_inches()
    return figure.add_axes((box[0] / width, box[1] / height, box[2] / width, box[3] / height))


# ---- through the drill's axis ----------------------------------------------------------------


def drill_figure(section: DrillSection, footer: tuple[str, ...] = ()) -> Figure:
    """An A4 sheet, landscape: the section through the drill's axis, its plan, its numbers."""
    letters = ("A", "B")
    with mpl.rc_context(style.SETTINGS):
        left, bottom, width, height = (0.85, 1.35, 6.1, 6.1)
        figure = words_sheet(section.title, (*footer, *section.scan), left + width - 0.4)
        main = place_drill(figure, (left, bottom, width, height), section, letters)
        side, top = left + width + 0.3, bottom + height - TITLE_IN
        place_drill_detail(figure, (side, top - COLUMN_IN, COLUMN_IN, COLUMN_IN), section, main)
        foot = top - COLUMN_IN - GAP_IN - TITLE_IN - PLAN_IN
        _plan(axes_in(figure, (side, foot, PLAN_WIDE_IN, PLAN_IN)), section, letters)
        words = [
            piece for line in section.lines for piece in wrapped(line, WORDS_IN, style.SMALLEST_PT)
        ]
        figure.text(
            side / figure.get_figwidth(), (foot - 0.4) / figure.get_figheight(), "\n".join(words),
            fontsize=style.SMALLEST_PT, va="top", color=style.INK, linespacing=1.35,
        )  # fmt: skip
    return figure


def place_drill(figure: Figure, box: Box, section: DrillSection, letters: tuple[str, str]) -> Axes:
    """Draw the section in a box of a figure, its title and its axes included.

    Parameters
    ----------
    letters : (str, str)
        Of the section through the axis, and of the level section that it meets.
    """
    left, bottom, width, height = box
    axes = axes_in(figure, (left, bottom + FOOT_IN, width, height - FOOT_IN - TITLE_IN))
    draw_drill(axes, section)
    through = f"the {section.tool}'s axis" if section.depth_mm > 0.0 else "port and sheet"
    # Two sections of one part may look to opposite sides: which way it is tilted hangs on that.
    right = compass(*(section.trace[1] - section.trace[0]))
    title = f"section {letters[0]}-{letters[0]} through {through}; right is {right}"
    _titled(axes, title, section, letters[1])
    scale_bar(axes, 0.0, -BAR_IN / size_in(axes)[1])
    return axes


def draw_drill(axes: Axes, section: DrillSection) -> Axes:
    """Draw part, sheet, drill and holder, the axis, depth and names."""
    to_scale(axes, section.bounds)
    near = np.ptp(axes.get_xlim())
    to_scale(axes, section.with_holder)
    if np.ptp(axes.get_xlim()) > 2.01 * near:
        to_scale(axes, section.bounds)  # the holder is too far off to be shown
    _aside(axes, section)
    _cut(axes, section, with_holder=True)
    u0, u1 = axes.get_xlim()
    if section.depth_mm > 0.0:
        axis = np.stack([section.entry, section.tip])
        out = (axis[0] - axis[1]) / max(float(np.linalg.norm(axis[0] - axis[1])), 1e-9)
        line = np.stack([axis[0] + 4.0 * out, axis[1] - 2.0 * out])
        axes.plot(*line.T, color=style.INK, linestyle=style.AXIS, linewidth=style.THIN_PT)
        _dimension(axes, section, out)
        _lean(axes, section, out)
    _nearest_line(axes, section)
    draw_deviations(axes, section.deviations)
    axes.set_aspect("equal", adjustable="box")
    axes.set_xlabel("across from the entry, mm", loc="right")
    axes.set_ylabel("z above the platform, mm")
    _names(axes, section, 0.02 * (u1 - u0))
    return axes


def _aside(axes: Axes, section: DrillSection) -> None:
    """Move what is shown to the left by some of the room beside it: names stand right."""
    u0, u1 = axes.get_xlim()
    spare = max((u1 - u0) - (section.with_holder[2] - section.with_holder[0]), 0.0)
    axes.set_xlim(u0 + 0.3 * spare, u1 + 0.3 * spare)


def _nearest_line(axes: Axes, section: DrillSection) -> None:
    """The best line of a passage without a plan, and a cross where the wall is nearest to it.

    The cross is pale where that lies before or behind the plane.
    """
    if section.line is None:
        return
    rim = [withStroke(linewidth=style.BOLD_PT + 2.0, foreground=style.PAPER)]
    for one in axes.plot(
        *section.line.T, color=style.INK, linestyle=style.AXIS, linewidth=style.BOLD_PT,
        path_effects=rim, zorder=5,
    ):  # fmt: skip
        one.set_gid("nearest line")
    if section.stopped is not None:
        colour = style.PAPER if section.stopped_off else style.WARN
        axes.plot(
            *section.stopped, color=colour, marker="X", markersize=9.0, zorder=7,
            markeredgecolor=style.INK, markeredgewidth=style.THIN_PT,
        )  # fmt: skip


def _lean(axes: Axes, section: DrillSection, out: np.ndarray) -> None:
    """Angle between the drill's axis and the vertical, before the entry (ISO 129-1)."""
    up = np.array([0.0, 1.0 if out[1] > 0.0 else -1.0])
    angle = float(np.degrees(np.arccos(np.clip(out @ up, -1.0, 1.0))))
    if angle < LEAST_LEAN_DEG:
        return
    reach = 0.75 * float(np.linalg.norm(section.tip - section.entry))
    turns = np.linspace(0.0, 1.0, 20)[:, None]
    arc = (1.0 - turns) * up + turns * out
    arc = section.entry + reach * arc / np.linalg.norm(arc, axis=1, keepdims=True)
    upright = np.stack([section.entry, section.entry + 1.05 * reach * up])
    axes.plot(*upright.T, color=style.INK, linewidth=style.HAIR_PT)
    axes.plot(*arc.T, color=style.INK, linewidth=style.THIN_PT)
    for tail, head in ((arc[2], arc[0]), (arc[-3], arc[-1])):
        axes.annotate("", tuple(head), tuple(tail), arrowprops=ARROW)
    side = "left" if out[0] <= 0.0 else "right"
    axes.annotate(
        f"{angle:.1f}°", tuple(arc[0]), (3 if side == "left" else -3, 0),
        textcoords="offset points", fontsize=style.SMALLEST_PT, va="center", ha=side,
        bbox=style.BACKED, zorder=6,
    )  # fmt: skip


def _cut(axes: Axes, section: DrillSection, with_holder: bool) -> None:
    if with_holder:
        area(axes, section.holder, style.HOLDER, "holder")
    area(axes, section.drill, style.DRILL, "drill")
    area(axes, section.part, style.METAL, "metal")
    area(axes, section.loose, style.UNMELTED, "unmelted")
    area(axes, section.stray, style.STRAY, "stray")
    draw_measured(axes, section.measured)


def _titled(axes: Axes, title: str, section: DrillSection, level: str) -> None:
    """The title, and the line in which the level section lies."""
    axes.set_title(title, fontsize=style.SMALLEST_PT, loc="left", pad=4)
    (u0, u1), v = axes.get_xlim(), section.plan_z_mm
    short = 0.035 * (u1 - u0)
    for u, side in ((u0, 1.0), (u1, -1.0)):
        axes.plot(
            (u, u + side * short), (v, v), color=style.INK, linewidth=style.THICK_PT, zorder=5
        )
        axes.annotate(
            "", (u + side * 0.5 * short, v), (0, 11), textcoords="offset points", zorder=5,
            arrowprops=ARROW,
        )  # fmt: skip
        axes.annotate(
            level, (u + side * short, v), (side * 2, 4), textcoords="offset points",
            fontsize=style.SMALLEST_PT, fontweight="bold", va="bottom",
            ha="left" if side > 0 else "right", bbox=style.BACKED, zorder=7,
        )  # fmt: skip


def _dimension(axes: Axes, section: DrillSection, out: np.ndarray) -> None:
    """Depth left of the drill, from entry to tip, with its witness lines: names stand right."""
    side = np.array([-out[1], out[0]])
    if side[0] > 0:
        side = -side
    width = section.detail[2] - section.detail[0]
    away = (0.5 * width + 2.0) * side
    a, b = section.entry + away, section.tip + away
    for start in (section.entry, section.tip):
        line = np.stack([start, start + away + 1.0 * side])
        axes.plot(line[:, 0], line[:, 1], color=style.INK, linewidth=style.HAIR_PT)
    axes.annotate(
        "", xy=tuple(b), xytext=tuple(a),
        arrowprops={
            "arrowstyle": "<->", "linewidth": 0.8, "color": style.INK, "shrinkA": 0, "shrinkB": 0,
        },
    )  # fmt: skip
    middle = 0.5 * (a + b)
    turn = float(np.degrees(np.arctan2(out[1], out[0])))
    axes.annotate(  # along the line, read from below or from the right (ISO 129-1)
        f"{section.depth_mm:.1f}", tuple(middle), tuple(7.0 * side), textcoords="offset points",
        fontsize=style.SMALLEST_PT, va="center", ha="center", bbox=style.BACKED,
        rotation=(turn + 90.0) % 180.0 - 90.0 if abs(turn) != 90.0 else 90.0,
    )  # fmt: skip


def _names(axes: Axes, section: DrillSection, air: float) -> None:
    """Name what is shown, at the right edge, with a leader to each."""
    (u0, u1), (v0, v1) = axes.get_xlim(), axes.get_ylim()
    shown = {name: at for name, at in section.names.items() if u0 < at[0] < u1 and v0 < at[1] < v1}
    per_mm = size_in(axes)[1] / (v1 - v0)
    wanted = np.array([(float(at[1]) - v0) * per_mm + 2.0 * LABEL_IN for at in shown.values()])
    mark = (section.plan_z_mm - v0) * per_mm  # at the edge stands the letter of the level section
    top, each = (v1 - v0) * per_mm - 0.1, LABEL_IN + BETWEEN_IN
    order, count = np.argsort(wanted, kind="stable"), int((wanted <= mark).sum())
    count = min(count, int(max(mark - 0.2, 0.0) / each))
    count = max(count, len(wanted) - int(max(top - mark - MARK_IN, 0.0) / each))
    places = np.empty(len(wanted))
    for group, low, high in (
        (order[:count], 0.1, mark - 0.1),
        (order[count:], mark + MARK_IN, top),
    ):
        places[group] = spread(list(wanted[group]), [LABEL_IN] * len(group), low, high)
    for (name, at), place in zip(shown.items(), places, strict=True):
        text = axes.annotate(
            name, tuple(at), (u1 - air, v0 + place / per_mm), ha="right", va="center",
            fontsize=style.SMALLEST_PT, color=style.INK, bbox=style.BACKED, zorder=6,
            arrowprops={
                "arrowstyle": "-", "linewidth": style.LEADER_PT, "color": style.INK,
                "shrinkA": 0, "shrinkB": 0,
                "path_effects": [withStroke(linewidth=style.HALO_PT, foreground=style.PAPER)],
            },
        )  # fmt: skip
        text.set_gid("name")
        axes.plot(*at, color=style.INK, marker="o", markersize=2.4, zorder=6)


def place_drill_detail(figure: Figure, box: Box, section: DrillSection, main: Axes) -> Axes:
    """Draw the crossing at a larger scale, with the wall margin; title and scale around a box.

    Its place is marked in the main axes.
    """
    axes = axes_in(figure, box)
    _cut(axes, section, with_holder=False)
    to_scale(axes, section.detail)
    axes.set_aspect("equal", adjustable="box")
    axes.set_xticks([])
    axes.set_yticks([])
    mark_detail(main, axes, DETAIL_LETTERS[1], above=False)
    axes.set_title(
        f"detail {DETAIL_LETTERS[1]}: "
        + ("the crossing" if section.stopped is None else "what stops the best line"),
        fontsize=style.SMALLEST_PT,
        loc="left",
        pad=4,
    )
    scale_bar(axes, 0.0, -0.12 / box[3])
    _nearest_line(axes, section)
    if section.margin is not None:
        _margin(axes, section.margin)
    if section.margin_said:
        axes.text(
        0.03, 0.97, section.margin_said, fontsize=style.SMALLEST_PT, va="top",
        transform=axes.transAxes, bbox=style.BACKED, zorder=6,
    )  # fmt: skip
    return axes


def _margin(axes: Axes, margin: Any) -> None:
    """Arrows from both sides onto the narrowest place between drill and wall."""
    wall, tool = margin
    gap = float(np.linalg.norm(tool - wall))
    if gap > 1e-9:
        along = (tool - wall) / gap
        width = float(np.ptp(axes.get_xlim()))
        for at, side in ((wall, -1.0), (tool, 1.0)):
            axes.annotate(
                "", xy=tuple(at), xytext=tuple(at + side * 0.09 * width * along),
                arrowprops=ARROW,
            )  # fmt: skip


def _plan(axes: Axes, section: DrillSection, letters: tuple[str, str]) -> None:
    """Level section at the crossing with the line of the cutting plane."""
    area(axes, section.plan, style.METAL, "metal")
    area(axes, section.plan_loose, style.UNMELTED, "unmelted")
    area(axes, section.plan_stray, style.STRAY, "stray")
    (x0, y0), (x1, y1) = section.trace
    metal = shapely.union_all([section.plan, section.plan_loose])
    bx0, by0, bx1, by1 = metal.bounds if not metal.is_empty else (x0, y0, x1, y1)
    to_scale(
        axes,
        _grown((min(bx0, x0, x1), min(by0, y0, y1), max(bx1, x0, x1), max(by1, y0, y1))),
    )
    axes.set_aspect("equal", adjustable="box")
    axes.set_xticks([])
    axes.set_yticks([])
    draw_trace(axes, letters[0], section.trace)
    title = f"section {letters[1]}-{letters[1]}: horizontal, in the sheet"
    axes.set_title(title, fontsize=style.SMALLEST_PT, loc="left", pad=4)
    scale_bar(axes, 0.0, -0.12 / PLAN_IN)


def draw_trace(axes: Axes, letter: str, trace: np.ndarray) -> None:
    """Draw the line of an upright section in a level one: thick ends, view arrows, letters."""
    along = trace[1] - trace[0]
    size = float(np.linalg.norm(along))
    along = along / max(size, 1e-9)
    view = np.array([-along[1], along[0]])  # the way one looks: u to the right, z up
    axes.plot(*trace.T, color=style.INK, linestyle=style.AXIS, linewidth=style.THIN_PT, zorder=4)
    for at, side in zip(trace, (1.0, -1.0), strict=True):
        end = np.stack([at, at + side * 0.06 * size * along])
        axes.plot(
            *end.T, color=style.INK, linewidth=style.THICK_PT, zorder=4, solid_capstyle="butt"
        )
        axes.annotate(
            "", tuple(at), tuple(-11.0 * view), textcoords="offset points", zorder=4,
            arrowprops=ARROW,
        )  # fmt: skip
        axes.annotate(
            letter, tuple(at), tuple(-side * (3.0 + 3.0 * len(letter)) * along - 15.0 * view),
            textcoords="offset points", ha="center", va="center", fontsize=style.SMALLEST_PT,
            fontweight="bold", bbox=style.BACKED, zorder=7,
        )  # fmt: skip


def _grown(bounds: Sequence[float]) -> Box:
    u0, v0, u1, v1 = bounds
    by = 0.06 * max(u1 - u0, v1 - v0)
    return u0 - by, v0 - by, u1 + by, v1 + by
