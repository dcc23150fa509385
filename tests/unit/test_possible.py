"""The possible void: walls stay closed, hair-thin ways are never missed."""

import manifold3d as m
import numpy as np
import pytest
import shapes

from clearance.columns.cast import cast
from clearance.columns.grid import Grid
from clearance.columns.possible import block, bounding, possible_void
from clearance.columns.sure import Places, surely_metal, surely_outside
from clearance.geometry.soup import box_soup

TURNS = [(0, 0, 0), (0, 90, 0), (0, 45, 0), (0, 30, 20), (10, 20, 45), (0, 0, 45), (45, 45, 45)]
PITCH = 0.3


def two_rooms(between: float, turn: tuple[float, ...], gap: float = 0.0):
    """Two rooms 6 wide with a wall between, perhaps with a slit of a width through it."""
    room = m.Manifold.cube([6, 10, 10], True)
    void = room.translate([-3 - between / 2, 0, 0]) + room.translate([3 + between / 2, 0, 0])
    if gap:
        void += m.Manifold.cube([2 * between, 4, gap], True)
    solid = m.Manifold.cube([24, 24, 24], True) - void.rotate(turn)
    probe = m.Manifold.cube([0.01] * 3, True)
    ends = (probe.translate([-3, 0, 0]) + probe.translate([3, 0, 0])).rotate(turn)
    corners = shapes.soup(ends).reshape(-1, 3)
    return shapes.soup(solid), np.array([corners[0], corners[-1]], float)


def pieces(soup, points):
    grid = Grid.over(soup.min((0, 1)), soup.max((0, 1)), PITCH)
    void = possible_void(surely_metal(soup, cast(soup, grid)), grid)
    return [void.pieces_at(point[None]) for point in points], void


@pytest.mark.parametrize("turn", TURNS)
def test_a_wall_of_one_and_a_half_pitches_is_closed(turn):
    soup, points = two_rooms(1.5 * PITCH, turn)
    (a, b), void = pieces(soup, points)
    assert len(a) == len(b) == 1
    assert a != b
    assert void.outside not in a | b


@pytest.mark.parametrize("turn", TURNS)
@pytest.mark.parametrize("width", [0.05, 0.002])
def test_a_slit_far_below_the_pitch_is_never_missed(turn, width):
    soup, points = two_rooms(2.0, turn, gap=width)
    (a, b), _ = pieces(soup, points)
    assert a == b


def test_a_point_in_sure_metal_is_in_no_piece():
    soup, points = two_rooms(2.0, (0, 0, 0))
    _, void = pieces(soup, points)
    assert void.pieces_at(np.array([[11.0, 11.0, 0.0]])) == set()
    assert void.pieces_at(np.array([[0.0, 0.0, 40.0]])) == {void.outside}


def test_blocked_squares_part_what_they_cover():
    soup, points = two_rooms(2.0, (0, 0, 0), gap=0.5)
    grid = Grid.over(soup.min((0, 1)), soup.max((0, 1)), PITCH)
    sure = surely_metal(soup, cast(soup, grid))
    places = Places(grid)
    slit = np.array(sorted({places.square_at(0.0, y) for y in np.arange(-3, 3, 0.1)}))
    from clearance.columns.runs import unite

    void = possible_void(unite(sure, block(sure, slit, -1.0, 1.0)), grid)
    assert void.pieces_at(points[:1]) != void.pieces_at(points[1:])


@pytest.mark.parametrize("low", [-0.5, 1.0])
def test_blocked_squares_tear_nothing_apart_that_hangs_together(low):
    # A shelf in mid-air, of squares alone: what lies over it is joined to what lies beside it.
    soup, points = two_rooms(2.0, (0, 90, 0))
    grid = Grid.over(soup.min((0, 1)), soup.max((0, 1)), PITCH)
    sure = surely_metal(soup, cast(soup, grid))
    places = Places(grid)
    shelf = {places.square_at(x, y) for x in np.arange(-2, 2, 0.1) for y in np.arange(-2, 2, 0.1)}
    shelf = np.array(sorted(shelf))
    low += float(points[0, 2])
    from clearance.columns.runs import unite

    void = possible_void(unite(sure, block(sure, shelf, low, low + 0.1)), grid)
    (room,) = void.pieces_at(points[:1] + np.array([2.7, 0.0, 0.0]))
    for z in (low - 0.2, low + 0.3):
        spread = np.array([(x, y, z) for x in (-1.5, 0.0, 1.5) for y in (-1.5, 0.0, 1.5)])
        assert void.pieces_at(spread) == {room}


def test_bounding_triangles_hold_the_nearest_metal():
    from clearance.geometry import box_tree, distance

    soup, points = two_rooms(2.0, (10, 20, 45))
    (a, _), void = pieces(soup, points)
    own = bounding(void, soup, a)
    assert 0 < len(own) < len(soup)
    rng = np.random.default_rng(1)
    near = points[0] + rng.uniform(-1.5, 1.5, (200, 3))
    exact = distance.distances(box_tree.build(soup), near)
    assert distance.distances(box_tree.build(own), near) == pytest.approx(exact, abs=1e-9)


def test_what_is_outside_a_soup_is_what_the_world_less_it_has():
    grid = Grid.over(np.array([-4.0, -4.0, -4.0]), np.array([4.0, 4.0, 4.0]), 0.5)
    soup = shapes.soup(shapes.bore((-1, -2, -3), (2, 1, 3), 1.0, segments=16))
    world = box_soup((-50.0, -50.0, -50.0), (50.0, 50.0, 50.0))
    rest = np.concatenate([world, soup[:, ::-1]])
    expected = surely_metal(rest, cast(rest, grid))
    found = surely_outside(soup, cast(soup, grid))
    assert (found.start == expected.start).all()
    assert np.clip(found.z, -49.0, 49.0) == pytest.approx(np.clip(expected.z, -49.0, 49.0))
