"""Where a scan lies on the nominal part: both hands tried, every way round, one scale.

In: two closed soups, mm, and the heights of the event. Out: a `Registered`, or a `ScanError` that
says why the scan cannot be laid on the part.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from clearance.errors import PartError
from clearance.geometry import distance
from clearance.geometry.soup import Soup
from clearance.scanned.pose import AS_IT_IS, Fit, Floats, Pose, Surface, fit, looked, sampled

FEW, MORE, MANY, MOST = 200, 1500, 4000, 20_000
"""Points of a first look, of a comparison, of the fit, and of its last steps."""
MOST_COLUMNS = 40_000
"""Points in whose place such are looked for that are known better than facets are."""
SPOTS = 8000
"""Points that stand for the nominal part in a first look."""
ALIKE = 0.1
"""Two starts whose rotations differ by no more than this, rad, are one."""
QUICK, FINE = 8, 12
"""Steps of a first look and of a comparison; of the fit that counts, at most."""
FAR_WORSE = 4.0
"""Times the misfit of the best first look, from which on one is dropped."""
BEST = 6
"""First looks that are compared."""
CAP = 0.02
"""Farther off than this share of the part's size, points are as wrong as can be."""
AS_GOOD = 1.25
"""A fit with so many times the misfit of the best is nearly as good."""
HAND = 0.8
"""A mirror image whose misfit is less than this share is the better fit."""
MOST_SCALE = 0.005
"""More than this and the voxel size, or the unit, is wrong."""
FACES_OFF = 0.5
"""Share of the scatter of points that whole faces may lie off, by noise or beam hardening."""
LEAST = 1e-4
"""Misfits are told apart from this share of the part's size on."""
NEARER = 0.8
"""Share of the scan, the nearer one, that has to lie on the part: a cut has faces of its own."""
FARTHEST = 0.004
"""Misfit over the part's size from which on the scan is of something else."""
OTHER_POSE = 0.05
"""Poses that lie less than this share of the part's size apart are one."""
CLOSE_MM = 0.5
"""How much farther than its misfit a nominal surface may be from the scan that shows it."""
NAMED, REFUSED = 0.01, 0.5
"""Share of the nominal surface that a scan may lack before it is named, and refused."""
ALIKE_COLUMNS = 1.5
"""How many of them count as one: neighbours share what metal and void look like, and the weights
of the fit make scatter look smaller by 15 % (`test_laid_volumes`)."""
BENT = 0.3
"""Share of how far it is looked around that a face may bend."""
FEWEST = 1000
"""Points known by themselves that say where the scan lies, without those of its facets."""
NEAR_DEG = 10.0
"""So near to how the file stands, a pose is that of the file."""


class ScanError(PartError):
    """A scan that cannot be laid on the part; the text says why."""


@dataclass(frozen=True, eq=False)
class Registered:
    """A scan laid on the nominal part.

    Attributes
    ----------
    fit : Fit
        The lowest piece lies on the part as it stood; steps are what the pieces above are off.
    triangles : (F, 3, 3) ndarray of float32, mm
        The scan in the part's coordinates.
    missing : float
        Share of the nominal surface that the scan does not show.
    missing_low, missing_high : (3,) ndarray or None, mm
        Box around it, where it is worth naming.
    also : tuple of str
        Other ways to lay it that fit nearly as well, in words.
    effective : float
        How many points count as one: the scan's own facets are larger than their distance.
    levels : tuple of (low, high), mm
        Bands of height between its pieces, in the part's coordinates.
    ways : tuple of Pose
        To each of `also`, where it puts what now lies at a place of the part.
    """

    fit: Fit
    triangles: Soup
    missing: float
    missing_low: Floats | None
    missing_high: Floats | None
    also: tuple[str, ...]
    effective: float
    surface: Surface
    nominal: Surface
    levels: tuple[tuple[float, float], ...]
    ways: tuple[Pose, ...] = ()

    @property
    def turn_u_deg(self) -> float:
        """Standard uncertainty of how it is turned, about all three axes together."""
        turn = float(np.trace(self.fit.turn_covariance)) * self.effective
        return float(np.degrees(np.sqrt(turn)))

    @property
    def near_mm(self) -> float:
        """How far from the scan a nominal surface may lie that it shows."""
        return CLOSE_MM + 3.0 * self.fit.rms_mm

    def shows(self, points: Floats, beside_mm: float = 0.0) -> NDArray[np.bool_]:
        """Whether nominal surface points are in the scan, in whichever piece."""
        least = np.full(len(points), np.inf)
        for move in self.fit.moves:
            least = np.minimum(least, distance.distances(self.surface.tree, points - move))
        return np.asarray(least <= self.near_mm + beside_mm)

    def lacks_walls(self, route: Floats) -> bool:
        """Whether walls beside a route (N, 3) of the nominal part are where the scan has nothing.

        Such a wall is far from the scan's surface, and outside its metal: metal that fills a bore
        hides the wall too, but is seen.
        """
        _, walls, _ = distance.closest(self.nominal.tree, np.asarray(route, np.float64))
        lacking = ~self.shows(walls)
        for move in self.fit.moves if lacking.any() else ():
            lacking[lacking] = self.surface.off(walls[lacking] - move)[1] > 0.0
        return bool(lacking.any())


