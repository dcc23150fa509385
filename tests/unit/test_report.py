"""The result in words: what is said, how many digits, and that lines fit."""

import dataclasses
import math

import pytest

from clearance.report import check
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
        reasons=("a ball of 7.970 mm passes, 7.000 mm required",),
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
            reasons=("the clear diameter lies between 6.910 and 7.220 mm, 7.000 mm required",),
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


@pytest.mark.parametrize(
    ("low", "high", "required", "shown"),
    [
        (7.381, 7.548, 7.0, "7.38 to 7.55"),  # 0.17 wide: two digits of a width that starts with 1
        (6.3834, 6.4044, 7.0, "6.38 to 6.41"),  # 0.02 wide: hundredths
        (6.2, 6.9, 5.0, "6.2 to 6.9"),  # 0.7 wide: tenths
        (3.1, 8.7, 2.0, "3 to 9"),
        (0.0, 0.0, 7.0, "0"),
        (5.2, math.inf, 7.0, "at least 5.20"),
        (4.0, 4.0, 4.0, "4.000"),
    ],
)
def test_brackets_carry_no_more_digits_than_their_width(low, high, required, shown):
    assert check.clear_diameter(diameter(low, high), required) == shown


@pytest.mark.parametrize(("low", "high"), [(7.04, 7.74), (6.3, 6.96), (6.96, 7.74)])
def test_rounded_bracket_stays_on_its_side_of_the_requirement(low, high):
    shown = check.clear_diameter(diameter(low, high), 7.0).split(" to ")
    assert (float(shown[0]) >= 7.0) == (low >= 7.0)
    assert (float(shown[1]) < 7.0) == (high < 7.0)
    assert float(shown[0]) <= low
    assert float(shown[1]) >= high


@pytest.mark.parametrize("width", [80, 88, 100])
def test_every_line_fits(width):
    long = dataclasses.replace(FULL.passages[0], name="cooling circuit of the upper left core " * 2)
    result = dataclasses.replace(FULL, passages=(*FULL.passages, long))
    assert max(map(len, check.text(result, width).splitlines())) <= width


def test_table_names_state_numbers_and_requirement():
    rows = check.text(FULL, 100).splitlines()
    table = {row.split()[0]: row for row in rows[3:] if row.startswith("circuit-")}
    assert table["circuit-1"].split() == ["circuit-1", "open", "7.97", "to", "7.99", "7.00"]
    assert table["circuit-2"].split()[1:4] == ["blocked", "0", "7.00"]
    assert "stray sheet at z 31.2" in table["circuit-2"]
    assert table["circuit-3"].split()[1:5] == ["undetermined", "6.9", "to", "7.3"]


def test_everything_in_the_result_is_said():
    said = " ".join(check.text(FULL, 100).split())
    for words in (
        "circuit-2, crossing 0: stray 0 at (1, -2, 31.2), sealed (0.0 of 50.0 mm2 open)",
        "2 more crossings fully open",
        "twist drill 7.5 mm (jobber, flute 69, overall 109) from inlet, through crossing 0, 2",
        "depth 36.50 mm, 4.9 times the diameter",
        "circuit-2 then: open, at least 7.45 mm",
        "circuit-1 and circuit-2: joined through an unmelted gap at (1, 2, 3)",
        "12.3 mm2, up to 0.05 mm thick, at (1, 2, 31.2); joins circuit-1 and outside",
        "120.0 mm3, 0.43 to 0.57 g, between stray 0 and stray 1",
        "metal added: 228.6 mm3, 1.85 g, 0.06% of the part; a balance that reads 0.1 g shows it, "
        "hidden in the scatter of good parts (about 15 g)",
        "out of the side by 3.00 mm, most at (-44.5, 29.5, 31.2) towards 135 deg from +x",
        "stock ball in circuit-1: nominally 7.5 mm passes, predicted 7.5 mm passes; none tells "
        "the two apart, 0.04 mm at most between them",
        "stock ball in circuit-2: nominally 7.5 mm passes, predicted none passes; 4 mm tells",
        "gauge pin 7.00 mm in circuit-2 inlet: stops at 31.0 mm, in the nominal part it goes",
        "z 31.350 mm, metal 4800.0 mm2 of 5000.0 (96.0%), centre x 1.00 y 2.00, Ixx 1.2e+06 mm4",
        "to settle it: --pitch 0.05",
        "layers 0 to 2 again after layer 623",
        "platform_z is not given",
        "overlapping shells",
        "recommendation: rework, by concession",
        "1. remove powder 2. drill",
        "leak test",
        "Loose powder can be reactive.",
    ):
        assert words in said, words


def test_nothing_is_said_of_what_is_not_there():
    bare = Result(part="insert", pitch_mm=0.2, passages=(passage(),))
    said = check.text(bare)
    for title in ("separate", "unmelted", "drilling", "recommendation", "cautions", "signs"):
        assert title not in said


def test_open_fraction_is_never_rounded_up_to_all():
    narrow = crossing(open_fraction=0.994, open_area_mm2=49.7)
    said = check.text(Result("insert", 0.2, (passage(crossings=(narrow,)),)))
    assert "(99%)" in said


def test_why_not_stands_where_no_plan_does():
    row = check.why(dataclasses.replace(BLOCKED, why_not="no straight line reaches the sheet"))
    assert "no straight line reaches the sheet" in row


def test_an_open_passage_names_the_sealed_branch_that_it_passes_by():
    branch = "the crossing at z 31.20 mm is sealed, but the flow passes it by"
    assert check.why(passage(reasons=("a ball passes", branch))) == branch


def test_paint_touches_states_only_and_keeps_the_columns():
    painted = check.text(FULL, 100, lambda word, _: f"<{word}>")
    assert "<blocked>" in painted
    assert "<rework>" in painted
    assert painted.replace("<", "").replace(">", "") == check.text(FULL, 100)
