"""Sheets weighed by grey values: the sum along a column through a known height is a thickness.

In: a `Volume`, where it lies on the part, heights that a sheet may have. Out: `Columns`: thickness
and standard uncertainty, column by column, where void lies on both sides. Source: REFERENCES B6;
void is that of the same column a few voxels above and below.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import scipy
from numpy.typing import NDArray

from clearance.scanned.greys import DEEP, MIXED, SPREAD, SURE, Greys
from clearance.scanned.pose import Floats, Pose
from clearance.scanned.volume import Volume

Bools = NDArray[np.bool_]
DISCS = (1.0, 1.5, 2.0, 3.0, 4.0)
"""Radii in voxels over which columns are taken together, the smallest that is quiet enough."""
SURELY = 3.0
"""Standard uncertainties in what is called empty, or shut."""
QUIET = 0.2
"""Share of the thinnest sheet that so many uncertainties should be under."""
LEAST_BESIDE = 4
"""Voxels above and below that say what void is there."""
LEAST_COLUMNS = 20
"""Fewer do not tell their noise."""


@dataclass(frozen=True, eq=False)
class Columns:
    """Sheets in columns along z of the part, [x, y].

    Attributes
    ----------
    low : (2,) ndarray, mm
        Place of the first column.
    pitch_mm : float
    thick, u : ndarray, mm
        Of a sheet there, averaged over a disc of `disc_mm` in radius; and its standard uncertainty.
    void : ndarray of bool
        Surely void lies above and below.
    hollow : ndarray of bool
        More void than metal lies there.
    total : ndarray, mm
        What each column alone sums to.
    u_total : float, mm
        Standard uncertainty of one column alone.
    u_share : float
        Of the step to metal, of itself: the same for all columns.
    disc_mm : float
    narrow : bool
        The event can leave metal there that is narrower than the disc: it would be averaged away.
    """

    low: Floats
    pitch_mm: float
    thick: Floats
    u: Floats
    void: Bools
    hollow: Bools
    total: Floats
    u_total: float
    u_share: float
    disc_mm: float
    narrow: bool = False

    def empty(self, thin_mm: float) -> Bools:
        """Where surely less than half of the thinnest sheet lies."""
        if self.narrow:
            return np.zeros_like(self.void)
        return self.void & (self.thick + SURELY * self.u < 0.5 * thin_mm)

    def sheet(self, thin_mm: float) -> Bools:
        """Where surely more than half of the thinnest sheet lies between void and void.

        A wall is none: how far it reaches its own grey values tell.
        """
        return self.void & (self.thick - SURELY * self.u > 0.5 * thin_mm)

    def shut(self, thin_mm: float) -> Bools:
        """Where surely more than half of the thinnest sheet lies, or wall."""
        return ~self.hollow | (self.thick - SURELY * self.u > 0.5 * thin_mm)

    def number(self, points: Floats) -> NDArray[np.int64]:
        """Column at each point, as an index into the raveled arrays; -1 outside."""
        index = np.rint((points[:, :2] - self.low) / self.pitch_mm).astype(np.int64)
        inside = ((index >= 0) & (index < self.void.shape)).all(axis=1)
        return np.where(inside, index[:, 0] * self.void.shape[1] + index[:, 1], -1)

    def mean(self, chosen: Bools) -> tuple[float, float] | None:
        """Thickness over chosen columns and its standard uncertainty, mm; None: few are void."""
        mine = chosen & self.void
        count = int(mine.sum())
        if count < LEAST_COLUMNS:
            return None
        thick = float(self.total[mine].mean())
        return thick, float(np.hypot(self.u_total / np.sqrt(count), self.u_share * thick))


def weighed(
    volume: Volume,
    greys: Greys,
    pose: Pose,
    heights: tuple[float, float],
    low: Floats,
    high: Floats,
    thin_mm: float,
    noise: float,
) -> Columns:
    """Weigh what lies at the heights of a sheet in a rectangle of columns.

    Parameters
    ----------
    volume : Volume
    greys : Greys
    pose : Pose
        The part's coordinates of the scan.
    heights : (low, high), mm
        Where a sheet may lie, in the part's coordinates.
    low, high : (2,) ndarray, mm
        The rectangle.
    thin_mm : float
        Thinnest sheet that is looked for.
    noise : float
        Standard deviation of a voxel of the volume, over the step to metal.
    """
    pitch = float(np.prod(volume.voxel) ** (1.0 / 3.0))
    stack, beside = _stack(volume, pose, heights, low, high, pitch, greys.own_blur_mm)
    shares = (stack - greys.void) / (greys.metal - greys.void)
    known: Bools = np.asarray(np.isfinite(shares).all(axis=2))
    shares = np.nan_to_num(shares, nan=1.0)
    under, over = shares[..., :beside], shares[..., -beside:]
    void, around = _void(under, over, known)
    full, u_full = _metal(under, over)
    missing = np.maximum(full - around, 1e-3)  # what a sheet would add
    between = shares[..., beside:-beside]
    count = between.shape[2]
    excess = pitch * (between - around[..., None]).sum(axis=2)
    lean = 0.5 * pitch * count * (over.mean(axis=2) - under.mean(axis=2)) / np.sqrt(3.0)
    plane = void & known
    column = _noise(over.mean(axis=2) - under.mean(axis=2), plane, 0.0, beside, noise)
    factor = pitch * count * np.sqrt(beside / count + 0.5)
    for disc in DISCS:
        one = _noise(over.mean(axis=2) - under.mean(axis=2), plane, disc, beside, noise)
        if SURELY * factor * one <= QUIET * thin_mm:
            break
    weight = np.where(plane, 1.0, 0.0)
    taken = _disc(weight, disc)
    own = plane & (taken > 0.3)
    thick = np.where(own, _disc(excess * weight, disc), _disc(excess, disc))
    wanting = np.where(own, _disc(missing * weight, disc), _disc(missing, disc))
    thick = thick / np.maximum(wanting, 1e-3)
    share = np.where(own, np.maximum(taken, 1e-3), 1.0)
    leaning = np.abs(np.where(own, _disc(lean * weight, disc) / share, _disc(lean, disc)))
    mean = np.where(own, wanting / share, wanting)
    u = np.hypot(factor * one / np.sqrt(np.clip(share, 0.1, 1.0)), leaning) / np.maximum(mean, 0.05)
    u = np.hypot(u, u_full * np.abs(thick))
    first = np.asarray(low, float)
    return Columns(
        first,
        pitch,
        thick,
        u,
        own,
        known & (around < 0.5),
        excess / missing,
        factor * column / max(full, 0.1),
        u_full,
        disc * pitch,
    )


def _stack(
    volume: Volume,
    pose: Pose,
    heights: tuple[float, float],
    low: Floats,
    high: Floats,
    pitch: float,
    blur_mm: float,
) -> tuple[Floats, int]:
    """Grey values on columns along z, [x, y, z], and how many lie beside the sheet at each end."""
    deep = DEEP * blur_mm + pitch
    bottom, top = heights[0] - deep, heights[1] + deep
    count = int(np.ceil((top - bottom) / pitch))
    beside = max(LEAST_BESIDE, -(-count // 2))
    nx, ny = (int(np.ceil((b - a) / pitch)) + 1 for a, b in zip(low, high, strict=True))
    z = bottom + pitch * (np.arange(-beside, count + beside) + 0.5)
    axes = (low[0] + pitch * np.arange(nx), low[1] + pitch * np.arange(ny), z)
    points = np.stack(np.meshgrid(*axes, indexing="ij"), -1).reshape(-1, 3)
    index = ((points - pose.shift) @ pose.rotation) / volume.voxel - 0.5
    first = np.clip(np.floor(index.min(axis=0)).astype(np.int64), 0, volume.shape - 1)
    last = np.clip(np.ceil(index.max(axis=0)).astype(np.int64) + 1, first + 1, volume.shape)
    window = volume.window(first, last)
    greyed = scipy.ndimage.map_coordinates(
        window, (index - first).T, order=1, mode="constant", cval=np.nan, output=np.float64
    )
    return greyed.reshape(nx, ny, len(z)), beside


def _void(under: Floats, over: Floats, known: Bools) -> tuple[Bools, Floats]:
    """Where surely void lies on both sides all the way, and the mean grey value beside."""
    around = 0.5 * (under.mean(axis=2) + over.mean(axis=2))
    void = known & (under.mean(axis=2) < MIXED) & (over.mean(axis=2) < MIXED)
    weight = np.where(void, 1.0, 0.0)
    near = np.maximum(_disc(weight, 1.5), 1e-3)
    for side in (under, over):
        thirds = np.array_split(side, max(1, side.shape[2] // 3), axis=2)
        for third in thirds:  # powder may fill a part of the height only
            void &= _disc(third.mean(axis=2) * weight, 1.5) / near < MIXED
    return void, around


def _metal(under: Floats, over: Floats) -> tuple[float, float]:
    """Grey of metal beside, over the step, and its relative standard uncertainty."""
    metal = (under.mean(axis=2) > SURE) & (over.mean(axis=2) > SURE)
    deep = scipy.ndimage.binary_erosion(metal, iterations=int(DEEP))
    values = np.concatenate([under[deep].mean(axis=1), over[deep].mean(axis=1)])
    if len(values) < LEAST_COLUMNS:
        return 1.0, 0.1
    middle = float(np.median(values))
    return middle, SPREAD * float(np.median(np.abs(values - middle))) / middle


def _noise(apart: Floats, plane: Bools, disc: float, beside: int, noise: float) -> float:
    """Standard deviation of one side's mean over a disc: by what the two sides differ, or more."""
    weight = np.where(plane, 1.0, 0.0)
    taken = _disc(weight, disc)
    inside = plane & (taken > 0.99)
    white = noise / np.sqrt(beside * max(1.0, np.pi * disc**2))
    if int(inside.sum()) < LEAST_COLUMNS:
        return white
    own = (_disc(apart * weight, disc) / np.maximum(taken, 1e-3))[inside]
    own = SPREAD * float(np.median(np.abs(own - np.median(own)))) / np.sqrt(2.0)
    return max(own, white)


def _disc(values: Floats, radius: float) -> Floats:
    """Mean over a disc around each column, in voxels."""
    if radius < 1.0:
        return np.asarray(values, np.float64)
    reach = int(radius)
    x, y = np.mgrid[-reach : reach + 1, -reach : reach + 1]
    disc = np.where(x**2 + y**2 <= radius**2, 1.0, 0.0)
    return np.asarray(scipy.ndimage.convolve(values, disc / disc.sum(), mode="nearest"))
