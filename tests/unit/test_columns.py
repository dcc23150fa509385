"""Columns: exact casting, interval arithmetic, labels."""

import numpy as np
import pytest
import shapes
from scipy import ndimage

from clearance.columns.cast import cast
from clearance.columns.grid import UNIT_MM, Grid
from clearance.columns.runs import Runs, intersect, levels, subtract, unite
from clearance.columns.voids import around, label
from clearance.geometry.soup import box_soup


def runs(*columns):
    z = [pair for column in columns for pair in column]
    start = np.cumsum([0, *(len(column) for column in columns)])
    return Runs(start.astype(np.int64), np.array(z, float).reshape(-1, 2))


def as_lists(found):
    return [found.of(c).tolist() for c in range(len(found.start) - 1)]


def grid_over(soup, pitch):
    return Grid.over(soup.min((0, 1)), soup.max((0, 1)), pitch)


def test_a_box_is_cut_exactly():
    soup = box_soup((0.0, 0.0, 1.25), (10.0, 6.0, 4.5))
    columns = cast(soup, grid_over(soup, 0.5))
    found = columns.metal.z
    assert found.min() == 1.25  # analytic: the box's faces, to the last bit
    assert found.max() == 4.5
    assert len(found) == 20 * 12  # analytic: columns half a pitch off round numbers
    assert columns.volume_mm3() == pytest.approx(10 * 6 * 3.25, rel=1e-3)
    assert columns.unclosed == 0
    assert columns.most_winding == 1


def test_overlapping_shells_are_one_piece():
    soup = np.concatenate([box_soup((0, 0, 0), (4, 4, 4)), box_soup((0, 0, 2), (4, 4, 6))])
    columns = cast(soup, grid_over(soup, 0.5))
    assert columns.most_winding == 2
    assert np.unique(columns.metal.z, axis=0).tolist() == [[0.0, 6.0]]


def test_shells_that_touch_leave_no_gap():
    soup = np.concatenate([box_soup((0, 0, 0), (4, 4, 2)), box_soup((0, 0, 2), (4, 4, 6))])
    columns = cast(soup, grid_over(soup, 0.5))
    assert np.unique(columns.metal.z, axis=0).tolist() == [[0.0, 6.0]]


def test_a_cavity_is_void():
    inner = box_soup((1, 1, 1), (3, 3, 3))[:, ::-1]
    soup = np.concatenate([box_soup((0, 0, 0), (4, 4, 4)), inner])
    columns = cast(soup, grid_over(soup, 0.5))
    middle = columns.metal.of(
        np.ravel_multi_index(columns.grid.nearest(2, 2), (columns.grid.nx, columns.grid.ny))
    )
    assert middle.tolist() == [[0.0, 1.0], [3.0, 4.0]]


def test_an_open_mesh_and_an_inverted_one_are_told():
    soup = box_soup((0, 0, 0), (4, 4, 4))
    without_top = soup[soup[..., 2].min(axis=1) < 4.0]
    assert cast(without_top, grid_over(soup, 0.5)).unclosed == 8 * 8
    assert cast(soup[:, ::-1], grid_over(soup, 0.5)).least_winding == -1


def test_columns_on_slanting_edges_belong_to_one_triangle():
    # The diagonal of a square face runs through columns: each must be counted once.
    step = 2 * round(0.5 / UNIT_MM / 2)
    size = 16 * step * UNIT_MM
    soup = box_soup((0, 0, 0), (size, size, 1.0))
    columns = cast(soup, Grid(step + 1, step + 1, step, 14, 14))
    assert columns.unclosed == 0
    assert as_lists(columns.metal) == [[[0.0, 1.0]]] * (14 * 14)


def test_the_lattice_does_not_depend_on_the_box():
    large = Grid.over(np.array([0.0, 0, 0]), np.array([50.0, 50, 0]), 0.2)
    small = Grid.over(np.array([13.37, 7.1, 0]), np.array([20.0, 21.0, 0]), 0.2)
    assert (small.x0 - large.x0) % large.step == 0
    assert (small.y0 - large.y0) % large.step == 0


def test_a_smaller_window_is_taken_out_of_a_larger():
    soup = shapes.tilted_bore()
    large = cast(soup, grid_over(soup, 0.5))
    middle = (soup.min((0, 1)) + soup.max((0, 1))) / 2
    grid = Grid.over(middle - 2, middle + 2, 0.5)
    found = large.within(grid)
    assert found is not None
    assert as_lists(found.metal) == as_lists(cast(soup, grid).metal)
    assert large.within(Grid.over(middle - 2, middle + 2, 0.3)) is None


def test_interval_arithmetic_by_hand():
    a = runs([(0, 2), (4, 6)], [(0, 1)], [])
    b = runs([(1, 5)], [], [(2, 3)])
    assert as_lists(unite(a, b)) == [[[0, 6]], [[0, 1]], [[2, 3]]]
    assert as_lists(subtract(a, b)) == [[[0, 1], [5, 6]], [[0, 1]], []]
    assert as_lists(intersect(a, b)) == [[[1, 2], [4, 5]], [], []]
    assert as_lists(levels(a, [1.0, 1.5], 0.5)) == [[[0.5, 2.0]], [[0.5, 2.0]], []]


def test_labels_agree_with_dense_labelling():
    rng = np.random.default_rng(7)
    metal = rng.random((12, 11, 9)) < 0.4
    metal[:, :, 0] = metal[:, :, -1] = False  # void below and above
    metal[0] = metal[-1] = metal[:, 0] = metal[:, -1] = False
    grid = Grid(1, 1, 2, 12, 11)
    columns = []
    for column in metal.reshape(-1, 9):
        edge = np.diff(np.concatenate(([0], column.astype(int), [0])))
        columns.append(list(zip(np.nonzero(edge == 1)[0], np.nonzero(edge == -1)[0], strict=True)))
    found = label(runs(*columns), grid)
    _, count = ndimage.label(~metal)
    assert found.max() + 1 == count
    assert found[0] == 0


def test_around_grows_a_piece_sideways_and_in_height():
    metal = runs(*[[(0, 1), (2, 3)]] * 25)
    grid = Grid(1, 1, 2, 5, 5)
    piece = np.zeros(len(metal.z) + 25, np.int32)
    middle = 2 * 5 + 2
    piece[metal.start[middle] + middle + 1] = 1  # the void run from 1 to 2 of the middle column
    found = around(metal, grid, piece, {1}, 1, 0.25)
    lengths = found.length_mm().reshape(5, 5)
    assert (lengths[1:4, 1:4] == 1.5).all()
    assert lengths.sum() == 9 * 1.5
