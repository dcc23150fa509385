"""Chord error: how far flat facets lie from the round walls that they stand for.

In: a triangle soup, mm. Out: the sagitta of facets of round walls, of bores and of outer walls
apart. A facet's neighbours give the circle that a round wall with these facets has: where two
facets meet at a small angle, the edge and the two far edges lie on it, and a facet between two
edges of a circle of radius r lies r - sqrt(r**2 - w**2 / 4) inside it (w its width).

An edge of the drawing (between cylinder and cone, where two bores meet) may have as small an
angle. So an edge counts only within a row: in the section square to it the two facets on each
side are of like width, and meet at like angles of the same sense.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from clearance.geometry.cutting import Floats, Ints, Singles
from clearance.kernels.pieces import pieces
from clearance.mesh.closedness import number_edges, weld, without_needles

FLATTEST_DEG, STEEPEST_DEG = 0.02, 46.0
"""Angle between neighbouring facets of a round wall: 8 facets round a circle make 45 degrees."""
ALIKE = 2.1
"""Widths, and angles, that follow each other round a wall differ at most by this factor: at the
end of a fillet the last angle is half of the others."""
FLAT_SHARE = 0.25
"""Of an edge's angle: what turns less is the same facet, as the two halves of a twisted one."""
DRAWN = 4.0
"""An edge whose sagitta is more than so many times that of another edge at the same corner is
taken as drawn: who draws a wall in facets draws it alike both ways."""
GRADES = 60
"""Directions that round to the same step of 1/60 count as one."""
MOST_AXES, LEAST_AXIS_MM = 12, 5.0
"""Directions of bores that are told, and the least length of their edges within about a degree."""
MOST_TRIANGLES = 64
"""So many triangles are crossed for the two facets beside an edge; a flat face may have more."""


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
    untold : int
        Edges that would make the largest larger, were they between facets and not drawn, which
        cannot be told; not among the others.
    untold_at_mm : ndarray (3,)
        Where the largest would be; nan without any.
    """

    max_mm: float
    p99_mm: float
    hollow_max_mm: float
    at_mm: Floats
    edges: int
    untold: int
    untold_at_mm: Floats


def chord_error(triangles: Singles) -> ChordError:
    """Chord error against the cylinders that fit the round walls of a mesh best.

    Parameters
    ----------
    triangles : ndarray (F, 3, 3) float32
        Finite, mm; open or not. Vertices that neighbours share are bitwise equal.

    Notes
    -----
    A drawing's round corner with few facets and a corner drawn with flat facets are the same
    mesh. Facets count as round only in rows of four (see above), so that what is said is rather
    too little: a tolerance that is taken from it must not be too wide. Source of the sagitta:
    REFERENCES.md, section 5.
    """
    kept = without_needles(triangles)
    nowhere = np.full(3, np.nan)
    found = _told(kept)
    if found is None:
        return ChordError(0.0, 0.0, 0.0, nowhere, 0, 0, nowhere)
    sagitta, told, at = found.sagitta, found.told, found.at
    hollow = sagitta[told & found.hollow]
    worst = int(np.where(told, sagitta, -1.0).argmax())
    untold = np.flatnonzero(~told & (sagitta > sagitta[worst]))
    return ChordError(
        float(sagitta[worst]),
        float(np.percentile(sagitta[told], 99.0)),
        float(hollow.max()) if hollow.size else 0.0,
        at[worst],
        int(told.sum()),
        len(untold),
        at[untold[sagitta[untold].argmax()]] if len(untold) else nowhere,
    )


def only_facets(
    triangles: Singles, route: Floats, radius_mm: float, tolerance_mm: float = 1e-3
) -> bool:
    """Whether nothing but facets of round walls keeps a ball from a route, by their chord error.

    Parameters
    ----------
    triangles : ndarray (F, 3, 3) float32
        All metal that the ball may meet, mm, some of it twice; vertices that neighbours share
        are bitwise equal.
    route : ndarray (N, 3)
        Way of the ball's centre, mm.
    radius_mm : float
        Of the ball.
    tolerance_mm : float
        By so much a facet may stand farther into the ball than its chord error.

    Returns
    -------
    bool
        False where a triangle that is no facet of a hollow round wall stands in the ball, and
        where a facet does so by more than its chord error. True: were the walls round, the ball
        would pass.

    Notes
    -----
    The ball is looked at every eighth of its radius: a rim of whatever thickness that stands in
    it by a hundredth of its radius does so over a seventh of it to either side.
    """
    from trimesh.triangles import closest_point

    once = np.unique(triangles.reshape(-1, 9), axis=0).reshape(-1, 3, 3)
    kept = without_needles(once)
    excused = _excused(kept)
    rim = _at_corners(kept, excused)
    corners = kept.astype(np.float64)
    low, high = corners.min(axis=1), corners.max(axis=1)
    for centre in _steps(route, radius_mm / 8.0):
        gap = np.maximum(np.maximum(low - centre, centre - high), 0.0)
        near = np.flatnonzero(np.einsum("ij,ij->i", gap, gap) < radius_mm**2)
        if len(near) == 0:
            continue
        place = closest_point(corners[near], np.broadcast_to(centre, (len(near), 3)))
        into = radius_mm - np.linalg.norm(place - centre, axis=1)
        facet = excused[near] > 0.0
        if (into > np.where(facet, excused[near], rim[near]) + tolerance_mm).any():
            return False
        # What is no facet may reach in only between a facet and its circle, as does the face round
        # a port.
        walls = corners[near[facet]]
        for n in np.flatnonzero(~facet & (into > tolerance_mm)):
            on = closest_point(walls, np.broadcast_to(place[n], (len(walls), 3)))
            off = np.linalg.norm(on - place[n], axis=1).min(initial=np.inf)
            if off > rim[near[n]] + tolerance_mm:
                return False
    return True


def _at_corners(kept: Singles, excused: Floats) -> Floats:
    """The largest of `excused` among the triangles that share a corner with each."""
    vertices, ids = weld(kept)
    most = np.zeros(len(vertices))
    for corner in range(3):
        np.maximum.at(most, ids[:, corner], excused)
    result: Floats = most[ids].max(axis=1)
    return result


def _steps(route: Floats, most_mm: float) -> Floats:
    """Points along a polyline, its vertices among them, no farther apart than `most_mm`."""
    parts = [route[:1]]
    for a, b in pairwise(route):
        count = max(int(np.ceil(np.linalg.norm(b - a) / most_mm)), 1)
        parts.append(a + (b - a) * (np.arange(1, count + 1) / count)[:, None])
    result: Floats = np.concatenate(parts)
    return result


def _excused(kept: Singles) -> Floats:
    """Chord error (F,) of each triangle's facet, mm; 0.0 if it is of no hollow round wall."""
    result = np.zeros(len(kept))
    found = _told(kept)
    if found is None:
        return result
    chosen = found.told & found.hollow
    least = np.full(int(found.facet.max()) + 1, np.inf)
    for side in (0, 1):
        np.minimum.at(least, found.facet[found.pairs[chosen, side]], found.sagitta[chosen])
    result = least[found.facet]
    result[~np.isfinite(result)] = 0.0
    return result


