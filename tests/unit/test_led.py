"""Whether the bore leads a drill where its point meets a sheet, and what all events ask of it.

A bore of 6 that leans by 20 degrees, more than the 8 that a drill stands which nothing leads; what
is expected is read off the drawing.
"""

import math

import make
import pytest
import shapes

LEAN = math.tan(math.radians(20.0))
TOOLS = {"drilling": {"series": ["jobber"]}, "state": {"on_platform": True}, "pitch": 0.5}
"""On the platform only the outlet can be entered."""


def tilt_of(folder, solid, height, outlet=3.0):
    ends = {"inlet": (-10 * LEAN, 0, 0), "outlet": (10 * LEAN, 0, 20)}
    ports = {name: make.port(at, 3.0) for name, at in ends.items()}
    ports["outlet"]["radius"] = outlet
    passage = {"name": "a", "min_clear_diameter": 5.0, **ports}
    result = make.checked(folder, solid, passage, make.plane(height, 2, source="log"), **TOOLS)
    (one,) = result.passages[0].rework.drilling
    assert one.drill_diameter_mm == 5.5
    tilt = next(each for each in one.practice if each["aspect"] == "tilt")
    return tilt["answer"], tilt["why"], tilt["numbers"]["side_clearance_mm"], result


def leaning():
    solid = shapes.block((-14, -8, 0), (14, 8, 20))
    return solid - shapes.bore((-20 * LEAN, 0, -10), (20 * LEAN, 0, 30), 3.0, segments=24)


def test_within_the_bore_it_is_led(tmp_path):
    # The sheet lies 10 mm deep: 1.65 mm of point and a drill of 5.5 behind it are in the bore.
    answer, why, beside, result = tilt_of(tmp_path, leaning(), 10.0)
    assert answer == "careful"
    assert "the bore leads it" in why
    assert beside == pytest.approx(0.25, abs=0.02)  # (6 - 5.5) / 2
    assert result.disposition.recommendation == "rework"


def test_at_the_mouth_it_is_not(tmp_path):
    # 4 mm deep, 4.3 along the axis: less than the point and a diameter, 7.2.
    answer, why, _, result = tilt_of(tmp_path, leaning(), 15.8)
    assert answer == "not-this-way"
    assert "before it is a diameter deep" in why
    assert result.disposition.recommendation == "undetermined"


def test_behind_a_wide_room_it_is_not(tmp_path):
    # A room 13 wide down to 12 mm, and the sheet at 11, where the bore has begun.
    room = shapes.bore((2 * LEAN, 0, 12), (20 * LEAN, 0, 30), 6.5, segments=24)
    answer, why, beside, _ = tilt_of(tmp_path, leaning() - room, 11.0, outlet=6.5)
    assert answer == "not-this-way"
    assert "the bore does not lead it" in why
    assert beside > (13.0 - 5.5) / 2


def test_a_flap_that_lies_aslant_is_met_aslant_and_is_as_thick_as_it_is(tmp_path):
    """A plate of 0.3 at 20 degrees across an upright bore: 0.3 / cos 20 of metal above each place,
    12 sin 20 + 0.3 cos 20 = 4.4 mm from its lowest to its highest, and no level sheet."""
    solid = shapes.block((-8, -8, 0), (8, 8, 20)) - shapes.bore(
        (0, 0, -1), (0, 0, 21), 3.0, segments=24
    )
    flap = shapes.block((-6, -6, -0.15), (6, 6, 0.15)).rotate((0, 20, 0)).translate((0, 0, 10))
    passage = make.passage((0, 0, 0), (0, 0, 20), 3.0, 5.0)
    stray = {"shape": "mesh", "mesh": "flap.stl", "source": "measured"}
    keys = {"part": {"material": "316L"}, "drilling": {"series": ["jobber"]}, "pitch": 0.5}
    result = make.checked(tmp_path, solid, passage, stray, meshes={"flap": flap}, **keys)
    (one,) = result.passages[0].rework.drilling
    sheet = next(each for each in one.practice if each["aspect"] == "sheet")
    assert sheet["numbers"]["thickness_low_mm"] == pytest.approx(
        0.3 / math.cos(math.radians(20.0)), rel=0.1
    )
    assert sheet["numbers"]["thickness_high_mm"] == pytest.approx(4.4, abs=0.1)
    tilt = next(each for each in one.practice if each["aspect"] == "tilt")
    assert tilt["numbers"]["tilt_deg"] == pytest.approx(20.0, abs=0.1)
    assert tilt["answer"] == "careful"  # led by the bore, 10 mm deep


def test_what_is_not_known_of_the_layers_is_in_the_forces(tmp_path):
    """1 to 4 layers of 0.5 mm: the sheet is 0.5 or 2 mm thick, and the drill has to cut either. Its
    point of 140 degrees is 2.75 / tan 70 = 1.0 mm long."""
    solid = shapes.block((-8, -8, 0), (8, 8, 20)) - shapes.bore(
        (0, 0, -1), (0, 0, 21), 3.0, segments=24
    )
    passage = make.passage((0, 0, 0), (0, 0, 20), 3.0, 5.0)
    sheet = make.plane(10.0, [1, 4], source="log")
    keys = {
        "part": {"material": "316L"},
        "layer": 0.5,
        "drilling": {"series": ["jobber"], "point_angle": 140.0},
        "pitch": 0.5,
    }
    (one,) = make.checked(tmp_path, solid, passage, sheet, **keys).passages[0].rework.drilling
    told = {each["aspect"]: each["numbers"] for each in one.practice}
    assert told["sheet"]["thickness_low_mm"] < 0.5
    assert told["sheet"]["thickness_high_mm"] == pytest.approx(2.0)
    assert told["thrust"]["lip_share"] == 1.0  # 2 mm are more than the point's 1.0
    # From the outlet, at 20, through the sheet's lower face at 10.
    point = 2.75 / math.tan(math.radians(70.0))
    assert one.depth_mm == pytest.approx(10.0 + one.overrun_mm + point, abs=0.01)
    assert told["tilt"]["limit_deg"] == pytest.approx(20.0)  # 90 - 140 / 2
