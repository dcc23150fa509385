"""Metal that an event adds, and the step that it leaves: by hand, and by booleans of manifold3d.

Booleans are an outside reference; solids are read back as they are stored, in single precision.
"""

import manifold3d as m3
import numpy as np
import pytest
import shapes

from clearance.evidence.added import metal_added, volume_between
from clearance.evidence.signs import overhang
from clearance.geometry.soup import Box
from clearance.predicted.bodies import Bodies
from clearance.predicted.part import NOMINAL, Window
from clearance.predicted.slabs import Event

T = 0.1
NOTHING = np.empty((0, 3, 3), np.float32)


def event(height, n=0, first=0, rise=0.0, shift=(0.0, 0.0), **keys):
    """An event of n wrong layers, the first number `first`, without penetration."""
    slices = tuple((first + k + 0.5) * T for k in range(n))
    return Event(0, height, slices, T, keys.pop("plane", False), 0.0, rise, shift, **keys)


def both(solid, events, stray=None, overlapping=False):
    """Predicted and nominal part over the whole part; a solid, or a soup of its own."""
    soup = shapes.soup(solid) if isinstance(solid, m3.Manifold) else solid
    added = {} if stray is None else {1: shapes.soup(stray)}
    bodies = Bodies(soup, soup, added, overlapping)
    low, high = bodies.bounds
    window = Window(bodies, Box(low - 3.0, high + 3.0), 1.0, NOTHING)
    return window.predict(tuple(events)), window.predict(NOMINAL)


def added(solid, *events, **keys):
    return metal_added(*both(solid, events, **keys))


def between(solid, low, high):
    """Volume of a solid between two heights, by a boolean."""
    return (solid ^ shapes.block((-99, -99, low), (99, 99, high))).volume()


def bored(top=20.0):
    """A round bar with a leaning bore: columns a pitch apart tell its volume to a percent."""
    bar = shapes.bore((0, 0, 0), (0, 0, top), 9.0, segments=48)
    return bar - shapes.bore((-4, 0, -1), (4, 1, top + 1), 2.5, segments=32)


def cone():
    return m3.Manifold.cylinder(20.0, 8.0, 3.0, 40)


# ---- metal added -----------------------------------------------------------------------------


@pytest.mark.parametrize("solid", [bored(), cone(), shapes.block((0, 0, 0), (10, 6, 20))])
@pytest.mark.parametrize("shift", [(0.9, 0.0), (-0.4, 0.7)])
def test_what_has_only_moved_adds_nothing(solid, shift):
    assert added(solid, event(7.03, shift=shift)) == 0.0
    assert added(solid, event(7.03, shift=shift), event(11.0, shift=shift)) == 0.0


@pytest.mark.parametrize("n", [1, 3])
@pytest.mark.parametrize("height", [6.0, 10.03])
def test_a_lifted_part_is_more_by_its_slices(n, height):
    for solid in (bored(), cone()):
        sizes = [solid.slice((k + 0.5) * T).area() for k in range(n)]
        found = added(solid, event(height, n, rise=n * T))
        assert found == pytest.approx(T * sum(sizes), rel=1e-5)  # all of the part is there still


@pytest.mark.parametrize("n", [1, 3])
@pytest.mark.parametrize("height", [6.0, 10.03])
def test_slices_in_the_place_of_what_belongs_there(n, height):
    for solid in (bored(), cone()):
        slices = sum(solid.slice((k + 0.5) * T).area() * T for k in range(n))
        found = added(solid, event(height, n))
        assert found == pytest.approx(slices - between(solid, height, height + n * T), abs=2e-4)


def test_layers_left_out_and_layers_twice():
    solid = cone()
    left_out = added(solid, event(8.0, rise=-2.5))
    assert left_out == pytest.approx(-between(solid, 8.0, 10.5), rel=1e-6)
    twice = added(solid, event(8.0, rise=1.5))
    assert twice == pytest.approx(between(solid, 6.5, 8.0), rel=1e-6)
    # One after the other: 2.5 left out above 8, then what is at 9 (11.5 of the part) once more.
    again = added(solid, event(8.0, rise=-2.5), event(9.0, rise=1.0))
    expected = between(solid, 10.5, 11.5) - between(solid, 8.0, 10.5)
    assert again == pytest.approx(expected, rel=1e-6)


def test_a_whole_cross_section_fills_the_bore():
    # Analytic: 0.3 of a square bore of 4, in a block of 10 x 10.
    solid = shapes.block((0, 0, 0), (10, 10, 20)) - shapes.block((3, 3, -1), (7, 7, 21))
    assert added(solid, event(5.0, 3, plane=True)) == pytest.approx(16.0 * 0.3, rel=1e-6)


