"""Chord error: analytic, sagitta r (1 - cos(pi / n)) of a circle of n chords (REFERENCES.md 5)."""

import manifold3d as m3
import numpy as np
import pytest
import shapes

from clearance.geometry.chord_error import chord_error, hollow_axes


def sagitta(radius, chords):
    return radius * (1.0 - np.cos(np.pi / chords))


@pytest.mark.parametrize("chords", [8, 12, 16, 24, 32, 48, 64, 128])
def test_polygonal_bores(chords):
    found = chord_error(shapes.straight_bore(3.0, segments=chords))
    assert found.edges == chords
    for value in (found.max_mm, found.p99_mm, found.hollow_max_mm):
        assert value == pytest.approx(sagitta(3.0, chords), rel=1e-4)
    # published: the table of clear-diameter ratios is cos(pi / n) = 1 - 2 sagitta / D
    assert 1.0 - 2.0 * found.hollow_max_mm / 6.0 == pytest.approx(np.cos(np.pi / chords), rel=1e-5)


def test_outer_walls_take_nothing_off_a_bore():
    found = chord_error(shapes.soup(shapes.rounded_block((30, 20), 3.0, 0, 10, 64)))
    assert found.max_mm == pytest.approx(sagitta(3.0, 64), rel=1e-3)
    assert found.hollow_max_mm == 0.0


def test_the_coarser_of_two_bores_counts():
    solid = shapes.block((-20, -10, 0), (20, 10, 10))
    solid -= shapes.bore((-10, 0, -1), (-10, 0, 11), 4.0, segments=24)
    solid -= shapes.bore((10, 0, -1), (10, 0, 11), 4.0, segments=96)
    found = chord_error(shapes.soup(solid))
    assert found.max_mm == pytest.approx(sagitta(4.0, 24), rel=1e-4)
    assert found.at_mm[0] < 0.0


@pytest.mark.parametrize("turn", [(0, 0, 20), (35, 0, 0), (20, 50, 10)])
def test_turned_bores(turn):
    solid = shapes.manifold(shapes.straight_bore(3.0, segments=32)).rotate(turn)
    assert chord_error(shapes.soup(solid)).max_mm == pytest.approx(sagitta(3.0, 32), rel=1e-3)


def test_bends_err_about_as_much_as_their_rings_and_steps():
    found = chord_error(shapes.torus_bend(3.0, 10.0, 96, 2.0))
    # analytic: the outer side of the bend has radius 13 in steps of 2 degrees
    assert found.max_mm == pytest.approx(sagitta(13.0, 180), rel=0.02)


@pytest.mark.parametrize(
    "solid",
    [
        m3.Manifold.cube((10, 20, 30)),
        # chamfers of 1 mm all round: small angles, but of unlike width
        m3.Manifold.hull(
            shapes.block((0, 0, 1), (20, 20, 9)) + shapes.block((1, 1, 0), (19, 19, 10))
        ),
        m3.Manifold.tetrahedron().scale((20, 20, 20)),
    ],
)
def test_flat_faces_have_none(solid):
    found = chord_error(shapes.soup(solid))
    assert (found.max_mm, found.p99_mm, found.edges) == (0.0, 0.0, 0)
    assert np.isnan(found.at_mm).all()


def test_error_falls_with_the_square_of_the_facets():
    errors = [chord_error(shapes.level_set(points_per_cell=n)).p99_mm for n in (12, 24)]
    assert errors[1] < 0.4 * errors[0]


