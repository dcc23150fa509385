"""Steps of the proof that stray metal shuts no branch unseen, each asked directly.

Squares and strips drawn by hand; whole checks of such parts: `tests/validation/test_upright_metal`.
"""

import math
from types import SimpleNamespace

import pytest
from shapely import box

from clearance.passages import fins
from clearance.passages.fins import Layer, Told
from clearance.verdict.confirmed import _point


@pytest.mark.parametrize("sampled", [(True, False), (False, True), (False, False)])
def test_layers_that_touch_count_as_one_sampled_if_either_is(sampled):
    first, second = sampled
    low = Layer(0.0, 1.0, box(0, 0, 1, 1), first)
    high = Layer(1.05, 2.0, box(2, 0, 3, 1), second)
    apart = Layer(5.0, 6.0, box(0, 0, 1, 1))
    one, other = fins._joined([low, high, apart], 0.1)
    assert (one.low, one.high, one.shape.area) == (0.0, 2.0, 2.0)
    assert one.sampled is any(sampled)
    assert (other.low, other.high, other.sampled) == (5.0, 6.0, False)


@pytest.mark.parametrize(
    ("low", "high", "asked"),
    [(0.5, 0.7, True), (1.5, 1.7, True), (2.0, 3.0, True), (2.1, 3.0, False), (0.0, 0.9, False)],
)
def test_what_is_narrowed_at_other_heights_puts_no_layer_in_doubt(monkeypatch, low, high, asked):
    """The layer reaches from 1 to 2; one from 0.4 to 0.7 near it is joined to it."""
    layers = [Layer(1.0, 2.0, box(0, 0, 1, 1))]
    if high < 0.8:
        layers.insert(0, Layer(0.4, 0.7, box(0, 0, 1, 1)))
    monkeypatch.setattr(fins, "_layers", lambda *_: layers)
    monkeypatch.setattr(fins, "_may_shut", lambda *_: True)
    told = [Told(low, high, True, box(0, 0, 1, 1))]
    found = fins.unseen(SimpleNamespace(smallest_mm=0.2), (), told)
    assert found == ((layers[0].low,) if asked else ())


@pytest.mark.parametrize(("wide", "parts"), [(1.1, True), (0.9, False)])
def test_a_narrow_strip_between_a_run_under_and_one_over_it_may_part_them(wide, parts):
    """A strip 0.6 long where all is void; a way of 1 fits through a run that is 1.1 wide."""
    under, over = box(0, 0, 4, wide), box(4.6, 0, 10, wide)
    strip = box(4, 0, 4.6, wide)
    assert fins._between(under, over, strip, strip, 1.0) is parts


@pytest.mark.parametrize(
    ("tool", "expected"), [("drill", 3.4 / math.tan(math.radians(59.0))), ("electrode", 0.0)]
)
def test_the_second_opinion_leaves_the_point_of_a_drill_out(tool, expected):
    """Analytic: half the diameter over the tangent of half of 118 degrees."""
    stroke = SimpleNamespace(tool=tool, drill_diameter_mm=6.8)
    assert _point(stroke, 118.0) == pytest.approx(expected)
