"""The result in words: what is said, how many digits, and that lines fit."""

import dataclasses
import math
import re

import pytest

from clearance.cli.terminal import COLOURS
from clearance.report import full, short, sweep
from clearance.report.headline import clear_diameter
from clearance.report.powder import signs_lines
from clearance.report.table import why
from clearance.result import (
    Ball,
    ClearDiameter,
    CrossingResult,
    DispositionResult,
    Drilling,
    GaugePin,
    PassageResult,
    Result,
    Rework,
    SeparateResult,
    Signs,
    State,
    TrappedPowder,
    Unmelted,
)
from clearance.sweeps.result import PassageHeights, Sweep


def diameter(low, high):
    return ClearDiameter(8.0, 0.5 * (low + high), low, high, 7.9, 8.1)


def crossing(**changes):
    known = CrossingResult(0, 31.2, (1.0, -2.0, 31.2), 50.0, 50.0, 1.0, 8.0, sealed=False)
    return dataclasses.replace(known, **changes)


def passage(**changes):
    known = PassageResult(
        name="circuit-1",
        state=State.OPEN,
        required_mm=7.0,
        clear_diameter_mm=diameter(7.97, 7.99),
        nominal_state=State.OPEN,
        crossings=(crossing(),),
        reasons=("a ball of 7.97 mm passes, 7 mm required",),
    )
    return dataclasses.replace(known, **changes)


BLOCKED = passage(
    name="circuit-2",
    state=State.BLOCKED,
    clear_diameter_mm=diameter(0.0, 0.0),
    crossings=(crossing(open_area_mm2=0.0, open_fraction=0.0, clear_diameter_mm=0.0, sealed=True),),
    reasons=("no way from inlet to outlet is left",),
)
STROKE = Drilling(
    crossing=0,
    also_clears=(2,),
    drill_diameter_mm=7.5,
    series="jobber",
    flute_mm=69.0,
    overall_mm=109.0,
    from_="inlet",
    entry_mm=(3.25, -10.0, 0.0),
    direction=(-0.342, 0.0, 0.9397),
    depth_mm=36.5,
    length_to_diameter=4.87,
    wall_margin_mm=0.21,
    wall_cut_mm=0.0,
    overrun_mm=2.0,
    tilt_tolerance_deg=0.4,
    tilt_from_z_deg=20.0,
    turn_about_z_deg=180.0,
    drill_tolerance_mm=0.02,
    run_out_mm=0.1,
)
FULL = Result(
    part="insert",
    pitch_mm=0.2,
    passages=(
        passage(),
        dataclasses.replace(BLOCKED, rework=Rework("open", 7.45, (STROKE,))),
        passage(
            name="circuit-3",
            state=State.UNDETERMINED,
            clear_diameter_mm=diameter(6.91, 7.22),
            reasons=("the clear diameter lies between 6.91 and 7.22 mm, 7 mm required",),
            settled_by=("--pitch 0.05",),
        ),
    ),
    separate=(SeparateResult(("circuit-1", "circuit-2"), "joined", (1.0, 2.0, 3.0), "unmelted"),),
    unmelted=(Unmelted(0, 12.3, 0.05, (("circuit-1", "outside"),), (1.0, 2.0, 31.2)),),
    trapped_powder=(
        TrappedPowder(120.0, 0.57, ("stray 0", "stray 1"), (0.0, 0.0, 40.0), (), 0.43, 0.57),
    ),
    signs=Signs(
        1.85,
        228.6,
        0.15,
        3.0,
        (GaugePin("circuit-2 inlet", 7.0, 31.0, None, True),),
        (
            Ball("circuit-1", 7.5, 7.5, 8.0, False, None, 0.04),
            Ball("circuit-2", 7.5, None, 1.0, True, 4.0, None),
        ),
        share_of_part=0.0006,
        balance_resolution_g=0.1,
        mass_scatter_g=15.0,
        weighing_tells=False,
        outside_overhang_at_mm=(-44.5, 29.5, 31.2),
        outside_overhang_turn_deg=135.0,
    ),
    resumed_section=(
        {
            "stray": 0,
            "height_mm": 31.35,
            "nominal_area_mm2": 5000.0,
            "share": 0.96,
            "gap_mm": 0.0,
            "metal_area_mm2": 4800.0,
            "centre_x_mm": 1.0,
            "centre_y_mm": 2.0,
            "Ixx_mm4": 1.2e6,
            "Iyy_mm4": 1.3e6,
            "Ixy_mm4": 0.0,
            "J_mm4": 2.0e6,
            "J_uncertainty_mm4": 100.0,
        },
    ),
    disposition=DispositionResult(
        "rework", ("circuit-2: re-checked plan",), True, ("remove powder", "drill"), ("leak test",)
    ),
    translations=("layers 0 to 2 again after layer 623",),
    assumptions=("platform_z is not given",),
    notices=("overlapping shells",),
    cautions=("Loose powder can be reactive. " * 6,),
)


