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

from clearance.geometry.soup import Box, Soup, extent
from clearance.passages.crossings import Crossing
from clearance.result.scan import VolumeResult
from clearance.scanned.between_voxels import on_faces
from clearance.scanned.crossings import Covered
from clearance.scanned.field_of_view import viewed
from clearance.scanned.grey_sum import Columns, weighed
from clearance.scanned.greys import (
    MIXED,
    MOST_WINDOW,
    NOISES,
    QUIET,
    REACH,
    SURE,
    Edges,
    Field,
    Greys,
    averaged,
    classes,
    edges_in,
    edges_of,
    half_grey,
    plane_places,
    thinnest_shown,
    with_blur,
)
from clearance.scanned.pose import Floats, Pose, Surface
from clearance.scanned.registration import Registered, ScanError, registered
from clearance.scanned.thin_sheets import thinnest_sheet
from clearance.scanned.volume import LEAST_VOXELS, Volume, read_volume
from clearance.verdict.passage_check import PassageCheck
from clearance.verdict.prepared import Checked

AROUND_MM = 1.0
"""How far around a crossing columns are weighed."""
VOXELS = 20_000
"""Voxels that tell what void and metal look like."""
FAR = 3.0
"""Voxels from a face, where void and metal are looked at."""
ROOM_MM, ROOM = 1.0, 8.0
"""How far around a passage's window voxels are read, in mm and in pitches besides: more than a
mouth is cut plane around."""
BESIDE = 3.0
"""Voxels from an edge of the part, where a face does not tell where it lies."""
CORNER = 0.5
"""Area of what a disc leaves of a corner, over its radius squared, at most: 0.21 of a right one."""
OFF = 0.25
"""Voxels that a surface between grey values may lie off."""

Sheet = tuple[float, float]
StraySheet = tuple[int, Sheet]
_Put = tuple[tuple[slice | NDArray[np.int64], ...], NDArray[np.float32]]


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
        chosen = np.asarray(shapely.contains_xy(self.footprint, *self._places()))
        if beside_mm is not None:
            chosen = chosen & ~self.columns.shut(beside_mm)
        return self.columns.mean(chosen)

    def covered(self) -> list[Covered]:
        """Where surely some metal lies within the radius of a disc of columns."""
        x, y = self._places()
        half = 0.5 * self.columns.pitch_mm * (1.0 + 1e-6)  # cells that overlap unite
        found = []
        for sure, radius_mm in self.columns.covered():
            a, b = x[sure], y[sure]
            cells = shapely.union_all(shapely.box(a - half, b - half, a + half, b + half))
            found.append(Covered(cells, radius_mm))
        return found

    def _places(self) -> tuple[Floats, Floats]:
        nx, ny = self.columns.void.shape
        x = self.columns.low[0] + self.columns.pitch_mm * np.arange(nx)
        y = self.columns.low[1] + self.columns.pitch_mm * np.arange(ny)
        x, y = np.meshgrid(x, y, indexing="ij")
        return np.asarray(x), np.asarray(y)


@dataclass(frozen=True, eq=False)
class LaidVolume:
    """A volume laid on the part by its surface at half grey; `pose`: of its own coordinates.

    `field`: all of it, cubes of voxels averaged where it is large.
    """

    volume: Volume
    field: Field
    registered: Registered
    pose: Pose


@dataclass(frozen=True, eq=False)
class Volumed:
    """A window of a volume, or all of it, with the passages that are judged there.

    Attributes
    ----------
    look : LaidVolume
    levels : tuple of (low, high), mm
        Heights that told nothing of where the part lies.
    box : Box or None
        The window in the part's coordinates; None: all of the volume.
    mixed, sure : Registered
        Surface of what may be metal, and of what surely is.
    told : VolumeResult
    edge_mm : float
        How far those two surfaces lie off the metal's, by the blur.
    uncertainty_mm : float
        How far a surface may lie off besides.
    weighed : tuple of Weighed
    filled : bool
        What no grey sum proves empty counts as metal in `mixed`, at the heights of every sheet.
    """

    look: LaidVolume
    levels: tuple[Sheet, ...]
    box: Box | None
    mixed: Registered
    sure: Registered
    told: VolumeResult
    edge_mm: float
    uncertainty_mm: float
    weighed: tuple[Weighed, ...]
    filled: bool

    @property
    def registered(self) -> Registered:
        """By its surface at half grey."""
        return self.look.registered

    def sheet(
        self, passage: str, crossing: int, beside_mm: float | None = None
    ) -> tuple[float, float] | None:
        """Thickness weighed at one crossing, mm, with its standard uncertainty."""
        for one in self.weighed:
            if (one.passage, one.crossing) == (passage, crossing):
                return one.sheet(beside_mm)
        return None

    def covered(self, passage: str, crossing: int) -> list[Covered]:
        """Where metal is weighed at one crossing."""
        for one in self.weighed:
            if (one.passage, one.crossing) == (passage, crossing):
                return one.covered()
        return []


