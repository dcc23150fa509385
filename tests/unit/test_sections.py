"""Plane sections: every area below is analytic unless it says otherwise."""

from __future__ import annotations

import numpy as np
import pytest
import trimesh
from manifold3d import CrossSection, Manifold

from clearance.geometry.cutting import crossed, cut
from clearance.geometry.planes import Plane
from clearance.geometry.sections import chain, loops, metal, polygons, signed_area, winding

SIDES = 128


def soup(shape: Manifold) -> np.ndarray:
    mesh = shape.to_mesh()
    points = np.asarray(mesh.vert_properties[:, :3], dtype=np.float32) + np.float32(0.0)
    return np.ascontiguousarray(points[mesh.tri_verts])


def rod(radius: float, height: float = 40.0) -> Manifold:
    return Manifold.cylinder(height, radius, radius, SIDES, True)


def polygon_area(radius: float, sides: int = SIDES) -> float:
    """Area of a regular polygon inscribed in a circle."""
    return 0.5 * sides * radius**2 * np.sin(2 * np.pi / sides)


def gyroid(edge: float = 0.5) -> np.ndarray:
    def value(x: float, y: float, z: float) -> float:
        return float(np.sin(x) * np.cos(y) + np.sin(y) * np.cos(z) + np.sin(z) * np.cos(x))

    return soup(Manifold.level_set(value, [-7.0, -7.0, -7.0, 7.0, 7.0, 7.0], edge))


@pytest.mark.parametrize("normal", [(0, 0, 1), (0, 1, 0), (1, 2, 3), (0, 0, -1), (0.1, -5, 0)])
def test_plane_axes_are_right_handed_and_invert(normal: tuple[float, ...]) -> None:
    plane = Plane.through([1.0, 2.0, 3.0], normal)
    assert np.allclose(np.cross(plane.u, plane.v), plane.normal, atol=1e-15)
    assert np.allclose(np.linalg.norm([plane.u, plane.v, plane.normal], axis=1), 1.0)
    flat = np.array([[0.3, -4.0], [7.0, 1.0]])
    space = plane.to_space(flat)
    assert np.allclose(plane.to_plane(space), flat)
    assert np.allclose(plane.signed(space), 0.0, atol=1e-14)
    assert plane.signed(space + 2.0 * plane.normal) == pytest.approx([2.0, 2.0])


def test_level_plane_keeps_x_and_y() -> None:
    plane = Plane.level(4.0)
    assert np.array_equal(plane.to_plane([[1.0, 2.0, 9.0]]), [[1.0, 2.0]])
    assert np.array_equal(plane.to_space([[1.0, 2.0]]), [[1.0, 2.0, 4.0]])
    same = Plane.through([0, 0, 4.0], [0, 0, 2.0])
    assert np.array_equal(same.u, plane.u)
    assert np.array_equal(same.v, plane.v)


def test_a_normal_without_length_is_refused() -> None:
    with pytest.raises(ValueError, match="length above zero"):
        Plane.through([0, 0, 0], [0, 0, 0])


@pytest.mark.parametrize("tilt", [0.0, 17.0, 45.0, 70.0])
def test_tilted_plane_cuts_a_rod_in_an_ellipse(tilt: float) -> None:
    t = np.radians(tilt)
    plane = Plane.through([0.1, -0.2, 0.3], [np.sin(t), 0.0, np.cos(t)])
    area = metal(soup(rod(3.0)), plane).area
    assert area * np.cos(t) == pytest.approx(polygon_area(3.0), rel=1e-7)


def test_block_with_bores_matches_closed_form_and_a_library() -> None:
    block = Manifold.cube([30.0, 20.0, 10.0], True)
    for x in (-9.0, 0.0, 9.0):
        block = block - rod(3.0).translate([x, 0.0, 0.0])
    triangles = soup(block)
    plane = Plane.level(1.0)
    found = metal(triangles, plane)
    assert found.area == pytest.approx(600.0 - 3 * polygon_area(3.0), rel=1e-7)
    assert [len(part.interiors) for part in found.geoms] == [3]
    mesh = trimesh.Trimesh(triangles.reshape(-1, 3), np.arange(3 * len(triangles)).reshape(-1, 3))
    mesh.merge_vertices()
    section = mesh.section(plane_origin=plane.origin, plane_normal=plane.normal)
    assert found.length == pytest.approx(section.length, rel=1e-6)


