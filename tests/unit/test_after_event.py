"""After the event: which coupons count, and what follows for parts that are not complete.

All of it is plain from the numbers: a gauge length, the height of a joint, the costs of a case.
"""

from pathlib import Path
from types import SimpleNamespace

import pytest

from clearance.case.plate import PlacedPart
from clearance.plates.after import alike, coupons, unfinished
from clearance.plates.event import crossed, joints
from clearance.plates.members import Label, Member

LABEL = Label("a", "", "plate", (0.0, 0.0), 0.0)


def member(name="a", task="a task", **keys):
    placed = {"coupon": False, "gauge": None} | {
        key: keys.pop(key) for key in ("coupon", "gauge") if key in keys
    }
    part = PlacedPart(name=name, case=Path("a.toml"), at=(0.0, 0.0), **placed)
    found = {"crossed_mm": (), "stop_mm": 6.0, "top_mm": 12.0, "bottom_mm": 0.0, **keys}
    return Member(part, LABEL, task, **found)


def coupon(gauge, *ends, **keys):
    crossed_mm = tuple(low for low, _ in ends)
    (said,) = coupons(
        [member(coupon=True, gauge=gauge, crossed_mm=crossed_mm, joints_mm=ends, **keys)]
    )
    return said


@pytest.mark.parametrize(
    ("gauge", "counts"),
    [
        ((2.0, 8.0), "yes"),
        ((6.0, 8.0), "no"),  # it begins in the joint
        ((2.0, 7.0), "no"),  # it ends with the wrong layers
        ((7.5, 9.0), "no"),
        (None, "unknown"),
    ],
)
def test_a_coupon_counts_with_metal_on_both_sides_in_its_gauge_length(gauge, counts):
    said = coupon(gauge, (6.0, 7.0))
    assert said["counts"] == counts
    assert ("does not count" in said["said"]) == (counts == "no")


def test_of_several_joints_those_it_holds_are_named():
    said = coupon((5.0, 20.0), (6.0, 7.0), (19.5, 20.5))
    assert (said["counts"], said["held_mm"]) == ("yes", [6.0])
    assert "1 of 2 joints it does not hold" in said["said"]


def test_one_without_a_joint_or_with_a_fault():
    assert coupon((2.0, 8.0))["said"] == "has no joint: does not count"
    (said,) = coupons([member(coupon=True, crossed_mm=None, fault="a.toml: no such file")])
    assert (said["counts"], said["joints_mm"]) == ("unknown", None)
    assert said["said"] == "cannot be told: a.toml: no such file"


def test_a_part_that_begins_above_the_event_has_no_joint():
    assert crossed((6.0, 9.0), 12.0) == (6.0, 9.0)
    assert crossed((6.0, 9.0), 12.0, 6.0) == (9.0,)
    assert crossed((6.0, 9.0), 9.0, 0.0) == (6.0,)


def test_a_joint_ends_with_the_wrong_layers_that_may_lie_on_it():
    stray = SimpleNamespace(height=6.0, layers_high=2)
    case = SimpleNamespace(part=SimpleNamespace(layer_thickness=0.5), stray=(stray,))
    assert joints(case, (6.0, 9.0)) == ((6.0, 7.0), (9.0, 9.0))


def entry(word, begun=0.5, rework=None, rebuild=None):
    return {
        "recommendation": word, "metal_mm3": 100.0, "metal_at_event_mm3": 100.0 * begun,
        "rework_cost": rework, "rebuild_cost": rebuild,
    }  # fmt: skip


def left(word, begun=0.5, rework=None, rebuild=None, **keys):
    return unfinished([member(**keys)], {"a": entry(word, begun, rework, rebuild)})


@pytest.mark.parametrize(
    ("word", "say"),
    [
        ("scrap", "stop"),
        ("rework", "go on"),
        ("use-as-is", "go on"),
        ("undetermined", "decide first"),
        ("error", "decide first"),
    ],
)
def test_what_follows_of_the_recommendation_alone(word, say):
    """Costs, cheaper or dearer, change nothing of it."""
    for rework in (None, 100.0, 900.0):
        (one,) = left(word, rework=rework, rebuild=500.0)
        assert (one["say"], one["built"], one["begun"]) == (say, 0.5, True)


def test_the_costs_stand_beside_it():
    assert "reworked 100 expected, less than a new part, 500" in left(
        "rework", rework=100.0, rebuild=500.0
    )[0]["said"]  # fmt: skip
    assert "900 expected, no less than" in left("rework", rework=900.0, rebuild=500.0)[0]["said"]
    assert "expected" not in left("rework")[0]["said"]


def test_a_part_that_is_complete_is_not_among_them():
    assert left("scrap", begun=1.0) == []
    assert left("scrap", stop_mm=None) == []
    assert left("coupon", task=None, coupon=True) == []


def test_a_part_not_yet_begun_is_told_apart():
    (one,) = left("scrap", begun=0.2, bottom_mm=8.0)  # what is stray below it is none of its metal
    assert (one["begun"], one["built"], one["say"]) == (False, 0.0, "stop")
    assert "not begun: its lowest face lies at z 8 mm" in one["said"]
    assert "leave it out" in one["said"]
    assert alike([one, {**one, "name": "b"}]) == [f"a, b: {one['said']}"]
