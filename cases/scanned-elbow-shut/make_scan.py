"""Make the volume of this case: `python make_scan.py`. Invented, with known truth.

Blurred, noisy, a little turned, metal darker inside and voids brighter (beam hardening, roughly).
"""

import sys
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parents[1] / "tests"))
sys.path.insert(0, str(HERE))

import make_mesh as part  # noqa: E402
import scans  # noqa: E402
import volumes  # noqa: E402

VOXEL = 0.2
SHEET, THICK = 7.0, 0.09  # one layer of 0.1 on powder that packs to a half: a little less than it


def distance(at, thick):
    """Distance to the part as built: the bore, perhaps with a sheet across its upright leg."""
    x, y, z = part.TURN
    level = np.maximum(scans.rod(at, (0, y, z), (1, 0, 0), part.RADIUS), at[..., 0] - x)
    upright = np.maximum(scans.rod(at, (x, y, 0), (0, 0, 1), part.RADIUS), z - at[..., 2])
    ball = np.linalg.norm(at - np.array(part.TURN), axis=-1) - part.RADIUS
    void = np.minimum(np.minimum(level, upright), ball)
    metal = np.maximum(scans.block(at, (0, 0, 0), part.SIZE), -scans.block(at, *part.NOTCH))
    metal = np.maximum(metal, -void)
    slab = np.maximum(SHEET - at[..., 2], at[..., 2] - SHEET - thick)
    plug = np.maximum(slab, scans.rod(at, (x, y, 0), (0, 0, 1), part.RADIUS + 0.2))
    return np.minimum(metal, plug) if thick else metal


def make(file: Path, thick: float, seed: int) -> None:
    """One volume, 8 bit, packed."""
    turn = scans.turned((1, 2, 3), 2.0)
    keys = {"rotation": turn, "voxel": VOXEL, "noise": 0.0}
    clean, _ = scans.grey(lambda at: distance(at, thick), (0, 0, 0), part.SIZE, **keys)
    noise = 0.05 * np.random.default_rng(seed).normal(size=clean.shape)
    volumes.write(file, volumes.hardened(clean, VOXEL) + noise)


if __name__ == "__main__":
    make(HERE / "scan.tif", THICK, 1)