def test_outline_keeps_metal_on_its_left() -> None:
    tube = soup(rod(5.0) - rod(3.0))
    for plane in (Plane.level(0.5), Plane.through([0, 0, 0.5], [0.1, 0.2, -1.0])):
        found = loops(tube, plane)
        areas = sorted(signed_area(loop) for loop in found.closed)
        assert len(areas) == 2
        assert areas[0] < 0 < areas[1]
        assert found.open == []


def test_nested_and_overlapping_shells_count_once() -> None:
    big, small = soup(Manifold.cube([10.0] * 3, True)), soup(Manifold.cube([4.0] * 3, True))
    beside = small + np.float32(5.0)
    plane = Plane.level(1.0)
    assert metal(np.concatenate([big, small]), plane).area == pytest.approx(100.0)
    assert metal(np.concatenate([big, small[:, ::-1]]), plane).area == pytest.approx(84.0)
    at = Plane.level(4.0)  # the second cube spans 3..7 in each direction: 2 x 2 in common
    assert metal(np.concatenate([big, beside]), at).area == pytest.approx(112.0)
    # A cavity with a loose core in it.
    core = soup(Manifold.cube([2.0, 2.0, 4.0], True))
    nest = np.concatenate([big, small[:, ::-1], core])
    assert metal(nest, plane).area == pytest.approx(88.0)
    assert metal(nest, plane, overlapping=True).area == pytest.approx(88.0)


def test_touching_shells() -> None:
    left = soup(Manifold.cube([5.0, 5.0, 5.0]))
    face = np.concatenate([left, left + np.float32([5.0, 0.0, 0.0])])
    corner = np.concatenate([left, left + np.float32([5.0, 5.0, 0.0])])
    for triangles in (face, corner):
        found = metal(triangles, Plane.level(2.0))
        assert found.is_valid
        assert found.area == pytest.approx(50.0)
    twice = np.concatenate([left, left])  # every mesh edge is shared by four triangles
    assert metal(twice, Plane.level(2.0)).area == pytest.approx(25.0)


def test_a_vertex_on_the_plane_counts_as_above() -> None:
    cube = soup(Manifold.cube([2.0, 2.0, 2.0]))
    assert metal(cube, Plane.level(2.0)).area == pytest.approx(4.0)
    assert metal(cube, Plane.level(0.0)).is_empty
    ball = soup(Manifold.sphere(3.0, 64))  # has vertices exactly at its equator
    below = metal(ball, Plane.level(np.nextafter(0.0, -1.0)))
    assert metal(ball, Plane.level(0.0)).area == pytest.approx(below.area, rel=1e-12)


def test_height_between_two_single_precision_numbers() -> None:
    low = soup(Manifold.cube([1.0, 1.0, 1.0]).translate([0.0, 0.0, 1.0]))
    assert metal(low, Plane.level(1.0 + 1e-12)).area == pytest.approx(1.0)
    assert metal(low, Plane.level(1.0)).is_empty


def test_neighbours_share_cut_points_bit_by_bit() -> None:
    triangles = gyroid()
    for plane in (Plane.level(0.123), Plane.through([0.1, 0.2, 0.3], [3.0, -2.0, 1.0])):
        pieces = cut(triangles, plane)
        by_start, by_end = np.argsort(pieces.keys[:, 0]), np.argsort(pieces.keys[:, 1])
        assert np.array_equal(pieces.keys[by_start, 0], pieces.keys[by_end, 1])
        assert np.array_equal(pieces.points[by_start, 0], pieces.points[by_end, 1])
        assert np.unique(pieces.keys).size == len(pieces.keys)


def test_gyroid_sections_agree_both_ways_and_with_volume() -> None:
    triangles = gyroid()
    heights = np.linspace(-6.99, 6.99, 141)
    areas = []
    for k, z in enumerate(heights):
        found = metal(triangles, Plane.level(float(z)))
        assert found.is_valid
        areas.append(found.area)
        if k % 20 == 0:
            noded = metal(triangles, Plane.level(float(z)), overlapping=True)
            assert noded.area == pytest.approx(found.area, rel=1e-9)
    t = triangles.astype(np.float64)
    volume = np.einsum("ij,ij->i", t[:, 0], np.cross(t[:, 1], t[:, 2])).sum() / 6.0
    assert np.trapezoid(areas, heights) == pytest.approx(volume, rel=2e-3)


