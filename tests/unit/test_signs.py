"""What an event leaves to be weighed, measured and felt: every expected number is analytic."""

import make
import numpy as np
import pytest
import shapes

from clearance.evidence.signs import balance_resolution

SIDES = 64
"""Depths are from the closing surface, 2e-3 mm inward of the face."""
BORE_MM2 = 0.5 * SIDES * 3.0**2 * np.sin(2 * np.pi / SIDES)  # polygon of the bore
PART_MM3 = (20.0 * 20.0 - BORE_MM2) * 30.0
PASSAGE = make.passage((0, 0, 0), (0, 0, 30), 3.0, 5.0)


def bored() -> np.ndarray:
    """A block 20 x 20 x 30 with a bore of radius 3 on the z axis."""
    return shapes.straight_bore(3.0, (20.0, 20.0, 30.0), SIDES)


@pytest.fixture(scope="module")
def shut(tmp_path_factory):
    """Its signs with a whole sheet of 0.3 mm at 12 mm."""
    part = {"density_g_cm3": 8.0}
    folder = tmp_path_factory.mktemp("shut")
    return make.checked(folder, bored(), PASSAGE, make.plane(12.0), part=part, pitch=0.2).signs


def test_mass_added_and_its_share_of_the_part(shut):
    assert shut.volume_added_mm3 == pytest.approx(0.3 * BORE_MM2, rel=0.01)
    assert shut.mass_added_g == pytest.approx(0.3 * BORE_MM2 * 8e-3, rel=0.01)
    assert shut.part_mass_g == pytest.approx(PART_MM3 * 8e-3, rel=1e-5)
    assert shut.share_of_part == pytest.approx(0.3 * BORE_MM2 / PART_MM3, rel=0.01)


def test_what_weighing_shows(shut):
    # 68 mg: a tenth is 6.8 mg; good parts of 89 g differ by 0.45 g (0.5 %)
    assert shut.balance_resolution_g == 0.005
    assert shut.mass_scatter_g == pytest.approx(0.005 * PART_MM3 * 8e-3, rel=1e-5)
    assert shut.weighing_tells is False


def test_a_sheet_thicker_than_parts_scatter_is_told_by_weighing(tmp_path):
    sheet = make.plane(12.0, layers=30)  # 3 mm of the bore's area: 0.76 % of the part
    found = make.checked(tmp_path, bored(), PASSAGE, sheet, part={"density_g_cm3": 8.0})
    assert found.signs.weighing_tells is True
    (step,) = [one for one in found.disposition.order_of_work if "weigh it to" in one]
    assert "more than" in step


def test_without_a_density_there_is_a_volume_and_no_mass(tmp_path):
    signs = make.checked(tmp_path, bored(), PASSAGE, make.plane(12.0)).signs
    assert signs.volume_added_mm3 > 0.0
    assert signs.part_volume_mm3 == pytest.approx(PART_MM3, rel=1e-5)
    assert signs.mass_added_g is None
    assert signs.balance_resolution_g is None
    assert signs.weighing_tells is None


@pytest.mark.parametrize(
    ("grams", "expected"),
    [(10.0, 1.0), (9.9, 0.5), (20.0, 2.0), (0.5, 0.05), (0.049, 0.002), (-3.0, 0.2), (0.0, None)],
)
def test_the_balance_reads_a_tenth_of_the_mass(grams, expected):
    assert balance_resolution(grams) == expected


def test_a_foot_among_the_slices_stands_out_to_its_corner(tmp_path):
    solid = shapes.block((-10, -10, 0), (10, 10, 30)) + shapes.block((-10, -10, 0), (13, 14, 1))
    solid -= shapes.bore((0, 0, -1), (0, 0, 31), 3.0, segments=SIDES)
    signs = make.checked(tmp_path, solid, PASSAGE, make.sheet(12.0)).signs
    assert signs.outside_overhang_mm == pytest.approx(5.0)  # 3 beside 4 beyond the corner
    assert signs.outside_overhang_at_mm == pytest.approx((13.0, 14.0, 12.0))
    assert signs.outside_overhang_direction == pytest.approx((0.6, 0.8, 0.0))
    assert signs.outside_overhang_turn_deg == pytest.approx(np.degrees(np.arctan2(4.0, 3.0)))


def test_measured_metal_stands_out_too(tmp_path):
    stray = {"shape": "mesh", "mesh": "stray.stl", "source": "measured"}
    meshes = {"stray": shapes.block((-13.5, -2, 12), (5, 2, 12.3))}
    signs = make.checked(tmp_path, bored(), PASSAGE, stray, meshes=meshes).signs
    assert signs.outside_overhang_mm == pytest.approx(3.5)
    assert signs.outside_overhang_direction == pytest.approx((-1.0, 0.0, 0.0))
    assert signs.outside_overhang_turn_deg == pytest.approx(180.0)


def test_nothing_stands_out_of_a_plain_block(shut):
    assert shut.outside_overhang_mm == pytest.approx(0.0, abs=1e-6)
    assert shut.outside_overhang_direction is None
    assert shut.outside_overhang_at_mm is None


