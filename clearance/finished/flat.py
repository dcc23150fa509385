"""Flat machined faces that a tolerance would take for faces as built.

In: the finished shape's triangles and the nominal part's surface. Out: how far such a face lies
inside the nominal one, and where.
"""

from __future__ import annotations

import numpy as np
import scipy.sparse
from numpy.typing import NDArray
from scipy.sparse.csgraph import connected_components

from clearance.finished.metal import Faces
from clearance.geometry.distance import closest
from clearance.verdict.solids import Floats

ROUNDING_MM = 2e-3
"""Flat faces no farther apart are one: coordinates are often written to a thousandth."""
FLAT = 1e-4
"""Angle between triangles of one plane, rad."""
SHARP = np.radians(32.0)
"""Least angle to all neighbours of a face that is no facet of a curved one."""
WIDE = 15.0
"""Times that such a face is wider than it lies off: a facet of a round face with edges as sharp is
at most 2 / tan(SHARP / 4) = 14.2 times as wide as its chord error."""


def taken_for_built(
    triangles: Floats, faces: Faces, tolerance_mm: float
) -> tuple[float, Floats] | None:
    """The flat face that lies farthest inside a nominal one within a tolerance; None: none is told.

    A flat face has no chord error, so one that lies off the nominal face beside it is machined. It
    is told from a curved face's facet by its edges, which are sharp all round.

    Parameters
    ----------
    triangles : (F, 3, 3) ndarray, mm
        A closed surface.
    faces : Faces
    tolerance_mm : float

    Returns
    -------
    off : float, mm
    at : (3,) ndarray, mm
    """
    normal = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    double = np.linalg.norm(normal, axis=1)
    normal /= np.maximum(double, 1e-30)[:, None]
    face, sharp, rim = _flat_faces(triangles, normal)
    width = np.bincount(face, double) / np.maximum(rim, 1e-30)
    middles = triangles.mean(axis=1)
    away, _, met = closest(faces.tree, middles)
    alike = np.einsum("ij,ij->i", normal, faces.normals[met]) > 1.0 - 1e-6
    most = np.zeros(len(sharp))
    least = np.full(len(sharp), np.inf)
    np.maximum.at(most, face, np.where(alike, away, np.inf))
    np.minimum.at(least, face, away)
    told = sharp & (most - least <= ROUNDING_MM) & (width >= WIDE * most)
    told &= (least > ROUNDING_MM) & (most <= tolerance_mm)
    if not told.any():
        return None
    number = int(np.argmax(np.where(told, most, 0.0)))
    largest = np.argmax(np.where(face == number, double, 0.0))
    return float(most[number]), middles[largest]


def _flat_faces(
    triangles: Floats, normal: Floats
) -> tuple[NDArray[np.int32], NDArray[np.bool_], Floats]:
    """The flat face of each triangle, and of each face: edges sharp all round, their length."""
    points, index = np.unique(triangles.reshape(-1, 3), axis=0, return_inverse=True)
    corner = index.reshape(-1, 3)
    edges = np.sort(np.concatenate([corner[:, [k, (k + 1) % 3]] for k in range(3)]), axis=1)
    order = np.lexsort(edges.T)
    pair = np.flatnonzero((edges[order[1:]] == edges[order[:-1]]).all(axis=1))
    count = len(triangles)
    one, other = order[pair] % count, order[pair + 1] % count
    length = np.linalg.norm(np.diff(points[edges[order[pair]]], axis=1)[:, 0], axis=1)
    turned = np.arccos(np.clip(np.einsum("ij,ij->i", normal[one], normal[other]), -1.0, 1.0))
    flat = turned < FLAT
    links = scipy.sparse.coo_array((np.ones(flat.sum()), (one[flat], other[flat])), (count, count))
    number, face = connected_components(links, directed=False)
    sharp, rim = np.ones(number, bool), np.zeros(number)
    for side in (one[~flat], other[~flat]):
        np.logical_and.at(sharp, face[side], turned[~flat] > SHARP)
        np.add.at(rim, face[side], length[~flat])
    return face, sharp, rim
