"""The closed shells of a mesh: which way each must face, and which overlap.

In: closed, consistently turned triangles. Out: the same with every shell facing
outward, cavities excepted, and notices. A shell of negative volume is a cavity
where the other shells have metal, else it is inside out. Shells are told apart
by the vertices they share: two that touch in a vertex count as one.
"""

from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from clearance.errors import PartError
from clearance.kernels.compiler import kernel
from clearance.kernels.vectors import row
from clearance.mesh.closedness import Triangles, six_volumes, vertex_hash
from clearance.mesh.mending import turn_over

_SAMPLES = 16  # points on each shell at which the other shells are counted
_SAMPLES_ALL = 100_000  # about so many points in all, at least 2 a shell


class Shells(NamedTuple):
    """Closed shells, in order of their first triangle."""

    label: NDArray[np.int32]
    """(F,) number of each triangle's shell."""
    volume_mm3: NDArray[np.float64]
    """(S,) signed."""


def face_outward(triangles: Triangles) -> tuple[Triangles, tuple[str, ...]]:
    """Turn every shell outward that is not a cavity.

    Parameters
    ----------
    triangles : (F, 3, 3) ndarray of float32, mm
        Closed and consistently turned (`closedness.close`), of positive volume.

    Returns
    -------
    triangles : (F, 3, 3) ndarray of float32, mm
        The same array if nothing was turned.
    notices : tuple of str
        Shells turned, shells that overlap or lie within the metal of others.

    Raises
    ------
    PartError
        A shell that faces inward lies partly in metal and partly not, so that
        it cannot be told whether it is a cavity.
    """
    shells = find_shells(triangles)
    count = len(shells.volume_mm3)
    if count == 1:
        return triangles, ()
    points, owner = _samples(triangles, shells)
    turned = 0
    while True:
        volume = shells.volume_mm3
        metal, doubtful = _others(triangles, shells, points, owner)
        least, most = _extremes(metal, doubtful, owner, count)
        # A shell within an inverted one sees -1 there: it waits for the next round.
        wrong = (volume < 0) & (least == 0) & (most == 0)
        if not wrong.any():
            break
        turned += int(wrong.sum())
        triangles = turn_over(triangles, wrong[shells.label])
        shells = Shells(shells.label, np.where(wrong, -volume, volume))
    _refuse_half_cavities(triangles, shells, least, most)
    return triangles, _notices(turned, shells, least, most)


def _refuse_half_cavities(
    triangles: Triangles, shells: Shells, least: NDArray[np.int64], most: NDArray[np.int64]
) -> None:
    torn = np.flatnonzero((shells.volume_mm3 < 0) & (least < 1) & (least <= most))
    if len(torn):
        corners = triangles[shells.label == torn[0]].reshape(-1, 3)
        low, high = corners.min(axis=0), corners.max(axis=0)
        raise PartError(
            f"a shell that faces inward, from ({_place(low)}) to ({_place(high)}), is partly "
            "within the metal and partly outside it: cut it out of the part before export"
        )


def _notices(
    turned: int, shells: Shells, least: NDArray[np.int64], most: NDArray[np.int64]
) -> tuple[str, ...]:
    outward = shells.volume_mm3 > 0
    cavities = int((~outward).sum())
    within = int((outward & (least >= 1) & (least <= most)).sum())
    across = int((outward & (most >= 1) & (least < 1)).sum())
    texts = [f"{len(outward)} closed shells, {cavities} of them cavities that face inward"]
    if turned:
        texts.append(f"{_shells(turned)} inside out and turned outward")
    if across:
        texts.append(f"{_shells(across)} overlapping others: metal is counted once there")
    if within:
        texts.append(
            f"{_shells(within)} wholly within the metal of others and facing outward: taken as "
            "metal; a cavity would have to face inward"
        )
    return tuple(texts)


def _shells(count: int) -> str:
    return "1 shell is" if count == 1 else f"{count} shells are"


