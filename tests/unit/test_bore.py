"""The drilled hole against mesh booleans and closed forms.

Expected values are analytic (formula beside them) or come from an independent mesh boolean.
"""

import manifold3d as m3
import numpy as np
import pytest
import shapely

from clearance.drilling import bore as bores
from clearance.drilling.bore import Bore
from clearance.geometry.planes import Plane


def as_soup(solid):
    mesh = solid.to_mesh64()
    return np.ascontiguousarray(mesh.vert_properties[:, :3].astype(np.float32)[mesh.tri_verts])


def as_manifold(bore):
    """The hole as a boolean library makes it: the hull of the same corners."""
    return m3.Manifold.hull_points(bores.solid(bore).vertices)


def area(triangles):
    a, b, c = triangles.astype(np.float64).transpose(1, 0, 2)
    return float(np.linalg.norm(np.cross(b - a, c - a), axis=1).sum() / 2)


def flux(triangles):
    """Integral of x . n over a surface: three times the volume if it is closed."""
    a, b, c = triangles.astype(np.float64).transpose(1, 0, 2)
    return float(np.einsum("ij,ij->", (a + b + c) / 3, np.cross(b - a, c - a)) / 2)


def random_bores(count=8):
    rng = np.random.default_rng(3)
    for n in range(count):
        direction = rng.normal(size=3)
        start = rng.uniform(-4, 4, 3) - 6 * direction / np.linalg.norm(direction)
        yield Bore(start, direction, rng.uniform(0.5, 4), rng.uniform(2, 20), (n % 3) * 0.7)


SHAPES = {
    "ball": m3.Manifold.sphere(6.0, 64),
    "cube": m3.Manifold.cube((9, 9, 9), True),
    "tube": m3.Manifold.cylinder(12, 6, circular_segments=80, center=True)
    - m3.Manifold.cylinder(14, 4, circular_segments=80, center=True),
}


@pytest.mark.parametrize("around", [False, True])
@pytest.mark.parametrize("point", [0.0, 0.9])
def test_soup_is_closed_and_lies_on_the_right_side(around, point):
    """Analytic: a prism over a regular polygon and a pyramid; the true hole lies between."""
    bore = Bore((1, 2, 3), (1, -2, 2), 3.0, 10.0, point, around=around)
    triangles = bores.soup(bore)
    edges = np.stack([triangles, np.roll(triangles, -1, axis=1)], axis=2).reshape(-1, 6)
    forward = sorted(map(tuple, edges))
    assert forward == sorted(map(tuple, edges[:, [3, 4, 5, 0, 1, 2]]))
    polygon = 9.0 * (48 * np.tan(np.pi / 48) if around else 24 * np.sin(2 * np.pi / 48))
    assert flux(triangles) / 3 == pytest.approx(polygon * (10.0 + point / 3), rel=1e-5)
    true = np.pi * 9.0 * (10.0 + point / 3)
    assert (flux(triangles) / 3 > true) == around


@pytest.mark.parametrize("around", [False, True])
def test_true_drill_and_polyhedron_contain_each_other(around):
    """Analytic: points just inside and just outside the cylinder and the cone."""
    bore = Bore((0, 0, 0), (0, 0, 1), 2.0, 8.0, 1.2, around=around)
    angle = np.linspace(0, 2 * np.pi, 500)
    along = np.linspace(0.01, 9.19, 40)
    radius = 2.0 * np.minimum(1.0, (9.2 - along) / 1.2)
    scale = 0.99999 if around else 1.00001
    points = np.stack(
        np.broadcast_arrays(
            scale * radius * np.cos(angle)[:, None], scale * radius * np.sin(angle)[:, None], along
        ),
        -1,
    )
    assert bores.inside(bore, points).all() == around
    assert not around or bores.inside(bore, bore.start).all()
    if not around:
        assert not bores.inside(bore, points).any()


@pytest.mark.parametrize("name", SHAPES)
def test_outside_has_the_area_that_a_boolean_leaves(name):
    """Area outside = (area(A - B) + area(A) - area(A and B)) / 2: each face of B counts twice."""
    shape = SHAPES[name]
    for bore in random_bores():
        drill = as_manifold(bore)
        left = bores.outside(as_soup(shape), bore)
        expected = (
            (shape - drill).surface_area() + shape.surface_area() - (shape ^ drill).surface_area()
        ) / 2
        assert area(left) == pytest.approx(expected, rel=1e-5)


@pytest.mark.parametrize("name", SHAPES)
def test_outside_and_clipped_facets_enclose_the_volume_of_the_boolean(name):
    """The part's surface outside the hole, with the hole's faces in the metal, closes again."""
    shape = SHAPES[name]
    for bore in random_bores():
        expected = (shape - as_manifold(bore)).volume()
        total = flux(bores.outside(as_soup(shape), bore))
        for plane, polygon in bores.facets(bore):
            frame = np.column_stack([plane.u, plane.v, plane.normal, plane.origin])
            inverse = np.linalg.inv(np.vstack([frame, [0, 0, 0, 1]]))[:3]
            flat = shape.transform(inverse).slice(0.0)
            metal = shapely.union_all([shapely.Polygon(p) for p in flat.to_polygons()][:0])
            rings = [shapely.Polygon(p) for p in flat.to_polygons()]
            for ring in sorted(rings, key=lambda r: -r.area):
                metal = metal.symmetric_difference(ring)
            total -= metal.intersection(polygon).area * float(plane.normal @ plane.origin)
        assert total / 3 == pytest.approx(expected, rel=1e-4)


