"""The room around the stoppers of mouths, and whether it holds nothing but those mouths' rims.

In: the nominal part's triangles, mouths and a pitch. Out: a convex room; yes, by proof, or no. The
proof asks how the surface in the room hangs together; it is exact and takes no squares.
Source: docs/method.md, "What a stopper hides".
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from clearance.geometry.soup import Box, Soup, meeting
from clearance.kernels.compiler import inner, kernel
from clearance.kernels.pieces import pieces
from clearance.kernels.vectors import ahead, minus, put, row
from clearance.passages.piercing import pierce
from clearance.passages.stoppers import layer_mm, stopper, sunk_mm
from clearance.ports.mouth import Mouth
from clearance.ports.patches import Opened, cut_open

SIDES = 16
"""Sides of a room, all round; the outer end and the inner end come after them."""
INNER_END = SIDES + 1
GROWN_MM, GROWN = 1e-4, 1e-3
"""How far a room stands out over its stoppers, in mm and in pitches: more than they are rounded."""
BESIDE_MM = 1e-3
"""Lines that stand out of a mouth by no more run within it."""

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Room:
    """A convex room: all points with normals @ point <= bounds.

    Attributes
    ----------
    normals : (K, 3) ndarray
    bounds : (K,) ndarray, mm
    corners : (2 * SIDES, 3) ndarray, mm
        All round at the inner end, then at the outer one.
    """

    normals: Floats
    bounds: Floats
    corners: Floats

    @property
    def box(self) -> Box:
        """Box around it."""
        return Box(self.corners.min(0), self.corners.max(0))

    def above(self, height_mm: float) -> Room:
        """What of the room lies beyond a plane across it; its corners are those of all."""
        bounds = self.bounds.copy()
        bounds[-1] = -height_mm
        return Room(self.normals, bounds, self.corners)

    def met_by(self, triangles: Soup) -> bool:
        """Whether some triangles enter it."""
        none = np.zeros((len(triangles), 3), np.int64)
        meets, *_ = _clipped(
            triangles.astype(np.float64), none, none > 0, self.normals, self.bounds
        )
        return bool(meets.any())

    def moved(self, step: Floats) -> Room:
        """Return the room moved by a step, (3,) mm."""
        if not step.any():
            return self
        return Room(self.normals, self.bounds + self.normals @ step, self.corners + step)

    def clear_of(self, other: Room) -> bool:
        """Whether a plane along a side of either, or across an axis, parts the two."""
        ways = np.concatenate([np.eye(3), self.normals, other.normals])
        a, b = self.corners @ ways.T, other.corners @ ways.T
        return bool(((a.min(0) > b.max(0)) | (b.min(0) > a.max(0))).any())


def inner_end_mm(mouth: Mouth, pitch_mm: float, deepest: bool = False) -> float:
    """How far inward of a mouth its room ends, mm: where the layer behind its stopper begins.

    With `deepest` where that ends: farther in the room may not reach. See `stoppers.layer_behind`.
    """
    extra = 0.0 if deepest else GROWN_MM + GROWN * pitch_mm
    return sunk_mm(mouth, pitch_mm) + layer_mm(mouth, pitch_mm)[deepest] + extra


def room(
    places: Sequence[Mouth], pitch_mm: float, aside_mm: float = 0.0, along_mm: float = 0.0
) -> Room:
    """The room around the stoppers of some mouths that face one way.

    So much aside of them, and so much further in and out.
    """
    plane = places[0].plane
    points = np.concatenate([stopper(one, pitch_mm).reshape(-1, 3) for one in places])
    base = [one.plane.origin - inner_end_mm(one, pitch_mm) * one.plane.normal for one in places]
    angle = 2.0 * np.pi * np.arange(SIDES) / SIDES
    ways = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    grown = GROWN_MM + GROWN * pitch_mm
    reach = (plane.to_plane(points) @ ways.T).max(0) + grown + aside_mm
    # All sides touch what they hold, so those that follow each other meet in a corner.
    after = np.roll(ways, -1, axis=0), np.roll(reach, -1)
    ring = np.linalg.solve(np.stack([ways, after[0]], 1), np.stack([reach, after[1]], 1)[..., None])
    low = plane.signed(np.array(base)).min() - along_mm
    high = plane.signed(points).max() + grown + along_mm
    level = plane.to_space(ring[..., 0])
    normals = ways @ np.stack([plane.u, plane.v])
    return Room(
        np.concatenate([normals, [plane.normal, -plane.normal]]),
        np.concatenate(
            [
                reach + normals @ plane.origin,
                [plane.normal @ plane.origin + high, -(plane.normal @ plane.origin) - low],
            ]
        ),
        np.concatenate([level + low * plane.normal, level + high * plane.normal]),
    )


@dataclass(frozen=True, eq=False)
class Lines:
    """Where triangles come to the sides of a room, stretch by stretch.

    Attributes
    ----------
    triangle : (N,) ndarray of int64
    ends : (N, 2) ndarray of int64
        Where it begins and ends on edges of the mesh: two stretches with one end follow each other.
        Of a ring that lies in one triangle all ends are -1.
    side : (N,) ndarray of int64
        Number of the one side it runs along, -1 if there are several.
    points : (N, 2, 3) ndarray, mm
    """

    triangle: Ints
    ends: Ints
    side: Ints
    points: Floats

    def of(self, mine: Bools) -> Lines:
        """Those of some triangles."""
        own = mine[self.triangle]
        return Lines(self.triangle[own], self.ends[own], self.side[own], self.points[own])

    def all_on(self, side: int) -> bool:
        """Whether all run along one side, none within a single triangle."""
        return bool((self.side == side).all() and (self.ends >= 0).all())

    @property
    def count(self) -> int:
        """How many lines the stretches make up."""
        rings = (self.ends < 0).all(axis=1)
        open_ends = self.ends[~rings]
        if len(open_ends) == 0:
            return int(rings.sum())
        _, ends, often = np.unique(open_ends, return_inverse=True, return_counts=True)
        if (often != 2).any():
            return 2 * len(self.ends)  # lines that touch: voids on both sides may be several
        i, j = ends.reshape(-1, 2).T
        return int(rings.sum()) + int(pieces(i, j, int(ends.max()) + 1).max()) + 1


@dataclass(frozen=True, eq=False)
class Face:
    """What is proven of a room that holds one outer face and the mouths in it.

    Attributes
    ----------
    low_mm, high_mm : float
        Between which heights over the first mouth's plane the face lies.
    inner : dict of Mouth to shapely.Polygon
        For each mouth a figure in its plane's coordinates that covers what of its bore comes to the
        room's inner end, its own polygon if that does.
    """

    low_mm: float
    high_mm: float
    inner: dict[Mouth, Any]


def holds_rims_only(part: Soup, mouths: Sequence[Mouth], within: Room) -> Face | None:
    """Whether the part's surface in a room is one face with the mouths in it, and their walls.

    Cut along the mouths' outlines it has to be one piece for the face and one for the walls of each
    mouth. The face has to come to the room's sides in one line; the walls of each mouth to its
    inner end alone, in one line or within the mouth. Pieces hang together by every corner and edge
    in the room but those of the outlines.
    """
    opened = cut_open(meeting(part, within.box), mouths)
    rims = list(opened.rims.values())
    on_rim = np.any([rim.corners for rim in rims], axis=0)
    if any(not rim.inner.any() or not rim.outer.any() for rim in rims):
        return None
    if on_rim[opened.ids].all(axis=1).any():
        return None
    edge, higher = _edges(opened)
    meets, held, kept, heights, lines = _clipped(
        opened.triangles.astype(np.float64), edge, higher, within.normals, within.bounds
    )
    if any((rim.corners[opened.ids] & ~held).any() for rim in rims):
        return None  # an outline that leaves the room
    lids = [which & meets for rim in rims for which in (rim.inner, rim.outer)]
    piece = _pieces(opened, edge, meets, held, kept, on_rim, lids)
    behind = [np.unique(piece[lid]) for lid in lids[0::2]]
    before = np.unique(np.concatenate([piece[lid] for lid in lids[1::2]]))
    own = [int(numbers[0]) for numbers in (*behind, before) if len(numbers) == 1]
    if len(own) != len(rims) + 1 or len(set(own)) != len(own):
        return None
    if set(np.unique(piece[meets]).tolist()) != set(own):
        return None
    face = lines.of(piece == own[-1])
    if face.count != 1:
        return None
    soups = [opened.triangles[meets & (piece == number)] for number in own]
    if any(pierce(a, b, mouths) for a, b in combinations(soups, 2)):
        return None
    inner = {}
    for mouth, number in zip(mouths, own, strict=False):
        walls = lines.of(piece == number)
        beneath = _within(walls, mouth)
        if not walls.all_on(INNER_END) or (walls.count != 1 and not beneath):
            return None
        hull = _hull(walls, mouth)
        if face.all_on(INNER_END) and not _outside(face, mouth, hull):
            return None  # it might be within the wall
        inner[mouth] = mouth.polygon if beneath else hull
    over = float(mouths[0].plane.normal @ mouths[0].plane.origin)
    found = heights[meets & (piece == own[-1])]
    return Face(float(found[:, 0].min()) - over, float(found[:, 1].max()) - over, inner)


def _within(lines: Lines, mouth: Mouth) -> bool:
    """Whether lines lie nowhere beside a mouth."""
    figure = shapely.Polygon(mouth.polygon.exterior).buffer(BESIDE_MM)
    at = shapely.linestrings(mouth.plane.to_plane(lines.points.reshape(-1, 3)).reshape(-1, 2, 2))
    return bool(shapely.covers(figure, at).all())


def _outside(lines: Lines, mouth: Mouth, figure: Any) -> bool:
    """Whether some of lines lies outside a figure in a mouth's plane."""
    at = mouth.plane.to_plane(lines.points.reshape(-1, 3))
    return not bool(shapely.covers(figure, shapely.points(at)).all())


