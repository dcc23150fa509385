"""Clear diameter of a solid by certified sampling, an outside reference for the program.

In: a solid of manifold3d, its blank (the same without voids) and the discs of two mouths. Out: two
bounds of the diameter of the largest ball whose centre can go from disc to disc within the blank.

Cubes of one size hold the exact distance of their centre to the solid's triangles. Distances
change no faster than places: with e half a diagonal, nothing in a cube is farther from metal than
d + e, and between the centres a and b of neighbours, s apart, nothing is nearer than
(d(a) + d(b) - s) / 2.
So the best chain of cubes by d + e bounds the ball from above, and by segments from below. Cubes
that are surely wide enough are joined, those surely too narrow are dropped, and only what lies
between and may lead from one joined region to another is split. It shares no code with the program.
"""

from __future__ import annotations

from typing import NamedTuple

import manifold3d as m3
import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy.sparse import coo_array
from scipy.sparse.csgraph import breadth_first_order

LEAF = 4
BOTH = (slice(None, -1), slice(1, None))

# A clone's first run of the tests compiles these: without checks for divisions by zero and
# entries that nobody uses it takes half the time.
compiled = njit(cache=True, error_model="numpy", no_cfunc_wrapper=True)
compiled_within = njit(
    cache=True, error_model="numpy", no_cfunc_wrapper=True, no_cpython_wrapper=True
)
DEAD, DOUBT = -1, 0
SLANT = np.array([0.0123577, 0.0271353, 1.0])
"""Direction of the rays that tell inside from outside: along no face, edge or row of cubes."""
MOST_CUBES = 150_000
FINE = 0.002
"""Loss that is accepted along a line, mm."""


class Bracket(NamedTuple):
    """Bounds of the clear diameter, mm."""

    low: float
    high: float


class Tree(NamedTuple):
    """Triangles sorted into boxes: corners (F, 3, 3), boxes (N, 6), children and ranges (N, 4)."""

    triangles: NDArray[np.float64]
    boxes: NDArray[np.float64]
    nodes: NDArray[np.int64]


def tree(solid: m3.Manifold) -> Tree:
    """Sort the triangles of a solid."""
    mesh = solid.to_mesh64()
    corners = mesh.vert_properties[:, :3][mesh.tri_verts.astype(np.int64)]
    order, boxes, nodes = _build(np.ascontiguousarray(corners, np.float64), corners.mean(1))
    return Tree(np.ascontiguousarray(corners[order], np.float64), boxes, nodes)


@compiled
def _build(triangles, middle):
    count = len(triangles)
    order = np.arange(count)
    boxes = np.empty((2 * count + 1, 6))
    nodes = np.zeros((2 * count + 1, 4), np.int64)  # left, right, first, last
    nodes[0, 3] = count
    made, at = 1, 0
    while at < made:
        first, last = nodes[at, 2], nodes[at, 3]
        for k in range(3):
            boxes[at, k], boxes[at, 3 + k] = np.inf, -np.inf
        for m in range(first, last):
            for c in range(3):
                for k in range(3):
                    x = triangles[order[m], c, k]
                    boxes[at, k], boxes[at, 3 + k] = min(boxes[at, k], x), max(boxes[at, 3 + k], x)
        if last - first > LEAF:
            axis = 0
            for k in range(1, 3):
                if boxes[at, 3 + k] - boxes[at, k] > boxes[at, 3 + axis] - boxes[at, axis]:
                    axis = k
            # Shell's: a quarter of the time to compile that a call for any order takes.
            gap = (last - first) // 2
            while gap > 0:
                for m in range(first + gap, last):
                    moved, place = order[m], m
                    while (
                        place - gap >= first
                        and middle[order[place - gap], axis] > middle[moved, axis]
                    ):
                        order[place] = order[place - gap]
                        place -= gap
                    order[place] = moved
                gap //= 2
            half = (first + last) // 2
            nodes[at, 0], nodes[at, 1] = made, made + 1
            nodes[made, 2], nodes[made, 3] = first, half
            nodes[made + 1, 2], nodes[made + 1, 3] = half, last
            made += 2
        at += 1
    return order, boxes[:made], nodes[:made]


