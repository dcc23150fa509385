"""Make the benchmark part and its case: `python tests/benchmarks/make_part.py OUTDIR`.

A block of 90 x 60 x 110.25 mm with an open gyroid core between solid walls and three curved
passages of radius 3.6 mm in solid sleeves, as the zero surface of a field sampled at 0.375 mm:
about 4 million triangles, closed, binary STL. All numbers are our own invention. The core's
void runs out through four vents, two low and two high, so the nominal part traps no powder.

By construction (analytic): the sheet of layers 0 to 2 at z = 40 finds solid metal but for the
holes of the upright bores that start underneath. `riser` and `arch` stay open; the lead-in of
`coil` leans by 25 degrees, 18.6 mm aside at the sheet, and is sealed there. A straight drill
from its inlet reaches the sheet.
"""

from __future__ import annotations

import sys
from itertools import pairwise
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent))

import shapes as s  # noqa: E402

SIZE = (90.0, 60.0, 110.25)
PITCH = 0.375  # exact in binary: flat faces stay flat
RADIUS = 3.6
SLEEVE = 2.4  # metal between a passage and the core
WALL = 4.0
CELL = 8.0
VENTS = ((18.0, 12.0), (18.0, 96.0), (72.0, 12.0), (72.0, 96.0))  # x, z on the face y = 0
LEAN = np.tan(np.radians(25.0))

CASE = """# The benchmark part: three passages, one of them nonconforming. Made by make_part.py.

[part]
name = "benchmark"
mesh = "benchmark.stl"
layer_thickness = 0.05
platform_z = 0.0
material = "316L"

[[passage]]
name = "riser"
inlet = {{ centre = [15.0, 44.0, 0.0], radius = 3.6 }}
outlet = {{ centre = [0.0, 15.0, 95.0], radius = 3.6 }}
min_clear_diameter = 6.5

[[passage]]
name = "arch"
inlet = {{ centre = [78.0, 46.0, 0.0], radius = 3.6 }}
outlet = {{ centre = [78.0, 14.0, 0.0], radius = 3.6 }}
min_clear_diameter = 6.5

[[passage]]
name = "coil"
inlet = {{ centre = [{inlet_x:.3f}, {inlet_y:.3f}, 0.0], radius = 3.8 }}
outlet = {{ centre = [{outlet_x:.3f}, 18.0, 110.25], radius = 3.6 }}
min_clear_diameter = 6.5

[[stray]]
shape = "layer"
source = "log"
height = 40.0
from_layer = 0
layers = 3
resume = "height"
penetration = 0.1

[drilling]
min_wall = 1.0

[grid]
pitch = 0.2
"""


def axes() -> dict[str, NDArray]:
    """Axes of the passages, 3 mm longer than the block at the ports."""
    riser = s.bent_line([(15, 44, -3), (15, 44, 60), (15, 15, 74), (15, 15, 95), (-3, 15, 95)], 9)
    angle = np.radians(np.arange(0, 181, 4.0))
    bow = np.column_stack([78 + 0 * angle, 30 + 16 * np.cos(angle), 75 + 20 * np.sin(angle)])
    arch = np.vstack([[(78, 46, -3)], bow, [(78, 14, -3)]])
    turns = s.helix((48, 31), 13.0, (58.0, 92.0), 2.0, -90.0)
    start = turns[1] - turns[0]
    corner = turns[0] - 16 * start / np.linalg.norm(start)
    port = corner + np.array([LEAN, 0, -1]) * (corner[2] + 3)
    lead_in = s.bent_line([port, corner, turns[0]], 9.0)
    end = turns[-1] + np.array([14.0, 0.0, 18.0 * 34.0 / (4 * np.pi * 13.0)])
    lead_out = s.bent_line([turns[-1], end, (*end[:2], 114.0)], 9.0)
    return {"riser": riser, "arch": arch, "coil": np.vstack([lead_in[:-1], turns[:-1], lead_out])}


