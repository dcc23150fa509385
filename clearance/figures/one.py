"""One drawing of a case that is judged: a sheet of its own, or into axes that are there.

In: an `Examined` and what is asked of it. Out: a figure, or the axes.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from clearance.checking import Examined
from clearance.drawing.curve import Curve, curve
from clearance.drawing.drill import DrillSection, drill_sections
from clearance.drawing.level import level_section
from clearance.drawing.level_parts import LevelSection
from clearance.drawing.level_words import passage_footer
from clearance.drawing.scan import examined_scan
from clearance.errors import ClearanceError
from clearance.figures import style
from clearance.figures.along import curve_figure, draw_curve
from clearance.figures.areas import draw_level
from clearance.figures.level import level_figure
from clearance.figures.planes import draw_drill, drill_figure
from clearance.figures.sections import known_passages

T = TypeVar("T")
ROOM = 0.05
"""Air around a section in axes that are given, in shares of its size."""


def figure_of(
    examined: Examined, height_mm: float | None, along: str | None, drill: str | None
) -> Figure:
    """A sheet of A4, landscape."""
    footer = passage_footer(examined.checked)
    return _one(
        examined,
        (height_mm, along, drill),
        level_figure,
        lambda one: curve_figure(one, footer),
        lambda one: drill_figure(one, footer),
    )


def into(
    axes: Axes, examined: Examined, height_mm: float | None, along: str | None, drill: str | None
) -> Axes:
    """The drawing alone, in axes that are given; a level section with its finding as title."""
    with mpl.rc_context(style.SETTINGS):
        return _one(
            examined,
            (height_mm, along, drill),
            lambda one: draw_level(_framed(axes, one), one),
            lambda one: draw_curve(axes, one),
            lambda one: draw_drill(axes, one),
        )


def _framed(axes: Axes, section: LevelSection) -> Axes:
    x0, y0, x1, y1 = section.bounds
    room = ROOM * max(x1 - x0, y1 - y0)
    axes.set_xlim(x0 - room, x1 + room)
    axes.set_ylim(y0 - room, y1 + room)
    axes.set_title(section.title, wrap=True)  # colours alone tell no finding
    return axes


def _one(
    examined: Examined,
    asked: tuple[float | None, str | None, str | None],
    level: Callable[[LevelSection], T],
    way: Callable[[Curve], T],
    axis: Callable[[DrillSection], T],
) -> T:
    height, along, drill = asked
    if sum(one is not None for one in asked) != 1:
        raise ClearanceError("draw: expected exactly one of at_height, along and drill")
    checked, result = examined.checked, examined.result
    if height is not None:
        told = result.finished
        return level(
            level_section(
                checked,
                result.passages,
                height,
                result.separate,
                finished=told,
                scan=examined_scan(examined),
            )
        )
    name = along or drill or ""
    known_passages(checked.case, (name,))
    check = next(one for one in examined.checks if one.passage.name == name)
    passage = result.passage(name)
    if along is not None:
        return way(curve(check, passage))
    found = drill_sections(check, passage, examined_scan(examined))
    if not found:
        why = passage.why_not or f"the passage is {passage.state.value}"
        raise ClearanceError(f"{checked.case.path.name}: no drilling plan for {name}: {why}")
    return axis(found[0])
