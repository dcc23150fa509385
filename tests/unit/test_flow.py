"""Rules of flow.py: what is counted, what is said, what a requirement gives.

Expected numbers are analytic unless marked otherwise; published ones are in tests/validation.
"""

import math
from functools import partial

import pytest
from water import Flow, pressure_loss, tube

from clearance.flow import pressure_loss as losses
from clearance.flow.channel import Bend, End, Piece, Restriction, Stopped
from clearance.flow.orifice import SEALED, loss
from clearance.flow.pressure_loss import UNBOUNDED, verdict
from clearance.flow.scenario import SHARES

AREA = math.pi * 4.0**2 / 4.0  # a tube of 4 mm
ROUTE = ([50.0], [4.0])


Water = partial(Flow, density=998.0, viscosity=1.0e-3, rate=2.0)


def crossing(fraction, **more):
    return Restriction(AREA, fraction * AREA, 0.15, **more)


def test_nothing_in_the_way_loses_nothing():
    found = loss(5.0, 5.0, 0.2, 1e4)
    assert found.coefficient == 0.0
    assert found.in_range


def test_sealed_is_infinite_and_says_so():
    found = loss(0.0, 5.0, 0.2, 1e4)
    assert found.coefficient is None
    assert found.form == SEALED


@pytest.mark.parametrize("reynolds", [0.01, 1.0, 100.0, 3000.0, 1e6, None])
def test_the_less_is_open_the_more_is_lost(reynolds):
    found = [loss(f, 1.0, 0.02, reynolds).coefficient for f in (0.01, 0.1, 0.3, 0.6, 0.9, 0.99)]
    assert found == sorted(found, reverse=True)


def test_range_is_left_by_a_wide_hole():
    found = loss(0.8, 1.0, 0.0, 1e7)
    assert not found.in_range
    assert "0.80" in found.note
    assert "tens of percent" in found.note


def test_range_is_left_by_a_low_reynolds_number():
    found = loss(0.25, 1.0, 0.0, 1000.0)
    assert not found.in_range
    assert "Reynolds number in the hole 2e+03" in found.note  # 1000 / sqrt(0.25)
    assert "Sampson" in found.form


def test_creeping_flow_through_a_small_hole_is_in_range():
    found = loss(0.01, 1.0, 0.0, 0.001)
    assert found.in_range
    assert found.form.startswith("aperture in creeping flow")


def test_creeping_flow_through_a_large_hole_says_to_which_side_it_errs():
    found = loss(0.5, 1.0, 0.0, 0.001)
    assert not found.in_range
    assert "high side" in found.note


@pytest.mark.parametrize(
    "bad",
    [(1.0, 0.0, 0.1, 1.0), (-1.0, 1.0, 0.1, 1.0), (0.5, 1.0, -0.1, 1.0), (0.5, 1.0, 0.1, 0.0)],
)
def test_impossible_numbers_are_refused(bad):
    with pytest.raises(ValueError, match="must"):
        loss(*bad)


def test_shares_add_up_to_the_whole():
    found = pressure_loss(*ROUTE, [crossing(0.5), crossing(0.3)], Water())["predicted"]
    names = "friction bends steps entrance exit restrictions".split()
    assert found["pressure_loss_kpa"] == pytest.approx(sum(found[f"{n}_kpa"] for n in names))
    each = sum(r["pressure_loss_kpa"] for r in found["restrictions"])
    assert found["least"]["restrictions_kpa"] < each < found["greatest"]["restrictions_kpa"]
    for end, total in (("least", "low_kpa"), ("greatest", "high_kpa")):
        assert found[total] == pytest.approx(sum(found[end].values()))
    assert found["low_kpa"] < found["pressure_loss_kpa"] < found["high_kpa"]


def test_nominal_has_no_restriction():
    found = pressure_loss(*ROUTE, [crossing(0.3)], Water())
    assert found["nominal"]["restrictions_kpa"] == 0.0
    assert found["after_rework"] is None
    assert found["velocity_basis"] == "mean velocity in the passage at that place"


