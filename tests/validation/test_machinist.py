"""Plans that a machinist would sign: which port, which size, which drill, and what it would take.

Every expected answer is worked out by hand; plans that cut nothing are held against solid
booleans, with the drill as large as tolerance and run-out may make it.
"""

import math

import make
import manifold3d as m3
import numpy as np
import pytest
import shared

from clearance.result import State

ALL = {"series": ["jobber", "long", "extra-long"], "max_tilt": 90.0}
"""The shop has a way to start a drill however far off square (test_practice has the limits)."""


def block(size, low=(0.0, 0.0, 0.0)):
    """A box whose foot is centred on a place."""
    place = (low[0] - size[0] / 2, low[1] - size[1] / 2, low[2])
    return m3.Manifold.cube(size).translate(place)


def cylinder(start, end, radius, sides=96):
    start, end = np.array(start, float), np.array(end, float)
    length = float(np.linalg.norm(end - start))
    x, y, z = (end - start) / length
    tilt, turn = math.degrees(math.acos(z)), math.degrees(math.atan2(y, x))
    upright = m3.Manifold.cylinder(length, radius, circular_segments=sides)
    return upright.rotate((0, tilt, 0)).rotate((0, 0, turn)).translate(tuple(start))


def checked(folder, solid, passage, strays, **keys):
    """Check with all standard drills unless others are given."""
    keys = {"drilling": ALL, "pitch": 0.4, **keys}
    result = make.checked(folder, solid, passage, strays, **keys)
    for found in result.passages:
        for stroke in found.rework.drilling if found.rework else ():
            taken = stroke.drill_tolerance_mm + stroke.run_out_mm
            if stroke.wall_margin_mm > taken:
                assert (hole(stroke, taken) ^ solid).volume() < 1e-3
    return result


def hole(stroke, taken):
    """The drill's full diameter within the part, as large as it may become."""
    entry, direction = np.array(stroke.entry_mm), np.array(stroke.direction)
    radius = stroke.drill_diameter_mm / 2
    full = stroke.depth_mm - radius / math.tan(math.radians(59.0))
    return cylinder(entry, entry + full * direction, radius + taken)


def level_bore(rise, length=20.0, radius=4.0):
    """A bore along x that rises so many degrees, and its passage."""
    ahead = np.array([math.cos(math.radians(rise)), 0.0, math.sin(math.radians(rise))])
    middle = np.array([0.0, 0.0, 10.0])
    solid = block((length, 20.0, 20.0)) - cylinder(middle - 40 * ahead, middle + 40 * ahead, radius)
    half = ahead * (length / 2 / ahead[0])
    return solid, make.passage(middle - half, middle + half, radius, 7.0)


@pytest.mark.parametrize(
    ("rise", "z"), [(0, 12.0), *shared.more((-5, 10.0), (0, 10.0), (0, 7.5), (1, 10.0))]
)
def test_a_bore_along_a_sheet_is_drilled_through(tmp_path, rise, z):
    solid, passage = level_bore(rise)
    result = checked(tmp_path, solid, passage, make.plane(z, 1, source="log"))
    (found,) = result.passages
    assert found.state is not State.OPEN
    (stroke,) = found.rework.drilling
    # Through the block, the overrun of 0.5 and a point of 0.3 diameters; not more than a diameter.
    assert 20.0 < stroke.depth_mm < 20.0 + 0.5 + 1.3 * stroke.drill_diameter_mm
    assert stroke.drill_diameter_mm == 7.5
    assert found.rework.clear_diameter_after_mm > 7.4
    assert result.disposition.recommendation == "rework"


@pytest.mark.more
def test_both_legs_of_a_level_corner_are_drilled_from_their_own_ports(tmp_path):
    # An L in the plane of the layers: no line reaches both legs.
    legs = cylinder((-20, 0, 10), (0, 0, 10), 4.0) + cylinder((0, 0, 10), (0, 20, 10), 4.0)
    solid = block((30, 30, 20)) - legs - m3.Manifold.sphere(4.0, 96).translate((0, 0, 10))
    passage = make.passage((-15, 0, 10), (0, 15, 10), 4.0, 5.0)
    result = checked(tmp_path, solid, passage, make.plane(10.0, 1, source="log"))
    (found,) = result.passages
    assert sorted(stroke.from_ for stroke in found.rework.drilling) == ["inlet", "outlet"]
    assert found.rework.clear_diameter_after_mm > 5.0