def test_a_pin_is_stopped_by_the_sheet_and_not_by_the_nominal_part(shut):
    below, above = shut.gauge_pins
    assert (below.port, above.port) == ("a inlet", "a outlet")
    assert below.pin_diameter_mm == above.pin_diameter_mm == 5.8  # 5.993 less at least a tenth
    assert below.stops_at_mm == pytest.approx(12.0, abs=5e-3)
    assert above.stops_at_mm == pytest.approx(30.0 - 12.3, abs=5e-3)
    assert below.nominal_stops_at_mm is above.nominal_stops_at_mm is None
    assert below.tells_apart
    assert above.tells_apart
    assert below.residual_mm is above.residual_mm is None


@pytest.mark.parametrize(("gap", "out"), [(0.2, True), (2.0, True), (60.0, False)])
def test_a_plate_before_a_mouth_keeps_the_pin_out(tmp_path, gap, out):
    """It hovers over half of the outlet; from the inlet the pin meets the sheet first."""
    plate = shapes.block((-3, -4, 30 + gap), (0, 4, 30.3 + gap))
    strays = [make.plane(12.0), {"shape": "mesh", "mesh": "plate.stl"}]
    found = make.checked(tmp_path, bored(), PASSAGE, strays, meshes={"plate": plate}, pitch=0.8)
    below, above = found.signs.gauge_pins
    assert below.stops_at_mm == pytest.approx(12.0, abs=5e-3)
    assert above.stops_at_mm == pytest.approx(0.0 if out else 30.0 - 12.3, abs=5e-3)
    assert above.nominal_stops_at_mm is None


def test_a_sheet_within_the_parts_own_wall_keeps_no_pin_out(tmp_path):
    """A bore opens into a recess; across it stands a wall of the part that the sheet lies in."""
    solid = shapes.block((-10, -5, 0), (15, 5, 12)) - shapes.block((0, -6, 2), (8, 6, 13))
    solid -= shapes.bore((-11, 0, 6), (1, 0, 6), 1.5, segments=SIDES)
    passage = make.passage((-10, 0, 6), (0, 0, 6), 1.5, 1.0)
    stray = {"shape": "mesh", "mesh": "own.stl"}
    own = shapes.block((9, -4, 5.5), (14, 4, 6.5))
    found = make.checked(tmp_path, solid, passage, stray, meshes={"own": own}, pitch=0.5)
    assert all(pin.stops_at_mm == pin.nominal_stops_at_mm for pin in found.signs.gauge_pins)


def test_where_the_largest_pin_stops_at_a_shoulder_a_thinner_one_tells(tmp_path):
    solid = shapes.block((-10, -10, 0), (10, 10, 30))
    solid -= shapes.bore((0, 0, -1), (0, 0, 5), 3.0, segments=SIDES)
    solid -= shapes.bore((0, 0, 4), (0, 0, 31), 2.0, segments=SIDES)
    passage = {**PASSAGE, "outlet": make.port((0, 0, 30), 2.0), "min_clear_diameter": 3.5}
    largest, thinner, outlet = make.checked(
        tmp_path, solid, passage, make.plane(12.0)
    ).signs.gauge_pins
    assert (largest.port, thinner.port, outlet.port) == ("a inlet", "a inlet", "a outlet")
    assert largest.stops_at_mm == pytest.approx(5.0, abs=5e-3)
    assert not largest.tells_apart
    assert largest.residual_mm == pytest.approx(0.0, abs=1e-6)
    assert thinner.pin_diameter_mm == 3.5  # in steps of half a millimetre; 4.0 meets the wall
    assert thinner.stops_at_mm == pytest.approx(12.0, abs=5e-3)
    assert thinner.tells_apart


def test_without_an_event_nothing_tells_and_the_residual_is_nothing(tmp_path):
    signs = make.checked(tmp_path, bored(), PASSAGE, pitch=0.2).signs
    assert [pin.residual_mm for pin in signs.gauge_pins] == [0.0, 0.0]
    (ball,) = signs.balls
    assert not ball.tells_apart
    assert ball.passes_nominal_mm == ball.passes_predicted_mm
    assert 0.0 < ball.residual_mm <= 0.2  # no more than the bracket's width, a pitch


def test_a_ball_tells_a_lens_from_the_bore(tmp_path):
    # Shifted by 1 mm the bore of 6 leaves 2 r - s = 5 (REFERENCES.md 2.2).
    shift = make.sheet(12.0, layers=0, next_layer=120, resume_shift=[1.0, 0.0])
    found = make.checked(tmp_path, bored(), PASSAGE, shift, pitch=0.2)
    (ball,) = found.signs.balls
    assert ball.passage == "a"
    assert ball.passes_nominal_mm == 5.953125  # 15/64 in
    assert ball.tells_apart
    assert ball.tells_mm in (5.5, 5.55625)
    assert ball.passes_predicted_mm == 4.7625  # 3/16 in: the facets take 7e-3 of the 5 mm
    assert ball.stops_predicted_mm == 5.0
    assert ball.residual_mm is None
