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

from clearance.finished.heights import SAME_WAY, heights, least_height
from clearance.geometry.box_tree import Tree, build
from clearance.geometry.distance import closest
from clearance.verdict.solids import Floats, triangles_of

SLANTING = 1.5
"""Lack is sought along a face's normal to so many times the farthest that the shape stands out:
what looks another way by 45 degrees lies 1.42 times as deep there."""
STEEP = 3.0
"""The same where nothing looks that way: flanks up to 70 degrees are met along the normal."""
SPLIT_MM = 0.25
"""A triangle that is machined in part is parted until its pieces are smaller; what is then still
both counts as built."""
KINK = 0.1
"""Angle of a kink between facets, rad, about the greatest in a mesh of curved faces."""
SLIVER_MM2 = 1e-7
"""Triangles no larger are rounding."""
LEAST_MM = 2e-5
"""What stands out by no more is rounding."""
STRIP_MM = 0.01
"""A strip beside faces as built that moved may be so much wider than they moved."""
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
        return self.parted(triangles)[0]

    def parted(self, triangles: Floats) -> tuple[Floats, Floats]:
        """Some triangles, or pieces of them: machined ones, and those as built."""
        machined, built = [triangles[:0]], [triangles[:0]]
        left = triangles[_areas(triangles) > SLIVER_MM2]
        while len(left):
            off = self._off(left)
            on = left[~off.any(1)]
            bare = self._in_part(on)
            mixed = np.concatenate([left[off.any(1) & ~off.all(1)], on[bare]])
            small = _sides(mixed).max(1) <= SPLIT_MM
            machined.append(left[off.all(1)])
            built += [on[~bare], mixed[small]]
            left = _parted(mixed[~small])
        return np.concatenate(machined), np.concatenate(built)

    def _in_part(self, triangles: Floats) -> NDArray[np.bool_]:
        """Whether triangles whose samples all lie on the nominal surface are bare of it somewhere.

        Facets that do not match leave gaps at kinks, as wide as they are off times its angle.
        """
        deep = self.tolerance_mm
        under = triangles - deep * _normals(triangles)[:, None]
        bare = _areas(triangles) - heights(self.tree, under, 2.0 * deep).covered
        return np.asarray(bare > KINK * deep * _sides(triangles).sum(1))

    def _off(self, triangles: Floats) -> NDArray[np.bool_]:
        """Whether samples (F, 7) of triangles lie off the nominal surface.

        On it is what lies near a face that looks the same way.
        """
        samples = _samples(triangles + INSET * (triangles.mean(1, keepdims=True) - triangles))
        away, _, face = closest(self.tree, samples.reshape(-1, 3))
        own = np.repeat(_normals(triangles), samples.shape[1], axis=0)
        alike = np.einsum("ij,ij->i", own, self.normals[face]) > SAME_WAY
        return ~((away <= self.tolerance_mm) & alike).reshape(samples.shape[:2])


