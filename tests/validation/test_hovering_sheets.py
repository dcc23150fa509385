"""A sheet that hovers beside a mouth, and meets nothing of the passage, narrows it all the same.

A ball in a mouth stands out of it by half its diameter. Analytic: a plate that hovers d in front of
a level mouth leaves a ball of 2 d.
"""

from __future__ import annotations

import make
import pytest
import shapes as s
import shared

from clearance.case.read import read_case
from clearance.checking import judge
from clearance.margins import state_margins
from clearance.sweeps.sweep import sweep
from clearance.sweeps.wanted import Wanted
from clearance.verdict.prepared import prepare

R, NEED = 2.0, 3.0
LOW = s.bore((0, 0, -1), (0, 0, 17), R, segments=48)
STEP = s.block((-9, -5, 0), (4, 5, 10)) + s.block((-9, -5, 0), (-5, 5, 16)) - LOW
"""A step with a bore through it, beside a tower; its upper mouth at z 10."""
OVERHANG = s.block((-9, -5, 0), (-5, 5, 16)) + s.block((-9, -5, 6), (4, 5, 16)) - LOW
"""The same, upside down; its lower mouth at z 6."""


def step(folder, height, flow=None, **keys):
    """The step with a plate at a height."""
    ways = make.passage((0, 0, 0), (0, 0, 10), R, NEED)
    tables = {} if flow is None else {"flow": flow}
    return read_case(make.write_case(folder, STEP, ways, make.plane(height, 1, **keys), **tables))


def overhang(folder, height, flow=None, **keys):
    """The overhang with a plate at a height."""
    ways = make.passage((0, 0, 6), (0, 0, 16), R, NEED)
    tables = {} if flow is None else {"flow": flow}
    sheet = make.plane(height, 1, **keys)
    return read_case(make.write_case(folder, OVERHANG, ways, sheet, **tables))


CASES = [
    (step, 10.0, 0.0, "blocked"),
    (step, 11.4, 2.8, "restricted"),
    (step, 11.5, 3.0, "open"),  # 3.005 mm pass: near, but proven
    (overhang, 5.0, 1.8, "restricted"),
    *shared.more(
        (step, 10.5, 1.0, "restricted"),
        (step, 11.7, 3.4, "open"),
        (step, 12.5, 2 * R, "open"),
        (overhang, 5.9, 0.0, "blocked"),
        (overhang, 4.2, 3.4, "open"),
    ),
]


@pytest.mark.parametrize(("part", "height", "ball", "state"), CASES)
def test_a_plate_in_front_of_a_mouth_leaves_twice_its_distance(tmp_path, part, height, ball, state):
    case = part(tmp_path, height)
    (found,) = make.judged(case).passages
    assert found.state == state
    low, high = found.clear_diameter_mm.low, found.clear_diameter_mm.high
    assert low - 0.01 <= ball <= high + 0.01  # the closing surface lies 0.003 mm within the mouth
    assert high - low < 0.05
    (swept,) = sweep(case, Wanted(height, height)).passages
    assert swept.state == (state,)
    assert swept.low_mm[0] - 0.01 <= ball <= swept.high_mm[0] + 0.01


def test_so_it_does_where_what_is_above_is_lifted(tmp_path):
    (found,) = sweep(step(tmp_path, 11.0, resume="layer"), Wanted(10.4, 12.4, 1.0)).passages
    assert found.state == ("restricted", "restricted", "open")


def test_margins_see_a_plate_that_would_come_to_a_mouth(tmp_path):
    judged = judge(prepare(step(tmp_path, 11.75)))
    (margin,) = state_margins(judged)
    assert margin.looked_down == pytest.approx(0.3)
    assert margin.changes_down.endswith("open becomes restricted")


FLUID = {"density": 1000.0, "viscosity": 1e-3, "rate": 0.2, "max_pressure_loss": 50.0}


