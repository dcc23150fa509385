"""Grey values of a volume made ready: averaged, void and metal told, blur measured.

In: a `Volume`, the nominal part laid on it. Out: a `Field` of grey values that fits in memory, as a
surface at any level, and `Greys`: what void and metal look like, noise, blur, and which sheets a
threshold surely shows. Sources: REFERENCES B4, an edge blurred by a Gaussian is its integral.
"""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import scipy
from numpy.typing import NDArray

from clearance.geometry.soup import Soup
from clearance.scanned.pose import Floats, Surface, sampled
from clearance.scanned.registration import ScanError
from clearance.scanned.volume import INSTALL, Counts, Volume

MOST = 16_000_000
"""Voxels that are looked at as a whole; of a larger volume, cubes of voxels are averaged for where
it lies on the part, and windows of it are read for the passages."""
MOST_WINDOW = 16_000_000
"""Voxels of a window; of a larger one, cubes of voxels are averaged."""
QUIET = 0.04
"""Noise over the step to metal from which on the whole is smoothed before a threshold."""
SMOOTHED = 1.0
"""By so many voxels, as a standard deviation."""
MIXED, SURE = 0.25, 0.75
"""Shares of the step from void to metal: what is below the first is surely void, above the second
surely metal; between lie edges, thin sheets and powder, which packs to about a half."""
NOISES = 4.0
"""Standard deviations of the noise that a sheet has to stand over a threshold."""
PROFILES, FEW_PROFILES, LEAST_PROFILES = 4000, 200, 40
"""Places on the part's faces where the blur is looked at, of a large volume, and the fewest that
tell it."""
REACH = 4.0
"""Voxels on each side of a face that are looked at."""
SATURATED = 0.3
"""Share of metal's voxels that have the greatest grey value, or of void's that have the least,
where grey values are cut off."""
SPREAD = 1.4826
"""Standard deviation of a normal distribution over its median absolute deviation."""
NUDGE = 1e-3
"""Share of all grey values between the darkest and the brightest that none lies to a level."""
DEEP = 3.0
"""Standard deviations of the blur from a face, where its edge no longer shows."""


@dataclass(frozen=True, eq=False)
class Field:
    """Grey values in memory, [x, y, z].

    Attributes
    ----------
    values : ndarray of float32
    voxel : (3,) ndarray, mm
    averaged : int
        Voxels of the file along each edge of one of its own.
    low : (3,) ndarray, mm
        Lowest corner of its first voxel, in the scan's coordinates.
    added_mm2 : float
        Variance of what averaging and smoothing blur, besides the scan's own blur.
    unknown : ndarray of bool, or None
        Voxels in which nothing was scanned; there `values` has the darkest. None: no such.
    """

    values: NDArray[np.float32]
    voxel: Floats
    averaged: int
    low: Floats = dataclasses.field(default_factory=lambda: np.zeros(3))
    added_mm2: float = 0.0
    unknown: NDArray[np.bool_] | None = None

    @property
    def not_scanned(self) -> float:
        """Share of its voxels in which nothing was scanned."""
        return 0.0 if self.unknown is None else float(self.unknown.mean())

    def at(self, points: Floats) -> Floats:
        """Grey values at points of the scan, (N, 3) mm; between voxels linearly.

        No number where a voxel beside a point was not scanned.
        """
        index = ((points - self.low) / self.voxel - 0.5).T
        found = np.asarray(
            scipy.ndimage.map_coordinates(self.values, index, order=1, mode="nearest"), np.float64
        )
        if self.unknown is not None:
            lost = self.unknown.astype(np.float32)
            lost = scipy.ndimage.map_coordinates(lost, index, order=1, mode="nearest")
            found[lost > 0.0] = np.nan
        return found

    def centres(self, low: Floats, high: Floats) -> Floats:
        """Centres of voxels low <= index < high, (N, 3) mm."""
        steps = [np.arange(low[k], high[k]) + 0.5 for k in range(3)]
        axes = [self.low[k] + self.voxel[k] * steps[k] for k in range(3)]
        return np.stack(np.meshgrid(*axes, indexing="ij"), -1).reshape(-1, 3)

    def smoothed(self) -> Field:
        """Less noise, more blur."""
        values = scipy.ndimage.gaussian_filter(self.values, SMOOTHED, truncate=3.0)
        own, unknown = (SMOOTHED * float(self.voxel.max())) ** 2, self.unknown
        if unknown is not None:  # and what it was smoothed into
            unknown = scipy.ndimage.maximum_filter(unknown, 2 * round(3.0 * SMOOTHED) + 1)
        return replace(self, values=values, added_mm2=self.added_mm2 + own, unknown=unknown)

    def surface(self, level: float) -> Soup:
        """Closed soup where grey passes a level, (F, 3, 3) mm; scikit-image's marching cubes.

        Raises
        ------
        ScanError
            Nothing passes it.
        """
        try:
            from skimage import measure
        except ImportError:
            raise ScanError(f"a volume needs an extra: {INSTALL}") from None
        low, high = float(self.values.min()), float(self.values.max())
        if not low < level < high:
            raise ScanError(f"grey values run from {low:g} to {high:g}: no metal apart from void")
        closed = np.pad(self.values, 1, constant_values=low)
        beside = NUDGE * (high - low)  # on a voxel's centre corners of triangles would coincide
        for layer in closed:  # one at a time: all of it at once takes as much memory again
            layer[np.abs(layer - level) < beside] = level + beside
        points, faces, _, _ = measure.marching_cubes(closed, level, gradient_direction="ascent")
        return np.asarray((((points - 0.5) * self.voxel + self.low)[faces]).astype(np.float32))


