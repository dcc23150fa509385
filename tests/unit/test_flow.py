"""Rules of flow.py: what is counted, what is said, what a requirement gives.

Expected numbers are analytic unless marked otherwise; published ones are in tests/validation.
"""

import math
from dataclasses import dataclass

import pytest

from clearance.flow import Restriction, loss, pressure_loss
from clearance.orifice import SEALED

AREA = math.pi * 4.0**2 / 4.0  # a tube of 4 mm
ROUTE = ([50.0], [4.0])


@dataclass(frozen=True)
class Water:
    density: float = 998.0
    viscosity: float = 1.0e-3
    rate: float = 2.0
    max_pressure_loss: float | None = None


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
    each = [r["pressure_loss_kpa"] for r in found["restrictions"]]
    assert found["restrictions_kpa"] == pytest.approx(sum(each))
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
    assert found["predicted"]["pressure_loss_kpa"] < found["bad_end"]["pressure_loss_kpa"]


def test_sealed_passage_has_no_loss_but_a_word():
    found = pressure_loss(*ROUTE, [crossing(0.0)], Water(max_pressure_loss=1e9))
    assert found["predicted"]["pressure_loss_kpa"] is None
    assert found["predicted"]["said"] == SEALED
    assert found["requirement"]["predicted"] == "not met"


def test_blocked_by_two_sheets_together_has_no_loss_but_a_word():
    found = pressure_loss(*ROUTE, [crossing(0.5)], Water(), blocked=True)
    assert found["predicted"]["said"] == SEALED
    assert found["nominal"]["pressure_loss_kpa"] > 0.0


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
    assert found["predicted"]["pressure_loss_kpa"] == pytest.approx(
        square["predicted"]["pressure_loss_kpa"]
    )


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


def test_gradual_change_of_diameter_is_no_step():
    fine = [4.0 + 0.05 * n for n in range(41)]
    found = pressure_loss([1.0] * 41, fine, [], Water())
    assert found["predicted"]["steps_kpa"] == 0.0
    sudden = pressure_loss([20.0, 21.0], [4.0, 6.0], [], Water())
    assert sudden["predicted"]["steps_kpa"] > 0.0


def test_bends_add_to_the_loss_and_their_absence_is_named():
    straight = pressure_loss(*ROUTE, [], Water())
    bent = pressure_loss(*ROUTE, [], Water(), bends=[(90.0, 10.0, 4.0)])
    assert bent["predicted"]["bends_kpa"] > 0.0
    assert any("bends" in said for said in straight["assumptions"])
    assert not any("bends" in said for said in bent["assumptions"])


def test_assumed_wall_is_named():
    smooth = pressure_loss(*ROUTE, [], Water())
    rough = pressure_loss(*ROUTE, [], Water(), roughness_mm=0.02)
    assert "walls taken as smooth" in smooth["assumptions"]
    assert "walls taken as rough by 0.02 mm" in rough["assumptions"]
    assert rough["predicted"]["friction_kpa"] > smooth["predicted"]["friction_kpa"]


def test_laminar_and_transitional_flow_are_named():
    slow = pressure_loss(*ROUTE, [], Water(rate=0.1))["assumptions"]
    between = pressure_loss(*ROUTE, [], Water(rate=0.5))["assumptions"]  # Re 2647
    assert any("laminar it is taken as fully developed" in said for said in slow)
    assert any("between laminar and turbulent" in said for said in between)


@pytest.mark.parametrize("route", [([], []), ([1.0], [1.0, 2.0]), ([-1.0], [1.0]), ([1.0], [0.0])])
def test_a_route_that_cannot_be_is_refused(route):
    with pytest.raises(ValueError, match="route"):
        pressure_loss(*route, [], Water())