@pytest.mark.parametrize(
    ("part", "height", "kept"),
    [
        (step, 12.5, "undetermined"),  # 2.5 mm in front of 4 mm
        (overhang, 1.0, "met"),
        *shared.more((step, 15.0, "met"), (overhang, 4.2, "undetermined")),
    ],
)
def test_nothing_bounds_the_loss_of_a_plate_in_front_of_a_mouth(tmp_path, part, height, kept):
    (found,) = make.judged(part(tmp_path, height, flow=FLUID)).passages
    assert found.state == "open"
    assert found.flow["requirement"]["nominal"] == "met"
    assert found.flow["requirement"]["predicted"] == kept


SIDE = s.block((-8, -6, 0), (8, 6, 12)) - s.bore((-9, 0, 6), (9, 0, 6), R, segments=48)
"""A level bore whose mouths lie at the ends of the part: what is in front lies beyond it."""


@pytest.mark.parametrize(
    ("gap", "state"), [(1.8, "restricted"), (2.5, "open"), *shared.more((0.5, "restricted"))]
)
def test_a_measured_wall_beyond_the_part_in_front_of_a_mouth(tmp_path, gap, state):
    """With the nominal way as a hint it was overlooked where it lay beyond the window."""
    wall = s.block((8 + gap, -6, 0), (8.5 + gap, 6, 12))
    ways = make.passage((-8, 0, 6), (8, 0, 6), R, 3.8)
    found = make.first(
        tmp_path, SIDE, ways, {"shape": "mesh", "mesh": "wall.stl"}, meshes={"wall": wall}
    )
    assert found.state == state
    low, high = found.clear_diameter_mm.low, found.clear_diameter_mm.high
    assert low - 0.01 <= min(2 * gap, 2 * R) <= high + 0.01


def test_a_slice_of_a_support_beyond_the_part_in_front_of_a_mouth(tmp_path):
    """Analytic: its edge lies 1.8 ahead; the ball goes e down, (2 - e)^2 = 1.8^2 + e^2."""
    support = s.block((9.8, -6, 5.8), (11, 6, 6.4))
    ways = make.passage((-8, 0, 6), (8, 0, 6), R, 3.0)
    sheet = make.sheet(6.0, 2, from_layer=59)  # slices through the middle of the bore
    path = make.write_case(
        tmp_path, SIDE, ways, sheet, meshes={"s": support}, part={"also_melted": ["s.stl"]}
    )
    case = read_case(path)
    found = make.judged(case).passages[0]
    ball = 2 * (2 - 0.19)
    assert found.clear_diameter_mm.low <= ball + 0.01
    assert found.clear_diameter_mm.high >= ball - 0.01
    (swept,) = sweep(case, Wanted(6.0, 6.0)).passages
    assert swept.low_mm[0] <= ball + 0.01


@pytest.mark.parametrize(
    ("height", "state"),
    [(11.8, "undetermined"), (10.8, "restricted"), *shared.more((12.5, "open"))],
)
def test_no_crossing_tells_the_open_area_beside_a_plate_in_front_of_a_mouth(
    tmp_path, height, state
):
    ways = make.passage((0, 0, 0), (0, 0, 10), R, NEED, min_open_fraction=0.5)
    case = read_case(make.write_case(tmp_path, STEP, ways, make.plane(height, 1)))
    assert make.judged(case).passages[0].state == state
    assert sweep(case, Wanted(height, height)).passages[0].state == (state,)


@pytest.mark.parametrize("up", [False, *shared.more(True)])
def test_nor_does_one_beside_a_plate_that_slants_over_a_mouth(tmp_path, up):
    """It is nearest beside the mouth; over it 1.1 to 1.8 mm in front."""
    plate = s.block((-3.5, -3, 0), (3, 3, 0.05)).rotate((0, 10.2, 0)).translate((0, 0, 11.44))
    solid, mouths = STEP, ((0, 0, 0), (0, 0, 10))
    if not up:
        solid, plate = (one.rotate((180, 0, 0)).translate((0, 0, 16)) for one in (solid, plate))
        mouths = ((0, 0, 16), (0, 0, 6))
    ways = make.passage(*mouths, R, 2.0, min_open_fraction=0.5)
    stray = {"shape": "mesh", "mesh": "plate.stl"}
    found = make.first(tmp_path, solid, ways, stray, meshes={"plate": plate})
    assert found.clear_diameter_mm.low > 2.0
    assert found.state == "undetermined"
