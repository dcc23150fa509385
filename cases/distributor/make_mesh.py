"""Make the mesh of this case: `python make_mesh.py [FILE]`. Dimensions are our own invention."""

import sys
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parents[1] / "tests"))

import shapes as s  # noqa: E402

HEIGHT = 85.0
BEND = 45.0  # height of the slight bend of "feed"
LEAN = np.tan(np.radians(7.0))  # of its lower leg


def axes() -> dict[str, tuple[np.ndarray, float]]:
    """Axis and radius of each passage, 2 mm longer than the body at the ports."""
    x = -(BEND - 16.0) * LEAN
    feed = [(0, 0, HEIGHT + 2), (0, 0, BEND), (x, 0, 16), (x, 32, 16)]
    left = [(-24, 10, -5), (-24, 10, 56), (-24, -10, 66), (-24, -10, HEIGHT + 2)]
    right = [(24, -10, -5), (24, -10, 56), (24, 10, 66), (24, 10, HEIGHT + 2)]
    return {
        "feed": (s.bent_line(feed, 7, 1.5), 3.5),
        "left": (s.bent_line(left, 8, 2), 3.0),
        "right": (s.bent_line(right, 8, 2), 3.0),
    }


def make() -> s.Soup:
    """Footed body with a waist, less its passages."""
    solid = s.footed_block((70, 60), 8, HEIGHT)
    for side in (-1, 1):
        solid -= s.bore((-50, side * 42, 50), (50, side * 42, 50), 18.0, segments=256)
    for axis, radius in axes().values():
        solid -= s.tube_along(axis, radius)
    return s.soup(solid)


if __name__ == "__main__":
    target = sys.argv[1] if len(sys.argv) > 1 else HERE / "distributor.ply"
    s.write_ply(target, make())
