"""Make the meshes of this case: `python make_mesh.py [FILE]`. Dimensions are our own invention."""

import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parents[1] / "tests"))

import numpy as np  # noqa: E402
import shapes as s  # noqa: E402

SIZE = (24.0, 18.0, 20.0)
STOCK = 0.5  # on the sides and the foot
TOP = 0.8
RADIUS = 3.0
PLACE = (10.0, 9.0)  # nearer to one end, so that no turn maps the part on itself


def axes() -> dict[str, tuple[np.ndarray, float]]:
    """Axis and radius of each passage, 2 mm longer than the body at the ports."""
    return {"oil": (np.array([(*PLACE, -2), (*PLACE, SIZE[2] + 2)], float), RADIUS)}


def bored(low: tuple[float, float, float], high: tuple[float, float, float]) -> s.Soup:
    """A block with the bore, which nobody machines."""
    axis, radius = axes()["oil"]
    return s.soup(s.block(low, high) - s.tube_along(axis, radius, 64))


def make() -> s.Soup:
    """The block as it is built, with stock to machine."""
    return bored((0, 0, 0), SIZE)


def machined() -> s.Soup:
    """The block as it is drawn: milled all round."""
    x, y, z = SIZE
    return bored((STOCK, STOCK, STOCK), (x - STOCK, y - STOCK, z - TOP))


if __name__ == "__main__":
    target = Path(sys.argv[1]) if len(sys.argv) > 1 else HERE / "guide-block.ply"
    s.write_ply(target, make())
    s.write_ply(target.with_name("guide-block-machined.ply"), machined())
