"""Which slice is melted where: parts whose answer is known by hand, to the micrometre.

Every expected value is analytic. The parts are blocks with a rectangular duct 4 mm deep (y) whose
width (x) changes with height, so that an open area tells exactly which heights met.
"""

from __future__ import annotations

from math import acos, radians, sqrt, tan

import make
import manifold3d as m3
import numpy as np
import pytest
import shapes as s
import shared

DEEP = 4.0
T = 0.1
EXACT = 2e-5
"""Widths are read back from areas this closely, mm: float32 vertices near 20 mm and rounding."""
HALF = 8.0


def duct(profile: list[tuple[float, float]], base: float = 0.0) -> m3.Manifold:
    """Block from z = base with a duct through it; profile lists (z, width), straight between."""
    low, high = profile[0][0], profile[-1][0]
    right = [(w / 2, z) for z, w in profile]
    outline = [(-x, z) for x, z in right[:1]] + right + [(-x, z) for x, z in right[:0:-1]]
    tool = m3.Manifold.extrude(m3.CrossSection([outline]), DEEP)  # x, z, y
    tool = tool.rotate((90, 0, 0)).translate((0, DEEP / 2, 0))
    solid = s.block((-HALF, -HALF, low), (HALF, HALF, high))
    return solid - tool


def width(profile: list[tuple[float, float]], z: float) -> float:
    """Width of the duct at a height."""
    return float(np.interp(z, *zip(*profile, strict=True)))


def ends(profile: list[tuple[float, float]], need: float = 1.5, **keys):
    """The passage from below to above."""
    ports = {}
    for name, (z, w) in (("inlet", profile[0]), ("outlet", profile[-1])):
        ports[name] = make.port((0, 0, z), sqrt(w * DEEP / np.pi))
    return {"name": "a", **ports, "min_clear_diameter": need, **keys}


WIDENING = [(-0.0, 2.0), (10.0, 5.0), (20.0, 5.0)]
NARROWING = [(0.0, 5.0), (10.0, 2.0), (12.0, 5.0), (20.0, 5.0)]
WAIST = [(0.0, 6.0), (10.0, 6.0), (19.0, 2.4), (20.0, 2.4)]


def only(passage):
    """The one crossing."""
    (crossing,) = passage.crossings
    return crossing


# ---- which slice --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("first", "layers"),
    [(0, 1), (42, 3), *shared.more((1, 1), (17, 1), (42, 1), (0, 3), (1, 3), (17, 3))],
)
def test_the_narrowest_slice_is_the_first_of_a_widening_duct(tmp_path, first, layers):
    found = make.first(
        tmp_path, duct(WIDENING), ends(WIDENING), make.sheet(15.0, layers, from_layer=first)
    )
    z = (first + 0.5) * T
    crossing = only(found)
    assert crossing.open_area_mm2 / DEEP == pytest.approx(width(WIDENING, z), abs=EXACT)
    assert crossing.nominal_area_mm2 / DEEP == pytest.approx(5.0, abs=EXACT)
    assert crossing.open_fraction == pytest.approx(width(WIDENING, z) / 5.0, abs=EXACT)
    assert 15.0 - 1e-9 <= crossing.height_mm <= 15.0 + T + 1e-9
    assert found.state == "open"
    assert found.clear_diameter_mm.low <= 2.0 <= found.clear_diameter_mm.high


@pytest.mark.parametrize(("first", "layers"), [(0, 3), *shared.more((10, 1), (50, 4))])
def test_the_narrowest_slice_is_the_last_of_a_narrowing_duct(tmp_path, first, layers):
    found = make.first(
        tmp_path, duct(NARROWING), ends(NARROWING), make.sheet(15.0, layers, from_layer=first)
    )
    z = (first + layers - 0.5) * T
    crossing = only(found)
    assert crossing.open_area_mm2 / DEEP == pytest.approx(width(NARROWING, z), abs=EXACT)
    last = 15.0 + (layers - 1) * T
    assert last - 1e-9 <= crossing.height_mm <= last + T + 1e-9