def laid_volume(checked: Checked, levels: tuple[Sheet, ...]) -> LaidVolume:
    """Read the volume of a case and lay it on the part.

    Parameters
    ----------
    checked : Checked
    levels : tuple of (low, high), mm
        Heights that tell nothing of where the part lies.

    Raises
    ------
    ScanError
        It cannot be laid on the part.
    PartError
        It cannot be read.
    """
    scan, nominal = checked.case.scan, checked.bodies.part
    assert scan is not None
    volume = viewed(read_volume(scan))
    field = averaged(volume)
    level = half_grey(field)
    soup = field.surface(level)
    (a, b), (c, d) = extent(soup), extent(nominal)
    move = 0.5 * (c + d) - 0.5 * (a + b)

    def finer(points: Floats, normals: Floats) -> Floats:
        return on_faces(volume, field, points - move, normals) + move

    beside = BESIDE * float(volume.voxel.max())
    found = registered(
        (soup + move).astype(np.float32), nominal, levels, scan.placed, finer, beside
    )
    turn = found.fit.pose
    pose = Pose(turn.rotation, turn.rotation @ move + turn.shift)
    return LaidVolume(volume, field, found, pose)


def volumed(
    checked: Checked,
    checks: Sequence[PassageCheck],
    levels: tuple[Sheet, ...],
    sheets: Sequence[StraySheet],
    progress: Callable[[str], None],
) -> Volumed:
    """The volume of a case laid on the part, all of it, with metal as two surfaces.

    Parameters
    ----------
    checks : sequence of PassageCheck
        Judged.
    levels : tuple of (low, high), mm
        Heights that tell nothing of where the part lies.
    sheets : sequence of (stray, (low, high)), mm
        Heights that a sheet may have.

    Raises
    ------
    ScanError
        It cannot be laid on the part, or void, metal or blur cannot be told.
    PartError
        It cannot be read.
    """
    look = laid_volume(checked, levels)
    return _volumed(checked, checks, look, None, levels, sheets, progress)


def windows(
    checked: Checked,
    checks: Sequence[PassageCheck],
    whole: Volumed,
    sheets: Sequence[StraySheet],
    progress: Callable[[str], None],
) -> Iterator[tuple[Volumed, Sequence[PassageCheck]]]:
    """All of a volume; or of a large one a window for the passages of each void, one at a time.

    Parameters and faults as `volumed`.
    """
    if whole.look.field.averaged == 1:
        yield whole, checks
        return
    together: dict[bytes, list[PassageCheck]] = {}
    for check in checks:
        box = check.window(checked.pitch_mm).box
        together.setdefault(box.low.tobytes() + box.high.tobytes(), []).append(check)
    for own in together.values():
        box = own[0].window(checked.pitch_mm).box.grown(ROOM_MM + ROOM * checked.pitch_mm)
        yield _volumed(checked, own, whole.look, box, whole.levels, sheets, progress), own


def _volumed(
    checked: Checked,
    checks: Sequence[PassageCheck],
    look: LaidVolume,
    box: Box | None,
    levels: tuple[Sheet, ...],
    sheets: Sequence[StraySheet],
    progress: Callable[[str], None],
) -> Volumed:
    scan, volume, pose = checked.case.scan, look.volume, look.pose
    assert scan is not None
    progress("void, metal and blur in the grey values")
    field = look.field if box is None else _window(look, box)
    field, greys, noise = _greys(checked, field, look, levels, scan.blur)
    slant = np.abs(pose.rotation[2]) @ field.voxel
    shown = thinnest_shown(greys, 0.5 * float(slant))
    if shown is not None and scan.thinnest_shown is not None:
        shown = max(shown, scan.thinnest_shown)
    off = _uncertainty(greys, field) if scan.uncertainty is None else scan.uncertainty
    edge = float(scipy.special.ndtri(SURE)) * greys.blur_mm
    around = [check.window(checked.pitch_mm) for check in checks]
    thinnest = [thinnest_sheet(checked, window, off + edge) for window in around]
    thin = min((one for one in thinnest if one is not None), default=None)
    columns: tuple[Weighed, ...] = ()
    if thin is not None:
        progress("thin sheets weighed by their grey values")
        columns = tuple(_weighed(volume, greys, pose, checks, sheets, thin, noise))
    blind = thin is not None and (shown is None or shown > thin)
    part = np.array(extent(checked.bodies.part))
    filling = _Filling(field, pose, part, [s for _, s in sheets], columns, thin or 0.0)
    mixed = filling.surface(greys.level(MIXED), greys.metal, blind)
    sure = field.surface(greys.level(SURE))
    told = VolumeResult(
        voxel_mm=(float(volume.voxel[0]), float(volume.voxel[1]), float(volume.voxel[2])),
        void=greys.void,
        metal=greys.metal,
        noise=noise,
        blur_mm=greys.own_blur_mm,
        blur_measured=greys.measured,
        averaged=field.averaged,
        shown_mm=shown,
        not_scanned=look.field.not_scanned,
    )
    return Volumed(
        look=look,
        levels=levels,
        box=box,
        mixed=_with(look.registered, mixed, pose),
        sure=_with(look.registered, sure, pose),
        told=told,
        edge_mm=edge,
        uncertainty_mm=off,
        weighed=columns,
        filled=blind,
    )