def registered(
    scan: Soup,
    nominal: Soup,
    levels: tuple[tuple[float, float], ...] = (),
    placed: bool = False,
    finer: Callable[[Floats, Floats], Floats] | None = None,
    beside_mm: float = 0.0,
) -> Registered:
    """Lay a scan on the nominal part.

    Parameters
    ----------
    scan, nominal : (F, 3, 3) ndarray of float32, mm
        Closed.
    levels : tuple of (low, high), mm
        Heights of the event in the part's coordinates; see `pose.fit`.
    placed : bool
        The file stands about as the part does: no other way round is looked for.
    finer : function, optional
        Points (M, 3) that lie on the scan's faces better than its facets do, each known by itself;
        of points and outward normals there, (N, 3), mm of the scan.
    beside_mm : float, optional
        So near to an edge of the part they do not count: blur takes from both of its faces.

    Raises
    ------
    ScanError
        It is a mirror image, of another size or another part, too much of it is missing, or it
        fits as well another way round and does not stand as the part does.
    """
    whole = Surface.of(nominal)
    size = float(np.linalg.norm(np.ptp(nominal.reshape(-1, 3).astype(np.float64), axis=0)))
    _refuse_other_size(scan, size)
    looks = _Looks(whole, Surface.of(scan), size)
    right, wrong = looks.best(_starts(scan, nominal, placed, 1), _starts(scan, nominal, placed, -1))
    if wrong and wrong[0].misfit < HAND * right[0].misfit:
        raise ScanError(
            f"the scan is a mirror image of the part: mirrored it fits to {wrong[0].misfit:.3f} "
            f"mm, as it is to {right[0].misfit:.3f} mm; its slices are in the wrong order, or one "
            "axis is turned over"
        )
    chosen, others = _chosen(right, wrong, placed)
    near = fit(whole, sampled(scan, MANY), chosen.pose, levels)
    points = sampled(scan, MOST)
    better = np.empty((0, 3))
    if finer is not None:
        shown = sampled(scan, MOST_COLUMNS)
        normals = whole.off(near.pose.at(shown))[2] @ near.pose.rotation
        better = finer(shown, normals)
        better = better[_on_one_face(whole, near.pose.at(better), beside_mm)]
    known = len(better) >= FEWEST
    points = better if known else points
    found = fit(whole, points, near.pose, levels, FINE, near.moves)
    _refuse_other_scale(found)
    own = looks.nearer(found.pose, found.moves)
    if own > FARTHEST * size:
        raise ScanError(
            f"the scan does not fit the part: most of it lies {own:.2f} mm off; is it of this "
            "part, and all of it?"
        )
    told = _told(found, scan, whole, tuple(words for words, _ in others), levels)
    effective = ALIKE_COLUMNS if known else told.effective
    ways = tuple(_from(chosen.pose, look.pose) for _, look in others)
    return replace(told, ways=ways, effective=effective)


def _on_one_face(nominal: Surface, points: Floats, beside_mm: float) -> NDArray[np.bool_]:
    """Whether the face next to each point goes on so far around it, bent a little at most."""
    _, near, which = distance.closest(nominal.tree, points)
    normals = nominal.normals[which]
    across = np.eye(3)[np.abs(normals).argmin(axis=1)]
    first = np.cross(normals, across)
    first /= np.linalg.norm(first, axis=1, keepdims=True)
    second = np.cross(normals, first)
    sound = np.ones(len(points), bool)
    for way in (first, -first, second, -second):
        away = distance.distances(nominal.tree, near + beside_mm * way)
        sound &= away < BENT * beside_mm
    return sound


def _refuse_other_size(scan: Soup, size: float) -> None:
    own = float(np.linalg.norm(np.ptp(scan.reshape(-1, 3).astype(np.float64), axis=0)))
    if own > 2.0 * size or own < 0.3 * size:
        raise ScanError(
            f"the scan is {own / size:.3g} times as large as the part ({own:.4g} mm across, "
            f"expected {size:.4g} mm): its unit or voxel size is wrong, or most of it is missing"
        )


