"""The one rule that says which state a passage has, and that check and sweep both follow it."""

import dataclasses

import make
import pytest
import shapes

from clearance.case.read import read_case
from clearance.passages.search import Search
from clearance.result import State
from clearance.sweeps.bounds import Bounds
from clearance.sweeps.sweep import sweep
from clearance.sweeps.wanted import Wanted
from clearance.verdict.states import Bracket, Required, Seen, failing, state_of

NEED = Required(2.0, 0.05)


@pytest.mark.parametrize(
    ("low", "high", "state"),
    [
        (2.0, 2.1, State.OPEN),
        (1.9, 2.0, State.UNDETERMINED),  # 2.0 itself may pass
        (1.9, 1.999, State.RESTRICTED),
        (0.0, 1.9, State.UNDETERMINED),  # no way is proven
        (0.0, 0.0, State.BLOCKED),
        (2.3, 2.2, State.UNDETERMINED),  # two proofs that contradict each other
        (1.3, 1.2, State.UNDETERMINED),
    ],
)
def test_by_the_bracket_alone(low, high, state):
    assert state_of(NEED, Bracket(low, high))[0] is state


def test_a_contradiction_is_said():
    for low, high in ((2.3, 2.2), (0.1, 0.0)):
        state, reasons = state_of(NEED, Bracket(low, high))
        assert state is State.UNDETERMINED
        assert "contradict" in reasons[0]


def test_near_an_end_nothing_is_told():
    assert state_of(NEED, Bracket(2.01, 2.1), spare_mm=0.02)[0] is State.UNDETERMINED
    assert state_of(NEED, Bracket(1.9, 1.99), spare_mm=0.02)[0] is State.UNDETERMINED
    assert state_of(NEED, Bracket(2.02, 2.1), spare_mm=0.02)[0] is State.OPEN


def test_a_leak_settles_nothing_but_a_block():
    assert state_of(NEED, Bracket(3.0, 3.1, leak=True))[0] is State.UNDETERMINED
    assert state_of(NEED, Bracket(0.0, 0.0, leak=True))[0] is State.BLOCKED


@pytest.mark.parametrize(
    ("every", "sealed", "state"),
    [
        (True, (5.0,), State.RESTRICTED),
        (True, None, State.UNDETERMINED),
        (True, (), State.OPEN),
        (False, (5.0,), State.OPEN),
        (False, None, State.OPEN),
    ],
)
def test_branches(every, sealed, state):
    required = dataclasses.replace(NEED, every_branch=every)
    assert state_of(required, Bracket(2.5, 2.6), Seen(sealed))[0] is state


@pytest.mark.parametrize(
    ("other", "state"),
    [
        ((2.1, 2.2), State.OPEN),
        ((0.0, 1.0), State.UNDETERMINED),
        ((1.9, 2.1), State.UNDETERMINED),
        ((1.0, 1.1), State.RESTRICTED),
        ((0.0, 0.0), State.RESTRICTED),
        ((2.2, 2.1), State.UNDETERMINED),
        (None, State.UNDETERMINED),
    ],
)
def test_a_crossing_that_leaves_too_little_has_to_be_passed_by(other, state):
    required = dataclasses.replace(NEED, open_fraction=0.8)
    seen = Seen(fractions=((5.0, 0.9), (6.0, 0.7)))
    assert failing(required, seen) == [1]
    around = None if other is None else lambda: Bracket(*other)
    assert state_of(required, Bracket(2.5, 2.6), seen, around)[0] is state


def test_a_fraction_that_may_be_less_is_never_open():
    seen = Seen(fractions=((5.0, 0.9),), sampled=(5.0,))
    assert state_of(NEED, Bracket(2.5, 2.6), seen)[0] is State.OPEN
    required = dataclasses.replace(NEED, open_fraction=0.8)
    assert state_of(required, Bracket(2.5, 2.6), seen)[0] is State.UNDETERMINED


def test_what_passes_a_crossing_by_is_asked_all_the_same():
    """Another crossing than the one that fails may be sampled, or closed unseen."""
    required = dataclasses.replace(NEED, open_fraction=0.8, every_branch=True)
    seen = Seen(fractions=((5.0, 0.9), (6.0, 0.7)), sampled=(6.0,))

    def told(seen, unseen=()):
        around = Bracket(2.1, 2.2)
        return state_of(required, Bracket(2.5, 2.6), seen, lambda: around, lambda: unseen)[0]

    assert told(seen) is State.OPEN  # that one is passed by
    assert told(dataclasses.replace(seen, sampled=(5.0,))) is State.UNDETERMINED
    assert told(dataclasses.replace(seen, ahead=True)) is State.UNDETERMINED
    assert told(seen, (7.0,)) is State.UNDETERMINED


def upright(folder):
    """A bore of 4 with a sheet at 5 that closes nothing."""
    solid = shapes.straight_bore(2.0, (12.0, 12.0, 16.0))
    table = make.passage((0, 0, 0), (0, 0, 16), 2.0, 3.0)
    return read_case(make.write_case(folder, solid, table, make.sheet(5.0)))


def test_check_says_a_contradiction_aloud(tmp_path, monkeypatch):
    case, way = upright(tmp_path), Search.way
    monkeypatch.setattr(
        Search, "way", lambda *a, **k: dataclasses.replace(way(*a, **k), high_mm=3.5)
    )
    found = make.judged(case).passages[0]
    assert found.state is State.UNDETERMINED
    assert any("contradict" in reason for reason in found.reasons)


def test_the_sweep_says_a_contradiction_aloud(tmp_path, monkeypatch):
    case = upright(tmp_path)
    monkeypatch.setattr(Bounds, "clear_mm", lambda *a: 5.0)
    found = sweep(case, Wanted(5.0, 5.2))
    assert set(found.passages[0].state) == {State.UNDETERMINED}
    assert sum("contradict" in notice for notice in found.notices) == 3


def test_equal_crossings_are_one_reason():
    """An exchanger of 80 channels has one reason for the sealed ones, not one for each."""
    every = dataclasses.replace(NEED, every_branch=True)
    seen = Seen((*[20.0] * 16, 25.0))
    state, said = state_of(every, Bracket(2.0, 2.1), seen)
    assert state is State.RESTRICTED
    assert said == (
        "every branch is required and 16 crossings at z 20.00 mm are sealed",
        "every branch is required and the crossing at z 25.00 mm is sealed",
    )
    _, said = state_of(NEED, Bracket(2.0, 2.1), seen)
    assert said[1] == "16 crossings at z 20.00 mm are sealed, but the flow passes them by"
