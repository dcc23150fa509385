"""The work sequence: equal steps are one, the surest sign is measured first, the rim comes off."""

import dataclasses

import pytest
from test_disposition import PLAN, case, checked, known, passage, positions, stray

from clearance.disposition import order_of_work
from clearance.disposition.gather import gather
from clearance.disposition.known import Pin, Rim
from clearance.disposition.rules import dispose
from clearance.disposition.steps import Step, joined
from clearance.result import State, Unmelted

RIM = Rim(3.83, -44.54, 29.54, 135.0, (31.2, 31.35))
TWO = dataclasses.replace(PLAN, strokes=("7 mm drill from the inlet", "7 mm drill from the outlet"))


def test_steps_that_differ_in_a_name_alone_are_one():
    steps = [Step("ball through ", name, ", in to out") for name in ("a", "b", "c")]
    assert joined(steps) == ("ball through a, b and c, in to out",)
    tubes = [Step("ball through ", f"tube-{n}", "") for n in range(1, 13)]
    assert joined([*tubes, "weigh it", Step("ball through ", "feed")]) == (
        "ball through tube-1 to tube-12", "weigh it", "ball through feed",
    )  # fmt: skip
    assert joined(["the log", "the log", Step("x ", "a"), Step("x ", "a")]) == ("the log", "x a")


def test_one_ball_goes_through_all_that_ask_for_it():
    passages = (passage("tank", plan=PLAN), passage("gauge", state=State.OPEN, required_mm=4.5))
    what = known(passage("pressure", state=State.OPEN), *passages, passage("pilot", plan=PLAN),
                 rate_l_min=5.0)  # fmt: skip
    steps = dispose(what).order_of_work
    assert "a ball of 7 mm through pressure, tank and pilot, inlet to outlet" in steps
    assert "a ball of 4.5 mm through gauge, inlet to outlet" in steps
    assert "flow test of pressure, tank, gauge and pilot at 5 L/min" in steps
    assert f"drill tank and pilot: {PLAN.strokes[0]}" in steps


def test_what_is_needed_to_decide_is_joined_too():
    gap = Unmelted(0, 400.0, 0.1, (("air", "outside"), ("fuel", "outside")), (0.0, 0.0, 0.0))
    assert dispose(known(gap)).settled_by == (
        "leak test of air and fuel against the outside, all ports closed",
    )


def test_two_operations_in_one_passage_are_numbered_and_open_it_together():
    found = dispose(known(passage("pilot", plan=TWO)))
    said = [s for s in found.order_of_work if s.startswith("drill")]
    assert said == [
        "drill pilot, operation 1 of 2, open only after both: 7 mm drill from the inlet",
        "drill pilot, operation 2 of 2, open only after both: 7 mm drill from the outlet",
    ]
    assert "open only after both drilling operations" in found.reasons[0]


@pytest.mark.parametrize(
    ("grown", "said"),
    [((0.76, 0.76), "0.76 mm more"), ((-1.0, -1.0), "1.00 mm less"), ((0.1, 0.2), "0.10 to 0.20")],
)
def test_the_caliper_comes_first_where_the_part_has_another_height(grown, said):
    pin = Pin("circuit-1 inlet", 7.8, 30.9, 45.2)
    what = known(passage(plan=PLAN, pin=pin, ball_mm=4.0), height_added_mm=grown, rim=RIM)
    steps = dispose(what).order_of_work
    found = positions(steps, "empty", "caliper to 0.05 mm", "measure the rim", "a ball of 4 mm",
                      "a pin of", "drill circuit-1")  # fmt: skip
    assert found == sorted(found)
    assert said in steps[found[1]]
    assert "caliper" not in " ".join(dispose(known(passage(plan=PLAN))).order_of_work)


@pytest.mark.parametrize("lower", [0.0, 0.0612])
def test_the_rim_is_measured_with_its_allowance_and_removed(lower):
    what = known(passage(plan=PLAN), rim=RIM, lower_mm=lower)
    steps = dispose(what).order_of_work
    measure, drill, remove, ball = positions(
        steps, "measure the rim", "drill circuit-1", "remove the rim", "inlet to outlet"
    )
    assert measure < drill < remove < ball
    assert "3.83 mm at x -44.5, y 29.5, towards 135 deg from +x" in steps[measure]
    assert "z 31.20 to 31.35 mm above the platform" in steps[measure]
    assert ("or up to 0.07 mm lower" in steps[measure]) is (lower > 0.0)
    moved = dispose(known(passage(plan=PLAN), rim=dataclasses.replace(RIM, step=True)))
    assert any("measure the step" in s for s in moved.order_of_work)
    assert not any("remove" in s for s in moved.order_of_work)  # it is the part itself
    kept = dispose(known(passage(state=State.OPEN), rim=RIM)).order_of_work
    assert any(s.startswith("leave or remove the rim") for s in kept)


