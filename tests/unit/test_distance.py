"""Distances against brute force and closed forms; routes in tubes whose answer is known."""

import numpy as np
import pytest
import shared

from clearance.geometry import box_tree, distance, routes, segments

# ---- soups


def ring(radius, sides, centre, z):
    a = np.arange(sides) * 2 * np.pi / sides
    x, y = centre[0] + radius * np.cos(a), centre[1] + radius * np.sin(a)
    return np.stack([x, y, np.broadcast_to(z, sides)], 1)


def skin(rings):
    """Triangles between successive rings (R, sides, 3)."""
    a = np.asarray(rings)
    b = np.roll(a, -1, axis=1)
    halves = [(a[:-1], b[:-1], b[1:]), (a[:-1], b[1:], a[1:])]
    return np.concatenate([np.stack(h, 2).reshape(-1, 3, 3) for h in halves]).astype(np.float32)


def tube(radius=3.6, sides=64, length=110.0, rings=12):
    return skin([ring(radius, sides, (0, 0), z) for z in np.linspace(0, length, rings)])


def random_soup(seed, count=300):
    """Triangles of all sizes, with slivers, segments, points and copies among them."""
    rng = np.random.default_rng(seed)
    size = rng.choice([0.05, 1.0, 5.0], (count, 1, 1))
    soup = rng.uniform(0, 20, (count, 1, 3)) + size * rng.normal(size=(count, 3, 3))
    soup[0::10, 2] = soup[0::10, 0]
    soup[1::10] = soup[1::10, :1]
    soup[2::10, 2] = 0.3 * soup[2::10, 0] + 0.7 * soup[2::10, 1]
    soup[3::10, 2] = soup[3::10, 1] + 1e-4 * rng.normal(size=(len(soup[3::10]), 3))
    soup[4::10] = soup[5::10]
    return soup.astype(np.float32)


# ---- brute force: another formula than the module's


def brute(soup, p):
    """Nearest point of each triangle to p: the three sides, and the face where p lies over it.

    p is (3,), or (F, 3) for a point per triangle.
    """
    t = soup.astype(np.float64)
    nearest = np.empty((len(t), 3))
    least = np.full(len(t), np.inf)

    def offer(q, allowed):
        d = np.linalg.norm(q - p, axis=1)
        better = allowed & (d < least)
        nearest[better], least[better] = q[better], d[better]

    for k in range(3):
        a, d = t[:, k], t[:, (k + 1) % 3] - t[:, k]
        length2 = (d * d).sum(1)
        s = np.clip(((p - a) * d).sum(1) / np.where(length2 > 0, length2, 1), 0, 1)
        offer(a + s[:, None] * d, np.ones(len(t), bool))
    normal = np.cross(t[:, 1] - t[:, 0], t[:, 2] - t[:, 0])
    size2 = (normal * normal).sum(1)
    sides = np.linalg.norm(t - np.roll(t, 1, axis=1), axis=2).max(1)
    over = size2 > 1e-17 * sides**4
    for k in range(3):
        inward = np.cross(normal, t[:, (k + 1) % 3] - t[:, k])
        over &= ((p - t[:, k]) * inward).sum(1) >= 0
    lift = ((p - t[:, 0]) * normal).sum(1) / np.where(size2 > 0, size2, 1)
    offer(p - lift[:, None] * normal, over)
    return least, nearest


def brute_segment(soup, a, b):
    """Least over the triangles, each by ternary search: the distance is convex on the segment."""
    low, high = np.zeros(len(soup)), np.ones(len(soup))

    def at(s):
        return brute(soup, a + s[:, None] * (b - a))[0]

    for _ in range(52):
        third = (high - low) / 3
        left = at(low + third) < at(high - third)
        high, low = np.where(left, high - third, high), np.where(left, low, low + third)
    return at((low + high) / 2).min()


# ---- the tree


