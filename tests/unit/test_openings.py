"""Openings of solids with known ports: every expected number is analytic."""

import tomllib
from functools import cache

import manifold3d as m3
import numpy as np
import pytest
import shapes
import shared
from shapes import block, bore

from clearance.mesh.part import read_part
from clearance.report.openings import as_json, position, text, toml
from clearance.survey.openings import _apart, _networks, find_openings
from clearance.verdict.proposed import MOST, clear_diameters

SIDES = 32
FLAT = np.sqrt(np.sin(2 * np.pi / SIDES) / (2 * np.pi / SIDES))  # polygon to circle, equal area
X, Y, Z = np.eye(3)
BLOCK = block((-20, -15, 0), (20, 15, 20))


def rod(x: float, y: float, radius: float, low: float = -1.0, high: float = 21.0) -> m3.Manifold:
    return bore((x, y, low), (x, y, high), radius, segments=SIDES)


def chamfered() -> m3.Manifold:
    cone = bore((0, 0, 18.5), (0, 0, 20.5), 2.5, 4.5, segments=SIDES)
    return BLOCK - rod(0, 0, 3.0) - cone


def filleted() -> m3.Manifold:
    turn = np.linspace(0.0, np.pi / 2, 13)
    arc = [[4.0 - np.cos(t), 19.0 + np.sin(t)] for t in turn]
    flare = m3.CrossSection([[[0.0, 19.0], *arc, [4.0, 21.0], [0.0, 21.0]]]).revolve(SIDES)
    return BLOCK - rod(0, 0, 3.0) - flare


def slotted() -> m3.Manifold:
    ends = rod(4.0, 0, 1.5) + rod(-4.0, 0, 1.5)
    return BLOCK - ends - block((-4, -1.5, -1), (4, 1.5, 21))


def drum() -> m3.Manifold:
    """A cylinder of radius 12 lying along y, a bore square to its surface at 30 degrees."""
    solid = bore((0, -10, 0), (0, 10, 0), 12.0, segments=256)
    return solid - bore((0, 0, 0), (10, 0, 10 * np.sqrt(3)), 2.0, segments=SIDES)


def hollow_ball(direction: tuple) -> m3.Manifold:
    out = np.array(direction) / np.linalg.norm(direction)
    shell = m3.Manifold.sphere(12.0, 96) - m3.Manifold.sphere(10.5, 96)
    return shell - bore((0, 0, 0), 15 * out, 2.5, segments=SIDES)


def recessed() -> m3.Manifold:
    """Two bores from the floor of a pocket 30 x 20 x 3."""
    return BLOCK - block((-15, -10, 17), (15, 10, 21)) - rod(-7, 0, 2.0) - rod(7, 0, 2.0)


def rim(radius: float, of: float) -> float:
    """How far the lowest point of a bore's rim lies from the axis of a drum or ball."""
    return np.sqrt(of**2 - radius**2)


SLANT = np.array([0.5, 0.0, np.sqrt(0.75)])
ASKEW = np.array([1.0, 0.3, 0.5]) / np.sqrt(1.34)

