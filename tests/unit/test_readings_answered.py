"""Readings answered by the check: what each says, contradictions, the end of the work.

The part of test_readings.py: every expected number is by hand.
"""

from dataclasses import replace

import make
import pytest
from test_readings import footed, told

from clearance.case.read import read_case
from clearance.checking import judge
from clearance.disposition.remedy import disposition
from clearance.drawing.sheet_rows import row
from clearance.errors import CaseError
from clearance.plates.one_part import BESIDES
from clearance.readings.answer import answers, carried_out
from clearance.report import full, short
from clearance.report.grave import besides
from clearance.report.readings import reading_line
from clearance.result import State
from clearance.verdict.prepared import prepare
from clearance.verdict.reading_words import TOLD_WRONG, WAY

SHEET = make.sheet(12.0, layers=3, penetration=0.1, packing=0.5, source="measured")
PART = {"density_g_cm3": 8.0, "measured_cooled": 0.0}
PASSAGE = {**make.passage((0, 0, 0), (0, 0, 30), 3.0, 1.5), "inlet": make.port((0, 0, 0), 1.0)}
TOP = dict(kind="rim_top", u=0.03)
BALL = dict(kind="ball", passage="a")


def write(folder, readings, sheet=SHEET):
    tables = {"part": PART, "reading": readings}
    return make.write_case(folder, footed(), PASSAGE, sheet, pitch=0.5, **tables)


@pytest.fixture(scope="module")
def judged(tmp_path_factory):
    return judge(prepare(read_case(write(tmp_path_factory.mktemp("answered"), []))))


@pytest.fixture
def ask(judged):
    """The result with some readings; the check is made once."""
    checked, before = judged.checked, judged.checked.case

    def answered(*readings, **state):
        checked.case = replace(before, reading=tuple(told(**one) for one in readings))
        result = replace(judged.result, **state)
        result = replace(result, readings=answers(checked, result))
        return replace(result, disposition=disposition(checked, result, {}))

    yield answered
    checked.case = before


def says(result):
    return [one.says for one in result.readings]


def done(result, *readings):
    return carried_out(result, [told(**one) for one in readings], result.readings)


# ---- what they say -------------------------------------------------------------------------------


def test_each_says_which_of_the_two_parts_it_agrees_with(ask):
    found = ask(
        {**TOP, "value": 12.25},
        dict(kind="part_height", value=29.9, u=0.03),
        dict(kind="pin", port="a outlet", diameter=4.0, value=17.65),
        dict(kind="pin", port="a outlet", diameter=4.0, value=29.45),
        dict(kind="open_area", passage="a", height=12.1, value=3.1, u=0.2),
        dict(kind="seen", passage="a", found=True, method="scope"),
        dict(kind="seen", passage="a", crossing=1, found=False),
        dict(kind="seen", height=12.1, found=True),
        dict(kind="seen", height=20.0, found=False),
        {**BALL, "diameter": 1.8, "result": "passes"},
        {**BALL, "diameter": 2.5, "result": "passes"},
    )
    assert says(found) == [
        "as-predicted", "both", "as-predicted", "as-nominal", "as-predicted", "as-predicted",
        "as-nominal", "as-predicted", "both", "both", "neither",
    ]  # fmt: skip
    top = found.readings[0]
    assert top.predicted == pytest.approx((12.2, 12.2))
    assert top.nominal is None
    assert top.off_u == pytest.approx(0.05 / 0.03)
    against = [one.kind for one in found.readings if one.contradicts]
    assert against == []  # 2 x 49: of the two pins one is wrong whatever the event
    assert [one.excluded_by for one in found.readings][2:4] == [4, 3]


