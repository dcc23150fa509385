"""From a roughly given disc to the surface that closes a mouth.

In: the mesh and, for each port, about where it is and how wide. Out: the mesh's
own section there, as far outward as it is still a closed outline round the
bore. The way is: find the bore (an outline of void round the given centre), take
its axis from the walls that the outline runs over, then march outward with
several planes and keep the one that leaves no wedge of the bore outside.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numba import njit
from numpy.typing import ArrayLike, NDArray

from clearance.errors import PortError
from clearance.sections import Floats, Ints, Plane, Segments, Singles, cut, polygons, trace

if TYPE_CHECKING:
    from shapely import Polygon

SMALLEST, LARGEST = 0.7, 1.5  # equivalent radius of a mouth over the radius given
LEAST_MOVE = 2.0  # mm; a mouth may lie this far from the centre given, or half its radius
SLACK = 1.1  # on that move: the disc is only roughly given
SAGITTA = 0.25  # times the radius: what a closing plane may lie below a curved face
STRAIGHT = 0.02  # share of the walls' normals along the axis up to which a bore is straight
STEEPEST = np.cos(np.radians(70.0))  # least cosine between a closing plane's normal and the axis
ROUND = 0.97  # isoperimetric quotient from which an outline counts as round
ALIKE = 0.15  # a round outline this near to the radius given is taken at once
PRECISION = 1e-3  # mm, of the outermost closed plane
STEP_BACK = 2e-3  # mm, so that the closing plane never lies in a face
SHELTERED = 0.04  # least share of rays that must get away from a mouth


class Request(NamedTuple):
    """A port as the case gives it: name, centre (3,) and radius in mm, and perhaps a normal."""

    name: str
    centre: ArrayLike
    radius: float
    normal: ArrayLike | None = None


@dataclass(frozen=True, eq=False, slots=True)
class Mouth:
    """The closing surface of a port.

    Attributes
    ----------
    name : str
    plane : Plane
        Normal outward.
    polygon : shapely.Polygon
        The void in that plane, in its coordinates (mm); islands of metal are holes.
    centre : ndarray (3,)
        Centroid of the polygon, in space.
    radius : float
        Radius of the circle of equal area, mm.
    deepest : ndarray (3,)
        Centre of the largest inscribed circle, in space.
    inscribed_radius : float
        Its radius, mm.
    notices : tuple of str
    """

    name: str
    plane: Plane
    polygon: Polygon
    centre: Floats
    radius: float
    deepest: Floats
    inscribed_radius: float
    notices: tuple[str, ...] = ()


class _Outline(NamedTuple):
    """An outline of void: its points in the plane, area, and the triangles it runs over."""

    plane: Plane
    ring: Floats
    area: float
    triangle: Ints


class _Bore(NamedTuple):
    """A bore that was found: where and in which plane, its axis, and its size across the axis."""

    outline: _Outline
    axis: Floats
    radius: float
    roundness: float
    straight: bool


class _End(NamedTuple):
    """The last closed outline in one direction of planes; height of its centroid on the axis."""

    outline: _Outline
    height: float
    recess: float  # radius of a wider outline that follows at once, 0.0 if none does


@njit(cache=True, nogil=True)
def _select(triangles: Singles, boxes: Singles) -> tuple[Ints, Ints]:
    """Pairs of box and triangle whose bounding box meets it."""
    which = np.empty(4096, np.int64)
    found = np.empty(4096, np.int64)
    count = 0
    for i in range(triangles.shape[0]):
        for k in range(boxes.shape[0]):
            meets = True
            for j in range(3):
                a, b, c = triangles[i, 0, j], triangles[i, 1, j], triangles[i, 2, j]
                if min(a, b, c) > boxes[k, 1, j] or max(a, b, c) < boxes[k, 0, j]:
                    meets = False
                    break
            if not meets:
                continue
            if count == found.shape[0]:
                which = np.concatenate((which, np.empty_like(which)))
                found = np.concatenate((found, np.empty_like(found)))
            which[count] = k
            found[count] = i
            count += 1
    return which[:count], found[:count]


@njit(cache=True, nogil=True)
def _normals(triangles: Singles) -> Floats:
    """Area vectors (F, 3) of triangles, mm2."""
    result = np.empty((triangles.shape[0], 3), np.float64)
    e = np.empty((2, 3), np.float64)
    for i in range(triangles.shape[0]):
        for k in range(3):
            e[0, k] = np.float64(triangles[i, 1, k]) - np.float64(triangles[i, 0, k])
            e[1, k] = np.float64(triangles[i, 2, k]) - np.float64(triangles[i, 0, k])
        for k in range(3):
            m, n = (k + 1) % 3, (k + 2) % 3
            result[i, k] = 0.5 * (e[0, m] * e[1, n] - e[0, n] * e[1, m])
    return result


@njit(cache=True, nogil=True)
def _measure(points: Floats, order: Ints, first: Ints) -> tuple[Floats, NDArray[np.bool_]]:
    """Signed area of each chain, and whether it runs round the plane's origin."""
    chains = first.shape[0] - 1
    area = np.zeros(chains, np.float64)
    around = np.zeros(chains, np.bool_)
    for c in range(chains):
        turns = 0
        for i in range(first[c], first[c + 1]):
            ax, ay = points[order[i], 0, 0], points[order[i], 0, 1]
            bx, by = points[order[i], 1, 0], points[order[i], 1, 1]
            cross = ax * by - bx * ay
            area[c] += 0.5 * cross
            if ay <= 0.0 < by and cross > 0.0:
                turns += 1
            elif by <= 0.0 < ay and cross < 0.0:
                turns -= 1
        around[c] = turns != 0
    return area, around