def test_slices_are_counted_from_the_platform_not_from_the_part(tmp_path):
    # The part hangs 1.03 mm above the platform, on what was melted with it.
    profile = [(z + 0.0, w) for z, w in WIDENING]
    under = s.block((-HALF, -HALF, -1.03), (HALF, HALF, 0.0)) - s.block((-2, -2, -2), (2, 2, 1))
    found = make.first(
        tmp_path,
        duct(profile),
        ends(profile),
        make.sheet(16.03, 2, from_layer=30),
        part={"platform_z": -1.03, "also_melted": ["under.stl"]},
        meshes={"under": under},
    )
    crossing = only(found)
    z = -1.03 + 30.5 * T
    assert crossing.open_area_mm2 / DEEP == pytest.approx(width(profile, z), abs=EXACT)
    assert 15.0 - 1e-6 <= crossing.height_mm <= 15.0 + T + 1e-6  # of the first slice


def test_after_layer_is_the_number_of_the_last_good_layer(tmp_path):
    event = make.sheet(0.0, 2, from_layer=12)
    del event["height"]
    event["after_layer"] = 149  # layers 0 to 149 are good: the machine stands at 15.0
    found = make.first(tmp_path, duct(WIDENING), ends(WIDENING), event)
    crossing = only(found)
    assert 15.0 - 1e-6 <= crossing.height_mm <= 15.0 + T + 1e-6
    assert crossing.open_area_mm2 / DEEP == pytest.approx(width(WIDENING, 1.25), abs=EXACT)


def test_a_step_between_two_slices(tmp_path):
    # The duct is 2 mm wide below z = 3, then 5 mm: slice 29 lies at 2.95, slice 30 at 3.05.
    profile = [(0.0, 2.0), (3.0, 2.0), (3.0 + 1e-4, 5.0), (20.0, 5.0)]
    solid = duct(profile)
    for first, expected in ((29, 2.0), (30, 5.0)):
        found = make.first(
            tmp_path / str(first), solid, ends(profile), make.sheet(15.0, 1, from_layer=first)
        )
        assert only(found).open_area_mm2 / DEEP == pytest.approx(expected, abs=EXACT)


def upright_over_a_window():
    """Block, elbow from the side to the top; below it a window through y at z 0.3 to 0.6.

    Slices 3, 4 and 5 (at 0.35, 0.45, 0.55) have a hole right under the upright; no other has.
    """
    solid = s.block((-8, -8, 0), (8, 8, 20)) - s.block((-3, -9, 0.3), (3, 9, 0.6))
    line = s.bent_line([(9, 0, 6), (0, 0, 6), (0, 0, 21)], 4.0)
    return solid - s.tube_along(line, 2.0, 64)


@pytest.mark.parametrize(
    ("first", "layers", "open_"),
    [
        (4, 2, True),
        (3, 4, False),
        *shared.more((3, 3, True), (2, 3, False), (0, 2, False), (5, 1, True)),
    ],
)
def test_a_hole_that_only_slices_3_to_5_have(tmp_path, first, layers, open_):
    passage = make.passage((8, 0, 6), (0, 0, 20), 2.0, 3.5)
    event = make.sheet(14.0, layers, from_layer=first)
    found = make.first(tmp_path, upright_over_a_window(), passage, event)
    assert found.state == ("open" if open_ else "blocked")
    crossing = only(found)
    assert crossing.open_fraction == pytest.approx(1.0 if open_ else 0.0, abs=1e-6)
    assert crossing.sealed is not open_
    clear = found.clear_diameter_mm
    if open_:
        assert clear.low <= 4.0
        assert clear.high >= 3.98
    else:
        assert (clear.low, clear.predicted, clear.high) == (0.0, 0.0, 0.0)


def test_a_plane_sheet_seals_whatever_the_slices_are(tmp_path):
    found = make.first(tmp_path, duct(WIDENING), ends(WIDENING), make.plane(15.0, 1))
    assert found.state == "blocked"
    assert only(found).open_area_mm2 == 0.0


# ---- what stands on the sheet -------------------------------------------------------------------


@pytest.mark.parametrize(
    ("keys", "expected"),
    [
        # The sheet (wide slices) adds nothing; the least section is at its upper face, 13.3.
        ({"resume": "height"}, 13.3),
        ({"next_layer": 150}, 15.0),
        # Layers melted twice: the section below the sheet, 13.0, is the narrower.
        ({"next_layer": 110}, 13.0),
        # What stood above 13.0 now stands on the sheet.
        *shared.more(
            ({"resume": "layer"}, 13.0), ({"next_layer": 130}, 13.0), ({"next_layer": 133}, 13.3)
        ),
    ],
)
def test_what_stands_on_the_sheet(tmp_path, keys, expected):
    event = make.sheet(13.0, 3, **keys)
    crossing = only(make.first(tmp_path, duct(WAIST), ends(WAIST), event))
    assert crossing.open_area_mm2 / DEEP == pytest.approx(width(WAIST, expected), abs=EXACT)
    assert crossing.nominal_area_mm2 / DEEP == pytest.approx(width(WAIST, 13.0), abs=EXACT)