def test_window_keeps_whole_loops() -> None:
    block = Manifold.cube([30.0, 20.0, 10.0], True)
    block = block - rod(3.0).translate([-9.0, 0, 0]) - rod(2.0).translate([9.0, 0, 0])
    triangles = soup(block)
    found = loops(triangles, Plane.level(0.0), window=(8.0, -1.0, 10.0, 1.0))
    areas = sorted(signed_area(loop) for loop in found.closed)
    assert areas == pytest.approx([-polygon_area(2.0), 600.0], rel=1e-6)
    assert metal(triangles, Plane.level(0.0), (50.0, 50.0, 60.0, 60.0)).is_empty


def test_open_chains_are_kept_apart() -> None:
    triangles = soup(rod(3.0))
    half = triangles[triangles[:, :, 0].min(axis=1) >= 0.0]
    found = loops(half, Plane.level(0.5))
    assert found.closed == []
    assert len(found.open) == 1
    assert found.open[0][0] == pytest.approx([0.0, -3.0], abs=1e-6)
    assert found.open[0][-1] == pytest.approx([0.0, 3.0], abs=1e-6)
    with pytest.raises(ValueError, match="1 open outlines"):
        metal(half, Plane.level(0.5))


def test_crossed_gives_the_same_sections_in_one_pass() -> None:
    triangles = gyroid()
    heights = [3.0, -6.9, 0.25, 80.0, 0.25]
    found = crossed(triangles, heights)
    for z, near in zip(heights, found, strict=True):
        plane = Plane.level(z)
        assert np.array_equal(near, cut(triangles, plane).triangle)
        assert metal(triangles[near], plane).equals(metal(triangles, plane))
    assert crossed(triangles, []) == []


def test_order_of_triangles_and_negative_zero_do_not_matter() -> None:
    triangles = soup(Manifold.cube([4.0, 4.0, 4.0], True) - rod(1.0))
    plane = Plane.through([0, 0, 0.3], [0.2, 0.0, 1.0])
    expected = metal(triangles, plane).area
    order = np.random.default_rng(5).permutation(len(triangles))
    mixed = triangles[order]
    mixed[::2][mixed[::2] == 0.0] = -0.0
    assert not chain(cut(mixed, plane)).open
    assert metal(mixed, plane).area == pytest.approx(expected, rel=1e-12)


def test_nothing_there() -> None:
    assert metal(soup(rod(1.0)), Plane.level(99.0)).is_empty
    assert metal(np.empty((0, 3, 3), np.float32), Plane.level(0.0)).is_empty
    assert polygons([]).is_empty


def test_winding_of_loops_round_points() -> None:
    square = np.array([[0.0, 0], [4, 0], [4, 4], [0, 4]])
    closed = [square, 0.5 * square[::-1] + 1.0, 0.5 * square]
    points = [[0.5, 0.5], [2.5, 2.5], [3.5, 3.5], [9.0, 2.0], [1.5, 1.5]]
    assert winding(closed, points).tolist() == [2, 0, 1, 0, 1]
    assert winding([], points).tolist() == [0] * 5


def test_figure_of_eight_and_slivers() -> None:
    eight = np.array([[0.0, 0], [2, 2], [2, 0], [0, 2]])  # one half winds +1, the other -1
    assert polygons([eight]).area == pytest.approx(1.0)
    needle = np.array([[0.0, 0.0], [10.0, 0.0], [5.0, 1e-9]])
    assert polygons([needle]).area == pytest.approx(5e-9, rel=1e-3)
    spike = np.array([[0.0, 0], [4, 0], [4, 2], [6, 2], [4, 2], [4, 4], [0, 4]])
    found = polygons([spike])
    assert found.is_valid
    assert found.area == pytest.approx(16.0)


def test_extruded_star_with_a_cavity() -> None:
    star = CrossSection([[[0, 0], [9, 1], [4, 3], [8, 8], [3, 4], [1, 9]]])
    shape = star.extrude(10.0) - Manifold.sphere(1.0, 64).translate([3.0, 3.0, 5.0])
    found = metal(soup(shape), Plane.level(5.0 + 1e-5))
    assert found.area == pytest.approx(star.area() - polygon_area(1.0, 64), rel=1e-5)
