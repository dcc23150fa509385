"""Solids by a library of booleans, and distances that share no code with the check.

In: closed soups, routes, mm. Out: manifolds, places in them, the nearest triangle to a route.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Any

import manifold3d as m3
import numpy as np
from numpy.typing import NDArray

from clearance.result.passage import plain

OVERLAP_MM = 1e-5
"""Solids that stand on each other are let into each other by this, so that they unite."""
APART_MM = 2e-3
"""By so much the two ways of computing may differ: a ball is taken so much thinner in radius."""
LEAST_MM3 = 1e-7
"""Less than this in common is rounding."""
MOST_PAIRS = 20_000
"""Segments and triangles that are held against each other at once."""
Floats = NDArray[np.float64]
Soup = NDArray[np.float32]


class NotPossibleError(Exception):
    """The solids cannot be built, or cannot tell; the text says why."""


def solid(soup: Soup, overlapping: bool = False) -> m3.Manifold:
    """A closed soup as a solid.

    Raises
    ------
    NotPossibleError
    """
    corners = soup.reshape(-1, 3) + np.float32(0.0)  # -0.0 is 0.0
    order = np.lexsort(corners.T)
    new = np.append(True, (corners[order[1:]] != corners[order[:-1]]).any(1))
    index = np.empty(len(corners), np.uint32)
    index[order] = np.cumsum(new) - 1
    faces = index.reshape(-1, 3)
    flat = (
        (faces[:, 0] == faces[:, 1]) | (faces[:, 1] == faces[:, 2]) | (faces[:, 2] == faces[:, 0])
    )
    points = np.ascontiguousarray(corners[order[new]])
    mesh = m3.Mesh(points, np.ascontiguousarray(faces[~flat]))
    found = m3.Manifold(mesh)
    if found.status() != m3.Error.NoError:
        raise NotPossibleError(f"the mesh is no clean solid ({found.status().name})")
    if not overlapping:
        return found
    bodies = found.decompose()
    if any(body.volume() < 0.0 for body in bodies):
        raise NotPossibleError("the mesh has pieces that overlap, and cavities")
    return united(bodies)


def united(bodies: Sequence[m3.Manifold]) -> m3.Manifold:
    """The union of solids."""
    full = sorted((body for body in bodies if not body.is_empty()), key=m3.Manifold.num_tri)
    if not full:
        return m3.Manifold()
    # The largest last: looking at the whole part is what costs.
    return m3.Manifold.batch_boolean(full[:-1], m3.OpType.Add) + full[-1]


def level_slab(outline: m3.CrossSection, low: float, high: float) -> m3.Manifold:
    """An outline drawn out between two heights."""
    if outline.is_empty():
        return m3.Manifold()
    deep = high - low + 2.0 * OVERLAP_MM
    return m3.Manifold.extrude(outline, deep).translate((0.0, 0.0, low - OVERLAP_MM))


def drilled_hole(entry: Floats, direction: Floats, diameter: float, depth: float) -> m3.Manifold:
    """A drilled hole, a little thinner, from a diameter before its entry to its full depth."""
    sides = 64
    turn = np.linspace(0.0, 2.0 * np.pi, sides, endpoint=False)
    helper = np.eye(3)[int(np.argmin(np.abs(direction)))]
    u = np.cross(direction, helper)
    u /= np.linalg.norm(u)
    v = np.cross(direction, u)
    ring = (0.5 * diameter - APART_MM) * (np.cos(turn)[:, None] * u + np.sin(turn)[:, None] * v)
    ends = [entry - diameter * direction + ring, entry + depth * direction + ring]
    return m3.Manifold.hull_points(np.concatenate(ends))


class Void:
    """The void that solids leave, cut off from the outside by lids.

    Attributes
    ----------
    closed : Manifold
        The solids with the lids.
    pieces : list of Manifold
        A room around them first, which stands for the outside, then cavities, the largest first.
        A piece is what its outer surface encloses: metal that floats in it does not matter here.
    """

    def __init__(self, bodies: Sequence[m3.Manifold], lids: Sequence[m3.Manifold]):
        self.closed = united([*bodies, *lids])
        low, high = np.array(self.closed.bounding_box()).reshape(2, 3)
        room = m3.Manifold.cube(tuple(high - low + 4.0)).translate(tuple(low - 2.0))
        # The surface around a cavity hangs together, and looks inward: its volume is negative.
        cavities = [s for s in self.closed.decompose() if s.volume() < 0.0]
        cavities.sort(key=lambda surface: surface.volume())
        self.pieces = [room, *(_inside_out(surface) for surface in cavities)]
        self._triangles = [triangles_of(piece) for piece in self.pieces]

    def piece_at(self, at: Floats) -> int:
        """Number of the smallest piece that holds a place that is no metal."""
        inner = range(len(self.pieces) - 1, 0, -1)  # the smallest first; else the room around
        return next((n for n in inner if _encloses(self._triangles[n], at)), 0)


def _inside_out(body: m3.Manifold) -> m3.Manifold:
    mesh = body.to_mesh()
    points = np.array(mesh.vert_properties, np.float32)[:, :3]
    faces = np.array(mesh.tri_verts, np.uint32)[:, ::-1]
    return m3.Manifold(m3.Mesh(np.ascontiguousarray(points), np.ascontiguousarray(faces)))


def joined_by(pieces: list[m3.Manifold], holes: m3.Manifold) -> list[int]:
    """Group of each piece of void when holes join those that they meet; outside keeps to itself."""
    group = list(range(len(pieces)))
    for hole in holes.decompose():
        met = [
            n
            for n, piece in enumerate(pieces)
            if n and not lie_apart(piece, hole) and (piece ^ hole).volume() > LEAST_MM3
        ]
        together = {group[n] for n in met}
        group = [min(together) if g in together else g for g in group]
    return group


def thinned(route: Floats) -> Floats:
    """A route without the corners that lie within APART_MM of the line between those that stay."""
    keep = np.zeros(len(route), bool)
    keep[[0, -1]] = True
    waiting = [(0, len(route) - 1)]
    while waiting:
        a, b = waiting.pop()
        if b - a < 2:
            continue
        along = route[b] - route[a]
        share = (route[a + 1 : b] - route[a]) @ along / max(float(along @ along), 1e-30)
        nearest_on = route[a] + np.clip(share, 0.0, 1.0)[:, None] * along
        off = np.linalg.norm(route[a + 1 : b] - nearest_on, axis=1)
        n = int(np.argmax(off))
        if off[n] > APART_MM:
            keep[a + 1 + n] = True
            waiting += [(a, a + 1 + n), (a + 1 + n, b)]
    return route[keep]


def lie_apart(a: m3.Manifold, b: m3.Manifold) -> bool:
    """Whether the boxes around two solids are."""
    box_a, box_b = np.array(a.bounding_box()), np.array(b.bounding_box())
    return bool((box_a[:3] > box_b[3:]).any() or (box_b[:3] > box_a[3:]).any())


def triangles_of(body: m3.Manifold) -> Floats:
    """Triangles of a solid's surface, (F, 3, 3) mm."""
    mesh = body.to_mesh()
    points = np.asarray(mesh.vert_properties, np.float64)[:, :3]
    return np.asarray(points[np.asarray(mesh.tri_verts)])


