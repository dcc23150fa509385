"""The page for the laboratory on paper.

In: `Laboratory`. Out: things drawn on pages of a `Flow`. Nothing is decided here.
"""

from __future__ import annotations

from functools import partial

import numpy as np
from matplotlib.axes import Axes
from numpy.typing import NDArray

from clearance.drawing.laboratory import Laboratory, Plane, bounds, ends
from clearance.figures import style
from clearance.figures.areas import area
from clearance.figures.paper import (
    LEADING,
    MARGIN_IN,
    Block,
    Flow,
    Page,
    listing,
    table,
    text_strips,
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

Floats = NDArray[np.float64]

PLANE_IN = 3.4
"""Height of a picture of a layer plane: a part of 115 mm stands in it at 1 : 2."""
BEYOND = 0.12
"""Room around the part for the ends of beams, as a share of its size."""
LABEL_IN = (0.7, 0.2)
"""Width and height of a beam's label."""
STEPS_OUT = 8
"""Fewer labels' heights than this beyond and before a beam's end are tried."""
TITLE_PT = 10.5
SHARES = (0.2, 0.14, 0.66)
KEY = "hatched: the part's own metal; black: stray metal; dotted: unmelted gap"
HEADS = ("method", "could see it", "set-up, numbers")
TITLE = "for the laboratory: which inspection could see what is predicted"


def add_laboratory(flow: Flow, page: Laboratory | None) -> None:
    """Draw the pages: what the part is, layer planes with their beams, a table for each target."""
    if page is None:
        return
    flow.new_page("laboratory")
    flow.put_whole(Block("", tuple(text_strips(TITLE, flow.wide, TITLE_PT, bold=True))))
    facts = "; ".join(f"{key}: {value}" for key, value in page.facts)
    flow.put_whole(Block("", tuple(text_strips(facts, flow.wide))))
    for plane in page.planes:
        flow.add_figure(PLANE_IN, partial(_draw, plane))
    widths = [share * flow.wide for share in SHARES]
    for one in page.asked:
        flow.add(table(one.title, HEADS, one.rows, widths))
    flow.add(Block("take care, and what to ask for", listing(page.notes, flow.wide)))


def _apart(axes: Axes, at: Floats, placed: list[Floats]) -> float:
    """How far a label's place is from those that have one: in labels, which are wide and low."""
    label = np.array(LABEL_IN) / inches_per_mm(axes, size_in(axes)[0])
    return min((float(np.max(np.abs(at - other) / label)) for other in placed), default=np.inf)


def _place(axes: Axes, points: Floats, placed: list[Floats]) -> Floats:
    """Where a beam's label stands clear of the others: at an end, farther out, or back."""
    out = (points[1] - points[0]) / max(float(np.linalg.norm(points[1] - points[0])), 1e-9)
    step = LABEL_IN[1] / inches_per_mm(axes, size_in(axes)[0])
    low, high = (np.array(ends) for ends in zip(axes.get_xlim(), axes.get_ylim(), strict=True))
    farther = (
        end + way * k * step * out
        for k in (*range(1, STEPS_OUT), *range(-1, -STEPS_OUT, -1))
        for end, way in zip(points, (-1, 1), strict=True)
    )
    tried = [*points, *(at for at in farther if (at > low).all() and (at < high).all())]
    clear = (at for at in tried if _apart(axes, at, placed) >= 1.0)
    return next(clear, max(tried, key=lambda at: _apart(axes, at, placed)))


def _draw(plane: Plane, page: Page, top: float) -> None:
    wide = page.width - 2.0 * MARGIN_IN
    axes = axes_in(page.figure, (MARGIN_IN, top - PLANE_IN + 0.3, wide, PLANE_IN - 0.5))
    x0, y0, x1, y1 = bounds(plane)
    more = BEYOND * max(x1 - x0, y1 - y0)
    box = (x0 - more, y0 - more, x1 + more, y1 + more)
    to_scale(axes, box)
    area(axes, plane.metal, style.METAL, "metal")
    area(axes, plane.stray, style.STRAY, "stray")
    area(axes, plane.gaps, style.UNMELTED, "unmelted")
    placed: list[Floats] = []
    for line in plane.lines:
        points = ends(line, box)
        axes.plot(points[:, 0], points[:, 1], color=style.PAPER, linewidth=2.6, zorder=4)
        axes.plot(
            points[:, 0], points[:, 1], color=style.INK, linewidth=1.1, linestyle=(0, (6, 3)),
            zorder=4.1,
        )  # fmt: skip
        axes.plot(*line.at, marker="o", color=style.INK, markerfacecolor=style.PAPER, zorder=4.2)
        at = _place(axes, points, placed)
        placed.append(at)
        axes.text(
            at[0], at[1], f"{line.mark}, {line.turn_deg:.1f}°", fontsize=style.SMALLEST_PT,
            va="center", ha="center", bbox=style.BACKED, zorder=5,
        )  # fmt: skip
    axes.set(xlabel="", ylabel="", xticks=[], yticks=[])
    for side in axes.spines.values():
        side.set_visible(False)
    scale_bar(axes, 0.0, -0.16 / (PLANE_IN - 0.5))
    title = f"{plane.title} ({ratio(true_scale(axes))}); x right, y up"
    for n, words in enumerate(wrapped(title, wide, style.SMALLEST_PT, bold=True)[:2]):
        foot = top - 0.13 - n * style.SMALLEST_PT * LEADING
        page.text(MARGIN_IN, foot, words, style.SMALLEST_PT, fontweight="bold")
    page.text(
        MARGIN_IN + wide, top - PLANE_IN + 0.12, KEY, style.SMALLEST_PT, ha="right",
    )  # fmt: skip