@njit(cache=True, nogil=True)
def _free_rays(triangles: Singles, start: Floats, rays: Floats, length: float) -> int:
    """How many rays from `start` meet no triangle within `length`."""
    free = np.ones(rays.shape[0], np.bool_)
    e1, e2, s, p, q = np.empty(3), np.empty(3), np.empty(3), np.empty(3), np.empty(3)
    for i in range(triangles.shape[0]):
        far = False
        for k in range(3):
            a, b, c = triangles[i, 0, k], triangles[i, 1, k], triangles[i, 2, k]
            far |= min(a, b, c) > start[k] + length or max(a, b, c) < start[k] - length
        if far:
            continue
        for k in range(3):
            e1[k] = triangles[i, 1, k] - triangles[i, 0, k]
            e2[k] = triangles[i, 2, k] - triangles[i, 0, k]
            s[k] = start[k] - triangles[i, 0, k]
        for r in range(rays.shape[0]):
            if not free[r]:
                continue
            d = rays[r]
            for k in range(3):
                m, n = (k + 1) % 3, (k + 2) % 3
                p[k] = d[m] * e2[n] - d[n] * e2[m]
                q[k] = s[m] * e1[n] - s[n] * e1[m]
            det = e1[0] * p[0] + e1[1] * p[1] + e1[2] * p[2]
            if det == 0.0:
                continue
            u = (s[0] * p[0] + s[1] * p[1] + s[2] * p[2]) / det
            v = (d[0] * q[0] + d[1] * q[1] + d[2] * q[2]) / det
            t = (e2[0] * q[0] + e2[1] * q[1] + e2[2] * q[2]) / det
            if u >= 0.0 and v >= 0.0 and u + v <= 1.0 and 0.0 < t < length:
                free[r] = False
    return int(free.sum())


@njit(cache=True, nogil=True)
def _winding_at(triangles: Singles, points: Floats) -> Ints:
    """Winding number of the whole mesh at points (K, 3): what lies straight above, with sign."""
    total = np.zeros(points.shape[0], np.int64)
    for i in range(triangles.shape[0]):
        t = triangles[i]
        for k in range(points.shape[0]):
            x, y, z = points[k, 0], points[k, 1], points[k, 2]
            if x < min(t[0, 0], t[1, 0], t[2, 0]) or x > max(t[0, 0], t[1, 0], t[2, 0]):
                continue
            if y < min(t[0, 1], t[1, 1], t[2, 1]) or y > max(t[0, 1], t[1, 1], t[2, 1]):
                continue
            turns = 0
            for a in range(3):
                b = (a + 1) % 3
                low, high = (a, b) if t[a, 1] <= t[b, 1] else (b, a)
                if not (t[low, 1] <= y < t[high, 1]):
                    continue
                # The same arithmetic for both neighbours of an edge: nothing falls between.
                run = np.float64(t[high, 0]) - np.float64(t[low, 0])
                rise = np.float64(t[high, 1]) - np.float64(t[low, 1])
                if np.float64(t[low, 0]) + run * ((y - np.float64(t[low, 1])) / rise) > x:
                    turns += 1 if low == a else -1
            if turns != 0 and _rises_above(t, x, y, z):
                total[k] += turns
    return total


@njit(cache=True, nogil=True)
def _rises_above(t: Singles, x: float, y: float, z: float) -> bool:
    ax, ay = np.float64(t[0, 0]), np.float64(t[0, 1])
    bx, by = np.float64(t[1, 0]) - ax, np.float64(t[1, 1]) - ay
    cx, cy = np.float64(t[2, 0]) - ax, np.float64(t[2, 1]) - ay
    area = bx * cy - cx * by
    if area == 0.0:
        return False
    v = ((x - ax) * cy - cx * (y - ay)) / area
    w = (bx * (y - ay) - (x - ax) * by) / area
    return bool(t[0, 2] + v * (t[1, 2] - t[0, 2]) + w * (t[2, 2] - t[0, 2]) > z)


