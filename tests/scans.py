"""Scans made by script: a solid given by its distances, blurred, noisy, turned, as a surface.

In: a signed distance (negative in metal), a pose, voxel, blur, noise. Out: grey values, or a closed
soup in the scanner's axes. The surface is taken by a library (scikit-image's marching cubes).
"""

from __future__ import annotations

import itertools
from collections.abc import Callable

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy import ndimage
from scipy.spatial.transform import Rotation
from skimage import measure

Floats = NDArray[np.float64]
Distance = Callable[[Floats], Floats]


def block(points: Floats, low: ArrayLike, high: ArrayLike) -> Floats:
    """Distance to a box."""
    low, high = np.asarray(low, float), np.asarray(high, float)
    middle, half = 0.5 * (low + high), 0.5 * (high - low)
    x, y, z = (np.abs(points[..., k] - middle[k]) - half[k] for k in range(3))
    out = np.maximum(x, 0.0) ** 2 + np.maximum(y, 0.0) ** 2 + np.maximum(z, 0.0) ** 2
    return np.sqrt(out) + np.minimum(np.maximum(np.maximum(x, y), z), 0.0)


def rod(points: Floats, start: ArrayLike, along: ArrayLike, radius: float) -> Floats:
    """Distance to a round rod without ends."""
    along = np.asarray(along, float) / np.linalg.norm(along)
    x, y, z = (points[..., k] - float(start[k]) for k in range(3))
    on = x * along[0] + y * along[1] + z * along[2]
    off = (x - on * along[0]) ** 2 + (y - on * along[1]) ** 2 + (z - on * along[2]) ** 2
    return np.sqrt(off) - radius


def turned(axis: ArrayLike, degrees: float) -> Floats:
    """A rotation."""
    axis = np.asarray(axis, float)
    return Rotation.from_rotvec(np.radians(degrees) * axis / np.linalg.norm(axis)).as_matrix()


def grey(
    distance: Distance,
    low: ArrayLike,
    high: ArrayLike,
    *,
    rotation: Floats | None = None,
    shift: ArrayLike = (0.0, 0.0, 0.0),
    voxel: float = 0.2,
    blur: float = 0.7,
    noise: float = 0.03,
    seed: int = 0,
) -> tuple[Floats, Floats]:
    """Grey values, 0 in void and 1 in metal, and the first voxel's lower corner, mm.

    `low`, `high`: the part's box in its own axes. The scan's axes are rotation @ part + shift.
    `blur`, in voxels; `noise` over the step to metal.
    """
    rotation = np.eye(3) if rotation is None else rotation
    box = np.array([low, high], float)
    corners = np.stack(np.meshgrid(*box.T, indexing="ij"), -1).reshape(-1, 3)
    placed = corners @ rotation.T + shift
    first = placed.min(axis=0) - 4.0 * voxel
    count = np.ceil((placed.max(axis=0) + 4.0 * voxel - first) / voxel).astype(int)
    axes = [first[k] + voxel * (np.arange(count[k]) + 0.5) for k in range(3)]
    points = (np.stack(np.meshgrid(*axes, indexing="ij"), -1) - shift) @ rotation
    values = ndimage.gaussian_filter(_filled(distance, points, voxel, rotation), blur)
    return values + noise * np.random.default_rng(seed).normal(size=values.shape), first


PARTS = 4
"""Along each edge of a voxel, where a surface crosses it."""


def _filled(distance: Distance, points: Floats, voxel: float, rotation: Floats) -> Floats:
    """Share of metal in voxels about points, told from parts of those that a surface may cross.

    A part no thicker than a sheet is told from one distance. Of a voxel that is thicker than the
    sheet that would not do: on the average it comes out too heavy, twice so for a thin one.
    """
    away = distance(points)
    filled = np.where(away < 0.0, 1.0, 0.0)
    crossed = np.abs(away) < 0.5 * np.sqrt(3.0) * voxel
    fine = voxel / PARTS
    steps = (np.arange(PARTS) - 0.5 * (PARTS - 1)) * fine
    middles = points[crossed]
    share = np.zeros(len(middles))
    for step in itertools.product(steps, repeat=3):
        share += np.clip(0.5 - distance(middles + np.array(step) @ rotation) / fine, 0.0, 1.0)
    filled[crossed] = share / PARTS**3
    return filled


def surface(values: Floats, first: Floats, voxel: float, level: float = 0.5) -> NDArray[np.float32]:
    """Closed soup where grey passes a level."""
    closed = np.pad(values, 1)
    points, faces, _, _ = measure.marching_cubes(closed, level, gradient_direction="ascent")
    return ((points - 0.5) * voxel + first)[faces].astype(np.float32)


def scan(distance: Distance, low: ArrayLike, high: ArrayLike, **keys) -> NDArray[np.float32]:
    """Closed soup of a made scan; keys as `grey` takes them."""
    voxel = keys.setdefault("voxel", 0.2)
    return surface(*grey(distance, low, high, **keys), voxel)