def _window(look: LaidVolume, box: Box) -> Field:
    """Voxels around a box of the part, closed where it is cut."""
    corners = np.stack(np.meshgrid(*np.stack([box.low, box.high], 1), indexing="ij"), -1)
    index = (corners.reshape(-1, 3) - look.pose.shift) @ look.pose.rotation / look.volume.voxel
    first = np.clip(np.floor(index.min(axis=0)).astype(np.int64), 0, look.volume.shape)
    last = np.clip(np.ceil(index.max(axis=0)).astype(np.int64) + 1, first, look.volume.shape)
    if (last - first).min() < LEAST_VOXELS:
        raise ScanError("a passage lies outside of its voxels")
    return averaged(look.volume, first, last, MOST_WINDOW)


def _greys(
    checked: Checked,
    field: Field,
    look: LaidVolume,
    levels: tuple[Sheet, ...],
    blur_mm: float | None,
) -> tuple[Field, Greys, float]:
    """The field, smoothed if it is noisy; what void and metal look like; a voxel's noise."""
    rng = np.random.default_rng(5)
    index = rng.integers(0, field.values.shape, (VOXELS, 3))
    points = field.low + (index + 0.5) * field.voxel
    nominal = Surface.of(checked.bodies.part)
    at = look.pose.at(points)
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
    edges = None if blur_mm is not None else _edges(field, look, nominal, levels)
    return field, with_blur(greys, field, edges, blur_mm), noise


def _edges(field: Field, look: LaidVolume, nominal: Surface, levels: tuple[Sheet, ...]) -> Edges:
    """Grey values across the part's own plane faces, in the voxels of the file."""
    places, normals = plane_places(nominal, REACH * float(look.volume.voxel.max()))
    piece, apart = np.zeros(len(places), np.int64), np.ones(len(places), bool)
    for low, high in levels:
        piece += places[:, 2] > 0.5 * (low + high)
        apart &= (places[:, 2] < low) | (places[:, 2] > high)
    pose = look.pose
    there = (places - look.registered.fit.moves[piece] - pose.shift) @ pose.rotation
    there, normals = there[apart], (normals @ pose.rotation)[apart]
    if look.field.averaged == 1:
        return edges_in(field, there, normals)
    return edges_of(look.volume, there, normals)


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
    """Surface of a field, with metal put where a sheet may lie, and where nothing was scanned."""

    field: Field
    pose: Pose
    box: Floats
    heights: Sequence[Sheet]
    weighed: Sequence[Weighed]
    thin_mm: float

    def surface(self, level: float, metal: float, blind: bool) -> Soup:
        """Surface at a grey value.

        metal : float
            Its grey value.
        blind : bool
            Metal wherever a sheet may lie and no grey sum proves it absent.
        """
        unknown = self.field.unknown
        before = [] if unknown is None else [self._put_unknown(unknown, metal)]
        before += [self._put(span, metal) for span in self.heights] if blind else []
        soup = self.field.surface(level)
        for places, values in reversed(before):
            self.field.values[places] = values
        return soup

    def _put_unknown(self, unknown: NDArray[np.bool_], metal: float) -> _Put:
        """In the part's box only: beyond it that would stand before its mouths."""
        places, field = np.argwhere(unknown), self.field
        at = self.pose.at(field.low + (places + 0.5) * field.voxel)
        inside = ((at >= self.box[0]) & (at <= self.box[1])).all(axis=1)
        chosen = tuple(places[inside].T)
        before = field.values[chosen]
        field.values[chosen] = metal
        return chosen, before

    def _put(self, span: Sheet, metal: float) -> _Put:
        wide = float(self.field.voxel.max())
        (x0, y0, _), (x1, y1, _) = self.box
        low, high = np.array([x0, y0, span[0] - wide]), np.array([x1, y1, span[1] + wide])
        corners = np.stack(np.meshgrid(*np.stack([low, high], 1), indexing="ij"), -1)
        index = (corners.reshape(-1, 3) - self.pose.shift) @ self.pose.rotation
        index = (index - self.field.low) / self.field.voxel
        shape = np.array(self.field.values.shape)
        first = np.clip(np.floor(index.min(axis=0)).astype(np.int64), 0, shape)
        last = np.clip(np.ceil(index.max(axis=0)).astype(np.int64) + 1, first, shape)
        window = tuple(slice(int(a), int(b)) for a, b in zip(first, last, strict=True))
        at = self.pose.at(self.field.centres(first, last))
        inside = ((at >= low) & (at <= high)).all(axis=1)
        empty = np.zeros(len(at), bool)
        for one in self.weighed:
            number = one.columns.number(at)
            known = number >= 0
            empty |= known & one.columns.empty(self.thin_mm).ravel()[number]
        values = self.field.values[window]
        before = values.copy()
        values[(inside & ~empty).reshape(values.shape)] = metal
        return window, before
