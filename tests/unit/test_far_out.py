"""A part far from the origin: a step of single precision comes off what is proven to pass."""

from __future__ import annotations

import make
import numpy as np
import pytest
import shapes as s


@pytest.mark.parametrize("far", [3000.0, 40000.0])
def test_the_bracket_holds_the_drawing(tmp_path, far):
    solid = s.block((-4, -4, 0), (4, 4, 8)) - s.block((-1, -1, -1), (1, 1, 9))
    at = (far, 0, 0)
    passage = make.passage(at, (far, 0, 8), np.sqrt(4 / np.pi), 1.98)
    found = make.first(tmp_path, solid.translate(at), passage)
    step = float(np.spacing(np.float32(far)))
    assert 2.0 - 0.06 - 4.0 * step < found.clear_diameter_mm.low <= 2.0 - 2.0 * step + 1e-9
    assert found.clear_diameter_mm.high >= 2.0
