"""The plate's event as each part has it: at what heights, in what words, where it has joints.

In: the plate and the cases of its parts. Out: heights above the platform, and sentences. A part
that got no stray layer was interrupted as the others were.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from clearance.case.plate import Plate
from clearance.case.read import Case
from clearance.report.happened import happened

ABOVE_MM = 1e-4
"""A part whose top face lies at the height of the event, within this, ends there."""
UNTOUCHED = "no stray layer reached it, and it went on as it should"


def heights(plate: Plate, case: Case) -> tuple[float, ...]:
    """Heights at which the machine stopped, mm above the platform, ascending.

    Those of the plate whether or not this part got anything from it; without an event of the
    plate those of the case.
    """
    found = {stray.height for stray in case.stray}
    for keys in plate.stray:
        found.add(keys.height)
        if keys.after_layer is not None:
            found.add(round((keys.after_layer + 1) * case.part.layer_thickness, 9))
    return tuple(sorted(height for height in found if height is not None))


def crossed(stops: Sequence[float], top: float, bottom: float = -math.inf) -> tuple[float, ...]:
    """Of these heights those above which a part goes on: its joint lies there.

    Parameters
    ----------
    stops : sequence of float, mm above the platform
    top, bottom : float, mm above the platform
        Of the nominal part; one that begins at a height or above it has no joint there.
    """
    return tuple(h for h in stops if top > h + ABOVE_MM and bottom < h - ABOVE_MM)


def joints(case: Case, heights: Sequence[float]) -> tuple[tuple[float, float], ...]:
    """Each joint from its height to the top of the wrong layers on it, if there are any."""
    layer = case.part.layer_thickness
    tops = {s.height: s.height + s.layers_high * layer for s in case.stray if s.height is not None}
    return tuple((height, tops.get(height, height)) for height in heights)


def told(plate: Plate, case: Case) -> tuple[str, ...]:
    """What happened to a part, a sentence for each stray sheet, offsets in the platform's axes."""
    if plate.stray and not case.stray:
        return (UNTOUCHED,)
    return happened(case.stray)
