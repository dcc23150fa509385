"""Stock on the machined faces of a finished shape, in one predicted part.

In: the finished shape and the part where it stands, as solids. Out: the least stock and where it
is; where the shape stands out of the metal, how far and over which area.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import manifold3d as m3
import numpy as np
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from clearance.finished.heights import SAME_WAY, heights, least_height
from clearance.geometry.box_tree import Tree, build
from clearance.geometry.distance import closest
from clearance.verdict.solids import Floats, triangles_of

SLANTING = 1.5
"""Lack is sought along a face's normal to so many times the farthest that the shape stands out:
what looks another way by 45 degrees lies 1.42 times as deep there."""
SPLIT_MM = 0.25
"""A triangle that is machined in part is parted until its pieces are smaller; what is then still
both counts as built."""
SLIVER_MM2 = 1e-7
"""Triangles no larger are rounding."""
LEAST_MM = 2e-5
"""What stands out by no more is rounding."""
SHARED = 1e-3
"""Of a surface, what may be as built where all of it counts as machined."""
INSET = 0.02
"""Samples at a triangle's corners are drawn in by this share, off the faces beside it."""


@dataclass(frozen=True)
class Stock:
    """What one predicted part leaves over a finished shape.

    Attributes
    ----------
    least_mm : float or None
        Negative where the shape stands out of the metal; None where no machined face is found.
    at : (3,) ndarray, mm
        Where, on the finished shape.
    lacking_mm2 : float
        Area of machined faces under which the metal lies too low.
    """

    least_mm: float | None
    at: Floats
    lacking_mm2: float = 0.0


@dataclass(frozen=True, eq=False)
class Faces:
    """The nominal part's surface, by which a face counts as machined or as built."""

    tree: Tree
    normals: Floats
    tolerance_mm: float

    @classmethod
    def of(cls, nominal: m3.Manifold, tolerance_mm: float) -> Faces:
        """The same, of the nominal part."""
        soup = triangles_of(nominal)
        return cls(build(soup), _normals(soup), tolerance_mm)

    def machined(self, triangles: Floats) -> Floats:
        """Those of some triangles, or pieces of them, that lie off the nominal surface."""
        kept = []
        left = triangles[_areas(triangles) > SLIVER_MM2]
        while len(left):
            off = self._off(left)
            kept.append(left[off.all(1)])
            left = left[off.any(1) & ~off.all(1)]
            left = _parted(left[_sides(left).max(1) > SPLIT_MM])
        return np.concatenate(kept) if kept else triangles[:0]

    def _off(self, triangles: Floats) -> NDArray[np.bool_]:
        """Whether samples (F, 7) of triangles lie off the nominal surface.

        On it is what lies near a face that looks the same way.
        """
        corners = triangles + INSET * (triangles.mean(1, keepdims=True) - triangles)
        middles = 0.5 * (corners + np.roll(corners, -1, axis=1))
        samples = np.concatenate([corners, middles, corners.mean(1, keepdims=True)], 1)
        away, _, face = closest(self.tree, samples.reshape(-1, 3))
        own = np.repeat(_normals(triangles), samples.shape[1], axis=0)
        alike = np.einsum("ij,ij->i", own, self.normals[face]) > SAME_WAY
        return ~((away <= self.tolerance_mm) & alike).reshape(samples.shape[:2])


def stock(shape: m3.Manifold, part: m3.Manifold, faces: Faces, moved: Floats) -> Stock:
    """Stock on the machined faces of a finished shape in a predicted part.

    Parameters
    ----------
    shape : Manifold
        In the nominal part; by its surface faces are told apart.
    part : Manifold
        As the event left it.
    faces : Faces
    moved : (3,) ndarray, mm
        How far the shape is moved to where it is made from the part.
    """
    tree = build(triangles_of(part))
    placed = shape.translate(tuple(float(v) for v in moved)).as_original()
    own = placed.original_id()
    lack = _lack(placed - part, own, tree, faces, moved)
    if lack is not None:
        return lack
    covered = faces.machined(surface_of(placed ^ part, own) - moved) + moved
    bare = _bare(faces.machined(surface_of(placed, own) - moved) + moved, covered, tree)
    if bare is not None:
        return bare
    low, high = np.array(part.bounding_box()).reshape(2, 3)
    found = least_height(tree, covered, float(np.linalg.norm(high - low)))
    return Stock(None, np.zeros(3)) if found is None else Stock(*found)


