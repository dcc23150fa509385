"""Drilling plans of the shipped cases against solid booleans, which share no code with the program.

Analytic: the drills, less what the case lets them cut of the wall, meet no metal of the nominal
part; taken out of the predicted solid they leave the ports of the passage in one void, and no
port's void leads outside.
"""

import json
import math
import sys
import tomllib
from pathlib import Path

import manifold3d as m3
import numpy as np
import pytest
import shared

CASES = Path(__file__).parent.parent.parent / "cases"
sys.path.insert(0, str(CASES))
import by_booleans  # noqa: E402

DRILLED = [
    path.parent
    for path in sorted(CASES.glob("*/expected.json"))
    if json.loads(path.read_text(encoding="utf-8"))["recommendation"] in ("rework", "repair")
]


def tool(stroke, radius: float, start: float) -> m3.Manifold:
    """A drill with its point, from `start` behind its entry on, at a radius."""
    point = radius / math.tan(math.radians(59.0))
    full = stroke.depth_mm - 0.5 * stroke.drill_diameter_mm / math.tan(math.radians(59.0))
    solid = m3.Manifold.cylinder(full - start, radius, circular_segments=128)
    solid = solid.translate((0, 0, start))
    solid += m3.Manifold.cylinder(point, radius, 0.0, 128).translate((0, 0, full))
    direction = np.array(stroke.direction)
    tilt = math.degrees(math.acos(float(np.clip(direction[2], -1.0, 1.0))))
    turn = math.degrees(math.atan2(direction[1], direction[0]))
    return solid.rotate((0, tilt, 0)).rotate((0, 0, turn)).translate(tuple(stroke.entry_mm))


PLAIN = ("nozzle-ring-low", "valve-body")
"""Of plans straight and slanting: golden tests hold the others against their expected.json."""


@pytest.mark.parametrize(
    "folder",
    [
        pytest.param(one, id=one.name, marks=[] if one.name in PLAIN else pytest.mark.more)
        for one in DRILLED
    ],
)
def test_plans_of_shipped_cases(folder):
    table = tomllib.loads((folder / "case.toml").read_text(encoding="utf-8"))
    maker = by_booleans.script((folder / table["part"]["mesh"]).resolve().parent)
    nominal = by_booleans.s.manifold(maker.make())
    solid, moves = by_booleans.predicted(nominal, table)
    result = shared.result_of(folder.name)
    planned = [p for p in result.passages if p.rework is not None]
    assert planned
    for passage in planned:
        for stroke in passage.rework.drilling:
            radius = 0.5 * stroke.drill_diameter_mm
            if not moves:
                inner = tool(stroke, radius - stroke.wall_cut_mm - 5e-3, 0.01)
                assert (inner ^ nominal).volume() < 1e-2
                assert stroke.wall_cut_mm <= table.get("drilling", {}).get("wall_allowance", 0.0)
            solid -= tool(stroke, radius, -8.0)
    names = {p.name for p in planned}
    discs = [
        (by_booleans.moved(np.array(port["centre"]), moves), port["radius"])
        for passage in table["passage"]
        if passage["name"] in names
        for port in (passage["inlet"], passage["outlet"])
    ]
    found = by_booleans.regions(solid, discs)
    for inlet, outlet in zip(found[::2], found[1::2], strict=True):
        assert inlet is not None
        assert inlet == outlet
