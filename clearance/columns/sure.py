"""What is surely metal: per square between columns and per strip between two of them.

In: a closed soup, its columns and a grid. Out: `Runs` over `Places`, the z intervals that are metal
all over a square or strip. Source: docs/method.md, "Blocked".
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from clearance.columns.cast import Columns, snapped
from clearance.columns.grid import UNIT_MM, Grid, snap_even, spanned
from clearance.columns.runs import Runs, intersect, subtract
from clearance.geometry.stretches import STRETCH, boxes_of, fixed
from clearance.kernels.clip import clipped_between
from clearance.kernels.compiler import inner, kernel
from clearance.kernels.growing import grown, grown_runs

X = np.int64(0)
SLACK = 1e-7
"""Squares are widened by this part of the pitch before triangles are clipped to them."""
MARGIN_MM = 2e-6
"""Clipped z ranges are widened by this, far more than their rounding error."""


@dataclass(frozen=True)
class Places:
    """Numbers of the squares and strips of a grid, in one row.

    Squares come first (square (i, j) has column (i, j) at its lower corner), then
    strips along x (from column (i, j) to (i + 1, j)), then strips along y.
    """

    grid: Grid

    @property
    def squares(self) -> int:
        """Number of squares."""
        return (self.grid.nx - 1) * (self.grid.ny - 1)

    @property
    def strips_x(self) -> int:
        """Number of strips along x."""
        return (self.grid.nx - 1) * self.grid.ny

    @property
    def count(self) -> int:
        """Number of places."""
        return self.squares + self.strips_x + self.grid.nx * (self.grid.ny - 1)

    def square_at(self, x_mm: float, y_mm: float) -> int:
        """Number of the square that holds a point in plan, clipped to the grid."""
        g = self.grid
        i = int(np.floor((x_mm / UNIT_MM - g.x0) / g.step))
        j = int(np.floor((y_mm / UNIT_MM - g.y0) / g.step))
        return min(max(i, 0), g.nx - 2) * (g.ny - 1) + min(max(j, 0), g.ny - 2)


def surely_metal(
    triangles: NDArray[np.float32],
    columns: Columns,
    shift_mm: tuple[float, float] = (0.0, 0.0),
    region: Runs | None = None,
) -> Runs:
    """Z intervals over which a whole closed square (or strip) is metal.

    Parameters
    ----------
    triangles : (F, 3, 3) ndarray of float32, mm
        The soup that `columns` was cast from; triangles outside the grid do no harm.
    columns : Columns
        Cast of the same soup with the same shift.
    region : Runs, optional
        Over the same columns: nothing is sure of a place outside the region of its
        lower corner, and triangles that do not meet it are spared.

    Returns
    -------
    Runs
        Over ``Places(columns.grid)``. Where no triangle touches the square times
        a z range, the winding number is that of its corner column throughout, so
        metal of the corner less the touched ranges is surely metal.
    """
    g = columns.grid
    shift = (snap_even(shift_mm[0]), snap_even(shift_mm[1]))
    metal = columns.metal
    if region is not None:
        triangles = meeting_region(triangles, region, g, shift_mm)
        metal = intersect(metal, region)
    place, z = _touched(fixed(triangles), g.x0, g.y0, g.step, g.nx, g.ny, *shift)
    return Runs(*_subtract(place, z, metal.start, metal.z, g.nx, g.ny))


def surely_outside(triangles: NDArray[np.float32], columns: Columns) -> Runs:
    """Z intervals over which a whole closed square (or strip) lies outside a closed soup.

    Parameters
    ----------
    triangles : (F, 3, 3) ndarray of float32, mm
        The soup that `columns` was cast from.
    columns : Columns

    Returns
    -------
    Runs
        Over ``Places(columns.grid)``, endless at both ends.
    """
    g, metal = columns.grid, columns.metal
    count = len(metal.start) - 1
    everywhere = Runs(np.arange(count + 1), np.tile([-np.inf, np.inf], (count, 1)))
    outside = subtract(everywhere, metal)
    place, z = _touched(fixed(triangles), g.x0, g.y0, g.step, g.nx, g.ny, 0, 0)
    return Runs(*_subtract(place, z, outside.start, outside.z, g.nx, g.ny))


def meeting_region(
    triangles: NDArray[np.float32],
    region: Runs,
    grid: Grid,
    shift_mm: tuple[float, float] = (0.0, 0.0),
) -> NDArray[np.float32]:
    """Triangles whose bounding box, a column wider, meets a region over a grid's columns."""
    cells = grid.cells(shift_mm)
    boxes = boxes_of(triangles)
    return triangles[_meeting_region(fixed(triangles), boxes, cells, region.start, region.z)]


