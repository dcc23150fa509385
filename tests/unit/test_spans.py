"""What an interval of heights leaves possible, and what is said of circuits apart over it."""

from __future__ import annotations

from dataclasses import replace

import make
import numpy as np
import pytest
import shapes as s

from clearance.case.read import read_case
from clearance.passages.way import Way
from clearance.predicted.slabs import Event, reaches
from clearance.predicted.variants import Span
from clearance.result import State
from clearance.verdict.between import Passage, _same, between
from clearance.verdict.circuits_apart import separate
from clearance.verdict.passage_check import PassageCheck
from clearance.verdict.prepared import prepare
from clearance.verdict.states import Required

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


def over_a_range(open_from: float = 99.0, spread: float = 4.0):
    """A sheet of two layers of 0.05, 0.1 deep, that shuts a bore wherever it is below a height."""
    event = Event(0, 20.0, (0.025, 0.075), 0.05, False, 0.1, 0.0, (0.0, 0.0), spread=spread)
    seen = []

    def look(events):
        (one,) = events
        seen.append(one)
        shared = [low < high for low, high in reaches(one)]
        shut = any(shared) and one.bottom < open_from
        way = make_way(0.0 if shut else 2.0)
        return (State.BLOCKED if shut else State.OPEN), way

    asked = Required(1.0, 0.05, False, None, None)
    passage = Passage(asked, np.empty((0, 3, 3), np.float32), [], lambda *_: False, 2.0, 0.0)
    found = between(
        State.BLOCKED, [Span((event,), "", False)], [((event,), make_way(0.0))], look, passage
    )
    return found, seen


def make_way(width):
    return Way(width, width, np.empty((0, 3)), False, None)


def test_a_range_longer_than_the_sheet_is_thick_is_halved_until_its_sheets_share_metal():
    found, seen = over_a_range()
    assert found.words == []
    assert all(any(low < high for low, high in reaches(one)) for one in seen)
    assert len(seen) == 32  # 4 mm in pieces of 0.125, below the 0.15 of the first slice


def test_a_range_that_is_open_somewhere_is_not_said_to_be_blocked():
    found, _ = over_a_range(open_from=22.0)
    assert len(found.words) == 1
    assert found.words[0].startswith("between 22.000 and 22.")
    found, seen = over_a_range(spread=6.0)  # too many pieces: said, not passed over
    assert "mm it is not proven blocked" in found.words[0]
    assert len(seen) == 32


def test_heights_of_a_lifted_part_are_not_those_of_one_that_is_not():
    lifted = Event(0, 20.0, (0.025,), 0.05, False, 0.1, 0.05, (0.0, 0.0))
    span = Span((replace(lifted, spread=1.0),), "", False)
    assert _same((replace(lifted, bottom=20.5),), span, 0)
    assert not _same((replace(lifted, bottom=20.5, rise=0.0),), span, 0)