@pytest.mark.parametrize(("low", "high"), [(7.04, 7.74), (6.3, 6.96), (6.96, 7.74)])
def test_rounded_bracket_stays_on_its_side_of_the_requirement(low, high):
    shown = clear_diameter(diameter(low, high), 7.0).split(" to ")
    assert (float(shown[0]) >= 7.0) == (low >= 7.0)
    assert (float(shown[1]) < 7.0) == (high < 7.0)
    assert float(shown[0]) <= low
    assert float(shown[1]) >= high


def words(text):
    """A text's words, whatever the lines: hyphens and marks are part of a word."""
    return text.split()


LONG = dataclasses.replace(FULL.passages[0], name="cooling circuit of the upper left core " * 2)


@pytest.mark.parametrize("told", [short.text, full.text])
@pytest.mark.parametrize("width", [40, 60, 80, 88, 100, 120])
def test_every_line_fits_and_no_word_is_lost(width, told):
    result = dataclasses.replace(FULL, passages=(*FULL.passages, LONG))
    found = told(result, width)
    assert max(map(len, found.splitlines())) <= width
    narrow, wide = set(words(found)), set(words(told(result, 400)))
    assert {word.strip(":;,") for word in wide} - {word.strip(":;,") for word in narrow} <= set(
        "passage state clear, mm required where and why (sheet 31.35) mm clear".split()
    )


def test_the_short_form_has_about_twenty_lines_the_gravest_first():
    found = short.text(FULL, 80).splitlines()
    assert len(found) <= short.MOST_LINES + 5  # with everything grave at once: none is dropped
    assert found[0].startswith("insert: REWORK by concession recommended, 1 of 3 passages does not")
    rows = [line.split()[0] for line in found if line.startswith("circuit-")]
    assert rows[:3] == ["circuit-2", "circuit-3", "circuit-1"]


def test_nothing_grave_is_left_out_of_the_short_form():
    found = " ".join(short.text(FULL, 80).split())
    for said in (
        "circuits: circuit-1 and circuit-2: connected through an unmelted gap at x 1, y 2, z 3",
        "leak path: circuit-1 may leak to the outside through an unmelted gap (lack of fusion)",
        "joint: only 96 % of the section is fused at z 31.35",
        "trapped powder: 0.43 to 0.57 g (120.0 mm3), drilling or heat can ignite it: between "
        "stray sheet 1 and stray sheet 2",
        "Needed to decide: leak test",
        "1. remove powder 2. drill",
        "--full (2 steps, 1 assumption, 1 notice)",
    ):
        assert said in found, said


def test_a_contradiction_and_a_miss_of_the_nominal_part_stand_in_the_row():
    against = passage(verified="contradicts", verified_why="a way of 3 mm")
    missed = dataclasses.replace(BLOCKED, nominal_state=State.BLOCKED)
    found = " ".join(short.text(Result("insert", 0.2, (against, missed)), 80).split())
    assert "CONTRADICTED by the second opinion: a way of 3 mm" in found
    assert "the nominal part misses the requirement already" in found