@compiled_within
def _to_box(box, x, y, z):
    dx = max(box[0] - x, 0.0, x - box[3])
    dy = max(box[1] - y, 0.0, y - box[4])
    dz = max(box[2] - z, 0.0, z - box[5])
    return dx * dx + dy * dy + dz * dz


@compiled_within
def _to_segment(px, py, pz, ux, uy, uz):
    """Square of the distance of the origin from the segment p, p + u."""
    length = ux * ux + uy * uy + uz * uz
    t = 0.0 if length == 0.0 else min(max(-(px * ux + py * uy + pz * uz) / length, 0.0), 1.0)
    x, y, z = px + t * ux, py + t * uy, pz + t * uz
    return x * x + y * y + z * z


@compiled_within
def _to_triangle(t, x, y, z):
    """Square of the distance of a point from a triangle: its plane within it, else its edges."""
    ax, ay, az = t[0, 0] - x, t[0, 1] - y, t[0, 2] - z
    bx, by, bz = t[1, 0] - x, t[1, 1] - y, t[1, 2] - z
    cx, cy, cz = t[2, 0] - x, t[2, 1] - y, t[2, 2] - z
    ux, uy, uz = bx - ax, by - ay, bz - az
    vx, vy, vz = cx - bx, cy - by, cz - bz
    wx, wy, wz = ax - cx, ay - cy, az - cz
    nx, ny, nz = uy * -wz + uz * wy, uz * -wx + ux * wz, ux * -wy + uy * wx
    square = nx * nx + ny * ny + nz * nz
    if square > 0.0:
        one = (uy * nz - uz * ny) * ax + (uz * nx - ux * nz) * ay + (ux * ny - uy * nx) * az
        two = (vy * nz - vz * ny) * bx + (vz * nx - vx * nz) * by + (vx * ny - vy * nx) * bz
        three = (wy * nz - wz * ny) * cx + (wz * nx - wx * nz) * cy + (wx * ny - wy * nx) * cz
        if (one >= 0.0 and two >= 0.0 and three >= 0.0) or (
            one <= 0.0 and two <= 0.0 and three <= 0.0
        ):
            off = nx * ax + ny * ay + nz * az
            return off * off / square
    return min(
        _to_segment(ax, ay, az, ux, uy, uz),
        _to_segment(bx, by, bz, vx, vy, vz),
        _to_segment(cx, cy, cz, wx, wy, wz),
    )


@compiled_within
def _nearest(triangles, boxes, nodes, x, y, z, near, stack):
    """Square of the distance of a point from the surface.

    `near[0]` is a triangle to begin with, as near as can be guessed, and becomes the nearest.
    """
    best, at = _to_triangle(triangles[near[0]], x, y, z), near[0]
    stack[0], depth = 0, 1
    while depth:
        depth -= 1
        node = stack[depth]
        if _to_box(boxes[node], x, y, z) >= best:
            continue
        left, right = nodes[node, 0], nodes[node, 1]
        if left == 0:
            for m in range(nodes[node, 2], nodes[node, 3]):
                square = _to_triangle(triangles[m], x, y, z)
                if square < best:
                    best, at = square, m
            continue
        one, two = _to_box(boxes[left], x, y, z), _to_box(boxes[right], x, y, z)
        if one < two:
            left, right, one, two = right, left, two, one
        if one < best:
            stack[depth] = left
            depth += 1
        if two < best:
            stack[depth] = right
            depth += 1
    near[0] = at
    return best


