"""Which void each piece of the part's surface bounds: the mesh cut open along its mouths.

In: the nominal part's triangles and its mouths. Out: `Patches`, the same surface in pieces. Two
patches never share an edge but along a mouth's closing surface, so one patch bounds one void,
however thin the metal between two of them is: no grid has a part in this.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from clearance.geometry import box_tree, distance
from clearance.geometry.soup import Box, Soup, meeting_index
from clearance.kernels.compiler import inner, kernel
from clearance.kernels.pieces import pieces
from clearance.mesh.closedness import number_edges, weld
from clearance.ports.mouth import Mouth

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

RING_MM = 1e-3
"""A triangle's stretch in the mouth's plane belongs to its outline if it runs so near to it."""
NO_PATCH = -1
FIRST_MM, STRETCHES = 4.0, 16
"""How far around stretches of a route its nearest wall is looked for first."""
LEVEL_MM = 1e-7
"""A corner so near to the closing surface lies in it."""


@dataclass(frozen=True, eq=False)
class Patches:
    """The part's surface in patches.

    Attributes
    ----------
    triangles : (F, 3, 3) ndarray of float32, mm
        The nominal part's, those that a mouth's outline crosses cut there.
    number : (F,) ndarray of int64
        Number of each triangle's patch.
    behind, before : dict of str to set of int
        By mouth: the patches that begin at its outline, inward and outward of it; empty where
        the mesh has no such outline.
    outside : set of int
        Patches of the outermost surface.
    """

    triangles: Soup
    number: Ints
    behind: dict[str, set[int]]
    before: dict[str, set[int]]
    outside: set[int]

    def of(self, numbers: Iterable[int]) -> Soup:
        """Triangles of some patches."""
        return self.triangles[np.isin(self.number, list(numbers))]

    def at(self, points: Floats) -> set[int]:
        """Patches nearest to points (N, 3): each bounds the void that its point lies in."""
        reach = FIRST_MM
        while True:
            near = self._around(points, reach)
            found = self._nearest(near, points)
            if (found.far <= reach).all() or len(near) == len(self.triangles):
                return set(found.number.tolist())
            reach *= 4.0

    def on(self, points: Floats, within_mm: float) -> Ints:
        """Number of the patch on which each point lies, `NO_PATCH` off the surface."""
        found = self._nearest(self._around(points, within_mm), points)
        return np.where(found.far <= within_mm, found.number, NO_PATCH)

    def _around(self, points: Floats, reach: float) -> Ints:
        """Triangles that may be no farther than `reach` from points in a row."""
        found = [np.empty(0, np.int64)]
        for some in np.array_split(points, STRETCHES):
            if len(some):
                found.append(meeting_index(self.triangles, Box.around(some).grown(reach)))
        return np.unique(np.concatenate(found))

    def _nearest(self, near: Ints, points: Floats) -> Nearest:
        if not len(near):
            return Nearest(np.full(len(points), np.inf), np.full(len(points), NO_PATCH))
        far, _, which = distance.closest(box_tree.build(self.triangles[near]), points)
        return Nearest(far, self.number[near[which]])


class Nearest(NamedTuple):
    """How far points are from the nearest triangle, mm, and its patch's number."""

    far: Floats
    number: Ints


def patches(triangles: Soup, mouths: Sequence[Mouth]) -> Patches:
    """Cut a closed surface open along its mouths and number what hangs together.

    Parameters
    ----------
    triangles : (F, 3, 3) ndarray of float32, mm
        Closed, without -0.0.
    mouths : sequence of Mouth

    Notes
    -----
    Triangles hang together along edges that exactly two of them share. Along an edge where four
    meet, two walls touch: there nothing hangs together. Cutting never joins, so that what hangs
    together bounds one void; one void may have several patches (a core within a ring).
    """
    opened = cut_open(triangles, mouths)
    edges = number_edges(opened.ids, opened.vertices)
    rims = [rim.corners for rim in opened.rims.values()]
    patch = _joined(opened.ids, edges.pairs, rims, opened.first)
    return Patches(
        opened.triangles,
        patch,
        {name: set(patch[rim.inner].tolist()) for name, rim in opened.rims.items()},
        {name: set(patch[rim.outer].tolist()) for name, rim in opened.rims.items()},
        _outermost(opened.triangles, patch),
    )


