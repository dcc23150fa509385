"""Stray metal that shuts a branch although every level section of it is open.

It stands upright in a level run, or slants across an upright one, or is stepped. Parts are drawn by
hand: branches side by side, of which the stray metal shuts or leaves one.
"""

import make
import pytest
import shapes
import shared

from clearance.case.read import read_case
from clearance.result import State
from clearance.sweeps.sweep import sweep
from clearance.sweeps.wanted import Wanted

block = shapes.block
PITCH = 0.4
"""What no pitch tells is looked at with three finer ones: from here on that is soon done."""


def two_branches():
    void = shapes.bore((0, 0, -1), (0, 0, 4.2), 2) + shapes.bore((0, 0, 15.8), (0, 0, 21), 2)
    void += block((-5, -1.5, 4), (5, 1.5, 6)) + block((-5, -1.5, 14), (5, 1.5, 16))
    void += block((-5, -1.5, 4), (-3, 1.5, 16)) + block((3, -1.5, 4), (5, 1.5, 16))
    return block((-8, -6, 0), (8, 6, 20)) - void


@pytest.mark.parametrize(
    ("low", "high", "asked"),
    [
        (3.5, 6.5, {"every_branch": True}),
        (13.5, 16.5, {"min_open_fraction": 0.5}),
        *shared.more(
            (3.5, 6.5, {}),
            (3.5, 6.5, {"min_open_fraction": 0.5}),
            (13.5, 16.5, {"every_branch": True}),
        ),
    ],
)
def test_an_upright_plate_across_a_level_run_is_no_open_branch(tmp_path, asked, low, high):
    plate = block((2.0, -1.8, low), (2.3, 1.8, high))
    passage = make.passage((0, 0, 0), (0, 0, 20), 2.0, 1.5, **asked)
    stray = {"shape": "mesh", "mesh": "m.stl"}
    case = make.write_case(
        tmp_path, two_branches(), passage, stray, meshes={"m": plate}, pitch=PITCH
    )
    found = make.judged(read_case(case)).passages[0]
    assert found.state is (State.UNDETERMINED if asked else State.OPEN), found.reasons
    assert not any("--pitch" in way for way in found.settled_by)  # no pitch would tell


@pytest.mark.parametrize("asked", shared.more({"min_open_fraction": 0.35}, {"every_branch": True}))
def test_a_measured_sheet_is_judged_as_before(tmp_path, asked):
    """It leaves 0.8 of the 2 mm of one branch, which is 0.4 of its area."""
    sheet = block((3.0, -1.6, 9.5), (4.2, 1.6, 9.7))
    passage = make.passage((0, 0, 0), (0, 0, 20), 2.0, 1.5, **asked)
    stray = {"shape": "mesh", "mesh": "m.stl"}
    case = make.write_case(tmp_path, two_branches(), passage, stray, meshes={"m": sheet})
    assert make.judged(read_case(case)).passages[0].state is State.OPEN


def branch_with_a_fin():
    """Two shafts, a wide run high up and a lower one; in the foot a recess with a rib across."""
    void = shapes.bore((-6, 0, -1), (-6, 0, 12), 1.2, segments=24)
    void += shapes.bore((6, 0, 3.5), (6, 0, 17), 1.2, segments=24)
    void += block((-6, -1, 5), (6, 1, 7)) + block((-6, -1.5, 9.5), (6, 1.5, 12.5))
    recess = block((-7.5, -2.5, -1), (7.5, 2.5, 2.2)) - block((0, -3, -1), (0.4, 3, 3))
    return block((-8, -4, 0), (8, 4, 16)) - void - recess


TALL = [make.sheet(5.0, 20)]
TWO = [make.sheet(5.0, 10), make.sheet(6.0, 10, from_layer=10)]
"""The rib's slices fill the lower run from floor to ceiling: in one sheet, or in two that touch."""


@pytest.mark.parametrize(
    ("strays", "asked"),
    [
        (TALL, {"every_branch": True}),
        *shared.more((TWO, {"min_open_fraction": 0.8}), (TWO, {})),
    ],
)
def test_a_rib_of_many_slices_that_shuts_a_level_run_is_no_open_branch(tmp_path, strays, asked):
    passage = make.passage((-6, 0, 2.2), (6, 0, 16), 1.2, 2.0, **asked)
    case = read_case(make.write_case(tmp_path, branch_with_a_fin(), passage, strays))
    state = State.UNDETERMINED if asked else State.OPEN
    assert make.judged(case).passages[0].state is state
    if strays is TALL:
        assert sweep(case, Wanted(5.0, 5.0)).passages[0].state == (state,)


