"""The drilled hole as a convex polyhedron: its faces, its sections, and what it leaves of a mesh.

In: where a drill starts, where it points and how deep it goes. Out: closed triangles, faces and
sections of the hole, and the triangles of a mesh outside it. The polyhedron lies inside the true
hole (it removes less: the cautious side when the question is whether a way is open) or, if asked,
around it (the cautious side when the question is whether the drill touches anything).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from clearance.geometry.planes import Plane
from clearance.geometry.soup import Box
from clearance.geometry.stretches import fixed
from clearance.kernels.compiler import inner, kernel

if TYPE_CHECKING:
    from shapely import Polygon

AT_ONCE = 64
"""Triangles asked together whether one of them enters."""
Floats = NDArray[np.float64]
Singles = NDArray[np.float32]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

SIDES = 48
"""Sides of the polyhedron: it misses the round hole by 0.2 % of the radius."""

NOTHING, OUTSIDE, INSIDE = 0, 1, 2
"""Which pieces of divided triangles are kept."""

SNAP_MM = 1e-5
"""A corner so near to a face lies on it: float32 errs by as much at 100 mm."""


@dataclass(frozen=True, eq=False, slots=True)
class Bore:
    """A cylinder with a point, as a drill leaves it.

    Attributes
    ----------
    start : (3,) ndarray, mm
        Middle of the flat back end; put it outside the mouth.
    direction : (3,) ndarray
        Where the drill goes, of unit length.
    radius : float, mm
    length : float, mm
        From the start to where the full diameter ends.
    point : float, mm
        Length of the point beyond that; 0 is a flat end (a holder).
    sides : int
    around : bool
        The polyhedron lies around the true shape; otherwise inside it.
    """

    start: Floats
    direction: Floats
    radius: float
    length: float
    point: float
    sides: int = SIDES
    around: bool = False

    def __post_init__(self) -> None:
        start = np.array(self.start, np.float64)
        direction = np.array(self.direction, np.float64)
        size = float(np.linalg.norm(direction))
        if not (size > 0.0 and self.radius > 0.0 and self.length > 0.0 and self.point >= 0.0):
            raise ValueError("a bore needs a direction, a radius, a length and no negative point")
        object.__setattr__(self, "start", start)
        object.__setattr__(self, "direction", direction / size)

    @property
    def tip(self) -> Floats:
        """(3,) end of the point, mm."""
        return self.start + (self.length + self.point) * self.direction


class Solid(NamedTuple):
    """A convex polyhedron.

    Attributes
    ----------
    vertices : (V, 3) ndarray, mm
    faces : list of (N,) ndarray of int64
        Corners of each face, counter-clockwise from outside; sides, then point (or flat front),
        then back.
    edges : (2, E) ndarray of int64
        Corners at the start and at the end of every edge of every face.
    normals : (F, 3) ndarray
        Outward, of unit length.
    offsets : (F,) ndarray, mm
        Inside is where normal . x <= offset.
    """

    vertices: Floats
    faces: list[Ints]
    edges: Ints
    normals: Floats
    offsets: Floats


@lru_cache(maxsize=64)
def solid(bore: Bore) -> Solid:
    """Return the polyhedron of a bore.

    Notes
    -----
    Inside: all corners lie on the true cylinder and cone. Around: the sides touch the cylinder,
    and the faces of the point touch the cone, since both have the same tip and the point's
    faces begin at a polygon drawn around the cylinder's end.
    """
    axes = Plane.through(bore.start, bore.direction)
    count = bore.sides
    radius = bore.radius / math.cos(math.pi / count) if bore.around else bore.radius
    angle = 2.0 * np.pi * np.arange(count) / count
    ring = radius * (np.outer(np.cos(angle), axes.u) + np.outer(np.sin(angle), axes.v))
    back = bore.start + ring
    front = back + bore.length * bore.direction
    here = np.arange(count, dtype=np.int64)
    there = np.roll(here, -1)
    faces = list(np.stack([here, there, there + count, here + count], axis=1))
    vertices = [back, front]
    if bore.point > 0.0:
        vertices.append(bore.tip[None])
        faces += list(np.stack([here + count, there + count, np.full(count, 2 * count)], axis=1))
    else:
        faces.append(here + count)
    faces.append(here[::-1])
    corners = np.concatenate(vertices)
    start = np.concatenate(faces)
    end = np.concatenate([[*face[1:], face[0]] for face in faces])
    first = np.repeat([face[0] for face in faces], [len(face) for face in faces])
    parts = np.cross(corners[start] - corners[first], corners[end] - corners[first])
    begin = np.cumsum([0, *(len(face) for face in faces[:-1])])
    doubled = np.add.reduceat(parts, begin)
    normals = doubled / np.linalg.norm(doubled, axis=1)[:, None]
    offsets = np.einsum("ij,ij->i", normals, corners[start[begin]])
    return Solid(corners, faces, np.stack([start, end]), normals, offsets)


def box(bore: Bore) -> Box:
    """The box around a bore."""
    return Box.around(solid(bore).vertices)


def soup(bore: Bore) -> Singles:
    """Closed outward triangles (F, 3, 3) of a bore, float32."""
    shape = solid(bore)
    corners = shape.vertices.astype(np.float32) + np.float32(0.0)
    index = [
        (face[0], face[n], face[n + 1]) for face in shape.faces for n in range(1, len(face) - 1)
    ]
    return np.ascontiguousarray(corners[np.array(index)])


def facets(bore: Bore) -> list[tuple[Plane, Polygon]]:
    """Faces of a bore.

    Returns
    -------
    list of (Plane, shapely.Polygon)
        The plane's normal points out of the bore; the polygon is in its coordinates, mm. Sides
        first, then the point (or the flat front), then the back.
    """
    import shapely

    shape = solid(bore)
    result = []
    for face, normal in zip(shape.faces, shape.normals, strict=True):
        corners = shape.vertices[face]
        plane = Plane.through(corners[0], normal)
        result.append((plane, shapely.Polygon(plane.to_plane(corners))))
    return result


def section(bore: Bore, plane: Plane) -> Polygon:
    """Section of a bore in a plane: a convex polygon in its coordinates, perhaps empty.

    In the plane of one of its faces it is that face.
    """
    import shapely

    shape = solid(bore)
    height = plane.signed(shape.vertices)
    height[np.abs(height) < 1e-9] = 0.0
    start, end = shape.edges
    crossed = height[start] * height[end] < 0.0
    a, b = start[crossed], end[crossed]
    share = (height[a] / (height[a] - height[b]))[:, None]
    cut = shape.vertices[a] + share * (shape.vertices[b] - shape.vertices[a])
    found = plane.to_plane(np.concatenate([shape.vertices[height == 0.0], cut]))
    hull = shapely.MultiPoint(found).convex_hull
    return hull if hull.geom_type == "Polygon" else shapely.Polygon()


def inside(bore: Bore, points: ArrayLike) -> Bools:
    """Whether points (N, 3) lie in a bore; its faces belong to it."""
    shape = solid(bore)
    at = np.asarray(points, np.float64).reshape(-1, 3)
    result: Bools = np.all((at @ shape.normals.T) <= shape.offsets + 1e-9, axis=1)
    return result


def outside(triangles: Singles, bore: Bore) -> Singles:
    """Return the parts of triangles that lie outside a bore.

    Parameters
    ----------
    triangles : (F, 3, 3) ndarray of float32, mm
        Any soup; it need not be closed.
    bore : Bore

    Returns
    -------
    (G, 3, 3) ndarray of float32, mm
        Triangles that do not enter the bore are passed on bit by bit; those that only lie in one
        of its faces count as outside. The faces that the bore itself leaves in the metal are
        not among them (see `facets`).

    Notes
    -----
    A triangle is cut by the planes of the faces in turn. What lies beyond a plane is outside; what
    is left after the last plane lies in the bore.
    """
    return _cut(triangles, bore, OUTSIDE)[0]


def meeting(triangles: Singles, bore: Bore) -> Ints:
    """Return the indices of the triangles that enter a bore (touching it does not count)."""
    return _cut(triangles, bore, NOTHING)[1]


def enters(triangles: Singles, bore: Bore) -> bool:
    """Whether any of the triangles enters a bore: told as soon as one does."""
    parts = np.array_split(triangles, max(1, len(triangles) // AT_ONCE))
    return any(len(meeting(part, bore)) for part in parts)


def within(triangles: Singles, normals: Floats, offsets: Floats) -> Singles:
    """Return the parts of triangles, float32, where normal . x is below every offset."""
    everywhere = np.array([[-np.inf] * 3, [np.inf] * 3])
    return _divided(triangles, normals, offsets, everywhere, INSIDE)[0]


def _cut(triangles: Singles, bore: Bore, keep: int) -> tuple[Singles, Ints]:
    shape = solid(bore)
    box = np.stack([shape.vertices.min(axis=0), shape.vertices.max(axis=0)])
    return _divided(triangles, shape.normals, shape.offsets, box, keep)


def _divided(
    triangles: Singles, normals: Floats, offsets: Floats, box: Floats, keep: int
) -> tuple[Singles, Ints]:
    given = np.ascontiguousarray(triangles, np.float32).reshape(-1, 3, 3)
    pieces, count, entering = _divide(fixed(given), normals, offsets, box, keep)
    return pieces[:count].copy(), entering


@inner
def _beyond_box(triangle: Any, box: Floats) -> bool:
    for k in range(3):
        a, b, c = triangle[0, k], triangle[1, k], triangle[2, k]
        if min(a, b, c) > box[1, k] or max(a, b, c) < box[0, k]:
            return True
    return False


@inner
def _heights(corners: Floats, count: int, normal: Floats, offset: float, height: Floats) -> Any:
    """Write signed heights over a plane; return whether any corner lies below and above."""
    below, above = False, False
    for n in range(count):
        h = -offset
        for k in range(3):
            h += corners[n, k] * normal[k]
        if abs(h) < SNAP_MM:
            h = 0.0
        below = below or h < 0.0
        above = above or h > 0.0
        height[n] = h
    return below, above


@inner
def _copy(source: Floats, n: int, target: Floats, m: int) -> None:
    """Write row n of `source` to row m of `target`; a slice would take seconds to compile."""
    for k in range(3):
        target[m, k] = source[n, k]


@inner
def _put(source: Singles, n: int, target: Singles, m: int) -> None:
    """Write triangle n of `source` to place m of `target`."""
    for i in range(3):
        for k in range(3):
            target[m, i, k] = source[n, i, k]


@inner
def _split(corners: Floats, count: int, height: Floats, low: Floats, high: Floats) -> Any:
    """Divide a convex polygon at height 0; returns the number of corners below and above."""
    under, over = np.int64(0), np.int64(0)
    for n in range(count):
        m = n + 1 if n + 1 < count else 0
        if height[n] <= 0.0:
            _copy(corners, n, low, under)
            under += 1
        if height[n] >= 0.0:
            _copy(corners, n, high, over)
            over += 1
        if height[n] * height[m] < 0.0:
            # From the lower end, so that a neighbour with the same edge gets the same point.
            a, b = (n, m) if height[n] < 0.0 else (m, n)
            share = height[a] / (height[a] - height[b])
            for k in range(3):
                low[under, k] = corners[a, k] + share * (corners[b, k] - corners[a, k])
            _copy(low, under, high, over)
            under += 1
            over += 1
    return under, over


@inner
def _room(pieces: Singles, count: int) -> Singles:
    """Return the array itself, or a copy twice as long if it is full."""
    if count < pieces.shape[0]:
        return pieces
    longer = np.empty((2 * pieces.shape[0] + 64, 3, 3), np.float32)
    for n in range(count):
        _put(pieces, n, longer, n)
    return longer


@inner
def _append(pieces: Singles, count: int, corners: Floats, corner_count: int) -> Any:
    """Add a convex polygon as a fan, without triangles that float32 folds to a line."""
    for n in range(1, corner_count - 1):
        pieces = _room(pieces, count)
        piece = pieces[count]
        for k in range(3):
            piece[0, k] = corners[0, k]
            piece[1, k] = corners[n, k]
            piece[2, k] = corners[n + 1, k]
        folded = False
        for i in range(3):
            j = (i + 1) % 3
            same = True
            for k in range(3):
                same = same and piece[i, k] == piece[j, k]
            folded = folded or same
        if not folded:
            count += 1
    return pieces, count


@kernel
def _divide(triangles: Singles, normals: Floats, offsets: Floats, box: Floats, keep: int) -> Any:
    """Pieces that are kept, their number, and which triangles enter the polyhedron."""
    room = 1 if keep == NOTHING else triangles.shape[0] + 1024
    pieces = np.empty((room, 3, 3), np.float32)
    entering = np.empty(triangles.shape[0], np.int64)
    most = normals.shape[0] + 4
    corners, low, high = np.empty((most, 3)), np.empty((most, 3)), np.empty((most, 3))
    height = np.empty(most)
    count, entered = np.int64(0), np.int64(0)
    for t in range(triangles.shape[0]):
        first = count  # where this triangle's pieces begin: they are dropped if it never enters
        left = 0 if _beyond_box(triangles[t], box) else 3
        if left > 0:
            for i in range(3):
                for k in range(3):
                    corners[i, k] = triangles[t, i, k]
            for f in range(normals.shape[0]):  # one plane that parts them spares the cutting
                if not _heights(corners, left, normals[f], offsets[f], height)[0]:
                    left = 0
                    break
        for f in range(normals.shape[0]):
            if left == 0:
                break
            below, above = _heights(corners, left, normals[f], offsets[f], height)
            if not below:
                left = 0
            elif above:
                left, over = _split(corners, left, height, low, high)
                corners, low = low, corners
                if keep == OUTSIDE:
                    pieces, count = _append(pieces, count, high, over)
        if left > 0:
            entering[entered] = t
            entered += 1
            if keep == INSIDE:
                pieces, count = _append(pieces, count, corners, left)
        elif keep == OUTSIDE:
            pieces = _room(pieces, first)
            _put(triangles, t, pieces, first)
            count = first + 1
    return pieces, count, entering[:entered].copy()
