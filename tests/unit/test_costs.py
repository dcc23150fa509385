"""Money and days beside the recommendation: worked numbers, closed forms, refusals."""

import make
import pytest
import shapes

from clearance.case.read import read_case
from clearance.case.tables import CostsTable
from clearance.disposition.costs import expected
from clearance.errors import CaseError
from clearance.report.costs import BESIDE, costs_lines


def of(operations=1, **keys):
    return expected(CostsTable(**{"rework": 1500.0, "rebuild": 6000.0, **keys}), operations)


@pytest.mark.parametrize(("chance", "cost"), [(0.5, 4500.0), (0.7, 3300.0), (0.9, 2100.0)])
def test_a_rework_of_1500_against_a_part_of_6000(chance, cost):
    """Worked apart: R + (1 - p) B; the same from p = 0.25 on."""
    found = of(chance=chance)
    assert found["rework_cost"] == pytest.approx(cost)
    assert found["break_even_all"] == pytest.approx(0.25)
    assert found["cheaper"] == "rework"
    assert of(chance=0.2)["cheaper"] == "rebuild"


@pytest.mark.parametrize(
    ("each", "all_well"),
    [(0.9, (0.81, 0.73, 0.66)), (0.95, (0.90, 0.86, 0.81)), (0.99, (0.98, 0.97, 0.96))],
)
def test_all_of_a_series_have_to_end_well(each, all_well):
    found = [of(m, chance=each)["chance_all"] for m in (2, 3, 4)]
    assert found == pytest.approx(list(all_well), abs=0.005)


@pytest.mark.parametrize(
    ("good", "tried", "mean", "low"),
    [(1, 1, 0.67, 0.22), (3, 3, 0.80, 0.47), (5, 5, 0.86, 0.61), (10, 10, 0.92, 0.76),
     (9, 10, 0.83, 0.64)],
)  # fmt: skip
def test_a_chance_that_is_counted(good, tried, mean, low):
    """k good of n, uniform prior: beta distribution, mean and 5 % quantile, computed apart."""
    found = of(good=good, of=tried)
    assert found["chance_each"] == pytest.approx(mean, abs=0.005)
    assert found["chance_each_low"] == pytest.approx(low, abs=0.005)
    # All good: the quantile in closed form, 0.05^(1/(n + 1)).
    if good == tried:
        assert found["chance_each_low"] == pytest.approx(0.05 ** (1.0 / (tried + 1)))


def test_what_flips_it_does():
    """At each value that flips it both cost the same."""
    keys = {"inspection": 300.0, "chance": 0.8}
    found = of(2, **keys)
    assert {flip["what"] for flip in found["flips"]} == {
        "rework",
        "rebuild",
        "chance",
        "inspection",
    }
    for flip in found["flips"]:
        there = of(2, **{**keys, flip["what"]: flip["flips_at"]})
        assert there["rework_cost"] == pytest.approx(there["rebuild_cost"])


def test_days_need_both():
    found = of(chance=0.5, rework_days=3.0, rebuild_days=20.0)
    assert (found["rework_days"], found["rework_days_most"]) == (13.0, 23.0)
    assert of(chance=0.5, rework_days=3.0)["rework_days"] is None


@pytest.fixture(scope="module")
def drilled(tmp_path_factory):
    """A straight bore under a sheet as wide as the part, and one drill that fits."""
    drill = {"diameter": 5.6, "flute": 60.0, "overall": 100.0}
    return make.checked(
        tmp_path_factory.mktemp("costs"),
        shapes.straight_bore(3.0, (20.0, 20.0, 20.0)),
        make.passage((0, 0, 0), (0, 0, 20), 3.0, 5.0),
        make.plane(10.0, 1),
        drilling={"series": [], "drills": [drill]},
        costs={"rework": 1500.0, "rebuild": 6000.0, "chance": 0.9},
    )


def test_it_stands_beside_the_recommendation(drilled):
    assert drilled.disposition.recommendation == "rework"
    assert drilled.costs["rework_cost"] == pytest.approx(2100.0)
    assert drilled.costs["operations"] == 1
    lines = costs_lines(drilled.costs)
    assert "rework 2100 expected" in lines[0]
    assert lines[-1] == BESIDE
    one = drilled.passages[0].rework.drilling[0].pieces[0]
    assert one["rim_width_mm"] == pytest.approx(0.2, abs=0.02)


@pytest.mark.parametrize(
    ("keys", "said"),
    [
        ({}, "found none of them, expected chance alone, or good and of"),
        ({"good": 3}, "found good, expected chance alone, or good and of"),
        ({"chance": 0.5, "good": 3, "of": 4}, "found chance and good and of, expected chance"),
        ({"good": 5, "of": 4}, "found 5, expected at most of, 4"),
    ],
)
def test_two_ways_or_none_to_say_the_chance_are_refused(tmp_path, keys, said):
    path = make.write_case(
        tmp_path, shapes.straight_bore(3.0), make.passage((0, 0, 0), (0, 0, 30), 3.0, 5.0),
        costs={"rework": 1.0, "rebuild": 2.0, **keys},
    )  # fmt: skip
    with pytest.raises(CaseError, match="costs") as caught:
        read_case(path)
    assert said in str(caught.value)
