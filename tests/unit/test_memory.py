"""What is computed is given back: no kernel keeps hold of the arrays that it was given."""

import sys

import numpy as np
import pytest
import shapes

from clearance.columns.cast import cast
from clearance.columns.grid import Grid
from clearance.columns.possible import possible_void
from clearance.columns.runs import Runs
from clearance.columns.sure import surely_metal
from clearance.sweeps import regions

SOUP = shapes.soup(shapes.block((0, 0, 0), (8, 8, 8)) - shapes.bore((4, 4, -1), (4, 4, 9), 1.5))
GRID = Grid.over(SOUP.min((0, 1)), SOUP.max((0, 1)), 0.5)


def holders(*arrays):
    return [sys.getrefcount(array) for array in arrays]


@pytest.mark.parametrize("pitch", [0.5, 0.8])
def test_the_possible_void_lets_go_of_the_metal_that_it_was_told_of(pitch):
    """A kernel that yields did not: each call cost the sure metal of a window once more."""
    grid = Grid.over(SOUP.min((0, 1)), SOUP.max((0, 1)), pitch)
    sure = surely_metal(SOUP, cast(SOUP, grid))
    metal = Runs(sure.start.copy(), sure.z.copy())
    before = holders(metal.start, metal.z)
    possible_void(metal, grid)
    after = holders(metal.start, metal.z)
    assert after == before


def test_so_do_the_steps_between_runs_that_a_sweep_goes_along():
    sure = surely_metal(SOUP, cast(SOUP, GRID))
    void = possible_void(sure, GRID)
    start, z, wanted = sure.start.copy(), sure.z.copy(), np.ones(len(void.piece), bool)
    before = holders(start, z)
    regions._edges(start, z, GRID.nx, GRID.ny, void.piece, wanted)
    after = holders(start, z)
    assert after == before
