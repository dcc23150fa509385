"""A mouth that a sheet cuts in two: what lies behind either part is the circuit's."""

from __future__ import annotations

import make
import pytest
import shapes as s

from clearance.case.read import read_case
from clearance.passages.hidden import Hidden
from clearance.verdict.prepared import prepare


@pytest.mark.parametrize("height", [9.2, 20.7])
def test_both_parts_of_a_cut_mouth_count(tmp_path, height):
    # A level slot of 4 by 14; a plane sheet near its floor or ceiling lifts what is above by 2.
    solid = s.block((0, -8, 0), (20, 8, 30)) - s.block((-1, -2, 8), (21, 2, 22))
    passage = make.passage((0, 0, 15), (20, 0, 15), 4.2, 2.0)
    stray = make.plane(height, 4, resume="layer")
    path = make.write_case(tmp_path, solid, passage, stray, layer=0.5, pitch=0.4)
    checked = prepare(read_case(path))
    predicted = checked.whole.predict(checked.unknowns.variants[0].events)
    below, above = (
        predicted.possible.pieces_at(predicted.window.box.low * 0 + [[10.0, 0.0, z]])
        for z in (height - 0.6, height + 2.6)
    )
    assert below.isdisjoint(above)  # by construction
    hidden = Hidden(predicted, checked.all_mouths, checked.case.grid.smallest_way)
    assert hidden.behind(predicted.possible, {"a inlet"}) >= below | above
