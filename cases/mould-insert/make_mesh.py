"""Make the mesh of this case: `python make_mesh.py [FILE]`. Dimensions are our own invention."""

import sys
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parents[1] / "tests"))

import manifold3d as m3  # noqa: E402
import shapes as s  # noqa: E402

RADIUS = 4.0  # all three circuits
SEGMENTS = 72  # chord error 0.004 mm
LEAN = 1.6 / 31.2  # circuit-3's inlet leg: 1.6 mm aside at the height of the sheet
TILT = np.tan(np.radians(20.0))  # circuit-2's inlet leg


def coil(turns: int, pitch: float) -> np.ndarray:
    """Points of circuit-2's coil round the core: two straights joined by half circles."""
    half, bend = 15.0, 10.0
    arc = np.radians(np.linspace(-90, 90, 46))
    right = np.column_stack([half + bend * np.cos(arc), bend * np.sin(arc)])
    lap = np.vstack([right, -right])
    plan = np.vstack([[(-3.0, -bend)], *[lap] * turns, right])
    way = np.concatenate([[0], np.cumsum(np.linalg.norm(np.diff(plan, axis=0), axis=1))])
    slope = pitch / (4 * half + 2 * np.pi * bend)
    return np.column_stack([plan, 54.0 + slope * way])


def axes() -> dict[str, np.ndarray]:
    """Axes of the circuits, 2 mm longer than the part at the ports."""
    wave = [(-12, 60), (-12, 44), (12, 44), (12, 60)]

    def serpentine(x_port: float, lean: float, y: float) -> np.ndarray:
        leg = [(x_port - 2 * lean, y, -2.0), (x_port + 60 * lean, y, 60.0)]
        rest = [(x, y, z) for x, z in wave]
        return s.bent_line([*leg, *rest, (30, y, 60), (30, y, -2)], 7.5)

    turns = coil(3, 12.0)
    start = turns[1] - turns[0]
    corner = turns[0] - 13.0 * start / np.linalg.norm(start)
    port = corner + np.array([TILT, 0, -1]) * (corner[2] + 2)
    lead_in = s.bent_line([port, corner, turns[0]], 8.0)
    end = turns[-1]
    lead_out = [end, (9, 10, end[2] + 0.6), (-14, 0, end[2] + 2.5), (-14, 0, -2)]
    lead_out = s.bent_line(lead_out, 7.0)
    return {
        "circuit-1": serpentine(-30.0, 0.0, -21.0),
        "circuit-2": np.vstack([lead_in[:-1], turns[:-1], lead_out]),
        "circuit-3": serpentine(-30.0, LEAN, 21.0),
    }


def make() -> s.Soup:
    """Foot, body and core, less the circuits and two blind holes for fixing."""
    foot = s.rounded_block((92, 62), 5, 0, 0.8) + s.rounded_block((86, 56), 4, 3.8, 3.9)
    body = m3.Manifold.hull(foot) + s.rounded_block((86, 56), 4, 3, 70)
    ball = m3.Manifold.sphere(11, 64)
    dome = [ball.translate((x, y, 99)) for x in (-22, 22) for y in (-7, 7)]
    core = m3.Manifold.batch_hull([s.rounded_block((70, 38), 10, 60, 70.5), *dome])
    solid = body + core
    for x in (-37, 37):
        solid -= s.bore((x, 0, -1), (x, 0, 14), 2.5, segments=48)
        solid -= s.bore((x, 0, 14), (x, 0, 15.4), 2.5, 0.05, segments=48)
    for x in (-30, 30):  # chamfered ports of circuit-1
        solid -= s.bore((x, -21, -0.2), (x, -21, 1.0), RADIUS + 1.2, RADIUS)
    for axis in axes().values():
        solid -= s.tube_along(axis, RADIUS, SEGMENTS)
    return s.soup(solid)


if __name__ == "__main__":
    target = sys.argv[1] if len(sys.argv) > 1 else HERE / "mould-insert.3mf"
    s.write_3mf(target, make(), "mould insert")
