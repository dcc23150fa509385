"""The widest straight line: its proof against dense trials, its settings, and odd regions.

Expected values are analytic (beside the test) or come from trying very many lines.
"""

import manifold3d as m3
import numpy as np
import pytest
import shapely
import shared

from clearance.drilling.rectangles import tighten
from clearance.drilling.widest_line import Region, _Cells, _Search, widest_line
from clearance.geometry import box_tree, distance, segments
from clearance.geometry.planes import Plane
from clearance.geometry.rays import deep, metal

SIDES = 96
APOTHEM = np.cos(np.pi / SIDES)  # of a polygon drawn in a circle of radius 1


def soup(solid):
    mesh = solid.to_mesh64()
    return np.ascontiguousarray(mesh.vert_properties[:, :3].astype(np.float32)[mesh.tri_verts])


def bore(low, high, radius):
    low, high = np.asarray(low, float), np.asarray(high, float)
    w = (high - low) / np.linalg.norm(high - low)
    plane = Plane.through(low, w)
    solid = m3.Manifold.cylinder(np.linalg.norm(high - low), radius, radius, SIDES)
    return solid.transform(np.column_stack([plane.u, plane.v, plane.normal, low]))


def block(low, high):
    return m3.Manifold.cube(tuple(np.subtract(high, low))).translate(tuple(low))


def disc(z, radius, centre=(0.0, 0.0)):
    return Region(Plane.level(z), shapely.Point(centre).buffer(radius, 24))


def box(z, x0, y0, x1, y1):
    return Region(Plane.level(z), shapely.box(x0, y0, x1, y1))


def trials(tree, start, end, count, seed):
    """The room of very many lines, evenly spread over two box regions."""
    rng = np.random.default_rng(seed)
    ends = []
    for region in (start, end):
        x0, y0, x1, y1 = region.polygon.bounds
        ends.append(region.plane.to_space(rng.uniform((x0, y0), (x1, y1), (count, 2))))
    return segments.segment_clearances(tree, *ends)[0]


# ---- the proof


@pytest.mark.parametrize("seed", [0, *shared.more(1, 2, 3, 4, 5)])
def test_no_line_beats_the_bound(seed):
    """Balls, overlapping ones among them, and thin plates with a hole between two windows."""
    rng = np.random.default_rng(seed)
    pieces = [
        soup(m3.Manifold.sphere(rng.uniform(0.3, 2.0), 16).translate(tuple(at)))
        for at in rng.uniform((-4, -4, 2), (4, 4, 18), (14, 3))
    ]
    for z in (6.0, 13.0):
        hole = bore((*rng.uniform(-2, 2, 2), z - 1), (*rng.uniform(-2, 2, 2), z + 1), 1.6)
        pieces.append(soup(block((-9, -9, z), (9, 9, z + 0.02)) - hole))
    tree = box_tree.build(np.concatenate(pieces))
    start, end = box(0, -4, -4, 4, 4), box(20, -4, -4, 4, 4)
    found = widest_line(tree, start, end, enough_mm=0.0, tolerance_mm=0.05)
    most = trials(tree, start, end, 40_000, seed).max()
    assert found.bound <= max(found.radius, 0.0) + 0.05 + 1e-12
    assert most <= found.bound + 1e-9
    at = segments.segment_clearance(tree, found.start, found.end)[0]
    assert found.radius == pytest.approx(at, abs=1e-9)


@pytest.mark.parametrize("seed", [0, *shared.more(1, 2)])
def test_tilted_planes_and_an_extension(seed):
    """The bound holds with planes at odds and lines longer than from region to region."""
    rng = np.random.default_rng(seed)
    pieces = [
        soup(m3.Manifold.sphere(1.0, 16).translate(tuple(at)))
        for at in rng.uniform((-5, -5, -3), (5, 5, 16), (14, 3))
    ]
    tree = box_tree.build(np.concatenate(pieces))
    start = Region(Plane.through((0, 0, 0), (0.5, 0.2, 1.0)), shapely.box(-3, -3, 3, 3))
    end = Region(Plane.through((1, 0, 11), (-0.7, 0.4, 1.0)), shapely.box(-3, -3, 3, 3))
    found = widest_line(tree, start, end, enough_mm=0.0, tolerance_mm=0.1, beyond_mm=3.0)
    p, q = (r.plane.to_space(rng.uniform(-3, 3, (40_000, 2))) for r in (start, end))
    u = (q - p) / np.linalg.norm(q - p, axis=1, keepdims=True)
    most = segments.segment_clearances(tree, p, q + 3 * u)[0].max()
    assert most <= found.bound + 1e-9
    assert found.bound <= found.radius + 0.1 + 1e-12