@compiled_within
def _inside(triangles, boxes, nodes, x, y, z, way, stack):
    """Whether a ray from a point leaves the surface once more than it enters."""
    stack[0], depth, odd = 0, 1, False
    while depth:
        depth -= 1
        node = stack[depth]
        low, high = 0.0, np.inf
        for k in range(3):
            p = x if k == 0 else (y if k == 1 else z)
            a, b = (boxes[node, k] - p) / way[k], (boxes[node, 3 + k] - p) / way[k]
            low, high = max(low, min(a, b)), min(high, max(a, b))
        if low > high:
            continue
        if nodes[node, 0]:
            stack[depth], stack[depth + 1] = nodes[node, 0], nodes[node, 1]
            depth += 2
            continue
        for m in range(nodes[node, 2], nodes[node, 3]):
            t = triangles[m]
            # The three volumes of the ray with the triangle's edges have one sign.
            ax, ay, az = t[0, 0] - x, t[0, 1] - y, t[0, 2] - z
            bx, by, bz = t[1, 0] - x, t[1, 1] - y, t[1, 2] - z
            cx, cy, cz = t[2, 0] - x, t[2, 1] - y, t[2, 2] - z
            one = _volume(ax, ay, az, bx, by, bz, way)
            two = _volume(bx, by, bz, cx, cy, cz, way)
            three = _volume(cx, cy, cz, ax, ay, az, way)
            if (one > 0.0 and two > 0.0 and three > 0.0) or (
                one < 0.0 and two < 0.0 and three < 0.0
            ):
                whole = one + two + three
                px = (two * ax + three * bx + one * cx) / whole
                py = (two * ay + three * by + one * cy) / whole
                pz = (two * az + three * bz + one * cz) / whole
                if px * way[0] + py * way[1] + pz * way[2] > 0.0:
                    odd = not odd
    return odd


@compiled_within
def _volume(ax, ay, az, bx, by, bz, w):
    return w[0] * (ay * bz - az * by) + w[1] * (az * bx - ax * bz) + w[2] * (ax * by - ay * bx)


@compiled
def _measure(
    solid_t, solid_b, solid_n, blank_t, blank_b, blank_n, way, label, corner, s, e, d, within
):
    """Signed distance `d` and whether `within` the blank, of every doubtful cube.

    Of cubes that are all metal no distance is larger than it is.
    """
    nx, ny, nz = label.shape
    stack, near = np.empty(256, np.int64), np.zeros(1, np.int64)
    for i in range(nx):
        for j in range(ny):
            before, metal, shell = -1.0, False, False
            for k in range(nz):
                if label[i, j, k] != DOUBT:
                    before = -1.0
                    continue
                if metal and before - s > 1.001 * e:  # all metal: at least so far from any void
                    before -= s
                    d[i, j, k], within[i, j, k] = -before, True
                    continue
                x, y, z = corner[0] + i * s, corner[1] + j * s, corner[2] + k * s
                far = np.sqrt(_nearest(solid_t, solid_b, solid_n, x, y, z, near, stack))
                if before <= s:  # else nothing lies between this centre and the one before
                    metal = _inside(solid_t, solid_b, solid_n, x, y, z, way, stack)
                shell = metal or _inside(blank_t, blank_b, blank_n, x, y, z, way, stack)
                before = far
                d[i, j, k] = -far if metal else far
                within[i, j, k] = shell


@compiled
def _find(parent, n):
    while parent[n] != n:
        parent[n] = parent[parent[n]]
        n = parent[n]
    return n


