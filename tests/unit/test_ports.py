"""Mouths of ports: every expected number is analytic unless it says otherwise."""

from __future__ import annotations

import numpy as np
import pytest
from manifold3d import CrossSection, Manifold
from shapely import Polygon

from clearance.errors import PortError
from clearance.geometry.planes import Plane
from clearance.geometry.sight import free_rays, sights, winding_at
from clearance.ports.mouth import Mouth, Request, find_mouths
from clearance.ports.plug import plug

SIDES = 128
UP = np.array([0.0, 0.0, 1.0])
FLAT = np.sqrt(np.sin(2 * np.pi / SIDES) / (2 * np.pi / SIDES))  # polygon to circle, equal area


def find_mouth(triangles, centre, radius, normal=None, name="port"):
    return find_mouths(triangles, [Request(name, centre, radius, normal)])[0]


def soup(shape: Manifold) -> np.ndarray:
    mesh = shape.to_mesh()
    points = np.asarray(mesh.vert_properties[:, :3], dtype=np.float32) + np.float32(0.0)
    return np.ascontiguousarray(points[mesh.tri_verts])


def rod(radius: float, height: float = 200.0, top: float | None = None) -> Manifold:
    return Manifold.cylinder(height, radius, top or radius, SIDES, True)


def lying(radius: float, height: float) -> Manifold:
    return rod(radius, height).rotate([0.0, 90.0, 0.0])


BLOCK = Manifold.cube([60.0, 60.0, 40.0], True)  # faces at z = -20 and 20
DRUM = Manifold.cylinder(60.0, 20.0, 20.0, 256, True).rotate([90.0, 0.0, 0.0])  # along y


def chamfered() -> Manifold:
    return BLOCK - rod(4.0) - rod(4.0, 1.0, 5.0).translate([0.0, 0.0, 19.5])


def filleted() -> Manifold:
    turn = np.linspace(0.0, np.pi / 2, 17)
    arc = [[5.5 - 1.5 * np.cos(t), 18.5 + 1.5 * np.sin(t)] for t in turn]
    flare = CrossSection([[[0.0, 18.5], *arc, [5.5, 21.0], [0.0, 21.0]]]).revolve(SIDES)
    return BLOCK - rod(4.0) - flare


def slanted(degrees: float) -> Manifold:
    return BLOCK - rod(4.0, 300.0).rotate([degrees, 0.0, 0.0]).translate([0.0, 0.0, 20.0])


def slotted() -> Manifold:
    ends = rod(2.0).translate([4.5, 0, 0]) + rod(2.0).translate([-4.5, 0, 0])
    return BLOCK - (Manifold.cube([9.0, 4.0, 200.0], True) + ends)


def bent() -> Manifold:
    """A bore that turns at once: an arc of mean radius 6 begins 3 mm below the mouth."""
    turn = np.linspace(0.0, 2.0 * np.pi, 64, endpoint=False)
    arc = CrossSection([[[6 + 4 * np.cos(t), 4 * np.sin(t)] for t in turn]]).revolve(SIDES, 90)
    first = rod(4.0, 10.0).translate([6.0, 0.0, 22.0])
    second = lying(4.0, 35.0).translate([-17.5, 0.0, 11.0])
    return BLOCK - (arc.rotate([-90, 0, 0]).translate([0, 0, 17]) + first + second)


def mitred() -> Manifold:
    first, second = rod(4.0, 6.0).translate([0, 0, 17]), lying(4.0, 40.0).translate([20, 0, 14])
    return BLOCK - (first + second + Manifold.sphere(4.0, SIDES).translate([0, 0, 14]))


def box_with_thin_wall() -> Manifold:
    hollow = BLOCK - Manifold.cube([56.0, 56.0, 36.0], True)
    return hollow - rod(4.0, 10.0).translate([0.0, 0.0, 20.0])


