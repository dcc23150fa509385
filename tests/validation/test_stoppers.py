"""Stoppers stand in the void of their own mouth: a port on a step beside another bore.

Every expectation is by construction.
"""

from __future__ import annotations

import make
import numpy as np
import pytest
import shapes as s
import shared


def stepped(radius: float, gap: float = 0.6, wall: float = 0.3):
    """A bore of 3 that ends on a step at z 12, and a bore in the taller part beside its rim."""
    solid = s.block((-8, -6, 0), (8, 6, 24)) - s.block((-9, -7, 12), (-0.6 + gap - wall, 7, 25))
    solid -= s.bore((-2.1, 0, -1), (-2.1, 0, 13), 1.5, segments=64)
    x = -0.6 + gap + radius
    return solid - s.bore((x, 0, -1), (x, 0, 25), radius, segments=64), x


@pytest.mark.parametrize(
    ("radius", "height", "pitch", "turn"),
    [
        (0.8, 12.6, 0.4, 90.0),
        (0.4, 12.9, 0.5, 0.0),
        *shared.more((0.8, 12.6, 0.4, 0.0), (0.4, 12.9, 0.5, 90.0)),
        *shared.more((0.8, 12.0, 0.3, 0.0), (0.8, 12.0, 0.3, 90.0)),
    ],
)
def test_a_port_on_a_step_beside_a_bore(tmp_path, radius, height, pitch, turn):
    solid, x = stepped(radius)
    c, d = np.cos(np.radians(turn)), np.sin(np.radians(turn))
    passages = [
        make.passage((-2.1 * c, -2.1 * d, 0), (-2.1 * c, -2.1 * d, 12), 1.5, 1.0, "a"),
        make.passage((x * c, x * d, 0), (x * c, x * d, 24), radius, 1.8 * radius, "b"),
    ]
    event = make.sheet(height, 3)
    found = make.checked(tmp_path, solid.rotate((0, 0, turn)), passages, event, pitch=pitch)
    bore = found.passages[1]
    assert bore.state == "open", bore.reasons
    assert bore.clear_diameter_mm.low == pytest.approx(2 * radius, abs=0.05)
    (crossing,) = bore.crossings
    area = 32.0 * np.sin(np.pi / 32) * radius**2  # of 64 chords
    assert crossing.nominal_area_mm2 == pytest.approx(area, rel=1e-3)
    assert crossing.open_fraction == pytest.approx(1.0, abs=1e-6)
    assert found.passages[0].state == "open"
    assert not any(c.sealed for p in found.passages for c in p.crossings)


def test_a_mouth_beside_the_passages_own_bore(tmp_path):
    # The passage comes in at the step, turns below it and goes up beside its own mouth.
    solid, x = stepped(1.0)
    solid -= s.block((-2.1, -1.0, 4), (x, 1.0, 6))
    for at in (-2.1, x):  # both bores end at the turn; the first layers show them
        solid += s.block((at - 1.6, -1.6, 1), (at + 1.6, 1.6, 3.5))
    passage = make.passage((-2.1, 0, 12), (x, 0, 24), 1.5, 1.8)
    passage["outlet"] = make.port((x, 0, 24), 1.0)
    found = make.first(tmp_path, solid, passage, make.sheet(13.0, 3), pitch=0.3)
    assert found.state != "restricted", found.reasons
    assert found.state != "blocked", found.reasons
    assert found.clear_diameter_mm.high >= 1.99
