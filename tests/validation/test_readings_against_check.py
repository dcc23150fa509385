"""What sections alone predict for readings agrees with what the check finds of shipped parts.

The check knows more: its brackets and areas must lie within, or overlap, what the sections allow.
"""

from __future__ import annotations

import math

import pytest
import shared

from clearance.case.read import read_case
from clearance.case.readings import ReadingTable
from clearance.predicted.part import Predicted
from clearance.readings.forward import Forward
from clearance.verdict.prepared import prepare

OTHERS = ("valve-body", "oil-gallery", "distributor", "nozzle-ring-low", "manifold-block")


@pytest.mark.parametrize("case", ["sensor-block", *shared.more(*OTHERS)])
def test_sections_and_check_agree(case):
    result = shared.result_of(case)
    checked = prepare(read_case(shared.CASES / case / "case.toml"))
    forward = Forward(checked, result)
    events = checked.unknowns.variants[0].events or ()
    part = Predicted(checked.whole, events, None)
    low, high = forward.added_mm3(part)
    assert low - 1e-6 <= result.signs.volume_added_mm3 <= high + 1e-3
    width = forward.predict(events, ReadingTable(kind="rim_width", value=1.0, u=1.0))
    assert width.span(forward.unknowns)[1] == pytest.approx(
        result.signs.outside_overhang_mm, abs=1e-4
    )
    for passage in result.passages:
        low, high = forward.clear_mm(part, passage.name)
        clear = passage.clear_diameter_mm
        assert low <= clear.high + 1e-6, passage.name
        assert high >= clear.low - 1e-6, passage.name
        _areas(forward, part, passage)
    for pin in result.signs.gauge_pins:
        asked = (pin.port, pin.pin_diameter_mm, False)
        low, high = forward._pins.stop(part, *asked)
        assert low - 1e-3 <= _depth(pin.stops_at_mm) <= high + 1e-3, pin.port
        nominal = forward._pins.nominal(*asked)
        assert nominal == pytest.approx(_depth(pin.nominal_stops_at_mm), abs=1e-3), pin.port


def _areas(forward, part, passage):
    for event in part.events:
        channels = forward._voids.openings(passage.name, part, event)
        own = [c for c in passage.crossings if c.stray == event.stray]
        assert len(channels) == len(own)
        if own:
            low, high = (sum(one.open_mm2[k] for one in channels) for k in (0, 1))
            assert low - 0.05 <= sum(c.open_area_mm2 for c in own) <= high + 0.05


def _depth(at_mm):
    return math.inf if at_mm is None else at_mm
