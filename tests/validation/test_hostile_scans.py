"""Scans that would be called open wrongly: each of these once was, or could have been.

Exact solids; what is open in them is analytic.
"""

from dataclasses import replace

import make
import pytest
import shapes

from clearance.api import examine
from clearance.case.read import read_case
from clearance.scanned.laid import bands, possible
from clearance.scanned.measured import measured, scanned
from clearance.scanned.registration import registered

LOW, HIGH, SHEET = (0.0, 0.0, 0.0), (8.0, 7.0, 6.0), 3.0


def block(high=HIGH):
    """A block with a notch, which no turn and no mirror maps on itself."""
    return shapes.block(LOW, high) - shapes.block([6, 5, 4], [9, 8, 7])


def bore(x=3.0, radius=1.0):
    return shapes.bore([x, 3, -1], [x, 3, 20], radius, segments=24)


@pytest.fixture(scope="module")
def look(tmp_path_factory):
    """How a scan of the part with one bore and one event is judged; without the checks' rest."""
    ends = make.passage([3, 3, 0], [3, 3, 6], 1.0, 1.5)
    scan = {"mesh": "part.stl", "uncertainty": 0.03, "placed": True, "thinnest_shown": 0.05}
    stray = make.plane(SHEET, 2, penetration=0.1)
    path = make.write_case(
        tmp_path_factory.mktemp("scan"), block() - bore(), ends, stray, scan=scan
    )
    case = read_case(path)
    examined = examine(replace(case, scan=None), verify=False)
    checked = replace(examined.checked, case=case)
    around = tuple(span for _, span in bands(possible(checked)))

    def judged(solid):
        laid = registered(shapes.soup(solid), checked.bodies.part, around, placed=True)
        return scanned(measured(checked, laid), examined.checks[0], examined.result.passages[0])

    return judged


def lifted(lift, part):
    """The part with its upper piece higher, and what lies between drawn on."""
    below = part ^ shapes.block([-9, -9, -9], [19, 19, SHEET])
    above = (part ^ shapes.block([-9, -9, SHEET], [19, 19, 19])).translate((0, 0, lift))
    between = shapes.block([0, 0, SHEET], [8, 7, SHEET + lift]) - bore()
    return below + above + between


@pytest.mark.parametrize("lift", [0.4, 2.0])
def test_a_bore_goes_on_where_its_piece_was_lifted(look, lift):
    """Shut just under its mouth, above where that is drawn: it was called open up to there."""
    free = lifted(lift, block() - bore())
    lid = shapes.block([1, 1, 6.0 + lift - 0.25], [5, 5, 6.0 + lift - 0.1])
    found = look(free + lid)
    assert found.state != "open"
    assert found.low_mm == 0.0
    if lift < 1.0:  # measured: the mouth lies there
        assert look(free).state == "open"
