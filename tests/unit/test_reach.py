"""Reach on small parts whose answer is known by hand; every plan against solid booleans."""

import dataclasses
import math

import make
import manifold3d as m3
import numpy as np
import pytest
import shapes

from clearance.drilling import widest_line as lines
from clearance.result import State

JOBBER = {"series": ["jobber"]}
ALL = {"series": ["jobber", "long", "extra-long"]}


def checked(folder, *args, **keys):
    """Check with all standard drills at hand."""
    return make.checked(folder, *args, **{"drilling": ALL, **keys})


def through(result, name="a"):
    return next(p for p in result.passages if p.name == name)


def agrees_with_booleans(solid, sheet, passage, rework, allowance=0.0):
    """The drills touch no metal of the part, and leave a way from inlet to outlet.

    Solid booleans share no code with the program.
    """
    part = solid if isinstance(solid, m3.Manifold) else shapes.manifold(solid)
    left = part + sheet
    for stroke in rework.drilling:
        radius = stroke.drill_diameter_mm / 2
        point = radius / math.tan(math.radians(59))
        entry, direction = np.array(stroke.entry_mm), np.array(stroke.direction)
        full = stroke.depth_mm - point
        inner = m3.Manifold.cylinder(full, radius - allowance - 2e-3, circular_segments=96)
        drill = m3.Manifold.cylinder(full + 8, radius, circular_segments=96).translate((0, 0, -8))
        drill += m3.Manifold.cylinder(point, radius, 0.0, 96).translate((0, 0, full))
        up = np.array([0.0, 0.0, 1.0])
        tilt = math.degrees(math.acos(float(np.clip(direction @ up, -1, 1))))
        turn = math.degrees(math.atan2(direction[1], direction[0]))
        place = [
            solid_.rotate((0, tilt, 0)).rotate((0, 0, turn)).translate(tuple(entry))
            for solid_ in (inner, drill)
        ]
        assert (place[0] ^ part).volume() < 1e-3
        left -= place[1]
    low, high = np.array(part.bounding_box()).reshape(2, 3)
    box = m3.Manifold.cube(tuple(high - low)).translate(tuple(low))
    void = (box - left).decompose()
    ends = [np.array(passage[end]["centre"], float) for end in ("inlet", "outlet")]
    middle = (low + high) / 2
    probes = [
        end + 0.3 * np.sign(middle - end) * (np.abs(end - middle) >= (high - low) / 2 - 1e-6)
        for end in ends
    ]
    probe = [m3.Manifold.sphere(0.1, 16).translate(tuple(p)) for p in probes]
    holding = [[n for n, v in enumerate(void) if (v ^ s).volume() > 1e-6] for s in probe]
    assert holding[0]
    assert set(holding[0]) & set(holding[1])


def plane_sheet(solid, z, thickness):
    part = solid if isinstance(solid, m3.Manifold) else shapes.manifold(solid)
    low, high = np.array(part.bounding_box()).reshape(2, 3)
    return m3.Manifold.cube((*(high - low)[:2], thickness)).translate((*low[:2], z))


def test_an_upright_tube_is_drilled_as_wide_as_run_out_stays_clear_of_its_wall(tmp_path):
    # Tube of radius 3, need 5: a drill of 5.5 leaves 3 cos(pi / 96) - 2.75 = 0.248 (analytic), of
    # which tolerance and run-out take 0.018 + 0.03 + 0.01 * 93 / 5.5 = 0.217; of 5.6 it is 0.198.
    solid = shapes.straight_bore(radius=3.0, size=(20.0, 20.0, 30.0))
    passage = make.passage((0, 0, 0), (0, 0, 30), 3.0, 5.0)
    result = checked(tmp_path, solid, passage, make.plane(15.0, 2, source="log"))
    found = through(result)
    assert found.state is State.BLOCKED
    (stroke,) = found.rework.drilling
    assert stroke.drill_diameter_mm == 5.5
    assert stroke.series == "jobber"
    assert stroke.drill_source.startswith("DIN 338")
    assert stroke.wall_margin_mm == pytest.approx(0.248, abs=0.02)
    assert stroke.wall_margin_mm > stroke.drill_tolerance_mm + stroke.run_out_mm
    assert found.rework.state_after == "open"
    assert found.rework.clear_diameter_after_mm == pytest.approx(5.5, abs=0.02)
    assert stroke.tilt_tolerance_deg == pytest.approx(
        math.degrees(math.atan(stroke.wall_margin_mm / stroke.depth_mm)), rel=1e-6
    )
    assert result.disposition.recommendation == "rework"
    agrees_with_booleans(solid, plane_sheet(solid, 15.0, 0.2), passage, found.rework)