@compiled
def _above(order, where, label, d, touch, parent, shape):
    """Value at which the mouths (regions 1 and 2) join when cubes are added widest first."""
    _, ny, nz = shape
    offset = len(parent) - label.size
    flat, on = label.ravel(), np.zeros(label.size, np.bool_)
    for cube in order:
        on[cube] = True
        node = offset + cube
        for mouth in (1, 2):
            if touch[cube] & mouth:
                parent[_find(parent, node)] = _find(parent, mouth)
        i, j, k = cube // (ny * nz), (cube // nz) % ny, cube % nz
        for a in range(6):
            di, dj, dk = where[a, 0], where[a, 1], where[a, 2]
            p, q, r = i + di, j + dj, k + dk
            if p < 0 or q < 0 or r < 0 or p >= shape[0] or q >= ny or r >= nz:
                continue
            other = (p * ny + q) * nz + r
            if flat[other] > 0:
                parent[_find(parent, node)] = _find(parent, flat[other])
            elif on[other]:
                parent[_find(parent, node)] = _find(parent, offset + other)
        if _find(parent, np.int64(1)) == _find(parent, np.int64(2)):
            return d.ravel()[cube]
    return -np.inf


def _edges(label, d, within, s):
    """Links between a doubtful cube in void and its neighbours: weight and both ends."""
    cube = np.arange(label.size).reshape(label.shape)
    found = []
    for a in range(3):
        sides = [tuple(part if k == a else slice(None) for k in range(3)) for part in BOTH]
        one, two = (label[side] for side in sides)
        here, there = (d[side] for side in sides)
        inside = [(label[side] > 0) | ((label[side] == 0) & within[side]) for side in sides]
        doubtful = (one == 0) & (two == 0)
        weight = np.where(one > 0, there - 0.5 * s, here - 0.5 * s)
        weight = np.where(doubtful, 0.5 * (here + there - s), weight)
        kept = inside[0] & inside[1] & ~((one > 0) & (two > 0)) & (weight > 0.0)
        kept &= ~doubtful | ((here > 0.0) & (there > 0.0))
        ends = [
            np.where(name[kept] > 0, -name[kept], cube[side][kept])
            for name, side in zip((one, two), sides, strict=True)
        ]
        places = [cube[side][kept] for side in sides]
        found.append((weight[kept], np.stack(ends, 1), np.stack(places, 1), 3 * places[0] + a))
    weight, ends, places, rank = (np.concatenate(part) for part in zip(*found, strict=True))
    order = np.argsort(rank)  # as they lie, whichever way they lead
    index = np.stack(np.unravel_index(places[order].ravel(), label.shape), 1)
    return weight[order], ends[order], index


@compiled
def _below(order, ends, parent, offset):
    """Links (by their place in `order`) that join the mouths when added widest first."""
    used = np.zeros(len(order), np.bool_)
    for n in order:
        a, b = ends[n, 0], ends[n, 1]
        a = _find(parent, -a if a < 0 else offset + a)
        b = _find(parent, -b if b < 0 else offset + b)
        used[n] = a != b
        parent[a] = b
        if _find(parent, np.int64(1)) == _find(parent, np.int64(2)):
            return used
    return np.zeros(len(order), np.bool_)


def _way(links, nodes, start, end):
    """Numbers of the links of a tree from one node to another."""
    number = np.arange(1, len(links) + 1)
    tree_of = coo_array((number, links.T), shape=(nodes, nodes)).tocsr()
    _, came = breadth_first_order(tree_of, start, directed=False)
    found, node = [], end
    while node != start:
        before = int(came[node])
        found.append(int(tree_of[node, before] + tree_of[before, node]) - 1)
        node = before
    return np.array(found[::-1], np.int64)


