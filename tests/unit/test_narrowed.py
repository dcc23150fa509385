"""Drills are sought for whatever narrows a passage, and nobody scraps where none was sought."""

import make
import manifold3d as m3
import numpy as np
import pytest
import shapes

LONG = {"flute": 60.0, "overall": 110.0}
TWO = {"series": [], "drills": [{"diameter": 3.7, **LONG}, {"diameter": 4.0, **LONG}]}
LEAN = np.radians(40.0)
WATER = {"density": 998.0, "viscosity": 1e-3, "rate": 2.0, "max_pressure_loss": 1e-3}


def leaning(z):
    """A bore of 4 that leans by 40 degrees, and a sheet 0.1 thick over one side of it.

    The level section is an ellipse of half axes 2.61 and 2. The flap leaves x < 1.31 of it: the
    largest circle there is 2 * 1.88 (its middle at -0.57, where the ellipse leaves
    2 sqrt(1 - 0.57^2 / (2.61^2 - 2^2))), but a ball is caught between the flap's edge and the
    opposite wall: along the bore's section the gap is about (2.61 + 1.31) cos 40 = 3.0.
    """
    tan = np.tan(LEAN)
    part = m3.Manifold.cube((50, 16, 20)).translate((-12, -8, 0))
    part -= shapes.bore((-20 * tan, 0, -20), (40 * tan, 0, 40), 2.0)
    flap = m3.Manifold.cube((3, 6, 0.1)).translate((z * tan + 1.31, -3, z))
    return part, flap, make.passage((0, 0, 0), (20 * tan, 0, 20), 2.3, 3.5)


@pytest.mark.parametrize(("turned", "flow"), [(False, {"flow": WATER}), (True, {})])
def test_a_drill_is_sought_where_no_circle_is_too_small(tmp_path, turned, flow):
    part, flap, passage = leaning(10.0)
    if turned:  # upside down
        part, flap = (s.rotate((180, 0, 0)).translate((0, 0, 20)) for s in (part, flap))
        passage["inlet"]["centre"][2], passage["outlet"]["centre"][2] = 20.0, 0.0
    sheet = {"shape": "mesh", "mesh": "flap.stl", "source": "log"}
    result = make.checked(
        tmp_path, part, passage, sheet, meshes={"flap": flap}, drilling=TWO, pitch=0.3, **flow
    )
    (one,) = result.passages
    assert one.state == "restricted"
    assert one.clear_diameter_mm.high < 3.5
    assert min(c.clear_diameter_mm for c in one.crossings) > 3.5
    assert one.rework is not None, one.why_not
    assert one.rework.clear_diameter_after_mm >= 3.5
    assert result.disposition.recommendation in ("rework", "undetermined")


def test_nobody_scraps_for_a_loss_that_no_drill_was_sought_for(tmp_path):
    part, flap, passage = leaning(10.0)
    passage["min_clear_diameter"] = 2.5  # wide enough, but the pressure loss is too large
    sheet = {"shape": "mesh", "mesh": "flap.stl", "source": "log"}
    result = make.checked(
        tmp_path, part, passage, sheet, meshes={"flap": flap}, drilling=TWO, pitch=0.3, flow=WATER
    )
    (one,) = result.passages
    assert one.state == "open"
    assert result.disposition.recommendation == "undetermined"