def test_a_leaning_tube_is_drilled_along_its_axis(tmp_path):
    solid = shapes.tilted_bore(3.0, 30, (60.0, 14.0, 24.0))
    lean = 12 * math.tan(math.radians(30))
    passage = make.passage((-lean, 0, 0), (lean, 0, 24), 3.2, 5.0)
    result = checked(tmp_path, solid, passage, make.plane(10.0, 2, source="log"))
    found = through(result)
    (stroke,) = found.rework.drilling
    assert stroke.wall_margin_mm == pytest.approx(0.248, abs=0.03)
    assert abs(abs(stroke.direction[2]) - math.cos(math.radians(30))) < 0.02
    agrees_with_booleans(solid, plane_sheet(solid, 10.0, 0.2), passage, found.rework)


def test_two_sheets_are_cleared_by_one_stroke(tmp_path):
    solid = shapes.straight_bore(radius=3.0, size=(20.0, 20.0, 30.0))
    passage = make.passage((0, 0, 0), (0, 0, 30), 3.0, 5.0)
    strays = [make.plane(10.0, 2, source="log"), make.plane(14.0, 2, source="log")]
    found = through(checked(tmp_path, solid, passage, strays))
    (stroke,) = found.rework.drilling
    assert {stroke.crossing, *stroke.also_clears} == {0, 1}
    assert found.rework.state_after == "open"


@pytest.mark.more
def test_a_u_with_both_ports_on_top_needs_two_strokes(tmp_path):
    solid = shapes.u_passage(2.0, 14.0, 4.0, 64)
    passage = make.passage((-7, 0, 30), (7, 0, 30), 2.0, 3.0)
    found = through(checked(tmp_path, solid, passage, make.plane(22.0, 2, source="log")))
    assert sorted(s.from_ for s in found.rework.drilling) == ["inlet", "outlet"]
    assert all(s.direction[2] < -0.99 for s in found.rework.drilling)
    assert found.rework.state_after == "open"


def a_z():
    """Both legs are level and far from a sheet across the upright middle of the Z."""
    line = shapes.bent_line([(-20, 0, 5), (0, 0, 5), (0, 0, 25), (20, 0, 25)], 3.0)
    block = m3.Manifold.cube((30, 14, 30)).translate((-15, -7, 0))
    passage = make.passage((-15, 0, 5), (15, 0, 25), 2.0, 3.0)
    return block - shapes.tube_along(line, 2.0, 48), passage


def test_a_z_that_no_line_reaches_is_scrap_when_the_log_says_so(tmp_path):
    solid, passage = a_z()
    for source, wanted in (("log", "scrap"), ("assumed", "undetermined")):
        result = checked(tmp_path, solid, passage, make.plane(15.0, 2, source=source))
        found = through(result)
        assert found.rework is None
        assert "mm clear" in found.why_not
        assert result.disposition.recommendation == wanted


def test_a_search_that_ends_too_soon_scraps_nothing(tmp_path, monkeypatch):
    solid, passage = a_z()
    widest = lines.widest_line

    def ended(*args, **keys):  # as where the two ends of the lines may be the same point
        return dataclasses.replace(widest(*args, **keys), bound=math.inf)

    monkeypatch.setattr("clearance.drilling.lines.widest_line", ended)
    result = checked(tmp_path, solid, passage, make.plane(15.0, 2, source="log"))
    assert "before a wider one was ruled out" in through(result).why_not
    assert result.disposition.recommendation == "undetermined"


def test_the_flute_bites(tmp_path):
    # 40 mm deep: a 3.1 mm jobber drill has 36 mm of flute (DIN 338 in drills.csv).
    solid = shapes.straight_bore(radius=2.0, size=(20.0, 20.0, 80.0))
    passage = make.passage((0, 0, 0), (0, 0, 80), 2.0, 3.0)
    sheet = make.plane(40.0, 2, source="log")
    short = {**JOBBER, "max_length_to_diameter": 40}
    found = through(checked(tmp_path, solid, passage, sheet, drilling=short))
    assert found.rework is None
    assert "flute" in found.why_not
    longer = {"series": ["jobber", "long", "extra-long"], "max_length_to_diameter": 40}
    found = through(checked(tmp_path, solid, passage, sheet, drilling=longer))
    assert found.rework.drilling[0].series != "jobber"


