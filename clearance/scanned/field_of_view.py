"""What a volume has not scanned: the constant that a rebuilt one has around its field of view.

In: a `Volume`. Out: the same with its `View`, where it has one. Padding reaches the border along
every line of voxels through it, is exactly constant, and is not what void looks like inside: void
that is cut off at one grey value may be as constant, and is left to `greys.classes`.
"""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import numpy as np

from clearance.scanned.greys import half_grey_of
from clearance.scanned.volume import Counts, Floats, View, Volume

CORNER = 2
"""Voxels along each edge of a cube in a corner that are padding if they are all the same."""
LEAST, LEAST_VOXELS = 0.01, 1000
"""Share of the voxels, and voxels, that padding takes at least: fewer are as constant by chance."""
VOID = 0.5
"""Share of the void inside that has the same grey value, from which on it is void's own."""
SAMPLES = 200_000
"""Voxels that say so."""


def viewed(volume: Volume) -> Volume:
    """The volume with its field of view, if there is padding around one.

    Voxels that are no number need no field of view: nothing was scanned there wherever they lie.
    """
    constant = _corner(volume)
    if constant is None:
        return volume
    view, index, greyed = _view(volume, constant)
    outside = view.padded(*index)
    whole = float(np.prod(volume.shape.astype(float)))
    if outside.mean() < max(LEAST, LEAST_VOXELS / whole) or _is_void(greyed[~outside], constant):
        return volume
    return replace(volume, view=view)


def _corner(volume: Volume) -> float | None:
    """The grey value that fills most of the volume's corners; None: none does."""
    found: Counter[float] = Counter()
    far = volume.shape - CORNER
    for corner in np.ndindex(2, 2, 2):
        low: Counts = np.where(corner, far, 0)
        values = volume.window(low, low + CORNER)
        if np.isfinite(values).all() and np.ptp(values) == 0.0:
            found[float(values[0, 0, 0])] += 1
    return max(found, key=lambda value: (found[value], -value), default=None)


def _view(volume: Volume, constant: float) -> tuple[View, tuple[Counts, ...], Floats]:
    """Along every line where it is not constant; some voxels, and their grey values."""
    shape = tuple(int(n) for n in volume.shape)
    nx, ny, nz = shape
    first = [np.full(ends, n, np.int32) for ends, n in (((ny, nz), nx), ((nx, nz), ny))]
    last = [np.zeros(ends, np.int32) for ends in ((ny, nz), (nx, nz))]
    low, high = np.full((nx, ny), nz, np.int32), np.zeros((nx, ny), np.int32)
    rng, places, greyed = np.random.default_rng(7), [], []
    for start, slab in volume.slabs(np.zeros(3, np.int64), volume.shape):
        other = slab != constant  # what is no number is other than anything
        stop = start + slab.shape[2]
        for axis in (0, 1):
            any_, n = other.any(axis), shape[axis]
            ends = other.argmax(axis), n - np.flip(other, axis).argmax(axis)
            first[axis][:, start:stop] = np.where(any_, ends[0], n)
            last[axis][:, start:stop] = np.where(any_, ends[1], 0)
        any_, depth = other.any(2), slab.shape[2]
        low = np.where(any_, np.minimum(low, start + other.argmax(2)), low)
        ends_at = start + depth - np.flip(other, 2).argmax(2)
        high = np.where(any_, np.maximum(high, ends_at), high)
        own = rng.integers(0, slab.shape, (-(-SAMPLES * depth // nz), 3)).T
        greyed.append(slab[tuple(own)])
        places.append(own + np.array([[0], [0], [start]]))
    view = View(constant, (*first, low), (*last, high))
    return view, tuple(np.concatenate(places, 1)), np.concatenate(greyed).astype(np.float64)


def _is_void(inside: Floats, constant: float) -> bool:
    """Whether void, or metal, inside the field of view has that grey value too, as a rule."""
    inside = inside[np.isfinite(inside)]
    if not len(inside) or np.ptp(inside) == 0.0:
        return True
    level = half_grey_of(inside)
    alike = inside[(inside < level) == (constant < level)]
    return bool(len(alike) and np.mean(alike == constant) > VOID)