def _within(triangles: Singles, centre: Floats, reach: float) -> Ints:
    """Indices of the triangles whose bounding box meets the cube of half edge `reach`."""
    box = np.stack([centre - reach, centre + reach])[None].astype(np.float32)
    return _select(triangles, box)[1]


def _hemisphere(count: int) -> Floats:
    """Directions (count, 3) spread evenly over the upper half of the unit sphere."""
    z = 1.0 - (np.arange(count) + 0.5) / count
    turn = np.pi * (3.0 - np.sqrt(5.0)) * np.arange(count)
    flat = np.sqrt(1.0 - z * z)
    return np.column_stack([flat * np.cos(turn), flat * np.sin(turn), z])


def _unit(vector: ArrayLike) -> Floats:
    v = np.asarray(vector, dtype=np.float64)
    result: Floats = v / np.linalg.norm(v)
    return result


def _ring_area(ring: Floats) -> float:
    x, y = (ring - ring[0]).T
    return abs(float(0.5 * np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y)))


def _roundness(ring: Floats) -> float:
    step = np.roll(ring, -1, axis=0) - ring
    around = float(np.hypot(step[:, 0], step[:, 1]).sum())
    return 4.0 * np.pi * _ring_area(ring) / around**2 if around > 0.0 else 0.0


def _equal_radius(area: float) -> float:
    return float(np.sqrt(area / np.pi))


@dataclass(eq=False, slots=True)
class _Site:
    """The triangles round one port, and what was asked for."""

    name: str
    whole: Singles
    triangles: Singles
    centre: Floats
    radius: float
    noded: bool = False  # True: outlines may consist of several shells' pieces
    vectors: Floats = field(init=False)
    bore: float = field(init=False)  # radius of the bore, as soon as it is known
    faces: Floats = field(init=False)  # normals (K, 3) of large plane faces, the largest first

    def __post_init__(self) -> None:
        self.vectors = _normals(self.triangles)
        self.bore = self.radius
        self.faces = self._faces()

    @property
    def move(self) -> float:
        return max(LEAST_MOVE, 0.5 * self.radius)

    def outline(self, point: Floats, direction: Floats, axis: Floats) -> _Outline | None:
        """Return the smallest outline of void of about the given size round `point`, if any.

        Sizes are those seen along `axis`. Islands of metal within the outline do not matter,
        not even round the point.
        """
        plane = Plane.through(point, direction)
        found = self.smallest(plane, SMALLEST, abs(float(plane.normal @ axis)))
        if found is None:
            return None
        size = _equal_radius(found.area * abs(float(plane.normal @ axis)))
        return found if size <= LARGEST * self.bore else None

    def smallest(self, plane: Plane, ratio: float, shrink: float = 1.0) -> _Outline | None:
        """Return the smallest outline of void round the plane's origin, not below a size."""
        pieces = cut(self.triangles, plane)
        if len(pieces.keys) < 3:
            return None
        least = np.pi * (ratio * min(self.radius, self.bore)) ** 2 / shrink
        if self.noded:
            return _smallest_face(plane, pieces, least)
        order, first, opened = trace(pieces.keys)
        area, around = _measure(pieces.points, order, first)
        around[:opened] = False
        fits = np.flatnonzero(around & (-area >= least))
        if fits.size == 0:
            return None
        best = fits[np.argmin(-area[fits])]
        members = order[first[best] : first[best + 1]]
        return _Outline(
            plane, pieces.points[members, 0], -float(area[best]), pieces.triangle[members]
        )

    def _faces(self) -> Floats:
        reach = LARGEST * self.radius + self.move
        vectors = self.vectors[_within(self.triangles, self.centre, reach)]
        areas = np.linalg.norm(vectors, axis=1)
        vectors, areas = vectors[areas > 0.0], areas[areas > 0.0]
        if areas.size == 0:
            return np.empty((0, 3))
        units = vectors / areas[:, None]
        steps = np.rint(units * 256.0).astype(np.int64) + 512
        key = (steps[:, 0] << 40) | (steps[:, 1] << 20) | steps[:, 2]
        _, group = np.unique(key, return_inverse=True)
        weight = np.minimum(areas, self.radius**2)
        total = np.bincount(group, weight)
        sums = np.column_stack([np.bincount(group, units[:, k] * areas) for k in range(3)])
        largest = np.argsort(-total, kind="stable")
        largest = largest[total[largest] >= 0.25 * self.radius**2]
        normals = sums[largest]
        result: Floats = normals / np.linalg.norm(normals, axis=1)[:, None]
        return result