def test_the_same_numbers_as_the_signs(ask, judged):
    """Rim, mass and pins come from one place."""
    signs = judged.result.signs
    pin = next(one for one in signs.gauge_pins if one.port == "a outlet" and one.tells_apart)
    depth = dict(kind="pin", port="a outlet", diameter=pin.pin_diameter_mm, value=1.0)
    mass = dict(kind="mass", value=90.0, u=0.1, sisters=[0.5, 1.5], stage="emptied")
    found = ask(dict(kind="rim_width", value=2.0, u=0.1), depth, mass).readings
    assert found[0].predicted == pytest.approx([signs.outside_overhang_mm] * 2)
    assert found[1].predicted == pytest.approx([pin.stops_at_mm] * 2, abs=1e-5)
    assert found[1].nominal == pytest.approx([pin.nominal_stops_at_mm] * 2, abs=1e-5)
    low, high = (end - 1.0 for end in found[2].predicted)
    assert low < signs.mass_added_g <= high + 1e-9


def test_a_height_too_far_off_contradicts_and_nothing_rests_on_the_event(ask, judged):
    assert judged.result.disposition.recommendation == "use-as-is"
    found = ask({**TOP, "value": 12.30})  # 3.3 u, alone
    assert found.readings[0].contradicts
    decided = found.disposition
    assert decided.recommendation == "undetermined"
    assert decided.rows[0] == 2
    assert decided.reasons[0].startswith(TOLD_WRONG)
    assert WAY in decided.settled_by[0]
    assert found.exit_status == 4
    for text in (short.text(found), full.text(found)):
        assert "contradicts the event as told" in " ".join(text.split())
    assert found.passages[0].state is State.OPEN  # as computed, whatever is read


def test_of_five_readings_one_may_be_farther_off(ask):
    others = [dict(kind="part_height", value=29.9, u=0.03)] * 4
    assert not ask({**TOP, "value": 12.30}, *others).readings[0].contradicts  # 3.3 < 3.46
    assert ask({**TOP, "value": 12.31}, *others).readings[0].contradicts  # 3.67


def test_what_a_group_shares_belongs_to_the_uncertainty(ask):
    shared = {**TOP, "value": 12.30, "group": "gauge", "u_group": 0.04}
    found = ask(shared).readings[0]
    assert found.u == pytest.approx(0.05)
    assert not found.contradicts


def test_a_rim_that_was_measured_where_none_is_predicted_contradicts(ask):
    # An event of another sheet than that of the case leaves none; here: measured to the west.
    west = dict(kind="rim_width", value=1.0, u=0.05, direction=[-1.0, 0.0])
    found = ask(west)
    assert found.readings[0].contradicts
    assert found.readings[0].off_u == pytest.approx(20.0)


def test_one_ball_may_be_wrong_and_two_may_not(ask):
    stopped = {**BALL, "diameter": 1.5, "result": "stops"}
    once, twice = ask(stopped), ask(stopped, {**stopped, "diameter": 1.6})
    assert says(once) == ["neither"]
    assert not once.readings[0].contradicts  # 0.98 / 0.02 = 49
    assert all(one.contradicts for one in twice.readings)
    assert twice.disposition.recommendation == "undetermined"


def test_what_is_not_told_never_adds_up_to_a_contradiction(ask, judged):
    clear = judged.result.passages[0].clear_diameter_mm
    between = {**BALL, "diameter": 0.5 * (clear.low + clear.high), "result": "stops"}
    no_rim = dict(kind="rim_seen", value=False)
    found = ask(*[between] * 20, *[no_rim] * 20)
    assert not any(one.contradicts for one in found.readings)
    assert says(found)[-1] == "as-nominal"


def test_weighing_without_sisters_tells_nothing_with_them_it_does(ask):
    mass = dict(kind="mass", value=90.0, u=0.1, stage="emptied")
    alone, beside = ask(mass).readings[0], ask({**mass, "sisters": [89.9, 90.1, 90.0]}).readings[0]
    assert (alone.says, alone.predicted, alone.contradicts) == ("both", None, False)
    assert "weighing cannot tell" in reading_line(alone)
    assert beside.predicted[0] > 90.1
    assert beside.says == "both"  # three sisters, 0.1 g apart, tell no 0.2 g


