"""Make the mesh of this case: `python make_mesh.py [FILE]`. Dimensions are our own invention."""

import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parents[1] / "tests"))

import manifold3d as m3  # noqa: E402
import shapes as s  # noqa: E402

SIZE = (12.0, 9.0, 10.0)
TURN = (6.0, 4.5, 3.0)  # from the side at x 0 to here, then up
RADIUS = 1.5
NOTCH = ((9.0, 6.0, 8.0), (13.0, 10.0, 11.0))  # so that no turn maps the part on itself


def make() -> s.Soup:
    """A block with a bore that enters at its side and leaves at its top."""
    x, y, z = TURN
    level = s.bore((-1, y, z), (x, y, z), RADIUS)
    upright = s.bore((x, y, z), (x, y, SIZE[2] + 1), RADIUS)
    corner = m3.Manifold.sphere(RADIUS, 64).translate(TURN)
    return s.soup(s.block((0, 0, 0), SIZE) - s.block(*NOTCH) - level - upright - corner)


if __name__ == "__main__":
    target = sys.argv[1] if len(sys.argv) > 1 else HERE / "elbow.ply"
    s.write_ply(target, make())