def test_a_rim_comes_from_the_signs_with_the_faces_of_its_own_sheet():
    found = checked()
    signs = dataclasses.replace(
        found.signs,
        outside_overhang_at_mm=(-44.5, 29.5, 31.2),
        outside_overhang_turn_deg=135.0,
    )
    rows = tuple({"stray": n, "height_mm": z} for n, z in ((0, 31.2), (0, 31.35), (1, 60.0)))
    whole = dataclasses.replace(found, signs=signs, resumed_section=rows)
    keys = {"affected": True, "height_added_mm": (0.0, 0.0)}
    what = gather(case(stray()), whole, **keys)
    assert what.rim == Rim(1.0, -44.5, 29.5, 135.0, (31.2, 31.35))
    assert what.lower_mm == pytest.approx(0.05)  # t (1 - phi) / phi with t 0.05, phi 0.5
    aside = gather(case(stray(resume_shift=(0.9, 0.0))), whole, **keys)
    assert aside.rim.step
    slight = dataclasses.replace(signs, outside_overhang_mm=0.01)
    assert gather(case(stray()), dataclasses.replace(whole, signs=slight), **keys).rim is None


@pytest.mark.parametrize("narrowed", [True, False])
def test_a_thin_rim_may_break_off_only_where_stray_metal_stands_in_the_passage(narrowed):
    reason = dispose(known(passage(state=State.OPEN, narrowed=narrowed))).reasons[0]
    assert ("thin rim in this passage may break off" in reason) is narrowed
    assert "what the event left stays in the part" in reason


def test_a_branch_that_is_missed_stands_in_the_reason():
    said = ("every branch is required and the crossing at z 31.20 mm is sealed",)
    branch = passage(state=State.RESTRICTED, low_mm=7.8, high_mm=7.9, said=said)
    assert said[0] in dispose(known(branch)).reasons[0]
    assert said[0] in dispose(known(dataclasses.replace(branch, plan=PLAN))).reasons[0]


def test_heights_of_many_crossings_are_one():
    many = passage(heights_mm=tuple(26.0 + 0.05 * n for n in range(20)))
    assert "blocked at z 26.00 to 26.95 mm" in dispose(known(many)).reasons[0]


def test_a_rework_without_concession_says_what_is_left_to_people():
    found = dispose(known(passage(plan=PLAN), passage("b", state=State.OPEN)))
    assert not found.concession
    assert "may stay without a concession, is for people to say" in found.reasons[-1]


@pytest.mark.parametrize("event", [True, False])
def test_nothing_is_said_of_an_event_that_was_not_given(event):
    found = dispose(known(passage(state=State.OPEN), affected=False, event=event))
    assert found.recommendation == "not-affected"
    assert ("the event has left nothing" in found.reasons[-1]) is event
    assert ("no stray" in found.reasons[0]) is event


@pytest.mark.parametrize("state", [State.OPEN, State.RESTRICTED])
def test_no_ball_is_asked_through_what_is_wide_enough(state):
    lossy = passage(state=state, flow="not met", loss_kpa=3.0, allowed_kpa=2.0, drill="none found")
    asked = dispose(known(lossy, rate_l_min=1.0)).settled_by
    assert any(said.startswith("flow test of circuit-1 at 1 L/min") for said in asked)
    assert any("a ball of" in said for said in asked) is (state is State.RESTRICTED)


def test_many_ways_to_drill_are_not_asked_one_by_one():
    """Twelve tubes with three ways each must not hide what else is needed to decide."""
    few = [order_of_work.Way(f"drill {n}") for n in range(order_of_work.MOST_WAYS)]
    assert order_of_work._few_drills([*few, "a ball"]) == [*few, "a ball"]
    many = [order_of_work.Way(f"drill {n}") for n in range(36)]
    said = order_of_work._few_drills([*many, "a ball"])
    assert said[: order_of_work.MOST_CHANGES] == many[: order_of_work.MOST_CHANGES]
    assert "a ball" in said
    assert any("33 more ways" in str(one) for one in said)
    assert len(said) == order_of_work.MOST_CHANGES + 2
