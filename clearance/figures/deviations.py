"""Arrows and numbers where a measured outline lies off what is predicted.

In: `Deviation`s, axes with their limits. Out: artists. An arrow is as long as its number needs to
be read: it tells which way, the number how far.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from matplotlib.axes import Axes
from matplotlib.patheffects import withStroke

from clearance.drawing.level_parts import Deviation
from clearance.figures import style
from clearance.figures.scale import points_per_mm

LENGTH_PT, WIDE_PT, HIGH_PT = 14.0, 17.0, 8.0
"""Length of an arrow, and how far beyond it the middle of its number stands, aside and up."""
ARROW: Any = {
    "linewidth": style.LINE_PT,
    "color": style.MEASURED.edge,
    "shrinkA": 0,
    "shrinkB": 0,
    "mutation_scale": 8,
    "path_effects": [withStroke(linewidth=style.HALO_PT + style.LINE_PT, foreground=style.PAPER)],
}
OUT, IN = "<|-", "-|>"
"""Style of an arrow from its tail beside the outline: its head there, or on the outline."""


def draw_deviations(axes: Axes, found: Sequence[Deviation]) -> None:
    """An arrow for each, outside the outline that is predicted, with its number behind it.

    Away from the outline where metal stands out, onto it where it lacks. Where a part is drawn
    small those are left out, the least first, whose number would stand on another's.
    """
    points = points_per_mm(axes)
    taken: list[tuple[float, float]] = []
    for one in sorted(found, key=lambda each: -abs(each.off_mm)):
        stands_out = one.off_mm > 0.0
        side = 1.0 if stands_out else -1.0
        out = (side * one.way[0], side * one.way[1])
        x = points * one.at[0] + (LENGTH_PT + WIDE_PT) * out[0]
        y = points * one.at[1] + (LENGTH_PT + HIGH_PT) * out[1]
        if any(abs(x - a) < 2 * WIDE_PT and abs(y - b) < 2 * HIGH_PT for a, b in taken):
            continue
        taken.append((x, y))
        axes.annotate(
            "", one.at, (LENGTH_PT * out[0], LENGTH_PT * out[1]), textcoords="offset points",
            arrowprops={**ARROW, "arrowstyle": OUT if stands_out else IN}, zorder=8,
        )  # fmt: skip
        axes.annotate(
            said(one.off_mm),
            one.at,
            ((LENGTH_PT + WIDE_PT) * out[0], (LENGTH_PT + HIGH_PT) * out[1]),
            textcoords="offset points",
            ha="center",
            va="center",
            fontsize=style.SMALLEST_PT,
            color=style.INK,
            bbox=style.BACKED,
            zorder=9,
        ).set_gid("deviation")


def said(off_mm: float) -> str:
    """A deviation as a number with its sign."""
    return f"{off_mm:+.2f}".replace("-", "\u2212")