def _encloses(triangles: Floats, at: Floats) -> bool:
    """Whether a place lies within a surface: a ray from it leaves once more than it enters.

    The ray is askew, so that it meets no edge of what stands square.
    """
    if (at < triangles.min((0, 1))).any() or (at > triangles.max((0, 1))).any():
        return False
    ray = np.array([0.5377, 0.2913, 0.7912])
    a, b, c = (triangles - at).transpose(1, 0, 2)
    side = np.cross(b - a, c - a)
    volumes = [np.cross(p, q) @ ray for p, q in ((a, b), (b, c), (c, a))]
    around = np.sign(volumes[0])
    through = (np.sign(volumes[1]) == around) & (np.sign(volumes[2]) == around) & (around != 0.0)
    ahead = np.einsum("ij,ij->i", a, side) * (side @ ray) > 0.0
    return bool(np.sign(side @ ray)[through & ahead].sum() > 0.0)


def place_within(body: m3.Manifold) -> Floats:
    """A place within a solid: beside the middle of one of its largest triangles."""
    triangles = triangles_of(body)
    side = np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0])
    size = np.linalg.norm(side, axis=1)
    step = 0.1 * body.volume() / max(float(size.sum()), 1e-30)
    for n in np.argsort(-size)[:8]:
        at = triangles[n].mean(0) - step * side[n] / size[n]
        if _encloses(triangles, at):
            return np.asarray(at)
    raise NotPossibleError("no place could be found just inside an opening")


