"""Whether two pieces of the part's surface pass through each other.

In: triangles of two pieces that mouths' outlines part, and the mouths. Out: yes or no; what lies
within `BESIDE_MM` of an outline, where the pieces meet, is not looked at. Source: docs/method.md,
"What a stopper hides".
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import shapely
from numpy.typing import NDArray

from clearance.geometry import box_tree, segments
from clearance.geometry.soup import Box, Soup, meeting
from clearance.ports.mouth import Mouth

BESIDE_MM = 2e-3
"""So near an outline the pieces meet, and nothing is looked at."""
TOUCH_MM = 1e-7
"""What is so near touches."""

Floats = NDArray[np.float64]


def pierce(one: Soup, other: Soup, mouths: Sequence[Mouth]) -> bool:
    """Whether an edge of either piece meets the other, off all outlines by `BESIDE_MM`."""
    return _met(one, other, mouths) or _met(other, one, mouths)


def _met(edges_of: Soup, soup: Soup, mouths: Sequence[Mouth]) -> bool:
    if len(edges_of) == 0 or len(soup) == 0:
        return False
    near = meeting(edges_of, Box.around(_corners(soup)).grown(TOUCH_MM)).astype(np.float64)
    if len(near) == 0:
        return False
    a, b = near.reshape(-1, 3), np.roll(near, -1, axis=1).reshape(-1, 3)
    # An edge that begins on an outline would show no more than that.
    length = np.linalg.norm(b - a, axis=1)
    off = 2.0 * BESIDE_MM / np.maximum(length, TOUCH_MM)
    start, end = (off * (_from_rims(p, mouths) < BESIDE_MM) for p in (a, b))
    kept = start + end < 1.0
    step = (b - a)[kept]
    starts, ends = a[kept] + start[kept, None] * step, b[kept] - end[kept, None] * step
    tree = box_tree.build(meeting(soup, Box.around(_corners(near)).grown(TOUCH_MM)))
    distance, places, _ = segments.segment_clearances(tree, starts, ends, 2.0 * TOUCH_MM)
    places = places[distance <= TOUCH_MM]
    return bool((_from_rims(places, mouths) > BESIDE_MM).any())


def _corners(soup: Soup | Floats) -> Floats:
    return soup.reshape(-1, 3).astype(np.float64)


def _from_rims(points: Floats, mouths: Sequence[Mouth]) -> Floats:
    """Distance of points (N, 3) from the nearest outline of a mouth, exact up to `BESIDE_MM`."""
    nearest = np.full(len(points), np.inf)
    for mouth in mouths:
        away = np.abs(mouth.plane.signed(points))
        near = away <= BESIDE_MM  # most points lie farther from the plane, so from the outline too
        at = shapely.points(mouth.plane.to_plane(points[near]))
        away[near] = np.hypot(away[near], shapely.distance(at, mouth.polygon.boundary))
        nearest = np.minimum(nearest, away)
    return nearest
