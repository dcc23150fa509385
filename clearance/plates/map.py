"""The map of a plate: the platform from above, with every part on it.

In: a `Summary`. Out: what is drawn into a page. A part is marked by its recommendation three
ways: colour, hatch and letter; beside the letter stands its number in the table.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import shapely
from matplotlib.axes import Axes
from matplotlib.patheffects import withStroke

from clearance.figures import style
from clearance.figures.areas import area
from clearance.figures.level import panel_axes, placed_axes
from clearance.figures.paper import LEADING, Page, legible, width_in
from clearance.figures.style import Look
from clearance.plates.placed import outline_of
from clearance.plates.summary import Summary
from clearance.result.plate import PlatePart

SMALLEST_PT = 9.0
AXES_IN = (0.75, 0.5)
"""Room for the numbers and words beside the axes: at the left, and below."""
LONGEST_NAME = 14
"""Letters; a longer name stands in the table alone, by its number."""
LETTER_ALONE = 2
"""Which kind of label is the shortest: after that with the name, and that with the number."""
BESIDE_IN = 0.04
SWATCH_IN = (0.34, 0.14)


def draw_map(page: Page, left: float, foot: float, side: float, summary: Summary,
             numbers: Mapping[str, int]) -> None:  # fmt: skip
    """Draw the platform into a square of the page.

    Parameters
    ----------
    page : Page
    left, foot, side : float, inches
        The square, words beside the axes included.
    summary : Summary
    numbers : mapping of str to int
        Number of each part in the table.
    """
    across = side - AXES_IN[0]
    axes = placed_axes(page.figure, (left + AXES_IN[0], foot + AXES_IN[1], across, across))
    half = _platform(axes, summary)
    shapes = {
        entry["name"]: outline_of(entry, summary.outlines, summary.boxes, summary.data["size_mm"])
        for entry in summary.data["parts"]
    }
    for entry in summary.data["parts"]:
        _, look = style.MARKS[entry["recommendation"]]
        area(axes, shapes[entry["name"]], look, f"part {entry['name']}")
    scale = across / (2.0 * half)
    for words, box in _labels(summary.data["parts"], list(shapes.values()), numbers, scale):
        _label(axes, box.centroid, "\n".join(words))


def _platform(axes: Axes, summary: Summary) -> float:
    """The platform's outline and limits that hold all places; gives half their width, mm."""
    x, y = (0.5 * size for size in summary.data["size_mm"])
    area(axes, shapely.box(-x, -y, x, y), Look("none", style.INK, width_pt=1.2), "platform")
    marked = [[-x, -y], [x, y], *(e["at_mm"] for e in summary.data["parts"])]
    low, high = np.min(marked, axis=0), np.max(marked, axis=0)
    middle, half = 0.5 * (low + high), 0.53 * float((high - low).max())
    axes.set_xlim(middle[0] - half, middle[0] + half)
    axes.set_ylim(middle[1] - half, middle[1] + half)
    axes.set_xlabel("x on the platform, mm")
    axes.set_ylabel("y on the platform, mm", labelpad=1.0)
    return half


# ---- labels ----------------------------------------------------------------------------------


def _labels(
    parts: Sequence[PlatePart], shapes: Sequence[Any], numbers: Mapping[str, int], scale: float
) -> list[tuple[list[str], Any]]:
    """As much of each as finds room: letter, number and name, without the name, the letter alone.

    Of two that would meet the longer one gives way, so that one crowded corner costs no other part
    its name. With the place of each on the platform, mm; `scale` is that of the map, inches a mm.
    """
    marks = [style.MARKS[entry["recommendation"]][0] for entry in parts]
    numbered = [
        f"{mark} {numbers[entry['name']]}" for mark, entry in zip(marks, parts, strict=True)
    ]
    named = [
        [words, *([legible(entry["name"])] if len(entry["name"]) <= LONGEST_NAME else [])]
        for words, entry in zip(numbered, parts, strict=True)
    ]
    kinds = list(zip(named, ([words] for words in numbered), ([m] for m in marks), strict=True))
    taken = np.zeros(len(parts), np.int64)
    while True:
        labels = [kind[n] for kind, n in zip(kinds, taken, strict=True)]
        boxes = [_box(words, one, scale) for words, one in zip(labels, shapes, strict=True)]
        one, other = shapely.STRtree(boxes).query(boxes, predicate="intersects")
        meet = (one != other) & (taken[one] <= taken[other]) & (taken[one] < LETTER_ALONE)
        if not meet.any():
            return list(zip(labels, boxes, strict=True))
        taken[np.unique(one[meet])] += 1


def _box(words: Sequence[str], shape: Any, scale: float) -> Any:
    """Where a label lies: on its part, and beside one that it would hide."""
    wide = 0.5 * max(width_in(word, SMALLEST_PT, True) for word in words) / scale
    high = 0.5 * len(words) * SMALLEST_PT * LEADING / scale
    at = shapely.point_on_surface(shape)
    x0, y0, x1, y1 = shape.bounds
    x, y = at.x, at.y
    if x1 - x0 < 2.0 * wide or y1 - y0 < 2.0 * high:
        out = wide + BESIDE_IN / scale
        x = x1 + out if x <= 0.0 else x0 - out  # towards the middle of the platform
    return shapely.box(x - wide, y - high, x + wide, y + high)


def _label(axes: Axes, at: Any, words: str) -> None:
    # A white rim first: text with a rim would become outlines, and could not be searched.
    rim = [withStroke(linewidth=style.HALO_PT, foreground=style.PAPER)]
    for effects in (rim, None):
        axes.text(
            at.x, at.y, words, ha="center", va="center", fontsize=SMALLEST_PT, fontweight="bold",
            color=style.INK, linespacing=1.1, path_effects=effects,
        )  # fmt: skip


# ---- key -------------------------------------------------------------------------------------


def draw_key(page: Page, left: float, foot: float, word: str) -> None:
    """Draw how a recommendation is marked, its lower left corner at a place in inches."""
    panel = panel_axes(page.figure, (left, foot, *SWATCH_IN))
    area(panel, shapely.box(0.02, 0.02, SWATCH_IN[0] - 0.02, SWATCH_IN[1] - 0.02),
         style.MARKS[word][1], f"key {word}")  # fmt: skip