@pytest.mark.parametrize("count", [0, 1, 8, 9, 100, 1000])
def test_tree_holds_every_triangle_once_inside_its_boxes(count):
    soup = np.random.default_rng(1).normal(size=(count, 3, 3)).astype(np.float32)
    tree = box_tree.build(soup)
    np.testing.assert_array_equal(np.sort(tree.order), np.arange(count))
    np.testing.assert_array_equal(tree.triangles, soup[tree.order])
    leaves = len(tree.boxes) // 2
    for leaf in range(leaves):
        held = tree.triangles[leaf * count // leaves : (leaf + 1) * count // leaves]
        assert len(held) <= box_tree.LEAF
        node = leaves + leaf
        while node:
            assert (held >= tree.boxes[node, :3]).all()
            assert (held <= tree.boxes[node, 3:]).all()
            node //= 2
        axes, middle, half = tree.frames[leaf, :3], tree.frames[leaf, 3], tree.frames[leaf, 4]
        np.testing.assert_allclose(axes @ axes.T, np.eye(3), atol=1e-12)
        assert (np.abs(held.astype(float) @ axes.T - middle) <= half).all()


def test_both_faces_of_a_thin_sheet_lie_in_one_flat_box():
    square = np.array([[0, 0, 0], [1, 0, 0], [0, 1, 0.5]], np.float32)
    faces = np.stack([square, square[::-1] + np.float32([0, 0, 1e-3])])
    frame = box_tree.build(faces).frames[0]
    assert frame[4, 0] < 1e-3 < 0.1 < frame[4, 1:].min()


def test_empty_soup_is_infinitely_far():
    tree = box_tree.build(np.empty((0, 3, 3), np.float32))
    d, point, index = distance.closest(tree, [[0, 0, 0], [1, 2, 3]])
    assert np.isposinf(d).all()
    assert np.isnan(point).all()
    assert index.tolist() == [-1, -1]
    assert np.isposinf(segments.segment_clearance(tree, [0, 0, 0], [1, 0, 0])[0])
    assert segments.certified_clearance(tree, [[0, 0, 0], [1, 0, 0]]) == (np.inf, None)
    route, *_ = routes.widen(tree, [[0, 0, 0], [1, 0, 0]], spacing_mm=0.1)
    np.testing.assert_array_equal(route, [[0, 0, 0], [1, 0, 0]])


def test_what_is_not_a_number_is_refused_not_far():
    tree = box_tree.build([[[0, 0, 0], [1, 0, 0], [0, 1, 0]]])
    with pytest.raises(ValueError, match="points must be finite"):
        distance.distances(tree, [[0, np.nan, 0]])
    with pytest.raises(ValueError, match="triangles must be finite"):
        box_tree.build([[[0, 0, np.inf], [1, 0, 0], [0, 1, 0]]])


# ---- points


@pytest.mark.parametrize("seed", [0, 1, *shared.more(2, 3, 4, 5)])
def test_closest_is_brute_force(seed):
    soup = random_soup(seed)
    rng = np.random.default_rng(seed)
    points = np.concatenate(
        [
            rng.uniform(-10, 30, (60, 3)),
            np.linspace([0, 0, 0], [20, 15, 10], 60),
            soup[:40].mean(1),
            soup[:40, 1],
        ]
    )
    tree = box_tree.build(soup)
    d, point, index = distance.closest(tree, points)
    for n, p in enumerate(points):
        least, _ = brute(soup, p)
        assert d[n] == pytest.approx(least.min(), abs=1e-7)
        assert least[index[n]] == pytest.approx(least.min(), abs=1e-7)
        assert np.linalg.norm(p - point[n]) == pytest.approx(d[n], abs=1e-12)
        assert brute(soup[index[n]][None], point[n])[0][0] < 1e-6
    np.testing.assert_array_equal(distance.distances(tree, points), d)


def test_needles_are_measured_to_their_face():
    # analytic: over the middle of a needle 100 mm long the face is 2 mm below
    for width in (1e-1, 1e-3, 1e-5, 0.0):
        soup = np.array([[[0, 0, 0], [100, 0, 0], [50, width, 0]]], np.float32)
        tree = box_tree.build(soup)
        assert distance.distances(tree, [[50, 0.4 * width, 2]])[0] == pytest.approx(2, abs=1e-9)
        assert distance.distances(tree, [[103, 0, 4]])[0] == pytest.approx(5, abs=1e-9)


def test_distance_in_a_tube():
    # analytic: inside a prism of n sides the nearest face is r cos(pi/n) from the axis
    tree = box_tree.build(tube(sides=96))
    axis = np.column_stack((np.zeros((50, 2)), np.linspace(1, 109, 50)))
    np.testing.assert_allclose(distance.distances(tree, axis), 3.6 * np.cos(np.pi / 96), atol=1e-6)


# ---- segments


@pytest.mark.parametrize("seed", [0, *shared.more(1, 2)])
def test_segment_clearance_is_brute_force(seed):
    soup = random_soup(seed, 60)
    rng = np.random.default_rng(seed + 100)
    a = rng.uniform(-10, 30, (20, 3))
    b = a + rng.normal(size=(20, 3)) * rng.choice([0.0, 0.1, 5, 40], (20, 1))
    up = np.array([0, 0, 1])
    a[0], b[0] = soup[7].mean(0) - up, soup[7].mean(0) + up
    tree = box_tree.build(soup)
    d, on_segment, on_soup = segments.segment_clearances(tree, a, b)
    for n in range(20):
        assert d[n] == pytest.approx(brute_segment(soup, a[n], b[n]), abs=2e-7)
        assert np.linalg.norm(on_segment[n] - on_soup[n]) == pytest.approx(d[n], abs=1e-9)
        assert brute(soup, on_soup[n])[0].min() < 1e-6
        s = np.linspace(0, 1, 2001)[:, None]
        assert np.linalg.norm(a[n] + s * (b[n] - a[n]) - on_segment[n], axis=1).min() < 0.1
    assert d[0] == 0.0


def test_segment_clearance_in_closed_form():
    # analytic: a 1 mm square in the plane z = 0
    square = np.array([[[0, 0, 0], [1, 0, 0], [1, 1, 0]], [[0, 0, 0], [1, 1, 0], [0, 1, 0]]])
    tree = box_tree.build(square)
    a = [[0.5, 0.5, -1], [0.2, 0.3, 2], [-3, 0.5, 4], [0.5, 2, -1], [4, 5, 0], [3, -1, 1]]
    b = [[0.5, 0.5, 1], [0.8, 0.9, 2], [0.5, 0.5, 0.5], [0.5, 2, 1], [4, 5, 0], [3, 3, 1]]
    d, _, _ = segments.segment_clearances(tree, a, b)
    np.testing.assert_allclose(d, [0, 2, 0.5, 1, 5, np.sqrt(5)], atol=1e-12)
    d, on_segment, _ = segments.segment_clearances(tree, a, b, enough=1.5)
    np.testing.assert_allclose(d, [0, np.inf, 0.5, 1, np.inf, np.inf], atol=1e-12)
    assert np.isnan(on_segment[1]).all()
    with pytest.raises(ValueError, match="1 starts for 2 ends"):
        segments.segment_clearances(tree, [[0, 0, 0]], [[0, 0, 0], [1, 1, 1]])


# ---- routes


@pytest.mark.parametrize("seed", range(4))
def test_certified_clearance_is_below_every_point_of_the_route(seed):
    soup = random_soup(seed)
    tree = box_tree.build(soup)
    rng = np.random.default_rng(seed)
    route = np.array([25, 10, 10]) + np.cumsum(rng.normal(size=(15, 3)), axis=0)
    bound, where = segments.certified_clearance(tree, route)
    s = np.linspace(0, 14, 4001)
    samples = np.column_stack([np.interp(s, np.arange(15), route[:, k]) for k in range(3)])
    d = distance.distances(tree, samples)
    assert bound <= d.min()
    assert bound >= d.min() - 0.01  # steps of the samples are shorter than this
    least = distance.distances(tree, where)[0]
    assert bound == pytest.approx(max(least - 1e-6, 0), abs=1e-9)
    if bound > 0:
        assert segments.certified_clearance(tree, route, enough=bound / 2) == (bound / 2, None)
    assert segments.certified_clearance(tree, route, enough=2 * bound + 1)[0] == bound
    assert segments.certified_clearance(tree, where)[0] == pytest.approx(bound, abs=1e-9)


def test_certified_clearance_sees_a_wall_between_vertices():
    tree = box_tree.build([[[-9, -9, 5], [9, -9, 5], [0, 9, 5]]])
    bound, where = segments.certified_clearance(tree, [[0, 0, 0], [0, 0, 10], [0, 0, 20]])
    assert bound == 0.0
    np.testing.assert_allclose(where, [0, 0, 5])
    with pytest.raises(ValueError, match="at least one point"):
        segments.certified_clearance(tree, np.empty((0, 3)))


def widened(soup, route, spacing, **more):
    tree = box_tree.build(soup)
    wide, *_ = routes.widen(tree, route, spacing_mm=spacing, **more)
    assert np.linalg.norm(np.diff(wide, axis=0), axis=1).max() <= 2.01 * spacing
    return wide, segments.certified_clearance(tree, wide)[0]


@pytest.mark.parametrize(
    ("sides", "spacing"),
    [(64, 0.25), (128, 0.5), (64, 1.0), *shared.more((128, 0.25), (64, 0.5), (128, 1.0))],
)
def test_widen_finds_the_axis_of_a_tube(sides, spacing):
    z = np.linspace(0, 110, 200)
    wave = np.column_stack((0.7 * np.sin(z / 9), 0.7 * np.cos(z / 5), z))
    wave[[0, -1], :2] = 0.0  # the ends are held
    beside = np.array([[0, 0, 0], [0.8, 0.6, 10], [0.8, 0.6, 100], [0, 0, 110]])
    for route in (wave, beside):
        soup = tube(sides=sides)
        wide, bound = widened(soup, route, spacing)
        assert 3.6 * np.cos(np.pi / sides) - 0.01 < bound <= 3.6  # analytic
    again, _ = widened(soup, beside, spacing)
    np.testing.assert_array_equal(wide, again)


@pytest.mark.parametrize("radius", [0.2, 1.0])
@pytest.mark.parametrize("spacing", [0.25, 1.0])
def test_widen_centres_on_a_hole_in_a_plate(radius, spacing):
    # analytic: a plate 0.3 mm thick across the tube, its hole at (1.5, 0), is the throat
    outline = [(3.6, (0, 0), 55.0), (radius, (1.5, 0), 55.0)]
    outline += [(radius, (1.5, 0), 55.3), (3.6, (0, 0), 55.3)]
    soup = np.concatenate([tube(), skin([ring(r, 64, c, z) for r, c, z in outline])])
    beside = [1.5 - 0.4 * radius, 0.5 * radius, 55.15]
    route = np.array([[0, 0, 0], beside, [0, 0, 110]])
    wide, bound = widened(soup, route, spacing)
    assert bound == pytest.approx(radius * np.cos(np.pi / 64), abs=0.01)
    np.testing.assert_allclose(wide[[0, -1]], route[[0, -1]])


def test_widen_follows_a_helix():
    # analytic: the helix itself is the best route; the tube's skin has flat faces
    t = np.linspace(0, 2 * np.pi, 121)
    helix = np.column_stack((15 * np.cos(t), 15 * np.sin(t), 20 * t / (2 * np.pi)))
    along = np.column_stack((-15 * np.sin(t), 15 * np.cos(t), np.full(121, 20 / (2 * np.pi))))
    along /= np.linalg.norm(along, axis=1)[:, None]
    u = np.column_stack((np.cos(t), np.sin(t), np.zeros(121)))
    v = np.cross(along, u)
    a = (np.arange(64) * 2 * np.pi / 64)[None, :, None]
    soup = skin(helix[:, None] + 2 * (np.cos(a) * u[:, None] + np.sin(a) * v[:, None]))
    best = segments.certified_clearance(box_tree.build(soup), helix)[0]
    beside = helix + 0.7 * np.sin(7 * t)[:, None] * [0, 0, 1]
    _, bound = widened(soup, beside, 0.5)
    assert best - 0.01 < bound <= 2.0


@pytest.mark.parametrize("spacing", [0.25, 0.5, 1.0])
def test_widen_goes_round_a_sharp_elbow(spacing):
    # analytic: two legs of radius 3 mitred at a right angle; the legs are the narrowest
    c = ring(3.0, 64, (0, 0), 0.0)
    mitre = np.column_stack((c[:, :2], 30 - c[:, 0]))
    end = np.column_stack((np.full(64, 40.0), c[:, 1], 30 - c[:, 0]))
    route = [[0, 0, 0], [1, 1, 20], [1.5, 0.8, 28], [20, 0.5, 31], [40, 0, 30]]
    _, bound = widened(skin([c, mitre, end]), route, spacing)
    assert bound == pytest.approx(3 * np.cos(np.pi / 64), abs=0.01)


@pytest.mark.parametrize("seed", range(5))
def test_widen_never_makes_a_route_worse(seed):
    tree = box_tree.build(random_soup(seed))
    rng = np.random.default_rng(seed)
    route = np.array([25, 10, 10]) + np.cumsum(rng.normal(size=(12, 3)), axis=0)
    wide, *_ = routes.widen(tree, route, spacing_mm=0.7)
    before, after = (segments.certified_clearance(tree, r)[0] for r in (route, wide))
    assert after >= before
    np.testing.assert_allclose(wide[[0, -1]], route[[0, -1]])


@pytest.mark.parametrize("seed", range(3))
def test_distances_between_two_are_exact_and_others_only_on_their_side(seed):
    soup = random_soup(seed)
    tree = box_tree.build(soup)
    points = np.random.default_rng(seed).uniform(-2, 22, (400, 3))
    true = distance.distances(tree, points)
    for low, high in np.quantile(true, [(0.2, 0.7), (0.5, 0.5), (0.0, 1.0)]):
        found = distance.distances_between(tree, points, low, high)
        inside = (true >= low) & (true <= high)
        assert np.array_equal(found[inside], true[inside])
        assert (found[true < low] < low).all()
        assert (found[true > high] > high).all()
