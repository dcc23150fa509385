"""The metal that an event adds: by areas of exact sections and exact volumes, no columns.

In: the predicted part and the nominal one. Out: mm3. What has only moved adds nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import pairwise
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from clearance.geometry.level_faces import level_faces
from clearance.geometry.planes import Plane
from clearance.geometry.sections import metal
from clearance.geometry.soup import Soup, extent, moved_shape
from clearance.predicted.part import Predicted
from clearance.predicted.slabs import Gate, Slab, rounded, slab_at, slabs

Floats = NDArray[np.float64]

NODES, WEIGHTS = np.polynomial.legendre.leggauss(3)
"""Exact up to the fifth power of the height; areas between heights of vertices have the second."""
MOST_STRETCHES = 48
"""Stretches of height in which areas are looked at, where there are more marks than that."""
ROUNDING_MM = 1e-9
"""Ends of stretches that lie closer are one."""


class Areas:
    """Areas of gates as they stand, and the volumes that several events share."""

    def __init__(self) -> None:
        self.volumes: dict[Any, float] = {}

    def gates_mm2(self, predicted: Predicted, gates: tuple[Gate, ...]) -> float:
        """Area of what some gates make metal."""
        return float(predicted.window.sheets.of(predicted.window.metal, gates).outline.area)

    def beside_mm2(self, predicted: Predicted, slab: Slab, z: float) -> float:
        """Area of a slab's gates where the part is not that stands there."""
        outline = predicted.stray_outline(slab)
        return float(shapely.difference(outline, _part(predicted, slab, z)).area)


def metal_added(predicted: Predicted, nominal: Predicted, areas: Areas | None = None) -> float:
    """Volume that the event adds, mm3; negative where metal is missing.

    The slabs of the predicted part are followed upward: a slice counts with its area, as far as
    the part is not there already; a stretch of the nominal part that stands there twice counts
    once, and one that was left out is taken off. So what is only shifted or lifted adds exactly 0.

    Both parts over the whole part's window. `areas`: kept by who asks for many events of one
    part.
    """
    areas = Areas() if areas is None else areas
    table = slabs(predicted.events, loose=True)
    slices = sum(_of_slices(predicted, slab, areas) for slab in table if slab.gates)
    return slices + _of_stretches(nominal, table, areas.volumes) + _of_mesh(predicted, table)


def _of_slices(predicted: Predicted, slab: Slab, areas: Areas) -> float:
    gates = tuple(dict.fromkeys(slab.gates))
    key: Any = gates
    known = areas.volumes
    if slab.lift is None:
        if key not in known:
            known[key] = areas.gates_mm2(predicted, gates)
        return known[key] * (slab.high - slab.low)
    key = (slab.low, slab.high, slab.lift, slab.shift, gates)
    if key not in known:
        known[key] = _integral(
            lambda z: areas.beside_mm2(predicted, slab, z),
            (slab.low, slab.high),
            np.empty(0),
        )
    return known[key]


def _part(predicted: Predicted, slab: Slab, z: float) -> Any:
    """Section of the part where it stands in a slab."""
    if slab.lift is None:
        return shapely.Polygon()
    section = predicted.window.metal("part", z - slab.lift)
    return moved_shape(section, rounded(slab.shift))


def _of_stretches(nominal: Predicted, table: Sequence[Slab], known: dict[Any, float]) -> float:
    """What of the nominal part stands there more than once, less what does not stand there."""
    low, high = (float(z) for z in nominal.window.bodies.bounds[:, 2])
    taken = [(s.low - s.lift, s.high - s.lift) for s in table if s.lift is not None]
    taken = [(max(a, low), min(b, high)) for a, b in taken]
    if (stood := tuple(taken)) in known:
        return known[stood]
    edges = np.unique([low, high, *(z for a, b in taken if a < b for z in (a, b))])
    total = 0.0
    for a, b in pairwise(edges.tolist()):
        count = sum(first <= a and b <= last for first, last in taken)
        if count != 1 and b - a > ROUNDING_MM:
            if (a, b) not in known:
                known[a, b] = _nominal_volume(nominal, a, b)
            total += (count - 1) * known[a, b]
    known[stood] = total
    return total


