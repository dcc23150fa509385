"""What shop and laboratory measure from: the page says it from the part's own faces.

Two upright bores of 6 mm side by side in a block 40 x 20 x 20, both sealed by one sheet of 0.2 mm:
a level beam along x through one passes the other.
"""

import make
import pytest
import shapes

from clearance import api
from clearance.case.read import read_case
from clearance.drawing.laboratory import laboratory
from clearance.drawing.shop import shop


@pytest.fixture(scope="module")
def examined(tmp_path_factory):
    solid = shapes.block((-20, -5, 0), (20, 5, 20))
    for x in (-8, 8):
        solid -= shapes.bore((x, 0, -1), (x, 0, 21), 2.0, segments=32)
    ways = [
        make.passage((x, 0, 20), (x, 0, 0), 2.0, 3.0, name) for x, name in ((-8, "a"), (8, "b"))
    ]
    folder = tmp_path_factory.mktemp("marked")
    path = make.write_case(
        folder, solid, ways, make.plane(10.0, 2, source="log"), pitch=0.5,
        drilling={"series": ["jobber"]}, part={"material": "316L", "platform_z": -2.0},
        state={"emptied": True},
    )  # fmt: skip
    return api.examine(read_case(path))


def test_entries_from_the_parts_own_faces(examined):
    """The outlets lie 12 mm from the sides and 5 mm from front and back, in the bottom face."""
    page = shop(examined)
    numbers = page.operations[0][1].replace("\n", " ")
    assert "12.00 mm from the lowest x face, 5.00 mm from the" in numbers
    assert "0.00 mm from the lowest z face" in numbers
    assert "direction (0.0000, 0.0000, 1.0000): axis vertical, drilled upward" in numbers


def test_a_beam_is_marked_from_faces_and_says_what_else_it_passes(examined):
    """The platform lies 2 mm below the part: z 10 there is 8 mm above its lowest face."""
    page = laboratory(examined)
    rows = [row for one in page.asked for row in one.rows]
    marks = {name: words for name, _, words in rows if "beam" in name}
    assert "mm above its lowest face" in marks["mark beam 1"]
    assert "as a vector (" in marks["mark beam 1"]
    assert "12.00 mm from the lowest x face" in marks["mark beam 1"]
    n = next(o for o in examined.result.inspection if o.method == "radiograph-along").numbers
    crossed = n["direction_deg"] < 1.0 or n["direction_deg"] > 179.0
    assert ("beam 1" in marks) == crossed
    assert any("mm above its lowest face" in plane.title for plane in page.planes)
