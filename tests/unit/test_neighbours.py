"""While parts stand on their platform the others of a plate are in the way of tools."""

import make
import manifold3d as m3
import pytest
import shared

from clearance.case.plate import read_plate
from clearance.plates.members import members

PLATE = """
[plate]
name = "two or three"
size = [400.0, 400.0]

[[stray]]
height = 10.0
from_layer = 0
layers = 1
resume = "height"
penetration = 0.0
source = "log"
"""


def plan_of(folder, xs, on_platform=True):
    """Plan of a part with a level bore along x, beside tall blocks that stand at some x."""
    part = m3.Manifold.cube((30, 20, 20)).translate((-15, -10, 0))
    part -= (
        m3.Manifold.cylinder(60, 4.0, circular_segments=48, center=True)
        .rotate((0, 90, 0))
        .translate((0, 0, 10))
    )
    way = make.passage((-15, 0, 10), (15, 0, 10), 4.0, 7.0)
    drilling = {"series": ["jobber"], "holder_diameter": 16.0}
    tools = {"drilling": drilling, "state": {"on_platform": on_platform}}
    make.write_case(folder / "level", part, way, layer=0.2, pitch=0.8, **tools)
    tall = m3.Manifold.cube((10, 20, 40)).translate((-5, -10, 0))
    tall -= m3.Manifold.cylinder(60, 3.0, circular_segments=32, center=True)
    up = make.passage((0, 0, 0), (0, 0, 40), 3.0, 5.0)
    make.write_case(folder / "tall", tall, up, layer=0.2, pitch=0.8)
    lines = [PLATE, "[[part]]", 'name = "bored"', 'case = "level/case.toml"', "at = [0.0, 0.0]"]
    for x in xs:
        lines += ["[[part]]", f'name = "tall {x}"', 'case = "tall/case.toml"', f"at = [{x}.0, 0.0]"]
    (folder / "plate.toml").write_text("\n".join(lines) + "\n")
    task = members(read_plate(folder / "plate.toml"), verify=False)[0].task
    return shared.data_of(task)["passages"][0]


@pytest.mark.parametrize(("x", "port"), [(-90, "outlet"), *shared.more((90, "inlet"))])
def test_a_neighbour_bars_the_port_that_it_stands_before(tmp_path, x, port):
    (stroke,) = plan_of(tmp_path, [x])["rework"]["drilling"]
    assert stroke["from"] == port


def test_between_two_neighbours_no_tool_gets_in(tmp_path):
    found = plan_of(tmp_path, [90, -90])
    assert found["rework"] is None
    assert "which stands beside it on the platform" in found["why_not"]
    assert plan_of(tmp_path / "off", [90, -90], on_platform=False)["rework"] is not None