def test_readings_of_the_drilled_part_contradict_nothing(ask):
    found = ask({**TOP, "value": 99.0, "stage": "drilled"})
    assert not found.readings[0].contradicts
    assert found.disposition.recommendation == "use-as-is"


def test_what_the_case_leaves_open_is_one_range(tmp_path):
    either = {**SHEET, "resume": "unknown"}
    heights = [dict(kind="part_height", value=z, u=0.01) for z in (29.9, 30.2, 30.5)]
    result = judge(prepare(read_case(write(tmp_path, heights, either)))).result
    assert result.readings[0].predicted == pytest.approx((29.9, 30.2))
    assert says(result) == ["both", "as-predicted", "neither"]
    assert [one.contradicts for one in result.readings] == [False, False, True]


def test_a_thousand_readings(ask):
    many = [{**TOP, "value": 12.2 + 1e-5 * n} for n in range(1000)]
    found = ask(*many)
    assert len(found.readings) == 1000
    assert not any(one.contradicts for one in found.readings)


# ---- after the work ------------------------------------------------------------------------------


def test_the_ball_at_the_end_proves_the_work_or_not(ask):
    last = {**BALL, "diameter": 1.5, "result": "passes", "stage": "drilled"}
    for change, conforms, carried in (
        ({}, True, True),
        ({"result": "stops"}, False, False),
        ({"diameter": 1.4}, None, None),
        ({"stage": "found"}, None, None),
    ):
        found = ask({**last, **change})
        assert found.readings[0].conforms is conforms
        assert done(found, {**last, **change}) is carried
    assert done(ask()) is None


def test_a_flow_test_is_part_of_it_where_there_is_a_limit(ask, judged):
    ball = {**BALL, "diameter": 1.5, "result": "passes", "stage": "drilled"}
    loss = dict(kind="pressure_loss", passage="a", u=0.5, stage="drilled")
    ends = {"low_kpa": 1.0, "high_kpa": 9.0}
    limit = {"max_pressure_loss_kpa": 10.0, "nominal": "met", "predicted": "met",
             "after_rework": None}  # fmt: skip
    flow = {"rate_l_min": 5.0, "good_end": ends, "bad_end": ends, "nominal": ends,
            "after_rework": None, "requirement": limit}  # fmt: skip
    (passage,) = judged.result.passages
    flows = {"passages": (replace(passage, flow=flow),)}
    for value, conforms, carried in (
        (8.0, True, True), (9.5, None, None), (10.9, None, None), (11.1, False, False),
    ):  # fmt: skip
        readings = (ball, {**loss, "value": value})
        found = ask(*readings, **flows)
        assert found.readings[1].conforms is conforms
        assert done(found, *readings) is carried
    readings = (ball, {**loss, "value": 8.0, "rate": 4.0})
    found = ask(*readings, **flows)
    assert "5 L/min" in found.readings[1].note
    assert done(found, *readings) is None


def test_the_sheet_has_them_in_its_column(ask):
    last = {**BALL, "diameter": 1.5, "result": "passes", "stage": "drilled"}
    found = ask({**BALL, "diameter": 2.5, "result": "passes"}, last)
    (passage,) = found.passages
    measured = row(passage, found, {}).measured
    assert measured == ("ball 1.5 passes: conforms", "ball 2.5 passes: fits neither")


def test_a_plate_has_words_for_both(ask):
    last = {**BALL, "diameter": 1.5, "result": "passes", "stage": "drilled"}
    found = ask({**TOP, "value": 13.0}, last)
    found = replace(found, disposition=replace(found.disposition, carried_out=True))
    keys = [key for key, _ in besides(found)]
    assert {"readings", "after the work"} <= set(keys) <= set(BESIDES)