def test_untouched_triangles_pass_bit_by_bit():
    shape = as_soup(SHAPES["ball"])
    far = Bore((50, 0, 0), (0, 0, 1), 1.0, 5.0, 0.3)
    assert np.array_equal(bores.outside(shape, far), shape)
    assert len(bores.meeting(shape, far)) == 0
    near = Bore((0, 0, -1), (0, 0, 1), 1.0, 2.0, 0.3)  # inside the ball, touches no triangle
    assert np.array_equal(bores.outside(shape, near), shape)


def test_what_lies_wholly_inside_is_gone():
    small = as_soup(m3.Manifold.sphere(0.5, 16))
    bore = Bore((0, 0, -3), (0, 0, 1), 1.0, 6.0, 0.3)
    assert len(bores.outside(small, bore)) == 0
    assert len(bores.meeting(small, bore)) == len(small)


def test_a_face_in_the_plane_of_the_back_end_stays():
    """Touching is not entering: a triangle in a face of the hole is passed on."""
    flat = np.array([[[-0.1, -0.1, 0], [0.1, -0.1, 0], [0, 0.1, 0]]], np.float32)
    bore = Bore((0, 0, 0), (0, 0, 1), 1.0, 6.0, 0.3)
    assert np.array_equal(bores.outside(flat, bore), flat)
    assert len(bores.outside(flat + np.float32((0, 0, 0.5)), bore)) == 0


@pytest.mark.parametrize("at", [None, 0, 63, 64, 199])
def test_one_of_many_triangles_that_enters_is_enough(at):
    """The one lies in each stretch of those that are asked together, and at its ends."""
    many = np.tile(np.float32([[50, 0, 3], [51, 0, 3], [50, 1, 3]]), (200, 1, 1))
    if at is not None:
        many[at] = [[-0.1, -0.1, 3], [0.1, -0.1, 3], [0, 0.1, 3]]
    bore = Bore((0, 0, 0), (0, 0, 1), 1.0, 6.0, 0.3)
    assert bores.enters(many, bore) == (at is not None)
    assert not bores.enters(many[:0], bore)


def test_a_large_triangle_keeps_all_but_the_disc():
    """Analytic: area less that of the inscribed polygon, r^2 n/2 sin(2 pi / n)."""
    flat = np.array([[[-90, -90, 3], [90, -90, 3], [0, 90, 3]]], np.float32)
    bore = Bore((0, 0, 0), (0, 0, 1), 2.0, 6.0, 0.6)
    left = bores.outside(flat, bore)
    polygon = 4.0 * 24 * np.sin(2 * np.pi / 48)
    assert area(left) == pytest.approx(area(flat) - polygon, rel=1e-6)
    assert not bores.inside(bore, left.mean(axis=1)).any()
    assert bores.meeting(flat, bore).tolist() == [0]


def test_sections():
    """Analytic: across it the polygon, along it a rectangle with the point's triangle."""
    bore = Bore((0, 0, 0), (0, 0, 1), 2.0, 6.0, 0.6)
    polygon = 4.0 * 24 * np.sin(2 * np.pi / 48)
    assert bores.section(bore, Plane.level(3.0)).area == pytest.approx(polygon)
    assert bores.section(bore, Plane.level(0.0)).area == pytest.approx(polygon)
    assert bores.section(bore, Plane.level(6.3)).area == pytest.approx(polygon / 4)
    assert bores.section(bore, Plane.level(7.0)).is_empty
    assert bores.section(bore, Plane.level(6.6)).is_empty  # the tip alone
    through = bores.section(bore, Plane.through((0, 0, 1), (0, 1, 0)))
    assert through.area == pytest.approx(4.0 * 6.0 + 2.0 * 0.6)


def test_section_agrees_with_a_boolean_in_any_plane():
    rng = np.random.default_rng(5)
    for bore in random_bores():
        plane = Plane.through(bore.start + 3 * bore.direction, rng.normal(size=3))
        frame = np.column_stack([plane.u, plane.v, plane.normal, plane.origin])
        inverse = np.linalg.inv(np.vstack([frame, [0, 0, 0, 1]]))[:3]
        expected = as_manifold(bore).transform(inverse).slice(0.0).area()
        assert bores.section(bore, plane).area == pytest.approx(expected, rel=1e-6)


def test_bad_bores_are_refused():
    for wrong in [((0, 0, 0), 1.0, 1.0, 0.1), ((0, 0, 1), 0.0, 1.0, 0.1), ((0, 0, 1), 1.0, 0.0, 0)]:
        with pytest.raises(ValueError, match="a bore needs"):
            Bore((0, 0, 0), *wrong)


def test_empty_soup():
    bore = Bore((0, 0, 0), (0, 0, 1), 2.0, 6.0, 0.6)
    assert bores.outside(np.empty((0, 3, 3), np.float32), bore).shape == (0, 3, 3)
