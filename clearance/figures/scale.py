"""Standard scales of a drawing, and the scale bar.

In: axes and bounds in mm. Out: limits at a scale of `SCALES`; the scale in words.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.patheffects import withStroke

from clearance.figures import style

MM_PER_INCH = 25.4
STEPS = tuple(n * 10.0**power for power in (0, 1, 2) for n in (1.0, 2.0, 5.0))
SCALES = (*STEPS, *(1.0 / n for n in STEPS[1:]))
"""Scales of the figures: 1, 2 and 5 times powers of ten (ISO 5455)."""


def standard(most: float) -> float:
    """The largest of `SCALES` that is no larger than a scale; that one if all are larger."""
    return max((scale for scale in SCALES if scale <= most * (1.0 + 1e-9)), default=most)


def inches_per_mm(axes: Axes, width_in: float) -> float:
    """Inches per mm of axes that are so wide."""
    low, high = axes.get_xlim()
    return width_in / (high - low)


def points_per_mm(axes: Axes) -> float:
    """Points (1/72 inch) on paper per mm of axes."""
    return inches_per_mm(axes, size_in(axes)[0]) * 72.0


def bar_length_mm(span_mm: float) -> float:
    """A round length (1, 2 or 5 times a power of ten), at most a fifth of a span."""
    power = 10.0 ** np.floor(np.log10(0.2 * span_mm))
    return float(max(n * power for n in (1.0, 2.0, 5.0) if n * power <= 0.2 * span_mm))


def size_in(axes: Axes) -> tuple[float, float]:
    """Width and height of axes on paper, inches."""
    place, whole = axes.get_position(), axes.get_figure(root=True)
    assert whole is not None
    width, height = whole.get_size_inches()
    return float(place.width * width), float(place.height * height)


def true_scale(axes: Axes) -> float:
    """Length on paper over length of the part, both in mm."""
    low, high = axes.get_xlim()
    return float(size_in(axes)[0] * MM_PER_INCH / (high - low))


def ratio(scale: float) -> str:
    """A scale in words: 2 : 1 is larger than the part."""
    return f"{scale:.3g} : 1" if scale >= 1.0 else f"1 : {1.0 / scale:.3g}"


def to_scale(axes: Axes, bounds: Sequence[float]) -> None:
    """Limits at the largest of `SCALES` at which the axes hold bounds (u0, v0, u1, v1)."""
    paper = MM_PER_INCH * np.array(size_in(axes))
    size = np.maximum([bounds[2] - bounds[0], bounds[3] - bounds[1]], 1e-6)
    most = float((paper / size).min())
    half = 0.5 * paper / standard(most)
    u, v = 0.5 * (bounds[0] + bounds[2]), 0.5 * (bounds[1] + bounds[3])
    axes.set_xlim(u - half[0], u + half[0])
    axes.set_ylim(v - half[1], v + half[1])


def scale_bar(axes: Axes, left: float, height: float, words_below: bool = False) -> None:
    """Draw a scale bar with its length and the scale at a place in shares of the axes.

    With its length below it the scale stands elsewhere, with the letter of the section.
    """
    low, high = axes.get_xlim()
    length = bar_length_mm(high - low)
    share = length / (high - low)
    bar = axes.plot(
        [left, left + share],
        [height, height],
        color=style.INK,
        linewidth=style.BAR_PT,
        clip_on=False,
        transform=axes.transAxes,
        solid_capstyle="butt",
        path_effects=[withStroke(linewidth=style.BAR_PT + 3.0, foreground=style.PAPER)],
        zorder=5,
    )
    bar[0].set_gid("scale bar")
    inch, inch_up = 1.0 / np.array(size_in(axes))
    words = [f"{length:g} mm", f"scale {ratio(true_scale(axes))}"]
    start, down = left + share + 0.06 * inch, 0.0
    if words_below:
        words, start, down = words[:1], left, 0.13 * inch_up
    for word, place in zip(words, (0.0, 0.66), strict=False):
        axes.text(
            start + place * inch, height - down, word, fontsize=style.SMALLEST_PT, va="center",
            transform=axes.transAxes, bbox=style.BACKED, zorder=5,
        )  # fmt: skip
