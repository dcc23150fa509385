"""The bore that is meant by a roughly given disc.

In: the triangles round a port, the disc's centre and radius. Out: an outline of void round that
centre, and the axis, radius and roundness of the bore that it belongs to.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from clearance.axes import Direction
from clearance.geometry.areas import area_vectors
from clearance.geometry.cutting import Floats, Ints, Segments, Singles, cut
from clearance.geometry.planes import Plane
from clearance.geometry.sections import trace
from clearance.geometry.stretches import STRETCH, boxes_of, fixed
from clearance.kernels.compiler import inner, kernel
from clearance.kernels.growing import grown

SMALLEST, LARGEST = 0.7, 1.5  # equivalent radius of a mouth over the radius given
LEAST_MOVE = 2.0  # mm; a mouth may lie this far from the centre given, or half its radius
SLACK = 1.1  # on that move: the disc is only roughly given
STRAIGHT = 0.02  # share of the walls' normals along the axis up to which a bore is straight
STEEPEST = np.cos(np.radians(70.0))  # least cosine between a closing plane's normal and the axis
ROUND = 0.97  # isoperimetric quotient from which an outline counts as round
ALIKE = 0.15  # a round outline this near to the radius given is taken at once


class Outline(NamedTuple):
    """An outline of void: its points in the plane, area, and the triangles it runs over."""

    plane: Plane
    ring: Floats
    area: float
    triangle: Ints


class Bore(NamedTuple):
    """A bore that was found: where and in which plane, its axis, and its size across the axis."""

    outline: Outline
    axis: Floats
    radius: float
    roundness: float
    straight: bool


@inner
def _apart(low: Any, high: Any, box: Singles) -> bool:
    for j in range(3):
        if low[j] > box[1, j] or high[j] < box[0, j]:
            return True
    return False


@kernel
def _select(triangles: Singles, stretches: Singles, boxes: Singles) -> tuple[Ints, Ints]:
    which = np.empty(4096, np.int64)
    found = np.empty(4096, np.int64)
    near = np.empty(boxes.shape[0], np.int64)
    count = 0
    for s in range(stretches.shape[0]):
        last = 0
        for k in range(boxes.shape[0]):
            if not _apart(stretches[s, :3], stretches[s, 3:], boxes[k]):
                near[last] = k
                last += 1
        if last == 0:
            continue
        for i in range(s * STRETCH, min((s + 1) * STRETCH, triangles.shape[0])):
            for k in near[:last]:
                meets = True
                for j in range(3):
                    a, b, c = triangles[i, 0, j], triangles[i, 1, j], triangles[i, 2, j]
                    if min(a, b, c) > boxes[k, 1, j] or max(a, b, c) < boxes[k, 0, j]:
                        meets = False
                        break
                if not meets:
                    continue
                if count == found.shape[0]:
                    which, found = grown(which, 2 * count), grown(found, 2 * count)
                which[count] = k
                found[count] = i
                count += 1
    return which[:count], found[:count]


def select(triangles: Singles, boxes: Singles) -> tuple[Ints, Ints]:
    """Pairs of box and triangle whose bounding box meets it."""
    which, found = _select(fixed(triangles), boxes_of(triangles), boxes)
    return which, found


@kernel
def measure(points: Floats, order: Ints, first: Ints) -> tuple[Floats, NDArray[np.bool_]]:
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


def _within(triangles: Singles, centre: Floats, reach: float) -> Ints:
    """Indices of the triangles whose bounding box meets the cube of half edge `reach`."""
    box = np.stack([centre - reach, centre + reach])[None].astype(np.float32)
    return select(triangles, box)[1]


def hemisphere(count: int) -> Floats:
    """Directions (count, 3) spread evenly over the upper half of the unit sphere."""
    z = 1.0 - (np.arange(count) + 0.5) / count
    turn = np.pi * (3.0 - np.sqrt(5.0)) * np.arange(count)
    flat = np.sqrt(1.0 - z * z)
    return np.column_stack([flat * np.cos(turn), flat * np.sin(turn), z])


def unit(vector: ArrayLike) -> Floats:
    """Return a vector (3,) brought to unit length."""
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


def equal_radius(area: float) -> float:
    """Return the radius of the circle of that area."""
    return float(np.sqrt(area / np.pi))


@dataclass(eq=False, slots=True)
class Site:
    """The triangles round one port, and what was asked for."""

    name: str
    whole: Singles
    triangles: Singles
    centre: Floats
    radius: float
    noded: bool = False  # True: outlines may consist of several shells' pieces
    turn: Direction | None = None  # which way of the mesh's frame is up here
    vectors: Floats = field(init=False)
    bore: float = field(init=False)  # radius of the bore, as soon as it is known
    faces: Floats = field(init=False)  # normals (K, 3) of large plane faces, the largest first

    def __post_init__(self) -> None:
        self.vectors = area_vectors(self.triangles)
        self.bore = self.radius
        self.faces = self._faces()

    @property
    def move(self) -> float:
        """How far the mouth may lie from the centre given, mm."""
        return max(LEAST_MOVE, 0.5 * self.radius)

    def outline(self, point: Floats, direction: Floats, axis: Floats) -> Outline | None:
        """Return the smallest outline of void of about the given size round `point`, if any.

        Sizes are those seen along `axis`. Islands of metal within the outline do not matter,
        not even round the point.
        """
        return self.outline_in(Plane.through(point, direction), axis)

    def outline_in(self, plane: Plane, axis: Floats) -> Outline | None:
        """Return the same round a plane's origin."""
        found = self.smallest(plane, SMALLEST, abs(float(plane.normal @ axis)))
        if found is None:
            return None
        size = equal_radius(found.area * abs(float(plane.normal @ axis)))
        return found if size <= LARGEST * self.bore else None

    def smallest(self, plane: Plane, ratio: float, shrink: float = 1.0) -> Outline | None:
        """Return the smallest outline of void round the plane's origin, not below a size."""
        pieces = cut(self.triangles, plane)
        if len(pieces.keys) < 3:
            return None
        least = np.pi * (ratio * min(self.radius, self.bore)) ** 2 / shrink
        if self.noded:
            return _smallest_face(plane, pieces, least)
        order, first, opened = trace(pieces.keys)
        area, around = measure(pieces.points, order, first)
        around[:opened] = False
        fits = np.flatnonzero(around & (-area >= least))
        if fits.size == 0:
            return None
        best = fits[np.argmin(-area[fits])]
        members = order[first[best] : first[best + 1]]
        return Outline(
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


def _smallest_face(plane: Plane, pieces: Segments, least: float) -> Outline | None:
    """Return what `Site.smallest` does where outlines of several shells make up the void's."""
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
            return Outline(plane, ring, float(face.area), pieces.triangle[piece])
    return None


def bore_of(site: Site, outline: Outline) -> Bore:
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
    best: Bore | None = None
    for k, axis in enumerate((*directions.T, outline.plane.normal)):
        if abs(float(axis @ outline.plane.normal)) < STEEPEST:
            continue
        straight = k == 0 and bool(shares[0] <= STRAIGHT * shares.sum())
        ring = Plane.through(outline.plane.origin, axis).to_plane(space)
        roundness = _roundness(ring)
        if best is None or roundness > best.roundness + 1e-6:
            best = Bore(outline, axis, equal_radius(_ring_area(ring)), roundness, straight)
        if straight:
            break
    assert best is not None  # the plane's own normal is always tried
    return best


def _bores(site: Site, directions: Floats, moves: Floats) -> Iterator[Bore]:
    """Bores in sections round the given centre, moved along each direction."""
    for move in moves:
        for direction in directions:
            plane = Plane.through(site.centre + move * direction, direction)
            outline = site.smallest(plane, SMALLEST)
            if outline is not None:
                yield bore_of(site, outline)


def find_bore(site: Site, normal: Floats | None) -> Bore | None:
    """Return the bore that is meant, or None."""

    def score(bore: Bore) -> float:
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
        rounds.append((hemisphere(100), few))
    usable: list[Bore] = []
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


def squared(site: Site, bore: Bore) -> Bore:
    """Return the same bore with its axis taken from a section square to it, if there is one."""
    for _ in range(3):
        outline = site.outline(centroid(bore.outline), bore.axis, bore.axis)
        if outline is None:
            break
        better = bore_of(site, outline)
        if better.roundness < bore.roundness - 0.05:
            break
        bore = better
    return bore


def straight_part(site: Site, start: Floats, axis: Floats) -> tuple[Floats, Floats]:
    """Axis (3,), outward, and a point (3,) on it, where a bore behind a mouth runs straight.

    At the mouth itself walls may be those of a chamfer: then further in, up to twice its radius.
    What is given, a point on the axis and the axis, if it is straight nowhere there.
    """
    import shapely

    for depth in (0.0, 0.5, 1.0, 1.5, 2.0):
        outline = site.outline(start - depth * site.bore * axis, axis, axis)
        found = None if outline is None else bore_of(site, outline)
        if found is None or not found.straight:
            continue
        plane = found.outline.plane
        polygon = shapely.make_valid(shapely.Polygon(found.outline.ring))
        circle = shapely.maximum_inscribed_circle(polygon, tolerance=1e-4 * found.radius)
        middle: Floats = plane.to_space(shapely.get_coordinates(circle)[:1])[0]
        return (found.axis if float(found.axis @ axis) > 0.0 else -found.axis), middle
    return axis, start


def centroid(outline: Outline) -> Floats:
    """Centroid (3,) in space of what an outline encloses."""
    a = outline.ring
    b = np.roll(a, -1, axis=0)
    cross = a[:, 0] * b[:, 1] - b[:, 0] * a[:, 1]
    flat = ((a + b) * cross[:, None]).sum(axis=0) / (3.0 * cross.sum())
    result: Floats = outline.plane.to_space(flat[None])[0]
    return result