@pytest.mark.parametrize("goal", [np.inf, -1.0], ids=["by its middle line", "by all bounds"])
def test_no_line_of_a_cell_beats_the_bound_of_the_cell(goal):
    """Cells of any size between ends at odds, and lines that go on beyond; 200 lines of each."""
    rng = np.random.default_rng(5)
    balls = [
        soup(m3.Manifold.sphere(1.0, 12).translate(tuple(at)))
        for at in rng.uniform((-5, -5, 1), (5, 5, 10), (8, 3))
    ]
    start = Region(Plane.through((0, 0, 0), (0.5, 0.2, 1.0)), shapely.box(-3, -3, 3, 3))
    end = Region(Plane.through((1, 0, 11), (-0.7, 0.4, 1.0)), shapely.box(-3, -3, 3, 3))
    search = _Search(box_tree.build(np.concatenate(balls)), start, end, 3.0)
    middle = rng.uniform(-2, 2, (60, 4))
    half = np.repeat(rng.uniform(0.02, 1.0, (60, 2)), 2, axis=1)
    low, high = middle - half, middle + half
    box = np.hstack([low[:, :2], high[:, :2], low[:, 2:], high[:, 2:]])
    none = _Cells(box, np.full(60, np.inf), np.zeros(60, np.int64))
    bound = search.look(none, goal).bound
    pairs = rng.uniform(low, high, (200, 60, 4))
    room = search.lines(pairs.reshape(-1, 4)).room.reshape(200, 60).max(axis=0)
    assert (room > 0.0).sum() > 20
    assert (room <= bound + 1e-9).all()


def test_a_needle_is_not_missed():
    """Analytic: a hole of radius 0.3, 60 mm long, in a block, seen from windows of 20 x 20."""
    solid = block((-20, -20, 0), (20, 20, 60)) - bore((3.1, -2.2, -1), (-4.3, 5.7, 61), 0.3)
    tree = box_tree.build(soup(solid))
    start, end = box(-0.5, -10, -10, 10, 10), box(60.5, -10, -10, 10, 10)
    found = widest_line(tree, start, end, enough_mm=0.25, tolerance_mm=0.04)
    assert found.radius == pytest.approx(0.3 * APOTHEM, abs=0.04)
    assert trials(tree, start, end, 40_000, 1).max() == 0.0


# ---- what is asked


def straight(radius=3.0, height=30.0):
    return block((-9, -9, 0), (9, 9, height)) - bore((0, 0, -1), (0, 0, height + 1), radius)


def test_what_is_needed_ends_the_search_early():
    """Analytic: 3 mm times the apothem; 3.1 and even 3.01 are proven out of reach."""
    tree = box_tree.build(soup(straight()))
    for enough in (3.1, 3.01):
        found = widest_line(tree, disc(0, 3), disc(20, 3), enough_mm=enough, tolerance_mm=0.05)
        assert found.radius == pytest.approx(3 * APOTHEM, abs=2e-3)
        assert found.bound < enough


@pytest.mark.parametrize("wide", [0.8, *shared.more(3.0)])
def test_roof_beyond_the_end(wide):
    """Analytic: blind bore to z = 20; a line to z = 17 that goes on by 2 ends 1 below the roof."""
    solid = block((-9, -9, 0), (9, 9, 30)) - bore((0, 0, -1), (0, 0, 20), 3.0)
    tree = box_tree.build(soup(solid))
    ends, all_too_long = (disc(0, 3), disc(17, 3)), (disc(0, wide), disc(17, wide))
    short = widest_line(tree, *ends, enough_mm=0.5)
    long = widest_line(tree, *ends, enough_mm=0.5, beyond_mm=2.0, tolerance_mm=0.1)
    too_long = widest_line(tree, *all_too_long, enough_mm=0.5, beyond_mm=3.5)
    assert short.radius == pytest.approx(3 * APOTHEM, abs=0.02)
    # A line that leans ends lower by 2 (1 - cos) and no more: 1.0 at least, 1.1 at most.
    assert 1.0 - 1e-6 <= long.radius < 1.1
    assert long.metal[2] == pytest.approx(20.0, abs=1e-5)
    assert too_long.radius == 0.0
    assert too_long.bound < 0.5


def test_same_answer_twice_and_all_of_it_consistent():
    tree = box_tree.build(soup(straight()))
    a, b = (widest_line(tree, disc(0, 3), disc(20, 3), enough_mm=2.0) for _ in range(2))
    assert a.radius == b.radius
    assert np.array_equal(a.start, b.start)
    assert np.array_equal(a.end, b.end)
    assert np.linalg.norm(a.narrowest - a.metal) == pytest.approx(a.radius)
    assert np.linalg.norm(a.direction) == pytest.approx(1.0)
    assert np.cross(a.end - a.start, a.direction) == pytest.approx(0.0, abs=1e-9)


