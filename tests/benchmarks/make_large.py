"""Make a very large part and its case: `python tests/benchmarks/make_large.py OUTDIR`.

A block of 400 x 400 x 350 mm with an open gyroid core between solid walls and three passages
of radius 8 mm in solid sleeves, as the zero surface of a field sampled at 1.25 mm: more than
ten million triangles, closed, binary STL. At 0.2 mm its box holds seven thousand million cells.
All numbers are our own invention.

By construction (analytic): the sheet of layers 0 to 2 at z = 120 finds solid metal but for the
holes of the upright bores that start underneath. `riser` starts upright and stays open; `leaning`
is 20 degrees off the vertical, 43.7 mm aside at the sheet, and is sealed there; `across` runs
level above the sheet through the whole part and is not touched.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE.parent)]

import shapes as s  # noqa: E402
from make_part import axis_distance, void_of_core, without_specks  # noqa: E402

SIZE = (400.0, 400.0, 350.0)
PITCH = 1.25  # exact in binary: flat faces stay flat
RADIUS = 8.0
SLEEVE = 6.0
WALL = 10.0
CELL = 25.0
VENTS = ((100.0, 40.0), (100.0, 310.0), (300.0, 40.0), (300.0, 310.0))  # x, z on the face y = 0
LEAN = np.tan(np.radians(20.0))

CASE = """# A very large part: three passages, one of them nonconforming. Made by make_large.py.

[part]
name = "large"
mesh = "large.stl"
layer_thickness = 0.05
platform_z = 0.0

[[passage]]
name = "riser"
inlet = {{ centre = [80.0, 80.0, 0.0], radius = 8.0 }}
outlet = {{ centre = [0.0, 80.0, 250.0], radius = 8.0 }}
min_clear_diameter = 14.5

[[passage]]
name = "leaning"
inlet = {{ centre = [200.0, 200.0, 0.0], radius = 8.2 }}
outlet = {{ centre = [{top:.3f}, 200.0, 350.0], radius = 8.2 }}
min_clear_diameter = 14.5

[[passage]]
name = "across"
inlet = {{ centre = [0.0, 330.0, 200.0], radius = 8.0 }}
outlet = {{ centre = [400.0, 330.0, 240.0], radius = 8.0 }}
min_clear_diameter = 14.5

[[stray]]
shape = "layer"
source = "log"
height = 120.0
from_layer = 0
layers = 3
resume = "height"
penetration = 0.1

[drilling]
drills = [{{ diameter = 15.0, flute = 200.0, overall = 300.0 }}]

[grid]
pitch = 0.2
"""


def axes() -> list[NDArray]:
    """Axes of the passages, 5 mm longer than the block at the ports."""
    riser = s.bent_line([(80, 80, -5), (80, 80, 250), (-5, 80, 250)], 25)
    leaning = np.array([(200 - 5 * LEAN, 200, -5), (200 + 355 * LEAN, 200, 355)])
    across = s.bent_line([(-5, 330, 200), (200, 330, 200), (240, 330, 240), (405, 330, 240)], 25)
    return [riser, leaning, across]


def field() -> NDArray[np.float32]:
    """Positive in metal, mm near the walls of passages, at points PITCH * (i, j, k)."""
    core = void_of_core(SIZE, PITCH, CELL, WALL)
    shape = core.shape
    passages = np.full(shape, np.float32(99))
    for line in axes():
        near = axis_distance(shape, line, RADIUS + SLEEVE + 3, PITCH)
        np.minimum(passages, near, out=passages)
    np.minimum(core, passages - np.float32(RADIUS + SLEEVE), out=core)
    for vent_x, vent_z in VENTS:
        line = np.array([(vent_x, -5.0, vent_z), (vent_x, WALL + 12.0, vent_z)])
        np.maximum(core, 6.0 - axis_distance(shape, line, 10.0, PITCH), out=core)
    return without_specks(np.minimum(-core, passages - np.float32(RADIUS)))


def make(folder: Path) -> Path:
    """Write large.stl and case.toml into a folder and return the case's path."""
    folder.mkdir(parents=True, exist_ok=True)
    triangles = s.soup_of_field(field(), (0.0, 0.0, 0.0), PITCH)
    print(f"{len(triangles):,} triangles")
    s.write_stl(folder / "large.stl", triangles)
    case = folder / "case.toml"
    case.write_text(CASE.format(top=200 + 350 * LEAN), encoding="utf-8")
    return case


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit("usage: python make_large.py OUTDIR")
    print(make(Path(sys.argv[1])))