def _nominal_volume(nominal: Predicted, low: float, high: float) -> float:
    bodies = nominal.window.bodies
    if not bodies.overlapping:
        return volume_between(bodies.part, low, high)
    heights = bodies.part[:, :, 2].ravel().astype(np.float64)
    return _integral(lambda z: nominal.section(z).area, (low, high), heights)


def _of_mesh(predicted: Predicted, table: tuple[Slab, ...]) -> float:
    """Stray metal that is given as a mesh, where neither part nor slices are."""
    if predicted.added is None:
        return 0.0

    def bare(z: float) -> float:
        slab = slab_at(table, z, True)
        there = shapely.union(_part(predicted, slab, z), predicted.stray_outline(slab))
        # Not that of the window: measured metal may reach out of it.
        return float(shapely.difference(metal(mesh, Plane.level(z), overlapping=True), there).area)

    mesh = predicted.added
    low, high = (float(z) for z in extent(mesh)[:, 2])
    ends = [z for slab in table for z in (slab.low, slab.high)]
    levels = level_faces(predicted.window.bodies.part)
    own = mesh[:, :, 2].ravel()
    return _integral(bare, (low, high), np.concatenate([own, ends, levels]))


def _integral(area: Callable[[float], float], ends: tuple[float, float], marks: Floats) -> float:
    """Integral of an area over the height, which is smooth between the marks; mm3."""
    low, high = ends
    inside = np.unique(marks[(marks > low) & (marks < high)])
    if len(inside) > MOST_STRETCHES:
        inside = np.linspace(low, high, MOST_STRETCHES + 1)[1:-1]
    total = 0.0
    for a, b in pairwise([low, *inside.tolist(), high]):
        heights = 0.5 * (a + b) + 0.5 * (b - a) * NODES
        total += 0.5 * (b - a) * float(WEIGHTS @ [area(float(z)) for z in heights])
    return total


def volume_between(triangles: Soup, low: float, high: float) -> float:
    """Volume of a closed soup between two heights, mm3.

    Green's theorem in every section: the area is half the sum of p x q over the lines p to q in
    which triangles cross it, and each of these changes with the second power of the height between
    the triangle's vertices, so that Simpson's rule is exact.

    Parameters
    ----------
    triangles : (F, 3, 3) ndarray of float32, mm
        Facing outward; shells do not overlap.
    low, high : float, mm
    """
    z = triangles[:, :, 2]
    near = triangles[(z.max(axis=1) > low) & (z.min(axis=1) < high)].astype(np.float64)
    if not len(near):
        return 0.0
    near[:, :, :2] -= near[:, :, :2].reshape(-1, 2).mean(axis=0)
    normals = np.cross(near[:, 1] - near[:, 0], near[:, 2] - near[:, 0])
    rising = np.take_along_axis(near, near[:, :, 2].argsort(axis=1)[:, :, None], axis=1)
    pieces = [(rising[:, 0], rising[:, 1]), (rising[:, 1], rising[:, 2])]
    return sum(_piece(rising[:, 0], rising[:, 2], *edge, normals, low, high) for edge in pieces)


def _piece(
    foot: Floats, head: Floats, start: Floats, end: Floats, normals: Floats, low: float, high: float
) -> float:
    """Share of the triangles between two of their vertices, start and end.

    `foot` to `head` is the edge that goes all the way.
    """
    a, b = np.maximum(start[:, 2], low), np.minimum(end[:, 2], high)
    there = b > a
    foot, head, start, end, normals = (one[there] for one in (foot, head, start, end, normals))
    a, b = a[there], b[there]
    middle = 0.5 * (a + b)
    along = _at(start, end, middle) - _at(foot, head, middle)
    sign = np.sign(along[:, 1] * normals[:, 0] - along[:, 0] * normals[:, 1])
    total = 0.0
    for z, weight in ((a, 1.0), (middle, 4.0), (b, 1.0)):
        p, q = _at(foot, head, z), _at(start, end, z)
        area = 0.5 * sign * (p[:, 0] * q[:, 1] - p[:, 1] * q[:, 0])
        total += weight * float(((b - a) / 6.0 * area).sum())
    return total


def _at(one: Floats, other: Floats, z: Floats) -> Floats:
    """(N, 2) points of edges at heights (N,)."""
    share = (z - one[:, 2]) / (other[:, 2] - one[:, 2])
    return one[:, :2] + share[:, None] * (other[:, :2] - one[:, :2])
