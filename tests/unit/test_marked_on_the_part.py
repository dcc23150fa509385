"""What shop and laboratory measure from: the page says it from the part's own faces.

Two upright bores of 4 mm side by side in a block 40 x 60 x 20, both sealed by one sheet of 0.2 mm:
a level beam along x, the shortest way out, passes both.
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
    solid = shapes.block((-20, -30, 0), (20, 30, 20))
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
    """The outlets lie 12 mm from the sides and 30 mm from front and back, in the bottom face."""
    page = shop(examined)
    numbers = page.operations[0][1].replace("\n", " ")
    assert "12.00 mm from the lowest x face and 30.00 mm from the" in numbers
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
    assert "12.0 mm that way to the outside, 28.0 mm the other way" in marks["mark beam 1"]
    assert marks["beam 1"].startswith("passes 2 too: both shadows lie one upon the other")
    assert marks["beam 2"].startswith("passes 1 too")
    assert any("mm above its lowest face" in plane.title for plane in page.planes)