def test_a_rib_that_leaves_a_gap_above_it_is_no_fin(tmp_path):
    passage = make.passage((-6, 0, 2.2), (6, 0, 16), 1.2, 2.0, every_branch=True)
    found = make.first(tmp_path, branch_with_a_fin(), passage, make.sheet(5.5, 3))
    assert found.state is State.OPEN


def judged_with(folder, solid, plate, stray=None, bottom=0.0, way=None, **asked):
    """What is said of two legs with a drawn plate in one of them, or another stray table."""
    passage = make.passage((0, 0, bottom), (0, 0, 16), 1.9, 1.2, **asked)
    stray = {"shape": "mesh", "mesh": "m.stl"} if stray is None else stray
    meshes = {} if plate is None else {"m": plate}
    case = make.write_case(
        folder, solid, passage, stray, meshes=meshes, smallest_way=way, pitch=PITCH
    )
    return make.judged(read_case(case)).passages[0]


def two_legs(low=None):
    """Upright legs at x -3.5 and 3.5 between two plenums; `low`: a slit so high joins them."""
    void = shapes.bore((0, 0, -1), (0, 0, 3), 1.9) + shapes.bore((0, 0, 13), (0, 0, 17), 1.9)
    void += block((-5, -2, 2), (5, 2, 4)) + block((-5, -2, 12), (5, 2, 14))
    void += shapes.bore((-3.5, 0, 3), (-3.5, 0, 13), 1.2)
    if low is None:
        void += shapes.bore((3.5, 0, 3), (3.5, 0, 13), 1.2)
    else:  # the second leg is stepped: up, level through a low slit, and up
        void += block((3.5, -1.2, 3), (4.8, 1.2, 8 + low)) + block((1, -1.2, 8), (2.3, 1.2, 13))
        void += block((1, -1.2, 8), (4.8, 1.2, 8 + low))
    return block((-7, -4, 0), (7, 4, 16)) - void


def slanting(degrees, x=3.5):
    """A plate of 0.3 mm that slants across a leg and shuts it."""
    plate = block((-4, -2, -0.15), (4, 2, 0.15)).rotate((0, degrees, 0)).translate((x, 0, 8))
    return plate ^ block((x - 1.6, -2, 4.5), (x + 1.6, 2, 11.5))


def stepped(x=3.5, z=8.0, t=0.1):
    """Three strips, each a step above the last and touching it, that shut a leg together."""
    steps = block((x - 2, -2, z), (x - 0.3, 2, z + t))
    steps += block((x - 0.4, -2, z + 0.9 * t), (x + 0.4, 2, z + 2 * t))
    return steps + block((x + 0.3, -2, z + 1.9 * t), (x + 2, 2, z + 3 * t))


@pytest.mark.parametrize(
    ("plate", "asked"),
    [
        (slanting(9), {"every_branch": True}),
        *shared.more(
            (slanting(-20, -3.5), {"min_open_fraction": 0.2}),
            (stepped(), {"every_branch": True}),
            (slanting(9), {}),
        ),
    ],
    ids=["slanting", "other leg", "steps", "not asked"],
)
def test_what_slants_across_a_leg_is_no_open_branch(tmp_path, plate, asked):
    """No section of it shows the leg shut; the other leg lets the ball pass."""
    found = judged_with(tmp_path, two_legs(), plate, **asked)
    assert found.state is (State.UNDETERMINED if asked else State.OPEN), found.reasons
    if asked:
        assert "may shut a branch unseen" in found.reasons[0]
        assert not any(crossing.sealed for crossing in found.crossings)


@pytest.mark.more
def test_a_slanting_plate_that_leaves_a_strip_beside_it_shuts_nothing(tmp_path):
    plate = slanting(9) ^ block((0, -3, 0), (3.9, 3, 16))
    assert judged_with(tmp_path, two_legs(), plate, every_branch=True).state is State.OPEN


@pytest.mark.parametrize(
    ("top", "state"), [(0.6, State.UNDETERMINED), *shared.more((0.3, State.OPEN))]
)
def test_a_fin_in_a_branch_lower_than_half_the_way(tmp_path, top, state):
    """A slit 0.5 mm high, which a fin shuts whole or leaves 0.2 mm of; the leg is 2.4 mm wide."""
    fin = block((2.8, -1.5, 7.9), (3.1, 1.5, 8.0 + top))
    found = judged_with(tmp_path, two_legs(low=0.5), fin, every_branch=True)
    assert found.state is state, found.reasons


