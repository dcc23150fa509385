"""Steps of what is proven between two heights, asked directly; whole checks of such parts:
`tests/validation/test_uncertain_height.py`.
"""

from types import SimpleNamespace

import pytest

from clearance.result import State
from clearance.verdict import between


def test_one_event_of_several_is_replaced():
    assert between._with(("a", "b", "c"), 1, "x") == ("a", "x", "c")
    assert between._with(("a",), 0, "x") == ("x",)


@pytest.mark.parametrize(
    ("spreads", "ends", "proven"),
    [((0.2,), False, True), ((0.2,), True, False), ((0.2, 0.1), False, False)],
)
def test_a_part_that_moves_is_proven_for_one_loose_sheet_that_is_always_there(
    monkeypatch, spreads, ends, proven
):
    """Between all neighbouring heights the state is taken to hold."""
    monkeypatch.setattr(between, "_pair", lambda *_: True)
    monkeypatch.setattr(between, "_same", lambda *_: True)
    events = tuple(SimpleNamespace(bottom=5.0, spread=spread) for spread in spreads)
    samples = [((SimpleNamespace(bottom=bottom, spread=0.0),), None) for bottom in (5.0, 5.2)]
    span = SimpleNamespace(events=events, ends=ends)
    found = between._moved(State.OPEN, span, samples, None, None)
    assert found == (None if proven else (5.0, 5.2))
