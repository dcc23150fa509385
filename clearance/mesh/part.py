"""The part: a mesh file made fit for computing, or refused with a reason.

In: a path and, for formats that carry none, a unit. Out: `Part`: closed
triangles in mm that face outward, and notices of everything that was mended.
Formats are left to `mesh_files`, edges to `closedness` and `mending`, shells to
`shells`.
"""

import hashlib
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from clearance.axes import Direction, turned
from clearance.errors import PartError
from clearance.mesh.closedness import Survey, survey
from clearance.mesh.formats import RawMesh, read_mesh
from clearance.mesh.mending import close, turn_over
from clearance.mesh.shells import face_outward
from clearance.mesh.step import DEFAULT_CHORD_MM, RoundWall

UNITS_MM = {
    "mm": 1.0,
    "cm": 10.0,
    "m": 1000.0,
    "um": 0.001,
    "in": 25.4,
    "inch": 25.4,
    "foot": 304.8,
}
"""Millimetres in one unit, by the unit's name."""

_UNIT_NAMES = {
    "mm": "millimetres",
    "cm": "centimetres",
    "m": "metres",
    "um": "micrometres",
    "inch": "inches",
}
_SMALLEST_MM, _LARGEST_MM = 1.0, 2000.0  # of a part's largest side; the largest machines build 1 m
_LIKELY_MM = (5.0, 1000.0)  # where a part's largest side usually lies: common practice, no source
_NO_VOLUME = 1.0e-9  # mm3, and share of the bounding box
_COARSE_MM = 1.0e-3  # step between neighbouring float32 numbers that is worth a notice


@dataclass(frozen=True, eq=False, slots=True)
class Part:
    """A closed mesh in mm.

    Attributes
    ----------
    triangles : (F, 3, 3) ndarray of float32, mm, read-only
        Every directed edge (bitwise equal ends) has its opposite; shells face
        outward, cavities inward; no -0.0. In the platform's axes where a build direction was
        given, else in the mesh's.
    notices : tuple of str
        What was mended or assumed while reading.
    path : Path
        Where it came from.
    chord_mm : float, mm
        How far triangles made of a STEP file may lie off its true surface; 0 of a mesh, which
        says nothing of that.
    walls : tuple of RoundWall
        Cylinders and tori of a STEP file, in the mesh's axes.
    """

    triangles: NDArray[np.float32]
    notices: tuple[str, ...]
    path: Path
    chord_mm: float = 0.0
    walls: tuple[RoundWall, ...] = ()

    def __post_init__(self) -> None:
        view = self.triangles.view()
        view.flags.writeable = False
        object.__setattr__(self, "triangles", view)

    @property
    def closed(self) -> bool:
        """True: an open mesh never becomes a Part."""
        return True


def read_part(
    path: Path | str,
    unit: str = "mm",
    *,
    shells: bool = True,
    build_direction: Direction | None = None,
    item: str | None = None,
    chord_mm: float = DEFAULT_CHORD_MM,
) -> Part:
    """Read a mesh file and make it a part, or refuse it.

    Parameters
    ----------
    path : Path
        STL, PLY, OBJ, 3MF or STEP; the bytes decide, not the name.
    unit : str
        "mm", "cm", "m", "um", "in", "inch" or "foot", for formats that carry
        no unit. A 3MF's own unit wins, with a notice if it differs.
    shells : bool
        False leaves out the look at single shells (0.5 s for 5 million
        triangles). Then a shell that is inside out stays so; a caller that
        meets a negative winding number must call `shells.face_outward`.
    build_direction : (3,), optional
        In the mesh's frame: the triangles are turned so that it points to +Z (`axes.rotation`).
    item : str, optional
        Name of the one build item of a 3MF that is meant; default: all of them together.
    chord_mm : float, mm
        Greatest distance of triangles made of a STEP file from its surface.

    Returns
    -------
    Part

    Raises
    ------
    PartError
        The text names the file and what is wrong with it: missing, empty, cut
        off, a count that lies, numbers that are not finite, an open mesh (how
        many edges, where), no volume, an implausible unit (which would be
        plausible), triangles that cannot be turned consistently.

    Examples
    --------
    >>> from clearance import read_part
    >>> read_part("cases/oil-gallery/oil-gallery.stl").triangles.shape[1:]
    (3, 3)
    """
    path = Path(path)
    try:
        raw = read_mesh(path, item, chord_mm)
        found, seen, notices = _in_mm(raw, unit)
        triangles, more = close(found, seen)
        notices += more
        seen = seen if triangles is found else survey(triangles)
        triangles, more = _of_positive_volume(triangles, seen)
        notices += more
        if shells:
            triangles, more = face_outward(triangles)
            notices += more
    except PartError as fault:
        raise PartError(f"{path}: {fault}") from fault
    triangles = turned(triangles, build_direction)
    return Part(triangles, notices, path, raw.chord_mm, raw.walls)


