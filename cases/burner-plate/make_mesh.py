"""Make the mesh of this case: `python make_mesh.py [FILE]`. Dimensions are our own invention."""

import sys
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parents[1] / "tests"))

import manifold3d as m3  # noqa: E402
import shapes as s  # noqa: E402

HEIGHT, RADIUS = 36.0, 48.0
SUPPORT = 4.0  # height of the support columns under the plate
COLUMN, SPACING = 3.0, 6.0  # square columns, centres at whole multiples of the spacing


def lattice() -> m3.Manifold:
    """Void of the relief: half of a Schwarz P lattice of 12 mm cells, four vents included."""
    cell, points = 12.0, 18
    grid = [2 * np.pi * np.arange(n * points + 1) / points for n in (4, 3, 2)]
    values = s.schwarz_p(*np.meshgrid(*grid, indexing="ij"))
    void = s.manifold(s.soup_of_field(values, (-24.0, -6.0, 6.0), cell / points))
    for x, y in ((-12, 6), (12, 18)):
        void += s.bore((x, y, -1), (x, y, 8), 4.0)
        void += s.bore((x, y, 28), (x, y, HEIGHT + 1), 4.0)
    return void


def make() -> s.Soup:
    """Round plate less the relief and three upright passages."""
    solid = m3.Manifold.cylinder(HEIGHT, RADIUS, circular_segments=256) - lattice()
    for (x, y), radius in (((-18, -24), 4.0), ((0, -24), 1.25), ((21, -21), 2.0)):
        solid -= s.bore((x, y, -1), (x, y, HEIGHT + 1), radius)
        chamfer = (x, y, HEIGHT - 0.8), (x, y, HEIGHT + 0.2)
        solid -= s.bore(*chamfer, radius, radius + 1.0)
    return s.soup(solid)


def supports() -> s.Soup:
    """Square columns under the plate, melted with it and cut off later."""
    at = SPACING * np.arange(-7, 8)
    half = COLUMN / 2
    columns = [
        s.block((x - half, y - half, -SUPPORT), (x + half, y + half, 0))
        for x in at
        for y in at
        if np.hypot(x, y) < RADIUS - half * np.sqrt(2)
    ]
    return s.soup(m3.Manifold.compose(columns))


if __name__ == "__main__":
    target = sys.argv[1] if len(sys.argv) > 1 else HERE / "burner-plate.3mf"
    s.write_3mf(target, make(), "burner plate")
    if len(sys.argv) < 2:
        s.write_stl(HERE / "supports.stl", supports())
