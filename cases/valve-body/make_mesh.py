"""Make the mesh of this case: `python make_mesh.py [FILE]`. Dimensions are our own invention."""

import sys
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parents[1] / "tests"))

import manifold3d as m3  # noqa: E402
import shapes as s  # noqa: E402

HEIGHT = 70.0


def axes() -> dict[str, tuple[np.ndarray, float]]:
    """Axis and radius of each passage, 2 mm longer than the body at the ports."""
    top = HEIGHT + 2
    pilot = [(-16, 18, top), (-16, 18, 18), (16, 18, 18), (16, 18, top)]
    return {
        "supply": (s.bent_line([(-26, -14, -5), (-26, -14, 52), (-26, -32, 52)], 9, 2), 4.0),
        "return": (s.bent_line([(26, -14, -5), (26, -14, 54), (42, -14, 54)], 8, 2), 3.0),
        "pilot": (s.bent_line(pilot, 6, 2), 2.0),
    }


def make() -> s.Soup:
    """Footed body with a blind seat for the valve, less its passages."""
    solid = s.footed_block((80, 60), 6, HEIGHT)
    solid += m3.Manifold.cylinder(8, 18, circular_segments=128).translate((0, 0, HEIGHT - 2))
    solid -= s.bore((0, 0, 46), (0, 0, HEIGHT + 7), 9.0, segments=128)
    for axis, radius in axes().values():
        solid -= s.tube_along(axis, radius, 112)
    return s.soup(solid)


if __name__ == "__main__":
    target = sys.argv[1] if len(sys.argv) > 1 else HERE / "valve-body.ply"
    s.write_ply(target, make())
