"""Room and open area along a passage, against closed forms."""

import make
import numpy as np
import pytest
import shapes

from clearance.case.read import read_case
from clearance.disposition.remedy import remedied
from clearance.drawing.curve import curve
from clearance.verdict.passage_check import PassageCheck
from clearance.verdict.prepared import prepare

RADIUS, HEIGHT, SIDES = 3.0, 30.0, 64
APOTHEM = RADIUS * np.cos(np.pi / SIDES)
AREA = 0.5 * SIDES * RADIUS**2 * np.sin(2.0 * np.pi / SIDES)  # of the polygon, analytic


def followed(folder, *strays, **tables):
    """Curve of an upright bore from z 0 to z 30 under an event."""
    solid = shapes.straight_bore(RADIUS, (20.0, 20.0, HEIGHT), SIDES)
    passage = make.passage((0, 0, 0), (0, 0, HEIGHT), RADIUS, 5.0, name="bore")
    case = read_case(make.write_case(folder, solid, passage, strays, **tables))
    check = PassageCheck(prepare(case), case.passage[0])
    result = remedied(check, check.result()).result
    return curve(check, result), result


@pytest.fixture(scope="module")
def sealed(tmp_path_factory):
    return followed(
        tmp_path_factory.mktemp("sealed"),
        make.plane(15.0, 1, source="log"),
        drilling={"series": ["jobber"]},
    )


def test_length_and_nominal_room_are_those_of_the_bore(sealed):
    found, _ = sealed
    assert found.length_mm[0] == 0.0
    assert found.length_mm[-1] == pytest.approx(HEIGHT, abs=0.3)  # analytic; the way may wind
    assert (np.diff(found.length_mm) > 0.0).all()
    # Analytic: no ball in the bore is larger than its inscribed circle.
    assert found.nominal_mm.max() <= 2.0 * APOTHEM + 1e-4
    assert found.nominal_mm.min() >= 2.0 * APOTHEM - 0.1


def test_predicted_room_is_0_in_a_sheet_thinner_than_a_step(sealed):
    """0.1 mm of metal between points 0.25 mm apart: the curve still reaches the ground."""
    found, _ = sealed
    assert found.predicted_mm.min() == 0.0
    at = found.length_mm[np.argmin(found.predicted_mm)]
    assert at == pytest.approx(15.05, abs=0.3)  # analytic: the sheet's middle
    away = np.abs(found.length_mm - at) > 2.0 * RADIUS
    assert found.predicted_mm[away] == pytest.approx(found.nominal_mm[away], abs=1e-6)


def test_area_is_that_of_the_bore_and_nothing_is_left_at_the_crossing(sealed):
    found, _ = sealed
    inside = (found.area_at_mm > 2.0) & (found.area_at_mm < HEIGHT - 2.0)
    assert found.area_mm2[inside] == pytest.approx(AREA, rel=0.01)
    (mark,) = found.marks
    assert (mark.sealed, mark.open_fraction, mark.area_mm2) == (True, 0.0, 0.0)
    assert mark.said == "crossing 1 at z 15.00: sealed"
    assert "blocked" in found.title
    assert "5 mm required" in found.title


def test_the_drill_reaches_from_its_port_past_the_sheet(sealed):
    found, result = sealed
    (stroke,) = result.rework.drilling
    ((low, high),) = found.drilled_mm
    assert high - low == pytest.approx(stroke.depth_mm, abs=0.6)
    assert low < found.marks[0].at_mm < high


def test_a_lens_leaves_the_area_of_a_lens(tmp_path):
    """Two circles of radius r at distance d share 2 r² acos(d / 2r) - d / 2 sqrt(4 r² - d²)."""
    d = 1.5
    lens = 2 * RADIUS**2 * np.arccos(d / (2 * RADIUS)) - 0.5 * d * np.sqrt(4 * RADIUS**2 - d**2)
    found, result = followed(
        tmp_path, make.sheet(15.0, 1, from_layer=150, resume="layer", resume_shift=[d, 0.0])
    )
    assert result.state == "restricted"
    (mark,) = found.marks
    assert mark.area_mm2 == pytest.approx(lens, rel=0.01)  # analytic
    assert not mark.sealed
    # Analytic: the largest circle in the lens has diameter 2 r - d.
    assert found.predicted_mm.min() == pytest.approx(2 * RADIUS - d, abs=0.15)
    assert (
        found.predicted_mm.min() <= result.clear_diameter_mm.high + 1e-9
    )  # the curve hides nothing


def test_no_event_leaves_no_marks(tmp_path):
    found, _ = followed(tmp_path)
    assert found.marks == ()
    assert found.drilled_mm == ()
    assert found.predicted_mm == pytest.approx(found.nominal_mm)
