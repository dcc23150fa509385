"""Readings of one thing together: expected numbers by hand, or by trying every true state."""

import math
import sys
from itertools import product
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent.parent))

from test_readings import told
from test_readings_answered import BALL, ask, judged  # noqa: F401 - fixtures

from clearance.readings.answer import u_of
from clearance.readings.forward import ball, pin
from clearance.readings.likelihood import coverage
from clearance.readings.prediction import Untold, right_or_wrong, yes_or_no
from clearance.readings.together import against, excluded_by, log_likelihood
from clearance.report import full, short
from clearance.report.readings import reading_line

E100 = math.log(100.0)


def a_ball(diameter, result, wrong=0.02):
    return told(kind="ball", passage="a", diameter=diameter, result=result, wrong=wrong)


def after(readings, passes, stops):
    """Readings of balls with what they should be of a passage whose clear diameter is between."""
    return [(one, ball(one, passes, stops)) for one in readings]


def by_trying(readings, allowed):
    """Likelihoods of balls, each clear diameter of a fine row tried."""
    return [
        math.prod(
            1.0 - r.wrong if (r.diameter <= clear) is (r.result == "passes") else r.wrong
            for r in readings
        )
        for clear in allowed
    ]


def test_readings_that_exclude_each_other_speak_against_no_event():
    # 3 passes and 2 stops: 0.98 x 0.02 whether the passage is 4 wide or 1
    readings = [a_ball(3.0, "passes"), a_ball(2.0, "stops")]
    for clear in (4.0, 1.0):
        assert against(after(readings, clear, clear)) == pytest.approx(0.0)
    # at 2.5 both are wrong: 0.02 x 0.02
    assert against(after(readings, 2.5, 2.5)) == pytest.approx(math.log(0.98 / 0.02))
    # two that stop and agree speak jointly, as before
    both = [a_ball(3.0, "stops"), a_ball(2.0, "stops")]
    assert against(after(both, 4.0, 4.0)) == pytest.approx(2.0 * math.log(49.0))


@pytest.mark.parametrize("passes", [0.0, 1.2, 2.1])
@pytest.mark.parametrize("stops", [2.1, 3.4, math.inf])
def test_balls_over_every_clear_diameter(passes, stops):
    sizes, every = (1.0, 1.5, 2.5, 3.0), [0.05 * n for n in range(100)]
    for results in product(("passes", "stops"), repeat=4):
        wrong = (0.02, 0.1, 0.3, 0.05)
        readings = [a_ball(*one) for one in zip(sizes, results, wrong, strict=True)]
        possible = [one for one in every if passes <= one <= stops]
        most, fit = max(by_trying(readings, every)), max(by_trying(readings, possible))
        found = against(after(readings, passes, stops))
        assert found == pytest.approx(math.log(most / fit), abs=1e-9)
        # Alike over what the balls may do: each pattern of passing and stopping once.
        patterns = {tuple(d <= one for d in sizes): one for one in possible}
        mean = sum(by_trying(readings, patterns.values())) / len(patterns)
        joint = log_likelihood(after(readings, passes, stops))
        assert joint == pytest.approx(math.log(mean), abs=1e-9)


def test_a_pin_has_one_depth_and_a_thicker_one_goes_no_farther():
    def a_pin(diameter, **keys):
        return told(kind="pin", port="a inlet", diameter=diameter, **keys)

    def weigh(*readings, low, high):
        return against([(one, pin(one, low, high)) for one in readings])

    ten, twenty = a_pin(3.0, value=10.0), a_pin(3.0, value=20.0)
    assert weigh(ten, twenty, low=10.0, high=10.0) == pytest.approx(0.0)  # one is wrong anyway
    assert weigh(twenty, twenty, low=10.0, high=10.0) == pytest.approx(2.0 * math.log(49.0))
    assert weigh(ten, twenty, low=15.0, high=15.0) == pytest.approx(math.log(49.0))
    assert weigh(ten, twenty, low=5.0, high=25.0) == pytest.approx(0.0)
    through, thin = a_pin(4.0, result="passes"), a_pin(3.0, value=10.0)
    assert excluded_by([through, thin], u_of, 3.0) == [1, 0]
    assert (
        excluded_by([a_pin(3.0, result="passes"), a_pin(4.0, value=10.0)], u_of, 3.0) == [None] * 2
    )
    assert excluded_by([ten, a_pin(3.0, value=10.5)], u_of, 3.0) == [None, None]  # 0.6 mm each