def thin_pipe() -> Manifold:
    pipe = Manifold.cylinder(60.0, 12.0, 12.0, 256, True)
    pipe = pipe - Manifold.cylinder(70.0, 11.0, 11.0, 256, True)
    return pipe - lying(4.0, 20.0).translate([12.0, 0.0, 0.0])


# shape, place of the mouth, outward, mouth's radius of equal area, height of the closing plane
FORMS = {
    "plain": (BLOCK - rod(4.0), [0, 0, 20], UP, 4.0 * FLAT, 20.0),
    "to the platform": (BLOCK - rod(4.0), [0, 0, -20], -UP, 4.0 * FLAT, 20.0),
    "blind": (BLOCK - rod(4.0, 20.0).translate([3, 2, 15]), [3, 2, 20], UP, 4.0 * FLAT, 20.0),
    "chamfered": (chamfered(), [0, 0, 20], UP, 5.0 * FLAT, 20.0),
    "filleted": (filleted(), [0, 0, 20], UP, 5.5 * FLAT, 20.0),
    "slanted 30": (slanted(30), [0, 0, 20], UP, 4.0 * FLAT / np.sqrt(np.cos(np.pi / 6)), 20.0),
    "slanted 45": (slanted(45), [0, 0, 20], UP, 4.0 * FLAT / np.sqrt(np.cos(np.pi / 4)), 20.0),
    "slanted 60": (slanted(60), [0, 0, 20], UP, 4.0 * FLAT / np.sqrt(np.cos(np.pi / 3)), 20.0),
    # on a curved face the last closed plane lies where the rim is lowest
    "on a drum": (DRUM - rod(4, 50).translate([0, 0, 20]), [0, 0, 20], UP, 4 * FLAT, 384**0.5),
    "counterbored": (
        BLOCK - rod(4.0) - rod(5.5, 6.0).translate([0, 0, 20]),
        [0, 0, 17],
        UP,
        5.5 * FLAT,
        20.0,
    ),
    "slot": (slotted(), [0, 0, 20], UP, np.sqrt(36 / np.pi + 4.0 * FLAT**2), 20.0),
    "bent": (bent(), [6, 0, 20], UP, 4.0 * FLAT, 20.0),
    "mitred": (mitred(), [0, 0, 20], UP, 4.0 * FLAT, 20.0),
    "thin wall": (box_with_thin_wall(), [0, 0, 20], UP, 4.0 * FLAT, 20.0),
    "thin pipe": (thin_pipe(), [12, 0, 0], np.eye(3)[0], 4.0 * FLAT, 128**0.5),
}
MESHES = {name: soup(form[0]) for name, form in FORMS.items()}


@pytest.mark.parametrize("size", [0.8, 1.0, 1.2])
@pytest.mark.parametrize("off", [-1.9, -1.0, 0.0, 1.0, 2.0])
@pytest.mark.parametrize("form", FORMS)
def test_mouth_is_found_from_a_rough_disc(form: str, off: float, size: float) -> None:
    _, place, outward, radius, height = FORMS[form]
    if form == "counterbored":
        off = max(
            min(off, 1.0) + 1.0, 0.0
        )  # the disc names the bore: within the counterbore, mostly
        if off > 0.0 and size < 1.0:
            pytest.skip("radius below 0.7 of the counterbore's, and its floor too far away")
    given = size * {"slot": radius}.get(form, 4.0)
    mouth = find_mouth(MESHES[form], np.asarray(place) + off * outward, given, name="p")
    assert mouth.plane.normal == pytest.approx(outward, abs=0.03)
    assert mouth.centre @ outward == pytest.approx(height, abs=0.01)
    assert mouth.centre @ outward < height
    # The step back of 2e-3 mm costs most where a fillet runs out into the face.
    assert mouth.radius == pytest.approx(radius, rel=0.012)
    assert mouth.plane.signed(np.stack([mouth.centre, mouth.deepest])) == pytest.approx([0, 0])
    assert mouth.notices == ()


