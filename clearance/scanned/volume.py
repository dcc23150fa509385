"""Volumes of grey values: files of a tomograph, read in windows.

In: [scan] of a case. Out: a `Volume`, of which a box of voxels is read at a time. TIFF is read by
tifffile (the extra `volume`), mapped into memory where the file lies as its numbers do.
"""

from __future__ import annotations

import contextlib
import importlib.util
import itertools
import logging
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from clearance.case.scan import TIFF, ScanTable
from clearance.errors import PartError
from clearance.scanned.registration import ScanError

Greys = NDArray[Any]
Counts = NDArray[np.int64]
Floats = NDArray[np.float64]

INSTALL = 'pip install "clearance[volume]"'
AXES = "xyz"
SLICES, SLAB = 32, 64_000_000
"""Slices, and voxels, that are read at a time."""
LARGEST = 200_000_000
"""Voxels of one slice, which is unpacked as a whole, at most: with what is made of it 2 GiB."""
KINDS = "uif"
"""Whole numbers and floating point."""
LEAST_VOXELS = 8
"""Along every axis: fewer show no part."""


class Slices(Protocol):
    """Slices of one size, z first."""

    @property
    def shape(self) -> tuple[int, int, int]:
        """Slices, rows, columns."""

    def read(self, z: slice, y: slice, x: slice) -> Greys:
        """A box of them, [z, y, x]."""


@dataclass(frozen=True, eq=False)
class Mapped:
    """An array on disk, mapped into memory."""

    array: Greys

    @property
    def shape(self) -> tuple[int, int, int]:
        """Slices, rows, columns."""
        depth, height, width = self.array.shape
        return depth, height, width

    def read(self, z: slice, y: slice, x: slice) -> Greys:
        """A box of it, [z, y, x]."""
        return np.asarray(self.array[z, y, x])


@dataclass(frozen=True, eq=False)
class Pages:
    """Slices that are unpacked one at a time: (file, number of the page in it)."""

    pages: tuple[tuple[Path, int], ...]
    shape: tuple[int, int, int]
    dtype: np.dtype[Any]

    def read(self, z: slice, y: slice, x: slice) -> Greys:
        """A box of it, [z, y, x]."""
        import tifffile

        rows, columns = (range(n)[part] for n, part in zip(self.shape[1:], (y, x), strict=True))
        wanted = self.pages[z]
        found = np.empty((len(wanted), len(rows), len(columns)), self.dtype)
        for path, group in itertools.groupby(enumerate(wanted), key=lambda one: one[1][0]):
            try:
                with tifffile.TiffFile(path) as file:
                    for n, (_, page) in group:
                        found[n] = file.pages[page].asarray()[y, x]
            except MemoryError:
                raise
            except Exception as fault:
                raise _unreadable(path, fault) from fault
        return found


@dataclass(frozen=True, eq=False)
class View:
    """The field of view of a volume: what lies between padding along lines of voxels.

    Attributes
    ----------
    constant : float
        Grey value of the padding.
    first, last : tuple of three (N, M) ndarrays
        Along each line along x, y and z, indexed by the other two, the first voxel that is no
        padding and the one behind the last; first >= last where all are.
    """

    constant: float
    first: tuple[NDArray[np.int32], ...]
    last: tuple[NDArray[np.int32], ...]

    def padded(self, x: Counts, y: Counts, z: Counts) -> NDArray[np.bool_]:
        """Whether voxels are padding: along all three axes none scanned lies before them."""
        found: NDArray[np.bool_] = np.array(True)
        for axis, (own, line) in enumerate(((x, (y, z)), (y, (x, z)), (z, (x, y)))):
            found = found & ((own < self.first[axis][line]) | (own >= self.last[axis][line]))
        return found