def upright(length, radius, side=20.0):
    solid = block((side, side, length)) - cylinder((0, 0, -5), (0, 0, length + 5), radius)
    return solid, (0, 0, 0), (0, 0, length)


@pytest.mark.parametrize(("z", "port"), [(58.0, "outlet"), *shared.more((2.0, "inlet"))])
def test_the_nearer_port_and_the_widest_drill_that_run_out_allows(tmp_path, z, port):
    # Bore 8, need 4: 7.5 leaves 0.25 beside it, of which 0.022 + 0.03 + 0.01 * 109 / 7.5 is taken.
    solid, inlet, outlet = upright(60.0, 4.0)
    result = checked(
        tmp_path, solid, make.passage(inlet, outlet, 4.0, 4.0), make.plane(z, 2, source="log")
    )
    (stroke,) = result.passages[0].rework.drilling
    assert (stroke.from_, stroke.drill_diameter_mm) == (port, 7.5)
    assert stroke.depth_mm < 6.0


def test_two_sheets_near_two_ports_are_one_stroke_where_one_drill_reaches_both(tmp_path):
    solid, inlet, outlet = upright(30.0, 4.0)
    passage = make.passage(inlet, outlet, 4.0, 4.0)
    sheets = [make.plane(z, 1, source="log") for z in (2.0, 28.0)]
    (stroke,) = checked(tmp_path / "one", solid, passage, sheets).passages[0].rework.drilling
    assert {stroke.crossing, *stroke.also_clears} == {0, 1}
    # No drill goes deeper than 16 mm: one from either end.
    short = {"series": [], "drills": [{"diameter": 7.0, "flute": 23.0, "overall": 60.0}]}
    found = checked(tmp_path / "two", solid, passage, sheets, drilling=short).passages[0]
    assert sorted(s.from_ for s in found.rework.drilling) == ["inlet", "outlet"]
    assert found.rework.state_after == "open"


@pytest.mark.parametrize(
    ("length", "radius", "need", "z", "least"),
    [(210.0, 4.0, 7.0, 105.0, 14.0), *shared.more((130.0, 1.5, 2.6, 64.0, 22.0))],
    ids=["tube of 8", "gallery of 3"],
)
def test_what_the_ratio_of_length_to_diameter_bars_is_no_scrap(
    tmp_path, length, radius, need, z, least
):
    solid, inlet, outlet = upright(length, radius)
    passage = make.passage(inlet, outlet, radius, need)
    sheet = make.plane(z, 2, source="log")
    result = checked(tmp_path, solid, passage, sheet, pitch=0.5)
    assert result.disposition.recommendation == "undetermined"
    change = result.passages[0].what_would_change[0]
    assert change.at_hand
    assert change.wall_allowance_mm is None
    assert change.max_length_to_diameter > least
    ratio = math.ceil(10 * change.max_length_to_diameter) / 10
    assert any(f"max_length_to_diameter of {ratio}" in s for s in result.disposition.settled_by)
    if not shared.in_full:
        return  # that what is said does is asked of a wall's allowance
    deeper = {**ALL, "max_length_to_diameter": ratio}
    again = checked(tmp_path / "again", solid, passage, sheet, pitch=0.5, drilling=deeper)
    assert again.disposition.recommendation == "rework"


def test_what_only_the_table_of_drills_bars_is_no_scrap(tmp_path):
    # The table ends at 20 mm.
    solid, inlet, outlet = upright(30.0, 15.0, 50.0)
    passage, sheet = make.passage(inlet, outlet, 15.0, 25.0), make.plane(15.0, 2, source="log")
    result = checked(tmp_path, solid, passage, sheet, pitch=1.0)
    assert result.disposition.recommendation == "undetermined"
    change = result.passages[0].what_would_change[0]
    assert not change.at_hand
    assert (change.max_length_to_diameter, change.wall_allowance_mm) == (None, None)
    least = 25.0 - -0.033  # h8
    assert change.least_diameter_mm == pytest.approx(least)
    assert change.greatest_diameter_mm == pytest.approx(30.0 * math.cos(math.pi / 96), abs=0.05)
    if not shared.in_full:
        return
    own = {
        "diameter": 26.0,
        "flute": math.ceil(change.flute_mm) + 2,
        "overall": math.ceil(change.overall_mm) + 6,
    }
    tools = {"series": [], "drills": [own]}
    again = checked(tmp_path / "again", solid, passage, sheet, pitch=1.0, drilling=tools)
    assert again.disposition.recommendation == "rework"