def test_what_excludes_what():
    height = dict(kind="part_height", u=0.03)
    k = coverage(2)
    near, far = ([told(**height, value=29.9), told(**height, value=z)] for z in (30.03, 30.04))
    assert excluded_by(near, u_of, k) == [None, None]  # 3.2 x 0.0424 = 0.136
    assert excluded_by(far, u_of, k) == [1, 0]
    emptied = a_ball(2.0, "stops").model_copy(update={"stage": "emptied"})
    assert excluded_by([a_ball(3.0, "passes"), emptied], u_of, k) == [None, None]  # powder is out
    logs = [told(kind="layers_logged", value=n) for n in (300, 301, 300)]
    assert excluded_by(logs, u_of, k) == [1, 0, 1]
    seen = [told(kind="seen", passage="a", found=found) for found in (True, False)]
    assert excluded_by(seen, u_of, k) == [None, None]  # not seen is not gone
    other = told(kind="ball", passage="b", diameter=2.0, result="stops")
    assert excluded_by([a_ball(3.0, "passes"), other], u_of, k) == [None, None]


def test_what_is_looked_for_twice_is_there_or_not():
    seen = [told(kind="seen", passage="a", found=True) for _ in range(2)]  # 0.5, 0.01
    pairs = [(one, yes_or_no(True, None, 0.5, 0.01)) for one in seen]
    assert log_likelihood(pairs) == pytest.approx(math.log(0.5 * (0.25 + 0.0001)))
    assert against(pairs) == pytest.approx(0.0)
    assert against([(seen[0], Untold("why"))]) == 0.0
    log = told(kind="layers_logged", value=300.0)
    assert against([(log, right_or_wrong(False, 0.02, 299.0, 299.0))]) == pytest.approx(
        math.log(49.0)
    )


def test_the_check_says_which_two_and_lets_the_event_stand(ask):  # noqa: F811
    wide, narrow = {**BALL, "diameter": 1.7, "result": "passes"}, {**BALL, "diameter": 1.6}
    found = ask(wide, {**narrow, "result": "stops"}, {**narrow, "diameter": 1.5, "result": "stops"})
    # 1.7 passes as predicted; 1.6 and 1.5 stop: either one is wrong or two, 49 in all
    assert [one.contradicts for one in found.readings] == [False] * 3
    assert [one.excluded_by for one in found.readings] == [2, 1, 1]
    assert "(EXCLUDED by reading 1, whatever the event)" in reading_line(found.readings[1])
    for text in (short.text(found), full.text(found)):
        flat = " ".join(text.split())
        assert "readings 1 and 2 exclude each other, whatever the event" in flat
        assert "of two such readings one is wrong: read again" in flat
    assert found.disposition.recommendation == "use-as-is"
    agreeing = ask({**narrow, "result": "stops"}, {**narrow, "diameter": 1.5, "result": "stops"})
    assert all(one.contradicts and one.excluded_by is None for one in agreeing.readings)


def test_two_pictures_of_one_layer_show_one_slice():
    def photo(*slices):
        return told(kind="photo", height=12.0, slices=slices)

    def after_slice(number, *photos):
        chances = (0.98 if number in one else 0.02 for one, _ in photos)
        ends = (number, number)
        return [
            (reading, right_or_wrong(chance > 0.5, 0.02, *map(float, ends)))
            for chance, (_, reading) in zip(chances, photos, strict=True)
        ]

    low, mid, far = (range(3), photo("0-2")), (range(2, 9), photo("2-8")), ([40], photo("40"))
    assert against(after_slice(2, low, mid)) == pytest.approx(0.0)
    assert against(after_slice(120, low)) == pytest.approx(math.log(49.0))
    assert against(after_slice(120, low, mid)) == pytest.approx(2.0 * math.log(49.0))
    # one of the two that exclude each other is wrong, whatever was melted
    assert against(after_slice(1, low, far)) == pytest.approx(0.0)
    assert excluded_by([low[1], mid[1], far[1]], u_of, 3.0) == [2, 2, 0]