def _hull(lines: Lines, mouth: Mouth) -> Any:
    """Convex outline of lines and mouth."""
    at = mouth.plane.to_plane(lines.points.reshape(-1, 3))
    ring = shapely.get_coordinates(mouth.polygon.exterior)
    return shapely.convex_hull(shapely.multipoints(np.concatenate([at, ring])))


def _edges(opened: Opened) -> tuple[Ints, Bools]:
    """Numbers of the edges of each triangle, and whether each leads to the higher corner."""
    a, b = opened.ids, np.roll(opened.ids, -1, axis=1)
    key = np.minimum(a, b).astype(np.int64) * opened.vertices + np.maximum(a, b)
    number = np.unique(key, return_inverse=True)[1].reshape(key.shape)
    return number.astype(np.int64), a < b


def _pieces(
    opened: Opened,
    edge: Ints,
    meets: Bools,
    held: Bools,
    kept: Bools,
    on_rim: Bools,
    lids: list[Bools],
) -> Ints:
    """Number of the piece of each triangle; what touches a lid on one side is one piece."""
    count, edges = len(edge), int(edge.max(initial=-1)) + 1
    ends = on_rim[opened.ids]
    along_rim = ends & np.roll(ends, -1, axis=1)
    f, k = np.nonzero(kept & ~along_rim & meets[:, None])
    g, m = np.nonzero(held & ~ends & meets[:, None])
    links = [np.stack([f, count + edge[f, k]]), np.stack([g, count + edges + opened.ids[g, m]])]
    nodes = count + edges + opened.vertices
    for n, lid in enumerate(lids):
        on = np.flatnonzero(lid)
        links.append(np.stack([on, np.full(len(on), nodes + n)]))
    i, j = np.concatenate(links, axis=1)
    return pieces(i, j, nodes + len(lids))[:count]


