"""Metal along straight beams in a plane: the least and the greatest over all directions.

In: metal as polygons, a point, a width. Out: lengths of metal and directions, exact to a bound
that is asked for. A beam is a whole line: what stands before the point and behind it counts.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from clearance.kernels.compiler import inner, kernel

Floats = NDArray[np.float64]

NEAR = 1e-12
"""Edges that point at the centre as exactly as this, mm2, add nothing; angles so close are one."""
INSIDE = 1e-6
"""How far within a stretch between two corners, as a share of it, its ends are looked at."""


@dataclass(frozen=True)
class Beam:
    """Metal along one line, mm, and the line's direction in the plane from +x, 0 to 180 deg."""

    metal_mm: float
    turn_deg: float


@dataclass(frozen=True)
class Beside:
    """The most metal along a line of a direction, mm, and how far it passes beside the centre."""

    metal_mm: float
    off_mm: float


def edges(shape: Any) -> Floats:
    """Edges (N, 2, 2) of polygons, their inside on the left.

    Parameters
    ----------
    shape : shapely geometry
        Polygons, perhaps several; lines and points in it are left out.

    Examples
    --------
    >>> edges(shapely.box(0.0, 0.0, 2.0, 1.0)).shape
    (4, 2, 2)
    """
    rings = []
    for part in shapely.get_parts(shape):
        if part.geom_type != "Polygon" or part.is_empty:
            continue
        turned = shapely.orient_polygons(part, exterior_cw=False)
        for ring in (turned.exterior, *turned.interiors):
            at = shapely.get_coordinates(ring)
            rings.append(np.stack([at[:-1], at[1:]], 1))
    return np.concatenate(rings) if rings else np.empty((0, 2, 2))


def least_and_greatest(
    outline: Floats, centre: Floats, within_mm: float = 0.02
) -> tuple[Beam, Beam]:
    """The lines through a point with the least and with the greatest length of metal.

    Parameters
    ----------
    outline : (N, 2, 2) ndarray, mm
        As `edges` gives it.
    centre : (2,) array_like, mm
    within_mm : float
        The lengths are no farther than this from the true least and greatest ones, over all
        directions. Where the length jumps, along a straight wall, the limit from the side with
        less (or more) metal counts.

    Notes
    -----
    Between two directions in which corners lie the line crosses the same edges, each at
    d / cos(turn - foot): a sum of convex terms, where it leaves metal, less convex terms, where
    it enters. Tangents below the first and chords above the second bound it from below, and
    halving is gone on with until the bound meets a length that was found.

    Examples
    --------
    >>> bar = edges(shapely.box(-20.0, -5.0, 20.0, 5.0))
    >>> least, greatest = least_and_greatest(bar, (0.0, 0.0), 1e-4)
    >>> round(least.metal_mm, 3), round(least.turn_deg), round(greatest.metal_mm, 3)
    (10.0, 90, 41.231)
    """
    at = np.ascontiguousarray(outline - np.asarray(centre, np.float64))
    # Sorted here: the compiler takes as long for a sort as for all the rest.
    first, last, turned, *lengths = _crossed(at)
    kept = np.flatnonzero(turned)
    entering = kept[np.argsort(first[kept], kind="stable")]
    leaving = kept[np.argsort(last[kept], kind="stable")]
    low, low_at = _least(first, last, turned, *lengths, entering, leaving, within_mm)
    high, high_at = _least(first, last, -turned, *lengths, entering, leaving, within_mm)
    least = Beam(max(low, 0.0), float(np.degrees(low_at)) % 180.0)
    return least, Beam(max(-high, 0.0), float(np.degrees(high_at)) % 180.0)


def most_beside(outline: Floats, centre: Floats, turn_deg: float, half_mm: float) -> Beside:
    """Of all parallel lines that pass within `half_mm` of a point the one with the most metal.

    The length of metal is linear between the corners that the lines sweep over, so the ends of
    these stretches tell it exactly.

    Parameters
    ----------
    outline : (N, 2, 2) ndarray, mm
    centre : (2,) array_like, mm
    turn_deg : float
        Direction of the lines from +x.
    half_mm : float
    """
    turn = np.radians(turn_deg)
    along, across = np.array([np.cos(turn), np.sin(turn)]), np.array([-np.sin(turn), np.cos(turn)])
    at = outline - np.asarray(centre, np.float64)
    off, run = at @ across, at @ along
    reach = (off.min(1) <= half_mm) & (off.max(1) >= -half_mm)
    off, run = np.ascontiguousarray(off[reach]), np.ascontiguousarray(run[reach])
    corners = off[(off > -half_mm) & (off < half_mm)]
    stops = np.unique(np.concatenate([[-half_mm, half_mm], corners]))
    step = INSIDE * np.diff(stops)
    lines = np.concatenate([stops[:-1] + step, stops[1:] - step, [0.0]])
    lengths = _along(off, run, lines)
    most = int(np.argmax(lengths))
    return Beside(max(float(lengths[most]), 0.0), float(lines[most]))


def extent(shape: Any, centre: Floats, turn_deg: float) -> float:
    """How far a figure reaches beside the line of a direction through a point, mm."""
    at = shapely.get_coordinates(shape) - np.asarray(centre, np.float64)
    if not len(at):
        return 0.0
    turn = np.radians(turn_deg)
    return float(np.abs(at @ np.array([-np.sin(turn), np.cos(turn)])).max())


