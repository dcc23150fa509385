"""A way that is sought with the nominal one as a hint agrees with a way that is sought without."""

from __future__ import annotations

import make
import numpy as np
import pytest
import shapes as s

from clearance.case.read import read_case
from clearance.passages.search import Search
from clearance.verdict.passage_check import PassageCheck
from clearance.verdict.prepared import prepare

R, HEIGHT, LEAN = 2.0, 10.0, 20.0
TUBE = s.straight_bore(R, (8.0, 8.0, HEIGHT), segments=24)
UPRIGHT = make.passage((0, 0, 0), (0, 0, HEIGHT), R, 3.0)
ASIDE = 0.5 * HEIGHT * np.tan(np.radians(LEAN))
LEANING = s.tilted_bore(R, LEAN, (14.0, 8.0, HEIGHT), segments=24)
SLANT = make.passage((-ASIDE, 0, 0), (ASIDE, 0, HEIGHT), R / np.sqrt(np.cos(np.radians(LEAN))), 2.5)
PAUSE = make.sheet(3.0, 0, next_layer=30)
MEASURED = {"shape": "mesh", "mesh": "pin.stl"}


def pin(x, low, high):
    return s.bore((x, 0, low), (x, 0, high), 0.5, segments=12)


CASES = {
    "a pause": (TUBE, UPRIGHT, PAUSE, None),
    "lifted": (TUBE, UPRIGHT, make.sheet(4.0, 2, resume="layer"), None),
    "up and down again": (
        TUBE,
        UPRIGHT,
        [make.sheet(3.0, 2, resume="layer"), make.sheet(6.0, 0, next_layer=60)],
        None,
    ),
    "a hair aside": (TUBE, UPRIGHT, make.sheet(4.0, 1, resume_shift=[1e-3, 0.0]), None),
    "a pause and a sheet": (LEANING, SLANT, [PAUSE, make.sheet(5.0, 1)], None),
    "two sheets": (LEANING, SLANT, [make.sheet(2.0, 1), make.sheet(5.0, 1)], None),
    "measured": (TUBE, UPRIGHT, MEASURED, pin(1.2, 3.0, 6.0)),
    "measured beyond a mouth": (TUBE, UPRIGHT, MEASURED, pin(1.2, HEIGHT + 0.5, HEIGHT + 2.0)),
    "measured and lifted": (
        TUBE,
        UPRIGHT,
        [MEASURED, make.sheet(4.0, 2, resume="layer")],
        pin(1.2, 3.0, 6.0),
    ),
}


@pytest.mark.parametrize("name", CASES)
def test_a_hint_changes_no_bracket_by_more_than_its_width(tmp_path, name):
    solid, ways, strays, mesh = CASES[name]
    meshes = None if mesh is None else {"pin": mesh}
    checked = prepare(read_case(make.write_case(tmp_path, solid, ways, strays, meshes=meshes)))
    check = PassageCheck(checked, checked.case.passage[0])
    (variant,) = checked.unknowns.variants
    predicted = check.predicted(variant.events, checked.pitch_mm)
    found = list(check.crossed(predicted, variant).everything)
    without, hinted = (
        Search(predicted, check.inlet, check.outlet, checked.all_mouths, found, 0.05).way(
            enough_mm=check.required, hint=hint
        )
        for hint in (None, check.nominal.way)
    )
    assert max(without.low_mm, hinted.low_mm) <= min(without.high_mm, hinted.high_mm)
    assert (without.leak, without.blocked) == (hinted.leak, hinted.blocked)
    # A hint may be taken as it is, as wide as it was at the nominal part's pitch.
    assert abs(without.low_mm - hinted.low_mm) < 0.05
    assert len(hinted.route)
