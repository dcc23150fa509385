"""Shapes for a picture in space: tubes along lines, cylinders, soups with fewer triangles.

In: points (N, 3) and soups (F, 3, 3), mm. Out: soups. For the eye only: nothing is judged by them.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

from clearance.geometry.soup import Soup

Floats = NDArray[np.float64]

SIDES = 16
"""Of a tube or cylinder."""
NOTHING: Soup = np.empty((0, 3, 3), np.float32)
FINER = 1.25
"""From one size of cell to the next."""


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
    (4 * SIDES, 3, 3) ndarray of float32
        Facing outward; empty where the points coincide.
    """
    a, b = np.asarray(start, np.float64), np.asarray(end, np.float64)
    length = float(np.linalg.norm(b - a))
    if length == 0.0:
        return NOTHING
    along = (b - a) / length
    near, away = _ring(a, along, radius), _ring(b, along, radius if far is None else far)
    near_next, away_next = np.roll(near, -1, axis=0), np.roll(away, -1, axis=0)
    middle_a, middle_b = np.broadcast_to(a, near.shape), np.broadcast_to(b, near.shape)
    faces = [
        np.stack([near, near_next, away_next], 1),
        np.stack([near, away_next, away], 1),
        np.stack([middle_a, near_next, near], 1),
        np.stack([middle_b, away, away_next], 1),
    ]
    return np.concatenate(faces).astype(np.float32)


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
    soups = [cylinder(a, b, radius) for piece in pieces for a, b in pairwise(piece)]
    return np.concatenate(soups) if soups else NOTHING


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