def test_inscribed_circle_and_polygon() -> None:
    round_one = find_mouth(MESHES["plain"], [0, 0, 20.5], 4.0, name="p")
    assert round_one.inscribed_radius == pytest.approx(4.0, rel=2e-3)
    assert round_one.polygon.is_valid
    assert round_one.polygon.area == pytest.approx(np.pi * round_one.radius**2)
    slot = find_mouth(MESHES["slot"], [0, 0, 20], 3.9)
    assert slot.inscribed_radius == pytest.approx(2.0, rel=5e-3)
    assert slot.polygon.area == pytest.approx(36 + 4 * np.pi * FLAT**2, rel=1e-4)


def test_a_pin_in_the_mouth_is_an_island() -> None:
    shape = BLOCK - (rod(5.0, 30.0) - rod(1.5, 40.0)).translate([0.0, 0.0, 10.0])
    mouth = find_mouth(soup(shape), [0.0, 0.0, 20.5], 4.8)
    assert len(mouth.polygon.interiors) == 1
    assert mouth.polygon.area == pytest.approx(np.pi * (25 - 2.25) * FLAT**2, rel=1e-4)
    assert mouth.inscribed_radius == pytest.approx(1.75, rel=1e-2)
    assert mouth.polygon.contains(Polygon(mouth.polygon.exterior).centroid) is False


def test_wide_recess_is_named_and_the_mouth_lies_at_its_floor() -> None:
    shape = BLOCK - rod(4.0) - rod(8.0, 6.0).translate([0.0, 0.0, 20.0])
    mouth = find_mouth(soup(shape), [0.0, 0.0, 17.0], 4.0, name="feed")
    assert mouth.centre[2] == pytest.approx(17.0, abs=0.01)
    assert len(mouth.notices) == 1
    assert mouth.notices[0].startswith("feed: the opening leads into a wider recess of radius 8")


@pytest.mark.parametrize("normal", [None, [0.5, 0.0, 0.75**0.5], [0.0, 0.0, 1.0]])
@pytest.mark.parametrize("off", [0.0, 2.0, -2.0])
def test_slanted_bore_in_a_drum_loses_little(off: float, normal: list[float] | None) -> None:
    along = np.array([0.5, 0.0, 0.75**0.5])
    shape = DRUM - rod(4.0, 100.0).rotate([0.0, 30.0, 0.0]).translate([0.0, 0.0, 20.0])
    mouth = find_mouth(soup(shape), [0, 0, 20] + off * along, 4.0, normal)
    # Closed up to where the level section touches the rim at its lowest side, x = x(z); a plane
    # that leans a little may win a little more.
    level = 20.0
    for _ in range(50):
        lowest = -4.0 / along[2] + (level - 20.0) * along[0] / along[2]
        level = (400.0 - lowest**2) ** 0.5
    closed = 20.0 * along[2] + (level - 20.0) / along[2]
    assert closed - 0.02 < mouth.centre @ along < closed + 0.12
    assert mouth.plane.normal[2] > 0.99


def test_any_turn_of_the_part() -> None:
    shape = (BLOCK - rod(4.0)).rotate([20.0, 35.0, 10.0])
    turned = Manifold.cube([1.0, 1.0, 1.0]).rotate([20.0, 35.0, 10.0])
    outward = np.array([0, 0, 1.0]) @ np.array(
        [
            Manifold.sphere(1e-6).translate(list(e)).rotate([20.0, 35.0, 10.0]).bounding_box()[:3]
            for e in np.eye(3)
        ]
    )
    assert turned.volume() == pytest.approx(1.0)
    mouth = find_mouth(soup(shape), 21.0 * outward, 4.0)
    assert mouth.plane.normal == pytest.approx(outward, abs=1e-5)
    assert mouth.centre @ outward == pytest.approx(20.0, abs=0.01)


