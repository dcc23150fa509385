"""Chord error: how far flat facets lie from the round walls that they stand for.

In: a triangle soup, mm. Out: the sagitta of facets of round walls, of bores and of outer walls
apart. A facet's neighbours give the circle that a round wall with these facets has: where two
facets meet at a small angle, the edge and the two far edges lie on it, and a facet between two
edges of a circle of radius r lies r - sqrt(r**2 - w**2 / 4) inside it (w its width).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from clearance.closedness import number_edges, weld, without_needles
from clearance.sections import Floats, Ints, Singles

FLATTEST_DEG, STEEPEST_DEG = 0.02, 46.0
"""Angle between neighbouring facets of a round wall: 8 facets round a circle make 45 degrees."""
ALIKE = 2.0
"""Widths of neighbouring facets of a round wall differ at most by this factor."""
GRADES = 60
"""Directions that round to the same step of 1/60 count as one."""
MOST_TRIANGLES = 64
"""A flat face of more triangles is no facet of a round wall."""


@dataclass(frozen=True, eq=False, slots=True)
class ChordError:
    """Chord errors of a mesh's round walls, mm.

    Attributes
    ----------
    max_mm, p99_mm : float
        Largest, and that of which 99 % of the facets' edges stay below; 0.0 without round walls.
    hollow_max_mm : float
        Largest of hollow walls (bores): twice it is what facets take off a clear diameter at most.
    at_mm : ndarray (3,)
        Where the largest is; nan without round walls.
    edges : int
        Edges between facets of round walls that were looked at.
    """

    max_mm: float
    p99_mm: float
    hollow_max_mm: float
    at_mm: Floats
    edges: int


def chord_error(triangles: Singles) -> ChordError:
    """Chord error against the cylinders that fit the round walls of a mesh best.

    Parameters
    ----------
    triangles : ndarray (F, 3, 3) float32
        Finite, mm; open or not. Vertices that neighbours share are bitwise equal.

    Notes
    -----
    A drawing's round corner with few facets and a corner drawn with flat facets are the same
    mesh. Facets count as round only in rows: each lies between two others at small angles and
    of like width. Source of the sagitta: REFERENCES.md, section 5.
    """
    kept = without_needles(triangles)
    none = ChordError(0.0, 0.0, 0.0, np.full(3, np.nan), 0)
    if len(kept) < 4:
        return none
    vertices, ids = weld(kept)
    pairs, ends, far = _inner_edges(vertices, ids)
    if len(pairs) == 0:
        return none
    points = vertices.astype(np.float64)
    unit = _units(points[ids])
    angle = _angles(unit[pairs[:, 0]], unit[pairs[:, 1]])
    facet = _facets(pairs[angle < FLATTEST_DEG], len(ids))
    round_edge = (angle >= FLATTEST_DEG) & (angle <= STEEPEST_DEG)
    pairs, ends, far = pairs[round_edge], ends[round_edge], far[round_edge]
    if len(pairs) == 0:
        return none
    width = _widths(points, ids, facet, pairs, ends)
    least, most = width.min(axis=1), width.max(axis=1)
    like = (least > 0.0) & (most <= ALIKE * least) & np.isfinite(most)
    pairs, ends, width, far = pairs[like], ends[like], width[like], far[like]
    if len(pairs) == 0:
        return none
    inner = _between_two(facet, pairs)
    pairs, ends, width, far = pairs[inner], ends[inner], width[inner], far[inner]
    if len(pairs) == 0:
        return none
    turn = np.radians(_angles(unit[pairs[:, 0]], unit[pairs[:, 1]]))
    sagitta = _sagitta(width, turn)
    # The far corner of one facet lies in front of the other one's plane round a hollow.
    rise = np.einsum("ij,ij->i", points[far] - points[ends[:, 0]], unit[pairs[:, 0]])
    hollow = sagitta[rise > 0.0]
    worst = int(sagitta.argmax())
    return ChordError(
        float(sagitta.max()),
        float(np.percentile(sagitta, 99.0)),
        float(hollow.max()) if hollow.size else 0.0,
        points[ends[worst]].mean(axis=0),
        len(sagitta),
    )


def hollow_axes(triangles: Singles, most: int = 12, least_mm: float = 5.0) -> Floats:
    """Directions along which hollow round walls run, as bores do: the edges of their facets.

    Parameters
    ----------
    triangles : ndarray (F, 3, 3) float32
        Finite, mm.
    most : int
        So many directions at most, those with most length of edges first.
    least_mm : float
        Least length of edges within about a degree.

    Returns
    -------
    ndarray (K, 3)
        Unit vectors; of two opposite ones the one whose last non-zero coordinate is positive.
    """
    kept = without_needles(triangles)
    if len(kept) < 4:
        return np.empty((0, 3))
    vertices, ids = weld(kept)
    pairs, ends, far = _inner_edges(vertices, ids)
    points = vertices.astype(np.float64)
    unit = _units(points[ids])
    angle = _angles(unit[pairs[:, 0]], unit[pairs[:, 1]])
    rise = np.einsum("ij,ij->i", points[far] - points[ends[:, 0]], unit[pairs[:, 0]])
    chosen = (angle >= FLATTEST_DEG) & (angle <= STEEPEST_DEG) & (rise > 0.0)
    along = points[ends[chosen, 1]] - points[ends[chosen, 0]]
    length = np.linalg.norm(along, axis=1)
    along, length = along[length > 0.0], length[length > 0.0]
    along = along / length[:, None]
    steps = np.rint(along * GRADES).astype(np.int64)
    flip = np.where(steps[:, 2] != 0, steps[:, 2], np.where(steps[:, 1], steps[:, 1], steps[:, 0]))
    along = np.where((flip < 0)[:, None], -along, along)
    steps = np.where((flip < 0)[:, None], -steps, steps) + 4 * GRADES
    key = (steps[:, 0] << 40) | (steps[:, 1] << 20) | steps[:, 2]
    _, group = np.unique(key, return_inverse=True)
    total = np.bincount(group, length)
    largest = np.argsort(-total, kind="stable")[:most]
    largest = largest[total[largest] >= least_mm]
    sums = np.column_stack([np.bincount(group, along[:, k] * length)[largest] for k in range(3)])
    result: Floats = sums / np.linalg.norm(sums, axis=1)[:, None]
    return result


def _inner_edges(vertices: Singles, ids: Ints) -> tuple[Ints, Ints, Ints]:
    """Pairs of triangles at edges of two, the edges' ends, and the second one's far corner."""
    edges = number_edges(ids, len(vertices))
    pairs = edges.pairs[~edges.same]
    # The corner of each that is not among the other's.
    first, second = ids[pairs[:, 0]], ids[pairs[:, 1]]
    shared = (first[:, :, None] == second[:, None, :]).any(axis=2)
    usable = shared.sum(axis=1) == 2
    pairs, first, second, shared = pairs[usable], first[usable], second[usable], shared[usable]
    ends = first[shared].reshape(-1, 2)
    alone = ~(second[:, :, None] == first[:, None, :]).any(axis=2)
    return pairs, ends, second[alone]


def _units(corners: Floats) -> Floats:
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    length = np.linalg.norm(normal, axis=1)
    result: Floats = normal / np.where(length > 0.0, length, 1.0)[:, None]
    return result


def _angles(a: Floats, b: Floats) -> Floats:
    """Angle between unit vectors, degrees; good for small ones too."""
    result: Floats = np.degrees(2.0 * np.arcsin(np.clip(np.linalg.norm(a - b, axis=1) / 2, 0, 1)))
    return result


def _facets(flat: Ints, count: int) -> Ints:
    """Number of the flat facet of each triangle."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    links = coo_array((np.ones(len(flat), bool), (flat[:, 0], flat[:, 1])), shape=(count,) * 2)
    result: Ints = connected_components(links, directed=False)[1].astype(np.int64)
    return result


