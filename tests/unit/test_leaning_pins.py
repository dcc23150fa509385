"""A gauge pin goes along the bore: where the bore leans against its mouth, the pin leans too.

Every expected depth is analytic. A flat end of radius p, pushed along an axis that leans by a,
meets a level sheet at height h above the mouth with its edge, (h - p sin a) / cos a deep.
"""

import make
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