def nearest(route: Floats, triangles: Floats, radius: float) -> tuple[float, float, float] | None:
    """Place of a triangle that lies nearer to a route than a radius; None if there is none."""
    for a, b, near in _pairs(route, triangles, radius):
        off = _off_segments(a, b, near)
        n = int(np.argmin(off))
        if off[n] < radius:
            low, high = np.minimum(a[n], b[n]) - radius, np.maximum(a[n], b[n]) + radius
            return plain(np.clip(near[n].mean(0), low, high))  # of a large one, what is near
    return None


def _pairs(
    route: Floats, triangles: Floats, radius: float
) -> Iterator[tuple[Floats, Floats, Floats]]:
    """Segments of a route and triangles whose boxes are nearer than a radius, in handy lots.

    The route is halved, and with each half go the triangles near its box.
    """
    low, high = triangles.min(1) - radius, triangles.max(1) + radius
    waiting = [(0, len(route) - 1, np.arange(len(triangles)))]
    lot: list[tuple[int, NDArray[np.intp]]] = []
    while waiting:
        first, last, which = waiting.pop()
        box = route[first : last + 1]
        which = which[(low[which] <= box.max(0)).all(1) & (high[which] >= box.min(0)).all(1)]
        if len(which) and last - first > 1:
            middle = (first + last) // 2
            waiting += [(first, middle, which), (middle, last, which)]
        elif len(which):
            lot.append((first, which))
        if lot and (not waiting or sum(len(some) for _, some in lot) > MOST_PAIRS):
            start = np.repeat([n for n, _ in lot], [len(some) for _, some in lot])
            yield route[start], route[start + 1], triangles[np.concatenate([w for _, w in lot])]
            lot = []


def _off_segments(a: Floats, b: Floats, triangles: Floats) -> Floats:
    """Distances of segments from a triangle each, (N,) mm."""
    off = np.minimum(_off_points(a, triangles), _off_points(b, triangles))
    for k in range(3):
        off = np.minimum(off, _off_edges(a, b, triangles[:, k], triangles[:, (k + 1) % 3]))
    p, q, r = triangles.transpose(1, 0, 2)
    side = np.cross(q - p, r - p)
    begin, end = _dot(a - p, side), _dot(b - p, side)
    turns = [_dot(np.cross(u - a, v - a), b - a) for u, v in ((p, q), (q, r), (r, p))]
    pierced = (begin * end <= 0.0) & (
        np.all([t >= 0.0 for t in turns], 0) | np.all([t <= 0.0 for t in turns], 0)
    )
    return np.where(pierced & (begin != end), 0.0, off)


def _off_points(at: Floats, triangles: Floats) -> Floats:
    """Distances of points from the planes of triangles that they stand over; else no bound."""
    p, q, r = triangles.transpose(1, 0, 2)
    side = np.cross(q - p, r - p)
    long = np.linalg.norm(side, axis=1)
    edges = ((p, q), (q, r), (r, p))
    over = np.all([_dot(np.cross(v - u, at - u), side) >= 0.0 for u, v in edges], 0)
    off = np.abs(_dot(at - p, side)) / np.maximum(long, 1e-30)
    return np.where(over & (long > 0.0), off, np.inf)


def _off_edges(a: Floats, b: Floats, p: Floats, q: Floats) -> Floats:
    """Distances of segments from other segments: at their ends, and where both go on."""
    along, edge, gap = b - a, q - p, a - p
    aa, ee, ae = _dot(along, along), _dot(edge, edge), _dot(edge, along)
    ag, eg = _dot(gap, along), _dot(edge, gap)
    room = aa * ee - ae * ae
    s = np.clip(np.where(room > 1e-18, (ae * eg - ag * ee) / np.maximum(room, 1e-30), 0.0), 0, 1)
    t = np.clip((ae * s + eg) / np.maximum(ee, 1e-30), 0.0, 1.0)
    s = np.clip((ae * t - ag) / np.maximum(aa, 1e-30), 0.0, 1.0)
    found = np.linalg.norm(gap + s[:, None] * along - t[:, None] * edge, axis=1)
    for at in (p, q):
        share = np.clip(_dot(at - a, along) / np.maximum(aa, 1e-30), 0.0, 1.0)
        found = np.minimum(found, np.linalg.norm(a + share[:, None] * along - at, axis=1))
    return np.asarray(found)


def _dot(a: Floats, b: Floats) -> Floats:
    return np.asarray(np.einsum("ij,ij->i", a, b))


def middle_of(body: Any) -> tuple[float, float, float]:
    """Middle of a body's bounding box."""
    box = np.array(body.bounding_box())
    return plain(0.5 * (box[:3] + box[3:]))