def test_bad_end_takes_the_smallest_open_area():
    found = pressure_loss(*ROUTE, [crossing(0.5, smallest_mm2=0.3 * AREA)], Water())
    plain = pressure_loss(*ROUTE, [crossing(0.3)], Water())
    assert found["bad_end"] == plain["predicted"]
    assert found["good_end"] == found["predicted"]
    assert found["predicted"]["pressure_loss_kpa"] < found["bad_end"]["pressure_loss_kpa"]


NOTHING = Stopped(True, True, True)


def test_sealed_passage_has_no_loss_but_a_word():
    water = Water(max_pressure_loss=1e9)
    found = pressure_loss(*ROUTE, [crossing(0.0)], water, stopped=NOTHING)
    assert found["predicted"]["pressure_loss_kpa"] is None
    assert found["predicted"]["said"] == SEALED
    assert found["requirement"]["predicted"] == "not met"


def test_blocked_by_two_sheets_together_has_no_loss_but_a_word():
    found = pressure_loss(*ROUTE, [crossing(0.5)], Water(), stopped=NOTHING)
    assert found["predicted"]["said"] == SEALED
    assert found["nominal"]["pressure_loss_kpa"] > 0.0


def test_a_sealed_crossing_beside_a_way_that_is_open_bounds_nothing():
    # Half-moons beside a sheet along a level bore, or one of two legs sealed: fluid passes.
    water = Water(max_pressure_loss=1e9)
    found = pressure_loss(*ROUTE, [crossing(0.0)], water)
    assert found["predicted"]["said"] == UNBOUNDED
    assert found["predicted"]["high_kpa"] is None
    assert found["predicted"]["low_kpa"] > 0.0
    assert found["requirement"]["predicted"] == "undetermined"
    tight = pressure_loss(*ROUTE, [crossing(0.0)], Water(max_pressure_loss=1e-3))
    assert tight["requirement"]["predicted"] == "not met"  # the rest alone loses more


def test_what_can_be_passed_by_loses_nothing_at_the_low_end():
    past = pressure_loss(*ROUTE, [crossing(0.1, passed_by=True)], Water())
    nothing = pressure_loss(*ROUTE, [], Water())
    through = pressure_loss(*ROUTE, [crossing(0.1)], Water())
    assert past["predicted"]["low_kpa"] == nothing["predicted"]["low_kpa"]
    assert past["predicted"]["high_kpa"] == through["predicted"]["high_kpa"]


def test_the_keys_are_the_same_whatever_flows():
    kinds = [
        pressure_loss(*ROUTE, [crossing(0.5)], Water())["predicted"],
        pressure_loss(*ROUTE, [crossing(0.0)], Water())["predicted"],
        pressure_loss(*ROUTE, [crossing(0.0)], Water(), stopped=NOTHING)["predicted"],
    ]
    for found in kinds:
        assert set(found) == set(kinds[0])
        assert set(SHARES) < set(found)


def test_a_hole_that_is_no_circle_loses_more_at_the_high_end_in_slow_flow():
    slow = Water(rate=1e-3)
    round_hole = pressure_loss(*ROUTE, [crossing(0.1)], slow)["predicted"]
    slit = pressure_loss(*ROUTE, [crossing(0.1, hydraulic_mm=0.2)], slow)["predicted"]
    assert slit["high_kpa"] > 2.0 * round_hole["high_kpa"]
    assert slit["low_kpa"] == pytest.approx(round_hole["low_kpa"])


def test_rework_opens_what_is_drilled():
    drilled = crossing(0.0, after_mm2=AREA)
    found = pressure_loss(*ROUTE, [drilled], Water(max_pressure_loss=1e3))
    after, nominal = found["after_rework"], found["nominal"]
    assert after["pressure_loss_kpa"] == pytest.approx(nominal["pressure_loss_kpa"])
    assert found["requirement"]["after_rework"] == "met"


