"""A cut that goes through a mouth, with what stands above it moved."""

from __future__ import annotations

import make
import pytest
import shapes as s
import shared


@pytest.mark.parametrize(
    ("height", "shift"), [(2.4, (-0.15, 0.1)), *shared.more((3.2, (0.2, 0.0)))]
)
def test_a_side_port_that_is_set_out_of_its_face_has_an_answer(tmp_path, height, shift):
    """No ball is wider than the circle of all that the port swept over, and the step."""
    solid = s.block((-3, -2, 0), (3, 2, 5)) - s.bore((-4, 0, 3), (4, 0, 3), 1.0, segments=48)
    cut = make.sheet(height, 0, next_layer=round(height / 0.1), resume_shift=list(shift))
    found = make.first(
        tmp_path, solid, make.passage((-3, 0, 3), (3, 0, 3), 1.0, 1.2), cut, pitch=0.6
    )
    assert found.state in ("open", "undetermined"), found.reasons
    # Its bores are set off by what of the shift is along the face.
    assert 2.0 - abs(shift[1]) < found.clear_diameter_mm.high < 2.2
