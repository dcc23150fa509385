"""Stoppers: what shuts a mouth for columns, and what of the possible void lies behind one.

In: a mouth, the pitch of a grid, the possible void. Out: prisms, and pieces of the void.
Source: docs/method.md, on stoppers.
"""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache

import numpy as np
import shapely
from numpy.typing import NDArray

from clearance.columns.grid import Grid
from clearance.columns.possible import PossibleVoid
from clearance.ports.mouth import Mouth
from clearance.ports.plug import plug

LEVEL = 0.2
"""Share of a mouth's normal along z from which its height over a square is told from its plane."""
LID_MM = 0.02
"""How far a lid for exact sections stands over a mouth's rim, and out of it."""
BESIDE_MM = 1e-4
"""How far beside a square a mouth is still looked at over it."""

Floats = NDArray[np.float64]


def sunk_mm(mouth: Mouth, pitch_mm: float) -> float:
    """How far inward of the closing surface a stopper begins.

    An upright outer face touches squares over its whole height. A stopper has to
    hold such squares whole, or the possible void creeps out along the face. So it does over a rim
    from which the outer face falls away: the stopper has to begin below the face where the squares
    that meet the rim end.
    """
    return 1.5 * pitch_mm * (float(np.hypot(*mouth.plane.normal[:2])) + mouth.fall)


@lru_cache(maxsize=512)
def stopper(mouth: Mouth, pitch_mm: float, sunk: bool = True) -> NDArray[np.float32]:
    """A closed prism that shuts a mouth for a grid of a pitch, (T, 3, 3) mm.

    Not `sunk`, it stands on the closing surface itself, hardly wider and thin: enough for exact
    sections, and no farther in what lies beside the mouth than need be.
    """
    if not sunk:
        return plug(mouth, LID_MM, LID_MM)
    depth = sunk_mm(mouth, pitch_mm)
    plane = replace(mouth.plane, origin=mouth.plane.origin - depth * mouth.plane.normal)
    return plug(replace(mouth, plane=plane), 3.0 * pitch_mm, 4.0 * pitch_mm + depth)


def layer_mm(mouth: Mouth, pitch_mm: float) -> tuple[float, float]:
    """From where to where the layer just behind a stopper lies, inward of it, mm."""
    first = min(0.5 * pitch_mm, 0.25 * mouth.inscribed_radius)
    return 0.5 * first, first


def seeds(mouth: Mouth, pitch_mm: float) -> Floats:
    """Points just inside the stopper of a mouth and all over it, (N, 3) mm; the deepest first."""
    sunk = sunk_mm(mouth, pitch_mm)
    _, first = layer_mm(mouth, pitch_mm)
    xy = np.concatenate([mouth.plane.to_plane(mouth.deepest[None]), _spread(mouth)])
    on_plane = mouth.plane.to_space(xy)
    depths = sunk + np.array([first, 2.0 * first, 4.0 * first])
    return np.concatenate([on_plane - depth * mouth.plane.normal for depth in depths])


def grown_by(pieces: set[int], groups: list[set[int]]) -> set[int]:
    """Pieces and all that groups which hold one of them lead to."""
    grown = True
    while grown:
        more = set[int]().union(*(group for group in groups if group & pieces)) - pieces
        pieces, grown = pieces | more, bool(more)
    return pieces


def _spread(mouth: Mouth) -> Floats:
    """Points of a closing surface, a fifth of its inscribed radius apart, (N, 2) mm."""
    step = 0.2 * mouth.inscribed_radius
    inner = mouth.polygon.buffer(-0.5 * step)
    x0, y0, x1, y1 = mouth.polygon.bounds
    x, y = (a.ravel() for a in np.meshgrid(np.arange(x0, x1, step), np.arange(y0, y1, step)))
    inside = shapely.contains_xy(inner, x, y)
    return np.stack([x[inside], y[inside]], axis=1)


def pieces_at(void: PossibleVoid, mouth: Mouth, pitch_mm: float) -> set[int]:
    """Pieces of the possible void behind a mouth: several if a sheet divides it.

    All possible void is taken that meets a thin layer just inside the stopper, square
    by square, so that no sliver of a mouth is missed.
    """
    squares, low, high = layer_behind(void.places.grid, mouth, pitch_mm)
    return void.pieces_over(squares, low, high)