def test_rework_leaves_what_is_not_drilled_at_its_bad_end():
    drilled = crossing(0.0, after_mm2=AREA)
    left = crossing(0.5, smallest_mm2=0.4 * AREA)
    found = pressure_loss(*ROUTE, [drilled, left], Water())["after_rework"]
    assert found["restrictions"][1]["loss_coefficient"] == pytest.approx(
        loss(0.4 * AREA, AREA, 0.15, _reynolds()).coefficient
    )


def _reynolds():
    return 4.0 * 998.0 * (2.0 / 60_000.0) / (math.pi * 4e-3 * 1e-3)


def test_a_slanting_sheet_stands_on_the_velocity_square_to_the_axis():
    # An ellipse twice as large as the tube's section, half of it open: same f, same hole
    # seen along the axis; the pressure loss goes with the velocity in the tube.
    square = pressure_loss(*ROUTE, [Restriction(AREA, 0.5 * AREA, 0.0)], Water())
    slant = Restriction(2 * AREA, AREA, 0.0, channel_area_mm2=AREA)
    found = pressure_loss(*ROUTE, [slant], Water())
    one, other = found["predicted"], square["predicted"]
    assert one["high_kpa"] == pytest.approx(other["high_kpa"])
    assert one["low_kpa"] < other["low_kpa"]  # how much it slants is not sure
    lost = [stage["restrictions"][0]["pressure_loss_kpa"] for stage in (one, other)]
    assert lost[0] == pytest.approx(lost[1])


@pytest.mark.parametrize(
    ("allowed", "expected"), [(None, "not given"), (1e3, "met"), (1e-3, "not met")]
)
def test_requirement(allowed, expected):
    found = pressure_loss(*ROUTE, [crossing(0.3)], Water(max_pressure_loss=allowed))
    assert found["requirement"]["predicted"] == expected


def test_requirement_between_the_ends_is_undetermined():
    ends = crossing(0.5, smallest_mm2=0.2 * AREA, largest_mm2=0.8 * AREA)
    middle = pressure_loss(*ROUTE, [ends], Water())["predicted"]["pressure_loss_kpa"]
    found = pressure_loss(*ROUTE, [ends], Water(max_pressure_loss=middle))
    assert found["requirement"]["predicted"] == "undetermined"


def test_requirement_within_the_spread_of_the_form_is_undetermined():
    middle = pressure_loss(*ROUTE, [crossing(0.3)], Water())["predicted"]["pressure_loss_kpa"]
    found = pressure_loss(*ROUTE, [crossing(0.3)], Water(max_pressure_loss=1.01 * middle))
    assert found["requirement"]["predicted"] == "undetermined"


def test_requirement_that_the_nominal_misses_is_named():
    found = pressure_loss(*ROUTE, [], Water(max_pressure_loss=1e-6))
    assert found["requirement"]["nominal"] == "not met"


def test_gradual_change_of_diameter_counts_as_sudden_at_the_high_end_only():
    fine = [4.0 + 0.05 * n for n in range(41)]
    gradual = pressure_loss([20.0] + [1.0] * 40, fine, [], Water())["predicted"]
    sudden = pressure_loss([20.0, 40.0], [4.0, 6.0], [], Water())["predicted"]
    assert gradual["least"]["steps_kpa"] == sudden["least"]["steps_kpa"] == 0.0
    assert gradual["greatest"]["steps_kpa"] == pytest.approx(sudden["greatest"]["steps_kpa"])
    assert sudden["greatest"]["steps_kpa"] > 0.0


