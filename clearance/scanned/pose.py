"""Laying points of one surface on another: point to plane, trimmed, in one or several rigid pieces.

In: points, the surface they belong on. Out: a `Pose` and how far each piece lies off. Source:
least squares over the distances along the surface's normals (docs/method.md, "The part as
measured").
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
import scipy
from numpy.typing import NDArray

from clearance.geometry import box_tree, distance
from clearance.geometry.soup import Soup
from clearance.system.once import once

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]

TRIM = 6.0
"""Points farther than so many medians do not count, nearer ones the less the farther they are
(Tukey's biweight): stray metal, what a scan cuts off, edges that blur has rounded."""
WIDE_MM, NARROWER = 1.0, 0.7
"""How far off points count at first, and what is left of that a step: a part that has moved lies
farther off than all that has not, and must not be taken for stray metal."""
ELSEWHERE_MM = 0.15
"""Points farther off than this, which do not count, are of a face that is elsewhere."""
LEAST_POINTS = 200
"""Fewer points do not say where a piece of the part lies."""
TIED = 0.01
"""Mean square of a normal's component from which on a piece is held that way."""
LEFT_OUT = 0.1
"""Share of the faces that look one way which may lie elsewhere than the step that they tell."""
ITERATIONS = 40
TUKEY, REWEIGHED = 4.685, 4
"""Standard deviations at which Tukey's biweight ends (its usual constant), and how often what is
left is looked at for the scale."""
TOLD = 0.5
"""Share of half its extent along an axis that faces of a piece lie apart, to tell a scale there."""
SETTLED_MM = 1e-4
"""A step that moves no point farther ends the fit."""
LEAST_SINGULAR = 1e-3
"""A direction that the surface ties so much less than the best tied one is left as it is."""


class Target(Protocol):
    """What points are laid on."""

    def off(self, points: Floats) -> tuple[Floats, Floats, Floats]:
        """Distance (N,), signed distance along the normal (N,) and normal (N, 3) at points."""


@dataclass(frozen=True, eq=False)
class Spots:
    """A surface as points with normals: quick, for a first look."""

    points: Floats
    normals: Floats
    tree: scipy.spatial.cKDTree

    def off(self, points: Floats) -> tuple[Floats, Floats, Floats]:
        """As `Surface.off`, by the nearest point alone."""
        away, which = self.tree.query(points)
        normals = self.normals[which]
        return (
            np.asarray(away),
            np.einsum("ij,ij->i", points - self.points[which], normals),
            normals,
        )


@dataclass(frozen=True, eq=False)
class Surface:
    """A soup with what is asked of it again and again."""

    triangles: Soup
    tree: box_tree.Tree
    normals: Floats

    @classmethod
    def of(cls, triangles: Soup) -> Surface:
        """A closed soup, (F, 3, 3) mm."""
        corners = triangles.astype(np.float64)
        area = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
        length = np.linalg.norm(area, axis=1, keepdims=True)
        return cls(triangles, box_tree.build(triangles), area / np.maximum(length, 1e-30))

    def off(self, points: Floats) -> tuple[Floats, Floats, Floats]:
        """Distance (N,), signed distance along the normal (N,) and normal (N, 3) at points."""
        away, near, which = distance.closest(self.tree, points)
        normals = self.normals[which]
        return away, np.einsum("ij,ij->i", points - near, normals), normals

    def spots(self, count: int) -> Spots:
        """The surface as so many points."""
        points, which = _sampled(self.triangles, count, 2)
        return Spots(points, self.normals[which], scipy.spatial.cKDTree(points))


def sampled(triangles: Soup, count: int, seed: int = 0) -> Floats:
    """Points evenly spread over a surface by area, (count, 3) mm; the same for the same soup."""
    return _sampled(triangles, count, seed)[0]


def _sampled(triangles: Soup, count: int, seed: int) -> tuple[Floats, Ints]:
    rng = np.random.default_rng(seed)
    corners = triangles.astype(np.float64)
    a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
    grown = np.cumsum(np.linalg.norm(np.cross(b - a, c - a), axis=1))
    steps = (np.arange(count) + rng.random(count)) / count
    which = np.minimum(np.searchsorted(grown, steps * grown[-1]), len(grown) - 1)
    s, t = rng.random((2, count, 1))
    s, t = np.where(s + t > 1.0, 1.0 - s, s), np.where(s + t > 1.0, 1.0 - t, t)
    return np.asarray(a[which] + s * (b - a)[which] + t * (c - a)[which]), which


@dataclass(frozen=True, eq=False)
class Pose:
    """Where a scan lies: nominal = rotation @ scan + shift.

    Attributes
    ----------
    rotation : (3, 3) ndarray
        Its determinant is -1 for a mirror image.
    shift : (3,) ndarray, mm
    """

    rotation: Floats
    shift: Floats

    def at(self, points: Floats) -> Floats:
        """Points of the scan, (N, 3) mm, in the nominal part's coordinates."""
        return np.asarray(points @ self.rotation.T + self.shift)

    @property
    def turn_deg(self) -> float:
        """Angle of the rotation."""
        sine = np.array(
            [
                self.rotation[2, 1] - self.rotation[1, 2],
                self.rotation[0, 2] - self.rotation[2, 0],
                self.rotation[1, 0] - self.rotation[0, 1],
            ]
        )
        return float(np.degrees(np.arctan2(np.linalg.norm(sine), np.trace(self.rotation) - 1.0)))

    def apart(self, other: Pose, points: Floats) -> float:
        """Farthest that two poses put the same point, mm."""
        return float(np.linalg.norm(self.at(points) - other.at(points), axis=1).max())


AS_IT_IS = Pose(np.eye(3), np.zeros(3))


@dataclass(frozen=True, eq=False)
class Scales:
    """By how much a scan is larger than the nominal part, after the fit.

    Attributes
    ----------
    every : float
        Of all of it.
    own : (3,) ndarray
        Along each of the scan's own axes by itself.
    told : (3,) ndarray of bool
        Faces of one piece lie far enough apart along that axis to tell it.
    half_mm : (3,) ndarray
        Half of its extent along those axes.
    scatter_mm : float
        Standard deviation of what is left of the points along the normals.
    """

    every: float
    own: Floats
    told: NDArray[np.bool_]
    half_mm: Floats
    scatter_mm: float


@dataclass(frozen=True, eq=False)
class Fit:
    """Points laid on a surface.

    Attributes
    ----------
    pose : Pose
        Of the lowest piece.
    moves : (K, 3) ndarray, mm
        How far each piece had to be moved besides, the lowest 0: the measured step is its negative.
    covariance : (3 K, 3 K) ndarray, mm2
        Of where the pieces lie, one standard uncertainty each, points taken as independent.
    turn_covariance : (3, 3) ndarray, rad2
        Of the rotation about x, y and z, likewise.
    counts : (K,) ndarray
        Points of each piece that counted.
    tied : (K, 3) ndarray
        Mean square of their normals along x, y, z: near 0 where nothing holds a piece that way.
    left_out : (K, 3) ndarray
        Share of all those squares that is of points which did not count and lie farther off than
        rounded edges do: faces that look that way and are elsewhere.
    rms_mm : float
        Of the points that counted, along the normals.
    scales : Scales
    held_mm : (K,) ndarray
        Height of the faces that hold each piece along z, on the average; 0 where none does.
    looks_up : (K,) ndarray
        Share of these that looks up, the rest looks down.
    """

    pose: Pose
    moves: Floats
    covariance: Floats
    turn_covariance: Floats
    counts: Ints
    tied: Floats
    left_out: Floats
    rms_mm: float
    scales: Scales
    held_mm: Floats
    looks_up: Floats

    def told(self, piece: int) -> NDArray[np.bool_]:
        """Whether the step of a piece, 1 or more, off that below it is told along x, y, z."""
        two = slice(piece - 1, piece + 1)
        enough = self.counts[two].min() >= LEAST_POINTS
        held = self.tied[two].min(axis=0) >= TIED
        return np.asarray(enough & held & (self.left_out[two].max(axis=0) <= LEFT_OUT))

    @property
    def scale(self) -> float:
        """By how much the scan is larger than the nominal part, once, after the fit."""
        return self.scales.every


def fit(
    surface: Target,
    points: Floats,
    start: Pose,
    levels: tuple[tuple[float, float], ...] = (),
    iterations: int = ITERATIONS,
    moved: Floats | None = None,
) -> Fit:
    """Lay points on a surface.

    Parameters
    ----------
    surface : Surface or Spots
    points : (N, 3) ndarray, mm
        Of the scan, in its own coordinates.
    start : Pose
    levels : tuple of (low, high), mm
        Bands of height in the surface's coordinates, lowest first. Between them the scan is rigid;
        each piece may lie elsewhere, with the same rotation. Points in a band do not count.
    iterations : int
        Fewer than all: no point far off counts, and the start must lie near.
    moved : (1 + len(levels), 3) ndarray, mm, optional
        How far each piece has to be moved, to start from.
    """
    pose, moves = start, np.zeros((1 + len(levels), 3)) if moved is None else moved
    pose, moves = _laid(surface, points, pose, moves, levels, iterations)
    return _Step.of(surface, points, pose, moves, levels).told(pose, moves)


def looked(surface: Target, points: Floats, start: Pose, iterations: int) -> Pose:
    """The pose of `fit` alone, of one piece: what else it tells takes a quarter of a first look."""
    return _laid(surface, points, start, np.zeros((1, 3)), (), iterations)[0]


def _laid(
    surface: Target,
    points: Floats,
    pose: Pose,
    moves: Floats,
    levels: tuple[tuple[float, float], ...],
    iterations: int,
) -> tuple[Pose, Floats]:
    reach = WIDE_MM if iterations == ITERATIONS else 0.0
    for _ in range(iterations):
        step = _Step.of(surface, points, pose, moves, levels, reach)
        solved = step.solved()
        pose, moves, farthest = step.taken(pose, moves, solved)
        if farthest < SETTLED_MM and step.settled:
            break
        reach *= NARROWER
    return pose, moves


@dataclass(frozen=True, eq=False)
class _Step:
    """One linear step: what is off, and what each unknown changes of it."""

    at: Floats
    piece: Ints
    weight: Floats
    off: Floats
    normals: Floats
    middle: Floats
    pieces: int
    settled: bool
    left_out: Floats

    @classmethod
    def of(
        cls,
        surface: Target,
        points: Floats,
        pose: Pose,
        moves: Floats,
        levels: tuple[tuple[float, float], ...],
        reach_mm: float = 0.0,
    ) -> _Step:
        at = pose.at(points)
        piece = np.zeros(len(at), np.int64)
        apart = np.ones(len(at), bool)
        for low, high in levels:
            piece += at[:, 2] > 0.5 * (low + high)
            apart &= (at[:, 2] < low) | (at[:, 2] > high)
        at, piece = at[apart], piece[apart]
        away, off, normals = surface.off(at + moves[piece])
        trim = TRIM * max(float(np.median(away)), SETTLED_MM)
        share = away / max(trim, reach_mm)
        counts = share < 1.0
        elsewhere = away > max(trim, ELSEWHERE_MM)
        far = _squares(normals[elsewhere], piece[elsewhere], len(moves))
        left_out = far / np.maximum(_squares(normals, piece, len(moves)), 1e-9)
        weight = 1.0 - share[counts] ** 2  # the root of the biweight: rows are squared
        at, piece = at[counts], piece[counts]
        middle = at.mean(axis=0)
        settled = reach_mm <= trim
        own = off[counts], normals[counts]
        return cls(at, piece, weight, *own, middle, len(moves), settled, left_out)

    def columns(self) -> Floats:
        """(M, 3 + 3 K): rotation about the middle, in units of the spread, then each piece."""
        arm = (self.at - self.middle) / self.spread
        found = np.zeros((len(self.at), 3 + 3 * self.pieces))
        found[:, :3] = _crossed(arm, self.normals)
        for k in range(self.pieces):
            mine = self.piece == k
            found[mine, 3 + 3 * k : 6 + 3 * k] = self.normals[mine]
        return found

    @once
    def spread(self) -> float:
        """Root mean square of the points' distance from the middle, mm."""
        return float(np.sqrt(((self.at - self.middle) ** 2).sum(1).mean())) or 1.0

    def solved(self) -> Floats:
        """The step: rotation in mm at the spread, then a translation for each piece."""
        columns = self.columns() * self.weight[:, None]
        spread = np.linalg.pinv(columns.T @ columns, rcond=LEAST_SINGULAR**2, hermitian=True)
        return np.asarray(spread @ (columns.T @ (-self.weight * self.off)))

    def taken(self, pose: Pose, moves: Floats, solved: Floats) -> tuple[Pose, Floats, float]:
        """Pose and moves after a step, and how far it moved the farthest point."""
        turn = _rotation(solved[:3] / self.spread)
        each = solved[3:].reshape(-1, 3)
        shift = turn @ (pose.shift - self.middle) + self.middle + each[0]
        new = Pose(turn @ pose.rotation, shift)
        moved = np.abs(each).max() + np.linalg.norm(solved[:3]) * 3.0
        return new, moves + each - each[0], float(moved)

    def told(self, pose: Pose, moves: Floats) -> Fit:
        columns, off = self.columns() * self.weight[:, None], self.off * self.weight
        rms = float(np.sqrt((off**2).sum() / (self.weight**2).sum()))
        spread = np.linalg.pinv(columns.T @ columns, rcond=LEAST_SINGULAR**2, hermitian=True)
        counts = np.bincount(self.piece, minlength=self.pieces)
        squares = _squares(self.normals, self.piece, self.pieces)
        return Fit(
            pose,
            moves,
            np.asarray(rms**2 * spread[3:, 3:]),
            np.asarray(rms**2 * spread[:3, :3] / self.spread**2),
            counts,
            np.asarray(squares / np.maximum(counts, 1)[:, None], np.float64),
            self.left_out,
            rms,
            self._scales(pose.rotation),
            *self.along_z(),
        )

    def along_z(self) -> tuple[Floats, Floats]:
        """Height of what holds each piece along z, and the share of it that looks up, (K,)."""
        pull = (self.weight * self.normals[:, 2]) ** 2
        whole = np.maximum(np.bincount(self.piece, pull, self.pieces), 1e-12)
        height = np.bincount(self.piece, pull * self.at[:, 2], self.pieces) / whole
        up = np.where(self.normals[:, 2] > 0.0, pull, 0.0)
        return height, np.bincount(self.piece, up, self.pieces) / whole

    def _scales(self, rotation: Floats) -> Scales:
        """Scales along the scan's own axes, beside rotation and translations."""
        own, normals = (self.at - self.middle) @ rotation, self.normals @ rotation
        arm, half, columns = own * normals, 0.5 * np.ptp(own, axis=0), self.columns()
        every, scatter = self._scaled(columns, arm.sum(axis=1, keepdims=True))
        left = arm - columns @ np.linalg.lstsq(columns, arm, rcond=1e-6)[0]
        reach = np.sqrt((left**2).sum(axis=0) / np.maximum((normals**2).sum(axis=0), 1e-9))
        each = self._scaled(columns, arm)[0]
        return Scales(float(every[0]), each, reach > TOLD * half, half, scatter)

    def _scaled(self, columns: Floats, arm: Floats) -> tuple[Floats, float]:
        """Scales that columns of arms tell, and the scatter that is left; robustly.

        Walls that are elsewhere than drawn, as of a bore printed too narrow, must not tell it.
        """
        both, weight, scatter = np.column_stack([columns, arm]), self.weight, 0.0
        for _ in range(REWEIGHED):
            rows = both * weight[:, None]
            solved = np.linalg.lstsq(rows, -weight * self.off, rcond=1e-6)[0]
            left = np.abs(self.off + both @ solved)
            scatter = max(1.4826 * float(np.median(left)), SETTLED_MM)
            weight = np.maximum(1.0 - (left / (TUKEY * scatter)) ** 2, 0.0)
        return np.asarray(1.0 / (1.0 + solved[columns.shape[1] :])), scatter


def _squares(normals: Floats, piece: Ints, pieces: int) -> Floats:
    """Sum of the squares of normals (N, 3) along x, y, z for each piece, (K, 3)."""
    found = np.zeros((pieces, 3))
    np.add.at(found, piece, normals**2)
    return found


def _crossed(a: Floats, b: Floats) -> Floats:
    """Cross products of rows (N, 3): as the library's, without what it does for other shapes."""
    (x, y, z), (u, v, w) = a.T, b.T
    return np.stack([y * w - z * v, z * u - x * w, x * v - y * u], axis=1)


def _rotation(vector: Floats) -> Floats:
    """Rotation matrix of a vector, rad (Rodrigues)."""
    angle = float(np.linalg.norm(vector))
    if angle < 1e-15:
        return np.eye(3)
    x, y, z = vector / angle
    cross = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    return np.asarray(np.eye(3) + np.sin(angle) * cross + (1 - np.cos(angle)) * cross @ cross)