@compiled_within
def _segment(triangles, boxes, nodes, a, b, most, near, stack):
    """Certified least distance along a segment, right to FINE below; `most` if it is more."""
    da = np.sqrt(_nearest(triangles, boxes, nodes, a[0], a[1], a[2], near, stack))
    db = np.sqrt(_nearest(triangles, boxes, nodes, b[0], b[1], b[2], near, stack))
    length = np.sqrt((a[0] - b[0]) ** 2 + (a[1] - b[1]) ** 2 + (a[2] - b[2]) ** 2)
    pieces = np.empty((64, 4))  # where it begins and ends (0 to 1), the distances there
    pieces[0, 0], pieces[0, 1], pieces[0, 2], pieces[0, 3] = 0.0, 1.0, da, db
    count, best = 1, most
    while count:
        count -= 1
        u, v = pieces[count, 0], pieces[count, 1]
        du, dv = pieces[count, 2], pieces[count, 3]
        run = (v - u) * length
        least = 0.5 * (du + dv - run)
        if least >= best:
            continue
        if min(du, dv) - least <= FINE or count > 60:
            best = least
            continue
        w = 0.5 * (u + v)
        x, y, z = a[0] + w * (b[0] - a[0]), a[1] + w * (b[1] - a[1]), a[2] + w * (b[2] - a[2])
        dw = np.sqrt(_nearest(triangles, boxes, nodes, x, y, z, near, stack))
        for n in range(2):
            row = count + n
            pieces[row, 0], pieces[row, 1] = (w, v) if n else (u, w)
            pieces[row, 2], pieces[row, 3] = (dw, dv) if n else (du, dw)
        count += 2
    return best


@compiled
def _line(triangles, boxes, nodes, points, most):
    """Certified least distance along a line of points."""
    stack, near = np.empty(256, np.int64), np.zeros(1, np.int64)
    for n in range(len(points) - 1):
        most = _segment(triangles, boxes, nodes, points[n], points[n + 1], most, near, stack)
    return most


@compiled
def _pushed(triangles, boxes, nodes, points, enough, step):
    """Move the inner points of a line, in place, to where there is more room."""
    stack, near = np.empty(256, np.int64), np.zeros(1, np.int64)
    for n in range(1, len(points) - 1):
        here, size = points[n], step
        best = _nearest(triangles, boxes, nodes, here[0], here[1], here[2], near, stack)
        for _ in range(10):
            if best >= enough * enough:
                break
            moved = False
            for axis in range(3):
                for side in (-1.0, 1.0):
                    x = here[0] + (side * size if axis == 0 else 0.0)
                    y = here[1] + (side * size if axis == 1 else 0.0)
                    z = here[2] + (side * size if axis == 2 else 0.0)
                    value = _nearest(triangles, boxes, nodes, x, y, z, near, stack)
                    if value > best:
                        best, moved = value, True
                        here[0], here[1], here[2] = x, y, z
            if not moved:
                size *= 0.5
    return points