def test_bends_add_to_the_loss_a_mitre_more_than_a_smooth_one():
    straight = pressure_loss(*ROUTE, [], Water())["predicted"]
    smooth = pressure_loss(*ROUTE, [], Water(), bends=[Bend(90.0, 4.0, 10.0)])["predicted"]
    mitre = pressure_loss(*ROUTE, [], Water(), bends=[Bend(90.0, 4.0)])["predicted"]
    high = [found["high_kpa"] for found in (straight, smooth, mitre)]
    assert high == sorted(set(high))
    assert smooth["low_kpa"] == mitre["low_kpa"] > straight["low_kpa"]


def test_the_walls_are_named_and_whether_they_are_assumed():
    smooth = pressure_loss(*ROUTE, [], Water(roughness=(0.0, 0.0)))
    rough = pressure_loss(*ROUTE, [], Water(), roughness_mm=0.02)
    assert smooth["assumptions"][0] == "sand-grain roughness of the walls 0 mm"
    assert "0.02 mm (assumed" in rough["assumptions"][0]
    assert rough["predicted"]["friction_kpa"] > smooth["predicted"]["friction_kpa"]


def test_met_by_the_high_end_alone_not_met_by_the_low_end_alone():
    low, high = tube(*ROUTE), tube(*ROUTE, roughness_mm=0.1, bends=[Bend(90.0, 4.0)])
    found = losses.pressure_loss(low, high, [], Water())["predicted"]
    for allowed, said in (
        (found["high_kpa"] * 1.001, "met"),
        (found["high_kpa"] * 0.999, "undetermined"),
        (found["low_kpa"] * 1.001, "undetermined"),
        (found["low_kpa"] * 0.999, "not met"),
    ):
        assert verdict(allowed, found, found) == said


def test_laminar_and_transitional_flow_are_named():
    slow = pressure_loss(*ROUTE, [], Water(rate=0.1))["assumptions"]
    between = pressure_loss(*ROUTE, [], Water(rate=0.5))["assumptions"]  # Re 2647
    assert any("laminar it is taken as fully developed" in said for said in slow)
    assert any("between laminar and turbulent" in said for said in between)


@pytest.mark.parametrize("piece", [Piece.round(-1.0, 1.0), Piece.round(1.0, 0.0), Piece(1, -1, 1)])
def test_a_route_that_cannot_be_is_refused(piece):
    with pytest.raises(ValueError, match="route"):
        End((piece,), 1.0, 1.0)


def test_mouths_that_cannot_be_are_refused():
    with pytest.raises(ValueError, match="mouths"):
        End((), 0.0, 1.0)


@pytest.mark.parametrize("thickness", [0.0, 0.15, 1.0, 5.0])
@pytest.mark.parametrize("rate", [1e-4, 0.05, 3.0])
def test_the_bracket_of_a_sheet_holds_every_thinner_one(thickness, rate):
    # Steel may be half as thick as told (powder packs at about half of solid).
    told = pressure_loss(*ROUTE, [Restriction(AREA, 0.2 * AREA, thickness)], Water(rate=rate))
    for share in (0.0, 0.3, 0.7, 1.0):
        thin = Restriction(AREA, 0.2 * AREA, share * thickness)
        lost = pressure_loss(*ROUTE, [thin], Water(rate=rate))["predicted"]["restrictions"][0]
        bounds = [told["predicted"][end]["restrictions_kpa"] for end in ("least", "greatest")]
        assert bounds[0] <= lost["pressure_loss_kpa"] <= bounds[1]


def test_bounds_that_contradict_each_other_are_told_as_a_fault():
    # A passage that loses more as it loses least than by the way that is open: no verdict from it.
    end = tube(*ROUTE)
    opened = losses.Open(predicted=tube([1.0], [40.0]), possible=(tube([1.0], [40.0]),))
    water = Water(max_pressure_loss=1e-9)
    found = losses.pressure_loss(end, end, [], water, opened=opened)
    assert found["predicted"]["said"] == losses.CONTRADICTED
    assert found["predicted"]["high_kpa"] is None
    assert found["requirement"]["predicted"] == "undetermined"
