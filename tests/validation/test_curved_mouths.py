"""Mouths in outer faces that fall away from the closing surface: a cross bore, the tip of a cone.

What is true is known from the drawing: nothing but the two mouths leads out, so a sheet over the
whole section shuts the bore, and a bore that no sheet meets is as wide as it was drawn.
"""

from __future__ import annotations

import make
import numpy as np
import pytest
import shapes as s
import shared

BAR, BORE = 10.0, 3.0


def bar_with_cross_bore():
    """A bar of radius 10 along y that lies on z 0, and an upright bore of radius 3 through it."""
    bar = s.bore((0, -20, BAR), (0, 20, BAR), BAR)
    return bar - s.bore((0, 0, -1), (0, 0, 2 * BAR + 1), BORE)


def turned(degrees: float):
    """That bar turned about x, standing on z 0, and the ends of the bore's axis."""
    solid = bar_with_cross_bore().translate((0, 0, -BAR)).rotate((degrees, 0, 0))
    up = np.array([0.0, -np.sin(np.radians(degrees)), np.cos(np.radians(degrees))])
    lift = np.array([0.0, 0.0, -solid.bounding_box()[2]])
    return solid.translate(tuple(lift)), lift - BAR * up, lift + BAR * up


@pytest.mark.parametrize(
    ("inward", "height"), [(0.0, 3.0), (1.0, 15.0), *shared.more((0.0, 15.0), (1.0, 3.0))]
)
def test_a_plane_shuts_a_cross_bore(tmp_path, inward, height):
    """The rim of a cross bore is a saddle: no void creeps out over where it lies low."""
    ports = (0, 0, inward), (0, 0, 2 * BAR - inward)
    passage = make.passage(*ports, BORE, 5.0)
    found = make.first(tmp_path, bar_with_cross_bore(), passage, make.plane(height, 2))
    assert found.state == "blocked", found.reasons
    assert found.clear_diameter_mm.high == 0.0


@pytest.mark.parametrize("degrees", [25.0, 90.0, *shared.more(70.0, 180.0)])
def test_a_cross_bore_leads_nowhere_else_whichever_way_it_lies(tmp_path, degrees):
    solid, inlet, outlet = turned(degrees)
    passage = make.passage(inlet, outlet, BORE, 5.0)
    found = make.first(tmp_path, solid, passage)
    assert found.state == "open", found.reasons
    assert not any("outside" in why for why in found.reasons), found.reasons
    assert 2 * BORE - 0.1 <= found.clear_diameter_mm.low <= 2 * BORE


@pytest.mark.parametrize(
    ("fall_deg", "upside_down"),
    [
        (10.0, False),
        (40.0, True),
        *shared.more((10.0, True), (30.0, False), (30.0, True), (40.0, False)),
    ],
)
def test_a_mouth_at_the_tip_of_a_cone(tmp_path, fall_deg, upside_down):
    """The rim is a circle; the face around it falls away all round."""
    tip, wide = 12.0, 9.0
    drop = (wide - 2.0) * np.tan(np.radians(fall_deg))
    cone = s.bore((0, 0, tip - drop), (0, 0, tip), wide, 2.0)
    body = s.bore((0, 0, 0), (0, 0, tip - drop), wide) + cone
    solid = body - s.bore((0, 0, -1), (0, 0, tip + 1), 1.9)
    if upside_down:
        solid = solid.rotate((180, 0, 0)).translate((0, 0, tip))
    passage = make.passage((0, 0, 0), (0, 0, tip), 1.9, 3.0)
    found = make.first(tmp_path, solid, passage, make.plane(5.0, 2))
    assert found.state == "blocked", found.reasons