@dataclass(frozen=True, eq=False, slots=True)
class _Told:
    """Edges (E,) within rows: triangles (E, 2), sagitta, sense, middle; and facets (F,)."""

    pairs: Ints
    sagitta: Floats
    told: NDArray[np.bool_]
    hollow: NDArray[np.bool_]
    at: Floats
    facet: Ints


def _told(kept: Singles) -> _Told | None:
    """Edges between facets of round walls, and which of them are surely none of the drawing."""
    if len(kept) < 4:
        return None
    vertices, ids = weld(kept)
    points = vertices.astype(np.float64)
    pairs, ends, _ = _inner_edges(vertices, ids)
    unit = _units(points[ids])
    angle = _angles(unit[pairs[:, 0]], unit[pairs[:, 1]])
    facet = _facets(pairs[angle < FLATTEST_DEG], len(ids))
    round_edge = (angle >= FLATTEST_DEG) & (angle <= STEEPEST_DEG)
    pairs, ends = pairs[round_edge], ends[round_edge]
    turn, width = _Rows(points, ids, unit).beside(pairs, ends)
    row = _in_a_row(turn, width)
    turn, width, pairs, ends = turn[row, 1], width[row, 1:3], pairs[row], ends[row]
    if len(ends) == 0:
        return None
    sagitta = _sagitta(width, np.abs(turn))
    least = np.full(len(points), np.inf)
    for side in (0, 1):
        np.minimum.at(least, ends[:, side], sagitta)
    told = sagitta <= DRAWN * least[ends].min(axis=1)
    return _Told(pairs, sagitta, told, turn > 0.0, points[ends].mean(axis=1), facet)