def _place(point: NDArray[np.float32]) -> str:
    return ", ".join(f"{v:.3f}" for v in point)


# --- shells


@kernel
def _label(bits, label, table, recent, firsts, parent):  # type: ignore[no-untyped-def]
    """Union-find over equal corners; returns the number of shells.

    `table` is a hash table of vertices, `recent` a small one in front of it
    that stays in the processor's cache: neighbouring triangles share vertices.
    """
    mask = np.uint64(table.shape[0] - 1)
    recent_mask = np.uint64(recent.shape[0] - 1)
    count = np.int32(0)
    for i in range(label.shape[0]):
        root = np.int32(-1)
        for k in range(3):
            row = 3 * i + k
            a, b, c = bits[row, 0], bits[row, 1], bits[row, 2]
            h = vertex_hash(a, b, c)
            near = np.int64((h >> np.uint64(40)) & recent_mask)
            v = recent[near]
            if v < 0 or firsts[v, 0] != a or firsts[v, 1] != b or firsts[v, 2] != c:
                slot = np.int64(h & mask)
                v = table[slot]
                while v >= 0 and (firsts[v, 0] != a or firsts[v, 1] != b or firsts[v, 2] != c):
                    slot = (slot + 1) & np.int64(mask)
                    v = table[slot]
                if v < 0:
                    v = count
                    table[slot] = v
                    firsts[v, 0], firsts[v, 1], firsts[v, 2] = a, b, c
                    parent[v] = v
                    count += np.int32(1)
                recent[near] = v
            if k == 0:
                label[i] = v
            while parent[v] != v:
                parent[v] = parent[parent[v]]
                v = parent[v]
            if root < 0:
                root = v
            elif v < root:
                parent[root] = v
                root = v
            elif root < v:
                parent[v] = root
    shells = np.int32(0)
    # A parent's number is lower than its child's, so one sweep hands the shell's number down,
    # kept negative (-1, -2, ...) to tell it from a vertex.
    for v in range(count):
        if parent[v] == v:
            shells += np.int32(1)
            parent[v] = -shells
        else:
            parent[v] = parent[parent[v]]
    for i in range(label.shape[0]):
        label[i] = -parent[label[i]] - np.int32(1)
    return shells


@kernel
def _volumes(triangles, label, volume):  # type: ignore[no-untyped-def]
    """Add each triangle's signed volume against the first corner of all to its shell."""
    origin = row(triangles[0], np.int64(0))
    for i in range(triangles.shape[0]):
        volume[label[i]] += six_volumes(triangles[i], origin) / 6.0


def find_shells(triangles: Triangles) -> Shells:
    """Tell the shells of a mesh apart.

    Parameters
    ----------
    triangles : (F, 3, 3) ndarray of float32, mm
        Closed, C-contiguous, without -0.0.

    Returns
    -------
    Shells
    """
    triangles = np.ascontiguousarray(triangles)
    bits = triangles.view(np.uint32).reshape(-1, 3)
    faces = len(triangles)
    label = np.empty(faces, np.int32)
    table = np.full(1 << max(4, (3 * faces).bit_length()), -1, np.int32)
    recent = np.full(1 << 16, -1, np.int32)
    firsts = np.empty((3 * faces, 3), np.uint32)  # pages that stay untouched cost nothing
    parent = np.empty(3 * faces, np.int32)
    volume = np.zeros(_label(bits, label, table, recent, firsts, parent))
    _volumes(triangles, label, volume)
    return Shells(label, volume)


# --- the winding number of the other shells