def test_nothing_and_open_meshes_do_not_fail():
    assert chord_error(np.empty((0, 3, 3), np.float32)).edges == 0
    mesh = shapes.straight_bore(3.0, segments=48)
    assert chord_error(mesh[: len(mesh) // 2]).max_mm <= sagitta(3.0, 48) * 1.001


def test_axes_of_bores():
    axis = np.array([3.0, -2.0, 6.0]) / 7.0
    solid = shapes.block((-20, -20, -10), (20, 20, 10))
    solid -= shapes.bore(-40 * axis, 40 * axis, 3.0, segments=48)
    found = hollow_axes(shapes.soup(solid))
    assert np.abs(found @ axis).max() > 0.9999
    assert len(hollow_axes(shapes.soup(m3.Manifold.cube((1, 1, 1))))) == 0


# ---- edges of the drawing that are no facets -----------------------------------------------------


def turned_part(profile, segments=96):
    """Body of revolution about z of (radius, height) pairs."""
    return m3.Manifold.revolve(m3.CrossSection([profile]), segments)


def countersunk(depth, segments=64):
    solid = shapes.block((-10, -10, 0), (10, 10, 6))
    solid -= shapes.bore((0, 0, -1), (0, 0, 7), 3.0, segments=segments)
    solid -= m3.Manifold.cylinder(depth, 3.0, 3.0 + depth, segments).translate((0, 0, 6 - depth))
    return solid - m3.Manifold.cylinder(depth, 3.0 + depth, 3.0, segments)


def crossing(angle_deg, radius=3.0, other=3.0, segments=64):
    """Two bores whose axes meet at an angle."""
    lean = np.radians(angle_deg)
    along = 30.0 * np.array([0.0, np.sin(lean), np.cos(lean)])
    solid = shapes.block((-10, -14, -14), (10, 14, 14))
    solid -= shapes.bore((0, 0, -20), (0, 0, 20), radius, segments=segments)
    return solid - shapes.bore(-along, along, other, segments=segments)


def chambered(cone, segments=64):
    """Bore of 4 through a chamber of 16 with cones above and below, all of like length."""
    outer = [(0, 0), (14, 0), (14, 40), (0, 40)]
    inner = [(0, -1), (2, -1), (2, 10), (8, 10 + cone), (8, 30 - cone), (2, 30), (2, 41), (0, 41)]
    return turned_part(outer, segments) - turned_part(inner, segments)


EDGES = {
    # cylinder 7 long to a cone as long: sagitta 3.5 were it round
    "cylinder and cone": (
        turned_part([(0, 0), (8, 0), (8, 10), (4, 19), (0, 19)]), sagitta(8.0, 96)
    ),
    "barrel of cones": (
        turned_part([(0, 0), (5, 0), (9, 8), (11, 16), (9, 24), (5, 32), (0, 32)]),
        sagitta(11.0, 96),
    ),
    "countersinks of both ends": (countersunk(2.0), sagitta(5.0, 64)),
    "countersinks of the bore's own length": (countersunk(1.8), sagitta(4.8, 64)),
    **{
        f"bores crossing at {angle}": (crossing(angle), sagitta(3.0, 64))
        for angle in (20, 35, 60, 90)
    },
    "bore into a wider one": (crossing(45, 3.0, 5.0), sagitta(5.0, 64)),
    "chamber, steep roof": (chambered(6.0), sagitta(14.0, 64)),
    "chamber, flat roof": (chambered(2.0), sagitta(14.0, 64)),
    "chamber of eight sides": (
        turned_part([(0, 0), (14, 0), (14, 30), (0, 30)])
        - turned_part([(0, 5), (4, 5), (9.7, 10.7), (9.7, 18.7), (4, 24.4), (0, 24.4)]),
        sagitta(14.0, 96),
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", EDGES)
@pytest.mark.parametrize("turn", [(0, 0, 0), (180, 0, 0), (35, 50, 10)])
def test_a_drawn_edge_is_no_facet(name, turn):
    """Analytic: the chord error of the widest round wall, which is the largest that counts."""
    solid, most = EDGES[name]
    found = chord_error(shapes.soup(solid.rotate(turn)))
    assert found.edges > 0
    assert found.max_mm <= 1.05 * most
    assert found.hollow_max_mm <= 1.05 * most


@pytest.mark.parametrize("segments", [10, 16, 24])
@pytest.mark.parametrize("angle", [35, 90])
def test_coarse_bores_that_meet_are_still_told(segments, angle):
    found = chord_error(shapes.soup(crossing(angle, 3.0, 3.0, segments)))
    assert found.hollow_max_mm == pytest.approx(sagitta(3.0, segments), rel=0.02)


@pytest.mark.parametrize("segments", [12, 24])
def test_coarse_countersunk_bores_are_still_told(segments):
    found = chord_error(shapes.soup(countersunk(1.0, segments)))
    assert found.hollow_max_mm >= 0.98 * sagitta(3.0, segments)
    assert found.hollow_max_mm <= 1.02 * sagitta(4.0, segments)


def test_coarse_steps_of_a_fine_tube_are_not_told_and_said():
    """Rings 30 degrees apart of 96 facets: a bend in coarse steps, or drawn so."""
    found = chord_error(shapes.torus_bend(3.0, 10.0, 96, 30.0))
    assert found.max_mm <= 1.3 * sagitta(3.0, 96)
    assert found.untold > 0
    assert 6.5 <= np.hypot(*found.untold_at_mm[[0, 2]]) <= 13.5
    assert chord_error(shapes.straight_bore(3.0, segments=12)).untold == 0
