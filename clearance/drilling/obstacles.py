"""What stands in the way of a drill and its holder: before the port, and behind the far one.

In: where a drill enters, how deep it goes, and the part after an event. Out: the first obstacle,
in words. Looked at: the part, the stray metal, what was melted beside it, the platform, and while
it stands there the other parts of a plate. What the drill meets of the part within the passage is
not looked at here.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from clearance.drilling import bore as bores
from clearance.drilling.bore import Bore
from clearance.drilling.drills import CLAMPED_DIAMETERS, Drill
from clearance.geometry.soup import Box, Soup, meeting
from clearance.predicted.part import Predicted
from clearance.verdict.prepared import Checked

HOLDER_MM = 150.0
"""Length of the holder and what is behind it."""
TOUCH_MM = 0.01
"""Metal that a drill enters by less only touches it: the closing surface lies a little inward."""

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Tool:
    """A drill at its full depth, in its holder.

    Attributes
    ----------
    drill : Drill
    entry, direction : (3,) ndarray, mm
        On the closing surface, and of unit length.
    tip : float, mm
        Depth of its point's end.
    margin : float, mm
        Least distance to the passage's wall; negative where that is cut.
    """

    drill: Drill
    entry: Floats
    direction: Floats
    tip: float
    margin: float

    @property
    def standoff(self) -> float:
        """From the entry back to the holder's face, mm."""
        return self.drill.overall - CLAMPED_DIAMETERS * self.drill.diameter - self.tip

    def before(self, first: float, last: float, radius: float) -> Bore:
        """A cylinder from `last` mm in front of the entry to `first`, flat at both ends."""
        start = self.entry - last * self.direction
        return Bore(start, self.direction, radius, last - first, 0.0, around=True)

    def inward(self) -> Bore:
        """The hole from the entry to its tip."""
        point = self.drill.point
        radius = 0.5 * self.drill.diameter
        return Bore(self.entry, self.direction, radius, self.tip - point, point, around=True)


def in_the_way(checked: Checked, predicted: Predicted, tool: Tool) -> str:
    """What a drill or its holder meets in front of the port, in words; empty if nothing.

    Parameters
    ----------
    checked : Checked
    predicted : Predicted
        Any window: the whole part around the tool is looked at.
    tool : Tool
        Its holder's face stands off the entry.
    """
    behind = _behind(checked, predicted, tool)
    if behind:
        return behind
    for holder, shape in _shapes(checked, tool):
        words = _words(checked, tool, holder)
        below = checked.platform_z - _lowest(shape)
        if checked.case.state.on_platform and below > 0.0:
            return f"{words} would reach {below:.1f} mm below the platform's surface"
        vertices = bores.solid(shape).vertices
        box = Box.around(vertices)
        for name, soup in _metal(checked, predicted, box, holder):
            entered = bores.meeting(soup, shape)
            if len(entered):
                return f"{words} meets {name}{_where(tool, holder, soup[entered])}"
    return ""


def _behind(checked: Checked, predicted: Predicted, tool: Tool) -> str:
    """What the hole itself would enter that is not the part, in words; empty if nothing."""
    hole = tool.inward()
    vertices = bores.solid(hole).vertices
    below = checked.platform_z - float(vertices[:, 2].min())
    if checked.case.state.on_platform and below > TOUCH_MM:
        return f"{tool.drill.words} would go {below:.1f} mm into the platform behind the passage"
    for name, soup in _beside(checked, predicted, Box.around(vertices)):
        if len(bores.meeting(soup, hole)):
            return f"{tool.drill.words} meets {name}, behind the passage"
    return ""


def _words(checked: Checked, tool: Tool, holder: bool) -> str:
    if not holder:
        return tool.drill.words
    return f"the holder ({checked.case.drilling.holder_diameter:g} mm) of {tool.drill.words}"


def _where(tool: Tool, holder: bool, entered: Soup) -> str:
    if holder:
        return f": it stands {tool.standoff:.1f} mm off the port"
    along = (tool.entry - entered.reshape(-1, 3)) @ tool.direction
    return f" in front of the port, within {max(float(along.max()), 0.0):.1f} mm of it"


def _shapes(checked: Checked, tool: Tool) -> Iterator[tuple[bool, Bore]]:
    """The drill near the mouth, where it may cut its wall, and farther out; True: the holder."""
    radius = 0.5 * tool.drill.diameter - TOUCH_MM
    near = min(tool.drill.diameter, tool.standoff)
    free = radius + min(tool.margin, 0.0)  # what the line leaves where it enters
    if free > 0.0:
        yield False, tool.before(0.0, near, free)
    if radius > 0.0 and tool.standoff > near:
        yield False, tool.before(near, tool.standoff, radius)
    down, up = checked.reach_mm
    moves = float(max(np.abs(down).max(), np.abs(up).max()))
    holder = 0.5 * checked.case.drilling.holder_diameter + moves
    yield True, tool.before(tool.standoff, tool.standoff + HOLDER_MM, holder)


def _lowest(shape: Bore) -> float:
    """Lowest z of a cylinder, mm."""
    aside = math.sqrt(max(1.0 - float(shape.direction[2]) ** 2, 0.0))
    return min(float(shape.start[2]), float(shape.tip[2])) - shape.radius * aside


def _metal(
    checked: Checked, predicted: Predicted, box: Box, holder: bool
) -> Iterator[tuple[str, Soup]]:
    """Metal in a box, by what it belongs to; stray metal in front of a drill is drilled."""
    yield "the part", predicted.bare_surface(box)
    if holder:
        yield "the part's stray metal", _stray(checked, predicted, box)
    yield from _beside(checked, predicted, box)


def _beside(checked: Checked, predicted: Predicted, box: Box) -> Iterator[tuple[str, Soup]]:
    """Metal in a box that is not the part's: melted beside it, other parts of the plate."""
    standing = checked.bodies.standing
    if len(standing):
        yield "what was melted beside the part", predicted.bare_surface(box, standing)
    for other in checked.others:
        if (box.low <= other.box.high).all() and (box.high >= other.box.low).all():
            yield (
                f"{other.name}, which stands beside it on the platform",
                meeting(other.soup(), box),
            )


def _stray(checked: Checked, predicted: Predicted, box: Box) -> Soup:
    """Stray metal over the whole part that a box meets."""
    soups = checked.whole.predict(predicted.events).stray_near(box)
    return meeting(np.concatenate(soups), box) if soups else np.empty((0, 3, 3), np.float32)
