"""Worth of one more test: closed forms, and the table of check values in REFERENCES-3, A2.

A rework of 1500 against a part of 6000, at even chances that a rework would do: 4500 are expected
without a test, 3750 with perfect knowledge; a test that is right in 95, 80, 60 of 100 cases both
ways is worth 600, 150, 0. (Value of information as in any textbook of decision analysis.)
"""

import math

import numpy as np
import pytest

from clearance.case.tables import CostsTable
from clearance.causes.next_one import Foreseen, worth
from clearance.causes.worth import Taken, choices, not_told, worth_now
from clearance.report.causes import worth_words

TABLE = CostsTable(rework=1500.0, rebuild=6000.0, chance=1.0)
EVEN = np.array([0.5, 0.5])
TWO = [Taken("rework", 1), Taken("scrap")]


def normal(x):
    return 0.5 * math.erfc(-x / math.sqrt(2.0))


def test_without_a_test_and_with_perfect_knowledge():
    found = worth_now(choices(TABLE, TWO), EVEN)
    assert found["cheapest_now"] == "rework"
    assert found["cost_now"] == pytest.approx(4500.0)
    assert found["all_known"] == pytest.approx(750.0)
    assert "no measurement is worth more than 750; beside" in worth_words(found)


@pytest.mark.parametrize(("right", "saved"), [(0.95, 600.0), (0.80, 150.0), (0.60, 0.0)])
def test_a_test_that_is_right_so_often_both_ways(right, saved):
    asked = Foreseen(chances=np.array([right, 1.0 - right]))
    assert worth(EVEN, asked, 1.0, choices(TABLE, TWO)) == pytest.approx(saved, abs=1e-6)


@pytest.mark.parametrize("apart", [0.5, 1.0, 2.0, 4.0])
@pytest.mark.parametrize("p", [0.3, 0.5, 0.8])
def test_a_reading_of_two_suspects_some_u_apart(apart, p):
    """Rework is chosen below t = D/2 - ln((1 - p)/(3 p))/D, by costs of 4500 and 1500."""
    t = apart / 2.0 - math.log((1.0 - p) / (3.0 * p)) / apart
    good = 1500.0 * normal(t) + 6000.0 * (1.0 - normal(t))
    bad = 7500.0 * normal(t - apart) + 6000.0 * (1.0 - normal(t - apart))
    now = min(p * 1500.0 + (1.0 - p) * 7500.0, 6000.0)
    u = 0.03
    read = Foreseen(means=np.array([[31.2], [31.2 + apart * u]]))
    found = worth(np.array([p, 1.0 - p]), read, u, choices(TABLE, TWO))
    assert found == pytest.approx(now - p * good - (1.0 - p) * bad, abs=0.05)


def test_nothing_to_measure_is_an_answer_and_a_sharp_reading_tells_all():
    found = choices(TABLE, TWO)
    absent = Foreseen(means=np.array([[np.nan], [1.0]]))
    assert worth(EVEN, absent, 0.1, found) == pytest.approx(750.0, abs=1e-6)
    alike = Foreseen(means=np.array([[1.0], [1.0]]))
    assert worth(EVEN, alike, 0.1, found) == pytest.approx(0.0, abs=1e-6)


def test_what_each_choice_costs_of_each_suspect():
    """R + I + (1 - s^m) B; where no rework would do R + I + B; a part that is used and is bad W."""
    table = CostsTable(
        rework=100.0, inspection=20.0, rebuild=1000.0, chance=0.9, wrong_release=5000.0
    )
    taken = [Taken("rework", 1), Taken("repair", 2), Taken("scrap"), Taken("use-as-is")]
    found = choices(table, taken)
    assert found.names == ("rebuild", "rework", "use-as-is")
    assert found.costs[0] == pytest.approx([1000.0] * 4)
    assert found.costs[1] == pytest.approx([220.0, 310.0, 1120.0, 310.0])
    assert found.costs[2] == pytest.approx([5000.0, 5000.0, 5000.0, 0.0])


def test_no_test_is_worth_more_than_knowing_all():
    rng = np.random.default_rng(5)
    table = CostsTable(rework=300.0, rebuild=1000.0, chance=0.8, wrong_release=4000.0)
    words = ["rework", "scrap", "use-as-is", "rework", "use-as-is"]
    found = choices(table, [Taken(w, 2 if w == "rework" else None) for w in words])
    for _ in range(20):
        weights = rng.dirichlet(np.ones(5))
        read = Foreseen(means=rng.normal(0.0, 1.0, (5, 3)))
        most = worth_now(found, weights)["all_known"]
        assert 0.0 <= worth(weights, read, 0.5, found) <= most + 1e-6


@pytest.mark.parametrize(
    ("taken", "why"),
    [
        ([Taken("rework", 1), Taken("undetermined")], "undetermined"),
        ([Taken("rework", None), Taken("scrap")], "how many operations"),
        ([Taken("rework", 1), Taken("use-as-is")], "wrong_release is not given"),
    ],
)
def test_what_is_not_given_is_not_assumed(taken, why):
    said = choices(TABLE, taken)
    assert why in said
    assert worth_words(not_told(said)) == f"not told: {said}"
