"""Make parts of tubes and their cases: `python tests/benchmarks/make_tubes.py OUTDIR`.

All numbers are our own invention. `plenum/`: a block of 56 x 56 x 84 mm with a round plenum that
one inlet feeds from below and twelve curved tubes leave upward, six of them to a wide ring and six
to a narrow one, about 56,000 triangles; `twelve.toml` has all passages, `one.toml` one of them,
`one-narrow.toml` one of the others. `range/`: a block of 30 x 24 x 40 mm with a leaning and an
upright bore, about 12,000 triangles; `known.toml` tells the event, `unknown.toml` its height to
2 mm, two or three layers, and not how the build was resumed.

By construction (analytic), with centres of the tubes at height z: at the sheet the wide ring's
tubes stand 3.7 mm aside of the layers that were melted, more than their diameter of 3, so they are
blocked; those of the narrow ring stand 1.6 mm aside and leave lenses 1.4 mm wide, so they are
restricted. In the range the bore that leans by 30 degrees is blocked wherever the sheet of layers 0
to 1 is, since it stands more than its diameter aside there; the upright bore is open.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE), str(HERE.parent)]

import shapes as s  # noqa: E402

TUBES = 12
RADIUS, SEGMENTS = 1.5, 56
PLENUM = (12.0, 10.0, 20.0)  # radius, floor, ceiling, mm
TOP = 84.0
LEAVING, WIDE, NARROW = 8.0, 22.0, 14.0  # radii of the rings of tubes at the plenum and at the top
LEAN = np.tan(np.radians(30.0))

HEAD = """# Made by make_tubes.py.

[part]
name = "{name}"
mesh = "part.stl"
layer_thickness = 0.05
platform_z = 0.0
"""
PASSAGE = """
[[passage]]
name = "{name}"
inlet = {{ centre = [{inlet}], radius = {radius} }}
outlet = {{ centre = [{outlet}], radius = {out} }}
min_clear_diameter = {required}
"""
CLOSED = """
[[closed]]
name = "end {tube}"
centre = [{outlet}]
radius = 1.5
"""
PLENUM_EVENT = """
[[stray]]
shape = "layer"
source = "log"
height = 66.0
from_layer = 1040
layers = 3
resume = "height"
"""
RANGE_EVENT = """
[[stray]]
shape = "layer"
source = "log"
height = 24.0
from_layer = 0
layers = {layers}
resume = "{resume}"
"""


def ring(tube: int) -> float:
    """Radius of the ring at the top that a tube leads to, mm."""
    return WIDE if tube % 2 == 0 else NARROW


def axis(tube: int) -> NDArray[np.float64]:
    """Axis of a tube, 3 mm longer than the part at both ends, (N, 3) mm."""
    turn = 2.0 * np.pi * tube / TUBES
    out = np.array([np.cos(turn), np.sin(turn), 0.0])
    up = np.array([0.0, 0.0, 1.0])
    corners = [
        LEAVING * out + (PLENUM[2] - 3.0) * up,
        LEAVING * out + 30.0 * up,
        ring(tube) * out + 60.0 * up,
        ring(tube) * out + (TOP + 3.0) * up,
    ]
    return s.bent_line(corners, 20.0, 1.2)


def plenum_part() -> NDArray[np.float32]:
    """The block with a plenum and its tubes."""
    solid = s.block((-28, -28, 0), (28, 28, TOP))
    solid -= s.bore((0, 0, PLENUM[1]), (0, 0, PLENUM[2]), PLENUM[0], segments=256)
    solid -= s.bore((0, 0, -3), (0, 0, PLENUM[1] + 2.0), 4.0)
    for tube in range(TUBES):
        solid -= s.tube_along(axis(tube), RADIUS, SEGMENTS)
    return s.soup(solid)


def tube_case(tubes: list[int], name: str) -> str:
    """A case of some tubes; the others are closed."""
    text = HEAD.format(name=name)
    ends = {tube: axis(tube)[-1] for tube in range(TUBES)}
    outlets = {tube: f"{end[0]:.4f}, {end[1]:.4f}, {TOP}" for tube, end in ends.items()}
    for tube in tubes:
        place = {"inlet": "0.0, 0.0, 0.0", "outlet": outlets[tube]}
        text += PASSAGE.format(name=f"tube {tube + 1}", radius=4.0, out=1.5, required=2.6, **place)
    others = [tube for tube in range(TUBES) if tube not in tubes]
    text += "".join(CLOSED.format(tube=tube + 1, outlet=outlets[tube]) for tube in others)
    return text + PLENUM_EVENT


def range_part() -> NDArray[np.float32]:
    """The block with an upright and a leaning bore."""
    solid = s.block((0, 0, 0), (30, 24, 40))
    solid -= s.bore((8, 17, -1), (8, 17, 41), 2.0).refine_to_length(1.6)
    solid -= s.bore((5 - LEAN, 7, -1), (5 + 41 * LEAN, 7, 41), 2.0).refine_to_length(1.6)
    return s.soup(solid)


def range_case(known: bool) -> str:
    """A case of both bores, with the event known or not."""
    text = HEAD.format(name="range")
    upright = {"inlet": "8.0, 17.0, 0.0", "outlet": "8.0, 17.0, 40.0"}
    text += PASSAGE.format(name="upright", radius=2.0, out=2.0, required=3.5, **upright)
    leaning = {"inlet": "5.0, 7.0, 0.0", "outlet": f"{5 + 40 * LEAN:.4f}, 7.0, 40.0"}
    text += PASSAGE.format(name="leaning", radius=2.1, out=2.1, required=3.5, **leaning)
    if known:
        return text + RANGE_EVENT.format(layers="2", resume="height")
    event = RANGE_EVENT.format(layers="[2, 3]", resume="unknown")
    return text + event + "height_uncertainty = 2.0\n"


def make_plenum(folder: Path) -> Path:
    """Write the part with a plenum and its cases; returns the folder."""
    folder.mkdir(parents=True, exist_ok=True)
    s.write_stl(folder / "part.stl", plenum_part())
    cases = {"twelve": list(range(TUBES)), "one": [0], "one-narrow": [1]}
    for name, tubes in cases.items():
        (folder / f"{name}.toml").write_text(tube_case(tubes, name), encoding="utf-8")
    return folder


def make_range(folder: Path) -> Path:
    """Write the part with two bores and its cases; returns the folder."""
    folder.mkdir(parents=True, exist_ok=True)
    s.write_stl(folder / "part.stl", range_part())
    for name in ("known", "unknown"):
        (folder / f"{name}.toml").write_text(range_case(name == "known"), encoding="utf-8")
    return folder


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit("usage: python make_tubes.py OUTDIR")
    print(make_plenum(Path(sys.argv[1]) / "plenum"), make_range(Path(sys.argv[1]) / "range"))