@inner
def _inward(normals, s, bound, points, n):  # type: ignore[no-untyped-def]
    """How far point n lies within side s."""
    a, p = row(normals, s), row(points, n)
    return bound - a[0] * p[0] - a[1] * p[1] - a[2] * p[2]


@inner
def _between(points, a, b, share):  # type: ignore[no-untyped-def]
    p = row(points, a)
    return ahead(p, minus(row(points, b), p), share)


def _clipped(
    triangles: Floats, edge: Ints, higher: Bools, normals: Floats, bounds: Floats
) -> tuple[Bools, Bools, Bools, Floats, Lines]:
    """Cut triangles off at the sides of a room, the last two of which are its ends.

    Returns which triangles meet it, which of their corners it holds, which of their edges are in
    it for a stretch, how low and how high they lie in it along the outer end's normal, and what
    `Lines` holds.
    """
    count, lines = len(triangles), 3 * len(triangles)
    meets, heights = np.zeros(count, np.bool_), np.zeros((count, 2))
    held, kept = np.zeros((count, 3), np.bool_), np.zeros((count, 3), np.bool_)
    of_line, along = np.empty(lines, np.int64), np.full(lines, -1)
    ends, points = np.full((lines, 2), -1), np.zeros((lines, 2, 3))
    of_triangles, of_lines = (meets, held, kept, heights), (of_line, ends, along, points)
    n = _clip(triangles, edge, higher, normals, bounds, *of_triangles, *of_lines)
    return *of_triangles, Lines(of_line[:n], ends[:n], along[:n], points[:n])


