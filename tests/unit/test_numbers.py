"""Numbers in words never say what is not so: bounds are rounded outward, ties are told apart."""

from __future__ import annotations

import make
import pytest
import shapes

from clearance.heights import place
from clearance.report.headline import clear_diameter
from clearance.report.sweep import text
from clearance.report.table import why
from clearance.result import ClearDiameter, State
from clearance.sweeps.result import PassageHeights, Sweep
from clearance.verdict.states import Bracket, Required, Seen, state_of


@pytest.mark.parametrize(
    ("high", "words"),
    [
        (0.7996, "just under 0.8 mm passes, 0.8 mm required"),
        (0.79999, "just under 0.8 mm passes, 0.8 mm required"),
        (0.7512, "at most 0.76 mm passes, 0.8 mm required"),
    ],
)
def test_what_is_too_narrow_is_not_shown_as_wide_enough(high, words):
    state, reasons = state_of(Required(0.8, 0.05), Bracket(0.7, high))
    assert (state, reasons) == (State.RESTRICTED, (words,))


def test_a_ball_that_passes_is_not_rounded_up():
    _, reasons = state_of(Required(0.5, 0.05), Bracket(0.7999, 0.9))
    assert reasons == ("a ball of 0.79 mm passes, 0.5 mm required",)


def test_an_undetermined_bracket_is_shown_on_both_sides_of_what_is_required():
    _, reasons = state_of(Required(0.8, 0.05), Bracket(0.79996, 0.80004))
    said = "the clear diameter lies between 0.79 and 0.81 mm, 0.8 mm required"
    assert reasons == (said,)


def test_too_small_an_open_fraction_is_not_shown_as_enough():
    seen = Seen(fractions=((5.0, 0.8999),))
    _, reasons = state_of(Required(0.8, 0.05, False, 0.9), Bracket(0.9, 1.0), seen)
    assert reasons == ("the crossing at z 5.00 mm leaves 0.89 of its area, 0.9 required",)


def test_a_bracket_just_below_the_requirement_shows_so():
    found = ClearDiameter(8.0, 6.9, 6.89, 6.9996, 7.9, 8.0)
    assert clear_diameter(found, 7.0) == "6.89 to just under 7"


def test_a_sweep_tells_heights_as_they_are_and_rounds_bounds_outward():
    states = (State.RESTRICTED, State.BLOCKED)
    passage = PassageHeights(
        "way", 0.125, states, (0.12, 0.0), (0.119, 0.0), (0.1244, 0.0), (1.0, 0.0)
    )
    said = text(Sweep("part", 0.2, 0, (1.0, 1.0), (1.0, 1.025), (passage,)))
    assert "way, 0.125 mm required" in said
    assert "z 1.025: blocked" in said
    assert "z 1: restricted, 0.11 to just under 0.125 mm clear" in said


def test_no_place_is_minus_nought():
    assert place((-0.04, 0.0, -0.01), 0.0) == "(0.0, 0.0, 0.0) mm"


@pytest.mark.parametrize(("tolerance", "said"), [(0.2, True), (0.0, False)])
def test_an_open_passage_below_its_requirement_says_why(tmp_path, tolerance, said):
    """With mesh_tolerance less is required than the table's "needs" says."""
    tube = shapes.straight_bore(2.0, (8.0, 8.0, 4.0), segments=24)
    need = 4.0 if tolerance else 3.5
    ways = make.passage((0, 0, 0), (0, 0, 4), 2.0, need)
    part = {"mesh_tolerance": tolerance}
    found = make.first(tmp_path, tube, ways, make.sheet(2.0, 1), part=part)
    assert found.state is State.OPEN
    assert ("3.8 mm required" in why(found, {})) is said
