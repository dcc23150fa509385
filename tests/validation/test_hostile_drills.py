"""Parts made against the search for drill plans by somebody who did not write it.

Every expected answer is worked out by hand or with solid booleans; each test names what broke.
"""

import math

import make
import manifold3d as m3
import numpy as np
import pytest
from test_machinist import block, checked, cylinder, upright


def test_a_section_mirrored_at_two_upright_mouths_can_be_united(tmp_path):
    # The image of an image had edges that crossed by rounding: no union, a traceback.
    ahead = np.array([math.cos(math.radians(3)), 0.0, math.sin(math.radians(3))])
    middle = np.array([0.0, 0.0, 10.0])
    solid = block((16, 12, 20)) - cylinder(middle - 40 * ahead, middle + 40 * ahead, 3.0)
    half = 8.0 / ahead[0] * ahead
    passage = make.passage(middle - half, middle + half, 3.0, 5.0)
    result = checked(tmp_path, solid, passage, make.plane(10.0, 1, source="log"))
    assert result.passages[0].rework is not None


def test_a_thick_sheet_that_a_level_bore_lies_in_is_no_scrap(tmp_path):
    # Metal over the whole of a bore that a drill goes straight through: far from the bore the
    # sheet's middle holds no line, and what a bore left of a thick sheet was all of it.
    solid = m3.Manifold.cube((6, 8, 16)).translate((-3, -4, 0))
    solid -= cylinder((-9, 0, 10), (9, 0, 10), 1.5, 48)
    passage = make.passage((-3, 0, 10), (3, 0, 10), 1.5, 2.2)
    tools = {"series": [], "drills": [{"diameter": 2.7, "flute": 30.0, "overall": 60.0}]}
    sheet = make.plane(4.0, 76, source="log")
    result = checked(tmp_path, solid, passage, sheet, pitch=0.5, drilling=tools)
    (stroke,) = result.passages[0].rework.drilling
    assert result.disposition.recommendation == "rework"
    assert stroke.depth_mm > 6.0


@pytest.mark.parametrize(("z", "mouth", "inward"), [(9.95, "outlet", -1), (0.0, "inlet", 1)])
def test_a_sheet_that_stands_out_of_a_mouth_is_drilled_inward(tmp_path, z, mouth, inward):
    # Its middle lies in the mouth or before it: a line to there led out of the part.
    solid, inlet, outlet = upright(10.0, 3.0, 12.0)
    passage = make.passage(inlet, outlet, 3.0, 5.0)
    result = checked(tmp_path, solid, passage, make.plane(z, 1, source="log"))
    (stroke,) = result.passages[0].rework.drilling
    assert stroke.from_ == mouth
    assert stroke.direction[2] * inward > 0.99
