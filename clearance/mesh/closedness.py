"""Whether a triangle soup is closed: every directed edge has its opposite.

In: float32 triangles in mm. Out: a `Survey` from one pass over them; where that
says no, the edges by number, and which are open and where. Equal ends means
bitwise equal. Mending is left to `mending`, which way a closed shell faces to
`shells`.
"""

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from clearance.kernels.compiler import inner, kernel
from clearance.kernels.pieces import pieces
from clearance.kernels.vectors import corners_of, cross, dot, minus, row

Triangles = NDArray[np.float32]

CRACK_MM = 1.0e-4  # vertices nearer than this may be one vertex written twice
_CLUSTERS_NAMED = 3
_T_JUNCTION_EDGES = 3000  # more open edges than this are not looked at for T-junctions


class Survey(NamedTuple):
    """What one pass over the triangles tells."""

    first_not_finite: int
    """Number (from 0) of the first triangle with a NaN or an infinity, -1 if there is none."""
    low_mm: NDArray[np.float64]
    high_mm: NDArray[np.float64]
    volume_mm3: float
    """Signed; positive where triangles face outward; means something if balanced."""
    balanced: bool
    """Every directed edge has its opposite."""
    needles: int
    """Triangles with two equal corners."""


@dataclass(frozen=True, eq=False, slots=True)
class Cluster:
    """Open edges that hang together: their number, centre (3,) and extent (3,), mm."""

    edges: int
    centre_mm: NDArray[np.float64]
    extent_mm: NDArray[np.float64]


@dataclass(frozen=True, eq=False, slots=True)
class OpenEdges:
    """The edges of a mesh that bound an odd number of triangles.

    Attributes
    ----------
    count : int
    clusters : tuple of Cluster
        Largest first.
    t_junctions : bool
        Some vertex of an open edge lies in the middle of another open edge.
    """

    count: int
    clusters: tuple[Cluster, ...]
    t_junctions: bool


@inner
def vertex_hash(a, b, c):  # type: ignore[no-untyped-def]
    """Mix the bits of three coordinates (uint32 each) into 64."""
    h = np.uint64(a) * np.uint64(0x9E3779B97F4A7C15) + np.uint64(b)
    h = (h ^ (h >> np.uint64(29))) * np.uint64(0xBF58476D1CE4E5B9) + np.uint64(c)
    h = (h ^ (h >> np.uint64(32))) * np.uint64(0x94D049BB133111EB)
    return h ^ (h >> np.uint64(31))


@inner
def _edge_hash(a, b):  # type: ignore[no-untyped-def]
    """Antisymmetric in its ends: an edge and its opposite add to zero (mod 2**64)."""
    h = a + b
    h = (h ^ (h >> np.uint64(30))) * np.uint64(0xD6E8FEB86659FD93)
    h ^= h >> np.uint64(32)
    if a < b:
        return h
    if b < a:
        return np.uint64(0) - h
    return np.uint64(0)


@inner
def six_volumes(triangle, origin):  # type: ignore[no-untyped-def]
    """Six times the signed volume between a triangle (3, 3) and a point."""
    a, b, c = corners_of(triangle)
    return dot(minus(a, origin), cross(minus(b, origin), minus(c, origin)))


