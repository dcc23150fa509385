"""What an interval of heights leaves possible, and what is said of circuits apart over it."""

from __future__ import annotations

import make
import pytest
import shapes as s

from clearance.case.read import read_case
from clearance.verdict.apart import separate
from clearance.verdict.passage import PassageCheck
from clearance.verdict.prepared import prepare

HEIGHT = 8.0
TWO = (
    s.block((-6, -4, 0), (6, 4, HEIGHT))
    - s.bore((-3, 0, -1), (-3, 0, HEIGHT + 1), 1.0, segments=24)
    - s.bore((3, 0, -1), (3, 0, HEIGHT + 1), 1.0, segments=24)
)
WAYS = [
    make.passage((x, 0, 0), (x, 0, HEIGHT), 1.0, 1.0, name=name)
    for x, name in ((-3, "a"), (3, "b"))
]


def prepared(folder, stray):
    """Two upright bores that must stay apart."""
    tables = {"separate": [{"passages": ["a", "b"]}]}
    return prepare(read_case(make.write_case(folder, TWO, WAYS, stray, **tables)))


@pytest.mark.parametrize(
    ("keys", "still", "goes_on"),
    [
        ({"resume": "height"}, True, True),
        ({"resume": "layer"}, False, True),
        ({"resume": "height", "resume_shift": [0.2, 0.0]}, False, False),
        ({"next_layer": 42}, False, False),  # not lifted at the lowest height, but above it
        ({"next_layer": 44}, False, False),
    ],
)
def test_what_moves_between_two_heights(tmp_path, keys, still, goes_on):
    checked = prepared(tmp_path, make.sheet(4.0, 3, height_uncertainty=0.1, **keys))
    assert {span.still for span in checked.unknowns.spans} == {still}
    assert {span.goes_on for span in checked.unknowns.spans} == {goes_on}


@pytest.mark.parametrize(
    ("keys", "state"),
    [
        ({"height_uncertainty": 0.1, "resume": "layer"}, "apart"),
        ({"height_uncertainty": 0.1, "resume_shift": [0.2, 0.0]}, "undetermined"),
    ],
)
def test_circuits_are_apart_over_an_interval_only_where_that_is_proven(tmp_path, keys, state):
    checked = prepared(tmp_path, make.sheet(4.0, 1, **keys))
    checks = [PassageCheck(checked, p) for p in checked.case.passage]
    (found,) = separate(checked, checks, [], lambda _: None)
    assert (found.state, found.nominal_state) == (state, "apart")
