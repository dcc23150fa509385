"""A volume laid on the part, and its metal as two surfaces: what may be metal, and what surely is.

In: the prepared case, its volume, heights of the stray sheets. Out: a `Volumed`. A sheet that a
threshold would not show is weighed by grey sums; where that does not prove it absent it counts as
metal for the low end of every bracket.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import scipy
import shapely
from numpy.typing import NDArray

from clearance.geometry.soup import Soup, extent
from clearance.passages.crossings import Crossing
from clearance.result.scan import VolumeResult
from clearance.scanned.grey_sum import Columns, weighed
from clearance.scanned.greys import (
    MIXED,
    NOISES,
    QUIET,
    REACH,
    SURE,
    Field,
    Greys,
    averaged,
    classes,
    half_grey,
    plane_places,
    thinnest_shown,
    with_blur,
)
from clearance.scanned.pose import Floats, Pose, Surface
from clearance.scanned.registration import Registered, registered
from clearance.scanned.thin_sheets import thinnest_sheet
from clearance.scanned.volume import Volume, read_volume
from clearance.verdict.passage_check import PassageCheck
from clearance.verdict.prepared import Checked

AROUND_MM = 1.0
"""How far around a crossing columns are weighed."""
VOXELS = 20_000
"""Voxels that tell what void and metal look like."""
FAR = 3.0
"""Voxels from a face, where void and metal are looked at."""
CORNER = 0.5
"""Area of what a disc leaves of a corner, over its radius squared, at most: 0.21 of a right one."""
OFF = 0.25
"""Voxels that a surface between grey values may lie off."""

Sheet = tuple[float, float]
StraySheet = tuple[int, Sheet]


@dataclass(frozen=True, eq=False)
class Weighed:
    """Columns at one crossing of a passage."""

    passage: str
    crossing: int
    columns: Columns
    footprint: shapely.Geometry

    def sheet(self, beside_mm: float | None = None) -> tuple[float, float] | None:
        """Mean thickness over the crossing and its standard uncertainty, mm.

        beside_mm : float, optional
            Only where no sheet lies that is thick against one so thick.
        """
        nx, ny = self.columns.void.shape
        x = self.columns.low[0] + self.columns.pitch_mm * np.arange(nx)
        y = self.columns.low[1] + self.columns.pitch_mm * np.arange(ny)
        inside = shapely.contains_xy(self.footprint, *np.meshgrid(x, y, indexing="ij"))
        chosen = np.asarray(inside)
        if beside_mm is not None:
            chosen = chosen & ~self.columns.shut(beside_mm)
        return self.columns.mean(chosen)


@dataclass(frozen=True, eq=False)
class Volumed:
    """A volume laid on the part.

    Attributes
    ----------
    registered : Registered
        By its surface at half grey.
    mixed, sure : Registered
        The same with the surface of what may be metal, and of what surely is.
    told : VolumeResult
    edge_mm : float
        How far those two surfaces lie off the metal's, by the blur.
    uncertainty_mm : float
        How far a surface may lie off besides.
    weighed : tuple of Weighed
    filled : bool
        What no grey sum proves empty counts as metal in `mixed`, at the heights of every sheet.
    """

    registered: Registered
    mixed: Registered
    sure: Registered
    told: VolumeResult
    edge_mm: float
    uncertainty_mm: float
    weighed: tuple[Weighed, ...]
    filled: bool

    def sheet(
        self, passage: str, crossing: int, beside_mm: float | None = None
    ) -> tuple[float, float] | None:
        """Thickness weighed at one crossing, mm, with its standard uncertainty."""
        for one in self.weighed:
            if (one.passage, one.crossing) == (passage, crossing):
                return one.sheet(beside_mm)
        return None


def volumed(
    checked: Checked,
    checks: Sequence[PassageCheck],
    levels: tuple[Sheet, ...],
    sheets: Sequence[StraySheet],
    progress: Callable[[str], None],
) -> Volumed:
    """Read the volume of a case and lay it on the part.

    Parameters
    ----------
    checked : Checked
    checks : sequence of PassageCheck
        Judged.
    levels : tuple of (low, high), mm
        Heights that tell nothing of where the part lies.
    sheets : sequence of (stray, (low, high)), mm
        Heights that a sheet may have.

    Raises
    ------
    ScanError
        It cannot be laid on the part, or blur cannot be told.
    PartError
        It cannot be read.
    """
    scan = checked.case.scan
    assert scan is not None
    volume = read_volume(scan)
    field = averaged(volume)
    nominal = checked.bodies.part
    found, pose = _laid(field, nominal, levels, scan.placed)
    progress("void, metal and blur in the grey values")
    field, greys, noise = _greys(checked, field, found, pose, levels, scan.blur)
    slant = np.abs(pose.rotation[2]) @ field.voxel
    shown = thinnest_shown(greys, 0.5 * float(slant))
    if shown is not None and scan.thinnest_shown is not None:
        shown = max(shown, scan.thinnest_shown)
    off = _uncertainty(greys, field) if scan.uncertainty is None else scan.uncertainty
    edge = float(scipy.special.ndtri(SURE)) * greys.blur_mm
    windows = [check.window(checked.pitch_mm) for check in checks]
    thinnest = [thinnest_sheet(checked, window, off + edge) for window in windows]
    thin = min((one for one in thinnest if one is not None), default=None)
    columns: tuple[Weighed, ...] = ()
    if thin is not None:
        progress("thin sheets weighed by their grey values")
        columns = tuple(_weighed(volume, greys, pose, checks, sheets, thin, noise))
    blind = thin is not None and (shown is None or shown > thin)
    filling = _Filling(
        field, pose, np.array(extent(nominal)), [s for _, s in sheets], columns, thin or 0.0
    )
    mixed = filling.surface(greys, MIXED, blind)
    sure = filling.surface(greys, SURE, False)
    told = VolumeResult(
        voxel_mm=(float(volume.voxel[0]), float(volume.voxel[1]), float(volume.voxel[2])),
        void=greys.void,
        metal=greys.metal,
        noise=noise,
        blur_mm=greys.own_blur_mm,
        blur_measured=greys.measured,
        averaged=field.averaged,
        shown_mm=shown,
    )
    return Volumed(
        registered=found,
        mixed=_with(found, mixed, pose),
        sure=_with(found, sure, pose),
        told=told,
        edge_mm=edge,
        uncertainty_mm=off,
        weighed=columns,
        filled=blind,
    )


def _laid(
    field: Field, nominal: Soup, levels: tuple[Sheet, ...], placed: bool
) -> tuple[Registered, Pose]:
    """The surface at half grey laid on the part, and the pose of the volume's own coordinates."""
    soup = field.surface(half_grey(field))
    (a, b), (c, d) = extent(soup), extent(nominal)
    move = 0.5 * (c + d) - 0.5 * (a + b)
    found = registered((soup + move).astype(np.float32), nominal, levels, placed)
    turn = found.fit.pose
    return found, Pose(turn.rotation, turn.rotation @ move + turn.shift)