@inner
def _meets_runs(t, cells, start, z):  # type: ignore[no-untyped-def]
    """Whether a triangle's bounding box, a little wider, meets intervals over columns."""
    i0, i1, j0, j1 = spanned(t, cells, 1e-2)
    low = min(t[0, 2], t[1, 2], t[2, 2]) - 1e-3
    high = max(t[0, 2], t[1, 2], t[2, 2]) + 1e-3
    for i in range(max(i0, 0), min(i1, cells.nx - 1) + 1):
        for j in range(max(j0, 0), min(j1, cells.ny - 1) + 1):
            c = i * cells.ny + j
            for r in range(start[c], start[c + 1]):
                if z[r, 0] <= high and z[r, 1] >= low:
                    return True
    return False


@kernel
def _meeting_region(triangles, boxes, cells, start, z):  # type: ignore[no-untyped-def]
    index = np.empty(triangles.shape[0], np.int64)
    n = 0
    left, front, size = cells.left, cells.front, cells.size
    right, back = left + cells.nx * size, front + cells.ny * size
    for s in range(boxes.shape[0]):
        beside = boxes[s, 0] > right + size or boxes[s, 3] < left - size
        if beside or boxes[s, 1] > back + size or boxes[s, 4] < front - size:
            continue
        for f in range(s * STRETCH, min((s + 1) * STRETCH, triangles.shape[0])):
            if _meets_runs(triangles[f], cells, start, z):
                index[n] = f
                n += 1
    return index[:n].copy()


@inner
def _push(place, z, n, number, low, high, margin):  # type: ignore[no-untyped-def]
    if n == place.shape[0]:
        place, z = grown(place, 2 * n), grown_runs(z)
    place[n] = number
    z[n, 0] = low - margin
    z[n, 1] = high + margin
    return place, z, n + 1


@inner
def _reach_of(poly, n):  # type: ignore[no-untyped-def]
    """From which y to which an n-gon goes."""
    low, high = np.inf, -np.inf
    for a in range(n):
        low = min(low, poly[a, 1])
        high = max(high, poly[a, 1])
    return low, high


@inner
def _heights_by_bands(poly, n, first, count, width, found):  # type: ignore[no-untyped-def]
    """Z range of a convex n-gon in each band first + k .. first + k + width of y, widened.

    Its least and greatest z in a band lie at corners within it or where edges cross its bounds.
    """
    for k in range(count):
        found[k, 0], found[k, 1] = np.inf, -np.inf
    for a in range(n):
        b = a + 1 if a + 1 < n else 0
        if poly[b, 1] < poly[a, 1]:
            near, far = b, a
        else:
            near, far = a, b
        y0, z0, y1, z1 = poly[near, 1], poly[near, 2], poly[far, 1], poly[far, 2]
        k0 = max(0, int(np.ceil(y0 - SLACK - width)) - first)
        k1 = min(count - 1, int(np.floor(y1 + SLACK)) - first)
        for k in range(k0, k1 + 1):
            low, high = first + k - SLACK, first + k + width + SLACK
            if y0 > high or y1 < low:
                continue
            at_low = z0 if y0 >= low else z0 + (low - y0) / (y1 - y0) * (z1 - z0)
            at_high = z1 if y1 <= high else z0 + (high - y0) / (y1 - y0) * (z1 - z0)
            found[k, 0] = min(found[k, 0], at_low, at_high)
            found[k, 1] = max(found[k, 1], at_low, at_high)


@inner
def _push_bands(  # type: ignore[no-untyped-def]
    place, z, n, poly, corners, last, width, number, margin, found
):
    """Add the z range in each band of y that an n-gon reaches, of those that end at `last`."""
    if corners == 0:
        return place, z, n
    y0, y1 = _reach_of(poly, corners)
    if width == 0.0:  # a line counts where the n-gon itself comes to it
        first, beyond = max(0, int(np.ceil(y0))), min(last, int(np.floor(y1)))
    else:
        first = max(0, int(np.floor(y0 - SLACK)))
        beyond = min(last, int(np.floor(y1 + SLACK)))
    _heights_by_bands(poly, corners, first, beyond - first + 1, width, found)
    for k in range(beyond - first + 1):
        if found[k, 0] <= found[k, 1]:
            place, z, n = _push(place, z, n, number + first + k, found[k, 0], found[k, 1], margin)
    return place, z, n


