"""Sheets beside a third mouth: a ball may stand out of it, in check and in the sweep.

By construction: the stray layer leaves a gap of g to the closing surface of a window in an outer
face (3 um within the face). A ball with its centre in that surface fits with a diameter of 2 g.
"""

from __future__ import annotations

import make
import pytest
import shapes as s
import shared

from clearance.case.read import read_case
from clearance.sweeps.sweep import sweep
from clearance.sweeps.wanted import Wanted


def case_of(folder, gap: float, need: float, side: float = 1.0, height: float = 15.0, **keys):
    """An upright duct with a window of 3.8 by 6; the first layer is open over the gap only.

    `side`: 1 for a window in the face at x 0, -1 for the mirror image.
    """
    foot = s.block((-12, -8, 0), (4, 8, 4)) - s.block((-gap, -1.9, -1), (1, 1.9, 1.1))
    foot -= s.block((-5, -1.9, 1), (1, 1.9, 3))
    duct = s.block((-5, -1.9, 1), (-1.5, 1.9, 31)) + s.block((-1.6, -1.9, 12), (1, 1.9, 18))
    solid = foot + s.block((-12, -8, 3.9), (0, 8, 30)) - duct
    if side < 0:
        solid = solid.mirror((1, 0, 0))
    inlet = make.port((side * (1 - gap) / 2, 0, 0), (3.8 * (1 + gap) / 3.14159) ** 0.5)
    outlet = make.port((-3.25 * side, 0, 30), (3.8 * 3.5 / 3.14159) ** 0.5)
    passage = {"name": "a", "inlet": inlet, "outlet": outlet, "min_clear_diameter": need}
    window = {"name": "window", **make.port((0, 0, 15), (3.8 * 6 / 3.14159) ** 0.5)}
    path = make.write_case(
        folder, solid, passage, make.sheet(height, 3), closed=[window], pitch=0.4, **keys
    )
    return read_case(path)


@pytest.mark.parametrize(
    ("gap", "side", "height"), [(0.45, -1.0, 14.2), *shared.more((0.4, 1.0, 15.0))]
)
def test_a_ball_that_stands_out_of_the_window(tmp_path, gap, side, height):
    case = case_of(tmp_path, gap, 1.6 * gap, side, height)
    found = make.judged(case).passages[0]
    assert found.state == "open", found.reasons
    assert found.clear_diameter_mm.high >= 2 * gap - 0.01
    (swept,) = sweep(case, Wanted(height - 0.1, height + 0.1, 0.1)).passages
    assert not {"restricted", "blocked"} & set(swept.state)
    assert min(swept.high_mm) >= 2 * gap - 0.01


def test_what_only_stands_out_is_not_sealed(tmp_path):
    # Smallest way 0.3: the section holds a circle of 0.2, the ball is one of 0.4.
    case = case_of(tmp_path, 0.2, 1.0, smallest_way=0.3)
    found = make.judged(case).passages[0]
    assert found.state != "blocked"
    assert not any(c.sealed for c in found.crossings)
    (swept,) = sweep(case, Wanted(14.9, 15.1, 0.1)).passages
    assert "blocked" not in swept.state
