"""Grid kernels against brute force, SciPy and shapes whose answer is known."""

import heapq

import numpy as np
import pytest
from scipy import ndimage

from clearance.columns import cells, ways

FACES = ndimage.generate_binary_structure(3, 1)


def random_cells(seed, shape, share):
    return np.random.default_rng(seed).random(shape) < share


# ---- raster


def brute_raster(start, z, nx, ny, z0, pitch, nz, rule):
    metal = np.zeros((nx, ny, nz), np.uint8)
    half = pitch / 2 if rule == "touched" else 0.0
    for column in range(nx * ny):
        for low, high in z[start[column] : start[column + 1]].astype(float):
            for k in range(nz):
                floor, top = z0 + k * pitch - half, z0 + k * pitch + half
                inside = low < top and floor < high if half else low <= top <= high
                metal[column // ny, column % ny, k] |= inside
    return metal


@pytest.mark.parametrize("rule", ["centre", "touched"])
@pytest.mark.parametrize("seed", range(5))
def test_raster_is_the_rule_spelt_out(rule, seed):
    rng = np.random.default_rng(seed)
    nx, ny, nz = 4, 3, 20
    counts = rng.integers(0, 4, nx * ny)
    start = np.concatenate(([0], np.cumsum(counts)))
    columns = [np.sort(rng.uniform(-2, 8, 2 * n)).reshape(-1, 2) for n in counts]
    z = np.concatenate(columns).astype(np.float32)
    got = cells.raster(start, z, nx, ny, 0.1, 0.25, nz, rule)
    np.testing.assert_array_equal(got, brute_raster(start, z, nx, ny, 0.1, 0.25, nz, rule))


def test_raster_at_faces_and_centres():
    # analytic: cells of 1 mm with centres 0, 1, 2, 3; one run per column
    z = np.array([[0.5, 1.5], [1.0, 2.0], [1.2, 1.3], [0.5, 0.5], [-9, 9]], np.float32)
    start = np.arange(6)
    touched = cells.raster(start, z, 5, 1, 0.0, 1.0, 4, "touched")[:, 0].tolist()
    assert touched == [[0, 1, 0, 0], [0, 1, 1, 0], [0, 1, 0, 0], [0, 0, 0, 0], [1, 1, 1, 1]]
    centre = cells.raster(start, z, 5, 1, 0.0, 1.0, 4, "centre")[:, 0].tolist()
    assert centre == [[0, 1, 0, 0], [0, 1, 1, 0], [0, 0, 0, 0], [0, 0, 0, 0], [1, 1, 1, 1]]


def test_raster_of_nothing_and_of_nonsense():
    none = np.empty((0, 2), np.float32)
    assert not cells.raster(np.zeros(7, int), none, 2, 3, 0.0, 0.2, 5, "centre").any()
    with pytest.raises(ValueError, match="expected 'centre' or 'touched'"):
        cells.raster(np.zeros(7, int), none, 2, 3, 0.0, 0.2, 5, "corner")
    with pytest.raises(ValueError, match="7 run starts for 2 x 2"):
        cells.raster(np.zeros(7, int), none, 2, 2, 0.0, 0.2, 5, "centre")
    with pytest.raises(IndexError, match="not one of 1"):
        cells.raster(np.arange(5), none, 2, 2, 0.0, 0.2, 5, "centre")


# ---- distance


@pytest.mark.parametrize("share", [0.0005, 0.01, 0.2, 0.9])
@pytest.mark.parametrize("shape", [(21, 34, 27), (1, 40, 3), (30, 1, 1), (9, 8, 60)])
def test_clear_radius_is_scipys_transform(shape, share):
    metal = random_cells(3, shape, share)
    metal[0, 0, -1] = True
    expected = 0.2 * ndimage.distance_transform_edt(~metal)
    got = cells.clear_radius(metal, 0.2)
    assert got.dtype == np.float32
    np.testing.assert_allclose(got, expected, rtol=1e-6)
    np.testing.assert_array_equal(got, cells.clear_radius(metal.view(np.uint8), 0.2))


def test_clear_radius_of_a_slot_and_of_no_metal():
    slot = np.array([1, 0, 0, 0, 1], bool).reshape(5, 1, 1)
    np.testing.assert_allclose(  # analytic
        cells.clear_radius(slot, 0.1).ravel(), [0, 0.1, 0.2, 0.1, 0], rtol=1e-6
    )
    assert np.isposinf(cells.clear_radius(np.zeros((3, 4, 5), bool), 0.1)).all()
    assert cells.clear_radius(np.zeros((0, 4, 5), bool), 0.1).shape == (0, 4, 5)


# ---- the widest route


def brute_bottleneck(radius, free, sources, targets):
    """Max-min path by a plain heap."""
    best = {}
    heap = [(-radius.flat[s], s) for s in sources if free.flat[s]]
    heapq.heapify(heap)
    while heap:
        least, at = heapq.heappop(heap)
        if at in best:
            continue
        best[at] = -least
        if at in targets:
            return -least
        here = np.unravel_index(at, radius.shape)
        for axis in range(3):
            for step in (-1, 1):
                to = list(here)
                to[axis] += step
                if 0 <= to[axis] < radius.shape[axis] and free[tuple(to)]:
                    flat = np.ravel_multi_index(to, radius.shape)
                    heapq.heappush(heap, (max(least, -radius.flat[flat]), int(flat)))
    return 0.0


@pytest.mark.parametrize("seed", range(12))
def test_widest_route_has_the_best_bottleneck(seed):
    rng = np.random.default_rng(seed)
    shape = (9, 7, 8)
    radius = rng.random(shape).astype(np.float32)
    free = rng.random(shape) < 0.7
    sources, targets = rng.choice(radius.size, (2, 3), replace=False)
    route, bottleneck = ways.widest_route(radius, free, sources, targets)
    expected = brute_bottleneck(radius, free, sources.tolist(), set(targets.tolist()))
    assert expected - 1 / 4095 <= bottleneck <= expected
    if expected == 0.0:
        assert route.size == 0
        return
    assert route[0] in sources
    assert route[-1] in targets
    assert free.ravel()[route].all()
    assert bottleneck == radius.ravel()[route].min()
    steps = np.diff(np.array(np.unravel_index(route, shape)), axis=1)
    np.testing.assert_array_equal(np.abs(steps).sum(axis=0), 1)
    again, _ = ways.widest_route(radius, free, sources, targets)
    np.testing.assert_array_equal(route, again)
    shared = ways.Widest(radius, free, sources)
    for ends in (targets[:1], targets[1:], [], targets, targets[1:]):  # it goes on where it ended
        alone, room = ways.widest_route(radius, free, sources, ends)
        route, bottleneck = shared.to(ends)
        assert (route.tolist(), bottleneck) == (alone.tolist(), room)


def test_widest_route_keeps_to_the_axis_of_a_tube():
    # analytic: axis at (10, 10), radius 8 cells; the source lies beside the axis
    i, j, _ = np.mgrid[:21, :21, :40]
    metal = (i - 10) ** 2 + (j - 10) ** 2 > 64
    radius = cells.clear_radius(metal, 0.5)
    target = np.flatnonzero((~metal[:, :, -1]).ravel()) * 40 + 39
    route, bottleneck = ways.widest_route(radius, ~metal, [(4 * 21 + 10) * 40], target)
    x, y, z = np.unravel_index(route, metal.shape)
    np.testing.assert_array_equal(np.column_stack((x, y))[z > 0], 10)
    assert bottleneck == radius[4, 10, 0]
    assert len(route) == 40 + 6


def test_widest_route_ends_where_it_begins_and_not_outside():
    radius = np.full((2, 2, 2), np.inf, np.float32)
    free = np.ones((2, 2, 2), bool)
    route, bottleneck = ways.widest_route(radius, free, [3], [3])
    assert route.tolist() == [3]
    assert bottleneck == np.inf
    assert ways.widest_route(radius, ~free, [3], [4])[0].size == 0
    assert ways.widest_route(radius, free, [], [4])[0].size == 0
    with pytest.raises(IndexError, match="not one of 8"):
        ways.widest_route(radius, free, [0], [8])


# ---- the bound on every route


@pytest.mark.parametrize("widest", [1.0, 700.0, 1e5])
@pytest.mark.parametrize("seed", range(4))
def test_no_route_is_wider_than_the_bound(seed, widest):
    # A roomy hall far from the neck makes the steps wide in which radii are told apart.
    rng = np.random.default_rng(seed)
    radius = rng.random((9, 7, 8)).astype(np.float32)
    radius[0, 0, 0] = widest
    free = np.ones(radius.shape, bool)
    _, bottleneck = ways.widest_route(radius, free, [3], [500])
    expected = brute_bottleneck(radius, free, [3], {500})
    bound = ways.widest_bound(radius, bottleneck)
    assert bottleneck <= expected <= bound
    assert bound <= bottleneck + 1.001 * widest / 4094


def test_a_route_that_is_taken_may_be_narrower_than_the_best():
    # Lanes of radii 0.50 and 0.52 beside a hall of 409.5, whose bucket holds both: whichever is
    # taken, the bound holds for the wider one, and in one of the two orders it has to.
    found = []
    for narrow, wide in ((0, 2), (2, 0)):
        radius = np.full((3, 5, 3), 0.6, np.float32)
        radius[0, 2, 1], radius[0, 2, 2] = 409.5, 409.5
        radius[narrow, 2, 0], radius[wide, 2, 0] = 0.50, 0.52
        free = np.zeros(radius.shape, bool)
        free[:, :, 0] = True
        free[1, 1:4, 0] = False
        at = np.ravel_multi_index(([1, 1], [0, 4], [0, 0]), radius.shape)
        _, least = ways.widest_route(radius, free, at[:1], at[1:])
        assert ways.widest_bound(radius, least) >= np.float32(0.52)
        found.append(least)
    assert min(found) < 0.51


# ---- groups


@pytest.mark.parametrize("share", [0.3, 0.5, 0.8])
@pytest.mark.parametrize("seed", range(4))
def test_groups_are_scipys_labels(seed, share):
    free = random_cells(seed, (15, 12, 18), share)
    labels = ndimage.label(free, FACES)[0].ravel()
    group = ways.groups(free)
    open_cells = labels > 0
    pairs = np.unique(
        np.stack([labels[open_cells], group.of(np.flatnonzero(open_cells))], 1), axis=0
    )
    assert len(pairs) == labels.max() == len(np.unique(pairs[:, 1]))


# ---- the shortest chain


def test_a_shortest_chain_takes_as_many_steps_as_the_cells_are_apart():
    free = np.ones((5, 6, 7), bool)
    index = np.arange(free.size).reshape(free.shape)
    ends = index[0, 0, :1], index[4, 5, 6:]
    chain = ways.shortest(ways.packed(free), free, *ends)
    assert len(chain) == 4 + 5 + 6 + 1
    cut = free.astype(np.uint8)
    cut[1] |= ways.CUT_LINK[0]  # along x, from both sides alike
    assert len(ways.shortest(ways.packed(free), cut, *ends)) == 0
    assert len(ways.shortest(ways.packed(free), cut, *ends[::-1])) == 0
    cut[1, 3, 3] = 1
    assert len(ways.shortest(ways.packed(free), cut, *ends)) == 4 + 5 + 6 + 1
    free[2] = False
    assert len(ways.shortest(ways.packed(free), free, *ends)) == 0


def test_a_widest_route_that_strays_is_made_short_and_stays_as_wide():
    # In a flat room all cells are alike, so that the widest route winds through most of it.
    radius = np.ones((40, 40, 1), np.float32)
    radius[20, :39] = 0.5  # but through a door in a wall
    free = np.ones(radius.shape, np.uint8)
    ends = np.array([0]), np.array([radius.size - 1])
    index, room = ways.widest_route(radius, free, *ends)
    assert len(index) > ways.WINDING * 81
    short = ways.straightened(index, radius, free, ends)
    assert len(short) == 39 + 39 + 1
    assert radius.ravel()[short].min() == room == 1.0
    assert ways.straightened(short, radius, free, ends) is short