def _refuse_other_scale(found: Fit) -> None:
    """A wrong voxel size; or, where one of its own axes is unlike the others, a wrong spacing."""
    scales = found.scales
    off, every = scales.own - 1.0, scales.every - 1.0
    told = off[scales.told]
    usual = float(np.median(told)) if len(told) > 2 else 0.0
    odd = int(np.argmax(np.where(scales.told, np.abs(off - usual), -1.0)))
    limit = _most_off(found, float(scales.half_mm[odd]))
    uneven = len(told) > 1 and float(np.ptp(told)) > limit
    if uneven and np.abs(told).max() > MOST_SCALE:
        said = ", ".join(
            f"{axis} {100.0 * one:+.2f} %"
            for axis, one, known in zip("xyz", off, scales.told, strict=True)
            if known
        )
        raise ScanError(
            f"the scan is larger than the part by unlike shares along its own axes ({said}; more "
            f"than {100.0 * limit:.2g} % apart): the spacing of its voxels along "
            f"{'xyz'[odd]} is wrong, or it is of another part"
        )
    limit = _most_off(found, float(scales.half_mm.max()))
    if abs(every) > limit:
        raise ScanError(
            f"the scan is {100.0 * every:+.2f} % larger than the part, more than "
            f"{100.0 * limit:.2g} %: its voxel size or unit is wrong, or it is of another part"
        )


def _most_off(found: Fit, half_mm: float) -> float:
    """Most that a scale may be off: of a small, noisy scan what its faces scatter besides."""
    return MOST_SCALE + FACES_OFF * found.scales.scatter_mm / max(half_mm, 1e-9)


# ---- ways to lay it ----------------------------------------------------------------------------


@dataclass(frozen=True, eq=False)
class _Look:
    """A fit, and how far the surfaces lie apart on the average."""

    pose: Pose
    misfit: float


class _Looks:
    """Fits from many starts, compared by how far the two surfaces lie apart, both ways."""

    def __init__(self, nominal: Surface, scan: Surface, size: float):
        self.nominal, self.scan, self.size = nominal, scan, size
        self.spots = nominal.spots(SPOTS)
        self.few, self.more = (sampled(scan.triangles, n) for n in (FEW, MORE))
        self.back = sampled(nominal.triangles, MORE)

    def best(self, right: Sequence[Pose], wrong: Sequence[Pose]) -> tuple[list[_Look], list[_Look]]:
        """The best fits of each hand that lie apart, the best first; of the right one at least one.

        What a first look finds far worse than the best is not looked at again.
        """
        quick = [
            [looked(self.spots, self.few, start, QUICK) for start in starts]
            for starts in (right, wrong)
        ]
        rough = [[(self._quick(pose), n) for n, pose in enumerate(poses)] for poses in quick]
        most = FAR_WORSE * min(min(found)[0] for found in rough)
        ordered = [
            [poses[n] for misfit, n in sorted(found) if misfit <= most]
            for poses, found in zip(quick, rough, strict=True)
        ]
        ordered[0] = ordered[0] or [quick[0][min(rough[0])[1]]]
        return self._apart(ordered[0]), self._apart(ordered[1])

    def _apart(self, poses: Sequence[Pose]) -> list[_Look]:
        found: list[_Look] = []
        for pose in poses:
            if len(found) == BEST:
                break
            if any(pose.apart(one.pose, self.few) < OTHER_POSE * self.size for one in found):
                continue
            fine = looked(self.nominal, self.more, pose, QUICK)
            if all(fine.apart(o.pose, self.few) >= OTHER_POSE * self.size for o in found):
                found.append(self._look(fine))
        return sorted(found, key=lambda look: look.misfit)

    def _capped(self, off: Floats) -> float:
        return float(np.minimum(np.abs(off), CAP * self.size).mean())

    def _quick(self, pose: Pose) -> float:
        return self._capped(self.spots.off(pose.at(self.few))[0])

    def _look(self, pose: Pose) -> _Look:
        there = self.nominal.off(pose.at(self.more))[0]
        back = (self.back - pose.shift) @ pose.rotation
        misfit = max(self._capped(there), self._capped(self.scan.off(back)[0]))
        return _Look(pose, misfit + LEAST * self.size)

    def nearer(self, pose: Pose, moves: Floats) -> float:
        """How far most of the scan lies off, each point in whichever piece."""
        at = pose.at(self.more)
        away = np.min([self.nominal.off(at + move)[0] for move in moves], axis=0)
        return self._capped(np.sort(away)[: int(NEARER * len(away))])


