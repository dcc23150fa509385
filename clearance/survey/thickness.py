"""Thinnest wall and thinnest gap of a mesh, and which of its surfaces lie where they should not.

In: a triangle soup, mm. Out: the shortest ways straight through metal and straight across void
from points spread over the surface, with their places; and how often metal wraps round each of
those points. Rays end exactly on triangles; between the points nothing is known, so the number
of points is part of the answer.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from clearance.geometry.areas import area_vectors
from clearance.geometry.box_tree import Tree, build
from clearance.geometry.cutting import Floats, Ints, Singles
from clearance.geometry.rays import first_hits, winding

MOST_CENTRES, MOST_SPREAD = 60_000, 40_000
"""Points at centres of triangles, and points spread evenly over the area."""
FACING = 0.87
"""Least cosine (30 degrees) between a ray and the normal that it ends on: walls, not wedges."""
REFINED, AROUND = 40, 60
"""The shortest rays of each kind that are looked at again, and points on each one's triangle."""


class Narrow(NamedTuple):
    """A narrowest place: its width and its middle (3,), mm; inf and nan if there is none."""

    width_mm: float
    at_mm: Floats


class Points(NamedTuple):
    """Points of the surface: place (N, 3), triangle (N,), outward normal (N, 3)."""

    at: Floats
    triangle: Ints
    normal: Floats


@dataclass(frozen=True, eq=False, slots=True)
class Surface:
    """What rays from points of the surface tell.

    Attributes
    ----------
    wall, gap : Narrow
        Thinnest wall of metal and narrowest gap of void between walls that face each other.
    points : Points
    winding : (N,) ndarray of int64
        Winding number just outside each point: 0 where the mesh is sound, 1 or more within the
        metal of another piece, below 0 where the surface faces inward. Means something only on a
        closed mesh.
    """

    wall: Narrow
    gap: Narrow
    points: Points
    winding: Ints


def surface(triangles: Singles) -> Surface:
    """Measure a mesh from points of its surface.

    Parameters
    ----------
    triangles : ndarray (F, 3, 3) float32
        Finite, mm. Triangles without area are passed over.

    Returns
    -------
    Surface
    """
    tree = build(triangles)
    points = spread(triangles)
    rng = np.random.default_rng(1)
    # A little off the normal, so that no ray meets the diagonals of rectangles opposite.
    slant = points.normal + 0.2 * rng.uniform(-1.0, 1.0, points.normal.shape)
    return Surface(
        _narrowest(tree, triangles, points, -1.0),
        _narrowest(tree, triangles, points, 1.0),
        points,
        winding(tree, points.at, slant, points.triangle),
    )


def spread(triangles: Singles) -> Points:
    """Points of the surface: centres of triangles, and more where triangles are large."""
    rng = np.random.default_rng(0)
    vectors = area_vectors(triangles)
    area = np.linalg.norm(vectors, axis=1)
    real = np.flatnonzero(area > 0.0)
    if real.size == 0:
        return Points(np.empty((0, 3)), np.empty(0, np.int64), np.empty((0, 3)))
    centres = real
    if real.size > MOST_CENTRES:
        centres = np.sort(rng.choice(real, MOST_CENTRES, replace=False))
    total = np.cumsum(area[real])
    drawn = np.sort(rng.uniform(0.0, total[-1], MOST_SPREAD))
    spread_over = real[np.minimum(np.searchsorted(total, drawn), real.size - 1)]
    triangle = np.concatenate([centres, spread_over])
    share = np.full((len(triangle), 3), 1.0 / 3.0)
    share[len(centres) :] = rng.dirichlet((1.0, 1.0, 1.0), len(spread_over))
    return _points(triangles, vectors, triangle, share)


def _points(triangles: Singles, vectors: Floats, triangle: Ints, share: Floats) -> Points:
    at = np.einsum("nk,nkj->nj", share, triangles[triangle].astype(np.float64))
    normal = vectors[triangle]
    return Points(at, triangle, normal / np.linalg.norm(normal, axis=1)[:, None])


def _narrowest(tree: Tree, triangles: Singles, points: Points, side: float) -> Narrow:
    """Shortest ray along (side 1) or against (-1) the normals to a wall that faces back."""
    best = Narrow(np.inf, np.full(3, np.nan))
    rng = np.random.default_rng(2)
    for _ in range(3):  # all points, then twice round the shortest rays
        length, facing = first_hits(tree, points.at, side * points.normal, points.triangle)
        # Through metal a ray ends where it leaves it, across void where it enters it.
        length[-side * facing < FACING] = np.inf
        if length.size == 0 or not np.isfinite(length.min()):
            break
        least = int(length.argmin())
        if length[least] < best.width_mm:
            middle = points.at[least] + 0.5 * side * length[least] * points.normal[least]
            best = Narrow(float(length[least]), middle)
        shortest = np.argsort(length)[:REFINED]
        again = np.repeat(np.unique(points.triangle[shortest]), AROUND)
        share = rng.dirichlet((0.6, 0.6, 0.6), len(again))
        points = _again(triangles, again, share)
    return best


def _again(triangles: Singles, triangle: Ints, share: Floats) -> Points:
    near = triangles[triangle]
    found = _points(near, area_vectors(near), np.arange(len(near)), share)
    return Points(found.at, triangle, found.normal)