def _lack(out: m3.Manifold, own: int, tree: Tree, faces: Faces, moved: Floats) -> Stock | None:
    """What stands out of the metal over its own surface: as deep as it goes along the normals."""
    deepest, at, area = 0.0, np.zeros(3), 0.0
    for piece in out.decompose():
        skin = surface_of(piece, own)
        machined = faces.machined(skin - moved) + moved
        if not len(machined):
            continue
        points = np.concatenate([skin.reshape(-1, 3), skin.mean(1)])
        away = closest(tree, points)[0]
        farthest = float(away.max())
        found = heights(tree, machined, SLANTING * farthest, inward=True)
        n = int(np.argmax(found.greatest))
        depth, place, covered = found.greatest[n], found.greatest_at[n], found.covered.sum()
        if not covered and _areas(machined).sum() > (1.0 - SHARED) * _areas(skin).sum():
            # No metal lies under it at all, and nothing of it is as built.
            n = int(np.argmax(away))
            depth, place, covered = farthest, points[n], _areas(machined).sum()
        if depth > LEAST_MM:
            area += float(covered)
            deepest, at = max((deepest, at), (float(depth), place), key=lambda one: one[0])
    return Stock(-deepest, at, area) if area > 0.0 else None


def _bare(machined: Floats, covered: Floats, tree: Tree) -> Stock | None:
    """Machined faces, connected, of which no spot is in the metal: all of it stands beside it.

    Along their normals such faces find no metal that lies too low; where faces as built stand
    beside them, what lacks under a strip of them is what moved, but not under all of them.
    """
    if not len(machined):
        return None
    _, corner = np.unique(np.round(machined.reshape(-1, 3), 6), axis=0, return_inverse=True)
    corners = corner.reshape(-1, 3)
    links = np.concatenate([corners[:, :2], corners[:, 1:]])
    size = int(corners.max()) + 1
    net = coo_array((np.ones(len(links)), (links[:, 0], links[:, 1])), shape=(size, size))
    face = connected_components(net, directed=False)[1][corners[:, 0]]
    seen = closest(build(machined), covered.mean(1))[2] if len(covered) else np.zeros(0, int)
    off = ~np.isin(face, face[seen])
    if not off.any():
        return None
    points = machined[off].reshape(-1, 3)
    away = closest(tree, points)[0]
    n = int(np.argmax(away))
    area = float(_areas(machined[off]).sum())
    return Stock(-float(away[n]), points[n], area) if away[n] > LEAST_MM else None


def surface_of(body: m3.Manifold, source: int) -> Floats:
    """Triangles (F, 3, 3) of a solid's surface that come from one of those it was made from."""
    mesh = body.to_mesh64() if hasattr(body, "to_mesh64") else body.to_mesh()
    points = np.asarray(mesh.vert_properties, np.float64)[:, :3]
    corners = np.asarray(mesh.tri_verts)
    ends = np.asarray(mesh.run_index) // 3
    runs = zip(ends[:-1], ends[1:], mesh.run_original_id, strict=True)
    kept = [corners[a:b] for a, b, run in runs if run == source]
    return np.asarray(points[np.concatenate(kept)] if kept else np.empty((0, 3, 3)))


# ---- triangles ---------------------------------------------------------------------------------


def _crossed(triangles: Floats) -> Floats:
    a, b, c = triangles.transpose(1, 0, 2)
    return np.cross(b - a, c - a)


def _areas(triangles: Floats) -> Floats:
    return np.asarray(0.5 * np.linalg.norm(_crossed(triangles), axis=1))


def _normals(triangles: Floats) -> Floats:
    side = _crossed(triangles)
    return np.asarray(side / np.maximum(np.linalg.norm(side, axis=1, keepdims=True), 1e-30))


def _sides(triangles: Floats) -> Floats:
    """Lengths of the sides, (F, 3)."""
    return np.asarray(np.linalg.norm(triangles - np.roll(triangles, -1, axis=1), axis=2))


def _parted(triangles: Floats) -> Floats:
    """Each triangle in two, across the middle of its longest side."""
    first = np.argmax(_sides(triangles), axis=1) if len(triangles) else np.empty(0, int)
    row = np.arange(len(triangles))
    a, b, c = (triangles[row, (first + k) % 3] for k in range(3))
    middle = 0.5 * (a + b)
    halves: list[Any] = [np.stack([a, middle, c], 1), np.stack([middle, b, c], 1)]
    return np.concatenate(halves)
