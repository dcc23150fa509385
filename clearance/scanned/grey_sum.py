"""Sheets weighed by grey values: the sum along a column through a known height is a thickness.

In: a `Volume`, where it lies on the part, heights that a sheet may have. Out: `Columns`: thickness
and standard uncertainty, column by column, where void lies on both sides. Source: REFERENCES B6;
void is that of the same column a few voxels above and below.
"""

from __future__ import annotations

from collections.abc import Iterator
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
LEAST_DISC = 1.26
"""Radius, in columns, of the smallest disc: five columns."""
LEANING = 1.5
"""Radius, in columns, of the disc that tells from noise that a column leans."""
LEAST_BESIDE = 4
"""Voxels above and below that say what void is there."""
LEAST_COLUMNS = 20
"""Fewer do not tell their noise."""


@dataclass(frozen=True, eq=False)
class Means:
    """Thickness over discs of one radius around every column, [x, y], and its uncertainty, mm."""

    radius_mm: float
    thick: Floats
    u: Floats
    own: Bools


@dataclass(frozen=True, eq=False)
class Columns:
    """Sheets in columns along z of the part, [x, y].

    Attributes
    ----------
    low : (2,) ndarray, mm
        Place of the first column.
    pitch_mm : float
    discs : tuple of Means
        Of a sheet there, averaged over discs that grow; the last is quiet enough.
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
    smear_mm : float
        How far besides blur, and the columns' distance, carry what is weighed.
    narrow : bool
        The event can leave metal there that is narrower than the disc: it would be averaged away.
    """

    low: Floats
    pitch_mm: float
    discs: tuple[Means, ...]
    void: Bools
    hollow: Bools
    total: Floats
    u_total: float
    u_share: float
    smear_mm: float = 0.0
    narrow: bool = False

    @property
    def disc_mm(self) -> float:
        """Radius of the disc that is quiet enough."""
        return self.discs[-1].radius_mm

    @property
    def thick(self) -> Floats:
        """Thickness of a sheet at each column, over the disc that is quiet enough, mm."""
        return self.discs[-1].thick

    @property
    def u(self) -> Floats:
        """Its standard uncertainty, mm."""
        return self.discs[-1].u

    def empty(self, thin_mm: float) -> Bools:
        """Where surely less than half of the thinnest sheet lies."""
        if self.narrow:
            return np.zeros_like(self.void)
        return self.void & (self.thick + SURELY * self.u < 0.5 * thin_mm)

    def covered(self) -> Iterator[tuple[Bools, float]]:
        """Where surely some metal lies within a radius, mm, between void and void; and the radius.

        A hole that is wider by twice the radius than what is not covered of it cannot be.
        """
        for one in self.discs:
            sure: Bools = self.void & one.own & (one.thick - SURELY * one.u > 0.0)
            yield sure, max(one.radius_mm, LEAST_DISC * self.pitch_mm) + self.smear_mm

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
    stack = _stack(volume, greys, pose, heights, low, high, pitch)
    void, around = _void(stack)
    full, u_full = _metal(stack)
    missing = np.maximum(full - around, 1e-3)  # what a sheet would add
    excess = pitch * (stack.between - around[..., None]).sum(axis=2)
    discs = tuple(_discs(stack, void, excess, missing, (u_full, thin_mm, noise)))
    column = stack.factor * _noise(stack, void, 0.0, noise)
    return Columns(
        low=np.asarray(low, float),
        pitch_mm=pitch,
        discs=discs,
        void=discs[-1].own,
        hollow=stack.known & (around < 0.5),
        total=excess / missing,
        u_total=column / max(full, 0.1),
        u_share=u_full,
        smear_mm=DEEP * greys.own_blur_mm + pitch / np.sqrt(2.0),
    )


def _discs(
    stack: _Stack,
    void: Bools,
    excess: Floats,
    missing: Floats,
    known: tuple[float, float, float],
) -> Iterator[Means]:
    """Means over discs that grow, to the first that is quiet enough.

    known : (relative uncertainty of metal, thinnest sheet in mm, noise of a voxel)
    """
    u_full, thin_mm, noise = known
    for disc in DISCS:
        own = stack.factor * _noise(stack, void, disc, noise)
        near = _Near.of(void, disc)
        wanting = near.mean(missing)
        thick = near.mean(excess) / np.maximum(wanting, 1e-3)
        u = np.hypot(own / np.sqrt(np.clip(near.share, 0.1, 1.0)), near.mean(stack.lean))
        u = np.hypot(u / np.maximum(wanting, 0.05), u_full * np.abs(thick))
        yield Means(disc * stack.pitch_mm, thick, u, near.own)
        if SURELY * own <= QUIET * thin_mm:
            return


