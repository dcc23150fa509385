"""Stock balls and the brackets of a clear diameter."""

import math

import pytest

from clearance.evidence.balls import balls, in_words, stock
from clearance.result import ClearDiameter, PassageResult, State


def ball(nominal, predicted, allowance=0.0, tolerance=0.0):
    clear = ClearDiameter(sum(nominal) / 2, sum(predicted) / 2, *predicted, *nominal)
    passage = PassageResult("a", State.OPEN, 5.0, clear, State.OPEN, (), ())
    return balls([passage], allowance, tolerance)[0]


def test_the_table_rises_and_its_names_are_its_numbers():
    sizes = list(stock())
    assert sizes == sorted(set(sizes))
    for mm, name in stock().items():
        number, unit = name.split()
        whole = [float(part) for part in number.split("/")]
        value = whole[0] / whole[1] if len(whole) == 2 else whole[0]
        # 25.4 mm to the inch, by definition
        assert mm == pytest.approx(value * {"mm": 1.0, "in": 25.4}[unit], abs=1e-9)


# published: a ball supplier's list of stock sizes, REFERENCES-2.md section 2.4
@pytest.mark.parametrize("mm", [1.5, 2, 2.5, 3, 3.5, 4, 4.5, 5, 5.5, 6, 25.4 / 16, 25.4 / 8, 25.4])
def test_sizes_of_the_list_are_there(mm):
    assert mm in stock()


def test_the_ball_farthest_from_both_limits_tells():
    found = ball((7.9, 8.0), (5.9, 6.0))
    assert found.passes_nominal_mm == 7.5
    assert found.passes_predicted_mm == 5.55625
    assert found.stops_predicted_mm == 6.35
    assert found.tells_mm == 7.0  # 1.0 above 6.0, 0.9 below 7.9
    assert found.residual_mm is None


def test_where_no_stock_size_lies_between_the_residual_says_how_far_they_may_differ():
    found = ball((5.12, 5.14), (5.05, 5.08))
    assert found.tells_mm is None
    assert not found.tells_apart
    assert found.residual_mm == pytest.approx(5.14 - 5.05)


def test_the_allowance_is_taken_off_what_passes_and_the_tolerance_added_to_what_stops():
    assert ball((6.06, 6.1), (5.0, 5.1), allowance=0.1).passes_nominal_mm == 5.953125
    assert ball((6.05, 6.1), (5.0, 5.1), allowance=0.1).passes_predicted_mm == 4.7625
    assert ball((6.05, 6.1), (5.0, 5.1), tolerance=0.1).stops_predicted_mm == 5.5


def test_a_blocked_passage_stops_every_ball():
    found = ball((7.9, 8.0), (0.0, 0.0), tolerance=5.0)
    assert found.passes_predicted_mm is None
    assert found.stops_predicted_mm == min(stock())
    assert found.tells_mm == pytest.approx(3.96875)  # half of 7.9, nearly


def test_a_passage_wider_than_any_ball_and_without_bound():
    found = ball((30.0, math.inf), (28.0, math.inf))
    assert found.passes_predicted_mm == max(stock())
    assert found.stops_predicted_mm is None
    assert found.residual_mm is None


def test_words():
    assert in_words(4.0) == "4 mm"
    assert in_words(5.953125) == "15/64 in (5.953 mm)"
