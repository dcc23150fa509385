"""Planes with axes of their own.

In: points in space, mm. Out: points in the plane, and back.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from clearance.kernels.vectors import Floats


@dataclass(frozen=True, eq=False, slots=True)
class Plane:
    """A plane with its own right-handed axes: u x v = normal, all of unit length.

    Attributes
    ----------
    origin, normal, u, v : ndarray (3,) float64
        A point of the plane (mm), its normal and its two axes.
    """

    origin: Floats
    normal: Floats
    u: Floats
    v: Floats

    @classmethod
    def level(cls, z: float) -> Plane:
        """Return the horizontal plane at height `z` (mm); plane coordinates are x and y."""
        return cls(np.array([0.0, 0.0, float(z)]), *np.eye(3)[[2, 0, 1]])

    @classmethod
    def through(cls, origin: ArrayLike, normal: ArrayLike) -> Plane:
        """Return the plane through `origin` (mm) with `normal` (any length but zero).

        Raises
        ------
        ValueError
            If the normal has no length.
        """
        n = np.asarray(normal, dtype=np.float64)
        length = float(np.linalg.norm(n))
        if not length > 0.0:
            raise ValueError("a plane's normal must have a length above zero")
        n = n / length
        helper = np.array([0.0, 1.0, 0.0]) if abs(n[1]) < 0.9 else np.array([0.0, 0.0, 1.0])
        u = _cross(helper, n)
        u /= np.linalg.norm(u)
        return cls(np.asarray(origin, dtype=np.float64).copy(), n, u, _cross(n, u))

    def at(self, origin: Floats) -> Plane:
        """Return the plane beside this one, and framed as it, through a point (3,), mm."""
        return Plane(origin, self.normal, self.u, self.v)

    def to_plane(self, points: ArrayLike) -> Floats:
        """Return plane coordinates (N, 2) of points (N, 3) in space, projected along the normal."""
        offsets = np.asarray(points, dtype=np.float64) - self.origin
        result: Floats = offsets @ np.stack([self.u, self.v], axis=1)
        return result

    def to_space(self, points: ArrayLike) -> Floats:
        """Return the points in space (N, 3) of plane coordinates (N, 2)."""
        result: Floats = self.origin + np.asarray(points, dtype=np.float64) @ np.stack(
            [self.u, self.v]
        )
        return result

    def signed(self, points: ArrayLike) -> Floats:
        """Return the signed distances (N,) of points (N, 3) along the normal, in mm."""
        result: Floats = (np.asarray(points, dtype=np.float64) - self.origin) @ self.normal
        return result


def _cross(a: Floats, b: Floats) -> Floats:
    """Cross product of two vectors: the general one takes ten times as long for a single pair."""
    (ax, ay, az), (bx, by, bz) = a.tolist(), b.tolist()
    return np.array([ay * bz - az * by, az * bx - ax * bz, ax * by - ay * bx])
