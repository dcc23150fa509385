"""What is wrong with a mesh file, and what its facets and thin places mean for a check.

In: a mesh file that can be read, closed or not. Out: `MeshReport`: faults by name with their
places, chord error, thinnest wall and gap, level sheets of the file's own. Nothing is mended
here; what `check` would mend or refuse is said.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from clearance.errors import PartError
from clearance.geometry.areas import area_vectors
from clearance.geometry.chord_error import ChordError, chord_error
from clearance.geometry.cutting import Floats, Ints, Singles
from clearance.kernels.pieces import pieces
from clearance.mesh.closedness import (
    Cluster,
    Edges,
    OpenEdges,
    describe,
    number_edges,
    survey,
    weld,
    without_needles,
)
from clearance.mesh.formats import read_mesh
from clearance.mesh.mending import close, turn_over
from clearance.mesh.part import UNITS_MM, file_sha256, read_part
from clearance.mesh.shells import find_shells
from clearance.survey.flat_sheets import FlatSheet, flat_sheets
from clearance.survey.thickness import Narrow, Surface, surface

LIKELY_MM = (5.0, 1000.0)
"""Where a part's largest side usually lies: common practice, no source."""
SHARE_OF_SAMPLES = 2
"""So many points of a piece have to lie in other metal before it counts as overlapping."""


@dataclass(frozen=True, eq=False, slots=True)
class MeshReport:
    """Everything that `clearance mesh` tells; lengths in mm.

    Attributes
    ----------
    path, sha256
        The file and the hash of its bytes.
    unit, own_unit, suggested_unit
        The unit used, the one that the file carries (None: it carries none), and the one that
        makes the size likely (None: no unit does).
    triangles : int
        In the file.
    not_finite, zero_area, duplicate, facing_inward, against_neighbours : int
        Triangles with a number that is not finite; without area; that repeat another one; whose
        outward side is metal; of these, those turned against their neighbours only.
    closed : bool
        Every directed edge has its opposite.
    unclosed_edges, crowded_edges : int
        Edges of an odd number of triangles; of more than two.
    where_open : tuple of Cluster
        The largest clusters of unclosed edges.
    one_sided : bool
        Some patch of triangles has no outward side (half a turn in a ring).
    t_junctions : bool
        An unclosed edge ends in the middle of another one.
    pieces, cavities, overlapping_pieces : int
        Shells that share no vertex; those that enclose void; those with metal of another shell,
        or of their own, over part of their surface.
    overlaps_at : tuple of (3,) ndarray
        Up to three places within other metal.
    volume_mm3 : float
        Signed sum; of an open mesh it means little.
    low, high : (3,) ndarray
    chord : ChordError
    wall, gap : Narrow
    points : int
        Points of the surface from which wall and gap were measured.
    sheets : tuple of FlatSheet
    notices : tuple of str
        How the file was read.
    refused : str or None
        Why `check` would refuse this mesh; None if it would take it.
    mended : tuple of str
        What `check` mends of an open mesh before it takes it.
    """

    path: Path
    sha256: str
    unit: str
    own_unit: str | None
    suggested_unit: str | None
    triangles: int
    not_finite: int
    zero_area: int
    duplicate: int
    facing_inward: int
    against_neighbours: int
    closed: bool
    unclosed_edges: int
    crowded_edges: int
    one_sided: bool
    where_open: tuple[Cluster, ...]
    t_junctions: bool
    pieces: int
    cavities: int
    overlapping_pieces: int
    overlaps_at: tuple[Floats, ...]
    volume_mm3: float
    low: Floats
    high: Floats
    chord: ChordError
    wall: Narrow
    gap: Narrow
    points: int
    sheets: tuple[FlatSheet, ...]
    notices: tuple[str, ...] = field(default=())
    refused: str | None = None
    mended: tuple[str, ...] = ()

    @property
    def fit(self) -> bool:
        """Whether `check` takes the mesh and no level sheet of its own crosses a void."""
        return self.refused is None and not self.sheets


def examine(path: Path, unit: str = "mm", item: str | None = None) -> MeshReport:
    """Examine a mesh file.

    Parameters
    ----------
    path : Path
        STL, PLY, OBJ, 3MF or STEP.
    unit : str
        Of formats that carry none; a file's own unit wins.
    item : str, optional
        Build item of a 3MF that is meant.

    Returns
    -------
    MeshReport

    Raises
    ------
    PartError
        The file cannot be read as a mesh, no triangle of it has three finite corners, or
        the unit is not known.
    """
    if unit not in UNITS_MM:
        raise PartError(f"unit: found '{unit}', expected one of {', '.join(UNITS_MM)}")
    try:
        raw = read_mesh(path, item)
    except PartError as fault:
        raise PartError(f"{path}: {fault}") from fault
    used = raw.unit or unit
    with np.errstate(over="ignore", invalid="ignore"):
        triangles = np.ascontiguousarray(
            (raw.triangles * np.float64(UNITS_MM[used])).astype(np.float32)
        ) + np.float32(0.0)
    finite = np.isfinite(triangles).all(axis=(1, 2))
    if not finite.any():
        raise PartError(f"{path}: none of its {len(finite)} triangles has three finite corners")
    return _examine(path, item, triangles, finite, (used, raw.unit), raw.notices)