def read_triangles(
    path: Path,
    unit: str = "mm",
    build_direction: Direction | None = None,
    item: str | None = None,
) -> tuple[NDArray[np.float32], tuple[str, ...]]:
    """Read a mesh file as it is, open or not, in mm.

    Parameters
    ----------
    path, unit, build_direction, item
        As for `read_part`.

    Returns
    -------
    triangles : (F, 3, 3) ndarray of float32, mm
        Finite, of plausible size; perhaps open or inside out.
    notices : tuple of str

    Raises
    ------
    PartError
        As `read_part`, but not for an open mesh, volume or orientation.
    """
    try:
        triangles, _, notices = _in_mm(read_mesh(path, item), unit)
    except PartError as fault:
        raise PartError(f"{path}: {fault}") from fault
    return turned(triangles, build_direction), notices


def file_sha256(path: Path) -> str:
    """Give the SHA-256 of a file's bytes, in hexadecimal.

    Parameters
    ----------
    path : Path

    Returns
    -------
    str
        64 digits.

    Raises
    ------
    PartError
        The file cannot be read.
    """
    try:
        with path.open("rb") as stream:
            return hashlib.file_digest(stream, "sha256").hexdigest()
    except OSError as fault:
        raise PartError(f"{path}: cannot be read: {fault.strerror or fault}") from fault


def _in_mm(raw: RawMesh, unit: str) -> tuple[NDArray[np.float32], Survey, tuple[str, ...]]:
    """Apply the unit and check what a wrong unit or a damaged file would spoil."""
    if unit not in UNITS_MM:
        raise PartError(f"unit: found '{unit}', expected one of {', '.join(UNITS_MM)}")
    used = raw.unit or unit
    notices = raw.notices
    if UNITS_MM[used] != UNITS_MM[unit]:
        notices += (f"the file's own unit, {used}, is used, not {unit}",)
    triangles = _scaled(raw.triangles, UNITS_MM[used])
    seen = survey(triangles)
    if seen.first_not_finite >= 0:
        bad = raw.triangles[seen.first_not_finite]
        raise PartError(
            f"triangle {seen.first_not_finite + 1} of {len(triangles)} holds a number that is "
            f"not finite: {bad[~np.isfinite(triangles[seen.first_not_finite])][0]}"
        )
    _refuse_implausible_unit(seen, used, own=raw.unit is not None)
    return triangles, seen, notices + _far_from_origin(seen)


def _scaled(
    triangles: NDArray[np.float32] | NDArray[np.float64], scale: float
) -> NDArray[np.float32]:
    """Give C-contiguous float32 in mm, without -0.0."""
    if scale == 1.0 and triangles.dtype == np.float32:  # binary STL: done while it was decoded
        return triangles.astype(np.float32, copy=False)
    with np.errstate(over="ignore"):  # an overflow is then reported as not finite
        single = (triangles * np.float64(scale)).astype(np.float32, order="C")
    return single + np.float32(0.0)  # turns -0.0 into 0.0


def _refuse_implausible_unit(seen: Survey, unit: str, *, own: bool) -> None:
    largest = float((seen.high_mm - seen.low_mm).max())
    if _SMALLEST_MM <= largest <= _LARGEST_MM:
        return
    in_file = largest / UNITS_MM[unit]
    fits = [
        f'{_UNIT_NAMES[name]} (unit "{name}": {in_file * UNITS_MM[name]:.4g} mm)'
        for name in _UNIT_NAMES
        if _LIKELY_MM[0] <= in_file * UNITS_MM[name] <= _LIKELY_MM[1]
    ]
    advice = f"plausible would be {' or '.join(fits)}" if fits else "no unit makes it plausible"
    whose = "its own unit" if own else "the unit"
    raise PartError(
        f"its largest side is {largest:.4g} mm if {whose} is {unit}, expected "
        f"{_SMALLEST_MM:g} to {_LARGEST_MM:g} mm; {advice}"
    )


def _far_from_origin(seen: Survey) -> tuple[str, ...]:
    farthest = float(np.abs([seen.low_mm, seen.high_mm]).max())
    step = float(np.spacing(np.float32(farthest)))
    if step < _COARSE_MM:
        return ()
    return (
        f"the mesh lies {farthest:.4g} mm from its origin, where single precision has steps of "
        f"{step:.1g} mm: move it near the origin before export",
    )


def _of_positive_volume(
    triangles: NDArray[np.float32], seen: Survey
) -> tuple[NDArray[np.float32], tuple[str, ...]]:
    """Turn a mesh over that is inside out as a whole; refuse one that encloses nothing."""
    box = float(np.prod(seen.high_mm - seen.low_mm))
    if abs(seen.volume_mm3) <= max(_NO_VOLUME, _NO_VOLUME * box):
        raise PartError(
            f"the mesh encloses no volume ({seen.volume_mm3:.3g} mm3): a sheet without thickness, "
            "or shells that cancel"
        )
    if seen.volume_mm3 > 0:
        return triangles, ()
    return turn_over(triangles, np.ones(len(triangles), np.bool_)), (
        "the whole mesh was inside out (all triangles faced inward) and was turned",
    )