def test_two_microns_of_facet_are_no_wall(tmp_path):
    # 96 facets: the flats stand 4 (1 - cos(pi / 96)) = 0.0021 inward of the round wall; of the
    # drills at hand only 8.0 surely makes 7.9.
    solid, inlet, outlet = upright(30.0, 4.0)
    passage, sheet = make.passage(inlet, outlet, 4.0, 7.9), make.plane(15.0, 2, source="log")
    result = checked(tmp_path, solid, passage, sheet)
    assert result.disposition.recommendation == "undetermined"
    assert any("mesh_tolerance of 0.00" in s for s in result.disposition.settled_by)
    part = {"mesh_tolerance": 0.005}
    result = checked(tmp_path / "known", solid, passage, sheet, part=part)
    (stroke,) = result.passages[0].rework.drilling
    assert (stroke.drill_diameter_mm, stroke.wall_cut_mm) == (8.0, 0.0)
    assert not result.passages[0].rework.cuts_wall
    assert result.disposition.recommendation == "rework"
    assert "may touch the wall" in result.disposition.reasons[0]


def test_a_near_miss_says_which_allowance_would_do(tmp_path):
    # Bores of 2.8 that lap by 2.4: from the top no straight line has 2.7 through the kink.
    solid = block((20, 20, 30)) - cylinder((0, 0, -5), (0, 0, 15), 1.4)
    solid -= cylinder((0.4, 0, 14.8), (0.4, 0, 35), 1.4)
    passage = make.passage((0, 0, 0), (0.4, 0, 30), 1.4, 2.3)
    sheet = make.plane(5.0, 2, source="log")
    own = {"diameter": 2.7, "flute": 50.0, "overall": 90.0}
    keys = {"pitch": 0.2, "state": {"on_platform": True}}
    tools = {"series": [], "drills": [own], "min_wall": 1.0}
    result = checked(tmp_path, solid, passage, sheet, drilling=tools, **keys)
    assert result.passages[0].nominal_state is State.OPEN
    assert result.disposition.recommendation == "undetermined"
    change = next(c for c in result.passages[0].what_would_change if c.at_hand)
    allowed = math.ceil(100 * change.wall_allowance_mm) / 100
    assert any(f"wall_allowance of {allowed:.2f}, 0 given" in s for s in by(result))
    enough = {**tools, "wall_allowance": allowed}
    again = checked(tmp_path / "again", solid, passage, sheet, drilling=enough, **keys)
    assert again.disposition.recommendation == "repair"
    if not shared.in_full:
        return
    short = {**tools, "wall_allowance": allowed - 0.02}
    again = checked(tmp_path / "short", solid, passage, sheet, drilling=short, **keys)
    assert again.disposition.recommendation == "undetermined"


def by(result):
    """What the disposition says would settle it."""
    return result.disposition.settled_by


def flapped(hole_radius, rate, allowed, folder, need=4.0, **keys):
    """A bore of 8 with a thin measured plate across it that has a hole in its middle."""
    solid, inlet, outlet = upright(40.0, 4.0)
    plate = block((9, 9, 0.3), (0, 0, 20)) - cylinder((0, 0, 10), (0, 0, 30), hole_radius)
    flow = {"density": 998.0, "viscosity": 1e-3, "rate": rate, "max_pressure_loss": allowed}
    stray = {"shape": "mesh", "mesh": "plate.stl", "source": "measured"}
    passage = make.passage(inlet, outlet, 4.0, need)
    return checked(folder, solid, passage, stray, meshes={"plate": plate}, flow=flow, **keys)


def test_where_only_the_flow_is_missed_a_drill_is_sought(tmp_path):
    result = flapped(2.1, 20.0, 70.0, tmp_path)
    (found,) = result.passages
    assert found.state is State.OPEN
    assert found.flow["requirement"]["predicted"] == "not met"
    assert found.flow["requirement"]["after_rework"] == "met"
    assert found.rework is not None
    assert result.disposition.recommendation == "rework"


def test_where_no_drill_is_at_hand_the_flow_is_missed_and_no_line_is_missing(tmp_path):
    result = flapped(2.1, 20.0, 70.0, tmp_path, drilling={"series": []})
    (found,) = result.passages
    assert (found.state, found.rework) == (State.OPEN, None)
    assert "no drill at hand" in found.why_not
    assert found.what_would_change
    assert result.disposition.recommendation == "undetermined"