def test_several_ports_in_one_pass() -> None:
    shape = BLOCK - lying(3.0, 100.0)
    for x in (-10.0, 0.0, 10.0):
        shape = shape - rod(4.0).translate([x, 0.0, 0.0])
    asked = [Request(f"p{x:g}", [x, 0.3, 20.0], 4.0) for x in (-10.0, 0.0, 10.0)]
    asked += [Request("side", [-30, 0, 0], 3.0), Request("low", [0, 0, -20], 4.0, [0, 0, -2.0])]
    mouths = find_mouths(soup(shape), asked)
    assert [mouth.name for mouth in mouths] == ["p-10", "p0", "p10", "side", "low"]
    assert [mouth.centre[0] for mouth in mouths[:3]] == pytest.approx([-10, 0, 10], abs=1e-5)
    assert mouths[3].plane.normal == pytest.approx([-1, 0, 0], abs=1e-6)
    assert mouths[4].plane.normal == pytest.approx([0, 0, -1], abs=1e-6)
    assert find_mouths(soup(shape), []) == []


def test_normal_says_which_side_of_a_thin_plate() -> None:
    plate = soup(Manifold.cube([40.0, 40.0, 2.0], True) - rod(4.0))
    for side in (1.0, -1.0):
        mouth = find_mouth(plate, [0.0, 0.0, 0.0], 4.0, [0.0, 0.0, side])
        assert mouth.plane.normal[2] * side == pytest.approx(1.0)
        assert mouth.centre[2] * side == pytest.approx(1.0, abs=0.01)
        nearest = find_mouth(plate, [0.0, 0.0, 0.7 * side], 4.0)
        assert nearest.plane.normal[2] * side == pytest.approx(1.0)


@pytest.mark.parametrize("along", [[-0.5, 0.0, 0.0], [3.0, 0.0, 0.5]])
def test_a_normal_may_be_given_either_way_round(along: list[float]) -> None:
    bored = soup(Manifold.cube([40.0, 40.0, 40.0], True) - rod(4.0).rotate([0, 90, 0]))
    for end in (-20.0, 20.0):
        there, back = (
            find_mouth(bored, [end, 0.0, 0.0], 4.0, [sign * a for a in along]) for sign in (1, -1)
        )
        assert there.centre[0] * np.sign(end) == pytest.approx(20.0, abs=0.01)
        assert back.centre == pytest.approx(there.centre, abs=1e-3)
        assert back.plane.normal[0] * end > 0.0


def test_overlapping_shells() -> None:
    outer = soup(Manifold.cube([40.0, 40.0, 40.0], True) - rod(5.0))
    pipe = soup(rod(6.0, 40.0) - rod(4.0))
    mouth = find_mouth(np.concatenate([outer, pipe]), [0.0, 0.0, 20.5], 4.0)
    assert mouth.radius == pytest.approx(4.0 * FLAT, rel=1e-4)
    assert mouth.centre[2] == pytest.approx(20.0, abs=0.01)
    # A rib of another shell across part of the mouth: the void is the larger segment.
    rib = soup(Manifold.cube([20.0, 20.0, 40.0], True).translate([12.0, 0.0, 0.0]))
    mouth = find_mouth(np.concatenate([outer, rib]), [-0.5, 0.0, 20.2], 4.2)
    turn = np.arccos(2.0 / 5.0)
    segment = 25.0 * (np.pi - turn + 0.5 * np.sin(2.0 * turn))
    assert mouth.polygon.area == pytest.approx(segment, rel=5e-3)


@pytest.mark.parametrize(
    ("centre", "radius", "said"),
    [
        ([100, 0, 0], 4.0, "far away"),
        ([12, 0, 19], 2.0, "solid metal"),
        ([20, 20, 0], 0.5, "solid metal, far from any surface"),
        ([0, 0, 20], 1.5, "openings near: radius 4 mm at (0, 0, "),
        ([0, 0, 20], 9.0, "openings near: radius 4 mm at (0, 0, "),
        ([0, 0, 0], 4.0, "does not come out of the part within 2 mm"),
        ([8, 0, 20], 4.0, "openings near: radius 4 mm at (0, 0, "),
        ([12, 0, 30], 4.0, "no closed outline"),
    ],
)
def test_what_is_wrong_with_a_port_is_said(centre: list[float], radius: float, said: str) -> None:
    with pytest.raises(PortError) as caught:
        find_mouth(MESHES["plain"], centre, radius, name="circuit-1 inlet")
    text = str(caught.value)
    assert text.startswith("circuit-1 inlet: no opening of radius ")
    assert said in text


