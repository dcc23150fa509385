"""Make the mesh of this case: `python make_mesh.py [FILE]`. Dimensions are our own invention."""

import sys
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parents[1] / "tests"))

import manifold3d as m3  # noqa: E402
import shapes as s  # noqa: E402

HEIGHT = 30.0
FOOT = 3.0  # the foot draws in by as much as it is high


def axes() -> dict[str, tuple[np.ndarray, float]]:
    """Axis and radius of each passage, 2 mm longer than the body at the ports."""
    top = HEIGHT + 2
    sense = [(8, 0, top), (8, 0, 8), (8, 14, 8)]
    return {
        "purge": (np.array([(-8, 0, -2), (-8, 0, top)], float), 3.0),
        "sense": (s.bent_line(sense, 4, 4), 2.5),
    }


def make() -> s.Soup:
    """Block on a foot that draws in at 45 degrees, a recess under its second passage."""
    foot = [s.block((-17 - w, -12 - w, z), (17 + w, 12 + w, z + 1e-3)) for w, z in ((3, 0), (0, 3))]
    solid = m3.Manifold.hull(foot[0] + foot[1]) + s.block((-17, -12, 1), (17, 12, HEIGHT))
    solid -= s.bore((8, 0, -1), (8, 0, 1.5), 3.5)
    for axis, radius in axes().values():
        solid -= s.tube_along(axis, radius, 48)
    return s.soup(solid)


if __name__ == "__main__":
    target = sys.argv[1] if len(sys.argv) > 1 else HERE / "sensor-block.ply"
    s.write_ply(target, make())