def _examine(
    path: Path,
    item: str | None,
    every: Singles,
    finite: NDArray[np.bool_],
    units: tuple[str, str | None],
    notices: tuple[str, ...],
) -> MeshReport:
    triangles = every[finite]
    low, high = triangles.min(axis=(0, 1)), triangles.max(axis=(0, 1))
    edges = _Edges.of(triangles)
    upright, against, one_sided = _turned(edges)
    sound, seen = _measured(upright, edges.closed)
    turned_shells = (sound != upright).any(axis=(1, 2))
    inward = against ^ turned_shells
    overlapping, places, cavities, pieces = _overlaps(sound, seen, edges.closed)
    size = float((high.astype(np.float64) - low).max())
    refused = _refusal(path, units[0], item)
    sheets, left_out = flat_sheets(sound)
    if left_out:
        said = "pairs of level faces, those with least area, were not looked at for flat sheets"
        notices = (*notices, f"{left_out} {said}")
    return MeshReport(
        path=path,
        sha256=file_sha256(path),
        unit=units[0],
        own_unit=units[1],
        suggested_unit=suggested_unit(size / UNITS_MM[units[0]], units[0]),
        triangles=len(every),
        not_finite=int((~finite).sum()),
        zero_area=int(_without_area(triangles).sum()),
        duplicate=edges.duplicate,
        facing_inward=int(inward.sum()),
        against_neighbours=int(against.sum()),
        closed=edges.closed and bool(finite.all()),
        unclosed_edges=edges.open.count,
        crowded_edges=edges.crowded,
        one_sided=one_sided,
        where_open=edges.open.clusters,
        t_junctions=edges.open.t_junctions,
        pieces=pieces,
        cavities=cavities,
        overlapping_pieces=overlapping,
        overlaps_at=places,
        volume_mm3=survey(triangles).volume_mm3,
        low=low.astype(np.float64),
        high=high.astype(np.float64),
        chord=chord_error(sound),
        wall=seen.wall,
        gap=seen.gap,
        points=len(seen.points.triangle),
        sheets=tuple(sheets),
        notices=notices,
        refused=refused,
        mended=() if edges.closed or refused else close(triangles)[1],
    )


def suggested_unit(largest: float, used: str) -> str | None:
    """Unit that makes a part's largest side (in units of the file) likely; the used one first."""
    for unit in (used, "mm", "inch", "cm", "m", "um"):
        if LIKELY_MM[0] <= largest * UNITS_MM[unit] <= LIKELY_MM[1]:
            return unit
    return None


def _refusal(path: Path, unit: str, item: str | None) -> str | None:
    try:
        read_part(path, unit, item=item)
    except PartError as fault:
        return str(fault).removeprefix(f"{path}: ")
    return None


def _without_area(triangles: Singles) -> NDArray[np.bool_]:
    """Triangles whose height is within the rounding of their coordinates."""
    t = triangles.astype(np.float64)
    longest = np.linalg.norm(t - np.roll(t, -1, axis=1), axis=2).max(axis=1)
    step = np.spacing(np.abs(triangles).max(axis=(1, 2))).astype(np.float64)
    return 2.0 * np.linalg.norm(area_vectors(triangles), axis=1) <= longest * step


# ---- edges -----------------------------------------------------------------------------------


@dataclass(frozen=True, eq=False, slots=True)
class _Edges:
    """The edges of a mesh, duplicates counted and left out, needles left out."""

    kept: Singles
    edges: Edges
    open: OpenEdges
    duplicate: int
    crowded: int
    closed: bool

    @classmethod
    def of(cls, triangles: Singles) -> _Edges:
        kept = without_needles(triangles)
        none = Edges(
            np.empty((0, 2), np.int64),
            np.empty(0, bool),
            np.empty((0, 2), np.int64),
            np.empty(0, bool),
        )
        if len(kept) == 0:
            return cls(kept, none, OpenEdges(0, (), False), 0, 0, False)
        vertices, ids = weld(kept)
        whole = number_edges(ids, len(vertices))
        found = describe(vertices, whole)
        keys = np.sort(_keys(ids))
        duplicate = int((keys[1:] == keys[:-1]).sum())
        pairs_only = 2 * len(whole.ends) == 3 * len(ids) and not whole.odd.any()
        crowded = 0 if pairs_only else _crowded(ids, len(vertices))
        closed = survey(kept).balanced
        return cls(kept, whole, found, duplicate, crowded, closed)