def _facets(flat: Ints, count: int) -> Ints:
    """Number of the flat facet of each triangle."""
    return pieces(flat[:, 0], flat[:, 1], count)


def _in_a_row(turn: Floats, width: Floats) -> NDArray[np.bool_]:
    """Whether three angles (E, 3) and the widths (E, 4) of the facets around them are alike."""
    with np.errstate(invalid="ignore", divide="ignore"):
        same = np.asarray((turn > 0.0).all(axis=1) | (turn < 0.0).all(axis=1))
        for values in (np.abs(turn), width):
            ratio = values[:, 1:] / values[:, :-1]
            same = same & ((ratio <= ALIKE) & (ratio >= 1.0 / ALIKE)).all(axis=1)
    return same


def hollow_axes(triangles: Singles) -> Floats:
    """Directions along which hollow round walls run, as bores do: the edges of their facets.

    Parameters
    ----------
    triangles : ndarray (F, 3, 3) float32
        Finite, mm.

    Returns
    -------
    ndarray (K, 3)
        Unit vectors, those with most length of edges first (`MOST_AXES`, `LEAST_AXIS_MM`); of two
        opposite ones the one whose last non-zero coordinate is positive.
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
    largest = np.argsort(-total, kind="stable")[:MOST_AXES]
    largest = largest[total[largest] >= LEAST_AXIS_MM]
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


class _Rows:
    """Sections square to edges, followed from triangle to triangle."""

    def __init__(self, points: Floats, ids: Ints, unit: Floats):
        self.points, self.ids, self.unit = points, ids, unit
        self.beyond = _neighbours(ids, len(points))

    def beside(self, pairs: Ints, ends: Ints) -> tuple[Floats, Floats]:
        """Angles (E, 3), rad, positive round a hollow, and widths (E, 4) of the facets.

        Nan where there is no such facet. The middle angle is the edge's own, the others those at
        the far side of its two facets; the outer widths are those of the facets beyond.
        """
        a, b = self.points[ends[:, 0]], self.points[ends[:, 1]]
        along = b - a
        along /= np.linalg.norm(along, axis=1)[:, None]
        # Normal times this edge's direction: on this side it leads away from the edge, or towards.
        off = self.points[self.ids[pairs[:, 0]]].mean(axis=1) - a
        into = np.cross(self.unit[pairs[:, 0]], along)
        away = np.where(np.einsum("ij,ij->i", into, off) > 0.0, 1.0, -1.0)
        own = self._turns(pairs[:, 0], pairs[:, 1], along, -away)
        turn, width = np.full((len(pairs), 3), np.nan), np.full((len(pairs), 4), np.nan)
        turn[:, 1] = own
        turn[:, 0], width[:, (1, 0)] = self._walk(pairs[:, 0], ends, along, away, np.abs(own))
        turn[:, 2], width[:, 2:] = self._walk(pairs[:, 1], ends, along, -away, np.abs(own))
        return turn, width

    def _turns(self, here: Ints, there: Ints, along: Floats, sign: Floats) -> Floats:
        """Angle by which a section turns from one triangle into another, positive if it rises."""
        before, on = np.cross(self.unit[here], along), np.cross(self.unit[there], along)
        rise = sign * np.einsum("ij,ij->i", self.unit[here], on)
        result: Floats = np.arctan2(rise, np.einsum("ij,ij->i", before, on))
        return result

    def _walk(
        self, triangle: Ints, ends: Ints, along: Floats, sign: Floats, own: Floats
    ) -> tuple[Floats, Floats]:
        """From each edge's middle: the angle at the far side of its facet, and two widths."""
        count = len(triangle)
        middle = self.points[ends].mean(axis=1)
        turn, width = np.full(count, np.nan), np.full((count, 2), np.nan)
        last, flat, seen = middle.copy(), np.zeros(count), np.zeros(count, np.int64)
        here, edge = triangle.copy(), ends.copy()
        live = np.arange(count)
        for _ in range(MOST_TRIANGLES):
            if len(live) == 0:
                break
            corners = self.ids[here[live]]
            old = (corners[:, :, None] == edge[live][:, None, :]).any(axis=2)
            third = corners[np.arange(len(live)), old.argmin(axis=1)]
            off = np.einsum(
                "ijk,ik->ij", self.points[edge[live]] - middle[live][:, None], along[live]
            )
            tip = np.einsum("ij,ij->i", self.points[third] - middle[live], along[live])
            # The section leaves between the third corner and the one on its other side.
            other = np.where((off[:, 0] >= 0.0) != (tip >= 0.0), 0, 1)
            rows = np.arange(len(live))
            mate, height = edge[live][rows, other], off[rows, other]
            share = height / np.where(height == tip, 1.0, height - tip)
            start = self.points[mate]
            point = start + share[:, None] * (self.points[third] - start)
            slot = (corners == third[:, None]) | (corners == mate[:, None])
            # Edge k runs from corner k to the next.
            k = (slot & np.roll(slot, -1, axis=1)).argmax(axis=1)
            there = self.beyond[here[live], k]
            off_mesh = there < 0
            step = self._turns(here[live], np.where(off_mesh, 0, there), along[live], sign[live])
            edge[live] = np.column_stack([third, mate])
            small = np.abs(step) < FLAT_SHARE * own[live]
            flat[live] = np.where(small, flat[live] + step, 0.0)
            bent = np.abs(flat[live]) > FLAT_SHARE * own[live]
            corner = ~small & ~off_mesh & ~bent
            at, number = live[corner], seen[live[corner]]
            width[at, number] = np.linalg.norm(point[corner] - last[at], axis=1)
            turn[at[number == 0]] = step[corner][number == 0]
            last[at], seen[at] = point[corner], number + 1
            here[live] = np.where(off_mesh, here[live], there)
            live = live[~off_mesh & ~bent & (seen[live] < 2)]
        return turn, width


def _neighbours(ids: Ints, vertex_count: int) -> Ints:
    """The triangle (F, 3) beyond the edge from each corner to the next; -1 if not just one."""
    edges = number_edges(ids, vertex_count)
    start, stop = ids.ravel(), np.roll(ids, -1, axis=1).ravel()
    key = np.minimum(start, stop) * vertex_count + np.maximum(start, stop)
    order = np.argsort(key, kind="stable")
    sorted_key = key[order]
    first = np.flatnonzero(np.concatenate([[True], sorted_key[1:] != sorted_key[:-1]]))
    double = first[np.diff(np.append(first, len(key))) == 2]
    one, two = order[double], order[double + 1]
    result = np.full(len(key), -1)
    result[one], result[two] = two // 3, one // 3
    result[one[edges.same]], result[two[edges.same]] = -1, -1
    return result.reshape(-1, 3)


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
