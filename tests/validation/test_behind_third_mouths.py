"""Ways that lead past stray metal behind a third mouth, within its stopper.

Every expectation is by construction: a pocket or a loop in the wall of a window, beside what closes
it, or a gap between it and the closing surface.
"""

from __future__ import annotations

import make
import numpy as np
import pytest
import shapes as s
import shared

from clearance import api
from clearance.case.read import read_case

MESH = {"shape": "mesh", "mesh": "flap.stl"}
TALL = 12.0


def windowed(middle: float):
    """An upright duct of 2 by 2 behind an outer face, with a window of 1.9 by 3 in the face."""
    window = s.block((-1.1, -0.95, middle - 1.5), (1, 0.95, middle + 1.5))
    return s.block((-5, -3, 0), (0, 3, TALL)) - s.block((-3, -1, -1), (-1, 1, TALL + 1)) - window


def beside(kind: str, middle: float, wide: float):
    """Void in the wall of the window, up to 0.1 behind the face: past its middle."""
    depth = -0.1 - wide
    if kind == "pocket":
        return s.block((depth, 0.9, middle - 0.8), (-0.1, 0.95 + wide, middle + 0.8))
    high, arm = 0.5 + wide, 1.1 + wide
    loop = s.block((depth, 1.1, middle - high), (-0.1, arm, middle + high))
    for z in (middle - high, middle + 0.5):
        loop += s.block((depth, 0.9, z), (-0.1, arm, z + wide))
    return loop


def flap(middle: float, gap: float = 0.0, aside: float = 0.95):
    """What shuts the duct and, but for a gap at the face, the window."""
    low, high = middle - 0.2, middle + 0.2
    duct = s.block((-4, -2, low), (-1, 2, high))
    return duct + s.block((-1.1, -aside, low), (-gap, aside, high))


def window(middle: float):
    return [{"name": "window", **make.port((0, 0, middle), np.sqrt(1.9 * 3 / np.pi))}]


def turned(turn: float, *ports):
    c, d = np.cos(np.radians(turn)), np.sin(np.radians(turn))
    for port in ports:
        x, y, z = port["centre"]
        port["centre"] = [c * x - d * y, d * x + c * y, z]


@pytest.mark.parametrize(
    ("kind", "middle", "wide", "pitch", "turn"),
    shared.more(
        ("loop", 6.0, 0.5, 0.4, 0.0),
        ("loop", 5.6, 0.35, 0.3, 90.0),
        ("pocket", 5.6, 0.4, 0.35, 90.0),
    ),
)
def test_a_way_in_the_wall_of_a_closed_window(tmp_path, kind, middle, wide, pitch, turn):
    solid = (windowed(middle) - beside(kind, middle, wide)).rotate((0, 0, turn))
    passage = make.passage((-2, 0, 0), (-2, 0, TALL), np.sqrt(4 / np.pi), 1.0)
    closed = window(middle)
    turned(turn, passage["inlet"], passage["outlet"], *closed)
    meshes = {"flap": flap(middle).rotate((0, 0, turn))}
    keys = {"pitch": pitch, "smallest_way": 0.3}
    found = make.first(tmp_path, solid, passage, MESH, meshes=meshes, closed=closed, **keys)
    assert found.state in ("restricted", "undetermined"), found.reasons
    assert found.clear_diameter_mm.high >= wide
    assert found.clear_diameter_mm.low <= wide + 1e-3


@pytest.mark.parametrize(
    ("middle", "gap", "pitch", "turn"), [(6.0, 0.2, 0.5, 0.0), *shared.more((5.6, 0.1, 0.3, 90.0))]
)
def test_circuits_that_meet_behind_a_closed_window(tmp_path, middle, gap, pitch, turn):
    solid = windowed(middle)
    for z in (3.0, TALL - 3.0):
        solid -= s.bore((-6, 0, z), (-2, 0, z), 0.6, segments=24)
    solid = solid.rotate((0, 0, turn))
    closed, radius = window(middle), np.sqrt(4 / np.pi)
    passages = []
    for name, z, side in (("a", 0.0, 3.0), ("b", TALL, TALL - 3.0)):
        passage = make.passage((-2, 0, z), (-5, 0, side), 0.6, 0.8, name)
        passage["inlet"] = make.port((-2, 0, z), radius)
        passages.append(passage)
        turned(turn, passage["inlet"], passage["outlet"])
    turned(turn, *closed)
    meshes = {"flap": flap(middle, gap, 1.2).rotate((0, 0, turn))}
    keys = {"pitch": pitch, "smallest_way": 0.1, "separate": [{"passages": ["a", "b"]}]}
    found = make.checked(tmp_path, solid, passages, MESH, meshes=meshes, closed=closed, **keys)
    assert found.separate[0].nominal_state == "joined"
    assert found.separate[0].state != "apart"


@pytest.mark.parametrize(
    ("wide", "pitch", "turn"), [(0.5, 0.5, 0.0), *shared.more((0.5, 0.4, 90.0), (0.4, 0.4, 180.0))]
)
def test_a_sweep_does_not_overlook_a_loop_behind_a_closed_window(tmp_path, wide, pitch, turn):
    """The first layer is open under the loop alone, so that is what a sheet of it leaves."""
    solid = s.block((-5, -3, 0), (0, 3, TALL)) - s.block((-3, -1, 1.2), (-1, 1, TALL + 1))
    solid -= s.block((-1.1, -0.95, 4.5), (1, 0.95, 7.5)) + s.bore((-6, 0, 2.2), (-2, 0, 2.2), 0.8)
    solid -= beside("loop", 6.0, wide) + s.block((-0.1 - wide, 1.1, -1), (-0.1, 1.1 + wide, 0.35))
    passage = make.passage((-2, 0, TALL), (-5, 0, 2.2), 0.8, 1.0)
    passage["inlet"]["radius"] = np.sqrt(4 / np.pi)
    closed = window(6.0)
    turned(turn, passage["inlet"], passage["outlet"], *closed)
    keys = {"pitch": pitch, "smallest_way": 0.3, "closed": closed}
    path = make.write_case(
        tmp_path, solid.rotate((0, 0, turn)), passage, make.sheet(6.0, 2), **keys
    )
    (found,) = api.sweep(read_case(path), first=6.0, last=6.0).passages
    assert set(found.state) <= {"restricted", "undetermined"}
    assert min(found.high_mm) >= wide
    assert max(found.low_mm) <= wide + 1e-3


@pytest.mark.parametrize(("pitch", "turn"), shared.more((0.5, 0.0), (0.4, 90.0)))
def test_a_loop_behind_a_closed_window_is_a_branch(tmp_path, pitch, turn):
    """The sheet's layers are open in duct and window, not under the loop."""
    solid = (windowed(6.0) - beside("loop", 6.0, 0.5)).rotate((0, 0, turn))
    passage = make.passage((-2, 0, 0), (-2, 0, TALL), np.sqrt(4 / np.pi), 1.0, every_branch=True)
    closed, sheet = window(6.0), make.sheet(6.0, 2, from_layer=46)
    turned(turn, passage["inlet"], passage["outlet"], *closed)
    keys = {"pitch": pitch, "smallest_way": 0.3, "closed": closed}
    found = make.first(tmp_path, solid, passage, sheet, **keys)
    assert found.state in ("restricted", "undetermined"), found.reasons