def _greys(
    checked: Checked,
    field: Field,
    found: Registered,
    pose: Pose,
    levels: tuple[Sheet, ...],
    blur_mm: float | None,
) -> tuple[Field, Greys, float]:
    """The field, smoothed if it is noisy; what void and metal look like; a voxel's noise."""
    rng = np.random.default_rng(5)
    index = rng.integers(0, field.values.shape, (VOXELS, 3))
    points = (index + 0.5) * field.voxel
    nominal = Surface.of(checked.bodies.part)
    at = pose.at(points)
    apart = np.ones(len(at), bool)
    for low, high in levels:
        apart &= (at[:, 2] < low) | (at[:, 2] > high)
    away, off, _ = nominal.off(at)
    off, wide = np.where(apart, np.sign(off) * away, 0.0), float(field.voxel.max())
    greys = classes(field, points, off, FAR * wide)
    noise = greys.noise * field.averaged**1.5
    if greys.noise > QUIET:
        field = field.smoothed()
        greys = classes(field, points, off, FAR * wide)
    places, normals = plane_places(nominal, REACH * wide)
    piece, apart = np.zeros(len(places), np.int64), np.ones(len(places), bool)
    for low, high in levels:
        piece += places[:, 2] > 0.5 * (low + high)
        apart &= (places[:, 2] < low) | (places[:, 2] > high)
    there = (places - found.fit.moves[piece] - pose.shift) @ pose.rotation
    greys = with_blur(greys, field, there[apart], (normals @ pose.rotation)[apart], blur_mm)
    return field, greys, noise


