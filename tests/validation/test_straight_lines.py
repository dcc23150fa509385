"""Widest straight lines in passages whose answer is known in closed form.

All values are analytic, derived beside the test. A mesh of a round bore is narrower than its
drawing by radius * (1 - cos(pi / segments)), 0.002 mm here; the search stops 0.05 mm from the best
it can prove, and what it reports is mostly far nearer.
"""

import numpy as np
import pytest
import shapely
import shapes
import shared
from scipy.optimize import minimize

from clearance.drilling.widest_line import Region, widest_line
from clearance.geometry import box_tree, sections
from clearance.geometry.planes import Plane


def disc(plane, centre, radius):
    [centre] = plane.to_plane([centre])
    return Region(plane, shapely.Point(centre).buffer(radius, 24))


def level(z, x, y, radius):
    return disc(Plane.level(z), (x, y, z), radius)


def search(triangles, start, end, enough, **how):
    return widest_line(box_tree.build(triangles), start, end, enough_mm=enough, **how)


def test_vertical_tube():
    """The margin is the tube's radius less the drill's, wherever the line ends."""
    found = search(shapes.straight_bore(3.0), level(0, 0, 0, 3), level(15, 0, 0, 3), 2.5)
    assert found.radius == pytest.approx(3.0, abs=0.01)
    assert found.direction == pytest.approx((0, 0, 1), abs=2e-3)


@pytest.mark.parametrize("tilt", [15.0, 30.0, 45.0])
def test_tilted_tube(tilt):
    """Axis (x, 0, z), x = (z - 15) tan(tilt); the level sections are ellipses."""
    triangles = shapes.tilted_bore(3.0, tilt, (60.0, 20.0, 30.0))
    lean = np.tan(np.radians(tilt))
    ends = []
    for z in (0.0, 20.0):
        ellipse = shapely.Point(0, 0).buffer(3, 24)
        ellipse = shapely.affinity.scale(ellipse, 1 / np.cos(np.radians(tilt)), 1)
        centre = (z - 15) * lean
        ends.append(Region(Plane.level(z), shapely.affinity.translate(ellipse, centre)))
    found = search(triangles, *ends, 2.5)
    assert found.radius == pytest.approx(3.0, abs=0.02)
    assert np.degrees(np.arccos(found.direction[2])) == pytest.approx(tilt, abs=0.3)


@pytest.mark.parametrize("angle_deg", [30.0, *shared.more(60.0, 90.0)])
def test_bend(angle_deg):
    """Longest line of clear radius a in a bend of radius R, tube of radius r: 4 sqrt(R (r - a)).

    Distances from the tube's axis circle must stay below r - a. In the plane of the bend the line
    is nearest to the centre at its middle, at R - (r - a), and farthest at its ends, at
    R + (r - a): (length / 2)^2 = (R + r - a)^2 - (R - r + a)^2 = 4 R (r - a). Between sections at
    an angle 2 t the ends lie at 2 R / (1 + cos t), so that r - a = R tan(t / 2)^2 and the length
    is 4 R tan(t / 2).
    """
    bend, radius = 10.0, 3.0
    angle = np.radians(angle_deg)
    triangles = shapes.torus_bend(radius, bend, step_deg=1.0)
    start = level(0, -bend, 0, radius)
    middle = bend * np.array([-np.cos(angle), 0, np.sin(angle)])
    end = disc(Plane.through(middle, (np.sin(angle), 0, np.cos(angle))), middle, radius)
    found = search(triangles, start, end, 0.2, tolerance_mm=0.02)
    expected = radius - bend * np.tan(angle / 4) ** 2
    assert found.radius == pytest.approx(expected, abs=0.02)
    length = np.linalg.norm(found.end - found.start)
    # Near the optimum the length hangs on the line only weakly.
    assert length == pytest.approx(4 * np.sqrt(bend * (radius - expected)), abs=0.2)


def test_two_offset_bores():
    """Bores of radius r whose axes lie d apart meet in a lens: r - d / 2 passes, upright.

    The two corners of the lens are 2 r - d apart in the plane where the bores meet; a line that
    leans by an angle comes nearer to both by its cosine.
    """
    radius, offset = 3.0, 2.0
    solid = shapes.block((-10, -10, 0), (12, 10, 40)) - shapes.bore((0, 0, -1), (0, 0, 20), radius)
    solid -= shapes.bore((offset, 0, 20), (offset, 0, 41), radius)
    found = search(shapes.soup(solid), level(0, 0, 0, radius), level(35, offset, 0, radius), 1.5)
    assert found.radius == pytest.approx(radius - offset / 2, abs=0.02)
    assert found.narrowest[0] == pytest.approx(offset / 2, abs=0.1)