def _smallest_face(plane: Plane, pieces: Segments, least: float) -> _Outline | None:
    """Return what `_Site.smallest` does where outlines of several shells make up the void's."""
    import shapely

    pieces = Segments(
        *(part[(pieces.points[:, 0] != pieces.points[:, 1]).any(1)] for part in pieces)
    )
    lines = shapely.union_all(shapely.linestrings(pieces.points))
    faces = np.array(shapely.get_parts(shapely.polygonize(shapely.get_parts(lines))))
    if faces.size == 0:
        return None
    filled = shapely.polygons(shapely.get_exterior_ring(faces))
    fits = filled[shapely.contains_xy(filled, 0.0, 0.0) & (shapely.area(filled) >= least)]
    tree = shapely.STRtree(shapely.linestrings(pieces.points))
    for face in fits[np.argsort(shapely.area(fits))]:
        ring = shapely.get_coordinates(shapely.orient_polygons(face, exterior_cw=False))[:-1]
        step = np.roll(ring, -1, axis=0) - ring
        piece = tree.nearest(shapely.points(ring + 0.5 * step))
        along = pieces.points[piece, 1] - pieces.points[piece, 0]
        # Metal is left of each piece: round a void the pieces run clockwise (all but slivers
        # where walls of two shells coincide).
        turn = np.einsum("ij,ij->i", along, step) / np.linalg.norm(along, axis=1)
        if turn[turn > 0.0].sum() < 1e-3 * np.abs(turn).sum():
            return _Outline(plane, ring, float(face.area), pieces.triangle[piece])
    return None


def _bore(site: _Site, outline: _Outline) -> _Bore:
    """Return the bore that an outline belongs to: the axis is what its walls run along.

    The walls of a straight bore have normals across its axis. Those of a chamfer lean to it
    evenly: there too the axis is a main direction of the normals, and it is the one along which
    the outline looks roundest.
    """
    space = outline.plane.to_space(outline.ring)
    step = np.roll(space, -1, axis=0) - space
    normals = site.vectors[outline.triangle]
    length = np.linalg.norm(normals, axis=1)
    kept = length > 0.0
    normals = normals[kept] / length[kept, None]
    weight = np.linalg.norm(step, axis=1)[kept]
    shares, directions = np.linalg.eigh((normals * weight[:, None]).T @ normals)
    best: _Bore | None = None
    for k, axis in enumerate((*directions.T, outline.plane.normal)):
        if abs(float(axis @ outline.plane.normal)) < STEEPEST:
            continue
        straight = k == 0 and bool(shares[0] <= STRAIGHT * shares.sum())
        ring = Plane.through(outline.plane.origin, axis).to_plane(space)
        roundness = _roundness(ring)
        if best is None or roundness > best.roundness + 1e-6:
            best = _Bore(outline, axis, _equal_radius(_ring_area(ring)), roundness, straight)
        if straight:
            break
    assert best is not None  # the plane's own normal is always tried
    return best


def _bores(site: _Site, directions: Floats, moves: Floats) -> Iterator[_Bore]:
    """Bores in sections round the given centre, moved along each direction."""
    for move in moves:
        for direction in directions:
            plane = Plane.through(site.centre + move * direction, direction)
            outline = site.smallest(plane, SMALLEST)
            if outline is not None:
                yield _bore(site, outline)


def _find_bore(site: _Site, normal: Floats | None) -> _Bore | None:
    """Return the bore that is meant, or None."""

    def score(bore: _Bore) -> float:
        """Round, of the size given, and cut square to the axis."""
        square = abs(float(bore.axis @ bore.outline.plane.normal))
        return bore.roundness - abs(float(np.log(bore.radius / site.radius))) + 0.5 * square

    listed = np.concatenate([np.eye(3), site.faces[:6]])
    far = SLACK * site.move
    deep = far + 0.5 * site.radius
    few = np.array([0.0, -0.5 * far, 0.5 * far, -far, far, -deep, deep])
    few += 0.0137 * site.radius  # a centre given on a face shall not mean a plane in that face
    many = np.linspace(-deep, deep, 33)  # a thin curved wall leaves little room for a plane
    rounds = [] if normal is None else [(normal[None], few), (normal[None], many)]
    rounds += [(listed, few), (listed, many)]
    if not site.noded:
        rounds.append((_hemisphere(100), few))
    usable: list[_Bore] = []
    for directions, moves in rounds:
        for bore in _bores(site, directions, moves):
            ratio = bore.radius / site.radius
            if bore.roundness > ROUND and abs(ratio - 1.0) <= ALIKE:
                return bore
            if SMALLEST <= ratio <= LARGEST:
                usable.append(bore)
        good = [one for one in usable if one.straight or one.roundness > ROUND]
        if good or (normal is not None and usable):
            return max(good or usable, key=score)
    return max(usable, key=score, default=None)


