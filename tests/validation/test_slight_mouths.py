"""Third mouths whose stopper begins a little within, or with more void behind it than the mouth.

By construction: a plate shuts the duct and the mouth but for a gap that it leaves to the closing
surface; a ball in the gap may stand out by its half.
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
from clearance.verdict.passage_check import PassageCheck
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
    passage = make.passage((-3, 0, low), (3, 0, low), np.sqrt(1 / np.pi), 0.5)
    for way in ways(tmp_path, solid, passage, plate, (0, 0, high), 0.8, pitch):
        assert way.high_mm >= 2.0 * gap


def ways(folder, solid, passage, plate, closed, radius, pitch):
    """What is told of the nominal part, and of it with the plate, at the pitch alone."""
    path = make.write_case(
        folder,
        solid,
        passage,
        {"shape": "mesh", "mesh": "plate.stl"},
        meshes={"plate": plate},
        closed=[{"name": "roof", **make.port(closed, radius)}],
        pitch=pitch,
    )
    checked = prepare(read_case(path))
    check = PassageCheck(checked, checked.case.passage[0])
    variants = (NOMINAL, checked.unknowns.variants[0].events)
    searches = [check.search(check.window(pitch).predict(one), []) for one in variants]
    return [search.way() for search in searches]


def slotted(lip: float):
    """A chamber behind a face, and a round window into it that a taller slot lies right behind."""
    solid = s.block((-6, -2, 0), (0, 2, 12)) - s.block((-5, -1.2, 2.5), (-1.5, 1.2, 9.5))
    solid -= s.bore((-1.6, 0, 6), (1, 0, 6), 1.0, segments=48)
    solid -= s.block((-1.6, -0.8, 4.2), (-lip, 0.8, 7.8))
    return solid - s.bore((-3, 0, -1), (-3, 0, 13), 1.0, segments=32)


@pytest.mark.parametrize(
    ("gap", "pitch", "turn"),
    [(0.22, 0.5, 0.0), *shared.more((0.25, 0.4, 90.0), (0.2, 0.45, 180.0))],
)
def test_a_slot_that_is_taller_than_the_window_before_it(tmp_path, gap, pitch, turn):
    """The plate covers all of the window; above and below it the slot leads to the gap."""
    passage = make.passage((-3, 0, 0), (-3, 0, 12), 1.0, 0.8)
    c, d = np.cos(np.radians(turn)), np.sin(np.radians(turn))
    for end in (passage["inlet"], passage["outlet"]):
        end["centre"] = [-3.0 * c, -3.0 * d, end["centre"][2]]
    plate = s.block((-5.5, -1.6, 4.8), (-gap, 1.6, 7.2)).rotate((0, 0, turn))
    solid = slotted(0.1).rotate((0, 0, turn))
    for way in ways(tmp_path, solid, passage, plate, (0, 0, 6), 1.0, pitch):
        assert way.high_mm >= gap - 0.1
        assert way.low_mm <= way.high_mm
