"""What shop and laboratory measure from: the page says it from the part's own faces.

Two upright bores of 4 mm side by side in a block 40 x 60 x 20, both sealed by two sheets of 0.2 mm:
a level beam along x, the shortest way out, passes both bores, an upright one both sheets.
"""

import dataclasses

import make
import pytest
import shapes

from clearance import api
from clearance.case.read import read_case
from clearance.drawing.laboratory import laboratory
from clearance.drawing.shop import shop
from clearance.result import TrappedPowder


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
        folder, solid, ways, [make.plane(z, 2, source="log") for z in (10.0, 14.0)],
        pitch=0.5,
        drilling={"series": ["jobber"]}, part={"material": "316L", "platform_z": -2.0},
        state={"emptied": True},
    )  # fmt: skip
    return api.examine(read_case(path))


def test_entries_from_the_parts_own_faces(examined):
    """The inlets lie 12 mm from the sides and 30 mm from front and back, in the top face."""
    page = shop(examined)
    numbers = page.operations[0][1].replace("\n", " ")
    assert "12.00 mm from the lowest x face and 30.00 mm from the" in numbers
    assert "0.00 mm from the highest z face" in numbers
    assert "direction (0.0000, 0.0000, -1.0000): axis vertical, drilled downward" in numbers


def test_a_beam_is_marked_from_faces_and_says_what_else_it_passes(examined):
    """The platform lies 2 mm below the part: z 10 there is 8 mm above its lowest face."""
    page = laboratory(examined)
    rows = [row for one in page.asked for row in one.rows]
    marks = {name: words for name, _, words in rows if "beam" in name}
    assert "mm above its lowest face" in marks["mark beam 1"]
    assert "as a vector (" in marks["mark beam 1"]
    assert "12.00 mm from the lowest x face" in marks["mark beam 1"]
    assert "12.0 mm that way to the outside, 28.0 mm the other way" in marks["mark beam 1"]
    assert marks["beam 1"].startswith("passes 3 too: both shadows lie one upon the other")
    assert marks["beam 4"].startswith("passes 2 too")
    upright = {name: words for name, _, words in rows if name.startswith("upright")}
    assert upright["upright through 1"].startswith("passes 2 too: what it shows may be either")
    assert any("mm lower, for the packing of the powder" in note for note in page.notes)
    assert any("mm above its lowest face" in plane.title for plane in page.planes)


def test_powder_that_is_sealed_in_is_emptied_where_something_opens_it(examined):
    """Of the room that drilling opens how, of another one that nobody knows; no contradiction."""
    between = ("stray 0", "stray 1")
    rooms = (
        TrappedPowder(50.0, None, between, (-8.0, 0.0, 10.0), ("a",), 0.2, 0.3),
        TrappedPowder(50.0, None, between, (0.0, 20.0, 10.0)),
    )
    result = dataclasses.replace(examined.result, trapped_powder=rooms)
    first, second, third, *_ = shop(dataclasses.replace(examined, result=result)).notes
    assert "up to 0.30 g: sealed, no shaking empties it before drilling a opens it" in first
    assert "only where the responsible engineer allows it" in first
    assert second.endswith("whether an operation opens it the work sequence says: ask before any")
    assert third.startswith("apart from that drill nothing before")
    none = dataclasses.replace(examined.result, trapped_powder=())
    only = shop(dataclasses.replace(examined, result=none)).notes[0]
    assert only.startswith("drill nothing before")