def test_a_plan_of_two_operations_opens_only_after_both():
    two = dataclasses.replace(BLOCKED, rework=Rework("open", 7.4599, (STROKE, STROKE)))
    found = " ".join(short.text(Result("insert", 0.2, (two,)), 80).split())
    assert "open only after both operations, 7.45 mm" in found
    told = " ".join(full.text(Result("insert", 0.2, (two,)), 80).split())
    assert "circuit-2, 1 of 2, open only after both: twist drill" in told


@pytest.mark.parametrize(
    ("word", "said"),
    [
        ("rework", "after drilling: open, 7.45 mm"),
        ("undetermined", "if drilled: open, 7.45 mm"),
        ("scrap", None),
    ],
)
def test_a_plan_that_is_not_to_be_followed_is_not_told_as_if_it_were(word, said):
    """Powder that has caked cannot be drilled out, whatever the plan for the passage."""
    planned = dataclasses.replace(BLOCKED, rework=Rework("open", 7.4599, (STROKE,)))
    because = "9 mm3 of powder trapped: caked by the heat treatment"
    decided = DispositionResult(word, (because, "circuit-2: blocked", "Meaning."), False, (), ())
    found = Result("insert", 0.2, (planned,), disposition=decided)
    shown = " ".join(short.text(found, 80).split())
    assert ("drill" in shown) is (said is not None)
    assert said is None or said in shown
    assert (f"Why: {because}; 1 more reason with --full" in shown) is (word == "scrap")


@pytest.mark.parametrize("count", [3, 80])
def test_many_open_passages_are_one_row(count):
    many = tuple(passage(name=f"channel-{n}") for n in range(count))
    found = short.text(Result("core", 0.2, (BLOCKED, *many)), 80).splitlines()
    rows = [line for line in found if line.startswith("channel-")]
    names = ["channel-0 to", "channel-79"] if count == 80 else [f"channel-{n}" for n in range(3)]
    assert [row.partition("  ")[0] for row in rows] == names
    assert full.text(Result("core", 0.2, many), 80).count("channel-") >= count


@pytest.mark.parametrize("count", [4, 26])
def test_many_passages_that_differ_in_numbers_alone_are_one_row_with_the_worst(count):
    narrow = [
        passage(
            name=f"tube-{n}",
            state=State.RESTRICTED,
            clear_diameter_mm=diameter(5.0 + 0.01 * n, 5.02 + 0.01 * n),
            crossings=(crossing(open_fraction=0.4 + 0.01 * n),),
            rework=Rework("open", 7.1 + 0.01 * n, (STROKE,)),
        )
        for n in range(1, count + 1)
    ]
    against = dataclasses.replace(narrow[-1], name="odd", verified="contradicts")
    found = short.text(Result("core", 0.2, (passage(), *narrow, against)), 80)
    shown = " ".join(found.split())
    if count > 10:
        assert "tube-1 to" in shown
        assert "tube-26" in shown
        assert "the worst, tube-1:" in shown
        assert len(found.splitlines()) < 20
    else:
        assert all(f"tube-{n} " in found for n in range(1, count + 1))
    assert "CONTRADICTED" in shown


def test_pins_and_balls_that_tell_nothing_stand_in_the_full_form_alone():
    pins = (GaugePin("circuit-1 inlet", 7.0, 53.3, 53.3), GaugePin("circuit-2 inlet", 7.0, 31.0))
    signs = dataclasses.replace(FULL.signs, gauge_pins=pins)
    assert not any("gauge pin" in line for line in signs_lines(signs))
    assert sum("it tells nothing" in line for line in signs_lines(signs, everything=True)) == 2
    (one,) = [line for line in signs_lines(FULL.signs) if "bearing ball" in line]
    assert one.startswith("bearing ball in circuit-2")


