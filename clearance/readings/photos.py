"""A photograph of a melted layer: which slice it should show after an event.

In: events and a reading that says which slices the picture can be of. Out: how likely that is.
"""

from __future__ import annotations

from collections.abc import Sequence

from clearance.case.readings import ReadingTable
from clearance.predicted.slabs import Event
from clearance.readings.prediction import Prediction, Untold, right_or_wrong
from clearance.readings.spans import holds
from clearance.verdict.prepared import Checked

UNKNOWN = Untold("the event does not say which slice was melted at that height")
WITHIN = 1e-6
"""A height this near a layer's edge, in layers, is taken to be on it."""


def photo(checked: Checked, events: Sequence[Event] | None, reading: ReadingTable) -> Prediction:
    """What a photograph should show.

    Parameters
    ----------
    checked : Checked
    events : sequence of Event
        In rising order; None: a build without an event.
    reading : ReadingTable
        `height`: of the underside of the layer pictured, mm above the platform, as the machine
        stood; `slices`: which the picture can be of, counted from 0.

    Returns
    -------
    Chance
        Right but for `wrong`; `low` and `high` are the slice expected. Untold where the event
        does not say which slice was melted there.
    """
    assert reading.height is not None
    layer, base = checked.case.part.layer_thickness, checked.platform_z
    lift, at = 0.0, reading.height + 0.5 * layer
    if events is not None and any(stray.mesh is not None for stray in checked.case.stray):
        return UNKNOWN
    for event in events or ():
        bottom, top = event.bottom - base, event.top - base
        if at >= top + event.spread:
            lift += event.rise
            continue
        if at < bottom:
            break
        number = int((at - bottom) / event.layer)
        known = not event.plane and not event.spread and number not in event.unknown_slices
        if not known or number >= len(event.slices):
            return UNKNOWN
        return _told(reading, (event.slices[number] - base) / layer)
    return _told(reading, (at - lift) / layer)


def _told(reading: ReadingTable, layers: float) -> Prediction:
    """The answer, of a slice whose middle lies so many layers above the platform."""
    expected = int(layers + WITHIN)
    agrees = holds(reading.slices, expected)
    return right_or_wrong(agrees, reading.wrong, float(expected), float(expected))
