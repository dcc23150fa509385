"""A gauge pin goes along the bore: where the bore leans against its mouth, the pin leans too.

Every expected depth is analytic. A flat end of radius p, pushed along an axis that leans by a,
meets a level sheet at height h above the mouth with its edge, (h - p sin a) / cos a deep.
"""

import make
import manifold3d as m3
import numpy as np
import pytest
import shapes

from clearance.report.powder import signs_lines

SIDES = 64


def met(height, diameter, lean_deg):
    """Depth at which such a pin meets a level sheet."""
    lean = np.radians(lean_deg)
    return (height - 0.5 * diameter * np.sin(lean)) / np.cos(lean)


def leaning(folder, lean_deg, sheet_mm=12.0, radius=3.0, high=24.0):
    """Pins of a bore that leans in x, with a whole sheet of 0.2 mm."""
    far = 0.5 * high * np.tan(np.radians(lean_deg))
    solid = shapes.tilted_bore(radius, lean_deg, (2 * far + 24.0, 16.0, high), SIDES)
    ports = ((-far, 0.0, 0.0), (far, 0.0, high))
    tables = [make.port(at, radius / np.sqrt(np.cos(np.radians(lean_deg)))) for at in ports]
    passage = {**make.passage(*ports, radius, 5.0), "inlet": tables[0], "outlet": tables[1]}
    found = make.checked(folder, solid, passage, make.plane(sheet_mm, 2), pitch=0.8)
    return found.signs


@pytest.mark.parametrize("lean_deg", [30.0, 50.0])
def test_a_pin_goes_along_a_leaning_bore_to_the_sheet(tmp_path, lean_deg):
    signs = leaning(tmp_path, lean_deg)
    below, above = signs.gauge_pins
    lean = np.radians(lean_deg)
    assert below.pin_diameter_mm == pytest.approx(5.8)  # 0.1 less than 5.99, in tenths
    for pin, height, up in ((below, 12.0, 1.0), (above, 24.0 - 12.2, -1.0)):
        assert pin.direction == pytest.approx([up * np.sin(lean), 0, up * np.cos(lean)], abs=1e-4)
        assert pin.off_normal_deg == pytest.approx(lean_deg, abs=0.01)
        # The prism that stands for it is wider by 0.5 % at its corners; the mouth lies 2e-3 inward.
        most = met(height, pin.pin_diameter_mm, lean_deg)
        assert most - 0.02 < pin.stops_at_mm < most + 1e-3
        assert pin.nominal_stops_at_mm is None
        assert pin.tells_apart
    (said,) = [line for line in signs_lines(signs) if "a inlet" in line]
    assert f"along the bore, {lean_deg:.0f} deg off square" in said


@pytest.mark.parametrize("lean_deg", [0.0, 40.0])
def test_a_mouth_in_a_sloping_face_takes_the_pin_along_its_bore(tmp_path, lean_deg):
    """An upright bore: its lower mouth is cut aslant, the pin stands upright all the same."""
    slope = np.tan(np.radians(lean_deg))
    wedge = shapes.block((-30, -10, -40), (30, 10, 0)).rotate((0.0, -lean_deg, 0.0))
    solid = shapes.block((-8, -8, -10), (8, 8, 24)) - wedge
    solid -= shapes.bore((0, 0, -20), (0, 0, 25), 3.0, segments=SIDES)
    inlet = make.port((0, 0, 0), 3.0 / np.sqrt(np.cos(np.radians(lean_deg))))
    passage = {**make.passage((0, 0, 0), (0, 0, 24), 3.0, 5.0), "inlet": inlet}
    part = {"platform_z": -8.0 * slope}  # heights are above the platform
    sheet = make.plane(12.0 + 8.0 * slope, 2)
    found = make.checked(tmp_path, solid, passage, sheet, pitch=0.8, part=part)
    below, above = found.signs.gauge_pins
    assert below.direction == pytest.approx([0.0, 0.0, 1.0], abs=1e-4)
    assert below.off_normal_deg == pytest.approx(lean_deg, abs=0.01)
    assert below.stops_at_mm == pytest.approx(12.0, abs=0.01)
    assert above.direction == pytest.approx([0.0, 0.0, -1.0], abs=1e-4)
    said = [line for line in signs_lines(found.signs) if "along the bore" in line]
    assert len(said) == (lean_deg > 0.0)


def cone_along(at, ahead):
    """A countersink on the bore's axis, from radius 5 outside to 2 within."""
    return shapes.bore(at - 3.0 * ahead, at + 1.5 * ahead, 5.0, 2.0, segments=SIDES)


def cone_upright(at, ahead):
    """A countersink on the vertical: its rim is not round the bore's axis."""
    return m3.Manifold.cylinder(2.0, 4.0, 2.5, SIDES).translate(tuple(at))


@pytest.mark.parametrize("cone", [cone_along, cone_upright])
def test_a_countersink_does_not_lead_the_pin_astray(tmp_path, cone):
    """The pin is guided by the bore behind it."""
    lean = np.radians(35.0)
    ahead = np.array([np.sin(lean), 0.0, np.cos(lean)])
    far = 12.0 * np.tan(lean)
    at = np.array([-far, 0.0, 0.0])
    solid = shapes.block((-22, -8, 0), (22, 8, 24)) - cone(at, ahead)
    solid -= shapes.bore(at - 30 * ahead, at + 60 * ahead, 2.5, segments=SIDES)
    passage = make.passage(at, (far, 0.0, 24.0), 3.3, 4.0)
    found = make.checked(tmp_path, solid, passage, make.plane(12.0, 2), pitch=0.8)
    below = found.signs.gauge_pins[0]
    assert below.direction == pytest.approx(list(ahead), abs=1e-3)
    assert below.pin_diameter_mm >= 4.8  # the bore's is 4.99 across flats
    most = met(12.0, below.pin_diameter_mm, 35.0)
    assert most - 0.02 < below.stops_at_mm < most + 5e-3
    assert below.nominal_stops_at_mm is None


def test_a_leaning_duct_guides_a_pin_by_its_sides(tmp_path):
    """The mouth is longer than wide: the largest circle in it may lie anywhere along it."""
    lean = np.radians(35.0)
    far = 12.0 * np.tan(lean)
    duct = m3.Manifold.cube((5, 5, 80), True).rotate((0, 35, 0)).translate((0, 0, 12))
    solid = shapes.block((-22, -8, 0), (22, 8, 24)) - duct
    passage = make.passage((-far, 0.0, 0.0), (far, 0.0, 24.0), 3.1, 4.0)
    found = make.checked(tmp_path, solid, passage, make.plane(12.0, 2), pitch=0.8)
    for pin, height in zip(found.signs.gauge_pins, (12.0, 24.0 - 12.2), strict=True):
        assert pin.pin_diameter_mm in (4.8, 4.9)  # the sides are 5 apart, a tenth less enters
        assert pin.stops_at_mm == pytest.approx(met(height, pin.pin_diameter_mm, 35.0), abs=0.02)
