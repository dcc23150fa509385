"""Bounding boxes of stretches of a soup: what a pass over all triangles can leave out.

In: a triangle soup. Out: one box for each thousand triangles or so, in the order of the
soup. Neighbours in a mesh file mostly are neighbours in space, so most stretches lie wholly
beside what is looked for; where they do not, a pass costs what it would without.
"""

from __future__ import annotations

import weakref

import numpy as np
from numpy.typing import NDArray

from clearance.kernels.compiler import kernel

STRETCH = 512
"""Triangles of a stretch: kernels that leave out stretches count in these."""

Boxes = NDArray[np.float32]
_known: dict[int, tuple[weakref.ref[NDArray[np.float32]], Boxes]] = {}


def boxes_of(triangles: NDArray[np.float32]) -> Boxes:
    """Lower and upper corner of every stretch of a soup, (S, 6) mm.

    Kept for as long as the soup itself lives: a part's soup is gone over many times.
    """
    key = id(triangles)
    known = _known.get(key)
    if known is not None and known[0]() is triangles:
        return known[1]
    boxes: Boxes = _boxes(fixed(triangles))
    if len(boxes) > 1:
        _known[key] = (weakref.ref(triangles, lambda _: _known.pop(key, None)), boxes)
    return boxes


def fixed(triangles: NDArray[np.float32]) -> NDArray[np.float32]:
    """A view that cannot be written to: a kernel is compiled once for those that can and cannot."""
    view = triangles.view()
    view.flags.writeable = False
    return view


@kernel
def _boxes(triangles):  # type: ignore[no-untyped-def]
    count = triangles.shape[0]
    boxes = np.empty(((count + STRETCH - 1) // STRETCH, 6), np.float32)
    for s in range(boxes.shape[0]):
        box = boxes[s]
        for a in range(3):
            box[a], box[3 + a] = np.inf, -np.inf
        for f in range(s * STRETCH, min((s + 1) * STRETCH, count)):
            for v in range(3):
                for a in range(3):
                    x = triangles[f, v, a]
                    box[a] = min(box[a], x)
                    box[3 + a] = max(box[3 + a], x)
    return boxes
