"""What stands before a port: bars, supports, neighbours, and the platform itself."""

import make
import manifold3d as m3
import numpy as np
import pytest
import shapes
import shared

ALL = {"series": ["jobber", "long", "extra-long"]}
ON = {"state": {"on_platform": True}}


def upright():
    """A block with an upright bore of radius 2; on its platform it can be entered from above."""
    part = m3.Manifold.cube((30, 20, 20)).translate((-15, -10, 0))
    return part - m3.Manifold.cylinder(22, 2.0, circular_segments=64).translate((0, 0, -1))


def bridge(x, z):
    """A bar 6 thick on two posts at the edges, its middle at x, z above the bore's mouth."""
    posts = [m3.Manifold.cube((3, 2, z + 6)).translate((x - 1.5, y, 20)) for y in (-10, 8)]
    return posts[0] + posts[1] + m3.Manifold.cube((3, 20, 6)).translate((x - 1.5, -10, 20 + z))


def found(folder, solid, z=10.0, passage=None, **keys):
    passage = passage or make.passage((0, 0, 20), (0, 0, 0), 2.0, 3.0)
    keys = {"drilling": {**ALL, "holder_diameter": 8.0}, **ON, **keys}
    keys = {"pitch": 0.5, **keys}
    result = make.checked(folder, solid, passage, make.plane(z, 2, source="log"), **keys)
    return result, result.passages[0]


@pytest.mark.parametrize(
    "above", [2.2, *shared.more(15.0)]
)  # within a diameter of the mouth, and farther
def test_a_bar_in_front_of_the_port_stops_the_drill(tmp_path, above):
    result, one = found(tmp_path, upright() + bridge(0.0, above))
    assert one.rework is None
    assert f"in front of the port, within {above + 6.0:.1f} mm of it" in one.why_not
    assert result.disposition.recommendation == "undetermined"


def test_a_bar_beside_the_drill_does_not(tmp_path):
    _, one = found(tmp_path, upright() + bridge(8.0, 15.0))
    assert one.rework.drilling[0].from_ == "inlet"


def test_what_was_melted_beside_the_part_is_in_the_way_as_well(tmp_path):
    bar = bridge(0.0, 15.0).translate((0, 0, 0.5))
    part = {"also_melted": ["bar.stl"]}
    result, one = found(tmp_path, upright(), part=part, meshes={"bar": bar})
    assert one.rework is None
    assert "melted beside the part" in one.why_not
    assert result.disposition.recommendation == "undetermined"
    assert any("also_melted" in said for said in result.disposition.settled_by)


def leaning(rise):
    """From a port at z 8 in the side a bore rises; an upright shaft leads on to the top."""
    part = m3.Manifold.cube((40, 20, 40)).translate((0, -10, 0))
    end = np.array([30.0, 0.0, 8.0 + 30.0 * np.tan(np.radians(rise))])
    step = (end - [0.0, 0.0, 8.0]) / 30.0
    part -= shapes.bore(np.array([0.0, 0.0, 8.0]) - 3 * step, end, 2.5)
    part -= shapes.bore(end, (30, 0, 45), 2.5) + m3.Manifold.sphere(2.5, 64).translate(tuple(end))
    return part, make.passage((0, 0, 8), (30, 0, 40), 2.5, 4.0)


@pytest.mark.parametrize("rise", [25.0, *shared.more(40.0)])
def test_the_platform_is_in_the_way_of_the_holder(tmp_path, rise):
    part, passage = leaning(rise)
    drilling = {**ALL, "max_length_to_diameter": 30}
    _, off = found(tmp_path / "off", part, 12.0, passage, drilling=drilling, state={})
    assert off.rework.drilling[0].from_ == "inlet"
    result, on = found(tmp_path / "on", part, 12.0, passage, drilling=drilling)
    assert on.rework is None
    assert "below the platform's surface" in on.why_not
    assert result.disposition.recommendation == "undetermined"
    assert any("off its platform" in said for said in result.disposition.settled_by)


def test_a_platform_far_below_is_not(tmp_path):
    part, passage = leaning(25.0)
    drilling = {**ALL, "max_length_to_diameter": 30}
    sheet = make.plane(312.0, 2, source="log")
    result = make.checked(
        tmp_path, part, passage, sheet, drilling=drilling, part={"platform_z": -300.0}, **ON
    )
    assert result.passages[0].rework.drilling[0].from_ == "inlet"


@pytest.mark.parametrize(("z", "into"), [(1.0, True), (5.0, False)])
def test_a_drill_does_not_go_into_the_platform_behind_the_passage(tmp_path, z, into):
    # The full diameter passes the sheet by 0.5 and the point is 0.3 diameters longer.
    result, one = found(tmp_path, upright(), z)
    assert (one.rework is None) == into
    if into:
        assert "mm into the platform behind the passage" in one.why_not
        assert result.disposition.recommendation == "undetermined"
        assert any("off its platform" in said for said in result.disposition.settled_by)
        _, off = found(tmp_path / "off", upright(), z, state={})
        assert off.rework is not None


def test_a_drill_does_not_go_into_what_stands_behind_the_outlet(tmp_path):
    # A level bore, a bar melted beside the part before its far end: only the near one is drilled.
    part = m3.Manifold.cube((30, 20, 20)).translate((-15, -10, 0))
    part -= (
        m3.Manifold.cylinder(40, 2.0, circular_segments=64, center=True)
        .rotate((0, 90, 0))
        .translate((0, 0, 10))
    )
    bar = m3.Manifold.cube((4, 20, 20)).translate((15.5, -10, 0))
    way = make.passage((-15, 0, 10), (15, 0, 10), 2.0, 3.0)
    keys = {"part": {"also_melted": ["bar.stl"]}, "meshes": {"bar": bar}}
    _, one = found(tmp_path, part, passage=way, state={}, **keys)
    assert one.rework is None
    assert "what was melted beside the part" in one.why_not
    _, free = found(tmp_path / "free", part, passage=way, state={})
    assert free.rework is not None
