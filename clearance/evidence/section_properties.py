"""Stiffness of a section: metal area, second moments, torsion constant.

In: the metal of a level section as polygons, mm. Out: numbers for whoever judges
the joint at the resumed height; they are not judged here. Area and moments are
exact for the polygons; the torsion constant comes from the stress function on a
grid whose links end exactly where the outline cuts them.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from clearance.result import SectionProperties

if TYPE_CHECKING:
    from scipy.sparse import csr_array

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

MOST_CELLS = 120_000
"""Cells of metal in one torsion grid: below 0.1 % on compact sections, a second or two."""
FIRST_CELLS, FINEST_CELLS, FINER = 2_500, 160_000, 4
"""Cells of the first grid, of the last at most, and how many times more from grid to grid."""
SETTLED = 0.005
"""A grid is fine enough once it changes the torsion constant by no more than this share."""
ROUNDING = 1e-12
"""Share of the second moments that a product moment has from rounding alone."""
PROMISED = 0.001
"""Share of the torsion constant below which its uncertainty is never given."""
SHORTEST_LINK = 1e-3
"""Of the pitch: a link to an outline that is nearer counts as so long."""


def resumed_section(polygons: Any) -> SectionProperties:
    """Section properties of the metal at one height.

    Parameters
    ----------
    polygons : shapely Polygon or MultiPolygon
        Metal, valid, mm; x and y are the part's.

    Returns
    -------
    SectionProperties
        A dict: "metal_area_mm2"; "centre_x_mm" and "centre_y_mm", the centroid; "Ixx_mm4",
        "Iyy_mm4" and "Ixy_mm4", the integrals of y**2, x**2 and x y about it; "J_mm4" and
        "J_uncertainty_mm4" as from `settled_torsion`. All 0.0 for an empty section.

    Notes
    -----
    Pieces that hang together only above or below this height are taken as twisted
    together but sheared apart: their torsion constants add up (the low end).

    Examples
    --------
    >>> from shapely import box
    >>> found = resumed_section(box(0.0, 0.0, 2.0, 1.0))
    >>> [round(found[key], 4) for key in ("metal_area_mm2", "Ixx_mm4", "Iyy_mm4")]
    [2.0, 0.1667, 0.6667]
    """
    area, centre, (ixx, iyy, ixy) = _moments(_rings(polygons))
    torsion, uncertainty = settled_torsion(polygons)
    return {
        "metal_area_mm2": area,
        "centre_x_mm": float(centre[0]),
        "centre_y_mm": float(centre[1]),
        "Ixx_mm4": ixx,
        "Iyy_mm4": iyy,
        "Ixy_mm4": ixy,
        "J_mm4": torsion,
        "J_uncertainty_mm4": uncertainty,
    }


@lru_cache(maxsize=64)  # parts of a plate, and events at one height, share their sections
def settled_torsion(polygons: Any) -> tuple[float, float]:
    """Torsion constant from grids made finer until it changes little, and how little, mm4.

    Parameters
    ----------
    polygons : shapely Polygon or MultiPolygon
        Valid, mm.

    Notes
    -----
    The scheme is of second order: a third of the change from one grid to the next, four times
    finer, is added. The uncertainty is that change or, once there are three grids, the change
    of the value so corrected if it is smaller; below a thousandth nothing is promised. A section
    of very many thin walls may not settle before `FINEST_CELLS`: then the uncertainty says so.
    """
    cells = FIRST_CELLS
    found, best, uncertainty = torsion_constant(polygons, cells), math.nan, math.inf
    while cells * FINER <= FINEST_CELLS and not uncertainty <= SETTLED * best:
        cells *= FINER
        last, found = found, torsion_constant(polygons, cells)
        corrected = found + (found - last) / (FINER - 1.0)
        uncertainty = abs(found - last)
        if not math.isnan(best):
            uncertainty = min(uncertainty, abs(corrected - best))
        best = corrected
    value = found if math.isnan(best) else best
    return value, max(uncertainty, PROMISED * value)


def torsion_constant(polygons: Any, most_cells: int = MOST_CELLS) -> float:
    """Saint-Venant torsion constant of a section, mm4.

    Parameters
    ----------
    polygons : shapely Polygon or MultiPolygon
        Valid, mm.
    most_cells : int
        About so many cells of metal; their size follows from the area.

    Notes
    -----
    Prandtl's stress function p: -laplace p = 2 in the metal, 0 on each outer
    outline, one unknown value on each hole, whose flux balances 2 times the
    hole's area; J = 2 (integral of p + sum of p A over the holes). Five-point
    scheme with the links cut at the outline; symmetric, of second order.
    """
    rings = _rings(polygons)
    area = sum(_ring_area(ring) for ring, _ in rings)
    if area <= 0.0:
        return 0.0
    pitch = float(np.sqrt(area / most_cells))
    links = _links(rings, pitch)
    if links.cells == 0:
        return 0.0
    from scipy.sparse.linalg import splu

    matrix, load = _system(rings, links, pitch)
    factors = splu(
        matrix.tocsc(),
        permc_spec="MMD_AT_PLUS_A",
        diag_pivot_thresh=0.0,
        options={"SymmetricMode": True},
    )
    return float(load @ factors.solve(load))


# ---- outlines --------------------------------------------------------------------------------


def _rings(polygons: Any) -> list[tuple[Floats, bool]]:
    """Outlines (N, 2) with whether each is a hole: outer ones turn left, holes right."""
    import shapely

    found: list[tuple[Floats, bool]] = []
    for polygon in shapely.get_parts(shapely.orient_polygons(polygons)):
        if polygon.is_empty or polygon.geom_type != "Polygon":
            continue
        found.append((shapely.get_coordinates(polygon.exterior)[:-1], False))
        found += [(shapely.get_coordinates(ring)[:-1], True) for ring in polygon.interiors]
    return found


def _ring_area(ring: Floats) -> float:
    x, y = (ring - ring[0]).T
    return float(0.5 * np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))


def _moments(
    rings: list[tuple[Floats, bool]],
) -> tuple[float, Floats, tuple[float, float, float]]:
    """Area, centroid (2,), and integrals of y**2, x**2 and x y about it; exact."""
    if not rings:
        return 0.0, np.zeros(2), (0.0, 0.0, 0.0)
    origin = rings[0][0].mean(axis=0)  # near the section: far from it digits would be lost
    a = np.concatenate([ring for ring, _ in rings]) - origin
    b = np.concatenate([np.roll(ring, -1, axis=0) for ring, _ in rings]) - origin
    cross = a[:, 0] * b[:, 1] - b[:, 0] * a[:, 1]
    area = float(0.5 * cross.sum())
    first = ((a + b) * cross[:, None]).sum(axis=0) / 6.0
    second = ((a * a + a * b + b * b) * cross[:, None]).sum(axis=0) / 12.0
    xa, ya, xb, yb = a[:, 0], a[:, 1], b[:, 0], b[:, 1]
    product = float(((2.0 * (xa * ya + xb * yb) + xa * yb + xb * ya) * cross).sum() / 24.0)
    centre = first / area
    about = second - area * centre**2
    mixed = product - area * float(centre[0] * centre[1])
    if abs(mixed) < ROUNDING * float(about.sum()):
        mixed = 0.0
    return area, centre + origin, (float(about[1]), float(about[0]), mixed)


# ---- the grid --------------------------------------------------------------------------------


class _Links(NamedTuple):
    """Cells of metal and what lies beside them.

    `inner` (L, 2) pairs of neighbouring cells; `cell`, `ring`, `share` (B,) links that end on
    an outline: which cell, which outline, and after what share of the pitch.
    """

    cells: int
    inner: Ints
    cell: Ints
    ring: Ints
    share: Floats


class _Cuts(NamedTuple):
    """Where lines of the grid cut outlines: `start` (lines + 1,) into `at` and `ring`."""

    start: Ints
    at: Floats
    ring: Ints


def _cuts(rings: list[tuple[Floats, bool]], axis: int, lines: int) -> _Cuts:
    """Cut the outlines by the lines other = 0, 1, ... along an axis, in units of the grid."""
    a = np.concatenate([ring for ring, _ in rings])
    b = np.concatenate([np.roll(ring, -1, axis=0) for ring, _ in rings])
    ring = np.repeat(np.arange(len(rings)), [len(one) for one, _ in rings])
    low = np.minimum(a[:, 1 - axis], b[:, 1 - axis])
    high = np.maximum(a[:, 1 - axis], b[:, 1 - axis])
    first = np.ceil(low).astype(np.int64)
    count = np.maximum(np.ceil(high).astype(np.int64) - first, 0)  # low <= line < high
    edge = np.repeat(np.arange(len(a)), count)
    line = first[edge] + np.arange(len(edge)) - np.repeat(np.cumsum(count) - count, count)
    share = (line - a[edge, 1 - axis]) / (b[edge, 1 - axis] - a[edge, 1 - axis])
    at = a[edge, axis] + share * (b[edge, axis] - a[edge, axis])
    order = np.lexsort((at, line))
    start = np.searchsorted(line[order], np.arange(lines + 1))
    return _Cuts(start, at[order], ring[edge][order])


def _links(rings: list[tuple[Floats, bool]], pitch: float) -> _Links:
    points = np.concatenate([ring for ring, _ in rings])
    # An odd part of the pitch, so that no centre lies on an outline drawn on round numbers.
    origin = points.min(axis=0) - 0.4142 * pitch
    scaled = [((ring - origin) / pitch, hole) for ring, hole in rings]
    nx, ny = np.ceil((points.max(axis=0) - origin) / pitch).astype(np.int64) + 1
    rows, columns = _cuts(scaled, 0, ny), _cuts(scaled, 1, nx)
    parity = np.zeros((ny, nx + 1), np.int64)
    line = np.repeat(np.arange(ny), np.diff(rows.start))
    np.add.at(parity, (line, np.ceil(rows.at).astype(np.int64)), 1)
    metal = np.cumsum(parity, axis=1)[:, :nx] % 2 == 1
    y, x = np.nonzero(metal)
    number = np.full((ny, nx), -1, np.int64)
    number[y, x] = np.arange(len(x))
    parts = [
        _along(rows, y, x, number),
        _along(columns, x, y, number.T),
    ]
    inner, cell, ring, share = (np.concatenate([part[k] for part in parts]) for k in range(4))
    return _Links(len(x), inner, cell, ring, np.maximum(share, SHORTEST_LINK))


def _along(cuts: _Cuts, line: Ints, at: Ints, number: Ints) -> tuple[Ints, Ints, Ints, Floats]:
    """Links of the metal cells along one axis: inner pairs, then cell, outline and share."""
    # Lines one after the other, far enough apart that a single sorted row can be searched.
    stride = 2.0 * (number.shape[1] + 2)
    lines = np.repeat(np.arange(len(cuts.start) - 1), np.diff(cuts.start))
    row = cuts.at + stride * lines
    after = np.clip(np.searchsorted(row, at + stride * line, side="right"), 1, len(row) - 1)
    to_next = row[after] - (at + stride * line)
    to_last = (at + stride * line) - row[after - 1]
    here = number[line, at]
    beside = number[line, np.minimum(at + 1, number.shape[1] - 1)]
    joined = (to_next > 1.0) & (beside >= 0)
    inner = np.stack([here[joined], beside[joined]], axis=1)
    ends, begins = to_next <= 1.0, to_last < 1.0
    return (
        inner,
        np.concatenate([here[ends], here[begins]]),
        np.concatenate([cuts.ring[after[ends]], cuts.ring[after[begins] - 1]]),
        np.concatenate([to_next[ends], to_last[begins]]),
    )


def _system(
    rings: list[tuple[Floats, bool]], links: _Links, pitch: float
) -> tuple[csr_array, Floats]:
    """Matrix and load: metal cells first, then one unknown for each hole that cells touch."""
    from scipy.sparse import coo_array

    hole = np.array([is_hole for _, is_hole in rings])
    met = np.unique(links.ring[hole[links.ring]])
    unknown = np.full(len(rings), -1, np.int64)
    unknown[met] = links.cells + np.arange(len(met))
    size = links.cells + len(met)
    other = unknown[links.ring]
    weight = 1.0 / links.share
    a = np.concatenate([links.inner[:, 0], links.cell[other >= 0]])
    b = np.concatenate([links.inner[:, 1], other[other >= 0]])
    w = np.concatenate([np.ones(len(links.inner)), weight[other >= 0]])
    diagonal = np.bincount(a, w, size) + np.bincount(b, w, size)
    diagonal += np.bincount(links.cell[other < 0], weight[other < 0], size)
    loose = diagonal == 0.0
    diagonal[loose] = 1.0
    every = np.arange(size)
    matrix = coo_array(
        (
            np.concatenate([diagonal, -w, -w]),
            (np.concatenate([every, a, b]), np.concatenate([every, b, a])),
        ),
        shape=(size, size),
    ).tocsr()
    areas = [-_ring_area(rings[k][0]) for k in met]
    # A cell reaches to the outline, not half a pitch: then cells and holes fill the section.
    reach = 1.0 + 0.5 * np.bincount(links.cell, links.share - 0.5, links.cells)
    load = 2.0 * np.concatenate([pitch**2 * reach, areas])
    load[loose] = 0.0
    return matrix, load