@lru_cache(maxsize=256)
def layer_behind(
    grid: Grid, mouth: Mouth, pitch_mm: float
) -> tuple[NDArray[np.int64], Floats, Floats]:
    """Squares that the layer just inside a mouth's stopper meets, and its z range in each."""
    sunk = sunk_mm(mouth, pitch_mm)
    normal = mouth.plane.normal
    ring = mouth.rim
    layers = [ring - (sunk + depth) * normal for depth in layer_mm(mouth, pitch_mm)]
    points = np.concatenate(layers)
    outline = shapely.MultiPoint(points[:, :2]).convex_hull
    i0, j0 = (int(n) for n in np.floor(_in_steps(grid, points.min(0))))
    i1, j1 = (int(n) for n in np.floor(_in_steps(grid, points.max(0))))
    if i1 < 0 or j1 < 0 or i0 > grid.nx - 2 or j0 > grid.ny - 2:
        return np.empty(0, np.int64), np.empty(0), np.empty(0)  # beyond the window
    i, j = (
        a.ravel()
        for a in np.mgrid[
            max(i0, 0) : min(i1, grid.nx - 2) + 1, max(j0, 0) : min(j1, grid.ny - 2) + 1
        ]
    )
    boxes = shapely.box(grid.x_mm(i), grid.y_mm(j), grid.x_mm(i + 1), grid.y_mm(j + 1))
    meets = shapely.intersects(outline, boxes)
    i, j = i[meets], j[meets]
    if abs(normal[2]) <= LEVEL:
        low, high = _heights_aside(layers, normal, grid, i, j)
        return i * (grid.ny - 1) + j, low, high
    low = np.full(len(i), points[:, 2].min())
    high = np.full(len(i), points[:, 2].max())
    corners = np.stack(
        [_height(layers, normal, grid, i + a, j + b) for a in (0, 1) for b in (0, 1)]
    )
    low = np.maximum(low, corners.min(axis=(0, 1)))
    high = np.minimum(high, corners.max(axis=(0, 1)))
    return i * (grid.ny - 1) + j, low, high


def _in_steps(grid: Grid, at: Floats) -> Floats:
    """Place in plan, in columns from the grid's first."""
    return (at[:2] - [float(grid.x_mm(0)), float(grid.y_mm(0))]) / grid.pitch_mm


def _height(
    layers: list[Floats], normal: Floats, grid: Grid, i: NDArray[np.int64], j: NDArray[np.int64]
) -> Floats:
    """Heights of the layers' planes over columns, (2, N) mm."""
    x, y = grid.x_mm(i), grid.y_mm(j)
    return np.stack(
        [
            ring[0, 2] - ((x - ring[0, 0]) * normal[0] + (y - ring[0, 1]) * normal[1]) / normal[2]
            for ring in layers
        ]
    )


def _heights_aside(
    layers: list[Floats], normal: Floats, grid: Grid, i: NDArray[np.int64], j: NDArray[np.int64]
) -> tuple[Floats, Floats]:
    """Least and greatest height of an upright mouth's layers over squares, (N,) and (N,) mm.

    The mouth is cut by upright lines where the squares begin and end along it: a square at
    a round mouth's side must not be looked at over the height of its middle, where it may
    hold another void.
    """
    aside = np.array([-normal[1], normal[0]]) / np.hypot(normal[0], normal[1])
    corners = np.stack(
        [grid.x_mm(i + a) * aside[0] + grid.y_mm(j + b) * aside[1] for a in (0, 1) for b in (0, 1)]
    )
    begin, end = corners.min(0)[:, None] - BESIDE_MM, corners.max(0)[:, None] + BESIDE_MM
    low, high = np.full(len(i), np.inf), np.full(len(i), -np.inf)
    for ring in layers:
        at, z = ring[:, :2] @ aside, ring[:, 2]
        a, b, za, zb = at[:-1], at[1:], z[:-1], z[1:]
        run = np.where(np.abs(b - a) > 1e-12, b - a, 1.0)
        met = (np.minimum(a, b) <= end) & (np.maximum(a, b) >= begin)
        for bound in (begin, end, a, b):
            share = np.clip((np.clip(bound, begin, end) - a) / run, 0.0, 1.0)
            heights = za + share * (zb - za)
            low = np.minimum(low, np.where(met, heights, np.inf).min(1))
            high = np.maximum(high, np.where(met, heights, -np.inf).max(1))
    return low, high
