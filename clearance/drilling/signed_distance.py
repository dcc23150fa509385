"""Distance to metal, negative inside it: at points, and the most of it on discs.

In: the tree of a closed soup of metal. Out: signed distances, and upper bounds of them on discs.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from clearance.geometry import box_tree, distance, rays

Floats = NDArray[np.float64]

LEVELS = 5  # times that a disc's squares are quartered
CORNERS = np.array([(-1.0, -1.0), (1.0, -1.0), (-1.0, 1.0), (1.0, 1.0)])


class SignedDistance:
    """Signed distances to a closed soup."""

    def __init__(self, tree: box_tree.Tree) -> None:
        self.tree = tree
        self.place = np.argsort(tree.order)  # where a triangle of the soup stands in the tree

    def signed(self, points: Floats, least: Floats | float = 0.0) -> tuple[Floats, Floats]:
        """Distance to metal, negative where a point is surely inside it; and where it is met.

        Where the distance is no more than `least` its sign is not looked for.
        """
        room, nearest, triangle = distance.closest(self.tree, points)
        doubt = np.flatnonzero(room > least)
        inside = rays.metal(
            self.tree.triangles, self.tree.boxes, points[doubt], self.place[triangle[doubt]]
        )
        room[doubt[inside]] *= -1.0
        return room, nearest

    def largest_on_discs(
        self, centre: Floats, normal: Floats, radius: Floats, goal: Floats | float
    ) -> Floats:
        """Upper bound of the signed distance on discs; inf where it surely exceeds the goal.

        Squares in the plane, quartered while one of their points can be farther than the goal from
        the metal that is nearest to their middle: the farthest is a corner.
        """
        count = len(radius)
        across = np.stack(_frames(normal), axis=1)
        owner, xy, half = np.arange(count), np.zeros((count, 2)), radius.copy()
        most, goals = np.zeros(count), np.broadcast_to(goal, (count,))
        for level in range(LEVELS + 1):
            aim = goals[owner]
            middle = centre[owner] + (xy[:, None] @ across[owner])[:, 0]
            diagonal = math.sqrt(2.0) * half
            room, metal = self.signed(middle, aim - diagonal)
            on_disc = np.hypot(*xy.T) <= radius[owner]
            most[owner[on_disc & (room > aim)]] = np.inf
            corners = middle[:, None] + half[:, None, None] * (CORNERS @ across[owner])
            farthest = np.linalg.norm(corners - metal[:, None], axis=2).max(axis=1)
            promise = np.where(room < 0.0, np.maximum(room + diagonal, 0.0), farthest)
            live = (promise > aim) & np.isfinite(most[owner])
            last = ~live if level < LEVELS else np.ones_like(live)
            np.maximum.at(most, owner[last], promise[last])
            if last.all():
                break
            owner, half = np.repeat(owner[live], 4), np.repeat(0.5 * half[live], 4)
            xy = np.repeat(xy[live], 4, axis=0) + np.tile(CORNERS, (live.sum(), 1)) * half[:, None]
            near = np.hypot(*np.maximum(np.abs(xy) - half[:, None], 0.0).T) <= radius[owner]
            owner, xy, half = owner[near], xy[near], half[near]
        return most


def _frames(normal: Floats) -> tuple[Floats, Floats]:
    """Two unit vectors (N, 3) across each normal."""
    helper = np.where(np.abs(normal[:, 2:]) < 0.9, [[0.0, 0.0, 1.0]], [[1.0, 0.0, 0.0]])
    u = np.cross(normal, helper)
    u /= np.linalg.norm(u, axis=1, keepdims=True)
    return u, np.cross(normal, u)