def test_a_covered_bore_is_no_port() -> None:
    lid = soup(Manifold.cube([12.0, 12.0, 4.0], True).translate([0.0, 0.0, 19.0]))
    with pytest.raises(PortError, match=r"^p: no opening"):
        find_mouth(np.concatenate([MESHES["plain"], lid]), [0.0, 0.0, 20.0], 4.0, name="p")


@pytest.mark.parametrize("form", ["plain", "slot", "slanted 45", "thin pipe", "to the platform"])
def test_plug_is_a_closed_prism_over_the_mouth(form: str) -> None:
    _, place, _, radius, _ = FORMS[form]
    mouth = find_mouth(MESHES[form], place, radius)
    check_plug(mouth, 0.3, 2.0)


def check_plug(mouth: Mouth, grow: float, depth: float) -> None:
    prism = plug(mouth, grow, depth)
    assert prism.dtype == np.float32
    edges = np.stack([prism, np.roll(prism, -1, axis=1)], axis=2).reshape(-1, 2, 3)
    ways = [tuple(edge.ravel().tolist()) for edge in edges]
    back = {tuple(edge[::-1].ravel().tolist()) for edge in edges}
    assert len(set(ways)) == len(ways)
    assert set(ways) == back
    t = prism.astype(np.float64) - mouth.centre
    volume = np.einsum("ij,ij->", t[:, 0], np.cross(t[:, 1], t[:, 2])) / 6.0
    height = mouth.plane.signed(prism.reshape(-1, 3))
    assert height.min() == pytest.approx(0.0, abs=1e-5)
    assert height.max() == pytest.approx(depth, abs=1e-5)
    outer = Polygon(mouth.polygon.exterior)
    wanted = outer.buffer(grow, quad_segs=64)
    assert volume == pytest.approx(depth * wanted.area, rel=0.05)
    foot = mouth.plane.to_plane(
        prism[height.reshape(-1, 3).max(axis=1) < 0.1 * depth].reshape(-1, 3)
    )
    assert Polygon(foot).convex_hull.buffer(1e-4).contains(outer.buffer(0.5 * grow))


def test_plug_covers_islands_and_hollows() -> None:
    star = [[5 * np.cos(t), 3 * np.sin(t) + np.cos(t) ** 2] for t in np.linspace(0, 6.2, 90)]
    hole = [[0.5, 0.2], [0.0, 0.6], [-0.4, 0.3]]
    polygon = Polygon(star, [hole])
    plane = Plane.through([3.0, 4.0, 5.0], [1.0, 1.0, 0.2])
    centre = plane.to_space([[0.0, 0.0]])[0]
    mouth = Mouth("p", plane, polygon, centre, 3.9, plane.origin, 3.0, plane.normal, plane.origin)
    check_plug(mouth, 0.2, 1.0)


def test_sight_of_points() -> None:
    box = soup(Manifold.cube([10.0] * 3, True) - Manifold.cube([6.0] * 3, True))
    points = np.array([[0.1, 0.2, 0.3], [4.0, 0.2, 0.3], [9.0, 0.2, 0.3], [0.0, 0.0, 0.0]])
    assert winding_at(box, points).tolist() == [0, 1, 0, 0]
    assert sights(box, points).sum(axis=1).tolist() == [0, 0, 5, 0]
    rays = np.concatenate([np.eye(3), -np.eye(3)])
    assert free_rays(box, points[0], rays, 100.0) == 0
    assert free_rays(box, points[0], rays, 2.5) == 6
    assert free_rays(box, points[2], rays, 100.0) == 5