def axis_distance(
    shape: tuple[int, ...], line: NDArray, reach: float, pitch: float = PITCH
) -> NDArray[np.float32]:
    """Distance of each grid point from a line of points, exact up to `reach`, mm."""
    distance = np.full(shape, np.float32(2 * reach))
    for a, b in pairwise(line):
        low = np.floor((np.minimum(a, b) - reach) / pitch).astype(int)
        high = np.ceil((np.maximum(a, b) + reach) / pitch).astype(int) + 1
        window = tuple(
            slice(max(i, 0), max(min(j, n), 0)) for i, j, n in zip(low, high, shape, strict=True)
        )
        x, y, z = (np.arange(w.start, w.stop, dtype=np.float32) * np.float32(pitch) for w in window)
        u = (b - a).astype(np.float32)
        x, y, z = (x - a[0])[:, None, None], (y - a[1])[:, None], z - a[2]
        t = np.clip((x * u[0] + y * u[1] + z * u[2]) / (u @ u), 0, 1)
        square = (x - t * u[0]) ** 2 + (y - t * u[1]) ** 2 + (z - t * u[2]) ** 2
        np.minimum(distance[window], np.sqrt(square), out=distance[window])
    return distance


def void_of_core(
    size: tuple[float, ...], pitch: float, cell: float, wall: float
) -> NDArray[np.float32]:
    """Positive in the void of a gyroid core between solid walls, about mm near its surface."""
    x, y, z = (
        np.arange(round(length / pitch) + 1, dtype=np.float32) * np.float32(pitch)
        for length in size
    )
    turn = np.float32(2 * np.pi / cell)
    core = s.gyroid(x[:, None, None] * turn, y[:, None] * turn, z * turn)
    core *= np.float32(cell / (2 * np.pi * 1.5))
    for points, length, along in zip((x, y, z), size, range(3), strict=True):
        inside = np.minimum(points, np.float32(length) - points) - np.float32(wall)
        np.minimum(core, inside.reshape([-1 if i == along else 1 for i in range(3)]), out=core)
    return core


def field() -> NDArray[np.float32]:
    """Positive in metal, mm near the walls of passages, at points PITCH * (i, j, k)."""
    core = void_of_core(SIZE, PITCH, CELL, WALL)
    shape = core.shape
    passages = np.full(shape, np.float32(99))
    for line in axes().values():
        np.minimum(passages, axis_distance(shape, line, RADIUS + SLEEVE + 1), out=passages)
    np.minimum(core, passages - np.float32(RADIUS + SLEEVE), out=core)
    for vent_x, vent_z in VENTS:
        line = np.array([(vent_x, -3.0, vent_z), (vent_x, WALL + 4.0, vent_z)])
        np.maximum(core, 2.5 - axis_distance(shape, line, 4.0), out=core)
    metal = np.minimum(-core, passages - np.float32(RADIUS))
    return without_specks(metal)


def without_specks(metal: NDArray[np.float32]) -> NDArray[np.float32]:
    """Fill pockets of the core that sleeves or walls cut off, drop loose metal."""
    from scipy import ndimage

    for sign in (1, -1):
        labels, count = ndimage.label(metal * sign < 0)  # joined by faces
        size = np.bincount(labels.ravel(), minlength=count + 1)
        # Void: the core and the passages, all far larger; metal: one piece.
        small = size < 20_000
        small[0] = False
        wrong = small[labels]
        metal[wrong] *= -1
    return metal


def make(folder: Path) -> Path:
    """Write benchmark.stl and case.toml into a folder and return the case's path."""
    folder.mkdir(parents=True, exist_ok=True)
    triangles = s.soup_of_field(field(), (0.0, 0.0, 0.0), PITCH)
    s.write_stl(folder / "benchmark.stl", triangles)
    coil = axes()["coil"]
    inlet_x, inlet_y = coil[0][:2] - (3 * LEAN, 0)
    text = CASE.format(inlet_x=inlet_x, inlet_y=inlet_y, outlet_x=coil[-1][0])
    case = folder / "case.toml"
    case.write_text(text, encoding="utf-8")
    return case


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit("usage: python make_part.py OUTDIR")
    print(make(Path(sys.argv[1])))