def _widths(points: Floats, ids: Ints, facet: Ints, pairs: Ints, ends: Ints) -> Floats:
    """Width (E, 2) of the facets on both sides of each edge, across the edge."""
    start = points[ends[:, 0]]
    along = points[ends[:, 1]] - start
    length = np.linalg.norm(along, axis=1)
    length = np.where(length > 0.0, length, 1.0)
    along /= length[:, None]
    order = np.argsort(facet, kind="stable")
    first = np.searchsorted(facet[order], np.arange(facet.max() + 2))
    corners = points[ids]
    area = np.linalg.norm(
        np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0]), axis=1
    )
    result: Floats = area[pairs] / length[:, None]  # of facets that are one triangle
    for side in (0, 1):
        mine = facet[pairs[:, side]]
        count = first[mine + 1] - first[mine]
        result[count > MOST_TRIANGLES, side] = np.inf
        count[(count == 1) | (count > MOST_TRIANGLES)] = 0
        edge = np.repeat(np.arange(len(pairs)), count)
        step = np.arange(len(edge)) - np.repeat(np.cumsum(count) - count, count)
        triangle = order[first[mine][edge] + step]
        for corner in range(3):
            off = points[ids[triangle, corner]] - start[edge]
            across = off - np.einsum("ij,ij->i", off, along[edge])[:, None] * along[edge]
            np.maximum.at(result[:, side], edge, np.linalg.norm(across, axis=1))
    return result


def _between_two(facet: Ints, pairs: Ints) -> NDArray[np.bool_]:
    """Whether both facets of an edge have round edges to two other facets."""
    a, b = facet[pairs[:, 0]], facet[pairs[:, 1]]
    count = int(facet.max()) + 1
    both = np.sort(np.concatenate([a * count + b, b * count + a]))
    both = both[np.concatenate([[True], both[1:] != both[:-1]])]
    neighbours = np.bincount(both // count, minlength=count)
    result: NDArray[np.bool_] = (neighbours[a] >= 2) & (neighbours[b] >= 2)
    return result


def _sagitta(width: Floats, turn: Floats) -> Floats:
    """Sagitta of the wider facet on the circle through an edge and the two far edges."""
    a, b = width[:, 0], width[:, 1]
    # The far edges are c apart; the angle at the edge is pi - turn, so the circle's diameter is
    # c / sin(turn).
    c = np.sqrt(a * a + b * b + 2.0 * a * b * np.cos(turn))
    radius = 0.5 * c / np.sin(turn)
    half = 0.5 * np.maximum(a, b)
    result: Floats = half**2 / (radius + np.sqrt(np.maximum(radius**2 - half**2, 0.0)))
    return result