def test_a_jump_without_stray_layers(tmp_path):
    event = make.sheet(13.0, 0, next_layer=160)
    crossing = only(make.first(tmp_path, duct(WAIST), ends(WAIST), event))
    assert crossing.open_area_mm2 / DEEP == pytest.approx(width(WAIST, 16.0), abs=EXACT)
    assert crossing.height_mm == pytest.approx(13.0, abs=1e-6)


@pytest.mark.more
def test_unknown_resume_is_undetermined_where_the_two_differ(tmp_path):
    # Ten repeated layers in a bore that leans by 45 degrees: if the build went on with the layer
    # that belongs, nothing but steps; if with the next number, the upper part stands 2 mm beside.
    solid = s.tilted_bore(2.0, 45.0, (50.0, 14.0, 20.0))
    passage = make.passage((-10, 0, 0), (10, 0, 20), 2 * 2**0.25, 3.7)
    states = {}
    for resume in ("height", "layer", "unknown"):
        event = make.sheet(10.0, 10, from_layer=50, resume=resume)
        states[resume] = make.first(tmp_path / resume, solid, passage, event, layer=0.2)
    assert states["height"].state == "open"
    assert states["layer"].state == "restricted"
    assert states["unknown"].state == "undetermined"
    assert any("resume" in text for text in states["unknown"].settled_by)
    lows = [states[r].clear_diameter_mm.low for r in ("height", "layer")]
    highs = [states[r].clear_diameter_mm.high for r in ("height", "layer")]
    assert states["unknown"].clear_diameter_mm.low <= min(lows) + 0.05
    assert states["unknown"].clear_diameter_mm.high >= max(highs) - 0.05


def test_heights_of_a_second_event_include_the_growth_by_the_first(tmp_path):
    # The first adds 0.3 mm; at machine height 13.0 the part is at its own 12.7.
    events = [make.sheet(8.0, 3, resume="layer"), make.sheet(13.0, 2, resume="layer")]
    found = make.first(tmp_path, duct(WAIST), ends(WAIST), events)
    first, second = found.crossings
    assert (first.stray, second.stray) == (0, 1)
    assert first.open_area_mm2 / DEEP == pytest.approx(6.0, abs=EXACT)
    assert second.open_area_mm2 / DEEP == pytest.approx(width(WAIST, 12.7), abs=EXACT)
    assert 13.0 - 1e-9 <= second.height_mm <= 13.2 + 1e-9


def test_slices_of_a_second_event_are_the_nominals(tmp_path):
    events = [
        make.sheet(12.0, 3, from_layer=110, resume="layer"),
        make.sheet(15.0, 1, from_layer=7, resume="height"),
    ]
    found = make.first(tmp_path, duct(WIDENING), ends(WIDENING), events)
    second = found.crossings[1]
    assert second.open_area_mm2 / DEEP == pytest.approx(width(WIDENING, 0.75), abs=EXACT)


def test_shifts_of_several_events_add_up(tmp_path):
    # 1 mm to +x at 6, and 1 mm more at 12: each cut leaves a lens of circles 1 mm apart.
    events = [
        make.sheet(6.0, 0, next_layer=60, resume_shift=[1.0, 0.0]),
        make.sheet(12.0, 0, next_layer=120, resume_shift=[1.0, 0.0]),
    ]
    solid = s.straight_bore(2.0, (20.0, 20.0, 20.0), 96)
    found = make.first(tmp_path, solid, make.passage((0, 0, 0), (0, 0, 20), 2.0, 2.5), events)
    lens = 8 * acos(0.25) - 0.5 * sqrt(15)  # REFERENCES 2.2, r = 2, s = 1
    assert len(found.crossings) == 2
    for crossing in found.crossings:
        assert crossing.open_area_mm2 == pytest.approx(lens, rel=0.01)
    clear = found.clear_diameter_mm
    assert clear.low <= 3.0
    assert clear.high >= 2.99
    assert clear.high - clear.low < 0.3


