"""A scan among the readings of `causes`: what each suspect should leave, in closed form.

A block on the platform, with a pocket in its top and an upright bore; two layers of 0.1 mm were
melted over all of it at 4 mm, and the build went on with the layer that belongs there. Powder packs
to a half and the melt reaches 0.1 mm below a layer, so that every recess is 0.1 mm: s = (1 - 0.5)
(s + 0.1) with s = 0.1 (REFERENCES-3 A5).
"""

import math

import make
import numpy as np
import pytest
import shapes

from clearance.case.read import read_case
from clearance.causes.explain import explain
from clearance.causes.scanned_part import with_scan
from clearance.causes.weighing import Scales
from clearance.readings.scan_sheets import heights
from clearance.verdict.prepared import prepare, silent

LAYER, HEIGHT, RECESS, DEPTH = 0.1, 4.0, 0.1, 0.1
LAYERS = 2
UNCERTAINTY = 0.1
"""Half of it is the standard uncertainty of what the scan tells: a layer is two of them."""


def block(top=8.0, floor=6.0):
    solid = shapes.block((0, 0, 0), (12, 9, top)) - shapes.block((8, 5, floor), (13, 10, top + 1))
    return solid - shapes.bore([4, 4, -1], [4, 4, top + 1], 1.5, segments=24)


def as_built(aside=0.0):
    """The part with the steel where it is: faces that look up are a recess lower."""
    rise = LAYERS * LAYER - RECESS
    lower = shapes.block((-1, -1, -1), (14, 11, HEIGHT)) ^ block()
    upper = block(8.0 + rise, 6.0 + rise) ^ shapes.block((-1, -1, HEIGHT), (14, 11, 9))
    plug = shapes.block((2, 2, HEIGHT - DEPTH), (6, 6, HEIGHT + LAYERS * LAYER - RECESS))
    return lower + upper.translate((aside, 0.0, 0.0)) + plug


@pytest.fixture(scope="module")
def checked(tmp_path_factory):
    path = make.write_case(
        tmp_path_factory.mktemp("scanned"),
        block(),
        make.passage([4, 4, 0], [4, 4, 8], 1.5, 2.5),
        make.plane(HEIGHT, LAYERS, penetration=DEPTH, packing=0.5),
        meshes={"scan": as_built(aside=0.05)},
        scan={"mesh": "scan.stl", "uncertainty": UNCERTAINTY, "placed": True},
        part={"measured_cooled": 0.0},
        suspected={"layers": [1, 3], "resume": ["height", "layer"], "also": ["mesh"]},
        layer=LAYER,
        pitch=0.5,
    )
    return prepare(read_case(path))


def test_an_upright_line_meets_a_surface_where_it_is():
    found = heights(make.soup_of(as_built()), np.array([4.123, 4.071]))
    assert found == pytest.approx([HEIGHT - DEPTH, HEIGHT + LAYERS * LAYER - RECESS], abs=1e-6)


def test_a_scan_moves_the_suspects_as_a_closed_form_says(checked):
    """Of a suspect of n layers: growth n t or 0, less a recess; the sheet's top at n t less one."""
    found = with_scan(checked, checked.case.suspected, silent)
    readings = found.case.reading
    assert [one.kind for one in readings] == [
        "step",
        "step",
        "growth",
        "sheet_bottom",
        "sheet_top",
    ]
    values = [one.value for one in readings]
    top = HEIGHT + LAYERS * LAYER - RECESS
    assert values == pytest.approx(
        [0.05, 0.0, LAYERS * LAYER - RECESS, HEIGHT - DEPTH, top], abs=2e-3
    )
    assert readings[2].recesses == pytest.approx(1.0, abs=1e-3)  # a foot below, faces up above
    suspects = found.case.suspected.suspects
    weighed = Scales(found, suspects, 0).weighed(readings)
    u = 0.5 * UNCERTAINTY
    events = [n for n, one in enumerate(suspects) if one.cause == "event"]
    expected = []
    for one in (suspects[n] for n in events):
        grown = one.layers * LAYER * (one.resume == "layer") - RECESS
        upper = HEIGHT + one.layers * LAYER - RECESS
        expected.append(-0.5 * (((values[2] - grown) / u) ** 2 + ((values[4] - upper) / u) ** 2))
    logs = weighed.log_likelihood[events]
    assert logs - logs.max() == pytest.approx(np.array(expected) - max(expected), abs=0.02)
    best = suspects[events[int(np.argmax(logs))]]
    assert (best.layers, best.resume) == (LAYERS, "layer")
    assert math.isinf(weighed.log_likelihood[-1])  # a right build leaves no sheet to be measured


def test_causes_names_the_scan_beside_what_it_says(checked):
    found = explain(checked, most_checks=1)
    said = [one.what for one in found.readings]
    assert "growth, event 1, scan: 0.1 mm (u 0.05)" in said
    assert any(
        what.startswith("sheet top, event 1 at x 4.00, y 4.00, scan: 4.1 mm") for what in said
    )
    assert any("scan.stl: 5 readings of it are weighed" in notice for notice in found.notices)
    best = found.classes[0]
    assert (best.told, best.ratio) == (False, 1.0)  # it is told as resumed by height
    assert [(box.layers, box.resume) for box in best.ranges] == [((LAYERS, LAYERS), ("layer",))]
    mesh = [one for one in found.excluded if any(box.cause == "mesh" for box in one.ranges)]
    assert len(mesh) == 1
