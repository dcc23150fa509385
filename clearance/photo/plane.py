"""From pixels to the platform: the homography of a picture of a plane.

In: points known both ways. Out: `Plane`, and how well they fit. The direct linear transform on
normalised points (R. Hartley, IEEE PAMI 19, 1997, p. 580); a lens that bends straight lines is not
looked at and stands in the residual.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from clearance.errors import ClearanceError

Floats = NDArray[np.float64]

LEAST_HEIGHT = 0.02
"""Of four points no three may lie nearer to one line than this share of their longest distance."""


@dataclass(frozen=True, eq=False)
class PicturePlane:
    """Where a picture's pixels lie on the platform.

    Attributes
    ----------
    matrix : (3, 3) ndarray
        From mm on the platform to pixels, homogeneous.
    off_mm : (N,) ndarray
        How far each known point lies from where the pixels say; 0 where there are only four.
    """

    matrix: Floats
    off_mm: Floats

    def to_pixels(self, xy: Floats) -> Floats:
        """Pixels (N, 2), to the right and down, of places (N, 2) on the platform, mm."""
        return _mapped(self.matrix, xy)

    def pixel_mm(self, xy: Floats) -> float:
        """Side of a pixel on the platform about a place, mm: square root of its area."""
        step = np.array([[0.0, 0.0], [1e-3, 0.0], [0.0, 1e-3]])
        at = self.to_pixels(np.asarray(xy + step, np.float64))
        area = abs(float(np.linalg.det((at[1:] - at[0]) / 1e-3)))
        return area**-0.5


def plane_of(points: Floats, where: str) -> PicturePlane:
    """Fit the plane of a picture.

    Parameters
    ----------
    points : (N, 4) ndarray
        Pixels px, py and mm x, y; N >= 4.
    where : str
        The file that they are from, for messages.

    Raises
    ------
    ClearanceError
        Three of every four lie in a line, or the picture would be mirrored or seen past the
        horizon: then pixels or places are mixed up.
    """
    pixels, places = points[:, :2], points[:, 2:]
    for which, known in (("places", places), ("pixels", pixels)):
        if not _spread(known):
            raise ClearanceError(
                f"{where}: the {which} lie on a line or nearly so, expected four of which no three "
                "do, such as the corners of a rectangle"
            )
    matrix = _fitted(places, pixels)
    depth = np.column_stack([places, np.ones(len(places))]) @ matrix[2]
    if not (np.all(depth > 0.0) or np.all(depth < 0.0)):
        raise ClearanceError(
            f"{where}: no camera sees these points so: pixels or places are mixed up"
        )
    turns = np.linalg.det(matrix) * np.sign(depth[0])  # of a picture that is not mirrored: < 0
    if turns > 0.0:
        raise ClearanceError(
            f"{where}: the picture is mirrored by these points; py counts downward, and x, y are "
            "those of the platform seen from above"
        )
    back = _mapped(np.asarray(np.linalg.inv(matrix), np.float64), pixels)
    return PicturePlane(matrix, np.linalg.norm(back - places, axis=1))


def _spread(points: Floats) -> bool:
    """Whether four of the points have no three in a line."""
    few = points if len(points) <= 12 else points[np.linspace(0, len(points) - 1, 12).astype(int)]
    longest = float(np.ptp(points, axis=0).max())
    if longest == 0.0:
        return False

    def height(three: Floats) -> float:
        sides = three - np.roll(three, 1, axis=0)
        (ax, ay), (bx, by) = sides[0], sides[1]
        longest = float(np.linalg.norm(sides, axis=1).max())
        return abs(float(ax * by - ay * bx)) / longest if longest else 0.0

    return any(
        all(height(few[list(three)]) > LEAST_HEIGHT * longest for three in combinations(four, 3))
        for four in combinations(range(len(few)), 4)
    )


def _fitted(places: Floats, pixels: Floats) -> Floats:
    to_unit, unit = _normalised(places)
    to_seen, seen = _normalised(pixels)
    (x, y), (u, v) = unit.T, seen.T
    zero, one = np.zeros_like(x), np.ones_like(x)
    rows = np.concatenate(
        [
            np.column_stack([-x, -y, -one, zero, zero, zero, u * x, u * y, u]),
            np.column_stack([zero, zero, zero, -x, -y, -one, v * x, v * y, v]),
        ]
    )
    matrix = np.linalg.svd(rows)[2][-1].reshape(3, 3)
    found = np.linalg.inv(to_seen) @ matrix @ to_unit
    return np.asarray(found / np.linalg.norm(found))


def _normalised(points: Floats) -> tuple[Floats, Floats]:
    """Points about their middle with a mean distance of sqrt 2, and the matrix that does it."""
    middle = points.mean(axis=0)
    scale = np.sqrt(2.0) / np.linalg.norm(points - middle, axis=1).mean()
    matrix = np.array([[scale, 0, -scale * middle[0]], [0, scale, -scale * middle[1]], [0, 0, 1]])
    return matrix, (points - middle) * scale


def _mapped(matrix: Floats, points: Floats) -> Floats:
    x, y, w = matrix @ np.column_stack([points, np.ones(len(points))]).T
    return np.column_stack([x / w, y / w])
