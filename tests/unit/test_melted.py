"""Logs of layers become stray sheets. Expected numbers are analytic: counts of layers x t."""

import doctest

import pytest

from clearance.case import machine_log
from clearance.case.machine_log import log_fault, strays_from_log

T = 0.05


def sheets(ranges, first_number=0):
    event = strays_from_log(ranges, first_number, T)
    return [(s.height, s.from_layer, s.layers_low, s.layers_high, s.next_layer, s.resume)
            for s in event.strays]  # fmt: skip


def test_three_first_layers_then_the_next_good_one():
    event = strays_from_log(["0-623", "0-2", "624-2399"], 0, T)
    (sheet,) = event.strays
    assert (sheet.shape, sheet.source, sheet.height) == ("layer", "log", 31.2)
    assert (sheet.from_layer, sheet.layers_low, sheet.layers_high) == (0, 3, 3)
    assert (sheet.next_layer, sheet.resume, sheet.mesh) == (624, None, None)
    assert (sheet.penetration_low, sheet.penetration_high) == (0.05, 0.1)
    assert sheet.penetration_assumed
    assert sheet.resume_shift == (0.0, 0.0)
    assert sheet.height_uncertainty == 0.0
    assert sheet.jump_lift(3, T) == 0.15
    assert event.log_last_layer == 2399
    assert event.translations == (
        "[melted], break 1: at 31.2 mm 3 stray layers, 0-2; "
        "then next_layer = 624, what lies above is lifted by 0.15 mm",
    )


def test_resumed_at_the_layer_that_belongs_there_lifts_nothing():
    event = strays_from_log(["0-623", "0-2", "627-2399"], 0, T)
    assert event.strays[0].next_layer == 627
    assert event.strays[0].jump_lift(3, T) == 0.0
    assert "keeps its height" in event.translations[0]


def test_machine_that_counts_from_one():
    assert sheets(["1-624", "1-3", "625-2400"], 1) == sheets(["0-623", "0-2", "624-2399"])


def test_a_log_without_a_break_is_no_event():
    event = strays_from_log(["0-9", "10", "11-20"], 0, T)
    assert event.strays == ()
    assert event.translations == ()
    assert event.log_last_layer == 20
    assert not any("sideways" in text for text in event.assumptions)


def test_layers_skipped_lower_what_lies_above():
    assert sheets(["0-99", "103-199"]) == [(5.0, 0, 0, 0, 103, None)]
    event = strays_from_log(["0-99", "103-199"], 0, T)
    assert event.strays[0].jump_lift(0, T) == -0.15
    assert "lowered by 0.15 mm" in event.translations[0]
    assert not any("penetration" in text for text in event.assumptions)


def test_layers_repeated_lift_what_lies_above():
    assert sheets(["0-99", "96-199"]) == [(5.0, 0, 0, 0, 96, None)]
    assert strays_from_log(["0-99", "96-199"], 0, T).strays[0].jump_lift(0, T) == 0.2


def test_two_stray_ranges_in_a_row_touch():
    assert sheets(["0-99", "0-2", "50-51", "100-199"]) == [
        (5.0, 0, 3, 3, 103, None),
        (5.15, 50, 2, 2, 100, None),
    ]


def test_second_event_stands_on_the_growth_of_the_first():
    assert sheets(["0-99", "0-2", "100-149", "7", "150-199"]) == [
        (5.0, 0, 3, 3, 100, None),
        (7.65, 7, 1, 1, 150, None),
    ]


def test_stray_ranges_in_a_row_after_growth_keep_the_growth():
    last = sheets(["0-99", "0-2", "100-149", "7", "9", "150-199"])
    assert last[1:] == [(7.65, 7, 1, 1, 151, None), (7.7, 9, 1, 1, 150, None)]
    event = strays_from_log(["0-99", "0-2", "100-149", "7", "9", "150-199"], 0, T)
    assert [s.jump_lift(s.layers_high, T) for s in event.strays] == [0.15, 0.15, 0.25]


def test_log_that_ends_in_a_stray_range_leaves_the_resume_unknown():
    event = strays_from_log(["0-99", "0-2"], 0, T)
    assert sheets(["0-99", "0-2"]) == [(5.0, 0, 3, 3, None, "unknown")]
    assert event.log_last_layer == 99
    assert any("ends in a stray sheet" in text for text in event.assumptions)
    assert event.translations[0].endswith("then the log ends")


def test_a_long_stray_range_does_not_become_the_part():
    # 200 layers repeated from the bottom, then 300 good ones: the good ones weigh more.
    assert sheets(["0-299", "0-199", "300-599"]) == [(15.0, 0, 200, 200, 300, None)]


def test_of_equal_chains_the_one_that_goes_on_wins():
    assert sheets(["0-9", "20-29", "10-19"]) == [(0.5, 20, 10, 10, 10, None)]


def test_the_first_run_always_belongs_to_the_part():
    assert sheets(["0-1", "0-99"]) == [(0.1, 0, 100, 100, None, "unknown")]
    assert strays_from_log(["0-1", "0-99"], 0, T).log_last_layer == 1


def test_what_follows_the_log_is_said_to_be_assumed():
    event = strays_from_log(["0-99"], 0, T)
    assert any("99, follows in order" in text for text in event.assumptions)


@pytest.mark.parametrize("ranges", [["0-99", "0-2", "100-199"], ["0 - 99", " 0-2 ", "100-199"]])
def test_blanks_do_not_matter(ranges):
    assert sheets(ranges)[0][0] == 5.0


def test_log_must_begin_with_the_first_layer():
    assert log_fault(["5-99"], 0) == "layer 0 first: heights are counted from it"
    assert log_fault(["1-99", "1-3"], 0).endswith("or first_number = 1")
    assert log_fault(["1-99", "0-3"], 1) == "numbers from 1 on, since first_number = 1"
    assert log_fault(["1-99", "1-3"], 1) is None
    assert log_fault(["0-99"], 0) is None


def test_metal_of_the_log_is_the_metal_of_the_sheets():
    """Melt the log layer by layer, and melt what the sheets say: the same slices, in order."""
    logs = [
        ["0-99", "0-2", "100-199"],
        ["0-99", "96-120", "3", "121-199"],
        ["0-9", "0-2", "5-6", "10-19", "25-40", "1", "41-50"],
    ]
    for ranges in logs:
        wanted = [n for text in ranges for n in _numbers(text)]
        event = strays_from_log(ranges, 0, T)
        melted_slices: list[int] = []
        layer = 0
        for sheet in event.strays:
            while len(melted_slices) < round(sheet.height / T):
                melted_slices.append(layer)
                layer += 1
            melted_slices += range(sheet.from_layer, sheet.from_layer + sheet.layers_high)
            layer = sheet.next_layer
        melted_slices += range(layer, event.log_last_layer + 1)
        assert melted_slices == wanted


def _numbers(text):
    first, _, last = text.partition("-")
    return range(int(first), int(last or first) + 1)


def test_examples_of_the_docstrings():
    assert doctest.testmod(machine_log).failed == 0