def _weighed(
    volume: Volume,
    greys: Greys,
    pose: Pose,
    checks: Sequence[PassageCheck],
    sheets: Sequence[StraySheet],
    thin_mm: float,
    noise: float,
) -> Iterator[Weighed]:
    """Columns around every crossing of the predicted part, at all heights of its sheet."""
    for check in checks:
        crossings: Sequence[Crossing] = check.judged[0].crossings if check.judged else ()
        for number, one in enumerate(crossings):
            a, b, c, d = one.footprint.buffer(AROUND_MM).bounds
            for stray, heights in sheets:
                if stray != one.stray:
                    continue
                corner, far = np.array([a, b]), np.array([c, d])
                found = weighed(volume, greys, pose, heights, corner, far, thin_mm, noise)
                found = replace(found, narrow=narrower(one, found.disc_mm))
                yield Weighed(check.passage.name, number, found, one.footprint)


def narrower(crossing: Crossing, disc_mm: float) -> bool:
    """Whether stray metal in a crossing, with the walls, has a piece that no such disc fits into.

    The corner of a piece is no such piece, being smaller than half of the disc's square.
    """
    metal = shapely.difference(crossing.footprint.buffer(2.0 * disc_mm), crossing.opening)
    lost = shapely.difference(metal, metal.buffer(-disc_mm).buffer(1.001 * disc_mm))
    return (
        max((float(one.area) for one in shapely.get_parts(lost)), default=0.0) > CORNER * disc_mm**2
    )


def _uncertainty(greys: Greys, field: Field) -> float:
    """How far a surface may lie off besides the blur: between voxels, and by noise beyond it."""
    density = float(np.exp(-0.5 * scipy.special.ndtri(SURE) ** 2) / np.sqrt(2.0 * np.pi))
    bump = NOISES * max(greys.noise, greys.metal_noise) / density - float(scipy.special.ndtri(SURE))
    return OFF * float(field.voxel.max()) + max(0.0, bump) * greys.blur_mm


def _with(found: Registered, soup: Soup, pose: Pose) -> Registered:
    laid = pose.at(soup.reshape(-1, 3).astype(np.float64)).reshape(-1, 3, 3)
    return replace(found, triangles=laid.astype(np.float32) + np.float32(0.0))


@dataclass(frozen=True, eq=False)
class _Filling:
    """Surfaces of a field, with metal put where a sheet may lie, or surely lies."""

    field: Field
    pose: Pose
    box: Floats
    heights: Sequence[Sheet]
    weighed: Sequence[Weighed]
    thin_mm: float

    def surface(self, greys: Greys, share: float, unless_empty: bool) -> Soup:
        """Surface at a share of the step to metal.

        unless_empty : bool
            True: metal wherever a sheet may lie and no grey sum proves it absent; False: where a
            grey sum proves one.
        """
        before = [self._put(span, greys, unless_empty, share) for span in self.heights]
        soup = self.field.surface(greys.level(share))
        for window, values in reversed([one for one in before if one is not None]):
            self.field.values[window] = values
        return soup

    def _put(
        self, span: Sheet, greys: Greys, unless_empty: bool, share: float
    ) -> tuple[tuple[slice, ...], NDArray[np.float32]] | None:
        if share == MIXED and not unless_empty:
            return None
        wide = float(self.field.voxel.max())
        (x0, y0, _), (x1, y1, _) = self.box
        low, high = np.array([x0, y0, span[0] - wide]), np.array([x1, y1, span[1] + wide])
        corners = np.stack(np.meshgrid(*np.stack([low, high], 1), indexing="ij"), -1)
        index = (corners.reshape(-1, 3) - self.pose.shift) @ self.pose.rotation / self.field.voxel
        shape = np.array(self.field.values.shape)
        first = np.clip(np.floor(index.min(axis=0)).astype(np.int64), 0, shape)
        last = np.clip(np.ceil(index.max(axis=0)).astype(np.int64) + 1, first, shape)
        window = tuple(slice(int(a), int(b)) for a, b in zip(first, last, strict=True))
        at = self.pose.at(self.field.centres(first, last))
        inside = ((at >= low) & (at <= high)).all(axis=1)
        empty, sheet = np.zeros(len(at), bool), np.zeros(len(at), bool)
        for one in self.weighed:
            number = one.columns.number(at)
            known = number >= 0
            empty |= known & one.columns.empty(self.thin_mm).ravel()[number]
            sheet |= known & one.columns.sheet(self.thin_mm).ravel()[number]
        metal = inside & (~empty if unless_empty else sheet)
        values = self.field.values[window]
        before = values.copy()
        values[metal.reshape(values.shape)] = greys.metal
        return window, before