@compiled
def _joined(label, fresh, touch, names):
    """Give safe cubes the name of the regions beside them; those are then one."""
    nx, ny, nz = label.shape
    for i in range(nx):
        for j in range(ny):
            for k in range(nz):
                if not fresh[i, j, k]:
                    continue
                for mouth in (1, 2):
                    if touch[i, j, k] & mouth:
                        names[_find(names, label[i, j, k])] = _find(names, mouth)
                for a in range(6):
                    step = 1 if a % 2 else -1
                    p = i + (step if a // 2 == 0 else 0)
                    q = j + (step if a // 2 == 1 else 0)
                    r = k + (step if a // 2 == 2 else 0)
                    if p < 0 or q < 0 or r < 0 or p >= nx or q >= ny or r >= nz:
                        continue
                    if label[p, q, r] > 0:
                        names[_find(names, label[i, j, k])] = _find(names, label[p, q, r])


@compiled
def _prune(flat, touch, names, beside, neighbour, parent, reached, keep):
    """Drop doubtful cubes that lead from no region to another one.

    `neighbour`: of each cube the six beside it, -1 where there is none; becomes the doubtful ones.
    """
    size = flat.size
    # The regions that a cube touches: none (0), one (its name), several (-1).
    for cube in range(size):
        if flat[cube] != DOUBT:
            continue
        for mouth in (1, 2):
            if touch[cube] & mouth:
                beside[cube] = _with(beside[cube], _find(names, mouth))
        for a in range(6):
            other = neighbour[cube, a]
            if other < 0:
                continue
            if flat[other] > 0:
                beside[cube] = _with(beside[cube], _find(names, flat[other]))
            if flat[other] != DOUBT:
                neighbour[cube, a] = -1
    for cube in range(size):
        if flat[cube] == DOUBT and beside[cube] == 0:
            for a in range(6):
                other = neighbour[cube, a]
                if other >= 0 and beside[other] == 0:
                    parent[_find(parent, cube)] = _find(parent, other)
    for cube in range(size):
        if flat[cube] == DOUBT and beside[cube] != 0:
            for a in range(6):
                other = neighbour[cube, a]
                if other >= 0 and beside[other] == 0:
                    root = _find(parent, other)
                    reached[root] = _with(reached[root], beside[cube])
    for cube in range(size):
        if flat[cube] != DOUBT:
            continue
        if beside[cube] == 0:
            keep[cube] = reached[_find(parent, cube)] == -1
            continue
        keep[cube] = beside[cube] == -1
        for a in range(6):
            other = neighbour[cube, a]
            if other < 0:
                continue
            if beside[other] == 0:
                keep[cube] |= reached[_find(parent, other)] == -1
            else:
                keep[cube] |= beside[other] != beside[cube]
    for cube in range(size):
        if flat[cube] == DOUBT and not keep[cube]:
            flat[cube] = DEAD


def _pruned(label, touch, names):
    cube = np.pad(np.arange(label.size).reshape(label.shape), 1, constant_values=-1)
    neighbour = np.stack(
        [
            np.roll(cube, step, axis)[1:-1, 1:-1, 1:-1].ravel()
            for axis in range(3)
            for step in (1, -1)
        ],
        axis=1,
    )
    flat, size = label.ravel(), label.size
    beside, reached = np.zeros((2, size), np.int64)
    kept = (np.arange(size), reached, np.zeros(size, bool))
    _prune(flat, touch.ravel(), names, beside, neighbour, *kept)
    return flat.reshape(label.shape)


@compiled_within
def _with(had, name):
    return name if had == 0 or had == name else -1


STEPS = np.array([(1, 0, 0), (-1, 0, 0), (0, 1, 0), (0, -1, 0), (0, 0, 1), (0, 0, -1)])


class _Level:
    """Cubes of one size in a window."""

    def __init__(self, search: _Search, label: NDArray[np.int64], corner: NDArray, s: float):
        self.label, self.corner, self.s = label, corner, s
        self.e = 0.5 * np.sqrt(3.0) * s
        self.search = search
        self.d, self.within = np.full(label.shape, -np.inf), np.zeros(label.shape, bool)
        where = (corner, s, self.e, self.d, self.within)
        _measure(*search.solid, *search.blank, SLANT, label, *where)
        doubt = label == DOUBT
        # A cube whose centre lies outside counts only where it may reach in: at walls and mouths.
        at_wall = np.abs(self.d) <= self.e
        self.touch, near = self._mouths(doubt)
        dead = doubt & ~(self.within | at_wall | near)
        dead |= doubt & (self.d + self.e <= 0.0)
        self.label[dead] = DEAD
        self.touch[dead] = 0

    def _points(self, index: NDArray) -> NDArray:
        return self.corner + self.s * index

    def _mouths(self, doubt: NDArray) -> tuple[NDArray, NDArray]:
        """Which mouth's closing surface a cube touches (bits 1, 2); whether it is at any mouth."""
        touch = np.zeros(self.label.shape, np.int64)
        near = np.zeros(self.label.shape, bool)
        axes = [self.corner[a] + self.s * np.arange(n) for a, n in enumerate(self.label.shape)]
        x, y, z = np.meshgrid(*axes, indexing="ij", sparse=True)
        for n, disc in enumerate(self.search.discs):
            up = sum(
                (p - c) * o for p, c, o in zip((x, y, z), disc.centre, disc.outward, strict=True)
            )
            square = sum((p - c) ** 2 for p, c in zip((x, y, z), disc.centre, strict=True))
            aside = np.sqrt(np.maximum(square - up**2, 0.0))
            half = 0.5 * self.s * np.abs(disc.outward).sum() + 1e-9
            meets = (np.abs(up) <= half) & (aside <= disc.reach * disc.radius + self.e) & doubt
            near |= meets
            if n < 2:
                touch[meets] |= 1 << n
        return touch, near

    def above(self) -> float:
        """Radius that no ball on its way exceeds."""
        value = np.where(self.label == DOUBT, self.d + self.e, -np.inf)
        order = np.argsort(-value, axis=None, kind="stable")[: int((self.label == DOUBT).sum())]
        parent = np.arange(self.search.regions + self.label.size)
        parent[: self.search.regions] = self.search.names[: self.search.regions]
        return float(
            _above(order, STEPS, self.label, value, self.touch.ravel(), parent, self.label.shape)
        )

    def below(self, enough: float) -> float:
        """Radius of a ball for which a way is proven; no more than `enough` is sought."""
        weight, ends, places = _edges(self.label, self.d, self.within, self.s)
        starts = self._starts()
        weight = np.concatenate([weight, starts[0]])
        ends = np.concatenate([ends, starts[1]])
        points = np.concatenate([self._points(places), starts[2]]).reshape(-1, 2, 3)
        offset = self.search.regions
        parent = np.arange(offset + self.label.size)
        parent[:offset] = self.search.names[:offset]
        order = np.argsort(-weight, kind="stable")
        used = _below(order, ends, parent, offset)
        if not used.any():
            return 0.0
        names = np.array([_find(self.search.names, n) for n in range(offset)])
        links = np.where(ends < 0, names[np.clip(-ends, 0, offset - 1)], offset + ends)[used]
        way = _way(links, len(parent), int(names[1]), int(names[2]))
        return self._proven(np.flatnonzero(used)[way], links[way], points, enough)

    def _proven(self, chosen: NDArray, links: NDArray, points: NDArray, enough: float) -> float:
        """Least distance along the pieces of a way that lie outside the joined regions, pushed."""
        least, node = enough, _find(self.search.names, 1)
        piece: list[NDArray] = []
        for number, link in zip(chosen, links, strict=True):
            turned = link[0] != node
            here, there = points[number][::-1] if turned else points[number]
            piece = piece if piece else [here]
            piece.append(there)
            node = link[0] + link[1] - node
            if node < self.search.regions:
                line = np.array(piece)
                pushed = _pushed(*self.search.solid, line.copy(), enough, 0.25 * self.s)
                found = [_line(*self.search.solid, one, enough) for one in (line, pushed)]
                least = min(least, max(found))
                piece = []
        return max(least, 0.0)

    def _starts(self) -> tuple[NDArray, NDArray, NDArray]:
        """Segments from the closing surfaces, square to them, to the centres of cubes."""
        weights, ends = [np.empty(0)], [np.empty((0, 2), np.int64)]
        places = [np.empty((0, 2, 3))]
        usable = (self.label == DOUBT) & self.within & (self.d > 0.0)
        for n in (0, 1):
            disc = self.search.discs[n]
            index = np.argwhere(usable)
            at = self._points(index)
            up = (at - disc.centre) @ disc.outward
            beside = (up <= 0.0) & (up > -self.s)
            index, at, up = index[beside], at[beside], up[beside]
            if not len(index):
                continue
            foot = at - up[:, None] * disc.outward
            here = self.d[tuple(index.T)]
            there = distances(self.search.solid, foot)
            inside = np.linalg.norm(foot - disc.centre, axis=1) <= disc.reach * disc.radius
            weights.append(np.where(inside, 0.5 * (here + there - np.abs(up)), 0.0))
            cube = np.ravel_multi_index(tuple(index.T), self.label.shape)
            ends.append(np.column_stack([np.full(len(cube), -(n + 1)), cube]))
            places.append(np.stack([foot, at], axis=1))
        weight, end, place = (np.concatenate(x) for x in (weights, ends, places))
        kept = weight > 0.0
        return weight[kept], end[kept], place[kept].reshape(-1, 3)

    def settle(self, low: float, high: float) -> None:
        """Drop what is surely too narrow, join what is surely wide enough, drop dead ends."""
        doubt = self.label == DOUBT
        self.label[doubt & (self.d + self.e <= low)] = DEAD
        fresh = doubt & self.within & (self.d - self.e >= high)
        many = int(fresh.sum())
        self.label[fresh] = self.search.name(many)
        _joined(self.label, fresh, self.touch, self.search.names)
        self.label = _pruned(self.label, self.touch, self.search.names)

    def finer(self) -> _Level | None:
        """Half the size, around what is still in doubt; None if nothing is or it is too much."""
        index = np.argwhere(self.label == DOUBT)
        if not len(index):
            return None
        first, last = np.maximum(index.min(0) - 1, 0), index.max(0) + 2
        part = self.label[first[0] : last[0], first[1] : last[1], first[2] : last[2]]
        if 8 * part.size > 30 * MOST_CUBES or 8 * len(index) > MOST_CUBES:
            return None
        label = part.repeat(2, 0).repeat(2, 1).repeat(2, 2)
        corner = self._points(first) - 0.25 * self.s
        return _Level(self.search, np.ascontiguousarray(label), corner, 0.5 * self.s)


class _Search:
    """What all levels share: surfaces, mouths and the names of regions that are joined."""

    def __init__(self, solid: m3.Manifold, blank: m3.Manifold, discs) -> None:
        self.solid, self.blank, self.discs = tree(solid), tree(blank), discs
        self.names = np.arange(3)

    @property
    def regions(self) -> int:
        return len(self.names)

    def name(self, count: int) -> NDArray[np.int64]:
        """New names."""
        first = len(self.names)
        fresh = np.arange(first, first + count)
        self.names = np.concatenate([self.names, fresh])
        return fresh


def distances(surface: Tree, points: NDArray) -> NDArray[np.float64]:
    """Distances of points from a surface, unsigned, mm."""
    return _distances(*surface, np.ascontiguousarray(points, np.float64))


@compiled
def _distances(triangles, boxes, nodes, points):
    found, stack = np.empty(len(points)), np.empty(256, np.int64)
    near = np.zeros(1, np.int64)
    for n in range(len(points)):
        x, y, z = points[n, 0], points[n, 1], points[n, 2]
        found[n] = np.sqrt(_nearest(triangles, boxes, nodes, x, y, z, near, stack))
    return found


def clear_diameter(
    solid: m3.Manifold,
    blank: m3.Manifold,
    inlet,
    outlet,
    others=(),
    coarse: float = 0.5,
    narrow: float = 0.12,
    levels: int = 6,
) -> Bracket:
    """Bounds of the clear diameter between two mouths.

    Parameters
    ----------
    solid, blank : Manifold
        The predicted part, and what it would be without any void: ways do not leave it.
    inlet, outlet, others : discs (centre, radius, outward, reach), where they lie now
        The mouths, on the face of the blank.
    coarse : float, mm
        Size of the first cubes.
    narrow : float, mm
        The bracket is narrow enough.
    """
    search = _Search(solid, blank, [inlet, outlet, *others])
    low, high = np.array(blank.bounding_box()).reshape(2, 3)
    corner = low - coarse * np.array([0.371, 0.412, 0.333])  # no face of a part between cubes
    shape = np.ceil((high - corner) / coarse + 0.5).astype(int) + 1
    level: _Level | None = _Level(search, np.zeros(tuple(shape), np.int64), corner, coarse)
    least, most = 0.0, np.inf
    for _ in range(levels):
        most = min(most, max(level.above(), 0.0))
        least = max(least, min(level.below(most), most))
        if 2.0 * (most - least) <= narrow:
            break
        level.settle(least, most)
        level = level.finer()
        if level is None:
            break
    return Bracket(2.0 * least, 2.0 * max(most, least))