# solid, openings: centre, outward normal, radius of equal area, clear radius; networks
SOLIDS = {
    "1 mm hole beside a 20 mm bore": (
        BLOCK - rod(0, 0, 10.0) - rod(12, 0, 0.5),
        [
            ((0, 0, 0), -Z, 10 * FLAT, 10),
            ((0, 0, 20), Z, 10 * FLAT, 10),
            ((12, 0, 0), -Z, 0.5 * FLAT, 0.5),
            ((12, 0, 20), Z, 0.5 * FLAT, 0.5),
        ],
        [2, 2],
    ),
    "blind": (BLOCK - rod(3, 2, 3.0, 8.0), [((3, 2, 20), Z, 3 * FLAT, 3)], [1]),
    "chamfer": (chamfered(), [((0, 0, 0), -Z, 3 * FLAT, 3), ((0, 0, 20), Z, 4 * FLAT, 4)], [2]),
    "fillet": (filleted(), [((0, 0, 0), -Z, 3 * FLAT, 3), ((0, 0, 20), Z, 4 * FLAT, 4)], [2]),
    "slot": (
        slotted(),
        [((0, 0, z), n, np.sqrt(24 / np.pi + 2.25 * FLAT**2), 1.5) for z, n in ((0, -Z), (20, Z))],
        [2],
    ),
    "curved face": (drum(), [(rim(2, 12) * SLANT, SLANT, 2 * FLAT, 2)], [1]),
    "hollow ball, askew": (
        hollow_ball(ASKEW),
        [(rim(2.5, 12) * ASKEW, ASKEW, 2.5 * FLAT, 2.5)],
        [1],
    ),
    "pocket with two bores": (
        recessed(),
        [((x, 0, z), n, 2 * FLAT, 2) for x in (-7, 7) for z, n in ((0, -Z), (17, Z))],
        [2, 2],
    ),
    "crossing bores": (
        BLOCK - rod(0, 0, 3.0) - bore((-30, 0, 10), (30, 0, 10), 2.0, segments=SIDES),
        [
            ((0, 0, 0), -Z, 3 * FLAT, 3),
            ((-20, 0, 10), -X, 2 * FLAT, 2),
            ((20, 0, 10), X, 2 * FLAT, 2),
            ((0, 0, 20), Z, 3 * FLAT, 3),
        ],
        [4],
    ),
    "thin wall between": (
        BLOCK - rod(-3.15, 0, 3.0) - rod(3.15, 0, 3.0),
        [((x, 0, z), n, 3 * FLAT, 3) for x in (-3.15, 3.15) for z, n in ((0, -Z), (20, Z))],
        [2, 2],
    ),
    "no void": (BLOCK, [], []),
    "shallow pocket only": (BLOCK - block((-9, -9, 18), (9, 9, 21)), [], []),
    "closed chamber": (BLOCK - block((-5, -5, 5), (5, 5, 15)), [], []),
}


MORE = ("fillet", "thin wall between", "curved face")
"""Of kinds that the plain run has: a flare, two bores, a mouth in a curved face. As large as told:
they are as fine as sections and columns tell apart."""


def size_of(name):
    """The table's other solids are looked at half as large: half the sections, and all as sharp."""
    return 1.0 if name in MORE else 0.5


@cache
def found_in(solid):
    """Openings of a solid of the table above, or of what makes a soup: looked for once."""
    if callable(solid):
        return find_openings(solid())
    return find_openings(shapes.soup(SOLIDS[solid][0].scale([size_of(solid)] * 3)))


@pytest.mark.parametrize("name", [*(one for one in SOLIDS if one not in MORE), *shared.more(*MORE)])
def test_known_openings_are_found_with_place_size_and_network(name):
    _, expected, networks = SOLIDS[name]
    found, size = found_in(name), size_of(name)
    assert len(found.openings) == len(expected)
    left = list(found.openings)
    for at, normal, wide, free in expected:
        centre, radius, clear = size * np.array(at), size * wide, size * free
        one = min(left, key=lambda one: np.linalg.norm(one.mouth.centre - centre))
        left.remove(one)
        assert one.mouth.centre == pytest.approx(centre, abs=0.03 * size)
        assert one.normal @ normal > 0.999
        # 2e-3 mm inward of the face; a fillet is still a little narrower there
        assert one.mouth.radius == pytest.approx(radius, rel=0.015)
        assert one.mouth.inscribed_radius == pytest.approx(clear, rel=0.015)
        assert one.area_mm2 == pytest.approx(np.pi * one.mouth.radius**2)
    assert sorted(len(members) for members in found.networks()) == sorted(networks)
    assert [one.number for one in found.openings] == list(range(1, len(expected) + 1))


@pytest.mark.parametrize(
    ("make", "ports"),
    [
        (shapes.elbow, [(0, 0, 0), (20, 0, 15)]),
        *shared.more(
            (shapes.side_branch, [(0, 0, 0), (0, 0, 40)]),
            (shapes.u_passage, [(-10, 0, 30), (10, 0, 30)]),
            (shapes.torus_bend, [(-10, 0, 0), (10, 0, 0)]),
        ),
        (shapes.tilted_bore, [(-15 * np.tan(np.pi / 6), 0, 0), (15 * np.tan(np.pi / 6), 0, 30)]),
    ],
)
def test_passages_have_their_two_ports_and_none_inside(make, ports):
    found = found_in(make)
    assert {one.network for one in found.openings} == {1}
    assert len(found.openings) == 2
    for one, port in zip(found.openings, ports, strict=True):
        assert one.mouth.centre == pytest.approx(port, abs=0.02)