@dataclass(frozen=True, eq=False)
class Volume:
    """Grey values on a grid, indexed [x, y, z].

    Attributes
    ----------
    slices : Slices
    voxel : (3,) ndarray, mm
    reversed_axes : tuple of int
        Axes along which the file runs the other way.
    view : View or None
        What was scanned, where the rest is padding; None: all of it.
    """

    slices: Slices
    voxel: Floats
    reversed_axes: tuple[int, ...] = ()
    view: View | None = None

    @property
    def shape(self) -> Counts:
        """Voxels along x, y, z, (3,)."""
        return np.array(self.slices.shape[::-1], np.int64)

    def window(self, low: Counts, high: Counts) -> NDArray[np.float32]:
        """Voxels low <= index < high, [x, y, z]; what was not scanned is no number.

        Raises
        ------
        PartError
            The file is cut off, or packed in a way that cannot be read.
        ScanError
            So many voxels do not fit into memory.
        """
        parts = []
        for axis in range(3):
            start, stop, count = int(low[axis]), int(high[axis]), int(self.shape[axis])
            back = axis in self.reversed_axes
            parts.append(slice(count - stop, count - start) if back else slice(start, stop))
        try:
            read = self.slices.read(parts[2], parts[1], parts[0]).transpose()
            for axis in self.reversed_axes:
                read = np.flip(read, axis)
            numbers = read.astype(np.float32)
        except MemoryError:
            size = " x ".join(str(int(n)) for n in high - low)
            raise ScanError(f"{size} of its voxels do not fit into memory at once") from None
        if read.dtype.kind == "f":
            numbers[~np.isfinite(numbers)] = np.nan
        if self.view is not None:
            places = (np.arange(a, b) for a, b in zip(low, high, strict=True))
            numbers[self.view.padded(*np.ix_(*places))] = np.nan
        return numbers

    def slabs(
        self, low: Counts, high: Counts, edge: int = 1
    ) -> Iterator[tuple[int, NDArray[np.float32]]]:
        """A box of voxels, some times `edge` slices at a time, with the number of the first."""
        fit = min(SLICES, SLAB // max(1, int(np.prod(high[:2] - low[:2]))))
        thick = edge * max(1, fit // edge)
        for first in range(int(low[2]), int(high[2]), thick):
            last = min(first + thick, int(high[2]))
            window = self.window(np.array([*low[:2], first]), np.array([*high[:2], last]))
            yield first - int(low[2]), window


def read_volume(scan: ScanTable) -> Volume:
    """The volume of a case.

    Raises
    ------
    PartError
        A line that says which file, what was found and what was expected.
    """
    files = scan.volume
    assert files is not None
    assert scan.voxel is not None
    packed = files[0].suffix.lower() in TIFF
    slices = _tiff(files) if packed else _bare(files[0], scan)
    if min(slices.shape) < LEAST_VOXELS:
        wide = " x ".join(map(str, slices.shape[::-1]))
        raise PartError(
            f"{files[0]}: the volume has {wide} voxels along x, y, z, expected at least "
            f"{LEAST_VOXELS} along each: a TIFF of one page is one slice"
        )
    _, height, width = slices.shape
    if height * width > LARGEST:
        raise PartError(
            f"{files[0]}: a slice has {width} x {height} voxels, expected at most {LARGEST:.0e} "
            "in all, which fit into memory: cut the volume to the part, or take larger voxels"
        )
    turned = tuple(sorted({AXES.index(axis) for axis in scan.reversed_axes}))
    return Volume(slices, np.array(scan.voxel, float), turned)


def _bare(path: Path, scan: ScanTable) -> Slices:
    assert scan.shape is not None
    assert scan.type is not None
    order = {"little": "<", "big": ">", None: "="}[scan.byte_order]
    kind = np.dtype(scan.type).newbyteorder(order)  # type: ignore[arg-type]
    try:
        return Mapped(np.memmap(path, kind, "r", shape=scan.shape[::-1]))
    except (OSError, ValueError) as fault:
        raise _unreadable(path, fault) from fault


def _tiff(files: tuple[Path, ...]) -> Slices:
    if importlib.util.find_spec("tifffile") is None:
        raise PartError(f"{files[0]}: TIFF needs an extra: {INSTALL}")
    return _one_tiff(files[0]) if len(files) == 1 else _stack(files)


def _one_tiff(path: Path) -> Slices:
    """One file: mapped where its numbers lie together, else page by page."""
    import tifffile

    try:
        with _heard() as said, tifffile.TiffFile(path) as file:
            series = file.series[0]
            flat = len(series.shape) == 3 and "S" not in series.axes  # S: samples, colours
            others = [one for one in file.series[1:] if one.shape[-2:] == series.shape[-2:]]
            together = flat and series.dataoffset is not None and not others
            axes = series.axes if len(series.shape) > 3 and "S" not in series.axes else ""
            pages = [(tuple(page.shape), np.dtype(page.dtype)) for page in file.pages]
        if said:
            raise PartError(f"{path}: cut off, or damaged: {said[0]}")
        if together and np.dtype(series.dtype).kind in KINDS:
            return Mapped(tifffile.memmap(path, series=0, mode="r"))
    except PartError:
        raise
    except Exception as fault:
        raise _unreadable(path, fault) from fault
    if axes:
        raise PartError(f"{path}: found axes {axes}, expected slices, rows and columns alone")
    for n, page in enumerate(pages, 1):
        if page != pages[0]:
            raise PartError(
                f"{path}: page {n} has {_told(page)}, expected {_told(pages[0])} as the first has"
            )
    _refuse_colours(path, *pages[0])
    height, width = pages[0][0]
    every = tuple((path, n) for n in range(len(pages)))
    return Pages(every, (len(pages), height, width), pages[0][1])


@contextlib.contextmanager
def _heard() -> Iterator[list[str]]:
    """What the library says of a file: it takes the pages that are left of one that is cut off."""
    said: list[str] = []
    logger = logging.getLogger("tifffile")

    def heard(record: logging.LogRecord) -> bool:
        said.append(record.getMessage())
        return False

    logger.addFilter(heard)
    try:
        yield said
    finally:
        logger.removeFilter(heard)


def _stack(files: tuple[Path, ...]) -> Slices:
    import tifffile

    first: tuple[tuple[int, ...], Any] | None = None
    for path in files:
        try:
            with tifffile.TiffFile(path) as file:
                page: Any = file.pages[0]
                count, own = len(file.pages), (tuple(page.shape), page.dtype)
        except Exception as fault:
            raise _unreadable(path, fault) from fault
        if count != 1:
            raise PartError(f"{path}: {count} pages, expected one in each slice of several files")
        _refuse_colours(path, *own)
        first = first or own
        if own != first:
            raise PartError(f"{path}: {_told(own)}, expected {_told(first)} as {files[0].name} has")
    assert first is not None
    height, width = first[0]
    return Pages(tuple((path, 0) for path in files), (len(files), height, width), first[1])


def _told(page: tuple[tuple[int, ...], Any]) -> str:
    return f"{' x '.join(map(str, page[0][::-1]))} pixels of {page[1]}"


def _refuse_colours(path: Path, shape: tuple[int, ...], kind: Any) -> None:
    if len(shape) != 2 or np.dtype(kind).kind not in KINDS:
        found = f"{' x '.join(map(str, shape))} of {kind}"
        raise PartError(f"{path}: found pages of {found}, expected grey values, rows by columns")


def _unreadable(path: Path, fault: Exception) -> PartError:
    said = " ".join(str(fault).split()) or type(fault).__name__
    if "imagecodecs" in said:
        return PartError(f"{path}: its packing needs an extra: {INSTALL}")
    return PartError(f"{path}: cannot be read as a volume: {said}")
