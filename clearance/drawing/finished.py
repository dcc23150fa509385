"""The outline of the finished shape in a level section.

In: a prepared case, the event, a height. Out: an area in mm and the words of its key.
"""

from __future__ import annotations

from typing import Any

from clearance.drawing.level_parts import NOTHING, drawn
from clearance.finished.told import held_by
from clearance.geometry import sections
from clearance.geometry.planes import Plane
from clearance.geometry.soup import moved_shape
from clearance.predicted.part import Predicted
from clearance.result.finished import Datum
from clearance.verdict.prepared import Checked


def finished_outline(checked: Checked, predicted: Predicted, z: float) -> tuple[Any, str]:
    """Section of the finished shape where it is made from the part, and what it is.

    Where the case gives no datum it is the part below the event that it is clamped by.
    """
    soup = checked.bodies.finished
    if soup is None:
        return NOTHING, ""
    datum: Datum = checked.case.part.finished_datum or "below"
    x, y, up = (float(v) for v in held_by(checked, predicted.events, datum))
    area = sections.metal(soup, Plane.level(z - up))
    return drawn(moved_shape(area, (x, y))), f"finished shape, clamped {datum}"