def test_a_shift_there_and_back(tmp_path):
    events = [
        make.sheet(6.0, 0, next_layer=60, resume_shift=[5.0, 0.0]),
        make.sheet(12.0, 0, next_layer=120, resume_shift=[-5.0, 0.0]),
    ]
    solid = s.straight_bore(2.0, (20.0, 20.0, 20.0), 96)
    found = make.first(tmp_path, solid, make.passage((0, 0, 0), (0, 0, 20), 2.0, 2.5), events)
    assert found.state == "blocked"
    assert all(crossing.open_area_mm2 == 0.0 for crossing in found.crossings)


# ---- the sheet's body ---------------------------------------------------------------------------


@pytest.mark.parametrize("deep", [0.07, *shared.more(0.0, 0.4)])
def test_penetration_reaches_down_with_the_first_slice(tmp_path, deep):
    # Slice 90 is 4.715 wide, wider than the duct at 6; so the least section is the duct's own at
    # the sheet's lowest face.
    event = make.sheet(6.0, 2, from_layer=90, penetration=deep)
    crossing = only(make.first(tmp_path, duct(WIDENING), ends(WIDENING), event))
    assert crossing.open_area_mm2 / DEEP == pytest.approx(width(WIDENING, 6.0 - deep), abs=EXACT)
    # Relative to the nominal nothing is lost anywhere: every layer is wider than the duct.
    assert crossing.open_fraction == pytest.approx(1.0, abs=EXACT)


def test_penetration_blocks_as_well_as_the_layers_do(tmp_path):
    # The bore's floor is at 0.05: slice 0, at 0.04, is solid; the others are open.
    solid = s.block((-8, -8, 0), (8, 8, 20)) - s.bore((0, 0, 0.05), (0, 0, 21), 2.0, segments=64)
    solid -= s.bore((0, 0, 6), (9, 0, 6), 2.0, segments=64)
    passage = make.passage((8, 0, 6), (0, 0, 20), 2.0, 3.0)
    sealed = make.first(
        tmp_path / "b", solid, passage, make.sheet(12.0, 2, penetration=0.2), layer=0.08
    )
    assert sealed.state == "blocked"
    opened = make.first(
        tmp_path / "c", solid, passage, make.sheet(12.0, 2, from_layer=1), layer=0.08
    )
    assert opened.state == "open"


def test_a_part_that_was_complete_is_untouched(tmp_path):
    solid, passage = duct(WIDENING), ends(WIDENING)
    above = make.checked(tmp_path / "a", solid, passage, make.plane(20.3, 3, penetration=0.2))
    assert above.passages[0].state == "open"
    assert above.passages[0].crossings == ()
    assert any("untouched" in text for text in above.notices)
    reached = make.first(tmp_path / "b", solid, passage, make.plane(20.1, 3, penetration=0.2))
    assert reached.state == "blocked"


def test_slices_below_the_part_need_also_melted(tmp_path):
    # The part stands 2 mm above the platform. Layers 0 to 2 hold what stood under it.
    solid, passage = duct(WIDENING), ends(WIDENING)
    part = {"platform_z": -2.0}
    event = make.sheet(17.0, 3)
    unknown = make.first(tmp_path / "a", solid, passage, event, part=part)
    assert unknown.state == "undetermined"
    full = s.block((-HALF, -HALF, -2.0), (HALF, HALF, 0.0))
    ring = full - s.block((-1.6, -3, -3), (1.6, 3, 1))
    part = {"platform_z": -2.0, "also_melted": ["under.stl"]}
    sealed = make.first(tmp_path / "b", solid, passage, event, part=part, meshes={"under": full})
    assert sealed.state == "blocked"
    open_ = make.first(tmp_path / "c", solid, passage, event, part=part, meshes={"under": ring})
    assert open_.state == "open"
    assert only(open_).open_area_mm2 == pytest.approx(3.2 * DEEP, abs=1e-4)


def test_a_wider_slice_leaves_an_unmelted_gap(tmp_path):
    # Slice 90 is 4.715 wide, the duct at 6 only 3.8 and at 6.2 3.86: the powder between stays
    # loose, 4 mm deep in y, over the sheet's height less what the penetration reaches below the
    # solid's top, which lies T (1 - 0.5) / 0.5 below its counted face.
    event = make.sheet(6.0, 2, from_layer=90, penetration=0.15, packing=0.5)
    result = make.checked(tmp_path, duct(WIDENING), ends(WIDENING), event)
    (gap,) = result.unmelted
    assert gap.stray == 0
    assert gap.thickness_mm == pytest.approx(2 * T - (0.15 - T), abs=1e-9)
    narrow, wide = width(WIDENING, 6.0), width(WIDENING, 9.15)
    # Half a layer up or down is 0.015 mm of width: which height stands for a layer is not said.
    assert gap.area_mm2 == pytest.approx(DEEP * (wide - narrow), abs=DEEP * 0.016)


