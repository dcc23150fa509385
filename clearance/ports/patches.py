"""Which void each piece of the part's surface bounds: the mesh cut open along its mouths.

In: the nominal part's triangles and its mouths. Out: `Patches`, the same surface in pieces. Two
patches never share an edge but along a mouth's closing surface, so one patch bounds one void,
however thin the metal between two of them is: no grid has a part in this.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from clearance.geometry import box_tree, distance
from clearance.mesh.closedness import number_edges, weld
from clearance.ports.mouth import Mouth
from clearance.system.once import once

Soup = NDArray[np.float32]
Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

RING_MM = 1e-3
"""A triangle's stretch in the mouth's plane belongs to its outline if it runs so near to it."""
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

    @once
    def tree(self) -> box_tree.Tree:
        """Tree of all triangles."""
        return box_tree.build(self.triangles)

    def of(self, numbers: Iterable[int]) -> Soup:
        """Triangles of some patches."""
        return self.triangles[np.isin(self.number, list(numbers))]

    def at(self, points: Floats) -> set[int]:
        """Patches nearest to points (N, 3): each bounds the void that its point lies in."""
        _, _, which = distance.closest(self.tree, points)
        return set(self.number[which].tolist())


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
    soup, rims = np.ascontiguousarray(triangles, np.float32), {}
    for mouth in mouths:
        soup, rims[mouth.name] = _cut(soup, mouth)
    vertices, ids = weld(soup)
    whole = (ids != np.roll(ids, 1, axis=1)).all(axis=1)
    soup, ids = soup[whole], ids[whole]
    edges = number_edges(ids, len(vertices))
    sides = [_sides(mouth, rims[mouth.name], vertices, ids, soup) for mouth in mouths]
    patch = _joined(ids, edges.pairs, [rim for rim, _, _ in sides])
    names = [mouth.name for mouth in mouths]
    return Patches(
        soup,
        patch,
        {
            name: set(patch[inner].tolist())
            for name, (_, inner, _) in zip(names, sides, strict=True)
        },
        {
            name: set(patch[outer].tolist())
            for name, (_, _, outer) in zip(names, sides, strict=True)
        },
        _outermost(soup, patch),
    )


def _meets(triangles: Soup, low: Floats, high: Floats) -> Bools:
    """Whether each triangle's bounding box meets a box."""
    result: Bools = ((triangles.min(1) <= high) & (triangles.max(1) >= low)).all(axis=1)
    return result


def _cut(soup: Soup, mouth: Mouth) -> tuple[Soup, Soup]:
    """Cut the triangles that a mouth's outline crosses; the outline's corners come with them."""
    rim = mouth.plane.to_space(np.array(mouth.polygon.exterior.coords))
    near = np.flatnonzero(_meets(soup, rim.min(axis=0) - RING_MM, rim.max(axis=0) + RING_MM))
    height = _height(mouth, soup[near])
    crossed = near[(height.min(axis=1) < 0.0) & (height.max(axis=1) > 0.0)]
    level = near[(height == 0.0).sum(axis=1) >= 2]
    halves = [_halves(soup[f], _height(mouth, soup[f])) for f in crossed]
    flat = [(soup[f], _height(mouth, soup[f]) == 0.0) for f in level]
    edges = [triangle[lies][:2] for triangle, lies in flat]  # of the mesh: perhaps the outline
    on = _on_outline(mouth, [ends for _, _, ends in halves] + edges)
    split = np.zeros(len(soup), np.bool_)
    split[crossed] = on[: len(crossed)]
    pieces: list[Soup] = []
    corners: list[Soup] = []
    for (low, high, ends), cut in zip(halves, on, strict=False):
        if cut:
            pieces += low + high
            corners += ends
    for ends, cut in zip(edges, on[len(crossed) :], strict=True):
        corners += list(ends) if cut else []
    none = np.empty((0, 3, 3), np.float32)
    parts = [soup[~split], np.array(pieces, np.float32).reshape(-1, 3, 3) if pieces else none]
    return np.concatenate(parts), np.array(corners, np.float32).reshape(-1, 3)