@kernel
def _touched(triangles, x0, y0, step, nx, ny, shift_x, shift_y):  # type: ignore[no-untyped-def]
    """Place number and z range of every triangle clipped to every place it touches."""
    squares = (nx - 1) * (ny - 1)
    strips_x = (nx - 1) * ny
    place = np.empty(max(1024, triangles.shape[0]), np.int64)
    z = np.empty((place.shape[0], 2), np.float64)
    n = np.int64(0)
    tri = np.empty((3, 3), np.float64)
    corners = tri.shape[0]
    p = np.empty((12, 3), np.float64)
    q = np.empty((12, 3), np.float64)
    found = np.empty((ny + 1, 2), np.float64)
    for f in range(triangles.shape[0]):
        for v in range(3):
            tri[v, 0] = (snapped(triangles[f, v, 0], shift_x) - x0) / step
            tri[v, 1] = (snapped(triangles[f, v, 1], shift_y) - y0) / step
            tri[v, 2] = triangles[f, v, 2]
        u0 = min(tri[0, 0], tri[1, 0], tri[2, 0])
        u1 = max(tri[0, 0], tri[1, 0], tri[2, 0])
        v0, v1 = _reach_of(tri, corners)
        if u1 < 0 or v1 < 0 or u0 > nx - 1 or v0 > ny - 1:
            continue
        for i in range(
            max(0, int(np.floor(u0 - SLACK))), min(nx - 1, int(np.floor(u1 + SLACK))) + 1
        ):
            if u0 <= i <= u1:  # plane x = i: strips along y
                m = clipped_between(tri, corners, X, i - SLACK, i + SLACK, p, q)
                number = squares + strips_x + i * (ny - 1)
                place, z, n = _push_bands(place, z, n, q, m, ny - 2, 1.0, number, MARGIN_MM, found)
            if i == nx - 1:
                continue
            m = clipped_between(tri, corners, X, i - SLACK, i + 1 + SLACK, p, q)
            # Lines y = j: strips along x. Between them: squares.
            number = squares + i * ny
            place, z, n = _push_bands(place, z, n, q, m, ny - 1, 0.0, number, MARGIN_MM, found)
            number = i * (ny - 1)
            place, z, n = _push_bands(place, z, n, q, m, ny - 2, 1.0, number, 2 * MARGIN_MM, found)
    return place[:n], z[:n]


@inner
def _sort_by_low(z, low, high):  # type: ignore[no-untyped-def]
    for a in range(low + 1, high):
        z0, z1 = z[a, 0], z[a, 1]
        b = a - 1
        while b >= low and z[b, 0] > z0:
            z[b + 1, 0], z[b + 1, 1] = z[b, 0], z[b, 1]
            b -= 1
        z[b + 1, 0], z[b + 1, 1] = z0, z1


@kernel
def _subtract(place, touched, start, z, nx, ny):  # type: ignore[no-untyped-def]
    """Metal of each place's corner column less the ranges that triangles touch."""
    squares = (nx - 1) * (ny - 1)
    strips_x = (nx - 1) * ny
    count = squares + strips_x + nx * (ny - 1)
    first = np.zeros(count + 1, np.int64)
    for n in range(place.shape[0]):
        first[place[n] + 1] += 1
    for c in range(count):
        first[c + 1] += first[c]
    t = np.empty_like(touched)
    fill = first[:-1].copy()
    for n in range(place.shape[0]):
        at = fill[place[n]]
        t[at, 0], t[at, 1] = touched[n, 0], touched[n, 1]
        fill[place[n]] += 1
    out_start = np.zeros(count + 1, np.int64)
    out = np.empty((3 * z.shape[0] + touched.shape[0] + 1, 2), np.float64)
    n = 0
    for c in range(count):
        if c < squares:
            column = (c // (ny - 1)) * ny + c % (ny - 1)
        elif c < squares + strips_x:
            column = c - squares
        else:
            d = c - squares - strips_x
            column = (d // (ny - 1)) * ny + d % (ny - 1)
        _sort_by_low(t, first[c], first[c + 1])
        b = first[c]
        for a in range(start[column], start[column + 1]):
            low, high = z[a, 0], z[a, 1]
            while b < first[c + 1] and t[b, 0] < high:
                if t[b, 0] > low:
                    out[n, 0], out[n, 1] = low, t[b, 0]
                    n += 1
                low = max(low, t[b, 1])
                if t[b, 1] > high:
                    break  # it may reach into the next run as well
                b += 1
            if low < high:
                out[n, 0], out[n, 1] = low, high
                n += 1
        out_start[c + 1] = n
    return out_start, out[:n].copy()