@kernel
def _clip(  # type: ignore[no-untyped-def]
    triangles, edge, higher, normals, bounds, meets, held, kept, heights, of_line, ends, along,
    points,
):  # fmt: skip
    """Fill in what `_clipped` returns, which numpy makes sooner than a kernel; how many lines."""
    count, sides = triangles.shape[0], normals.shape[0]
    n = 0
    p, q = np.empty((sides + 4, 3), np.float64), np.empty((sides + 4, 3), np.float64)
    of, to = np.empty(sides + 4, np.int64), np.empty(sides + 4, np.int64)
    for f in range(count):
        for k in range(3):
            put(p, k, row(triangles[f], k))
            of[k] = k
            inside = True
            for s in range(sides):
                if _inward(normals, s, bounds[s], p, k) < 0.0:
                    inside = False
                    break
            held[f, k] = inside
        # A corner carries the number of the edge that begins there, of a side s: -1 - s.
        m = 3
        for s in range(sides):
            c = 0
            for a in range(m):
                b = a + 1 if a + 1 < m else 0
                da = _inward(normals, s, bounds[s], p, a)
                db = _inward(normals, s, bounds[s], p, b)
                if da >= 0.0:
                    put(q, c, row(p, a))
                    to[c] = of[a]
                    c += 1
                    if db < 0.0 and da > 0.0:
                        put(q, c, _between(p, a, b, da / (da - db)))
                        to[c] = -1 - s
                        c += 1
                    elif db < 0.0:
                        to[c - 1] = -1 - s
                elif db > 0.0:
                    put(q, c, _between(p, a, b, da / (da - db)))
                    to[c] = of[a]
                    c += 1
            m = c
            for a in range(m):
                put(p, a, row(q, a))
                of[a] = to[a]
            if m == 0:
                break
        if m < 3:
            continue
        meets[f] = True
        first = -1
        heights[f, 0], heights[f, 1] = np.inf, -np.inf
        for a in range(m):
            height = -_inward(normals, sides - 2, 0.0, p, a)
            heights[f, 0] = min(heights[f, 0], height)
            heights[f, 1] = max(heights[f, 1], height)
            if of[a] >= 0:
                kept[f, of[a]] = True
                first = a
        if first < 0:
            of_line[n] = f
            n += 1
            continue
        last, begin, side = of[first], -1, -1
        for step in range(1, m + 1):
            at = (first + step) % m
            now = of[at]
            if now < 0:
                side = -1 - now if begin < 0 or side == -1 - now else sides
                begin = at if begin < 0 else begin
                continue
            if begin >= 0:
                of_line[n] = f
                ends[n, 0] = 2 * edge[f, last] + (1 if higher[f, last] else 0)
                ends[n, 1] = 2 * edge[f, now] + (0 if higher[f, now] else 1)
                along[n] = side if side < sides else -1
                put(points[n], np.int64(0), row(p, begin))
                put(points[n], np.int64(1), row(p, at))
                n += 1
            last, begin, side = now, -1, -1
    return n
