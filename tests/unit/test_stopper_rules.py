"""Stoppers and the layer behind them, against their definitions: round mouths in leaning planes."""

import numpy as np
import pytest
import shapely

from clearance.columns.grid import Grid
from clearance.geometry.planes import Plane
from clearance.passages.stoppers import grown_by, layer_behind, seeds, stopper
from clearance.ports.mouth import Mouth

PITCH, RADIUS = 0.4, 2.0
FIRST = 0.2  # half a pitch, less than a quarter of the radius
NORMALS = [(0.0, 0.0, 1.0), (0.6, 0.0, 0.8), (0.36, -0.48, -0.8), (1.0, 0.0, 0.0), (0.6, 0.8, 0.0)]


def mouth(normal, fall=0.0):
    plane = Plane.through((1.3, -0.7, 5.0), normal)
    at, disc = plane.origin, shapely.Point(0.0, 0.0).buffer(RADIUS, quad_segs=32)
    return Mouth("m", plane, disc, at, RADIUS, at, RADIUS, plane.normal, at, fall=fall)


def sunk(normal, fall=0.0):
    """By hand: a square and a half, as far as the mouth leans or its face falls away."""
    return 1.5 * PITCH * (np.hypot(*normal[:2]) + fall)


@pytest.mark.parametrize("fall", [0.0, 0.7])
@pytest.mark.parametrize("normal", NORMALS)
def test_a_stopper_covers_its_mouth_from_below_the_face_to_outside(normal, fall):
    closing = mouth(normal, fall)
    for kind, low, high, wider in (
        (True, -sunk(normal, fall), 4.0 * PITCH, 3.0 * PITCH),
        (False, 0.0, 0.02, 0.02),
    ):
        points = stopper(closing, PITCH, kind).reshape(-1, 3).astype(float)
        out = (points - closing.plane.origin) @ closing.plane.normal
        aside = np.linalg.norm(closing.plane.to_plane(points), axis=1)
        assert (out.min(), out.max()) == pytest.approx((low, high), abs=1e-5)
        assert RADIUS + wider <= aside.min() + 0.02 * wider
        assert aside.max() < RADIUS + 1.15 * wider


@pytest.mark.parametrize("normal", NORMALS)
def test_seeds_lie_over_the_whole_mouth_just_inside_its_stopper(normal):
    closing = mouth(normal)
    found = seeds(closing, PITCH)
    depth = -(found - closing.plane.origin) @ closing.plane.normal - sunk(normal)
    assert set(np.round(depth / FIRST, 6)) == {1.0, 2.0, 4.0}
    assert depth[0] == pytest.approx(FIRST)
    assert found[0] == pytest.approx(closing.deepest - (sunk(normal) + FIRST) * np.array(normal))
    places = closing.plane.to_plane(found)
    assert np.linalg.norm(places, axis=1).max() < RADIUS
    assert places.min(0) == pytest.approx([-RADIUS, -RADIUS], abs=0.45)
    assert places.max(0) == pytest.approx([RADIUS, RADIUS], abs=0.45)


@pytest.mark.parametrize("normal", NORMALS)
def test_the_layer_behind_a_mouth_is_looked_at_square_by_square(normal):
    """Points of the layer lie in the squares told, within their heights, which end with them."""
    closing, grid = mouth(normal), Grid.over(np.full(3, -6.0), np.full(3, 10.0), PITCH)
    squares, low, high = layer_behind(grid, closing, PITCH)
    rng = np.random.default_rng(1)
    far, turn = RADIUS * np.sqrt(rng.uniform(0, 1, 200_000)), rng.uniform(0, 2 * np.pi, 200_000)
    points = closing.plane.to_space(np.stack([far * np.cos(turn), far * np.sin(turn)], 1) * 0.998)
    depth = sunk(normal) + rng.uniform(0.5 * FIRST, FIRST, len(points))
    points = points - depth[:, None] * closing.plane.normal
    i, j = (
        np.floor((points[:, k] - start) / grid.pitch_mm).astype(int)
        for k, start in enumerate((float(grid.x_mm(0)), float(grid.y_mm(0))))
    )
    own = i * (grid.ny - 1) + j
    assert set(own) <= set(squares)
    upright = abs(normal[2]) < 0.2
    slope = 0.0 if upright else np.hypot(*normal[:2]) / abs(normal[2])
    for square, least, most in zip(squares, low, high, strict=True):
        z = points[own == square, 2]
        if len(z):
            assert least <= z.min() + 1e-9
            assert z.max() <= most + 1e-9
        if len(z) > 300:  # well within: hardly more than there is
            # The plane over the whole square, of which the layer may hold a part; upright, the
            # circle is steep at its sides.
            loose = 1.0 if upright else 0.2 + 2.0 * slope * grid.pitch_mm
            assert z.min() - least < loose
            assert most - z.max() < loose


def test_pieces_grow_by_the_groups_that_hold_one_of_them():
    assert grown_by({1}, [{3, 4}, {2, 3}, {1, 2}, {5, 6}]) == {1, 2, 3, 4}
