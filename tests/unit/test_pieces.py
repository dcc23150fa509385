"""What drilling sets loose and leaves: discs, rings, ellipses and crescents in closed form."""

import math

import pytest
import shapely

from clearance.drilling.pieces import pieces
from clearance.report.drilling import pieces_line
from clearance.result import Drilling

BORE, THICK, DENSITY = 8.0, (0.1, 0.2), 8.0
DISC = shapely.Point(0.0, 0.0).buffer(0.5 * BORE, quad_segs=180)


def operation(diameter, direction=(0.0, 0.0, 1.0), entry=(0.0, 0.0, 0.0)):
    return Drilling(
        crossing=0, also_clears=(), drill_diameter_mm=diameter, series="jobber", flute_mm=75.0,
        overall_mm=117.0, from_="inlet", entry_mm=entry, direction=direction, depth_mm=14.0,
        length_to_diameter=2.0, wall_margin_mm=0.2, wall_cut_mm=0.0, overrun_mm=0.5,
        tilt_tolerance_deg=1.0, tilt_from_z_deg=180.0, turn_about_z_deg=0.0,
        drill_tolerance_mm=0.02, run_out_mm=0.02,
    )  # fmt: skip


def of(tool, sheet=DISC, density=DENSITY):
    return pieces(tool, 0, 10.0, sheet, DISC, THICK, density)


@pytest.mark.parametrize(("drill", "rim", "share"), [(7.1, 0.45, 0.79), (7.5, 0.25, 0.88)])
def test_a_sealed_bore_drilled_in_its_middle(drill, rim, share):
    """Bore D, drill d: the rim is (D - d)/2 wide on pi D of wall, (d/D)^2 is open."""
    found = of(operation(drill))
    assert found["rim_width_mm"] == pytest.approx(rim, abs=0.005)
    assert found["rim_length_mm"] == pytest.approx(math.pi * BORE, rel=1e-3)
    assert found["loose_mm"] == pytest.approx(drill, rel=1e-3)
    whole = math.pi / 4 * BORE**2 * 0.2 * DENSITY * 1e-3
    assert found["loose_g"] == pytest.approx(share * whole, rel=0.01)
    assert found["loose_g"] + found["rim_g"] == pytest.approx(whole, rel=1e-3)
    assert found["strainer_mm"] == pytest.approx(0.5 * found["rim_width_mm"])
    assert "may break off" in pieces_line(found)
    finer = pieces(operation(drill), 0, 10.0, DISC, DISC, THICK, DENSITY, 0.25)
    assert finer["strainer_mm"] == pytest.approx(0.25 * finer["rim_width_mm"])


def test_a_drill_that_leans_cuts_an_ellipse():
    """30 degrees off: 5 / cos 30 long, shifted by 10 tan 30."""
    lean = math.radians(30.0)
    tool = operation(5.0, (math.sin(lean), 0.0, math.cos(lean)), (-10.0 * math.tan(lean), 0, 0))
    found = of(tool)
    assert found["loose_mm"] == pytest.approx(5.0 / math.cos(lean), rel=1e-3)
    assert found["loose_g"] == pytest.approx(
        math.pi / 4 * 25.0 / math.cos(lean) * 0.2 * DENSITY * 1e-3, rel=1e-3
    )
    # The same from above, upside down.
    down = operation(5.0, (math.sin(lean), 0, -math.cos(lean)), (-10.0 * math.tan(lean), 0, 20.0))
    assert of(down)["loose_mm"] == pytest.approx(found["loose_mm"], rel=1e-6)


def test_beside_the_middle_the_rim_is_a_crescent():
    """0.3 mm aside it is widest on the other side, (D - d)/2 + 0.3."""
    found = of(operation(7.0, entry=(0.3, 0.0, 0.0)))
    assert found["rim_width_mm"] == pytest.approx(0.8, abs=0.01)


def test_a_lens_taken_off_whole_leaves_no_rim():
    lens = DISC.difference(shapely.Point(-3.0, 0.0).buffer(4.0, quad_segs=180))
    found = of(operation(8.02), sheet=lens, density=None)
    assert (found["rim_width_mm"], found["rim_length_mm"]) == (0.0, 0.0)
    assert found["loose_g"] is None
    assert found["rim_g"] is None
    assert "no rim stays" in pieces_line(found)


def test_along_the_sheet_nothing_is_told():
    assert of(operation(5.0, (1.0, 0.0, 0.0), (-20.0, 0.0, 10.0))) is None