def _squared(site: _Site, bore: _Bore) -> _Bore:
    """Return the same bore with its axis taken from a section square to it, if there is one."""
    for _ in range(3):
        outline = site.outline(_centroid(bore.outline), bore.axis, bore.axis)
        if outline is None:
            break
        better = _bore(site, outline)
        if better.roundness < bore.roundness - 0.05:
            break
        bore = better
    return bore


def _march(
    site: _Site, start: Floats, axis: Floats, direction: Floats, reach: float, stride: float
) -> _End | None:
    """Go outward along `axis` and return the last closed outline, or None if none is the last.

    Parameters
    ----------
    start : ndarray (3,)
        Where the axis is known to run within the bore.
    direction : ndarray (3,)
        Normal of the planes.
    reach : float
        How far from `start` to look for the end, mm.
    stride : float
        Step, mm.
    """

    def closed(t: float) -> _Outline | None:
        return site.outline(start + t * axis, direction, axis)

    steps = [0.0, 0.05, *np.arange(-0.15, -3.0, -0.3)]  # a plane that leans begins further in
    at = next((k * site.radius for k in steps if closed(k * site.radius) is not None), None)
    if at is None:
        return None
    beyond = at + stride
    while (found := closed(beyond)) is not None:
        at, beyond = beyond, beyond + stride
        if at > reach:
            return None
    while beyond - at > PRECISION:
        middle = 0.5 * (at + beyond)
        if closed(middle) is None:
            beyond = middle
        else:
            at = middle
    found = closed(at - STEP_BACK / float(axis @ direction))
    if found is None:
        return None
    wider = site.smallest(Plane.through(start + beyond * axis, direction), LARGEST)
    height = float(_centroid(found) @ axis)
    return _End(found, height, 0.0 if wider is None else _equal_radius(wider.area))


def _centroid(outline: _Outline) -> Floats:
    """Centroid (3,) in space of what an outline encloses."""
    a = outline.ring
    b = np.roll(a, -1, axis=0)
    cross = a[:, 0] * b[:, 1] - b[:, 0] * a[:, 1]
    flat = ((a + b) * cross[:, None]).sum(axis=0) / (3.0 * cross.sum())
    result: Floats = outline.plane.to_space(flat[None])[0]
    return result


def _openness(site: _Site, end: _End, axis: Floats) -> float:
    """Share of rays that get away from an end, over the half space in front of it."""
    frame = Plane.through(np.zeros(3), axis)
    rays = _hemisphere(24) @ np.stack([frame.u, frame.v, frame.normal])
    start = _centroid(end.outline) + 0.3 * site.radius * axis
    free = _free_rays(site.triangles, start, rays, 2.0 * site.radius + 1.0)
    return free / len(rays)


@njit(cache=True, nogil=True)
def _sights(triangles: Singles, points: Floats) -> NDArray[np.bool_]:
    """Whether each point (K, 3) sees unbounded space along -x, +x, -y, +y, -z, +z: (K, 6)."""
    free = np.ones((points.shape[0], 6), np.bool_)
    for i in range(triangles.shape[0]):
        t = triangles[i]
        for k in range(points.shape[0]):
            for axis in range(3):
                m, n = (axis + 1) % 3, (axis + 2) % 3
                x, y = points[k, m], points[k, n]
                if x < min(t[0, m], t[1, m], t[2, m]) or x > max(t[0, m], t[1, m], t[2, m]):
                    continue
                if y < min(t[0, n], t[1, n], t[2, n]) or y > max(t[0, n], t[1, n], t[2, n]):
                    continue
                ax, ay = np.float64(t[0, m]), np.float64(t[0, n])
                bx, by = np.float64(t[1, m]) - ax, np.float64(t[1, n]) - ay
                cx, cy = np.float64(t[2, m]) - ax, np.float64(t[2, n]) - ay
                area = bx * cy - cx * by
                if area == 0.0:
                    continue
                v = ((x - ax) * cy - cx * (y - ay)) / area
                w = (bx * (y - ay) - (x - ax) * by) / area
                if v < 0.0 or w < 0.0 or v + w > 1.0:
                    continue
                at = t[0, axis] + v * (t[1, axis] - t[0, axis]) + w * (t[2, axis] - t[0, axis])
                free[k, 2 * axis + (1 if at > points[k, axis] else 0)] = False
    return free