def test_the_ratio_of_length_to_diameter_bites(tmp_path):
    solid = shapes.straight_bore(radius=2.0, size=(20.0, 20.0, 60.0))
    passage = make.passage((0, 0, 0), (0, 0, 60), 2.0, 3.0)
    found = through(
        checked(
            tmp_path,
            solid,
            passage,
            make.plane(30.0, 2),
            drilling={**ALL, "max_length_to_diameter": 5},
        )
    )
    assert found.rework is None
    assert "diameter" in found.why_not


def test_a_flange_stops_the_holder(tmp_path):
    # A bore at the foot of a tall wall: the holder of 40 mm meets it, one of 8 mm does not.
    part = m3.Manifold.cube((30, 20, 20)).translate((-15, -10, 0))
    part += m3.Manifold.cube((6, 20, 140)).translate((9, -10, 0))
    part -= m3.Manifold.cylinder(22, 2.0, circular_segments=64).translate((0, 0, -1))
    passage = make.passage((0, 0, 20), (0, 0, 0), 2.0, 3.0)
    sheet = make.plane(10.0, 2, source="log")
    state = {"state": {"on_platform": True}}
    wide = through(checked(tmp_path, part, passage, sheet, drilling=JOBBER, **state))
    assert wide.rework is None
    assert "holder" in wide.why_not
    assert "of a 3.1 mm jobber drill" in wide.why_not  # one article
    slim = {**JOBBER, "holder_diameter": 8.0}
    found = through(checked(tmp_path, part, passage, sheet, drilling=slim, **state))
    assert found.rework.drilling[0].from_ == "inlet"


def test_what_stands_on_its_platform_is_not_entered_from_below(tmp_path):
    solid = shapes.u_passage(2.0, 14.0, 4.0, 64)
    flipped = shapes.soup(shapes.manifold(solid).rotate((180, 0, 0)).translate((0, 0, 30)))
    passage = make.passage((-7, 0, 0), (7, 0, 0), 2.0, 3.0)
    sheet = make.plane(8.0, 2, source="log")
    result = checked(tmp_path, flipped, passage, sheet, state={"on_platform": True})
    found = through(result)
    assert found.rework is None
    assert "platform" in found.why_not
    assert result.disposition.recommendation == "undetermined"
    off = through(checked(tmp_path, flipped, passage, sheet))
    assert off.rework is not None


@pytest.mark.more
def test_a_drill_that_would_open_the_neighbour_is_never_proposed(tmp_path):
    # A bore with a kink: the straight line cuts its wall, and a second circuit runs right there.
    line = shapes.bent_line([(0, 0, 41), (0, 0, 25), (1.6, 0, 15), (1.6, 0, -1)], 20.0)
    part = m3.Manifold.cube((24, 16, 40)).translate((-12, -8, 0)) - shapes.tube_along(line, 2.0, 64)
    beside = m3.Manifold.cylinder(60, 1.0, circular_segments=48, center=True).rotate((90, 0, 0))
    joined = part - beside.translate((-3.15, 0, 20))
    passage = make.passage((0, 0, 40), (1.6, 0, 0), 2.0, 3.9)
    other = make.passage((-3.15, -8, 20), (-3.15, 8, 20), 1.0, 1.5, name="b")
    sheet = make.plane(8.0, 2, source="log")
    drilling = {**ALL, "wall_allowance": 1.2, "min_wall": 0.1, "max_length_to_diameter": 30}
    result = checked(
        tmp_path,
        joined,
        [passage, other],
        sheet,
        separate=[{"passages": ["a", "b"]}],
        drilling=drilling,
        state={"on_platform": True},
    )
    found = through(result)
    if found.rework is not None:  # then only one that keeps the circuits apart
        agrees_with_booleans(joined, plane_sheet(joined, 8.0, 0.2), passage, found.rework, 1.2)
        assert result.separate[0].state == "apart"
        assert found.rework.wall_left_mm is None or found.rework.wall_left_mm > 0.0
    else:
        assert found.why_not