def stock(
    shape: m3.Manifold, part: m3.Manifold, faces: Faces, moved: Floats, pieces: Floats
) -> Stock:
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
    pieces : (K, 3) ndarray, mm
        How far each piece of the part is moved.
    """
    tree = build(triangles_of(part))
    placed = shape.translate(tuple(float(v) for v in moved)).as_original()
    own = placed.original_id()
    out = placed - part
    lack = _lack(out, own, tree, faces, moved)
    if lack is not None:
        return lack
    within = placed ^ part
    covered = faces.machined(surface_of(within, own) - moved) + moved
    met, built = (some + moved for some in faces.parted(surface_of(placed, own) - moved))
    if not len(met):
        return Stock(None, np.zeros(3))
    beside = faces.machined(surface_of(out, own) - moved) + moved
    bare = _bare(beside, (covered, built), tree, pieces - moved, faces.tolerance_mm)
    if bare is not None:
        return bare
    level = _level(met, surface_of(within, own, others=True))
    if level is not None:
        return Stock(0.0, level)
    low, high = np.array(part.bounding_box()).reshape(2, 3)
    found = least_height(tree, covered, float(np.linalg.norm(high - low)))
    return Stock(*(found or _nearest(tree, covered if len(covered) else met)))


def _level(machined: Floats, metal: Floats) -> Floats | None:
    """A place where a machined face and the metal's own lie in one plane; None: nowhere.

    The solid that both share has but one face there, which may be either's.
    """
    metal = metal[_areas(metal) > SLIVER_MM2]
    if not len(metal):
        return None
    middles = metal.mean(1)
    away, _, face = closest(build(machined), middles)
    alike = np.einsum("ij,ij->i", _normals(metal), _normals(machined)[face]) > SAME_WAY
    level = (away <= LEAST_MM) & alike
    return np.asarray(middles[np.argmax(level)]) if level.any() else None


def _nearest(tree: Tree, covered: Floats) -> tuple[float, Floats]:
    """Where no metal over machined faces looks their way: how far the metal's surface is at least.

    So under steep flanks; a face's corners lie nearest to what looks aside.
    """
    points = covered.reshape(-1, 3)
    away = closest(tree, points)[0]
    n = int(np.argmin(away))
    return float(away[n]), points[n]


def _lack(out: m3.Manifold, own: int, tree: Tree, faces: Faces, moved: Floats) -> Stock | None:
    """What stands out of the metal over its own surface: as deep as it goes along the normals."""
    deepest, at, area = 0.0, np.zeros(3), 0.0
    for piece in out.decompose():
        skin = surface_of(piece, own)
        machined = faces.machined(skin - moved) + moved
        if not len(machined):
            continue
        points = _samples(skin).reshape(-1, 3)
        away = closest(tree, points)[0]
        farthest = float(away.max())
        found = heights(tree, machined, SLANTING * farthest, inward=True)
        n = int(np.argmax(found.greatest))
        depth, place, covered = found.greatest[n], found.greatest_at[n], found.covered.sum()
        if not covered and _areas(machined).sum() > (1.0 - SHARED) * _areas(skin).sum():
            # No metal lies under it at all, and nothing of it is as built.
            depth, place = _deepest(machined, tree, points, away)
            covered = _areas(machined).sum()
        if depth > LEAST_MM:
            area += float(covered)
            deepest, at = max((deepest, at), (float(depth), place), key=lambda one: one[0])
    return Stock(-deepest, at, area) if area > 0.0 else None


def _bare(
    beside: Floats,
    around: tuple[Floats, Floats],
    tree: Tree,
    pieces: Floats,
    tolerance_mm: float,
) -> Stock | None:
    """Machined faces beside the metal, farther than its pieces moved along them.

    Along their normals such faces find no metal that lies too low. A strip between faces as built
    that moved and what is in the metal (`around`: this, then those) is told by how far they moved,
    and is no wider. What lies farther from either lacks: under a groove, or of what stepped off.
    """
    if not len(beside):
        return None
    normals = _normals(beside)
    along = pieces - normals[:, None] * (normals @ pieces.T)[..., None]
    wide = np.linalg.norm(along, axis=2).max(1) + tolerance_mm + STRIP_MM
    points = _samples(beside)
    off = np.zeros(points.shape[:2])
    for some in around:
        if not len(some):
            off[:] = np.inf
        else:
            found = closest(build(some), points.reshape(-1, 3))[0]
            off = np.maximum(off, found.reshape(off.shape))
    away = closest(tree, points.reshape(-1, 3))[0].reshape(off.shape)
    lacks = (off > wide[:, None]) & (away > LEAST_MM)
    if not lacks.any():
        return None
    bare = beside[lacks.any(1)]
    deepest, at = _deepest(bare, tree, points[lacks], away[lacks])
    return Stock(-deepest, at, float(_areas(bare).sum()))


def _deepest(bare: Floats, tree: Tree, points: Floats, away: Floats) -> tuple[float, Floats]:
    """How deep metal lies under bare faces, whatever way it looks; at least how far off it is."""
    n = int(np.argmax(away))
    deepest, at = float(away[n]), points[n]
    under = heights(tree, bare, STEEP * deepest, inward=True, alike=0.0)
    n = int(np.argmax(under.greatest))
    if under.greatest[n] > deepest:
        deepest, at = float(under.greatest[n]), under.greatest_at[n]
    return deepest, np.asarray(at)


def surface_of(body: m3.Manifold, source: int, others: bool = False) -> Floats:
    """Triangles (F, 3, 3) of a solid's surface that come from one of those it was made from.

    others : bool
        Those that come from all others instead.
    """
    mesh = body.to_mesh64() if hasattr(body, "to_mesh64") else body.to_mesh()
    points = np.asarray(mesh.vert_properties, np.float64)[:, :3]
    corners = np.asarray(mesh.tri_verts)
    ends = np.asarray(mesh.run_index) // 3
    runs = zip(ends[:-1], ends[1:], mesh.run_original_id, strict=True)
    kept = [corners[a:b] for a, b, run in runs if (run == source) != others]
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


def _samples(triangles: Floats) -> Floats:
    """Corners, middles of sides and of all, (F, 7, 3)."""
    middles = 0.5 * (triangles + np.roll(triangles, -1, axis=1))
    return np.concatenate([triangles, middles, triangles.mean(1, keepdims=True)], 1)


def _parted(triangles: Floats) -> Floats:
    """Each triangle in two, across the middle of its longest side."""
    first = np.argmax(_sides(triangles), axis=1) if len(triangles) else np.empty(0, int)
    row = np.arange(len(triangles))
    a, b, c = (triangles[row, (first + k) % 3] for k in range(3))
    middle = 0.5 * (a + b)
    halves: list[Any] = [np.stack([a, middle, c], 1), np.stack([middle, b, c], 1)]
    return np.concatenate(halves)