def _outward(site: _Site, bore: _Bore, start: Floats, normal: Floats | None) -> Floats | None:
    """Return the bore's axis, turned outward: to where its outline ends and leads to the open."""
    found: list[tuple[float, float, Floats, Floats]] = []
    for axis in (bore.axis, -bore.axis):
        if normal is not None and float(axis @ normal) <= 0.0:
            continue
        plane = bore.outline.plane.normal
        plane = plane if float(plane @ axis) > 0.0 else -plane
        centre = float((site.centre - start) @ axis)
        reach = centre + SLACK * site.move + site.radius
        end = _march(site, start, axis, plane, reach, max(0.5, 0.25 * site.radius))
        if end is not None:
            away = abs(end.height - float(site.centre @ axis))
            front = _centroid(end.outline) + 0.3 * site.radius * axis
            found.append((_openness(site, end, axis), away, axis, front))
    found = [one for one in found if one[0] >= SHELTERED]
    if not found:
        return None
    clearest = max(one[0] for one in found)
    found = [one for one in found if one[0] > 0.3 * clearest]
    if len(found) > 1:
        # Both ends look open: the one within a chamber does not see unbounded space, or not in
        # as many directions. What it sees back through the bore does not count.
        seen = _sights(site.whole, np.array([one[3] for one in found]))
        ways = np.stack([-np.eye(3), np.eye(3)], axis=1).reshape(6, 3)
        count = [int(np.sum(seen[k] & (ways @ one[2] > -0.3))) for k, one in enumerate(found)]
        found = [one for one, sights in zip(found, count, strict=True) if 2 * sights >= max(count)]
    return min(found, key=lambda one: one[1])[2]


def _directions(site: _Site, axis: Floats, wanted: list[Floats]) -> list[Floats]:
    """Return the normals of planes to close the mouth with."""
    kept: list[Floats] = []
    for given in (axis, *wanted, *site.faces):
        direction = given if float(given @ axis) > 0.0 else -given
        if float(direction @ axis) < STEEPEST or len(kept) == 8:
            continue
        if all(float(np.linalg.norm(direction - other)) > 1e-5 for other in kept):
            kept.append(direction)
    return kept


def _closing(site: _Site, bore: _Bore, normal: Floats | None) -> _End | None:
    """Return the outermost closed outline of a bore, or None if the bore does not end here."""
    seed = bore.outline.plane.normal
    site.bore = bore.radius
    bore = _squared(site, bore)
    site.bore = bore.radius
    start = _centroid(bore.outline)
    if site.outline(start, bore.outline.plane.normal, bore.axis) is None:
        start = bore.outline.plane.origin  # a bent outline: its centroid lies outside it
    axis = _outward(site, bore, start, normal)
    if axis is None:
        return None
    reach = float((site.centre - start) @ axis) + SLACK * site.move + site.radius
    stride = max(0.4, site.radius / 8.0)
    ends = [
        end
        for direction in _directions(site, axis, [seed] if normal is None else [seed, normal])
        if (end := _march(site, start, axis, direction, reach, stride)) is not None
    ]
    best = max(ends, key=lambda end: end.height, default=None)
    return best if best is None or _flat(site, best, axis) else _tilted(site, best, axis)


def _flat(site: _Site, end: _End, axis: Floats) -> bool:
    """Whether nothing of the wall stands out over a closing plane: then none closes more."""
    plane, ring = end.outline.plane, end.outline.ring
    normal = plane.normal if float(plane.normal @ axis) > 0.0 else -plane.normal
    above = Plane(plane.origin + 0.02 * site.radius * normal, plane.normal, plane.u, plane.v)
    points = cut(site.triangles, above).points
    margin = 0.1 * site.radius
    near = ((points > ring.min(axis=0) - margin) & (points < ring.max(axis=0) + margin)).all((1, 2))
    step = points[near, 1] - points[near, 0]
    around = np.linalg.norm(np.roll(ring, -1, axis=0) - ring, axis=1).sum()
    return bool(np.linalg.norm(step, axis=1).sum() < 0.15 * around)


def _tilted(site: _Site, best: _End, axis: Floats) -> _End:
    """Return the end that a tilted plane reaches, if it closes more: for curved outer faces."""
    angle = 0.3
    while angle > 0.03:
        plane = best.outline.plane
        normal = plane.normal if float(plane.normal @ axis) > 0.0 else -plane.normal
        start = _centroid(best.outline) - 0.2 * site.radius * axis
        reach = site.move + 2.0 * site.radius
        ends = []
        for lean in (plane.u, -plane.u, plane.v, -plane.v):
            direction = _unit(normal + angle * lean)
            if float(direction @ axis) > STEEPEST:
                ends.append(_march(site, start, axis, direction, reach, 0.25 * site.radius))
        higher = max((e for e in ends if e is not None), key=lambda e: e.height, default=best)
        if higher.height > best.height + 5.0 * PRECISION:
            best = higher
        else:
            angle *= 0.5
    return best