def test_a_limit_on_the_search_still_gives_a_true_bound():
    tree = box_tree.build(soup(straight()))
    found = widest_line(
        tree, disc(0, 3), disc(20, 3), enough_mm=2.0, tolerance_mm=1e-6, most_cells=3
    )
    assert found.bound >= found.radius
    assert found.bound >= 3 * APOTHEM - 1e-5


def test_regions_with_holes_and_several_parts():
    """Analytic: two bores of radius 1 and 2 in one region that is two rings, not their middles.

    A vertical line on the ring's inner rim, 0.5 off the axis, has 2 * apothem - 0.5.
    """
    solid = block((-15, -9, 0), (15, 9, 30))
    for x, radius in ((-6.0, 1.0), (6.0, 2.0)):
        solid -= bore((x, 0, -1), (x, 0, 31), radius)
    rings = shapely.union_all(
        [
            shapely.Point(x, 0).buffer(r).difference(shapely.Point(x, 0).buffer(0.5, 64))
            for x, r in ((-6.0, 1.0), (6.0, 2.0))
        ]
    )
    region = [Region(Plane.level(z), rings) for z in (0.0, 30.0)]
    found = widest_line(box_tree.build(soup(solid)), *region, enough_mm=0.2, tolerance_mm=0.02)
    assert found.radius == pytest.approx(1.5, abs=0.02)
    assert found.start[0] > 0.0
    for point in (found.start, found.end):
        assert rings.buffer(1e-6).contains(shapely.Point(point[:2]))


def test_nothing_to_search():
    tree = box_tree.build(soup(straight()))
    with pytest.raises(ValueError, match="no metal"):
        widest_line(box_tree.build(np.empty((0, 3, 3))), disc(0, 1), disc(9, 1), enough_mm=1)
    empty = Region(Plane.level(0), shapely.Polygon())
    with pytest.raises(ValueError, match="without area"):
        widest_line(tree, empty, disc(9, 1), enough_mm=1)


# ---- the compiled loops


def test_tighten_against_shapely():
    """Bounding boxes of clipped polygons, and a point inside each."""
    rng = np.random.default_rng(2)
    shape = shapely.Point(0, 0).buffer(5).difference(shapely.box(-2, -1, 1, 3))
    rings = [shapely.get_coordinates(ring) for ring in shapely.get_rings(shape)]
    edges = np.vstack([np.hstack([ring[:-1], ring[1:]]) for ring in rings])
    low = rng.uniform(-6, 5, (300, 2))
    rects = np.hstack([low, low + rng.uniform(0.1, 3, (300, 2))])
    shrunk, meets, points = tighten(rects, edges)
    for n, rect in enumerate(rects):
        part = shape.intersection(shapely.box(*rect))
        assert meets[n] == (not part.is_empty)
        if meets[n]:
            assert shrunk[n] == pytest.approx(part.bounds, abs=1e-9)
            assert part.distance(shapely.Point(points[n])) < 1e-9


def test_in_metal_is_never_said_of_void():
    """A block with a bore, and a ball that overlaps it: analytic inside."""
    ball = m3.Manifold.sphere(4.0, 64).translate((9, 0, 15))
    triangles = np.concatenate([soup(straight()), soup(ball)])
    tree = box_tree.build(triangles)
    rng = np.random.default_rng(4)
    points = rng.uniform((-12, -12, -3), (14, 12, 33), (3000, 3))
    _, _, nearest = distance.closest(tree, points)
    place = np.argsort(tree.order)[nearest]
    said = metal(tree.triangles, tree.boxes, points, place)
    x, y, z = points.T
    in_block = (np.abs(x) < 9) & (np.abs(y) < 9) & (z > 0) & (z < 30) & (np.hypot(x, y) > 3)
    in_ball = np.linalg.norm(points - (9, 0, 15), axis=1) < 4.0
    assert not said[~in_block & ~in_ball].any()
    assert said[in_block & ~in_ball].mean() > 0.95  # it may be unsure, not often


def test_deepest_stretch():
    """Analytic: from x = -20 along +x through a block from -9 to 9 with a bore from -3 to 3."""
    tree = box_tree.build(soup(straight()))
    a, d = np.array([[-20.0, 0.1, 15.2]]), np.array([[40.0, 0.0, 0.0]])
    share = deep(tree.triangles, tree.boxes, a, d)[0]
    assert abs(-20 + 40 * share) == pytest.approx(6.0, abs=0.05)
    assert deep(tree.triangles, tree.boxes, a + np.array([0, 30, 0]), d)[0] == -1.0
