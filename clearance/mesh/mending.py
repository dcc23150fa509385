"""Mending of meshes that are almost closed, where that needs no guess.

In: float32 triangles in mm. Out: the same, closed and consistently turned, with
notices of what was mended; or a `PartError`. Mended are triangles without area,
cracks narrower than 1e-4 mm, and triangles turned against their neighbours.
"""

import numpy as np
from numpy.typing import NDArray

from clearance.errors import PartError
from clearance.kernels.compiler import kernel
from clearance.kernels.pieces import pieces
from clearance.mesh.closedness import (
    CRACK_MM,
    Edges,
    Survey,
    Triangles,
    coordinates,
    describe,
    number_edges,
    open_message,
    survey,
    weld,
    without_needles,
)

_CRACK_STEPS_MM = (2.0e-6, 2.0e-5, CRACK_MM)  # the smallest that closes is taken


def close(triangles: Triangles, seen: Survey | None = None) -> tuple[Triangles, tuple[str, ...]]:
    """Return the mesh closed, mending what can be mended without guessing.

    Parameters
    ----------
    triangles : (F, 3, 3) ndarray of float32, mm
        Finite, C-contiguous, without -0.0.
    seen : Survey, optional
        Of these triangles, if it is at hand.

    Returns
    -------
    triangles : (G, 3, 3) ndarray of float32, mm
        The same array if nothing was amiss.
    notices : tuple of str
        What was mended: triangles without area dropped, cracks below 1e-4 mm
        closed, triangles turned.

    Raises
    ------
    PartError
        The mesh is open, or cannot be turned consistently.
    """
    seen = seen or survey(triangles)
    notices: list[str] = []
    if seen.needles:
        triangles = without_needles(triangles)
        notices.append(f"{seen.needles} triangles with two equal corners were dropped")
    if len(triangles) == 0:
        raise PartError("every triangle has two equal corners: the mesh holds no surface")
    if seen.balanced:
        return triangles, tuple(notices)
    vertices, ids = weld(triangles)
    edges = number_edges(ids, len(vertices))
    if edges.odd.any():
        triangles, ids, merged = _mend_cracks(triangles, vertices, ids, edges)
        notices.append(merged)
        edges = number_edges(ids, len(vertices))
    if not survey(triangles).balanced:
        triangles, turned = _turn_consistently(triangles, edges)
        notices.append(turned)
    return triangles, tuple(notices)


def _mend_cracks(
    triangles: Triangles, vertices: Triangles, ids: NDArray[np.int64], edges: Edges
) -> tuple[Triangles, NDArray[np.int64], str]:
    """Merge vertices of open edges that are almost equal, if that leaves no edge open."""
    from scipy.spatial import cKDTree

    rim = np.unique(edges.ends[edges.odd])
    points = vertices[rim].astype(np.float64)
    tree = cKDTree(points)
    for reach in _CRACK_STEPS_MM:
        near = tree.query_pairs(reach, output_type="ndarray")
        if len(near) == 0:
            continue
        group = pieces(near[:, 0], near[:, 1], len(rim))
        speaker = np.full(group.max() + 1, -1)
        speaker[group[::-1]] = np.arange(len(rim))[::-1]  # the first member of each group
        merged = np.arange(len(vertices))
        merged[rim] = rim[speaker[group]]
        new_ids = merged[ids]
        whole = (new_ids != np.roll(new_ids, 1, axis=1)).all(axis=1)
        new_ids = new_ids[whole]
        if len(new_ids) and not number_edges(new_ids, len(vertices)).odd.any():
            gap = np.linalg.norm(points[near[:, 0]] - points[near[:, 1]], axis=1).max()
            notice = (
                f"cracks were closed: {len(rim) - len(speaker)} vertices at most {gap:.1e} mm "
                "from another were merged with it"
            )
            return np.ascontiguousarray(vertices[new_ids]), new_ids, notice
    raise PartError(open_message(describe(vertices, edges)))


@kernel
def _turns(pairs, same, parent, parity):  # type: ignore[no-untyped-def]
    """Union-find over triangles that remembers whether each is turned against its root.

    Returns the number (from 0) of the first edge that contradicts, or -1.
    """
    for e in range(pairs.shape[0]):
        root = np.empty(2, np.int64)
        turn = np.empty(2, np.int64)
        for k in range(2):
            x = pairs[e, k]
            odd = np.int64(0)
            while parent[x] != x:
                up = parent[x]
                if parent[up] != up:  # halve the path
                    parity[x] ^= parity[up]
                    parent[x] = parent[up]
                odd ^= parity[x]
                x = parent[x]
            root[k], turn[k] = x, odd
        wanted = np.int64(1) if same[e] else np.int64(0)
        if root[0] == root[1]:
            if turn[0] ^ turn[1] != wanted:
                return e
        else:
            keep, join = min(root[0], root[1]), max(root[0], root[1])
            parent[join] = keep
            parity[join] = turn[0] ^ turn[1] ^ wanted
    for x in range(parent.shape[0]):  # parents come before children: one sweep flattens
        up = parent[x]
        if up != x:
            parity[x] ^= parity[up]
            parent[x] = parent[up]
    return -1


def _turn_consistently(triangles: Triangles, edges: Edges) -> tuple[Triangles, str]:
    """Turn the fewer triangles of each patch so that neighbours run opposite ways."""
    parent = np.arange(len(triangles))
    parity = np.zeros(len(triangles), np.int64)
    clash = _turns(edges.pairs, edges.same, parent, parity)
    if clash >= 0:
        centre = triangles[edges.pairs[clash, 0]].mean(axis=0)
        raise PartError(
            "the mesh has no inside: its triangles cannot be turned consistently "
            f"(a one-sided surface, seen at ({coordinates(centre)}))"
        )
    odd = np.bincount(parent, parity, len(triangles))
    size = np.bincount(parent, minlength=len(triangles))
    turn = (parity == 1) ^ (odd > size / 2)[parent]
    turned = turn_over(triangles, turn)
    if not survey(turned).balanced:
        raise PartError(
            "the mesh cannot be turned consistently: triangles that meet at edges of four or "
            "more do not pair up"
        )
    return turned, f"{int(turn.sum())} triangles faced against their neighbours and were turned"


@kernel
def _copy_turned(triangles, which, turned):  # type: ignore[no-untyped-def]
    for i in range(triangles.shape[0]):
        for k in range(3):
            source = 2 - k if which[i] else k
            for axis in range(3):
                turned[i, k, axis] = triangles[i, source, axis]


def turn_over(triangles: Triangles, which: NDArray[np.bool_]) -> Triangles:
    """Copy triangles, those of `which` (F,) with their corners in opposite order."""
    turned = np.empty_like(triangles)
    _copy_turned(triangles, which, turned)
    return turned