@pytest.mark.more
def test_helical_tube():
    """The best line is the one whose largest distance to the helix is least.

    In a tube around a curve the distance to the wall is the radius less the distance to the curve;
    the least of the largest is found here by a simplex search on the curve alone.
    """
    radius, helix, height, turns = 2.0, 10.0, 30.0, 1.5
    rate = 2 * np.pi * turns / height

    def curve(z):
        return np.stack([helix * np.cos(rate * z), helix * np.sin(rate * z), z + 0 * rate], -1)

    def across(z):
        slope = (-helix * rate * np.sin(rate * z), helix * rate * np.cos(rate * z), 1)
        return disc(Plane.through(curve(z), slope), curve(z), radius)

    start, end = across(8.0), across(12.0)  # far from both ports: the wall is there all round
    fine = curve(np.linspace(6, 14, 500))
    along = np.linspace(0, 1, 40)[:, None]

    def farthest(x):
        [p], [q] = start.plane.to_space([x[:2]]), end.plane.to_space([x[2:]])
        line = p + along * (q - p)
        return np.linalg.norm(line[:, None] - fine[None], axis=2).min(axis=1).max()

    least, best = np.inf, np.zeros(4)
    for _ in range(4):  # a simplex may stall where the largest distance changes its place
        tried = minimize(farthest, best, method="Nelder-Mead")
        least, best = min(least, tried.fun), tried.x
    triangles = shapes.helical_tube(radius, helix, height, turns)
    found = search(triangles, start, end, 0.5, tolerance_mm=0.02)
    assert found.radius == pytest.approx(radius - least, abs=0.04)


def _void(triangles, z, near):
    """The void of a level section that lies around a point."""
    metal = sections.metal(triangles, Plane.level(z))
    void = shapely.box(*metal.bounds).difference(metal)
    return min(shapely.get_parts(void), key=lambda part: part.distance(shapely.Point(near)))


def test_z_passage_that_nothing_reaches():
    """Legs at x = 0 and 16: every line from the port to z = 30 goes through the block."""
    found = search(shapes.z_passage(), level(0, 0, 0, 3), level(30, 16, 0, 3), 0.5)
    assert found.radius == 0.0
    assert found.bound < 0.5


def test_u_with_both_ports_on_top():
    """Each port sees its own leg, of radius 3, and nothing of the other."""
    triangles = shapes.u_passage()
    port, near, far = level(30, -10, 0, 3), level(18, -10, 0, 3), level(18, 10, 0, 3)
    assert search(triangles, port, near, 2.5).radius == pytest.approx(3.0, abs=0.01)
    other = search(triangles, port, far, 0.5)
    assert other.radius == 0.0
    assert other.bound < 0.5


def test_elbow_seen_from_one_port_only():
    """A sheet at z = 4 lies in the straight leg below the bend, which begins at z = 7."""
    triangles = shapes.elbow()
    sheet = level(4, 0, 0, 3)
    assert search(triangles, level(0, 0, 0, 3), sheet, 2.5).radius == pytest.approx(3.0, abs=0.01)
    side = Plane.through((20, 0, 15), (1, 0, 0))
    other = search(triangles, disc(side, (20, 0, 15), 3), sheet, 0.5)
    assert other.bound < 0.5


# ---- planted bores: a straight one of known radius inside a wider passage that hides it


def hidden(kind, radius, length, seed, wide=6.0):
    """Block with a leaning bore inside a bent or a rough passage; the bore's ends."""
    rng = np.random.default_rng(seed)
    p = np.array([*rng.uniform(-wide / 2, wide / 2, 2), 0.0])
    q = np.array([*rng.uniform(-wide / 2, wide / 2, 2), length])
    step = (q - p) / length
    tool = shapes.bore(p - 3 * step, q + 3 * step, radius, segments=192)
    if kind == "bent":
        z = np.linspace(-2, length + 2, 80)
        s = np.clip(z / length, 0, 1) * np.pi
        axis = np.column_stack([13 * np.sin(s) ** 2, 4 * np.sin(2 * s), z])
        tool += shapes.tube_along(axis, wide, 64)
    else:  # discs of all sizes that reach out to one side of the bore, never across it
        slices = 30
        for k in range(slices):
            low, high = length * k / slices, length * (k + 1) / slices
            size, turn = rng.uniform(0.4, 1.0) * wide, 2.4 * k
            away = (size + 0.3 * radius) * np.array([np.cos(turn), np.sin(turn)])
            x, y = (p + 0.5 * (low + high) * step)[:2] + away
            tool += shapes.bore((x, y, low), (x, y, high), size, segments=48)
    block = shapes.block((-40, -40, 0), (40, 40, length))
    return shapes.soup(block - tool), p, q


PLANTED = [
    (size, kind, seed)
    for size in ((3.0, 60.0), (1.5, 150.0), (0.6, 150.0))
    for kind in ("bent", "rough")
    for seed in (0, 1)
]
PLAIN = [((3.0, 60.0), "rough", 0), ((1.5, 150.0), "bent", 0), ((0.6, 150.0), "bent", 0)]


@pytest.mark.parametrize(
    ("size", "kind", "seed"),
    [*PLAIN, *shared.more(*(one for one in PLANTED if one not in PLAIN))],
)
def test_planted_bore(size, kind, seed):
    """What is found is the planted radius within 0.05 mm, and nothing wider is possible."""
    radius, length = size
    triangles, p, q = hidden(kind, radius, length, seed)
    start = Region(Plane.level(0.0), _void(triangles, 1e-4, p[:2]))
    end = Region(Plane.level(length), _void(triangles, length - 1e-4, q[:2]))
    found = search(triangles, start, end, 0.8 * radius)
    assert found.radius == pytest.approx(radius, abs=0.05)
    assert found.bound < radius + 0.05
    assert found.start == pytest.approx(p, abs=0.3)
    assert found.end == pytest.approx(q, abs=0.3)