class Rim(NamedTuple):
    """A mouth's outline in a mesh that was cut there.

    Attributes
    ----------
    corners : (V,) ndarray of bool
        Which vertices are on it.
    inner, outer : (F,) ndarray of bool
        Which triangles begin there, inward and outward of it.
    """

    corners: Bools
    inner: Bools
    outer: Bools


class Opened(NamedTuple):
    """Triangles cut along the outlines of mouths: (F, 3, 3), and their corners by number.

    No outline is near those before `first`.
    """

    triangles: Soup
    ids: Ints
    vertices: int
    rims: dict[str, Rim]
    first: int


def cut_open(triangles: Soup, mouths: Sequence[Mouth]) -> Opened:
    """Cut the triangles that outlines of mouths cross; equal corners get one number."""
    soup, rims = np.ascontiguousarray(triangles, np.float32), {}
    near = np.unique(np.concatenate([np.empty(0, np.int64), *(_near(soup, m) for m in mouths)]))
    beside = soup[near]
    for mouth in mouths:
        beside, rims[mouth.name] = _cut(beside, mouth)
    soup = np.concatenate([np.delete(soup, near, axis=0), beside])
    vertices, ids = weld(soup)
    whole = (ids != np.roll(ids, 1, axis=1)).all(axis=1)
    soup, ids = soup[whole], ids[whole]
    first = len(soup) - int(np.count_nonzero(whole[-len(beside) :])) if len(beside) else len(soup)
    sides = {m.name: _sides(m, rims[m.name], vertices, ids, soup, first) for m in mouths}
    return Opened(soup, ids, len(vertices), sides, first)


def _near(soup: Soup, mouth: Mouth) -> Ints:
    """Triangles whose bounding box meets that of a mouth's outline."""
    return meeting_index(soup, Box.around(mouth.rim).grown(RING_MM))


def _cut(soup: Soup, mouth: Mouth) -> tuple[Soup, Soup]:
    """Cut the triangles that a mouth's outline crosses; the outline's corners come with them."""
    near = _near(soup, mouth)
    height = _height(mouth, soup[near])
    crossed = near[(height.min(axis=1) < 0.0) & (height.max(axis=1) > 0.0)]
    level = near[(height == 0.0).sum(axis=1) >= 2]
    pieces, of, ends = _halves(soup[crossed], _height(mouth, soup[crossed]))
    flat = [(soup[f], _height(mouth, soup[f]) == 0.0) for f in level]
    edges = [triangle[lies][:2] for triangle, lies in flat]  # of the mesh: perhaps the outline
    ends = np.concatenate([ends, np.array(edges, np.float32).reshape(-1, 2, 3)])
    on = _on_outline(mouth, ends)
    whole = np.ones(len(soup), np.bool_)
    whole[crossed] = ~on[: len(crossed)]
    return np.concatenate([soup[whole], pieces[on[of]]]), ends[on].reshape(-1, 3)


def _height(mouth: Mouth, corners: Soup) -> Floats:
    """Height of corners (..., 3) over a closing surface."""
    flat = corners.reshape(-1, 3).astype(np.float64)
    height = mouth.plane.signed(flat).reshape(corners.shape[:-1])
    result: Floats = np.where(np.abs(height) < LEVEL_MM, 0.0, height)
    return result


@inner
def _copy(to, point):  # type: ignore[no-untyped-def]
    """Write a point; a slice assigned as a whole takes seconds to compile."""
    for axis in range(3):
        to[axis] = point[axis]


