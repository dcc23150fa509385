"""Arrays that have become too small, copied to larger ones.

In: an array. Out: a larger one that begins with it.
"""

from __future__ import annotations

import numpy as np

from clearance.kernels.compiler import inner


@inner
def grown(array, capacity):  # type: ignore[no-untyped-def]
    """A longer array that begins with a shorter one."""
    larger = np.empty(capacity, array.dtype)
    for n in range(array.shape[0]):  # a slice would be copied as fast, but compiles in seconds
        larger[n] = array[n]
    return larger


@inner
def grown_runs(runs):  # type: ignore[no-untyped-def]
    """Room for twice as many intervals, or other pairs."""
    larger = np.empty((2 * runs.shape[0], 2), runs.dtype)
    for n in range(runs.shape[0]):
        larger[n, 0], larger[n, 1] = runs[n, 0], runs[n, 1]
    return larger
