"""Figures of a passage: room along its way, and the section through a drill's axis.

In: a `Curve` or a `DrillSection`. Out: a Matplotlib figure. Nothing is decided here.
"""

from __future__ import annotations

import textwrap
from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from clearance import style
from clearance.curve import Curve
from clearance.drill_section import DrillSection
from clearance.plots import _scale_bar, area
from clearance.style import Look

DRILL = Look("#ffffff", style.INK, "\\\\", width_pt=1.0, hatch_colour="#9a9a9a")
BACKED: Any = {"facecolor": style.PAPER, "edgecolor": "none", "pad": 1.0}
"""Of words that stand over hatches."""
HOLDER = Look("#ffffff", style.INK, "", line="--", width_pt=0.9)


def _sheet(title: str, footer: tuple[str, ...]) -> Figure:
    figure = Figure(figsize=style.A4_LANDSCAPE_IN)
    width, height = style.A4_LANDSCAPE_IN
    figure.text(
        0.35 / width, 1.0 - 0.25 / height, "\n".join(textwrap.wrap(title, 88)[:2]),
        fontsize=style.TITLE_PT, fontweight="bold", va="top", color=style.INK,
    )  # fmt: skip
    lines = [piece for line in footer for piece in textwrap.wrap(line, 170)]
    figure.text(
        0.35 / width, 0.2 / height, "\n".join(lines), fontsize=style.SMALLEST_PT, va="bottom",
        color=style.INK, linespacing=1.3,
    )  # fmt: skip
    return figure


def curve_figure(curve: Curve, footer: tuple[str, ...] = ()) -> Figure:
    """An A4 sheet, landscape: clear diameter against length from inlet to outlet."""
    with mpl.rc_context(style.SETTINGS):
        figure = _sheet(curve.title, footer)
        draw_curve(figure.add_axes((0.08, 0.16, 0.88, 0.68)), curve)
    return figure


def draw_curve(axes: Axes, curve: Curve) -> Axes:
    """Draw room along the way, the requirement, crossings and what drills reach."""
    top = 1.25 * max(float(curve.nominal_mm.max()), curve.required_mm)
    end = float(curve.length_mm[-1])
    for n, (low, high) in enumerate(curve.drilled_mm):
        axes.axvspan(
            low, high, facecolor="#eeeeee", edgecolor="#9a9a9a", hatch="\\\\", linewidth=0.6,
            label="reached by the drill" if n == 0 else None,
        )  # fmt: skip
    axes.plot(
        curve.length_mm, curve.nominal_mm, color="#5a5a5a", linestyle="--", linewidth=1.2,
        label="nominal",
    )  # fmt: skip
    axes.plot(
        curve.length_mm, curve.predicted_mm, color=style.INK, linewidth=1.8, label="predicted"
    )
    axes.axhline(
        curve.required_mm, color="#D55E00", linestyle="-.", linewidth=1.2,
        label=f"required, {curve.required_mm:g} mm",
    )  # fmt: skip
    for n, mark in enumerate(sorted(curve.marks, key=lambda m: m.at_mm)):
        axes.axvline(mark.at_mm, color=style.INK, linestyle=":", linewidth=0.9)
        left = mark.at_mm <= 0.75 * end
        axes.annotate(
            mark.said, (mark.at_mm, top * (0.985 - 0.05 * (n % 3))), (5 if left else -5, 0),
            textcoords="offset points", fontsize=style.SMALLEST_PT, va="top", color=style.INK,
            ha="left" if left else "right", bbox=BACKED,
        )  # fmt: skip
    axes.set_xlim(0.0, end)
    axes.set_ylim(0.0, top)
    axes.set_xlabel("length from the inlet, mm")
    axes.set_ylabel("clear diameter around the way, mm")
    axes.legend(loc="lower right", frameon=True, framealpha=1.0)
    return axes


def drill_figure(section: DrillSection, footer: tuple[str, ...] = ()) -> Figure:
    """An A4 sheet, landscape: section A-A through the drill's axis, its plan, its numbers."""
    with mpl.rc_context(style.SETTINGS):
        figure = _sheet(section.title, footer)
        axes = figure.add_axes((0.07, 0.14, 0.56, 0.72))
        draw_drill(axes, section)
        _scale_bar(axes, 0.03, 0.03)
        _detail(figure, section)
        _plan(figure, section)
        figure.text(
            0.67, 0.50, "\n".join(section.lines), fontsize=style.TEXT_PT, va="top",
            color=style.INK, linespacing=1.5,
        )  # fmt: skip
    return figure


