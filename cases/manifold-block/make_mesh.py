"""Make the mesh of this case: `python make_mesh.py [FILE]`. Dimensions are our own invention."""

import sys
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parents[1] / "tests"))

import shapes as s  # noqa: E402

HEIGHT = 87.5  # 1750 layers of 0.05 mm
RUN = 26.0  # height of the level runs: above slice 412, below the sheet at 32.75


def axes() -> dict[str, tuple[np.ndarray, float]]:
    """Axis and radius of each passage, 2 mm longer than the block at the ports."""
    top = HEIGHT + 2
    tank = [(0, -18, -5), (0, -18, RUN), (24, -18, RUN), (24, -18, top)]
    pilot = [(-24, 18, top), (-24, 18, RUN), (6, 18, RUN), (6, 18, top)]
    lean = np.tan(np.radians(30.0))
    gauge = [(18 - 2 * lean, 18, top), (18 + (HEIGHT - 52) * lean, 18, 52), (52, 18, 52)]
    return {
        "pressure": (s.bent_line([(-36, -18, -5), (-36, -18, 72), (-52, -18, 72)], 9, 2.5), 4.0),
        "tank": (s.bent_line(tank, 5.5, 2.5), 4.0),
        "pilot": (s.bent_line(pilot, 5.5, 2.5), 4.0),
        "gauge": (s.bent_line(gauge, 8, 2.5), 2.5),
    }


def make() -> s.Soup:
    """Footed block less its passages and four blind holes in the top."""
    solid = s.footed_block((100, 70), 4, HEIGHT)
    for axis, radius in axes().values():
        solid -= s.tube_along(axis, radius, 112)
    for x in (-44, 44):
        for y in (-29, 29):
            solid -= s.bore((x, y, HEIGHT - 16), (x, y, HEIGHT + 1), 2.5, segments=64)
    return s.soup(solid)


if __name__ == "__main__":
    target = sys.argv[1] if len(sys.argv) > 1 else HERE / "manifold-block.ply"
    s.write_ply(target, make())