@dataclass(frozen=True)
class Greys:
    """What void and metal look like.

    Attributes
    ----------
    void, metal : float
        Grey values: air around the part; metal away from its faces.
    noise, metal_noise : float
        Standard deviation in void of a voxel of the field; the same in metal, with what its grey
        values differ from place to place; both over the step from void to metal.
    blur_mm : float
        Standard deviation of the field's blur.
    own_blur_mm : float
        The same of the scan itself: less what averaging and smoothing added.
    measured : bool
        On the part's own faces; else as given.
    """

    void: float
    metal: float
    noise: float
    metal_noise: float
    blur_mm: float = 0.0
    own_blur_mm: float = 0.0
    measured: bool = True

    def level(self, share: float) -> float:
        """Grey value at a share of the step from void to metal."""
        return self.void + share * (self.metal - self.void)


def averaged(
    volume: Volume, low: Counts | None = None, high: Counts | None = None, most: int | None = None
) -> Field:
    """A box of a volume, or all of it, in slabs; cubes of voxels averaged where it would not fit.

    Of a cube in which one voxel was not scanned nothing is known.

    Parameters
    ----------
    volume : Volume
    low, high : (3,) ndarray, optional
        Voxels low <= index < high.
    most : int, optional
        Voxels that fit; default `MOST`.

    Raises
    ------
    ScanError
        Nothing was scanned there.
    """
    low, high = (
        np.zeros(3, np.int64) if low is None else low,
        volume.shape if high is None else high,
    )
    edge = 1
    while np.prod(-(-(high - low) // edge)) > (MOST if most is None else most):
        edge += 1
    values = np.empty(-(-(high - low) // edge), np.float32)
    for first, slab in volume.slabs(low, high, edge):
        cubes = slab
        for axis in (2, 1, 0):  # z first: slices lie apart in the file
            cubes = _binned(cubes, axis, edge)
        values[:, :, first // edge : first // edge + cubes.shape[2]] = cubes
    added = (edge**2 - 1) / 12.0 * float(volume.voxel.max()) ** 2
    unknown = np.isnan(values)
    if unknown.all():
        raise ScanError("no grey value is left: padding, or no numbers, only")
    if unknown.any():
        values[unknown] = np.nanmin(values)
    known = unknown if unknown.any() else None
    return Field(values, edge * volume.voxel, edge, low * volume.voxel, added, known)


def _binned(values: NDArray[np.float32], axis: int, edge: int) -> NDArray[np.float32]:
    """Means of so many neighbours along an axis, the last one repeated to fill up."""
    if edge == 1:
        return values
    rest = -values.shape[axis] % edge
    if rest:
        last = np.take(values, [-1] * rest, axis)
        values = np.concatenate([values, last], axis)
    along = np.moveaxis(values, axis, 0)
    total = along[::edge].copy()
    for step in range(1, edge):
        total += along[step::edge]
    return np.moveaxis(total / np.float32(edge), 0, axis)


def half_grey(field: Field) -> float:
    """A first threshold between void and metal, of what was scanned."""
    values = field.values if field.unknown is None else field.values[~field.unknown]
    return half_grey_of(values.ravel()[:: max(1, values.size // 1_000_000)])


def half_grey_of(values: NDArray[Any]) -> float:
    """A first threshold between void and metal: the middle of two classes' medians (Otsu).

    Raises
    ------
    ScanError
        There are no two classes.
    """
    low, high = np.quantile(values, (0.001, 0.999))
    if not high > low:
        raise ScanError("the grey values are all the same: no metal apart from void")
    counts, edges = np.histogram(values.astype(np.float64), 256, (float(low), float(high)))
    middles, weights = 0.5 * (edges[1:] + edges[:-1]), np.cumsum(counts)
    sums = np.cumsum(counts * middles)
    below, above = weights[:-1], weights[-1] - weights[:-1]
    apart = sums[:-1] / np.maximum(below, 1) - (sums[-1] - sums[:-1]) / np.maximum(above, 1)
    cut = edges[1 + int(np.argmax(below * above * apart**2))]
    dark, bright = np.median(values[values <= cut]), np.median(values[values > cut])
    for _ in range(2):  # without edges, which would draw both towards each other
        step = bright - dark
        low, high = values[values < dark + MIXED * step], values[values > dark + SURE * step]
        dark, bright = np.median(low), np.median(high)
    return 0.5 * float(dark + bright)


def classes(field: Field, points: Floats, off: Floats, far_mm: float) -> Greys:
    """Void and metal by places that the nominal part has deep in either.

    Parameters
    ----------
    points : (N, 3) ndarray, mm
        In the scan's coordinates.
    off : (N,) ndarray, mm
        Distance from the nominal part's surface, negative in metal.
    far_mm : float
        So far off an edge no longer shows.
    """
    void, metal = (
        greyed[np.isfinite(greyed)]
        for greyed in (field.at(points[off > far_mm]), field.at(points[off < -far_mm]))
    )
    if min(len(void), len(metal)) < LEAST_PROFILES:
        if field.unknown is not None:
            raise ScanError(
                f"nothing was scanned in {100.0 * field.not_scanned:.0f} % of its voxels (padding, "
                "or no numbers), and the rest shows too little void, or metal, away from faces"
            )
        raise ScanError(
            "its voxels are too coarse: nowhere is the part thicker than its edges blur"
        )
    dark, bright = float(np.median(void)), float(np.median(metal))
    step = bright - dark
    if step <= 0.0:
        raise ScanError("metal is not brighter than void: the grey values are turned round")
    noises = [SPREAD * float(np.median(np.abs(v - np.median(v)))) / step for v in (void, metal)]
    if noises[0] > 0.0 and np.mean(metal >= field.values.max()) > SATURATED:
        raise ScanError(
            f"much of the metal has the greatest grey value, {bright:g}: cut off, so that edges "
            "lie too far out and sheets weigh too much; rebuild it with a wider range"
        )
    if noises[1] > 0.0 and np.mean(void <= field.values.min()) > SATURATED:
        raise ScanError(
            f"much of the void has the least grey value, {dark:g}: cut off, so that thin sheets "
            "weigh too little, or nothing; rebuild it with a wider range"
        )
    return Greys(dark, bright, max(noises[0], 1e-3), max(noises[1], 1e-3))


def with_blur(greys: Greys, field: Field, edges: Edges | None, given_mm: float | None) -> Greys:
    """The blur, measured across the part's own faces, or as given.

    Parameters
    ----------
    edges : Edges or None
        Across faces that are plane far enough.
    given_mm : float or None
        Of the scan itself.

    Raises
    ------
    ScanError
        No face tells it.
    """
    own = given_mm
    if own is None:
        if edges is None or len(edges.profiles) < LEAST_PROFILES:
            raise ScanError(
                "the part has no face that is plane far enough to measure the scan's blur on: "
                "give `blur`, from a plane face or foil scanned beside it"
            )
        own = edges.blur_mm(greys.metal - greys.void)
    blur = float(np.hypot(own, np.sqrt(field.added_mm2)))
    return replace(greys, blur_mm=blur, own_blur_mm=own, measured=given_mm is None)


@dataclass(frozen=True, eq=False)
class Edges:
    """Grey values across faces, from inside outward.

    Attributes
    ----------
    profiles : (N, M) ndarray
    ways_mm : (M,) ndarray
        How far outward of the face each lies.
    voxel_mm : float
    added_mm2 : float
        Variance that the voxels have besides the scan's own blur.
    """

    profiles: Floats
    ways_mm: Floats
    voxel_mm: float
    added_mm2: float

    def blur_mm(self, step: float) -> float:
        """Standard deviation of the scan's own blur; `step`: from void to metal.

        Raises
        ------
        ScanError
            Too few profiles show an edge.
        """
        inner = self.profiles[:, :8].mean(1, keepdims=True)
        outer = self.profiles[:, -8:].mean(1, keepdims=True)
        sound = (inner - outer)[:, 0] > 0.5 * step
        scaled = (self.profiles - outer) / np.where(inner > outer, inner - outer, 1.0)
        if int(sound.sum()) < LEAST_PROFILES:
            raise ScanError("its edges are too blurred to be measured: give `blur`")
        mean = scaled[sound].mean(axis=0)
        at = [float(np.interp(-share, -mean, self.ways_mm)) for share in (0.84134, 0.15866)]
        between = self.voxel_mm**2 / 6.0  # grey values are told linearly between voxels
        own = max((0.5 * (at[1] - at[0])) ** 2 - between, (0.1 * self.voxel_mm) ** 2)
        return float(np.sqrt(max(own - self.added_mm2, 0.0)))


def edges_in(field: Field, points: Floats, normals: Floats) -> Edges:
    """Grey values of a field across faces, (N, 3) mm of the scan, with their outward normals."""
    wide = float(field.voxel.max())
    ways = _ways(wide)
    greyed = field.at((points[:, None] + ways[:, None] * normals[:, None]).reshape(-1, 3))
    greyed = greyed.reshape(len(points), -1)
    return Edges(greyed[np.isfinite(greyed).all(axis=1)], ways, wide, field.added_mm2)


def edges_of(volume: Volume, points: Floats, normals: Floats) -> Edges:
    """The same in the voxels of the file, of a few faces, each in a window of its own."""
    wide = float(volume.voxel.max())
    room, every = (REACH + 1.0) * wide, max(1, len(points) // FEW_PROFILES)
    points, normals, found = points[::every], normals[::every], []
    for n in np.argsort(points[:, 2]):
        first = np.floor((points[n] - room) / volume.voxel).astype(np.int64)
        last = np.ceil((points[n] + room) / volume.voxel).astype(np.int64)
        first, last = np.clip(first, 0, volume.shape), np.clip(last, 0, volume.shape)
        if (last - first).min() > 1 and np.isfinite(volume.window(first, last)).any():
            field = averaged(volume, first, last)
            found.append(edges_in(field, points[[n]], normals[[n]]).profiles)
    profiles = np.concatenate(found) if found else np.empty((0, len(_ways(wide))))
    return Edges(profiles, _ways(wide), wide, 0.0)


def _ways(wide: float) -> Floats:
    return np.linspace(-REACH, REACH, 65) * wide


def plane_places(nominal: Surface, reach_mm: float) -> tuple[Floats, Floats]:
    """Places on the nominal part, (N, 3) mm, whose face is plane so far around, and normals."""
    points = sampled(nominal.triangles, PROFILES, seed=3)
    normals = nominal.off(points)[2]
    plane = np.ones(len(points), bool)
    for side in (-1.0, 1.0):
        away, off, _ = nominal.off(points + side * reach_mm * normals)
        plane &= (away > 0.98 * reach_mm) & (np.sign(off) == side)
    return points[plane], normals[plane]


def thinnest_shown(greys: Greys, half_voxel_mm: float) -> float | None:
    """Thinnest sheet that stands above `MIXED` wherever it lies between voxels, mm.

    Of a sheet t thick a blur s leaves erf(t / (2 sqrt(2) s)) of the step (REFERENCES B4), less
    half a voxel beside its middle; noise must not bring that under the threshold. None: none.
    """
    blur, needed = greys.blur_mm, MIXED + NOISES * greys.noise
    if needed >= 0.95:
        return None

    def peak(thick: float) -> float:
        ends = (np.array([0.5, -0.5]) * thick + half_voxel_mm) / blur
        return float(scipy.special.ndtr(ends[0]) - scipy.special.ndtr(ends[1]))

    low, high = 0.0, 2.0 * half_voxel_mm + 12.0 * blur
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if peak(middle) < needed else (low, middle)
    return high