def _polygon(site: _Site, outline: _Outline) -> Polygon | None:
    """Return the void within an outline without the metal that stands in it.

    None if an outline of another shell crosses it: then the void must be found with noding.
    """
    import shapely

    outer = shapely.make_valid(shapely.Polygon(outline.ring))
    pieces = cut(site.triangles, outline.plane)
    order, first, opened = trace(pieces.keys)
    low, high = outline.ring.min(axis=0), outline.ring.max(axis=0)
    inside, crossing = [], []
    for k in range(first.size - 1):
        ring = pieces.points[order[first[k] : first[k + 1]], 0]
        if (ring.max(axis=0) < low).any() or (ring.min(axis=0) > high).any():
            continue
        within = (ring.min(axis=0) > low).all() and (ring.max(axis=0) < high).all()
        if k >= opened and within and len(ring) >= 3:
            inside.append(ring)
        else:
            crossing.append(ring)
    if crossing and not site.noded:
        # The outline itself is among them: only what lies clearly within it counts.
        core = outer.buffer(-1e-3 * site.radius)
        if shapely.contains_xy(core, np.concatenate(crossing)).any():
            return None
    void = outer.difference(polygons(inside)) if inside else outer
    parts = [part for part in shapely.get_parts(void) if part.geom_type == "Polygon"]
    return max(parts, key=lambda part: float(part.area), default=None)


def _mouth(site: _Site, end: _End) -> Mouth | None:
    import shapely

    polygon = _polygon(site, end.outline)
    if polygon is None:
        return None
    plane = end.outline.plane
    radius = _equal_radius(polygon.area)
    circle = shapely.maximum_inscribed_circle(polygon, tolerance=1e-3 * radius)
    deepest, edge = shapely.get_coordinates(circle)
    notices = []
    if end.recess > 0.0:
        notices.append(
            f"{site.name}: the mouth opens into a wider recess of radius {end.recess:.3g} mm; "
            "it is closed at the bottom of the recess"
        )
    return Mouth(
        name=site.name,
        plane=plane,
        polygon=polygon,
        centre=plane.to_space(shapely.get_coordinates(polygon.centroid))[0],
        radius=radius,
        deepest=plane.to_space(deepest[None])[0],
        inscribed_radius=float(np.linalg.norm(edge - deepest)),
        notices=tuple(notices),
    )


def _candidates(site: _Site) -> list[tuple[Floats, float]]:
    """Centre and radius of the openings nearest to the given centre, of any size."""
    found: list[tuple[float, Floats, _Bore]] = []
    for direction in (*np.eye(3), *site.faces[:6]):
        for share in (0.0137, -0.5, 0.5, -SLACK, SLACK):
            plane = Plane.through(site.centre + share * site.move * direction, direction)
            pieces = cut(site.triangles, plane)
            order, first, opened = trace(pieces.keys)
            areas, _ = _measure(pieces.points, order, first)
            areas[:opened] = 0.0
            for k in np.flatnonzero(areas < -np.pi * (0.2 * site.radius) ** 2):
                members = order[first[k] : first[k + 1]]
                outline = _Outline(
                    plane, pieces.points[members, 0], -float(areas[k]), pieces.triangle[members]
                )
                centre = _centroid(outline)
                away = float(np.linalg.norm(centre - site.centre))
                found.append((away, centre, _bore(site, outline)))
    kept: list[tuple[Floats, _Bore]] = []
    for _, centre, bore in sorted(found, key=lambda one: one[0]):
        # The same bore further in is not another opening.
        apart = [float(np.linalg.norm(np.cross(centre - at, one.axis))) for at, one in kept]
        if len(kept) < 5 and all(a > 0.5 * bore.radius for a in apart):
            kept.append((centre, bore))
    return [(centre, bore.radius) for centre, bore in kept]


def _place(point: Floats) -> str:
    return "({:g}, {:g}, {:g})".format(*(np.round(point, 3) + 0.0))


def _fault(site: _Site, bore: _Bore | None) -> str:
    """Say why a port was not found."""
    asked = f"{site.name}: no mouth of radius {site.radius:g} mm at {_place(site.centre)}"
    around = np.concatenate([np.zeros((1, 3)), np.eye(3), -np.eye(3)]) * 0.05 * site.radius
    metal = bool((_winding_at(site.whole, site.centre + around) >= 1).any())
    if len(site.triangles) == 0:
        there = "in solid metal, far from any surface" if metal else "far away from the part"
        return f"{asked}: the centre is {there}"
    listed = "; ".join(f"radius {radius:.3g} mm at {_place(c)}" for c, radius in _candidates(site))
    near = f"; openings near: {listed}" if listed else "; there is no opening near it"
    if bore is not None:
        return (
            f"{asked}: a bore of radius {bore.radius:.3g} mm is there, but it does not come out "
            f"of the part within {site.move:g} mm of that centre{near}"
        )
    if metal and not listed:
        return f"{asked}: the centre lies in solid metal{near}"
    return (
        f"{asked}: no closed outline of {SMALLEST:g} to {LARGEST:g} times that radius runs "
        f"round the centre{near}"
    )