# ---- what the requirements ask ------------------------------------------------------------------


def test_every_crossing_is_listed_even_fully_open(tmp_path):
    solid = s.u_passage(2.0, 14.0, 4.0, 64)
    passage = make.passage((-7, 0, 30), (7, 0, 30), 2.0, 3.0)
    # From layer 200 (z 20): the upright legs have the same section there as at 22.
    found = make.first(tmp_path, solid, passage, make.sheet(22.0, 3, from_layer=200))
    assert len(found.crossings) == 2
    for crossing in found.crossings:
        assert crossing.open_fraction == pytest.approx(1.0, abs=1e-4)  # facets of float32 rings
        assert abs(crossing.centre_mm[0]) == pytest.approx(7.0, abs=0.01)
    assert found.state == "open"


@pytest.mark.parametrize(("need", "every", "state"), [
    (2.0, True, "restricted"), *shared.more((2.0, False, "open"), (3.5, False, "restricted")),
])  # fmt: skip
def test_a_sealed_branch_is_passed_by(tmp_path, need, every, state):
    solid = s.side_branch(3.0, 1.5, 64)
    plate = s.bore((0, 0, 20), (0, 0, 20.4), 3.5, segments=64)
    found = make.first(
        tmp_path,
        solid,
        make.passage((0, 0, 0), (0, 0, 40), 3.0, need, every_branch=every),
        {"shape": "mesh", "mesh": "plate.stl"},
        meshes={"plate": plate},
        pitch=0.5,
    )
    assert found.state == state
    clear = found.clear_diameter_mm
    assert clear.low <= 3.0
    assert clear.high >= 2.98
    assert clear.high - clear.low < 0.3
    assert [crossing.sealed for crossing in found.crossings if crossing.open_fraction < 0.5] == [
        True
    ]


@pytest.mark.parametrize(("fraction", "state"), [(0.3, "open"), (0.6, "restricted")])
def test_an_open_fraction_is_asked_of_every_crossing(tmp_path, fraction, state):
    # Slice 0: 2.015 of 5 mm is left, 0.403.
    passage = ends(WIDENING, min_open_fraction=fraction)
    found = make.first(tmp_path, duct(WIDENING), passage, make.sheet(15.0, 1))
    assert only(found).open_fraction == pytest.approx(0.403, abs=EXACT)
    assert found.state == state


@pytest.mark.parametrize(("keys", "state"), [
    ({"build_allowance": 0.2}, "restricted"),
    ({"build_allowance": 0.2, "mesh_tolerance": 0.2}, "open"),
    *shared.more(({}, "open")),
])  # fmt: skip
def test_allowance_and_tolerance_shift_the_comparison(tmp_path, keys, state):
    passage = ends(WIDENING, 1.9)
    assert make.first(tmp_path, duct(WIDENING), passage, part=keys).state == state


@pytest.mark.parametrize(
    ("height", "first"), [(12.3, 3), *shared.more((12.3, 0), (31.25, 0), (31.25, 3))]
)
def test_a_bore_that_leans_little_over_its_own_port(tmp_path, height, first):
    # 2.9 degrees: at height h the bore stands h tan(2.9) beside the port. Lens of two ellipses.
    tilt, radius, t = 2.9, 3.0, 0.05
    solid = s.tilted_bore(radius, tilt, (20.0, 16.0, 40.0), 96)
    lean = 20 * tan(radians(tilt))
    passage = make.passage((-lean, 0, 0), (lean, 0, 40), radius, 4.0)
    found = make.first(tmp_path, solid, passage, make.sheet(height, 3, from_layer=first), layer=t)
    apart = (height + t - (first + 0.5) * t) * np.sin(radians(tilt))
    lens = 2 * 9 * acos(apart / 6) - apart / 2 * sqrt(36 - apart**2)
    crossing = only(found)
    whole = 9 * np.pi / np.cos(radians(tilt))
    assert crossing.open_area_mm2 == pytest.approx(lens / np.cos(radians(tilt)), abs=0.01 * whole)
    clear = found.clear_diameter_mm
    # A ball through the sheet: at most the lens's width (its section at the upper face).
    assert clear.low <= 6.0 - apart + 1e-3
    assert clear.high >= 6.0 * np.cos(np.pi / 96) - apart - 3 * t * tan(radians(tilt)) - 1e-3
