"""Make the mesh of this case: `python make_mesh.py [FILE]`. Dimensions are our own invention."""

import sys
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parents[1] / "tests"))

import manifold3d as m3  # noqa: E402
import shapes as s  # noqa: E402

HEIGHT = 60.0
LEAN = np.tan(np.radians(25.0))  # of the straight lower legs
STEEP = np.tan(np.radians(60.0))  # of the legs above the first bend


def feed() -> np.ndarray:
    """Axis of the first feed: lower leg to z = 30, bend, lying leg to z = 40, bend, upright."""
    mid = 43.5
    corners = [
        (mid, -14 - 2 * LEAN, -2),
        (mid, -14 + 30 * LEAN, 30),
        (mid, -14 + 30 * LEAN + 10 * STEEP, 40),
        (mid, -14 + 30 * LEAN + 10 * STEEP, HEIGHT + 2),
    ]
    return s.bent_line(corners, 8.0, 3.0)


def turned(points: np.ndarray, angle_deg: float) -> np.ndarray:
    """Points turned about z."""
    a = np.radians(angle_deg)
    turn = np.array([[np.cos(a), -np.sin(a), 0], [np.sin(a), np.cos(a), 0], [0, 0, 1]])
    return points @ turn.T


def make() -> s.Soup:
    """Ring with a flared foot, three leaning feeds of bore 6 and one upright bore of 4."""
    solid = m3.Manifold.cylinder(HEIGHT, 55, circular_segments=256)
    solid += m3.Manifold.cylinder(3, 58, 55, circular_segments=256)
    solid -= m3.Manifold.cylinder(HEIGHT + 2, 32, circular_segments=192).translate((0, 0, -1))
    for angle in (0, 120, 240):
        solid -= s.tube_along(turned(feed(), angle), 3.0)
    x, y, _ = turned(np.array([43.5, 0, 0]), 75)
    solid -= s.bore((x, y, -1), (x, y, HEIGHT + 1), 2.0)
    return s.soup(solid)


if __name__ == "__main__":
    target = sys.argv[1] if len(sys.argv) > 1 else HERE / "nozzle-ring.ply"
    s.write_ply(target, make())