@dataclass(frozen=True, eq=False)
class _Stack:
    """Grey values on columns along z, over the step from void to metal.

    Attributes
    ----------
    under, between, over : ndarray, [x, y, z]
        Below, at and above the heights of the sheet; metal where the volume has none.
    known : ndarray of bool, [x, y]
        All of the column lies in the volume.
    pitch_mm : float
    """

    under: Floats
    between: Floats
    over: Floats
    known: Bools
    pitch_mm: float

    @property
    def apart(self) -> Floats:
        """By how much the two sides differ."""
        return np.asarray(self.over.mean(axis=2) - self.under.mean(axis=2))

    @property
    def lean(self) -> Floats:
        """What a change along the column adds to its sum, as a standard uncertainty, mm.

        Whichever way it leans: beside the walls of a slanting bore blur takes from the sum on
        either side, so columns that lean against each other do not make up for it.
        """
        leans = np.abs(_disc(self.apart, LEANING))
        return np.asarray(0.5 * self.pitch_mm * self.between.shape[2] * leans / np.sqrt(3.0))

    @property
    def factor(self) -> float:
        """Standard uncertainty of a column's sum, mm, over that of the mean of one side."""
        count, beside = self.between.shape[2], self.under.shape[2]
        return float(self.pitch_mm * count * np.sqrt(beside / count + 0.5))


@dataclass(frozen=True, eq=False)
class _Near:
    """Means over discs of columns, of those that are void."""

    own: Bools
    share: Floats
    weight: Floats
    disc: float

    @classmethod
    def of(cls, void: Bools, disc: float) -> _Near:
        weight = np.where(void, 1.0, 0.0)
        taken = _disc(weight, disc)
        own = void & (taken > 0.3)
        return cls(own, np.where(own, np.maximum(taken, 1e-3), 1.0), weight, disc)

    def mean(self, values: Floats) -> Floats:
        """Over the void columns of a disc; where there are few, over all of it."""
        mine = _disc(values * self.weight, self.disc) / self.share
        return np.where(self.own, mine, _disc(values, self.disc))


def _stack(
    volume: Volume,
    greys: Greys,
    pose: Pose,
    heights: tuple[float, float],
    low: Floats,
    high: Floats,
    pitch: float,
) -> _Stack:
    deep = DEEP * greys.own_blur_mm + pitch
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
    ).reshape(nx, ny, len(z))
    shares = (greyed - greys.void) / (greys.metal - greys.void)
    known: Bools = np.asarray(np.isfinite(shares).all(axis=2))
    under, between, over = np.split(np.nan_to_num(shares, nan=1.0), [beside, -beside], axis=2)
    return _Stack(under, between, over, known, pitch)


def _void(stack: _Stack) -> tuple[Bools, Floats]:
    """Where surely void lies on both sides all the way, and the mean grey value beside."""
    under, over = stack.under, stack.over
    around = 0.5 * (under.mean(axis=2) + over.mean(axis=2))
    void = stack.known & (under.mean(axis=2) < MIXED) & (over.mean(axis=2) < MIXED)
    weight = np.where(void, 1.0, 0.0)
    near = np.maximum(_disc(weight, 1.5), 1e-3)
    for side in (under, over):
        thirds = np.array_split(side, max(1, side.shape[2] // 3), axis=2)
        for third in thirds:  # powder may fill a part of the height only
            void &= _disc(third.mean(axis=2) * weight, 1.5) / near < MIXED
    return void, around


def _metal(stack: _Stack) -> tuple[float, float]:
    """Grey of metal beside, over the step, and its relative standard uncertainty."""
    under, over = stack.under, stack.over
    metal = (under.mean(axis=2) > SURE) & (over.mean(axis=2) > SURE)
    deep = scipy.ndimage.binary_erosion(metal, iterations=int(DEEP))
    values = np.concatenate([under[deep].mean(axis=1), over[deep].mean(axis=1)])
    if len(values) < LEAST_COLUMNS:
        return 1.0, 0.1
    middle = float(np.median(values))
    return middle, SPREAD * float(np.median(np.abs(values - middle))) / middle


def _noise(stack: _Stack, plane: Bools, disc: float, noise: float) -> float:
    """Standard deviation of one side's mean over a disc: by what the two sides differ, or more."""
    weight = np.where(plane, 1.0, 0.0)
    taken = _disc(weight, disc)
    inside = plane & (taken > 0.99)
    white = float(noise / np.sqrt(stack.under.shape[2] * max(1.0, np.pi * disc**2)))
    if int(inside.sum()) < LEAST_COLUMNS:
        return white
    own = (_disc(stack.apart * weight, disc) / np.maximum(taken, 1e-3))[inside]
    own = SPREAD * float(np.median(np.abs(own - np.median(own)))) / np.sqrt(2.0)
    return max(float(own), white)


def _disc(values: Floats, radius: float) -> Floats:
    """Mean over a disc around each column, in voxels."""
    if radius < 1.0:
        return np.asarray(values, np.float64)
    reach = int(radius)
    x, y = np.mgrid[-reach : reach + 1, -reach : reach + 1]
    disc = np.where(x**2 + y**2 <= radius**2, 1.0, 0.0)
    return np.asarray(scipy.ndimage.convolve(values, disc / disc.sum(), mode="nearest"))
