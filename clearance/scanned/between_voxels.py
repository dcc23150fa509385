"""Where faces lie between the voxels of a volume: each column of voxels across one tells by itself.

In: places near the surface at half grey, with the normals of the nominal part. Out: places on the
faces. A face blurred by a Gaussian, and averaged over a voxel, is fitted to a column's grey values
between its own metal and void, so that neither the lattice nor beam hardening moves it.
"""

from __future__ import annotations

import numpy as np
import scipy
from numpy.typing import NDArray

from clearance.scanned.greys import Field
from clearance.scanned.pose import Floats, Ints
from clearance.scanned.volume import Volume

Bools = NDArray[np.bool_]
DEEP, ENDS = 6, 4
"""Voxels on each side of a place that make a column; its last ones say what metal and void are."""
NEAR = 32
"""Columns next to each other that say it together."""
WAYS = np.arange(-DEEP, DEEP + 1)
STEP = 0.5
"""Share of the usual step between metal and void that a column has at least."""
MOVED = 3.0
"""Voxels that a face may lie off the place that it is looked for at."""
SETTLING = 6
"""Steps of Gauss and Newton to where a face lies."""
BLURS, FEW = (0.05, 3.0), 1000
"""Blur in voxels, and columns that tell it."""
UNLIKE = 3.0
"""Times what columns are usually off the blurred face, from which on one shows something else."""


def on_faces(volume: Volume, field: Field, points: Floats, normals: Floats) -> Floats:
    """Places on faces, fewer than were given: one for each column that shows one clearly.

    Parameters
    ----------
    volume : Volume
    field : Field
        All of it; its own voxels are read where it is averaged.
    points, normals : (N, 3) ndarray
        Near a face, mm of the scan, and outward.
    """
    axis = np.abs(normals).argmax(axis=1)
    base = np.rint(points / volume.voxel - 0.5).astype(np.int64)
    once = np.unique(np.column_stack([axis, base]), axis=0, return_index=True)[1]
    points, normals, axis, base = points[once], normals[once], axis[once], base[once]
    count = np.arange(len(points))
    outward = np.sign(normals[count, axis]).astype(np.int64)
    index = np.repeat(base[:, None], len(WAYS), axis=1)
    index[count[:, None], WAYS + DEEP, axis[:, None]] += outward[:, None] * WAYS
    index = np.clip(index, 0, volume.shape - 1)
    greyed = _read(volume, index) if field.averaged > 1 else _known(field, index)
    shares, sound = _shares(greyed, points, normals)
    lean = normals[count, axis] ** 2
    off, sound = _faces(shares, sound, lean, volume.voxel[axis] / volume.voxel.min())
    places = base.astype(np.float64)
    places[count, axis] += outward * off
    lattice = np.column_stack([axis, np.rint(places)])[sound]
    kept = np.flatnonzero(sound)[np.unique(lattice, axis=0, return_index=True)[1]]
    return np.asarray((places[kept] + 0.5) * volume.voxel)


def _known(field: Field, index: Ints) -> Floats:
    """Grey values of voxels (N, M, 3), no number where nothing was scanned."""
    places = tuple(np.moveaxis(index, -1, 0))
    found = field.values[places].astype(np.float64)
    if field.unknown is not None:
        found[field.unknown[places]] = np.nan
    return np.asarray(found)


def _read(volume: Volume, index: Ints) -> Floats:
    """The same from the file, in slabs."""
    flat = index.reshape(-1, 3)
    found, order = np.empty(len(flat)), np.argsort(flat[:, 2], kind="stable")
    low, high = flat.min(axis=0), flat.max(axis=0) + 1
    for first, slab in volume.slabs(low, high):
        start = int(low[2]) + first
        a, b = np.searchsorted(flat[order, 2], (start, start + slab.shape[2]))
        own = order[a:b]
        found[own] = slab[tuple((flat[own] - [low[0], low[1], start]).T)]
    return found.reshape(index.shape[:2])


