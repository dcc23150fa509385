"""What a ball and a pin do after an event: right or wrong but for a chance.

In: a reading and what bounds the answer. Out: a `Chance`.
"""

from __future__ import annotations

import math

from clearance.case.readings import ReadingTable
from clearance.readings.prediction import Chance, right_or_wrong
from clearance.readings.together import depth_room_mm


def ball(reading: ReadingTable, passes_mm: float, stops_mm: float) -> Chance:
    """What a ball does that surely passes up to one diameter and surely stops above another.

    `low` and `high` are these two, mm.
    """
    assert reading.diameter is not None
    passes = reading.diameter <= passes_mm
    unclear = not passes and reading.diameter <= stops_mm
    agrees = None if unclear else passes is (reading.result == "passes")
    return right_or_wrong(agrees, reading.wrong, passes_mm, stops_mm)


def pin(reading: ReadingTable, least_mm: float, most_mm: float) -> Chance:
    """What a pin tells that stops somewhere between two depths; infinite: it goes through."""
    agrees: bool | None
    if reading.result == "passes":
        agrees = None if math.isinf(most_mm) and not math.isinf(least_mm) else math.isinf(least_mm)
    else:
        assert reading.value is not None
        room = depth_room_mm(reading)
        agrees = least_mm - room <= float(reading.value) <= most_mm + room
        if math.isinf(most_mm) and not math.isinf(least_mm):
            agrees = None if agrees and reading.value > least_mm + room else agrees
        elif math.isinf(least_mm):
            agrees = False
    return right_or_wrong(agrees, reading.wrong, least_mm, most_mm)
