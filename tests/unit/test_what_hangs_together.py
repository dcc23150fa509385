"""What hangs together, against another library's graphs."""

import numpy as np
import pytest
from scipy.ndimage import label
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from clearance.kernels.pieces import pieces
from clearance.passages.window_cells import _neighbours


@pytest.mark.parametrize("links", [0, 1, 40, 90, 400])
def test_pieces_are_numbered_as_by_another_library(links):
    """Reference: scipy.sparse.csgraph, which numbers by first members too."""
    random = np.random.default_rng(links)
    one, other = random.integers(0, 100, (2, links))
    graph = coo_array((np.ones(links), (one, other)), shape=(100, 100))
    expected = connected_components(graph, directed=False)[1]
    assert pieces(one, other, 100).tolist() == expected.tolist()


def test_a_pair_that_names_nothing_is_refused():
    """The kernel itself would write beside its array."""
    for bad in (-1, 3):
        with pytest.raises(ValueError, match="one of 3 things"):
            pieces([0], [bad], 3)
    assert pieces([], [], 0).tolist() == []


def test_cells_that_share_a_face_hang_together():
    """Reference: scipy.ndimage.label, on a random window."""
    free = np.random.default_rng(4).random((7, 9, 11)) < 0.4
    cells = np.flatnonzero(free)
    found = pieces(*_neighbours(cells, free.shape), len(cells))
    expected = label(free)[0].ravel()[cells] - 1
    assert found.tolist() == expected.tolist()
