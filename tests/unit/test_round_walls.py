"""Chord error: analytic, sagitta r (1 - cos(pi / n)) of a circle of n chords (REFERENCES.md 5)."""

import sys
from pathlib import Path

import manifold3d as m3
import numpy as np
import pytest

sys.path.insert(0, str(Path(__file__).parent.parent))

import shapes

from clearance.round_walls import chord_error, hollow_axes


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