def test_weighing_says_either_that_it_tells_or_that_it_cannot():
    (cannot,) = [line for line in signs_lines(FULL.signs) if "metal added" in line]
    assert "weighing cannot tell: good parts scatter by about 15 g" in cannot
    assert "balance" not in cannot
    (tells,) = [
        line
        for line in signs_lines(dataclasses.replace(FULL.signs, weighing_tells=True))
        if "metal added" in line
    ]
    assert "a balance that reads 0.1 g tells" in tells


def test_table_names_state_numbers_and_requirement():
    rows = full.text(FULL, 100).splitlines()
    table = {row.split()[0]: row for row in rows[3:] if row.startswith("circuit-")}
    assert table["circuit-1"].split() == ["circuit-1", "open", "7.97", "to", "7.99", "7"]
    assert table["circuit-2"].split()[1:4] == ["blocked", "0", "7"]
    assert "sealed at z 31.20" in table["circuit-2"]
    assert table["circuit-3"].split()[1:5] == ["undetermined", "6.9", "to", "7.3"]


def test_everything_in_the_result_is_said():
    said = " ".join(full.text(FULL, 100).split())
    for words in (
        "circuit-2, crossing 1: event 1 at x 1, y -2, z 31.2, sealed (0.0 of 50.0 mm2 open)",
        "2 more crossings fully open",
        "twist drill 7.5 mm (jobber, flute 69, overall 109) from inlet, through crossing 1 and 3",
        "depth 36.5 mm, 4.9 times the diameter; radial clearance 0.21 mm, breakthrough 2.00 mm, "
        "permissible angular error 0.40 deg",
        "circuit-2 then: open, at least 7.45 mm",
        "circuit-1 and circuit-2: connected through an unmelted gap at x 1, y 2, z 3",
        "12.3 mm2, up to 0.05 mm thick, at x 1, y 2, z 31.2; leak path: circuit-1 and outside",
        "120.0 mm3, 0.43 to 0.57 g, between stray sheet 1 and stray sheet 2",
        "metal added: 228.6 mm3, 1.85 g, 0.06 % of the part; weighing cannot tell",
        "out of the side by 3.00 mm, most at x -44.5, y 29.5, z 31.2 towards 135 deg from +x",
        "bearing ball in circuit-1: nominally 7.5 mm passes, predicted 7.5 mm passes; none tells "
        "the two apart, 0.04 mm at most between them",
        "bearing ball in circuit-2: nominally 7.5 mm passes, predicted none passes; 4 mm tells",
        "gauge pin 7.00 mm in circuit-2 inlet: stops at 31.0 mm, in the nominal part it goes",
        "z 31.35 mm, metal 4800.0 mm2 of 5000.0 (96 %), centre x 1.00 y 2.00, Ixx 1.2e+06 mm4",
        "needed to decide: --pitch 0.05",
        "layers 0 to 2 again after layer 623",
        "platform_z is not given",
        "overlapping shells",
        "REWORK by concession recommended",
        "1. remove powder 2. drill",
        "leak test",
        "Loose powder can be reactive.",
        "resolution 0.2 mm",
    ):
        assert words in said, words


@pytest.mark.parametrize("told", [short.text, full.text])
def test_nothing_is_said_of_what_is_not_there(told):
    said = told(Result(part="insert", pitch_mm=0.2, passages=(passage(),)))
    for title in ("circuits", "unmelted", "drilling", "caution", "Take care", "look for", "Next"):
        assert title not in said


def test_open_fraction_is_never_rounded_up_to_all():
    narrow = crossing(open_fraction=0.994, open_area_mm2=49.7)
    said = full.text(Result("insert", 0.2, (passage(crossings=(narrow,)),)))
    assert "(99 %)" in said


def test_why_not_stands_where_no_plan_does():
    none = dataclasses.replace(BLOCKED, why_not="no straight line reaches the sheet")
    assert "no straight line reaches the sheet" in why(none, {}, every=True)
    assert why(none, {}).endswith("no drilling plan")