def test_shells_that_overlap_count_once():
    one, other = shapes.block((0, 0, 0), (6, 6, 20)), shapes.block((4, 0, 0), (10, 6, 20))
    soup = np.concatenate([shapes.soup(one), shapes.soup(other)])
    # Analytic: 10 x 6 in plan, 4 x 6 of it twice.
    assert added(soup, event(5.0, rise=1.0), overlapping=True) == pytest.approx(60.0, rel=1e-6)
    assert added(soup, event(5.0, rise=-1.0), overlapping=True) == pytest.approx(-60.0, rel=1e-6)


def test_measured_metal_counts_where_the_part_is_not():
    solid = bored()
    stray = shapes.block((-3, -6, 7.8), (20, 5, 8.45))
    found = added(solid, stray=stray)
    assert found == pytest.approx((stray - solid).volume(), rel=1e-4)
    # What lies over the slices of a sheet is not counted twice.
    flat = shapes.block((-3, -6, 8.0), (20, 5, 8.2))
    slices = [solid.slice((k + 0.5) * T) for k in range(3)]
    sheet = m3.Manifold.batch_boolean(
        [m3.Manifold.extrude(s, T).translate((0, 0, 8.0 + k * T)) for k, s in enumerate(slices)],
        m3.OpType.Add,
    )
    alone = sheet.volume() - between(solid, 8.0, 8.3)
    found = added(solid, event(8.0, 3), stray=flat)
    assert found == pytest.approx(alone + (flat - sheet).volume(), rel=1e-3)


@pytest.mark.parametrize(("low", "high"), [(-30.0, 30.0), (-3.0, 4.123), (0.5, 0.55), (9.0, 40.0)])
def test_volume_between_heights_is_that_of_a_boolean(low, high):
    ball = m3.Manifold.sphere(10.0, 48) - m3.Manifold.sphere(5.0, 32).translate((2, 1, -1))
    expected = between(ball, max(low, -98.0), min(high, 98.0))
    assert volume_between(shapes.soup(ball), low, high) == pytest.approx(expected, rel=1e-6)
    far = shapes.soup(ball.translate((400.0, -700.0, 0.0)))
    assert volume_between(far, low, high) == pytest.approx(expected, rel=1e-4)


# ---- the step outside ------------------------------------------------------------------------


@pytest.mark.parametrize("n", [0, 2])
@pytest.mark.parametrize("shift", [(0.9, 0.0), (0.0, -0.5), (0.3, 0.4)])
def test_a_part_that_goes_on_aside_stands_out_by_that(n, shift):
    solid = shapes.block((-5, -4, 0), (5, 4, 20)) - shapes.bore((0, 0, -1), (0, 0, 21), 2.0)
    out = overhang(both(solid, [event(7.0, n, shift=shift)])[0])
    size = float(np.hypot(*shift))
    assert out.length_mm == pytest.approx(size, abs=1e-5)  # a corner, or a whole side
    assert out.direction[:2] == pytest.approx(np.array(shift) / size, abs=1e-4)
    assert out.at_mm[2] == pytest.approx(7.0 + n * T)


def test_a_second_offset_counts_from_the_first():
    solid = shapes.block((-5, -4, 0), (5, 4, 20))
    events = [event(7.0, shift=(0.9, 0.0)), event(12.0, shift=(-0.3, 0.0))]
    assert overhang(both(solid, events)[0]).length_mm == pytest.approx(0.9, abs=1e-5)
    events = [event(7.0, shift=(0.2, 0.0)), event(12.0, shift=(-0.5, 0.0))]
    out = overhang(both(solid, events)[0])
    assert out.length_mm == pytest.approx(0.5, abs=1e-5)
    assert out.direction[0] == pytest.approx(-1.0)


def test_layers_left_out_of_a_cone_leave_a_ledge():
    # Analytic: the cone narrows by 5 over 20, so 2.5 left out are 0.625 of its radius; the
    # flats of 40 sides lie nearer by their cosine, corners count.
    out = overhang(both(cone(), [event(8.0, rise=-2.5)])[0])
    assert out.length_mm == pytest.approx(0.625, rel=4e-3)
    assert out.at_mm[2] == pytest.approx(8.0)
    # And the other way round: 2.5 once more are wider than what is below and belongs there.
    out = overhang(both(cone(), [event(12.0, rise=2.5)])[0])
    assert out.length_mm == pytest.approx(0.625, rel=4e-3)


@pytest.mark.parametrize("n", [0, 3])
def test_a_flange_that_ends_at_the_event_is_no_step(n):
    flange = shapes.block((-8, -8, 0), (8, 8, 7)) + shapes.block((-3, -3, 6), (3, 3, 20))
    for solid in (flange, flange.mirror((0, 0, 1)).translate((0, 0, 20))):
        height = 7.0 if solid is flange else 13.0
        still = overhang(both(solid, [event(height, n, first=height / T, rise=n * T)])[0])
        assert still.length_mm == pytest.approx(0.0, abs=1e-4)
        moved = overhang(both(solid, [event(height, shift=(0.6, 0.0))])[0])
        assert moved.length_mm == pytest.approx(0.6, abs=1e-4)
