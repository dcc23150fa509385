"""Volumes laid on a part by their grey values: where they truly lie is known in closed form.

Truth: a block less a notch, turned, shifted, its upper half 0.15 mm aside. Blurred by a Gaussian
each box is a product of differences of normal distributions, here with the variance of a voxel's
own width in it. Asked: 0.01 degree and 5 um (a requirement of the project), and the stated standard
uncertainty of the turn, twice.
``python tests/validation/test_laid_volumes.py`` lays all of them and prints what came out.
"""

import sys
from dataclasses import dataclass
from pathlib import Path

if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

import numpy as np
import pytest
import scans
import shapes
import shared
from scipy.special import ndtr

from clearance.scanned.between_voxels import on_faces
from clearance.scanned.greys import averaged, half_grey
from clearance.scanned.pose import Pose
from clearance.scanned.registration import registered
from clearance.scanned.volume import Mapped, Volume

LOW, HIGH, NOTCH = (0.0, 0.0, 0.0), (12.0, 9.0, 8.0), ((9, 6, 6), (13, 10, 9))
MIDDLE, STEP = np.array([6.0, 4.5, 2.0]), 0.15
SHEET, APART = 4.0, ((3.4, 4.6),)
BLUR = np.hypot(0.7, 1.0 / np.sqrt(12.0))
"""Of a voxel: a Gaussian of 0.7 and its own width."""
KINDS = ((0.2, 0.0), (0.2, 0.03), (0.2, 0.05), (0.12, 0.03))
"""Voxels in mm, and noise over the step from void to metal."""
DRAWN = [(seed, *kind) for kind in KINDS for seed in range(4)]
WITHIN_DEG, WITHIN_MM = 0.01, 5e-3
LATTICE_DEG = 0.001
"""What is left without any noise."""


@dataclass(frozen=True)
class Laid:
    """How far a volume was laid off its true place: degrees, mm, and as stated."""

    turn_deg: float
    u_deg: float
    place_mm: float
    step_mm: float


def values(turn, shift, voxel, noise, seed):
    """Grey values and the first voxel's lower corner, mm."""
    corners = np.stack(np.meshgrid(*np.array([LOW, HIGH]).T, indexing="ij"), -1).reshape(-1, 3)
    placed = corners @ turn.T + shift
    first = placed.min(axis=0) - 5.0 * voxel
    count = np.ceil((placed.max(axis=0) + 5.0 * voxel - first) / voxel).astype(int)
    axes = [first[k] + voxel * (np.arange(count[k]) + 0.5) for k in range(3)]
    at = (np.stack(np.meshgrid(*axes, indexing="ij"), -1) - shift) @ turn
    at[..., 0] -= np.where(at[..., 2] > SHEET, STEP, 0.0)

    def box(low, high):
        blur = BLUR * voxel
        sides = [ndtr((at[..., k] - low[k]) / blur) - ndtr((at[..., k] - high[k]) / blur)
                 for k in range(3)]  # fmt: skip
        return sides[0] * sides[1] * sides[2]

    found = box(LOW, HIGH) - box(NOTCH[0], HIGH)
    return found + noise * np.random.default_rng(seed).normal(size=found.shape), first


def laid(seed, voxel, noise) -> Laid:
    """One of them, turned by 0.2 to 5 degrees."""
    rng = np.random.default_rng(100 + seed)
    turn = scans.turned(rng.normal(size=3), rng.choice([0.2, 1.0, 2.0, 5.0]))
    shift = rng.uniform(-0.4, 0.4, 3)
    grey, first = values(turn, shift, voxel, noise, seed)
    shown = np.ascontiguousarray(grey.astype(np.float32).transpose())
    volume = Volume(Mapped(shown), np.full(3, voxel))
    field = averaged(volume)
    soup = (field.surface(half_grey(field)) + first).astype(np.float32)

    def finer(points, normals):
        return on_faces(volume, field, points - first, normals) + first

    part = shapes.soup(shapes.block(LOW, HIGH) - shapes.block(*NOTCH))
    found = registered(soup, part, APART, True, finer, 3.0 * voxel)
    pose = found.fit.pose
    return Laid(
        Pose(pose.rotation @ turn, shift).turn_deg,
        found.turn_u_deg,
        float(np.abs(pose.at((turn @ MIDDLE + shift)[None])[0] - MIDDLE).max()),
        float(np.abs(-found.fit.moves[1] - [STEP, 0.0, 0.0]).max()),
    )


@pytest.mark.parametrize("number", [5, *shared.more(*(n for n in range(len(DRAWN)) if n != 5))])
def test_a_volume_is_laid_where_it_lies(number):
    """To 0.01 degree and 5 um; with noise of 5 % in 60 voxels two stated uncertainties are more."""
    one = DRAWN[number]
    found = laid(*one)
    assert found.place_mm < WITHIN_MM
    assert found.step_mm < WITHIN_MM
    assert found.turn_deg < max(2.0 * found.u_deg, LATTICE_DEG)
    assert found.turn_deg < WITHIN_DEG or one[2] > 0.03
    assert found.u_deg < WITHIN_DEG or one[2] > 0.03


def main() -> None:
    """All of them, in words."""
    for one in DRAWN:
        found = laid(*one)
        print(
            f"voxel {one[1]} mm noise {100.0 * one[2]:.0f} %: {found.turn_deg:.4f} deg off (u "
            f"{found.u_deg:.4f}), {1e3 * found.place_mm:.1f} um, step {1e3 * found.step_mm:.1f} um",
            flush=True,
        )


if __name__ == "__main__":
    main()
