"""Figures of the room along a passage's way, and of what is open of its area.

In: a `Curve`. Out: axes in a box of a figure, or a whole sheet. Nothing is decided here.
"""

from __future__ import annotations

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from clearance.drawing.curve import Curve
from clearance.figures import style
from clearance.figures.paper import width_in
from clearance.figures.planes import Box, axes_in, words_sheet
from clearance.figures.scale import size_in

AREA_SHARE = 0.4
"""Share of the height that the open area has below the curve."""
LEGEND_IN, WORDS_IN = 0.24, 0.175
"""Height of the legend and of the words of a crossing."""
LOW_IN = 2.0
"""Curves lower than this have no room for the whole name of their axis."""
LEFT_OPEN = "left open at a crossing"


def curve_figure(curve: Curve, footer: tuple[str, ...] = ()) -> Figure:
    """An A4 sheet, landscape: room and open area against length from inlet to outlet."""
    with mpl.rc_context(style.SETTINGS):
        figure = words_sheet(curve.title, footer)
        place_curve(figure, (0.85, 1.2, 10.4, 6.1), curve)
    return figure


def place_curve(figure: Figure, box: Box, curve: Curve) -> tuple[Axes, Axes]:
    """Draw room along the way above and open area below it, in a box of a figure."""
    left, bottom, width, height = box
    height -= LEGEND_IN
    low = AREA_SHARE * height
    below = axes_in(figure, (left, bottom, width, low - 0.1))
    above = axes_in(figure, (left, bottom + low, width, height - low))
    draw_curve(above, curve)
    draw_area(below, curve)
    above.tick_params(labelbottom=False)
    above.set_xlabel("")
    if height < LOW_IN:
        above.set_ylabel("⌀, mm")
        below.set_ylabel("mm2")
    for axes in (above, below):
        axes.yaxis.set_label_coords(-0.48 / width, 0.5)
    return above, below


def draw_curve(axes: Axes, curve: Curve) -> Axes:
    """Draw room along the way, the requirement, crossings and what drills reach."""
    end = float(curve.length_mm[-1])
    axes.set_xlim(0.0, end)
    rows = _rows(axes, curve)
    line = WORDS_IN / (size_in(axes)[1])
    share = max(1.0 - (max(rows, default=-1) + 1.6) * line, 0.4)  # of the height, for the curves
    top = 1.05 * max(float(curve.nominal_mm.max()), curve.required_mm) / share
    axes.set_ylim(0.0, top)
    _drilled(axes, curve)
    axes.plot(
        curve.length_mm,
        curve.nominal_mm,
        color=style.GREY,
        linestyle="--",
        linewidth=style.LINE_PT,
        label="nominal",
    )
    axes.plot(
        curve.length_mm,
        curve.predicted_mm,
        color=style.INK,
        linewidth=style.BOLD_PT,
        label="predicted",
    )
    axes.axhline(
        curve.required_mm, color=style.WARN, linestyle="-.", linewidth=style.LINE_PT,
        label=f"required, {curve.required_mm:g} mm",
    )  # fmt: skip
    for mark, row in zip(curve.marks, rows, strict=True):
        axes.axvline(mark.at_mm, color=style.INK, linestyle=":", linewidth=style.THIN_PT)
        if 1.0 - (row + 1) * line < share:
            continue  # no room for more words
        right = _stands_right(axes, mark.at_mm, mark.said)
        axes.annotate(
            mark.said, (mark.at_mm, top * (1.0 - (row + 0.3) * line)), (4 if right else -4, 0),
            textcoords="offset points", fontsize=style.SMALLEST_PT, va="top", color=style.INK,
            ha="left" if right else "right", bbox=style.BACKED,
        )  # fmt: skip
    if curve.marks:
        axes.plot([], [], color=style.INK, marker="o", markersize=4.0, label=LEFT_OPEN)
    axes.set_xlabel("length from the inlet, mm")
    axes.set_ylabel("clear diameter, mm")
    axes.legend(
        loc="lower left", bbox_to_anchor=(0.0, 1.0), frameon=False, ncols=5, borderaxespad=0.2,
        handlelength=1.6, columnspacing=1.0, handletextpad=0.5,
    )  # fmt: skip
    return axes


def _drilled(axes: Axes, curve: Curve) -> None:
    for n, (low, high) in enumerate(curve.drilled_mm):
        axes.axvspan(
            low,
            high,
            facecolor=style.PALER,
            edgecolor=style.PALE,
            hatch="\\\\",
            linewidth=style.LEADER_PT,
            label=f"reached by {curve.reached_by}" if n == 0 else None,
        )


def _per_mm(axes: Axes) -> float:
    return float(size_in(axes)[0] / np.ptp(axes.get_xlim()))


def _words_in(said: str) -> float:
    """Width of the words of a crossing, with some air."""
    return width_in(said, style.SMALLEST_PT) + 0.12


def _stands_right(axes: Axes, at: float, said: str) -> bool:
    """Whether the words of a crossing have room to the right of it."""
    return (float(axes.get_xlim()[1]) - at) * _per_mm(axes) > _words_in(said)


def _rows(axes: Axes, curve: Curve) -> list[int]:
    """Row of each crossing's words, so that none overlap."""
    ends: list[list[tuple[float, float]]] = []
    rows = []
    for mark in curve.marks:
        at, size = mark.at_mm * _per_mm(axes), _words_in(mark.said)
        low = at if _stands_right(axes, mark.at_mm, mark.said) else at - size
        row = 0
        while row < len(ends) and any(low < e and b < low + size for b, e in ends[row]):
            row += 1
        if row == len(ends):
            ends.append([])
        ends[row].append((low, low + size))
        rows.append(row)
    return rows


def draw_area(axes: Axes, curve: Curve) -> Axes:
    """Draw the nominal area square to the way, and what the crossings leave of it."""
    _drilled(axes, curve)
    axes.plot(
        curve.area_at_mm, curve.area_mm2, color=style.GREY, linestyle="--", linewidth=style.LINE_PT
    )
    for mark in curve.marks:
        axes.plot(
            [mark.at_mm, mark.at_mm],
            [0.0, mark.area_mm2],
            color=style.INK,
            linewidth=style.BOLD_PT,
            marker="o",
            markersize=4.0,
            markevery=[1],
            clip_on=False,
        )
    known = curve.area_mm2[np.isfinite(curve.area_mm2)]
    axes.set_xlim(0.0, float(curve.length_mm[-1]))
    axes.set_ylim(0.0, 1.25 * float(known.max()) if len(known) else 1.0)
    axes.set_xlabel("length from the inlet, mm")
    axes.set_ylabel("area, mm2")
    return axes