def test_an_open_passage_names_the_sealed_branch_that_it_passes_by():
    branch = "the crossing at z 31.20 mm is sealed, but the flow passes it by"
    assert why(passage(reasons=("a ball passes", branch)), {}) == branch


@pytest.mark.parametrize("width", [40, 100])
def test_paint_touches_states_only_and_keeps_the_columns(width):
    painted = short.text(FULL, width, lambda word, _: f"<{word}>")
    assert "<blocked>" in painted
    assert "<REWORK>" in painted
    assert painted.replace("<", "").replace(">", "") == short.text(FULL, width)


def test_the_words_of_colours_read_on_white_and_on_black():
    """Contrast by WCAG 2.1 (relative luminance, sRGB); the 256 colours are xterm's."""
    steps = (0, 95, 135, 175, 215, 255)
    for number in COLOURS.values():
        code = number - 16
        rgb = (steps[code // 36], steps[code // 6 % 6], steps[code % 6])
        red, green, blue = (linear(value / 255.0) for value in rgb)
        light = 0.2126 * red + 0.7152 * green + 0.0722 * blue
        assert min(1.05 / (light + 0.05), (light + 0.05) / 0.05) >= 4.0


def linear(value):
    return value / 12.92 if value <= 0.03928 else ((value + 0.055) / 1.055) ** 2.4


@pytest.mark.parametrize("width", [40, 60, 80, 120])
def test_a_sweep_fits_and_tells_equal_passages_once(width):
    states = (State.OPEN, State.BLOCKED)
    rows = [
        PassageHeights(f"tube-{n}", 2.0, states, (3.0, 0.0), (2.9, 0.0), (3.1, 0.0), (1.0, 0.0))
        for n in range(1, 13)
    ]
    missed = ("whether circuits stay apart (a and b)", "trapped powder")
    found = sweep.text(
        Sweep("part", 0.2, 0, (1.0, 1.0), (1.0, 1.125), tuple(rows), ("a notice " * 9,), missed),
        width,
    )
    assert max(map(len, found.splitlines())) <= width
    said = " ".join(found.split())
    assert (
        "tube-1 to tube-12, 2 mm required z 1: open, 2.9 to 3.1 mm clear z 1.125: blocked" in said
    )
    assert said.startswith("part: event 1 moved over 2 heights, z 1 to 1.125 mm above")


THIRDS = 1.0 / 3.0
"""No number of few decimals."""


def crooked(value, key=""):
    """The same result, every computed number with more decimals than anybody reads."""
    if dataclasses.is_dataclass(value):
        found = {
            f.name: crooked(getattr(value, f.name), f.name)
            for f in dataclasses.fields(value)
            if f.init and f.name not in GIVEN
        }
        return dataclasses.replace(value, **found)
    if isinstance(value, tuple):
        return tuple(crooked(one, key) for one in value)
    if isinstance(value, dict):
        return {n: one if n in GIVEN else crooked(one, n) for n, one in value.items()}
    return value + 1e-3 * THIRDS if isinstance(value, float) and math.isfinite(value) else value


GIVEN = ("required_mm", "pitch_mm", "drill_diameter_mm", "flute_mm", "overall_mm", "direction",
         "tells_mm", "passes_nominal_mm", "passes_predicted_mm", "balance_resolution_g",
         "mass_scatter_g", "Ixy_mm4")  # fmt: skip
"""What the user or a standard gives keeps its digits; a direction is a unit vector."""


@pytest.mark.parametrize("told", [short.text, full.text])
def test_no_computed_number_has_more_than_two_decimals(told):
    said = told(crooked(FULL), 400).replace("direction (-0.3420, 0.0000, 0.9397)", "")
    assert not re.findall(r"[0-9]+\.[0-9]{3,}", said)
    assert "-0.00" not in said
    assert "7.000" not in said
