"""A window that the case does not name: no way is proven, and nothing ends in a traceback."""

import make
import pytest
import shapes
import shared

FLOW = {"density": 998.0, "viscosity": 1.0e-3, "rate": 2.0, "max_pressure_loss": 5.0}


@pytest.mark.parametrize(
    ("tables", "upside_down"),
    [({}, True), ({"flow": FLOW}, False), *shared.more(({}, False), ({"flow": FLOW}, True))],
)
def test_a_window_without_a_name_is_told(tmp_path, upside_down, tables):
    """Upright bore r 1.2 beside a side face, a window of 2 x 4 in it above the sheet."""
    solid = shapes.block((0, 0, 0), (10, 10, 16)) - shapes.bore((2.0, 5, -1), (2.0, 5, 17), 1.2)
    solid -= shapes.block((-1, 4.3, 9), (2.0, 5.7, 13))
    stray = make.plane(6.0, source="log")
    if upside_down:
        solid = solid.mirror((0, 0, 1)).translate((0, 0, 16))
        stray = make.plane(10.0, source="log")
    way = make.passage((2.0, 5, 0), (2.0, 5, 16), 1.2, 2.0)
    found = make.checked(tmp_path, solid, [way], stray, pitch=0.3, **tables)
    (passage,) = found.passages
    assert passage.state in ("undetermined", "blocked")  # the plane crosses the whole bore
    assert found.disposition.recommendation == "undetermined"
    assert found.exit_status in (3, 4)
