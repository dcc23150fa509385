"""Steps of the proof that stray metal shuts no branch unseen, each asked directly.

Squares and strips drawn by hand; whole checks of such parts: `tests/validation/test_upright_metal`.
"""

import math
from types import SimpleNamespace

import numpy as np
import pytest
import shapely
import shapes
from shapely import box

from clearance.geometry.soup import Box
from clearance.passages import fins
from clearance.passages.fins import Layer, Stretch, Told
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


def test_what_is_on_a_way_over_it_is_not_apart():
    told = [
        Told(0.0, 1.0, True, box(0, 0, 4, 1), apart=True),
        Told(0.0, 1.0, True, box(3, 0, 6, 1)),
    ]
    assert fins._apart(told).equals(box(0, 0, 3, 1))


@pytest.mark.parametrize(
    ("low", "high", "aside", "told"),
    [
        (8.0, 9.0, 0.0, False),  # ends 1.0 below the rim, a way is 0.5
        (8.0, 9.6, 0.0, True),
        (10.4, 11.0, 0.0, True),
        (10.6, 11.0, 0.0, False),
        (9.0, 11.0, 3.0, False),  # beside it
    ],
)
def test_a_layer_lies_at_a_mouth_within_a_way_of_its_rim(monkeypatch, low, high, aside, told):
    rim = np.array([(0, 0, 10), (2, 0, 10), (2, 2, 10), (0, 2, 10)], float)
    mouth = SimpleNamespace(places=[SimpleNamespace(rim=rim)])
    monkeypatch.setattr(fins, "closing", lambda events, one: one)
    sections = SimpleNamespace(mouths=[mouth], smallest_mm=0.5)
    layer, shut = Layer(low, high, None), box(aside, 0, aside + 1, 1)
    assert fins._at_mouth(sections, (), layer, shut) is told


@pytest.mark.parametrize(("smallest", "sampled"), [(0.05, True), (4.0, False)])
def test_measured_metal_whose_levels_lie_far_apart_is_sampled(smallest, sampled):
    """A post of 3 whose vertices lie at its ends: looked at near both and halfway, and between."""
    post = shapes.soup(shapes.block((0, 0, 5), (1, 1, 8)))
    window = SimpleNamespace(
        box=Box(np.full(3, -9.0), np.full(3, 9.0)),
        bodies=SimpleNamespace(added_by_stray={0: post}),
    )
    sections = SimpleNamespace(window=window, smallest_mm=smallest)
    (layer,) = fins._layers(sections, (), True)
    assert (layer.low, layer.high, layer.sampled) == (5.0, 8.0, sampled)
    assert layer.shape.area == pytest.approx(1.0)
    assert fins._layers(sections, (), False) == []


def test_where_the_part_has_moved_one_side_ends_and_the_other_begins():
    """A run of 4 by 1, moved by 1 at the cut: floor and ceiling of 1 each, 3 all void."""
    asked = []

    def pieces(z, above):
        asked.append((z, above))
        return [box(0, 0, 4, 1)]

    sections = SimpleNamespace(
        pieces=pieces, walls_meeting=lambda *_: np.empty((0, 3, 3), np.float32)
    )
    parts = [Stretch(4.0, 5.0, (0.0, 0.0)), Stretch(5.0, 6.0, (1.0, 0.0))]
    floors, ceilings, through = fins._void(sections, parts)
    # Beyond a face at an end, on the passage's side of it at the cut.
    assert asked == [(4.0, False), (5.0, False), (5.0, True), (6.0, True)]
    assert (floors.bounds, ceilings.bounds) == ((4.0, 0.0, 5.0, 1.0), (0.0, 0.0, 1.0, 1.0))
    assert through.bounds == (1.0, 0.0, 4.0, 1.0)


def test_walls_are_cut_off_at_both_heights_and_level_ones_there_count():
    level = [[(0, 0, z), (1, 0, z), (0, 1, z)] for z in (1.0, 2.0, 3.0, 4.0)]
    upright = [[(5, 0, 0), (5, 1, 0), (5, 0, 9)]]
    found = fins._within(np.array(level + upright, np.float32), 1.0, 3.0)
    z = found[..., 2]
    assert (z.min(), z.max()) == (1.0, 3.0)
    assert {float(h) for h in z[(z == z[:, :1]).all(1), 0]} == {1.0, 2.0, 3.0}
    up, down = fins._shadow(found)
    assert up.area == pytest.approx(0.5)  # what stands upright has no shadow
    assert shapely.is_empty(down)
    assert fins._shadow(found[:, ::-1])[1].area == pytest.approx(0.5)


@pytest.mark.parametrize(
    ("tool", "expected"), [("drill", 3.4 / math.tan(math.radians(59.0))), ("electrode", 0.0)]
)
def test_the_second_opinion_leaves_the_point_of_a_drill_out(tool, expected):
    """Analytic: half the diameter over the tangent of half of 118 degrees."""
    stroke = SimpleNamespace(tool=tool, drill_diameter_mm=6.8)
    assert _point(stroke, 118.0) == pytest.approx(expected)