@kernel
def _halves(triangles, height):  # type: ignore[no-untyped-def]
    """Parts of triangles below and above height 0, which each is of, and the ends of the cuts.

    A point on an edge is worked out from its lower end, so that both triangles at the edge get
    the same one.
    """
    count = triangles.shape[0]
    pieces = np.empty((3 * count, 3, 3), np.float32)
    of = np.empty(3 * count, np.int64)
    ends = np.empty((count, 2, 3), np.float32)
    corners = np.empty((2, 4, 3), np.float32)
    point = np.empty(3, np.float32)
    n = 0
    for f in range(count):
        size, met = np.zeros(2, np.int64), 0
        for k in range(3):
            here, there = height[f, k], height[f, (k + 1) % 3]
            for half in range(2):
                if here == 0.0 or (here > 0.0) == (half == 1):
                    _copy(corners[half, size[half]], triangles[f, k])
                    size[half] += 1
            if here == 0.0:
                _copy(ends[f, met], triangles[f, k])
                met += 1
            if here * there < 0.0:
                a, b = (k, (k + 1) % 3) if here < 0.0 else ((k + 1) % 3, k)
                share = height[f, a] / (height[f, a] - height[f, b])
                for axis in range(3):
                    start = np.float64(triangles[f, a, axis])
                    point[axis] = start + share * (np.float64(triangles[f, b, axis]) - start)
                    point[axis] += np.float32(0.0)  # no -0.0
                for half in range(2):
                    _copy(corners[half, size[half]], point)
                    size[half] += 1
                _copy(ends[f, met], point)
                met += 1
        for half in range(2):
            for k in range(1, size[half] - 1):
                _copy(pieces[n, 0], corners[half, 0])
                _copy(pieces[n, 1], corners[half, k])
                _copy(pieces[n, 2], corners[half, k + 1])
                of[n] = f
                n += 1
    return pieces[:n].copy(), of[:n].copy(), ends


def _on_outline(mouth: Mouth, ends: Soup) -> Bools:
    """Whether the stretches between pairs of points (N, 2, 3) run along a mouth's outline."""
    import shapely

    at = shapely.points(mouth.plane.to_plane(ends.astype(np.float64).mean(axis=1)))
    result: Bools = shapely.distance(at, mouth.polygon.boundary) <= RING_MM
    return result


def _sides(mouth: Mouth, rim: Soup, vertices: Soup, ids: Ints, soup: Soup, first: int) -> Rim:
    """Which vertices are on a mouth's outline, and which triangles from `first` on begin there."""
    on_rim = np.zeros(len(vertices), np.bool_)
    near = np.unique(ids[first:])
    known = {corner.tobytes() for corner in rim}
    on_rim[[n for n in near if vertices[n].tobytes() in known]] = True
    begins = first + np.flatnonzero(on_rim[ids[first:]].sum(axis=1) == 2)
    above = mouth.plane.signed(soup[begins].astype(np.float64).mean(axis=1)) > 0.0
    inner, outer = np.zeros((2, len(soup)), np.bool_)
    inner[begins[~above]] = outer[begins[above]] = True
    return Rim(on_rim, inner, outer)


def _joined(ids: Ints, pairs: Ints, rims: list[Bools], first: int) -> Ints:
    """Number what hangs together; edges along an outline join nothing."""
    keep = np.ones(len(pairs), np.bool_)
    both = np.flatnonzero((pairs >= first).all(axis=1))
    one, two = ids[pairs[both, 0]], ids[pairs[both, 1]]
    shared = (one[:, :, None] == two[:, None, :]).any(axis=2)
    for on_rim in rims:
        keep[both] &= (shared & on_rim[one]).sum(axis=1) < 2
    links = pairs[keep]
    return pieces(links[:, 0], links[:, 1], len(ids))


def _outermost(soup: Soup, patch: Ints) -> set[int]:
    """Patches that reach farthest along an axis: the outermost surface of each body does."""
    found = [int(patch[np.argmin(soup[..., k].min(axis=1))]) for k in range(3)]
    found += [int(patch[np.argmax(soup[..., k].max(axis=1))]) for k in range(3)]
    return set(found)
