"""Make the mesh of this case: `python make_mesh.py [FILE]`. Dimensions are our own invention."""

import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parents[1] / "tests"))

import manifold3d as m3  # noqa: E402
import shapes as s  # noqa: E402

WIDTH, WALL = 2.0, 0.5  # slots and the walls between them


def circuit(first: float, side: int) -> m3.Manifold:
    """Four upright slots and the two header bores that join them at y = 18 * side."""
    void = s.bore((first, 18 * side, 16), (30, 18 * side, 16), 4.0)
    void += s.bore((first, 18 * side, 64), (30, 18 * side, 64), 4.0)
    for k in range(4):
        x = first + 2 * k * (WIDTH + WALL)
        y = sorted((-10 * side, 22 * side))
        void += s.block((x - WIDTH / 2, y[0], 12), (x + WIDTH / 2, y[1], 68))
    return void


def make() -> s.Soup:
    """Footed block with two nests of slots, warm and cold in turn."""
    solid = s.footed_block((52, 60), 4, 80) - circuit(-8.75, 1) - circuit(-6.25, -1)
    return s.soup(solid)


if __name__ == "__main__":
    target = sys.argv[1] if len(sys.argv) > 1 else HERE / "exchanger-header.stl"
    s.write_stl(target, make())