def _find(whole: Singles, close: Ints, near: Ints, one: Request) -> Mouth:
    """Quick first: close triangles only, then all near ones, then shells that overlap."""
    centre, radius = np.asarray(one.centre, dtype=np.float64), float(one.radius)
    normal = None if one.normal is None else _unit(one.normal)
    last: _Bore | None = None
    for chosen, noded in ((close, False), (near, False), (near, True)):
        site = _Site(one.name, whole, whole[chosen], centre, radius, noded)
        bore = _find_bore(site, normal)
        last = bore or last
        end = None if bore is None else _closing(site, bore, normal)
        if end is None:
            continue
        away = abs(float((_centroid(end.outline) - centre) @ end.outline.plane.normal))
        if away > SLACK * site.move + SAGITTA * radius:
            continue
        mouth = _mouth(site, end)
        if mouth is None or mouth.radius < SMALLEST * radius:
            continue
        if _winding_at(whole, mouth.deepest[None])[0] <= 0:
            return mouth
    raise PortError(_fault(site, last))


def find_mouths(triangles: Singles, requests: Sequence[Request]) -> list[Mouth]:
    """Return the closing surface of each port.

    Parameters
    ----------
    triangles : ndarray (F, 3, 3) float32
        Closed triangle soup, mm.
    requests : sequence of Request
        The ports asked for; a centre may be off its mouth by 2 mm or half the radius.

    Returns
    -------
    list of Mouth
        In the order of the requests.

    Raises
    ------
    PortError
        If a port is not there: what was found instead, and the openings near it.
    """
    if not requests:
        return []
    centres = np.array([one.centre for one in requests], dtype=np.float64)
    radii = np.array([one.radius for one in requests], dtype=np.float64)
    move = np.maximum(LEAST_MOVE, 0.5 * radii)
    reach = np.concatenate([2.5 * radii + move + 1.0, 4.0 * radii + 4.0])[:, None]
    middle = np.concatenate([centres, centres])
    boxes = np.stack([middle - reach, middle + reach], axis=1).astype(np.float32)
    which, found = _select(triangles, boxes)
    chosen = [found[which == k] for k in range(len(boxes))]
    count = len(requests)
    return [_find(triangles, chosen[k], chosen[count + k], one) for k, one in enumerate(requests)]


def find_mouth(
    triangles: Singles,
    centre: ArrayLike,
    radius: float,
    normal: ArrayLike | None = None,
    name: str = "port",
) -> Mouth:
    """Return the closing surface of one port (see `find_mouths`)."""
    return find_mouths(triangles, [Request(name, centre, radius, normal)])[0]


def plug(mouth: Mouth, grow_mm: float, depth_mm: float) -> Singles:
    """Return a closed prism that stands on the closing surface and covers it, outward.

    Parameters
    ----------
    mouth : Mouth
    grow_mm : float
        How far the prism stands over the mouth's outer ring, mm.
    depth_mm : float
        Its height, from the closing plane outward, mm.

    Returns
    -------
    ndarray (T, 3, 3) float32
        Closed, oriented outward; islands of metal in the mouth are covered too.
    """
    import shapely

    ring = shapely.Polygon(mouth.polygon.exterior).simplify(0.1 * grow_mm)
    grown = ring.buffer(1.05 * grow_mm, quad_segs=4).simplify(0.02 * grow_mm)
    base = shapely.orient_polygons(shapely.Polygon(grown.exterior), exterior_cw=False)
    corners = shapely.get_coordinates(base)[:-1]
    faces = shapely.get_parts(shapely.constrained_delaunay_triangles(base))
    faces = shapely.orient_polygons(faces, exterior_cw=False)
    number = {(x, y): k for k, (x, y) in enumerate(corners.tolist())}
    lid = np.array([[number[x, y] for x, y in face.exterior.coords[:3]] for face in faces])
    count = len(corners)
    here = np.arange(count)
    after = np.roll(here, -1)
    sides = np.concatenate(
        [
            np.column_stack([here, after, after + count]),
            np.column_stack([here, after + count, here + count]),
        ]
    )
    bottom = mouth.plane.to_space(corners)
    points = np.concatenate([bottom, bottom + depth_mm * mouth.plane.normal])
    indices = np.concatenate([lid[:, ::-1], lid + count, sides])
    result: Singles = points.astype(np.float32)[indices] + np.float32(0.0)
    return result