@pytest.mark.parametrize("moved", shared.more({"resume_shift": [0.1, 0.0]}, {}, {"next_layer": 80}))
def test_slices_that_leave_most_of_each_leg_shut_none(tmp_path, moved):
    """The first layers have a wide recess, so that their slices take the legs' outer edges only."""
    solid = two_legs() - block((-4.3, -3, -1), (4.3, 3, 0.6))
    sheet = make.sheet(8.0, 3, **moved)
    found = judged_with(tmp_path, solid, None, sheet, bottom=0.6, every_branch=True)
    assert found.state is State.OPEN, found.reasons
    assert all(0.5 < crossing.open_fraction < 1.0 for crossing in found.crossings)
    assert len(found.crossings) == 2


def beside_a_leg(*voids, size=4):
    """Two plenums, an upright leg between them at x -3.5, and some further void."""
    void = shapes.bore((0, 0, -1), (0, 0, 3), 1.9) + shapes.bore((0, 0, 13), (0, 0, 17), 1.9)
    void += block((-5, -2, 2), (5, 2, 4)) + block((-5, -2, 12), (5, 2, 14))
    void += shapes.bore((-3.5, 0, 3), (-3.5, 0, 13), 1.2)
    for low, high in voids:
        void += block(low, high)
    return block((-7, -4, 0), (7, size, 16)) - void


def window(right, left=None):
    """A shaft ends where another begins beside it: a window in an upright wall joins them.

    `right`, `left`: how far the lower one reaches, and from where the upper one.
    """
    left = right if left is None else left
    shafts = [((2.4, -1, 3), (right, 1, 8.5)), ((left, -1, 7.5), (4.8, 1, 13))]
    return beside_a_leg(*shafts, ((2.4, -1, 7.5), (4.8, 1, 8.5)))


def fin(x0, x1, low=7.4, high=8.6):
    return block((x0, -1.2, low), (x1, 1.2, high))


RAMP = block((-0.3, -2, -0.015), (0.3, 2, 0.015)).rotate((0, 60, 0)).translate((3.575, 0, 8))
OVER = beside_a_leg(
    *(((2.2, -1, 3), (3, 1, 9.5)), ((2.2, -1, 8.5), (4.8, 1, 9.5)), ((4, -1, 8.5), (4.8, 1, 13))),
    *(((-5, -2, 2), (5, 3.2, 4)), ((3.2, -1, 6), (3.95, 3, 7)), ((3.2, 2.2, 3), (3.95, 3, 7))),
)
"""A level run, and under it a run that ends blind: the same fin stands in both."""
ASIDE = beside_a_leg(
    *(((3, -1, 3), (4, 1, 8.3)), ((3, -1, 8), (4, 10, 8.3)), ((3, 9, 8), (4, 10, 14))),
    *(((-5, -2, 12), (-3, 10, 14)), ((-5, 9, 12), (4, 10, 14))),
    size=12,
)
"""A slit so far aside of the plenums that a fin 31 mm high meets nothing but it."""


@pytest.mark.parametrize(
    ("solid", "plate", "way"),
    [
        (beside_a_leg(((3.5, -0.08, 3), (3.65, 0.08, 13))), RAMP, None),
        (OVER, fin(3.4, 3.7, 5.8, 9.7), None),
        *shared.more(
            (two_legs(low=0.5), block((2.8, -1.5, 7.9), (3.0, 1.5, 8.6)), 0.4),
            (window(3.6), fin(3.5, 3.7), None),
            (window(3.4, 3.7), fin(3.3, 3.6), 0.4),
            (window(3.63, 3.6), fin(3.63, 3.9), None),
            (ASIDE, block((2.8, 4, -16), (4.2, 4.3, 15)), None),
        ),
    ],
    ids=["narrow", "over a blind run", "thin fin", "window", "thick wall", "strip", "tall"],
)
def test_weak_steps_of_the_proof(tmp_path, solid, plate, way):
    """Each fin shuts a branch; none is thinner than half the way, or the branch narrower."""
    found = judged_with(tmp_path, solid, plate, way=way, every_branch=True)
    assert found.state is State.UNDETERMINED, found.reasons


def test_a_strip_beside_the_fin_that_a_way_fits_in_is_told(tmp_path):
    found = judged_with(tmp_path, window(3.9, 3.6), fin(3.9, 4.1), every_branch=True)
    assert found.state is State.OPEN, found.reasons