# ---- slips of the pen ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("reading", "expected"),
    [
        (dict(kind="rim"), "[[reading]] number 1 kind: found 'rim', expected 'rim_seen'"),
        (dict(kind="rim_top", value=1.0), "u: the key is missing, expected the standard"),
        (dict(kind="rim_top", value=1.0, u=0.0), "u: found 0.0, expected greater than 0"),
        (dict(kind="rim_top", value=True, u=0.1), "value: found true, expected a number"),
        (dict(kind="rim_seen", value=1.0), "value: found 1.0, expected true or false"),
        (dict(kind="rim_top", value=1e7, u=0.1), "value: found 10000000.0, expected less than"),
        (dict(kind="rim_top", value=float("inf"), u=0.1), "found inf, expected a finite number"),
        (dict(kind="layers_logged", value=2.5), "value: found 2.5, expected a whole number"),
        (dict(kind="part_height", value=-1.0, u=0.1), "value: found -1.0, expected at least 0"),
        (dict(kind="rim_seen", value=True, u=0.1), "u: found 0.1, expected none, since kind"),
        (dict(kind="rim_top", value=1.0, u=0.1, event=2), "event: found 2, expected at most 1"),
        (dict(kind="ball", passage="b", diameter=1.0, result="stops"), "'b', expected the name of"),
        (dict(kind="pin", port="a intlet", diameter=1.0, value=1.0), "did you mean 'a inlet'?"),
        (dict(kind="pin", port="a inlet", diameter=1.0), "value: the key is missing, expected how"),
        (
            dict(kind="pin", port="a inlet", diameter=1.0, value=1.0, result="passes"),
            "value: found 1.0, expected none, since the pin passes",
        ),
        (dict(kind="seen", found=True), "passage: the key is missing"),
        (dict(kind="photo", height=1.0), "slices: the key is missing, expected the slices that"),
        (dict(kind="photo", height=1.0, slices=[]), "slices: found [], expected the slices"),
        (dict(kind="photo", height=1.0, slices=["3-1"]), "expected a range that rises"),
        (dict(kind="seen", found=True, passage="a", height=1.0), "height: found 1.0, expected"),
        (dict(kind="step", value=1.0, u=0.1, direction=[0.0, 0.0]), "not the zero vector"),
        (dict(kind="part_height", value=1.0, u=0.1, group="g"), "u_group: the key is missing"),
        (dict(kind="pressure_loss", passage="a", value=1.0, u=0.1), "expected a [flow] table"),
        (dict(kind="mass", value=1.0, u=0.1, sister=[1.0]), "did you mean sisters?"),
        (dict(kind="ball", passage="a", diameter=1.0, result="stops", wrong=1.0), "less than 1"),
    ],
)  # fmt: skip
def test_every_slip_is_told_with_its_key(tmp_path, reading, expected):
    with pytest.raises(CaseError) as fault:
        read_case(write(tmp_path, [reading]))
    assert expected in str(fault.value)
    assert len(str(fault.value).splitlines()) == 1


def test_a_group_shares_an_error_of_one_unit(tmp_path):
    shared = dict(u=0.1, group="g", u_group=0.1)
    area = dict(kind="open_area", passage="a", height=12.0, value=1.0, **shared)
    with pytest.raises(CaseError) as fault:
        read_case(write(tmp_path, [dict(kind="part_height", value=1.0, **shared), area]))
    assert "number 2 group: found 'g', expected another group: the readings of" in str(fault.value)
    assert "this one are in mm" in str(fault.value)


def test_of_a_crossing_that_is_not_there_nothing_is_told(ask):
    for found in (True, False):
        (reading,) = ask(dict(kind="seen", passage="a", crossing=2, found=found)).readings
        assert reading.note == "the passage has no crossing 2, but 1"
        assert reading.predicted is None
        assert not reading.contradicts


def test_a_group_has_one_shared_error(tmp_path):
    height = dict(kind="part_height", value=1.0, u=0.1, group="g")
    with pytest.raises(CaseError) as fault:
        read_case(write(tmp_path, [{**height, "u_group": 0.1}, {**height, "u_group": 0.2}]))
    assert "number 2 u_group: found 0.2, expected 0.1, as in the group's first" in str(fault.value)
