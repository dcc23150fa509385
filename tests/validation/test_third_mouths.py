"""Routes that would leave the part through a third mouth: the centre of a ball may not.

Every expectation is by construction: beside a window that is closed a rib leaves a gap to the
closing surface (which lies 3 um within the face); a ball in the gap may stand out of the window
by its half, no more.
"""

from __future__ import annotations

import make
import numpy as np
import pytest
import shapes as s
import shared

DUCT = s.block((-5, -2, -1), (-1.5, 2, 31))
CENTRE = (-3.25, 0.0)
MESH = {"shape": "mesh", "mesh": "flap.stl"}


def windowed(middle: float = 15.0, wall: float = 1.5):
    """An upright duct of 3.5 by 4 behind an outer face, with a window of 3.8 by 6 in the face."""
    void = DUCT + s.block((-wall - 0.1, -1.9, middle - 3), (1, 1.9, middle + 3))
    return s.block((-12, -8, 0), (0, 8, 30)) - void


def window(middle: float = 15.0):
    return [{"name": "window", **make.port((0, 0, middle), np.sqrt(3.8 * 6 / np.pi))}]


def rib(middle: float = 15.0, gap: float = 0.3, thick: float = 0.2):
    return s.block((-5.5, -2.5, middle - thick), (-gap, 2.5, middle + thick)) ^ (
        DUCT + s.block((-1.6, -1.9, 0), (0, 1.9, 30))
    )


def through(need: float = 2.0):
    return make.passage((*CENTRE, 0), (*CENTRE, 30), np.sqrt(14 / np.pi), need)


@pytest.mark.parametrize(
    ("middle", "gap", "pitch", "turn"),
    [
        (15.0, 0.3, 0.3, 0.0),
        *shared.more(
            (11.3, 0.5, 0.25, 37.0),
            *((15.0, 0.3, 0.3, turn) for turn in (90.0, 37.0)),
            *((11.3, 0.5, 0.25, turn) for turn in (0.0, 90.0)),
        ),
    ],
)
def test_a_flap_that_leaves_a_gap_at_a_closed_window(tmp_path, turn, middle, gap, pitch):
    solid = windowed(middle).rotate((0, 0, turn))
    flap = rib(middle, gap).rotate((0, 0, turn))
    passage, closed = through(), window(middle)
    for port in (passage["inlet"], passage["outlet"], *closed):
        x, y, z = port["centre"]
        c, d = np.cos(np.radians(turn)), np.sin(np.radians(turn))
        port["centre"] = [c * x - d * y, d * x + c * y, z]
    found = make.first(
        tmp_path, solid, passage, MESH, meshes={"flap": flap}, closed=closed, pitch=pitch
    )
    assert found.state in ("restricted", "undetermined"), found.reasons
    assert found.clear_diameter_mm.low <= 2 * gap + 1e-3
    assert found.clear_diameter_mm.high > 2 * gap - 0.01


WIDE = 3.6
"""More than the duct: restricted at the first look; 2.0 is looked at ever closer."""


@pytest.mark.parametrize(("gap", "need"), [(0.6, WIDE), *shared.more((0.6, 2.0), (0.3, 2.0))])
def test_a_rib_of_the_part_itself(tmp_path, gap, need):
    solid = windowed() + rib(gap=gap)
    found = make.first(tmp_path, solid, through(need), closed=window())
    assert found.nominal_state in ("restricted", "undetermined")
    assert found.clear_diameter_mm.low <= 2 * gap + 1e-3
    assert found.clear_diameter_mm.high > 2 * gap - 0.01


@pytest.mark.parametrize("need", [WIDE, *shared.more(2.0)])
def test_a_rib_beside_another_passages_port(tmp_path, need):
    # The window is the port of a second passage.
    solid = windowed() + rib(gap=0.4)
    other = make.passage((0, 0, 15), (*CENTRE, 30), 1.0, 0.5, "b")
    other["inlet"] = make.port((0, 0, 15), np.sqrt(3.8 * 6 / np.pi))
    other["outlet"] = make.port((*CENTRE, 30), np.sqrt(14 / np.pi))
    found = make.checked(tmp_path, solid, [through(need), other]).passages
    assert found[0].state in ("restricted", "undetermined")
    assert found[0].clear_diameter_mm.low <= 0.8 + 1e-3
    assert found[1].state == "open"  # it ends in the upper half of the window


def test_what_the_window_does_not_narrow_is_open(tmp_path):
    found = make.first(tmp_path, windowed(), through(3.3), closed=window())
    assert found.state == "open", found.reasons
    assert found.clear_diameter_mm.low == pytest.approx(3.5, abs=0.05)