@kernel
def _along(off, run, lines):  # type: ignore[no-untyped-def]
    """Metal along each of some parallel lines; edges by how far off and along their ends lie."""
    found = np.zeros(lines.shape[0])
    for n in range(lines.shape[0]):
        for e in range(off.shape[0]):
            a, b = off[e, 0], off[e, 1]
            if (a <= lines[n]) == (b <= lines[n]):
                continue
            at = run[e, 0] + (lines[n] - a) / (b - a) * (run[e, 1] - run[e, 0])
            found[n] += at if b > a else -at
    return found


@kernel
def _crossed(at):  # type: ignore[no-untyped-def]
    """Between which directions a line through the origin crosses each edge.

    And with which sign its length counts (0: it never does), the direction and the length of the
    perpendicular to it, how near and how far it lies.
    """
    count = at.shape[0]
    first, last, weight = np.empty(count), np.empty(count), np.zeros(count)
    foot, depth, near, far = np.empty(count), np.empty(count), np.empty(count), np.empty(count)
    for e in range(count):
        px, py, qx, qy = at[e, 0, 0], at[e, 0, 1], at[e, 1, 0], at[e, 1, 1]
        turning = px * qy - py * qx
        if abs(turning) < NEAR:
            continue
        a, b = np.arctan2(py, px) % np.pi, np.arctan2(qy, qx) % np.pi
        if turning < 0.0:
            a, b = b, a
        if a == b:
            continue
        weight[e] = 1.0 if turning > 0.0 else -1.0
        first[e], last[e] = a, b
        length = np.hypot(qx - px, qy - py)
        depth[e] = abs(turning) / length
        # Foot of the perpendicular: its direction, as a line's.
        foot[e] = np.arctan2((px - qx) * turning, (qy - py) * turning) % np.pi
        p, q = np.hypot(px, py), np.hypot(qx, qy)
        along = -(px * (qx - px) + py * (qy - py)) / length**2
        near[e] = depth[e] if 0.0 < along < 1.0 else min(p, q)
        far[e] = max(p, q)
    return first, last, weight, foot, depth, near, far


@kernel
def _least(  # type: ignore[no-untyped-def]
    first, last, weight, foot, depth, near, far, entering, leaving, within
):
    """Least of the weighted metal along lines through the origin, and its direction.

    Edges are kept in the order of the sweep: those that the line crosses now stand first.
    """
    count = first.shape[0]
    place, crossed = np.empty(count, np.int64), np.empty(count, np.int64)
    for e in range(count):
        place[e] = -1
    here = np.int64(0)
    for e in range(count):
        if weight[e] != 0.0 and first[e] > last[e]:  # over where the sweep begins
            crossed[here], place[e] = e, here
            here += 1
    best, best_at = np.inf, 0.0
    turn, i, j = 0.0, 0, 0
    stack = np.empty((64, 2))
    if entering.shape[0] == 0:
        return 0.0, 0.0
    while turn < np.pi:
        upto = np.pi
        if i < entering.shape[0]:
            upto = min(upto, first[entering[i]])
        if j < leaving.shape[0]:
            upto = min(upto, last[leaving[j]])
        if upto - turn > NEAR:
            stack[0, 0], stack[0, 1] = turn, upto
            depth_of_stack = 1
            while depth_of_stack > 0:
                depth_of_stack -= 1
                a, b = stack[depth_of_stack, 0], stack[depth_of_stack, 1]
                value, low_a, low_b = _bounds(crossed, here, weight, foot, depth, near, far, a, b)
                if value < best:
                    best, best_at = value, 0.5 * (a + b)
                if min(low_a, low_b) < best - within and b - a > NEAR and depth_of_stack < 62:
                    middle = 0.5 * (a + b)
                    stack[depth_of_stack, 0], stack[depth_of_stack, 1] = a, middle
                    stack[depth_of_stack + 1, 0], stack[depth_of_stack + 1, 1] = middle, b
                    depth_of_stack += 2
        turn = upto
        while j < leaving.shape[0] and last[leaving[j]] <= turn:
            e = leaving[j]
            j += 1
            if place[e] >= 0:
                here -= 1
                moved = crossed[here]
                crossed[place[e]], place[moved] = moved, place[e]
                place[e] = -1
        while i < entering.shape[0] and first[entering[i]] <= turn:
            e = entering[i]
            i += 1
            if place[e] < 0:
                crossed[here], place[e] = e, here
                here += 1
    return best, best_at


@inner
def _bounds(crossed, here, weight, foot, depth, near, far, a, b):  # type: ignore[no-untyped-def]
    """Length at the middle of a stretch of directions, and a bound from below at its ends."""
    value, low_a, low_b = 0.0, 0.0, 0.0
    middle, half = 0.5 * (a + b), 0.5 * (b - a)
    for k in range(here):
        e = crossed[k]
        d, lowest, highest = depth[e], near[e], far[e]
        c = max(abs(np.cos(middle - foot[e])), 1e-300)
        r = min(max(d / c, lowest), highest)
        value += weight[e] * r
        if weight[e] > 0.0:
            slope = r * np.tan(middle - foot[e])
            low_a += weight[e] * max(r - slope * half, 0.0)
            low_b += weight[e] * max(r + slope * half, 0.0)
        else:
            ra = min(max(d / max(abs(np.cos(a - foot[e])), 1e-300), lowest), highest)
            rb = min(max(d / max(abs(np.cos(b - foot[e])), 1e-300), lowest), highest)
            low_a += weight[e] * ra
            low_b += weight[e] * rb
    return value, low_a, low_b
