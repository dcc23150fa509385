"""What is said of a stroke: how far off its normal it meets the sheet, what it may take besides.

Sheets are level: the angle is that of the drill from the vertical, whichever end is up.
"""

import pytest

from clearance.disposition.gather import Extra, plan_from
from clearance.drawing.drill_words import compass, set_up, taken
from clearance.drilling.aslant import off_normal, wanders
from clearance.report.drilling import operation_line
from clearance.result import Drilling, Rework


def stroke(tilt_deg=0.0, margin=0.5, cut=0.0, run_out=0.14):
    return Drilling(
        0, (), 7.0, "jobber", 69.0, 109.0, "inlet", (0.0, 0.0, 0.0), (0.0, 0.0, 1.0), 46.2, 6.6,
        margin, cut, 0.5, 0.6, tilt_deg, 0.0, 0.022, run_out,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("tilt_deg", "off", "word"),
    [
        (0.0, 0.0, ""),
        (180.0, 0.0, ""),
        (29.9, 29.9, ""),
        (150.5, 29.5, ""),
        (62.0, 62.0, "a guide bush or a spot face first"),
        (118.0, 62.0, "a guide bush or a spot face first"),
        (90.0, 90.0, "it runs along the sheet, a guide bush first"),
        (95.0, 85.0, "it runs along the sheet, a guide bush first"),
    ],
)
def test_a_sheet_met_far_off_its_normal_is_said_wherever_the_stroke_is(tilt_deg, off, word):
    one = stroke(tilt_deg)
    assert off_normal(one) == pytest.approx(off)
    said = wanders(one)
    assert said.endswith(word)
    assert bool(said) == bool(word)
    plan = plan_from(Rework("open", 7.0, (one,)), Extra(), None)
    for shown in (operation_line(one), *plan.strokes, *([set_up(one)] if off else [])):
        assert ("wanders" in shown) == bool(word)
        assert said in shown


@pytest.mark.parametrize(
    ("margin", "cut", "said"),
    [
        (0.5, 0.0, "both are still to come off the clearance"),
        (0.162, 0.0, "both are still to come off the clearance"),
        (0.16, 0.0, "together more than the clearance, the drill may touch the wall"),
        (0.0, 0.0, "together more than the clearance, the drill may touch the wall"),
        (0.0, 0.413, "with both 0.58 mm of the wall is cut"),
    ],
)
def test_tolerance_and_run_out_come_off_a_margin_only_where_there_is_one(margin, cut, said):
    assert taken(stroke(margin=margin, cut=cut)).endswith(said)


def test_of_several_strokes_the_one_that_may_cut_most_counts():
    mild, worst = stroke(margin=0.0, cut=0.3, run_out=0.1), stroke(margin=0.0, cut=0.2, run_out=0.3)
    clear = stroke(margin=0.01, run_out=0.9)
    plan = plan_from(Rework("open", 7.0, (mild, worst, clear)), Extra(), None)
    assert plan.most_cut_mm == pytest.approx(0.522)
    plan = plan_from(Rework("open", 7.0, (stroke(), clear)), Extra(), None)
    assert (plan.margin_mm, plan.most_cut_mm) == (0.01, 0.0)


@pytest.mark.parametrize(
    ("x", "y", "said"),
    [(1, 0, "+x"), (-2, 1e-12, "-x"), (0, -1, "-y"), (1, 1, "45.0 deg from +x to +y")],
)
def test_a_direction_in_the_layer_plane_is_an_axis_where_it_is_one(x, y, said):
    assert compass(x, y) == said
