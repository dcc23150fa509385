"""Pressure losses of suspects: by their own check, sealed, or untouched; else it is said.

Expected is what a check of each event says by itself.
"""

from dataclasses import replace

import make
import numpy as np
import pytest
from test_causes_states import SIDE, closed_low

from clearance.case.read import read_case
from clearance.causes.explain import explain
from clearance.checking import judge
from clearance.readings.forward import Forward
from clearance.verdict.prepared import prepare

WATER = {"density": 998.0, "viscosity": 1.0e-3, "rate": 1.0}
LOSS = {"kind": "pressure_loss", "passage": "a", "u": 0.2}


def case_of(folder, value, also=(), told=6, first=2, **more):
    """A block with a blind bore: slices of layers 2 and 3 seal it, those of 5 and 6 do not."""
    tables = {"flow": WATER, "suspected": {"from_layer": [first, 6]}}
    reading = {**LOSS, "value": value, **more}
    event = make.sheet(7.0, 1, from_layer=told, penetration=0.0)
    return make.write_case(
        folder, closed_low(), SIDE, event, pitch=0.25, reading=[reading, *also], **tables
    )


@pytest.fixture(scope="module")
def nominal(tmp_path_factory):
    """The bracket of the open passage, kPa."""
    path = case_of(tmp_path_factory.mktemp("loss"), 1.0)
    flow = judge(prepare(read_case(path)), verify=False).result.passages[0].flow
    return flow["nominal"]["low_kpa"], flow["nominal"]["high_kpa"]


def layers(found, cause=None):
    boxes = [box for one in found for box in one.ranges]
    return sorted(n for box in boxes for n in range(box.from_layer[0], box.from_layer[1] + 1))


def test_what_flows_excludes_what_seals(tmp_path, nominal):
    path = case_of(tmp_path, float(np.mean(nominal)))
    found = explain(prepare(read_case(path)), most_checks=1)
    assert found.checks == 1
    assert layers(found.excluded) == [2, 3]
    assert found.excluded[0].off_u is None  # nothing flows there
    open_ones = [one for one in found.classes if layers([one]) != [4]]
    assert layers(open_ones) == [5, 6]
    for one in open_ones:
        assert one.predicted == (pytest.approx(nominal),)
    assert found.readings[0].unit == "kPa"


def test_a_loss_far_off_leaves_none_of_them(tmp_path, nominal):
    path = case_of(tmp_path, 10.0 * nominal[1])
    found = explain(prepare(read_case(path)), most_checks=1)
    assert layers(found.excluded) == [2, 3, 5, 6]
    assert max(one.off_u or 0.0 for one in found.excluded) > 10.0


def test_what_is_not_told_is_said(tmp_path):
    path = case_of(tmp_path, 1.0, rate=2.0)
    found = explain(prepare(read_case(path)), most_checks=1)
    assert not found.excluded
    (said,) = [one for one in found.notices if "tells nothing" in one]
    assert said.startswith("reading 1 (pressure loss, a: 1 kPa")
    assert said.endswith("of all 5 suspects: the case asks at 1 L/min: read it at that rate")


def test_untouched_is_only_what_is_sure(tmp_path):
    forward = Forward(prepare(read_case(case_of(tmp_path, 1.0))))
    (event,) = forward.checked.unknowns.variants[0].events
    assert forward.untouched((event,), "a")
    assert not forward.untouched((replace(event, slices=(0.25,)),), "a")  # seals
    assert not forward.untouched((replace(event, rise=0.1),), "a")  # the way is longer
    assert not forward.untouched((replace(event, bottom=10.0),), "a")  # before a mouth


def test_what_becomes_likely_because_a_loss_excludes_the_rest_is_looked_at_too(tmp_path, nominal):
    """A scope that misses one sheet in 10,000 saw none: at first what seals is not looked at."""
    seen = {"kind": "seen", "passage": "a", "found": False, "detection": 0.9999}
    path = case_of(tmp_path, 10.0 * nominal[1], [seen], told=2, first=5)
    found = explain(prepare(read_case(path)), most_checks=1)
    assert layers(found.excluded) == [2, 5, 6]
    assert not found.classes
