"""Shapes for a picture in space: tubes along lines, cylinders, soups with fewer triangles.

In: points (N, 3) and soups (F, 3, 3), mm. Out: soups. For the eye only: nothing is judged by them.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

from clearance.geometry.box_tree import build
from clearance.geometry.distance import distances
from clearance.geometry.soup import Soup

Floats = NDArray[np.float64]

SIDES = 16
"""Of a tube or cylinder."""
NOTHING: Soup = np.empty((0, 3, 3), np.float32)
FINER = 1.25
"""From one size of cell to the next."""
LEAST_MITRE = 0.5
"""Cosine of the sharpest bend of a tube that is mitred."""
SAME_MM = 1e-4
"""Corners within a plane are left out where no surface moves by more."""


def _beside(along: Floats) -> Floats:
    """Two unit vectors (2, 3) square to a direction and to each other."""
    least = np.eye(3)[np.argmin(np.abs(along))]
    one = np.cross(along, least)
    one /= np.linalg.norm(one)
    return np.stack([one, np.cross(along, one)])


def _ring(centre: Floats, along: Floats, radius: float) -> Floats:
    turn = np.linspace(0.0, 2.0 * np.pi, SIDES, endpoint=False)
    one, other = _beside(along)
    return centre + radius * (np.outer(np.cos(turn), one) + np.outer(np.sin(turn), other))


def cylinder(start: ArrayLike, end: ArrayLike, radius: float, far: float | None = None) -> Soup:
    """A closed cylinder between two points, or a cone frustum with another radius at its far end.

    Parameters
    ----------
    start, end : (3,) array_like, mm
    radius, far : float, mm

    Returns
    -------
    (4 * SIDES - 4, 3, 3) ndarray of float32
        Facing outward; empty where the points coincide.
    """
    a, b = np.asarray(start, np.float64), np.asarray(end, np.float64)
    length = float(np.linalg.norm(b - a))
    if length == 0.0:
        return NOTHING
    along = (b - a) / length
    return _skin([_ring(a, along, radius), _ring(b, along, radius if far is None else far)])


def tube(line: Floats, radius: float, dashes: Sequence[float] = ()) -> Soup:
    """A round tube along a line of points (N, 3), whole or in dashes.

    Parameters
    ----------
    line : (N, 3) ndarray, mm
    radius : float, mm
    dashes : sequence of float, mm
        Lengths of a dash and of the gap after it; empty: whole.
    """
    pieces = [line] if not dashes else _dashed(line, dashes[0], dashes[1])
    soups = [soup for piece in pieces for soup in _mitred(piece, radius)]
    return np.concatenate(soups) if soups else NOTHING


def _mitred(line: Floats, radius: float) -> Iterator[Soup]:
    """Closed tubes along a line: one, and another after each bend that has no room for a mitre."""
    line = line[np.append(True, (np.diff(line, axis=0) != 0.0).any(axis=1))]
    lengths = np.linalg.norm(np.diff(line, axis=0), axis=1)
    ways = np.diff(line, axis=0) / lengths[:, None]
    rings: list[Floats] = []
    for k, (end, way) in enumerate(zip(line[1:], ways, strict=True)):
        rings = rings or [_ring(line[k], way, radius)]
        if k + 1 < len(ways) and way @ ways[k + 1] > LEAST_MITRE:
            across = way + ways[k + 1]
            gone = _until(rings[-1], end, way, across)
            room = radius * np.linalg.norm(way - ways[k + 1]) / np.linalg.norm(across)
            if gone.min() > 0.0 and room < lengths[k + 1]:
                rings.append(rings[-1] + gone[:, None] * way)
                continue
        rings.append(rings[-1] + _until(rings[-1], end, way, way)[:, None] * way)
        yield _skin(rings)
        rings = []


def _until(ring: Floats, at: Floats, way: Floats, across: Floats) -> Floats:
    """How far the points of a ring are from the plane through `at` that `across` is square to."""
    return (at - ring) @ across / (way @ across)


def _skin(rings: Sequence[Floats]) -> Soup:
    """Rings of points joined to a closed surface, facing outward."""
    faces = [face for near, away in pairwise(rings) for face in _between(near, away)]
    for flat in (rings[0][::-1], rings[-1]):
        faces.append(
            np.stack([np.broadcast_to(flat[0], flat[1:-1].shape), flat[1:-1], flat[2:]], 1)
        )
    return np.concatenate(faces).astype(np.float32)


def _between(near: Floats, away: Floats) -> tuple[Floats, Floats]:
    near_next, away_next = np.roll(near, -1, axis=0), np.roll(away, -1, axis=0)
    return np.stack([near, near_next, away_next], 1), np.stack([near, away_next, away], 1)


def _dashed(line: Floats, dash: float, gap: float) -> list[Floats]:
    steps = np.linalg.norm(np.diff(line, axis=0), axis=1)
    at = np.concatenate([[0.0], np.cumsum(steps)])
    pieces = []
    for start in np.arange(0.0, at[-1], dash + gap):
        end = min(start + dash, at[-1])
        within = at[(at > start) & (at < end)]
        marks = np.concatenate([[start], within, [end]])
        pieces.append(np.column_stack([np.interp(marks, at, line[:, k]) for k in range(3)]))
    return pieces


def straightened(line: Floats, off_mm: float) -> Floats:
    """A line of fewer points that is nowhere farther than `off_mm` from the one given."""
    import shapely

    if len(line) < 3:
        return line
    # The library looks at x and y alone: both views have to agree, so the points of each are kept.
    at = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(line, axis=0), axis=1))])
    keep = {0, len(line) - 1}
    for k in range(3):
        plain = shapely.LineString(np.column_stack([at, line[:, k]]))
        kept = shapely.get_coordinates(shapely.simplify(plain, off_mm / 2.0))[:, 0]
        keep |= set(np.searchsorted(at, kept).clip(0, len(at) - 1).tolist())
    return line[sorted(keep)]


def indexed(soup: Soup) -> tuple[NDArray[np.float32], NDArray[np.uint32]]:
    """Vertices (V, 3) and triangles (F, 3) of a soup, with equal corners made one."""
    points, index = np.unique(soup.reshape(-1, 3), axis=0, return_inverse=True)
    return points, index.reshape(-1, 3).astype(np.uint32)


def merged(soup: Soup) -> Soup:
    """The same surface with fewer triangles: those of one plane are made one where they can be."""
    few = _simplified(soup, SAME_MM)
    return soup if few is None or len(few) >= len(soup) else few


def coarser(soup: Soup, off_mm: float) -> tuple[Soup, float]:
    """A surface through fewer of a soup's corners, nowhere farther than `off_mm` from it.

    Returns
    -------
    soup : (F, 3, 3) ndarray of float32
        The same where it does not bound a solid, or what came out is farther off.
    off : float, mm
        How far it is off, both ways: from all corners, and from the middles of its triangles.
    """
    few = _simplified(soup, 0.5 * off_mm)  # the library's own bound is passed by twice that
    if few is None or not len(few):
        return soup, 0.0
    corners, middles = indexed(soup)[0].astype(np.float64), few.mean(axis=1, dtype=np.float64)
    off = float(max(distances(build(few), corners).max(), distances(build(soup), middles).max()))
    return (few, off) if off <= off_mm else (soup, 0.0)


def _simplified(soup: Soup, off_mm: float) -> Soup | None:
    import manifold3d as m3

    points, faces = indexed(soup)
    solid = m3.Manifold(m3.Mesh(points, faces))
    if solid.status() != m3.Error.NoError or solid.is_empty():
        return None
    mesh = solid.simplify(off_mm).to_mesh()
    return np.ascontiguousarray(mesh.vert_properties[:, :3][mesh.tri_verts], np.float32)


def thinned(soup: Soup, most: int) -> tuple[Soup, float]:
    """A soup with at most so many triangles, its corners moved to the middles of cells.

    Returns
    -------
    soup : (F, 3, 3) ndarray of float32
        The same where it has no more than `most`.
    cell : float, mm
        Size of the cells: no corner was moved farther than its diagonal; 0 where none was.
    """
    if len(soup) <= most:
        return soup, 0.0
    points, faces = indexed(soup)
    low, high = points.min(axis=0), points.max(axis=0)
    # About as many triangles meet a surface as it has cells, so this begins too fine.
    area = float(np.linalg.norm(np.cross(*_sides(soup)), axis=1).sum() / 2.0)
    cell = max(np.sqrt(area / most), float((high - low).max()) * 1e-5)
    while True:
        kept = _clustered(points, faces, low, cell)
        if len(kept) <= most:
            return kept, float(cell)
        cell *= FINER


def _sides(soup: Soup) -> tuple[Floats, Floats]:
    wide = soup.astype(np.float64)
    return wide[:, 1] - wide[:, 0], wide[:, 2] - wide[:, 0]


def _clustered(
    points: NDArray[np.float32], faces: NDArray[np.uint32], low: NDArray[np.float32], cell: float
) -> Soup:
    place = np.floor((points - low) / cell).astype(np.int64)
    across = place.max(axis=0) + 1
    key = (place[:, 0] * across[1] + place[:, 1]) * across[2] + place[:, 2]
    _, group = np.unique(key, return_inverse=True)
    count = np.bincount(group)
    middle = np.column_stack([np.bincount(group, points[:, k]) / count for k in range(3)])
    corner = group[faces]
    a, b, c = corner.T
    corner = corner[(a != b) & (b != c) & (c != a)]
    _, first = np.unique(np.sort(corner, axis=1), axis=0, return_index=True)
    return np.ascontiguousarray(middle[corner[np.sort(first)]], np.float32)
