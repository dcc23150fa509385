"""Arrows where a measured outline lies off the predicted one: boxes set aside, by hand."""

import pytest
import shapely
import shapes
from matplotlib.figure import Figure

from clearance.drawing.scan import Scan, deviations, explained, measured_outline
from clearance.figures.deviations import draw_deviations
from clearance.geometry.planes import Plane

SCAN = Scan("scan.stl", shapes.soup(shapes.block((0.3, 0, 0), (10.3, 6, 5))), 0.1, ("as measured",))
PREDICTED = shapely.box(0.0, 0.0, 10.0, 6.0)


@pytest.fixture(scope="module")
def found():
    return deviations(SCAN, PREDICTED, measured_outline(SCAN, Plane.level(2.5)))


def test_a_side_that_stands_out_and_one_that_lacks(found):
    """Set aside by 0.3 mm along x: +0.3 on the right, -0.3 on the left, nothing up or down."""
    assert {round(one.off_mm, 3) for one in found} == {0.3, -0.3}
    for one in found:
        assert one.at[0] == pytest.approx(10.0 if one.off_mm > 0.0 else 0.0)
        assert one.way == pytest.approx((1.0, 0.0), abs=1e-6)
    assert explained(SCAN, found)[1:] == ("as measured",)


def test_what_the_scan_may_be_off_by_itself_is_no_deviation():
    assert deviations(SCAN, PREDICTED, shapely.box(0.09, 0.0, 10.09, 6.0)) == ()
    assert deviations(None, PREDICTED, PREDICTED) == ()


def numbers(found, inches):
    """Axes a part is drawn in, and the boxes of its numbers on paper."""
    figure = Figure(figsize=inches)
    axes = figure.add_axes((0.1, 0.1, 0.8, 0.8))
    axes.set(xlim=(-2.0, 12.0), ylim=(-2.0, 8.0))
    draw_deviations(axes, found)
    figure.draw_without_rendering()
    return axes, [one.get_window_extent() for one in axes.texts if one.get_gid() == "deviation"]


def test_where_a_part_is_drawn_small_no_two_numbers_meet(found):
    """At 1 : 10 all of one side stand on each other: one a side is drawn."""
    _, boxes = numbers(found, (0.06, 0.05))
    assert len(boxes) == 2 < len(found)
    assert not boxes[0].overlaps(boxes[1])


def test_every_number_stands_beside_the_part_and_no_two_meet(found):
    axes, boxes = numbers(found, (6.0, 5.0))
    assert len(boxes) == len(found) >= 2
    for n, box in enumerate(boxes):
        assert not any(box.overlaps(other) for other in boxes[:n])
        low, high = axes.transData.inverted().transform([box.min, box.max])
        assert high[0] < 0.0 or low[0] > 10.0
