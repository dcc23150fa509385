"""A union-find forest in an array of parents.

In: an array in which each number names its parent. Out: joined, or numbered by tree.
"""

from __future__ import annotations

import numpy as np

from clearance.kernels.compiler import inner


@inner
def trees(count):  # type: ignore[no-untyped-def]
    """A forest of `count` trees of one number each, fewer than 2**31."""
    parent = np.empty(count, np.int32)
    for a in range(count):
        parent[a] = a
    return parent


@inner
def find(parent, a):  # type: ignore[no-untyped-def]
    """Root of a in a union-find forest, halving the way."""
    while parent[a] != a:
        parent[a] = parent[parent[a]]
        a = parent[a]
    return a


@inner
def join(parent, a, b):  # type: ignore[no-untyped-def]
    """Join two trees; the smaller number stays root, so the result has one order."""
    a, b = find(parent, a), find(parent, b)
    if a < b:
        parent[b] = a
    elif b < a:
        parent[a] = b


@inner
def compact(parent):  # type: ignore[no-untyped-def]
    """Number the trees of a forest whose roots are smallest, from 0."""
    n = 0
    number = np.empty(parent.shape[0], np.int32)
    for a in range(parent.shape[0]):
        root = find(parent, a)
        if root == a:
            number[a] = n
            n += 1
        else:
            number[a] = number[root]
    return number