def _keys(ids: Ints) -> NDArray[np.uint64]:
    """One number for each set of three vertex numbers; two sets share one once in 2**64."""
    mixed = (ids.astype(np.uint64) + np.uint64(1)) * np.uint64(0x9E3779B97F4A7C15)
    mixed ^= mixed >> np.uint64(29)
    mixed *= np.uint64(0xBF58476D1CE4E5B9)
    mixed ^= mixed >> np.uint64(32)
    total: NDArray[np.uint64] = mixed.sum(axis=1, dtype=np.uint64)  # in whatever order
    return total


def _crowded(ids: Ints, count: int) -> int:
    start, stop = ids.ravel(), np.roll(ids, -1, axis=1).ravel()
    key = np.sort(np.minimum(start, stop) * count + np.maximum(start, stop))
    first = np.flatnonzero(np.concatenate([[True], key[1:] != key[:-1]]))
    return int((np.diff(np.append(first, len(key))) > 2).sum())


def _turned(found: _Edges) -> tuple[Singles, NDArray[np.bool_], bool]:
    """Turn the fewer triangles of each patch; which they were; whether a patch is one-sided."""
    count = len(found.kept)
    nothing = np.zeros(count, np.bool_)
    if found.closed or not found.edges.same.any():
        return found.kept, nothing, False
    # Two copies of each triangle, as it is and turned: a pair that runs along its edge the same
    # way joins one as it is with the other turned.
    a, b = found.edges.pairs.T
    other = b + count * found.edges.same
    back = b + count * ~found.edges.same
    label = pieces(np.concatenate([a, a + count]), np.concatenate([other, back]), 2 * count)
    plain, turned = label[:count], label[count:]
    _, patch = np.unique(np.minimum(plain, turned), return_inverse=True)
    odd = plain > turned
    size, many = np.bincount(patch), np.bincount(patch, odd)
    against = (odd ^ (many > 0.5 * size)[patch]) & (plain != turned)
    return turn_over(found.kept, against), against, bool((plain == turned).any())


# ---- surfaces --------------------------------------------------------------------------------


def _measured(triangles: Singles, closed: bool) -> tuple[Singles, Surface]:
    """Turn pieces outward whose surface faces inward; measure the mesh as it then is."""
    seen = surface(triangles)
    if len(triangles) == 0:
        return triangles, seen
    label = find_shells(triangles).label
    if closed or survey(triangles).balanced:
        of_point = label[seen.points.triangle]
        inside_out = np.bincount(of_point, seen.winding < 0) > 0.5 * np.bincount(of_point)
    else:
        inside_out = _volumes_about_middle(triangles, label) < 0.0
    if not inside_out.any():
        return triangles, seen
    sound = turn_over(triangles, inside_out[label])
    return sound, surface(sound)


def _volumes_about_middle(triangles: Singles, label: NDArray[np.int32]) -> Floats:
    """Signed volume of each piece about its own middle: below 0 if it faces inward, if open."""
    centre = triangles.mean(axis=1, dtype=np.float64)
    count = np.bincount(label)
    middle = np.column_stack([np.bincount(label, centre[:, k]) for k in range(3)]) / count[:, None]
    outward = np.einsum("ij,ij->i", area_vectors(triangles), centre - middle[label])
    total = np.bincount(label, outward).astype(np.float64)
    # One of several open pieces may be a wall of a bore: nothing is said of it.
    return total if len(count) == 1 else np.abs(total)


def _overlaps(
    triangles: Singles, seen: Surface, closed: bool
) -> tuple[int, tuple[Floats, ...], int, int]:
    """Pieces that overlap, up to three places, cavities, and pieces."""
    if len(triangles) == 0:
        return 0, (), 0, 0
    shells = find_shells(triangles)
    pieces = len(shells.volume_mm3)
    if not (closed or survey(triangles).balanced):
        return 0, (), 0, pieces
    inside = seen.winding >= 1
    owner = shells.label[seen.points.triangle]
    count = np.bincount(owner[inside], minlength=pieces)
    places = seen.points.at[np.flatnonzero(inside)]
    chosen = (
        tuple(places[k] for k in np.linspace(0, len(places) - 1, 3).astype(int))
        if len(places)
        else ()
    )
    return (
        int((count >= SHARE_OF_SAMPLES).sum()),
        chosen,
        int((shells.volume_mm3 < 0.0).sum()),
        pieces,
    )
