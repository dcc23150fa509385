"""Which void run holds a point: beside a plain walk over the runs of its column."""

import numpy as np

from clearance.columns.grid import UNIT_MM, Grid
from clearance.columns.runs import Runs
from clearance.columns.voids import run_at, runs_at_points


def walked(metal, grid, point):
    """The same one by one; a run of metal ends with its faces."""
    i, j = (round(c / grid.pitch_mm) for c in point[:2])
    i, j = min(max(i, 0), grid.nx - 1), min(max(j, 0), grid.ny - 1)
    column = i * grid.ny + j
    below = 0
    for low, high in metal.of(column):
        if low <= point[2] <= high:
            return None
        below += high < point[2]
    return int(metal.start[column]) + column + below


def test_points_are_found_in_the_void_run_of_their_column():
    grid = Grid(0, 0, round(0.5 / UNIT_MM), 4, 3)
    draw = np.random.default_rng(5)
    count = draw.integers(0, 4, grid.count)
    start = np.concatenate([[0], np.cumsum(count)])
    z = [np.sort(draw.choice(20, 2 * n, replace=False)).reshape(-1, 2) for n in count]
    metal = Runs(start, np.concatenate(z).astype(float))
    points = draw.uniform((-1, -1, -1), (3, 2, 21), (400, 3))
    points[::3, 2] = np.round(points[::3, 2])  # faces too
    wanted = [walked(metal, grid, point) for point in points]
    assert [run_at(metal, grid, point) for point in points] == wanted
    assert runs_at_points(metal, grid, points).tolist() == [-1 if w is None else w for w in wanted]
    assert None in wanted
    assert len(set(wanted)) > grid.count


def test_without_metal_each_column_is_one_void_run():
    grid = Grid(0, 0, round(0.5 / UNIT_MM), 2, 2)
    none = Runs(np.zeros(5, np.int64), np.empty((0, 2)))
    assert run_at(none, grid, np.array([0.6, 0.1, 3.0])) == 2