def draw_drill(axes: Axes, section: DrillSection) -> Axes:
    """Draw part, sheet, drill and holder, the axis, depth and margin."""
    area(axes, section.holder, HOLDER, "holder")
    area(axes, section.drill, DRILL, "drill")
    area(axes, section.part, style.METAL, "metal")
    area(axes, section.stray, style.STRAY, "stray")
    axis = np.stack([section.entry, section.tip])
    out = axis[0] - axis[1]
    out = out / max(float(np.linalg.norm(out)), 1e-9)
    line = np.stack([axis[0] + 4.0 * out, axis[1] - 2.0 * out])
    axes.plot(line[:, 0], line[:, 1], color=style.INK, linestyle="-.", linewidth=0.8)
    _dimension(axes, section, out)
    u0, v0, u1, v1 = section.bounds
    axes.set_aspect("equal", adjustable="box")
    axes.set_xlim(u0, u1)
    axes.set_ylim(v0, v1)
    axes.set_xlabel("u, mm (level, in the section's plane)")
    axes.set_ylabel("z from the entry, mm")
    axes.set_title("section A-A through the drill's axis", fontsize=style.TEXT_PT, loc="left")
    return axes


def _dimension(axes: Axes, section: DrillSection, out: np.ndarray) -> None:
    """Depth beside the drill, from entry to tip."""
    side = np.array([-out[1], out[0]])
    if side[0] < 0:
        side = -side
    away = (section.radius_mm + 3.0) * side
    a, b = section.entry + away, section.tip + away
    axes.annotate(
        "", xy=tuple(b), xytext=tuple(a),
        arrowprops={"arrowstyle": "<->", "linewidth": 0.8, "color": style.INK},
    )  # fmt: skip
    middle = 0.5 * (a + b) + 0.8 * side
    axes.text(
        middle[0], middle[1], f"{section.depth_mm:.1f}", fontsize=style.SMALLEST_PT,
        va="center", ha="left",
        bbox=BACKED,
    )  # fmt: skip


def _detail(figure: Figure, section: DrillSection) -> None:
    """The crossing at a larger scale, with the wall margin."""
    axes = figure.add_axes((0.67, 0.58, 0.14, 0.24))
    area(axes, section.drill, DRILL, "drill")
    area(axes, section.part, style.METAL, "metal")
    area(axes, section.stray, style.STRAY, "stray")
    half = 1.6 * section.radius_mm
    u, v = section.crossing
    axes.set_xlim(u - half, u + half)
    axes.set_ylim(v - half, v + half)
    axes.set_aspect("equal", adjustable="box")
    axes.tick_params(labelbottom=False, labelleft=False, length=0)
    axes.set_title("detail of the crossing", fontsize=style.SMALLEST_PT + 1, loc="left")
    said = (
        f"margin {section.margin_mm:.2f} mm"
        if section.margin_mm >= 0
        else f"wall cut {-section.margin_mm:.2f} mm"
    )
    axes.set_xlabel(said, fontsize=style.SMALLEST_PT)


def _plan(figure: Figure, section: DrillSection) -> None:
    """Level section at the crossing with the line of the cutting plane."""
    axes = figure.add_axes((0.84, 0.58, 0.14, 0.24))
    area(axes, section.plan, style.METAL, "metal")
    (x0, y0), (x1, y1) = section.trace
    axes.plot([x0, x1], [y0, y1], color=style.INK, linestyle="-.", linewidth=1.0)
    for x, y in ((x0, y0), (x1, y1)):
        axes.text(x, y, "A", fontsize=style.TEXT_PT, ha="center", va="bottom", fontweight="bold")
    axes.set_aspect("equal", adjustable="datalim")
    axes.tick_params(labelbottom=False, labelleft=False, length=0)
    axes.set_title("plan at the crossing", fontsize=style.SMALLEST_PT + 1, loc="left")