def _starts(scan: Soup, nominal: Soup, placed: bool, hand: int) -> list[Pose]:
    """As the file stands, and every way to lay axis on axis; of one hand."""
    turns = [turn for turn in _cube() if np.linalg.det(turn) * hand > 0.0]
    if placed:
        diagonal = [turn for turn in turns if np.count_nonzero(np.diag(turn)) == 3]
        chosen = [AS_IT_IS.rotation] if hand > 0 else diagonal
        middle = nominal.reshape(-1, 3).astype(np.float64)
        centre = 0.5 * (middle.min(axis=0) + middle.max(axis=0))
        return [Pose(turn, centre - turn @ centre) for turn in chosen]
    (a, own), (b, theirs) = _axes(scan), _axes(nominal)
    poses = [Pose(turn, b - turn @ a) for turn in turns]
    poses += [Pose(theirs @ turn @ own.T, b - theirs @ turn @ own.T @ a) for turn in turns]
    if hand > 0:
        poses.insert(0, AS_IT_IS)
    kept: list[Pose] = []
    for pose in poses:
        if all(np.abs(pose.rotation - o.rotation).max() > ALIKE for o in kept[:25]):
            kept.append(pose)
    return kept


def _cube() -> list[Floats]:
    """The 48 ways to lay axes on axes, mirrored ones too."""
    found = []
    for order in itertools.permutations(range(3)):
        for signs in itertools.product((1.0, -1.0), repeat=3):
            found.append(np.eye(3)[list(order)] * np.array(signs)[:, None])
    return found


def _axes(soup: Soup) -> tuple[Floats, Floats]:
    """Centroid of a surface, and its principal axes as columns of a rotation."""
    points = sampled(soup, MORE, seed=1)
    centre = points.mean(axis=0)
    axes = np.linalg.eigh(np.cov((points - centre).T))[1]
    return centre, axes * np.sign(np.linalg.det(axes))


def _chosen(
    right: list[_Look], wrong: list[_Look], placed: bool
) -> tuple[_Look, list[tuple[str, _Look]]]:
    """The pose that is taken, and which others fit nearly as well, in words."""
    best = right[0]
    alike = [look for look in right if look.misfit <= AS_GOOD * best.misfit]
    near = min(alike, key=lambda look: look.pose.turn_deg)
    if len(alike) > 1 and not placed and near.pose.turn_deg > NEAR_DEG:
        raise ScanError(
            f"the scan fits {len(alike)} ways round nearly equally well "
            f"({', '.join(_way(look, None) for look in alike)}): turn the file to how the part "
            "stands, within 10 degrees"
        )
    also = [(_way(look, near), look) for look in alike if look is not near]
    if wrong and wrong[0].misfit <= AS_GOOD * near.misfit:
        said = f"mirrored, to {wrong[0].misfit:.3f} mm: a mirror image would not be noticed"
        also.append((said, wrong[0]))
    return near, also


def _from(one: Pose, other: Pose) -> Pose:
    """Where another pose puts what one puts at a place."""
    turn = other.rotation @ one.rotation.T
    return Pose(turn, other.shift - turn @ one.shift)


def _way(look: _Look, chosen: _Look | None) -> str:
    turn = look.pose.rotation if chosen is None else look.pose.rotation @ chosen.pose.rotation.T
    angle = Pose(turn, look.pose.shift).turn_deg
    return f"turned by {angle:.1f} deg, to {look.misfit:.3f} mm"


# ---- what the fit shows ------------------------------------------------------------------------


def _told(
    found: Fit,
    scan: Soup,
    of: Surface,
    also: tuple[str, ...],
    levels: tuple[tuple[float, float], ...],
) -> Registered:
    laid = found.pose.at(scan.reshape(-1, 3).astype(np.float64)).reshape(-1, 3, 3)
    triangles = laid.astype(np.float32) + np.float32(0.0)
    edges = np.linalg.norm(laid - np.roll(laid, 1, axis=1), axis=2)
    flat = np.cross(laid[:, 1] - laid[:, 0], laid[:, 2] - laid[:, 0])
    area = 0.5 * float(np.linalg.norm(flat, axis=1).sum())
    spots = max(area / (2.0 * float(np.median(edges))) ** 2, 1.0)
    effective = max(MOST / spots, 1.0)
    laid_on = Surface.of(triangles)
    whole = Registered(found, triangles, 0.0, None, None, also, effective, laid_on, of, levels)
    points = sampled(of.triangles, MORE)
    lacking = points[~whole.shows(points)]
    missing = len(lacking) / len(points)
    if missing > REFUSED:
        raise ScanError(
            f"the scan shows {100.0 * (1.0 - missing):.0f} % of the part's surface only: cut off, "
            "or of another part"
        )
    low = lacking.min(axis=0) if missing > NAMED else None
    high = lacking.max(axis=0) if missing > NAMED else None
    return replace(whole, missing=missing, missing_low=low, missing_high=high)