def _height(mouth: Mouth, corners: Soup) -> Floats:
    """Height of corners (..., 3) over a closing surface."""
    flat = corners.reshape(-1, 3).astype(np.float64)
    height = mouth.plane.signed(flat).reshape(corners.shape[:-1])
    result: Floats = np.where(np.abs(height) < LEVEL_MM, 0.0, height)
    return result


def _halves(triangle: Soup, height: Floats) -> tuple[list[Soup], list[Soup], list[Soup]]:
    """A triangle's parts below and above height 0, and the two ends of the cut.

    A point on an edge is worked out from its lower end, so that both triangles at the edge get
    the same one.
    """
    low: list[Soup] = []
    high: list[Soup] = []
    ends: list[Soup] = []
    for n in range(3):
        m = (n + 1) % 3
        if height[n] <= 0.0:
            low.append(triangle[n])
        if height[n] >= 0.0:
            high.append(triangle[n])
        if height[n] == 0.0:
            ends.append(triangle[n])
        if height[n] * height[m] < 0.0:
            a, b = (n, m) if height[n] < 0.0 else (m, n)
            share = height[a] / (height[a] - height[b])
            step = triangle[b].astype(np.float64) - triangle[a]
            point = (triangle[a] + share * step).astype(np.float32) + np.float32(0.0)
            low.append(point)
            high.append(point)
            ends.append(point)
    return _fan(low), _fan(high), ends


def _fan(corners: list[Soup]) -> list[Soup]:
    return [np.stack([corners[0], *corners[n : n + 2]]) for n in range(1, len(corners) - 1)]


def _on_outline(mouth: Mouth, ends: list[Any]) -> Bools:
    """Whether the stretches between pairs of points run along a mouth's outline."""
    import shapely

    middle = np.array([np.mean(np.asarray(pair, np.float64), axis=0) for pair in ends])
    at = shapely.points(mouth.plane.to_plane(middle.reshape(-1, 3)))
    result: Bools = shapely.distance(at, mouth.polygon.boundary) <= RING_MM
    return result


def _sides(
    mouth: Mouth, rim: Soup, vertices: Soup, ids: Ints, soup: Soup
) -> tuple[Bools, Bools, Bools]:
    """Which vertices are on a mouth's outline; which triangles begin there, inward and outward."""
    on_rim = np.zeros(len(vertices), np.bool_)
    near = np.flatnonzero(np.isin(vertices[:, 0], rim[:, 0]))
    known = {corner.tobytes() for corner in rim}
    on_rim[[n for n in near if vertices[n].tobytes() in known]] = True
    begins = on_rim[ids].sum(axis=1) == 2
    inner, outer = begins.copy(), begins
    middle = soup[begins].astype(np.float64).mean(axis=1)
    above = mouth.plane.signed(middle) > 0.0
    inner[begins], outer[begins] = ~above, above
    return on_rim, inner, outer


def _joined(ids: Ints, pairs: Ints, rims: list[Bools]) -> Ints:
    """Number what hangs together; edges along an outline join nothing."""
    from scipy.sparse import coo_array
    from scipy.sparse.csgraph import connected_components

    keep = np.ones(len(pairs), np.bool_)
    for on_rim in rims:
        touching = np.flatnonzero(on_rim[ids].sum(axis=1) >= 2)
        both = np.flatnonzero(np.isin(pairs, touching).all(axis=1))
        one, two = ids[pairs[both, 0]], ids[pairs[both, 1]]
        shared = (one[:, :, None] == two[:, None, :]).any(axis=2)
        keep[both] &= (shared & on_rim[one]).sum(axis=1) < 2
    links = pairs[keep]
    graph = coo_array(
        (np.ones(len(links), np.int8), (links[:, 0], links[:, 1])), shape=(len(ids),) * 2
    )
    return connected_components(graph, directed=False)[1].astype(np.int64)


def _outermost(soup: Soup, patch: Ints) -> set[int]:
    """Patches that reach farthest along an axis: the outermost surface of each body does."""
    found = [int(patch[np.argmin(soup[..., k].min(axis=1))]) for k in range(3)]
    found += [int(patch[np.argmax(soup[..., k].max(axis=1))]) for k in range(3)]
    return set(found)