def _samples(triangles: Triangles, shells: Shells) -> tuple[NDArray[np.float64], NDArray[np.int64]]:
    """Give points (P, 3) inside triangles spread over each shell, and the shell (P,) of each."""
    count = len(shells.volume_mm3)
    each = int(np.clip(_SAMPLES_ALL // count, 2, _SAMPLES))
    order = np.argsort(shells.label, kind="stable")
    size = np.bincount(shells.label, minlength=count)
    start = np.cumsum(size) - size
    step = (np.arange(each) + 0.5) / each
    chosen = order[start[:, None] + (step * size[:, None]).astype(np.int64)].ravel()
    weight = np.random.default_rng(0).dirichlet((2.0, 2.0, 2.0), len(chosen))
    points = (triangles[chosen].astype(np.float64) * weight[:, :, None]).sum(axis=1)
    return points, np.repeat(np.arange(count), each)


@kernel
def _count_above(corners, label, points, owner, metal, doubtful):  # type: ignore[no-untyped-def]
    """Count, above each point, the surfaces of other shells: +1 that face up, -1 down.

    Points come sorted by x. A hit too near an edge, or too near the point,
    marks the point doubtful instead of being decided by rounding.
    """
    xs = points[:, 0].copy()
    for i in range(corners.shape[0]):
        ax, ay, az = corners[i, 0], corners[i, 1], corners[i, 2]
        bx, by, bz = corners[i, 3], corners[i, 4], corners[i, 5]
        cx, cy, cz = corners[i, 6], corners[i, 7], corners[i, 8]
        top = max(az, max(bz, cz))
        y_low, y_high = min(ay, min(by, cy)), max(ay, max(by, cy))
        x_high = max(ax, max(bx, cx))
        size = max(x_high - min(ax, min(bx, cx)), y_high - y_low)
        area = np.float64(bx - ax) * np.float64(cy - ay) - np.float64(by - ay) * np.float64(cx - ax)
        p = np.searchsorted(xs, np.float64(min(ax, min(bx, cx))))
        while p < xs.shape[0] and xs[p] <= x_high:
            x, y, z = points[p, 0], points[p, 1], points[p, 2]
            if owner[p] != label[i] and y_low <= y <= y_high and z <= top + 1e-6:
                u = (bx - x) * (cy - y) - (by - y) * (cx - x)
                v = (cx - x) * (ay - y) - (cy - y) * (ax - x)
                w = (ax - x) * (by - y) - (ay - y) * (bx - x)
                edge = 1e-9 * size * size
                if (u > -edge and v > -edge and w > -edge) or (u < edge and v < edge and w < edge):
                    if min(abs(u), min(abs(v), abs(w))) <= edge:
                        doubtful[p] = True
                    else:
                        area = u + v + w
                        gap = (u * az + v * bz + w * cz) / area - z
                        if abs(gap) < 1e-5:
                            doubtful[p] = True
                        elif gap > 0:
                            metal[p] += 1 if area > 0 else -1
            p += 1


def _others(
    triangles: Triangles,
    shells: Shells,
    points: NDArray[np.float64],
    owner: NDArray[np.int64],
) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """Give the winding number (P,) of all other shells at each point, and which to distrust."""
    order = np.argsort(points[:, 0], kind="stable")
    metal = np.zeros(len(points), np.int64)
    doubtful = np.zeros(len(points), np.bool_)
    sorted_metal, sorted_doubtful = metal[order], doubtful[order]
    _count_above(
        np.ascontiguousarray(triangles).reshape(-1, 9),
        shells.label,
        points[order],
        owner[order],
        sorted_metal,
        sorted_doubtful,
    )
    metal[order], doubtful[order] = sorted_metal, sorted_doubtful
    return metal, doubtful


def _extremes(
    metal: NDArray[np.int64], doubtful: NDArray[np.bool_], owner: NDArray[np.int64], count: int
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Give each shell's least and greatest trusted winding number; (big, -big) where none is."""
    big = np.iinfo(np.int64).max
    least, most = np.full(count, big), np.full(count, -big)
    np.minimum.at(least, owner[~doubtful], metal[~doubtful])
    np.maximum.at(most, owner[~doubtful], metal[~doubtful])
    return least, most
