"""A `mesh_tolerance` is proposed only where facets alone stand in the way. Expected: analytic."""

import make
import manifold3d as m3
import numpy as np
import pytest
import shapes


def proposed(tmp_path, solid, need, turned=False, height=20.0, pitch=0.3):
    if turned:
        solid = solid.mirror((0, 0, 1)).translate((0, 0, height))
    passage = make.passage((0, 0, 0), (0, 0, height), 3.0, need)
    found = make.first(tmp_path, solid, passage, pitch=pitch)
    return "mesh_tolerance" in " ".join(found.reasons)


def bored(*holes):
    solid = shapes.block((-8, -8, 0), (8, 8, 20))
    for hole in holes:
        solid -= hole
    return solid


COARSE = shapes.bore((0, 0, -1), (0, 0, 21), 3.0, segments=12)


@pytest.mark.parametrize("turned", [False, True])
def test_a_coarse_end_excuses_no_narrow_middle(tmp_path, turned):
    """A bore drawn coarse at one end (sagitta 0.10), in the middle truly 5.85 wide.

    Chord error of the middle: 2.925 (1 - cos(pi / 64)) = 0.0035."""
    low = shapes.bore((0, 0, -1), (0, 0, 8), 3.0, segments=12)
    middle = shapes.bore((0, 0, 7), (0, 0, 14), 2.925, segments=64)
    high = shapes.bore((0, 0, 13), (0, 0, 21), 3.2, segments=96)
    assert not proposed(tmp_path, bored(low, middle, high), 6.0, turned)


def test_a_flat_wall_beside_facets_is_no_facet(tmp_path):
    """A round bore with a flat at 2.93 from the axis: 5.93 is its truth at most."""
    flat = m3.Manifold.cube((8, 8, 20)).translate((2.93, -4, 0))
    assert not proposed(tmp_path, bored(COARSE) + flat, 6.0)
    assert proposed(tmp_path, bored(COARSE), 6.0)


@pytest.mark.parametrize("turned", [False, True])
def test_a_ring_that_is_thinner_than_the_steps_along_the_route(tmp_path, turned):
    """A sharp rim of 0.1 mm, 2.92 from the axis, in a coarse bore."""
    ring = m3.Manifold.cylinder(0.1, 3.5, circular_segments=96)
    ring -= m3.Manifold.cylinder(0.1, 2.92, circular_segments=64)
    assert not proposed(tmp_path, bored(COARSE) + ring.translate((0, 0, 11)), 6.0, turned)


def test_a_cone_into_a_bore_is_no_facet(tmp_path):
    """Found on a plain part: the edge between bore and cone was taken for a facet of 0.21."""
    waist = m3.Manifold.cylinder(4, 3.6, 2.8, 96).translate((0, 0, 4))
    waist += m3.Manifold.cylinder(4, 2.8, 2.8, 96).translate((0, 0, 8))
    waist += m3.Manifold.cylinder(4, 2.8, 3.6, 96).translate((0, 0, 12))
    solid = bored(waist, shapes.bore((0, 0, -1), (0, 0, 4), 3.6), m3.Manifold.cylinder(
        5, 3.6, 3.6, 96).translate((0, 0, 16)))  # fmt: skip
    passage = make.passage((0, 0, 0), (0, 0, 20), 3.6, 6.0)
    found = make.first(tmp_path, solid, passage)
    assert "mesh_tolerance" not in " ".join(found.reasons)


@pytest.mark.parametrize("side", [0, 1])
def test_a_coarse_bore_of_another_count_is_told(tmp_path, side):
    """Level, so that no port is level. Analytic: 6 (1 - cos(pi / 16)) = 0.1153."""
    along = np.roll([1.0, 0.0, 0.0], side)
    solid = shapes.block((-10, -10, 0), (10, 10, 16))
    middle = np.array([0.0, 0.0, 8.0])
    solid -= shapes.bore(middle - 30 * along, middle + 30 * along, 3.0, segments=16)
    passage = make.passage(middle - 10 * along, middle + 10 * along, 3.0, 6.0)
    found = make.first(tmp_path, solid, passage)
    assert "mesh_tolerance = 0.11" in " ".join(found.reasons)
    short = make.first(tmp_path, solid, {**passage, "min_clear_diameter": 6.02})
    assert "mesh_tolerance" not in " ".join(short.reasons)