@pytest.mark.more
def test_sizes_are_raised_until_the_flow_is_kept(tmp_path):
    # The shop's drills of 4.2 and 7.0: with a run-out that would touch, the small one comes first.
    tools = {
        "series": [],
        "drills": [
            {"diameter": 4.4, "flute": 60.0, "overall": 100.0},
            {"diameter": 7.9, "flute": 90.0, "overall": 150.0},
        ],
    }
    result = flapped(1.0, 20.0, 70.0, tmp_path, drilling=tools)
    (stroke,) = result.passages[0].rework.drilling
    assert stroke.drill_diameter_mm == 7.9
    assert result.passages[0].flow["requirement"]["after_rework"] == "met"
    assert result.disposition.recommendation == "rework"


@pytest.mark.more
def test_what_would_change_is_silent_where_a_leg_has_no_line(tmp_path):
    # A level U: its middle leg is reached from neither port, whatever the drill.
    legs = [((-20, -8, 10), (0, -8, 10)), ((0, -8, 10), (0, 8, 10)), ((0, 8, 10), (-20, 8, 10))]
    solid = block((30, 30, 20)) + block((10, 30, 20), (10, 0, 0))
    for start, end in legs:
        solid -= cylinder(start, end, 2.0, 48) + m3.Manifold.sphere(2.0, 48).translate(end)
    passage = make.passage((-15, -8, 10), (-15, 8, 10), 2.0, 3.5)
    drill = {"diameter": 3.6, "flute": 60.0, "overall": 100.0}
    tools, sheet = {**ALL, "series": [], "drills": [drill]}, make.plane(9.8, 1, source="log")
    result = checked(tmp_path, solid, passage, sheet, drilling=tools, pitch=0.5)
    (found,) = result.passages
    assert found.rework is None
    assert found.what_would_change == ()
    assert not any("mm drill" in said for said in result.disposition.settled_by)


def test_a_longer_drill_is_long_enough_for_the_holder_too(tmp_path):
    # A bore that leans 30 degrees: a holder of 40 leans with it, 20 tan(30) = 11.5 off the face.
    lean = math.radians(30.0)
    ahead = np.array([math.sin(lean), 0.0, math.cos(lean)])
    solid = block((60, 20, 20)) - cylinder(-40 * ahead, 40 * ahead, 2.0, 48)
    top = ahead * (20.0 / ahead[2])
    passage = make.passage((0, 0, 0), top, 2.15, 3.5)
    sheet = make.plane(10.0, 2, source="log")
    keys = {"state": {"on_platform": True}}
    short = {"series": [], "drills": [{"diameter": 3.6, "flute": 18.0, "overall": 24.0}]}
    result = checked(tmp_path, solid, passage, sheet, drilling=short, **keys)
    (change,) = [c for c in result.passages[0].what_would_change if not c.at_hand]
    assert change.overall_mm > change.depth_mm + 2.5 * change.least_diameter_mm + 11.5
    own = {
        "diameter": math.ceil(100 * change.least_diameter_mm) / 100,
        "flute": math.ceil(10 * change.flute_mm) / 10,
        "overall": math.ceil(10 * change.overall_mm) / 10,
    }
    tools = {"series": [], "drills": [own]}
    again = checked(tmp_path / "again", solid, passage, sheet, drilling=tools, **keys)
    assert again.passages[0].rework is not None, again.passages[0].why_not


@pytest.mark.parametrize(("aside", "redesign"), [*shared.more((0.6, False)), (2.4, True)])
def test_a_cut_that_is_a_redesign_is_told_and_settles_nothing(tmp_path, aside, redesign):
    # Bores of 4 that meet aside: a straight line has 2 - aside / 2 of room, 3.8 is required.
    solid = block((20, 20, 30)) - cylinder((0, 0, -5), (0, 0, 16), 2.0, 48)
    solid -= cylinder((aside, 0, 13), (aside, 0, 35), 2.0, 48)
    solid -= m3.Manifold.sphere(2.6, 48).translate((aside / 2, 0, 14.5))
    passage = make.passage((0, 0, 0), (aside, 0, 30), 2.0, 3.8)
    tools = {"series": [], "drills": [{"diameter": 3.9, "flute": 60.0, "overall": 90.0}]}
    keys = {"drilling": tools, "state": {"on_platform": True}}
    result = checked(tmp_path, solid, passage, make.plane(4.0, 2, source="log"), **keys)
    changes = result.passages[0].what_would_change
    assert changes
    assert {change.redesign for change in changes} == {redesign}
    assert any("[drilling]" in said for said in by(result)) != redesign