def test_an_open_lattice_is_not_listed_as_something_else():
    found = find_openings(shapes.level_set(cells=1, points_per_cell=16))
    assert len(found.openings) == 0


def test_names_and_tables_are_ready_to_paste():
    found = found_in(shapes.elbow)
    assert [position(one) for one in found.openings] == ["bottom x0 y0", "right y0 z15"]
    tables = tomllib.loads(toml(found))["passage"]
    assert [table["name"] for table in tables] == ["bottom x0 y0 to right y0 z15"]
    assert tables[0]["inlet"]["normal"] == pytest.approx([0, 0, -1], abs=1e-4)
    assert tables[0]["outlet"]["centre"] == pytest.approx([20, 0, 15], abs=0.01)
    assert tables[0]["min_clear_diameter"] == pytest.approx(5.3)  # 0.9 of 5.997, two digits
    data = as_json(found, "elbow.stl", "0")["openings"]
    keys = "id centre_mm normal diameter_mm clear_diameter_mm exact_diameter_mm area_mm2 network"
    assert set(data[0]) == set(keys.split())
    assert "elbow.stl: 2 openings in 1 connected group" in text(found, "elbow.stl")
    for width in (40, 60, 80, 120):
        lines = text(found, "elbow.stl", width).splitlines()
        assert max(map(len, lines)) <= width
        assert "+x" in " ".join(lines)


def test_a_requirement_is_proposed_from_the_passage_not_from_its_chamfers(tmp_path):
    """P15: a bore of 3 with a chamfer of 6 at each end; the ball that passes is the bore's."""
    solid = shapes.block((-5, -5, 0), (5, 5, 10)) - shapes.bore((0, 0, -1), (0, 0, 11), 1.5)
    for end, way in ((0.0, 1.0), (10.0, -1.0)):
        cone = m3.Manifold.cylinder(3.0, 3.0, 0.0, 48)
        solid -= cone.scale((1, 1, way)).translate((0, 0, end))
    mesh = tmp_path / "chamfered.stl"
    shapes.write_stl(mesh, shapes.soup(solid.rotate((90, 0, 0))))
    found = find_openings(read_part(mesh, "mm").triangles)
    tables = tomllib.loads(toml(found))["passage"]
    assert [table["min_clear_diameter"] for table in tables] == [pytest.approx(5.3, abs=0.11)]
    clear = clear_diameters(mesh, "mm", tables)
    assert 2.9 < clear[0] <= 3.0  # analytic, less what the facets take
    said = toml(found, clear)
    assert 2.6 <= tomllib.loads(said)["passage"][0]["min_clear_diameter"] <= 2.7
    assert "to be edited: 0.9 times the 2.9" in said
    assert clear_diameters(mesh, "mm", tables * (MOST + 1)) == [None] * (MOST + 1)


def test_a_network_of_several_openings_becomes_a_star_and_names_stay_apart():
    found = found_in("crossing bores")
    tables = tomllib.loads(toml(found))["passage"]
    assert len(tables) == 3
    assert len({table["name"] for table in tables}) == 3
    assert len({tuple(table["inlet"]["centre"]) for table in tables}) == 1


def test_openings_without_a_partner_are_a_comment():
    found = found_in("blind")
    assert tomllib.loads(toml(found)) == {}
    assert toml(found).startswith("# opening 1, top x1.5 y1")


def test_stoppers_that_meet_go_to_groups_of_their_own():
    """Two blocks 3 mm apart, and one in the first of them; 12 triangles each."""
    places = ((0, 0, 0), (5, 0, 0), (1, 1, 1))
    stoppers = [shapes.soup(block(at, np.add(at, 2))) for at in places]
    groups = _apart(stoppers)
    assert [len(group) for group in groups] == [24, 12]
    np.testing.assert_array_equal(groups[1], stoppers[2])


def test_mouths_with_a_piece_of_void_in_common_are_one_network():
    found = _networks([{1}, {2}, {1, 3}, {4}, {3, 2}])
    assert len({found[n] for n in (0, 1, 2, 4)}) == 1
    assert len(set(found)) == 2
    assert sorted(set(found)) == [0, 1]
