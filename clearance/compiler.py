"""How every kernel is compiled: once a machine, without the lock of the interpreter.

In: a function on arrays and numbers. Out: the same function, compiled when first called.

A bare whole number in a call of one kernel from another is compiled for its very value, and once
more for all others; `np.int64(0)` is not.
"""

from numba import njit

kernel = njit(cache=True, nogil=True, no_cfunc_wrapper=True)
"""Without the entry for callers in C, which nobody uses and which takes a tenth of the time."""
