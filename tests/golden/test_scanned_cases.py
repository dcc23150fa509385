"""The two shipped volumes: what was made into them is what the check says of them."""

import pytest
import shared

from clearance.result import State


@pytest.mark.parametrize(
    ("case", "states", "sheet_mm"),
    [
        ("scanned-elbow-shut", {State.BLOCKED, State.RESTRICTED, State.UNDETERMINED}, 0.09),
        ("scanned-elbow-free", {State.OPEN}, 0.0),
    ],
)
def test_a_shipped_volume_is_judged_by_its_grey_sums(case, states, sheet_mm):
    """Truth: `make_scan.py` beside the case; no threshold of 50 % tells the two apart."""
    result = shared.result_of(case)
    found = result.passages[0].scanned
    assert found.state in states
    crossing = found.crossings[0]
    assert crossing.sheet_mm == pytest.approx(sheet_mm, abs=3.0 * crossing.sheet_u_mm)
    assert result.scan.volume.shown_mm > result.scan.thinnest_sheet_mm
    assert result.scan.turned_deg == pytest.approx(2.0, abs=0.15)
