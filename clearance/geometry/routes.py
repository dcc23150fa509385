"""A route pushed to where there is more room.

In: a `box_tree.Tree` and a polyline. Out: a polyline whose certified clearance is no less.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike

from clearance.geometry import polylines
from clearance.geometry.box_tree import Tree
from clearance.geometry.distance import (
    as_points,
    nearest_triangle,
    nearest_triangle_from,
)
from clearance.geometry.segments import certified_clearance
from clearance.kernels.compiler import inner, kernel
from clearance.kernels.rows import least
from clearance.kernels.vectors import (
    Array,
    Floats,
    Vector,
    ahead,
    aside,
    cross,
    dot,
    gap_squared,
    minus,
    put,
    row,
    unit,
)

PASSES = 4  # most times that `widen` resamples a route
FINE_ENOUGH = 0.997  # `widen` halves its spacing if a route has less of its vertices' room


class Moving(NamedTuple):
    """A route whose vertices are moved, in place.

    Attributes
    ----------
    tree : Tree
    route : (N, 3) ndarray, mm
    room, face, foot : (N,), (N,) and (N, 3) ndarray
        Distance of each vertex to the soup, the triangle that is nearest, and where on it.
    spacing : float, mm
    nodes, gaps : ndarray
        Room for searches.
    """

    tree: Tree
    route: Array
    room: Array
    face: Array
    foot: Array
    spacing: float
    nodes: Array
    gaps: Array


def _moving(tree: Tree, route: Floats, spacing: float) -> Moving:
    count = len(route)
    room, face, foot = np.empty(count), np.empty(count, np.int64), np.empty((count, 3))
    return Moving(tree, route, room, face, foot, spacing, np.empty(64, np.int64), np.empty(64))


@inner
def _moved(to: Moving, n: int, p: Vector, least: float) -> bool:
    """Put a vertex at p if it has more than some room there, and keeps near its neighbours."""
    if not _may_move(to.route, n, p, to.spacing):
        return False
    d2, f, q = nearest_triangle_from(to.tree, p, to.face[n], least * least, to.nodes, to.gaps)
    if d2 <= least * least or f < 0:
        return False
    put(to.route, n, p)
    put(to.foot, n, q)
    to.room[n], to.face[n] = math.sqrt(d2), f
    return True


@inner
def _may_move(route: Array, n: int, p: Vector, spacing: float) -> bool:
    """Whether a vertex put at p stays within two spacings of both neighbours, or comes nearer."""
    for other in (n - 1, n + 1):
        if 0 <= other < route.shape[0]:
            q = row(route, other)
            if gap_squared(p, q) > max(4.0 * spacing * spacing, gap_squared(row(route, n), q)):
                return False
    return True


@inner
def _direction(route: Array, n: int, m: int) -> Vector:
    return unit(minus(row(route, m), row(route, n)))


@inner
def _smooth(to: Moving, n: int, plenty: float) -> float:
    """Draw a vertex towards its neighbours' middle unless that costs room that matters.

    Returns how far it went.
    """
    here, before = row(to.route, n), row(to.route, n - 1)
    middle = ahead(before, minus(row(to.route, n + 1), before), 0.5)
    p = ahead(here, minus(middle, here), 0.5)
    if gap_squared(p, here) < 1e-6 * to.spacing * to.spacing:
        return 0.0
    least = min(to.room[n], plenty) * (1.0 - 1e-12)
    return math.sqrt(gap_squared(p, here)) if _moved(to, n, p, least) else 0.0


@inner
def _wake(step: Array, n: int, length: float) -> None:
    """Let a vertex that moved by `length`, and its neighbours, try again."""
    for other in range(max(n - 1, 0), min(n + 2, step.size)):
        step[other] = max(step[other], length)


@inner
def _push(to: Moving, n: int, across: Vector, turn: float, step: float, enough: float) -> float:
    """Move a vertex to where there is more room, in the plane across the route.

    Tries the direction away from the nearest metal, then eight around; halves the step when
    none helps. A step is shorter than the room, so a vertex never jumps through a wall.
    Returns the longest step that helped, 0 if none did.
    """
    u = unit(cross(across, aside(across)))
    v = cross(across, u)
    longest = 0.0
    tries = 0
    while step > 1e-3 * to.spacing and tries < 200 and to.room[n] < enough:
        here = row(to.route, n)
        away = minus(here, row(to.foot, n))
        direct = unit(ahead(away, across, -dot(away, across)))
        moved = False
        for k in range(9):
            angle = turn + k * math.pi / 4.0
            far = min(step, 0.9 * to.room[n])
            p = ahead(here, direct, far)
            if k > 0:
                p = ahead(ahead(here, u, math.cos(angle) * far), v, math.sin(angle) * far)
            tries += 1
            moved = _moved(to, n, p, to.room[n] + 1e-2 * step)
            if moved:
                break
        longest = max(longest, step) if moved else longest
        step = min(1.5 * step, to.spacing) if moved else 0.5 * step
    return longest


@kernel
def _widen(to: Moving, rounds: int, enough: float) -> float:
    """Widen a route between its ends, in place; returns the least room of its vertices."""
    route, room, spacing = to.route, to.room, to.spacing
    count = route.shape[0]
    last = count - 1
    for n in range(count):
        d2, to.face[n], q = nearest_triangle(
            to.tree, row(route, n), np.inf, -1.0, to.nodes, to.gaps
        )
        room[n] = math.sqrt(d2)
        put(to.foot, n, q)
    step = np.full(count, spacing)  # first step of the next push; 0: nothing to gain here
    for turn in range(rounds):
        # A vertex with this much more room than the throat cannot hold the least distance.
        plenty = min(least(room) + 2.0 * spacing, enough)
        busy = False
        for n in range(1, last):
            if step[n] > 0.0 or room[n] >= plenty:
                moved = _smooth(to, n, plenty)
                if moved > 0.02 * spacing:
                    busy = True
                    _wake(step, n, moved)
        for m in range(1, last):
            n = m if turn % 2 == 0 else last - m
            if room[n] >= plenty or step[n] == 0.0:
                continue
            across = _direction(route, max(n - 2, 0), min(n + 2, last))
            longest = _push(to, n, across, 2.4 * turn, step[n], enough)
            step[n] = min(4.0 * longest, spacing)
            if longest > 0.02 * spacing:
                busy = True
                _wake(step, n, longest)
        if not busy:
            break
    return least(room)


def _resample(polyline: Floats, spacing: float) -> Floats:
    """Vertices at equal steps of length along a polyline, no longer than `spacing`."""
    along = polylines.lengths(polyline)
    at = np.linspace(0.0, along[-1], max(math.ceil(along[-1] / spacing - 1e-9), 1) + 1)
    return polylines.points_at(at, along, polyline)


def widen(
    tree: Tree,
    polyline: ArrayLike,
    *,
    spacing_mm: float,
    rounds: int = 30,
    enough: float = np.inf,
) -> tuple[Floats, float, Floats | None]:
    """Push a route, its ends held, to where its least distance to the soup is larger.

    Parameters
    ----------
    tree : Tree
    polyline : (N, 3) array_like, mm
        A route that does not touch the soup.
    spacing_mm : float
        Step to which the route is resampled.
    rounds : int
        Most times that the whole route is gone through.
    enough : float, mm
        Vertices with this much room are wide enough: none is pushed farther.

    Returns
    -------
    route : (M, 3) ndarray, mm
        Neighbours at most two spacings apart. The polyline as given if nothing better was found,
        so its certified clearance is never less than that of the polyline.
    clearance : float, mm
    where : (3,) ndarray or None
        The `certified_clearance` of that route.

    Notes
    -----
    Each vertex climbs the distance field in the plane across the route, as far as that concerns
    the narrowest place; where there is plenty of room the route is only smoothed. A local
    search: it does not find another way round an obstacle. Where the steps between vertices come
    much nearer to metal than the vertices do, half and a quarter of the spacing are tried.
    """
    best = as_points(polyline)
    least, where = certified_clearance(tree, best)
    if len(tree.order) == 0 or len(best) < 2:
        return best, least, where
    for divisor in (1, 2, 4):
        spacing = spacing_mm / divisor
        route = best
        for _ in range(PASSES):
            route = _resample(route, spacing)
            room = _widen(_moving(tree, route, spacing), rounds, float(enough))
            if np.linalg.norm(np.diff(route, axis=0), axis=1).max() < 1.9 * spacing:
                break  # else the vertices have spread until they held one another back
        bound, at = certified_clearance(tree, route)
        if bound >= least:
            best, least, where = route, bound, at
        if bound >= enough or bound >= FINE_ENOUGH * room:
            break  # else a step between vertices comes much nearer than the vertices themselves
    return best, least, where
