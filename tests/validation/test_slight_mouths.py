"""A third mouth around which the face falls away a little: how far its stopper begins within.

By construction: a plate shuts the duct and the mouth in the roof, but for a gap
that it leaves to the closing surface; a ball in the gap may stand out by its half.
"""

from __future__ import annotations

import make
import manifold3d as m3
import numpy as np
import pytest
import shapes as s
import shared

from clearance.case.read import read_case
from clearance.predicted.part import NOMINAL
from clearance.verdict.passage import PassageCheck
from clearance.verdict.prepared import prepare

TOP, WIDE = 4.0, 2.0


def roofed(fall: float):
    """A level duct of 1 by 1, and an upright bore of radius 0.8 through a roof that falls away."""
    low = TOP - fall * (WIDE - 0.8)
    roof = m3.Manifold.cylinder(TOP + 0.02 - low, WIDE, 0.8 - 0.02 / fall, 64)
    solid = s.block((-3, -2, 0), (3, 2, 2.4)) + s.bore((0, 0, 0), (0, 0, low), WIDE, segments=64)
    solid += roof.translate((0, 0, low))
    void = s.block((-4, -0.5, 1), (4, 0.5, 2)) + s.bore((0, 0, 1.5), (0, 0, 5), 0.8, segments=48)
    return solid - void


@pytest.mark.parametrize(
    ("fall", "gap", "pitch", "upside_down"),
    [(0.12, 0.04, 0.3, False), *shared.more((0.08, 0.03, 0.3, True), (0.13, 0.04, 0.25, False))],
)
def test_a_plate_that_leaves_a_gap_under_a_roof(tmp_path, fall, gap, pitch, upside_down):
    solid, plate = roofed(fall), s.block((-0.6, -1, 0.5), (0.6, 1, TOP - gap))
    low, high = 1.5, TOP
    if upside_down:
        solid, plate = (one.rotate((180, 0, 0)).translate((0, 0, TOP)) for one in (solid, plate))
        low, high = TOP - low, 0.0
    path = make.write_case(
        tmp_path,
        solid,
        make.passage((-3, 0, low), (3, 0, low), np.sqrt(1 / np.pi), 0.5),
        {"shape": "mesh", "mesh": "plate.stl"},
        meshes={"plate": plate},
        closed=[{"name": "roof", **make.port((0, 0, high), 0.8)}],
        pitch=pitch,
    )
    checked = prepare(read_case(path))
    check = PassageCheck(checked, checked.case.passage[0])
    for events in (NOMINAL, checked.unknowns.variants[0].events):
        way = check.search(check.window(pitch).predict(events), []).way()
        assert way.high_mm >= 2.0 * gap
        assert not way.blocked
