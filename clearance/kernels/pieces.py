"""What hangs together, as numbers, where pairs say what is joined.

In: pairs of numbers. Out: the number of the piece of each. Sparse graphs would do as well, but
loading them takes longer than a small check has to join.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from clearance.kernels.compiler import kernel
from clearance.kernels.forest import compact, join, trees
from clearance.kernels.vectors import Array

Ints = NDArray[np.int64]


@kernel
def _pieces(one: Array, other: Array, count: int) -> Array:
    parent = trees(count)
    for n in range(one.shape[0]):
        join(parent, one[n], other[n])
    return compact(parent)


def pieces(one: ArrayLike, other: ArrayLike, count: int) -> Ints:
    """Number of the piece that each of `count` things is in, (count,), from 0.

    Parameters
    ----------
    one, other : (N,) array_like of int, from 0, less than `count`
        Pairs of what is joined.
    count : int
        Fewer than 2**31.

    Notes
    -----
    Pieces are numbered in the order of their first members, as
    `scipy.sparse.csgraph.connected_components` numbers them.
    """
    pairs = [np.array(side, np.int64) for side in (one, other)]
    for side in pairs:
        if len(side) and not 0 <= side.min() <= side.max() < count:
            raise ValueError(f"pairs must name one of {count} things")
    return np.asarray(_pieces(*pairs, count), np.int64)