def _shares(greyed: Floats, points: Floats, normals: Floats) -> tuple[Floats, Bools]:
    """Grey values of columns between their own void, 0, and metal, 1; and which have both.

    Void and metal are lines along a column, as steep for all: beam hardening makes metal darker
    the deeper it lies, and half grey next to a face is not half of what lies deep.
    """
    count = len(greyed)
    ends = np.stack([greyed[:, :ENDS].mean(axis=1), greyed[:, -ENDS:].mean(axis=1)], axis=1)
    known, step = np.isfinite(greyed).all(axis=1), ends[:, 0] - ends[:, 1]
    usual = float(np.median(step[known])) if known.any() else 0.0
    sound: Bools = np.logical_and(known, step > STEP * usual)
    if int(sound.sum()) <= NEAR:
        return greyed, np.zeros(count, bool)
    spread = float(np.ptp(points, axis=0).max())
    places = np.column_stack([points, spread * normals])[sound]  # faces that look elsewhere: far
    near = scipy.spatial.cKDTree(places).query(places, NEAR)[1]
    levels = np.median(ends[sound][near], axis=1)
    metal, void = (
        _line(levels[:, n], greyed[sound][:, own], WAYS[own])
        for n, own in enumerate((slice(None, ENDS), slice(-ENDS, None)))
    )
    clear = (metal - void > 0.5 * STEP * max(usual, 1e-9)).all(axis=1)
    shares, chosen = np.zeros_like(greyed), np.flatnonzero(sound)[clear]
    shares[chosen] = (greyed[chosen] - void[clear]) / (metal - void)[clear]
    return shares, np.isin(np.arange(count), chosen)


def _line(levels: Floats, end: Floats, ways: Ints) -> Floats:
    """Grey values along columns, of a level each at one end and a slope that all share."""
    half = ENDS // 2
    slope = float(np.median(end[:, half:].mean(axis=1) - end[:, :half].mean(axis=1))) / half
    return np.asarray(levels[:, None] + slope * (WAYS - ways.mean()))


def _faces(shares: Floats, sound: Bools, lean: Floats, long: Floats) -> tuple[Floats, Bools]:
    """How far out of the middle of a column its face lies, in voxels, and where that is clear.

    lean : (N,) ndarray
        Square of the normal's component along the column.
    long : (N,) ndarray
        How long a voxel is along the column, over the shortest edge.
    """
    off, left = np.zeros(len(shares)), np.full(len(shares), np.inf)
    chosen = np.flatnonzero(sound)
    if not len(chosen):
        return off, sound
    some = chosen[:: max(1, len(chosen) // FEW)]

    def misfit(blur: float) -> float:
        return float(np.median(_fitted(shares[some], lean[some], blur / long[some])[1]))

    blur = float(scipy.optimize.minimize_scalar(misfit, bounds=BLURS, method="bounded").x)
    off[chosen], left[chosen] = _fitted(shares[chosen], lean[chosen], blur / long[chosen])
    clear = (np.abs(off) < MOVED) & (left < UNLIKE * float(np.median(left[chosen])))
    return off, sound & clear


def _fitted(shares: Floats, lean: Floats, blur: Floats) -> tuple[Floats, Floats]:
    """Where blurred faces lie, in voxels along columns, and what is left, root mean square.

    lean : (N,) ndarray
        Square of the normal's component along the column.
    blur : (N,) ndarray
        Standard deviation, in voxels along the column.
    """
    wide = np.asarray(np.sqrt((blur**2 + (1.0 - lean) / 12.0) / lean))[:, None]

    def whole(x: Floats) -> Floats:  # of a normal distribution's integral
        density = np.exp(-0.5 * x**2) / np.sqrt(2.0 * np.pi)
        return np.asarray(wide * (x * scipy.special.ndtr(x) + density))

    off = np.clip(shares.sum(axis=1) - DEEP - 0.5, -MOVED, MOVED)
    left = shares
    for _ in range(SETTLING):
        low, high = ((WAYS - off[:, None] + end) / wide for end in (-0.5, 0.5))
        slope = scipy.special.ndtr(high) - scipy.special.ndtr(low)
        left = shares - 1.0 + whole(high) - whole(low)
        own = (slope * left).sum(axis=1) / np.maximum((slope**2).sum(axis=1), 1e-9)
        off = np.clip(off + np.clip(own, -0.5, 0.5), -2.0 * MOVED, 2.0 * MOVED)
    return off, np.asarray(np.sqrt((left**2).mean(axis=1)))