@kernel
def _survey(triangles, bits):  # type: ignore[no-untyped-def]
    """One pass over the triangles; `bits` is the same memory as uint32, (F, 9)."""
    low = np.full(3, np.inf)
    high = np.full(3, -np.inf)
    origin = row(triangles[0], np.int64(0))
    volume = 0.0
    total = np.uint64(0)
    needles = 0
    not_finite = -1
    for i in range(triangles.shape[0]):
        for k in range(9):
            value = np.float64(triangles[i, k // 3, k % 3])
            if not np.isfinite(value) and not_finite < 0:
                not_finite = i
            low[k % 3] = min(low[k % 3], value)
            high[k % 3] = max(high[k % 3], value)
        volume += six_volumes(triangles[i], origin)
        a = vertex_hash(bits[i, 0], bits[i, 1], bits[i, 2])
        b = vertex_hash(bits[i, 3], bits[i, 4], bits[i, 5])
        c = vertex_hash(bits[i, 6], bits[i, 7], bits[i, 8])
        total += _edge_hash(a, b) + _edge_hash(b, c) + _edge_hash(c, a)
        if a == b or b == c or c == a:
            needles += 1
    return not_finite, low, high, volume / 6.0, total == np.uint64(0), needles


def survey(triangles: Triangles) -> Survey:
    """Look once at every triangle.

    Parameters
    ----------
    triangles : (F, 3, 3) ndarray of float32, mm
        F >= 1, C-contiguous, without -0.0.

    Returns
    -------
    Survey
        `balanced` comes from a 64-bit sum over the directed edges in which
        each edge and its opposite cancel: an open mesh passes with
        probability 2**-64.
    """
    given = triangles.view()
    given.flags.writeable = False  # else the kernel is compiled for both kinds of arrays
    return Survey(*_survey(given, given.view(np.uint32).reshape(-1, 9)))


def without_needles(triangles: Triangles) -> Triangles:
    """Leave out the triangles with two equal corners: their edges cancel anyway."""
    kept = np.empty_like(triangles)
    return kept[: _keep(triangles, kept)]


@kernel
def _keep(triangles, kept):  # type: ignore[no-untyped-def]
    """Copy the triangles whose corners all differ to the front of `kept`; return their number."""
    count = 0
    for i in range(triangles.shape[0]):
        equal = False
        for k in range(3):
            m = (k + 1) % 3
            equal |= (
                triangles[i, k, 0] == triangles[i, m, 0]
                and triangles[i, k, 1] == triangles[i, m, 1]
                and triangles[i, k, 2] == triangles[i, m, 2]
            )
        if not equal:
            for k in range(3):
                for axis in range(3):
                    kept[count, k, axis] = triangles[i, k, axis]
            count += 1
    return count


# --- vertices and edges by number


@kernel
def _weld(bits, ids, table, firsts):  # type: ignore[no-untyped-def]
    """Number equal corners alike; `table` is an open-addressing hash table of -1."""
    mask = np.int64(table.shape[0] - 1)
    count = 0
    for i in range(bits.shape[0]):
        a, b, c = bits[i, 0], bits[i, 1], bits[i, 2]
        slot = np.int64(vertex_hash(a, b, c) & np.uint64(mask))
        while True:
            found = table[slot]
            if found < 0:
                table[slot] = count
                firsts[count] = i
                ids[i] = count
                count += 1
                break
            j = firsts[found]
            if bits[j, 0] == a and bits[j, 1] == b and bits[j, 2] == c:
                ids[i] = found
                break
            slot = (slot + 1) & mask
    return count


def weld(triangles: Triangles) -> tuple[Triangles, NDArray[np.int64]]:
    """Number the distinct vertices of a soup.

    Parameters
    ----------
    triangles : (F, 3, 3) ndarray of float32, mm
        C-contiguous, without -0.0.

    Returns
    -------
    vertices : (V, 3) ndarray of float32, mm
        Bitwise distinct, in order of first appearance.
    ids : (F, 3) ndarray of int64
        Row of `vertices` of each corner.
    """
    corners = triangles.reshape(-1, 3)
    ids = np.empty(len(corners), np.int64)
    firsts = np.empty(len(corners), np.int64)
    table = np.full(1 << max(4, (2 * len(corners)).bit_length()), -1, np.int64)
    count = _weld(corners.view(np.uint32), ids, table, firsts)
    return corners[firsts[:count]], ids.reshape(-1, 3)


class Edges(NamedTuple):
    """Undirected edges of a mesh, and the pairs of triangles at those of exactly two."""

    ends: NDArray[np.int64]
    """(E, 2) vertex numbers."""
    odd: NDArray[np.bool_]
    """(E,) bounds an odd number of triangles."""
    pairs: NDArray[np.int64]
    """(P, 2) triangle numbers."""
    same: NDArray[np.bool_]
    """(P,) both run along the edge the same way: one of them is turned."""


def number_edges(ids: NDArray[np.int64], vertex_count: int) -> Edges:
    """Find the undirected edges of (F, 3) triangles without needles."""
    start = ids.ravel()
    stop = np.roll(ids, -1, axis=1).ravel()
    key = np.minimum(start, stop) * vertex_count + np.maximum(start, stop)
    order = np.argsort(key, kind="stable")
    key = key[order]
    first = np.flatnonzero(np.concatenate([[True], key[1:] != key[:-1]]))
    uses = np.diff(np.append(first, len(key)))
    double = first[uses == 2]
    one, two = order[double], order[double + 1]
    ends = np.stack(np.divmod(key[first], vertex_count), axis=1)
    pairs = np.stack([one // 3, two // 3], axis=1)
    return Edges(ends, uses % 2 == 1, pairs, start[one] == start[two])


# --- where the mesh is open


def describe(vertices: Triangles, edges: Edges) -> OpenEdges:
    """Gather the open edges in clusters that share vertices."""
    ends = edges.ends[edges.odd]
    if len(ends) == 0:
        return OpenEdges(0, (), False)
    rim, local = np.unique(ends, return_inverse=True)
    local = local.reshape(-1, 2)
    group = pieces(local[:, 0], local[:, 1], len(rim))
    of_edge = group[local[:, 0]]
    sizes = np.bincount(of_edge)
    points = vertices[rim].astype(np.float64)
    clusters: list[Cluster] = []
    for number in np.argsort(-sizes, kind="stable"):
        inside = points[group == number] if len(clusters) < _CLUSTERS_NAMED else points[:0]
        if len(inside) == 0:
            break
        low, high = inside.min(axis=0), inside.max(axis=0)
        clusters.append(Cluster(int(sizes[number]), (low + high) / 2, high - low))
    found = len(ends) <= _T_JUNCTION_EDGES and _has_t_junction(points, local)
    return OpenEdges(len(ends), tuple(clusters), found)


def _has_t_junction(points: NDArray[np.float64], ends: NDArray[np.int64]) -> bool:
    """Tell whether some of `points` lies within an edge, off its ends."""
    for a, b in ends:
        along = points[b] - points[a]
        share = (points - points[a]) @ along / (along @ along)
        beside = np.linalg.norm(points - points[a] - share[:, None] * along, axis=1)
        inner = (share > 0) & (share < 1) & (beside <= CRACK_MM)
        inner[[a, b]] = False
        if inner.any():
            return True
    return False


def open_message(found: OpenEdges) -> str:
    """Say how many edges are open and where."""
    places = "; ".join(
        f"{c.edges} around ({coordinates(c.centre_mm)}) within {coordinates(c.extent_mm, ' x ')} mm"
        for c in found.clusters
    )
    hint = (
        " Some end in the middle of another one (T-junctions): the faces beside them must be "
        "meshed together."
        if found.t_junctions
        else ""
    )
    edges = "edge bounds" if found.count == 1 else "edges bound"
    return (
        f"the mesh is open: {found.count} {edges} an odd number of triangles: {places}.{hint} "
        "Close the mesh before the check."
    )


def coordinates(values: NDArray[np.floating], between: str = ", ") -> str:
    """Write coordinates in mm for a message."""
    return between.join(f"{v:.3f}" for v in values)
