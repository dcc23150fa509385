"""Powder that a wrong slice or a cooled part leaves in the metal: areas and depths are analytic."""

import make
import manifold3d as m3
import numpy as np
import pytest
import shapes
import shared

SIDES = 64
POCKET_AREA = 4.0 * 14.0
ROUND = 0.5 * SIDES * np.sin(2 * np.pi / SIDES)  # area of the polygon over radius squared


def circuits(reach=7.0, upside_down=False):
    """Two circuits, each from its side of the block at z 10 up to the top at x = -6 and 6.

    Below both, up to z 3, a pocket from x = -7 to `reach`, 4 wide, open downward: slices of the
    first layers have metal everywhere but there, and none of the circuits has void there.
    """
    solid = shapes.block((-10, -10, 0), (10, 10, 30)) - shapes.block((-7, -2, -1), (reach, 2, 3))
    for x in (-6.0, 6.0):
        solid -= shapes.bore((x, 0, 10), (x, 0, 31), 2.0, segments=SIDES)
        solid -= shapes.bore((x, -11, 10), (x, 0, 10), 2.0, segments=SIDES)
    return solid.mirror((0, 0, 1)).translate((0, 0, 30)) if upside_down else solid


def passages(upside_down=False):
    low, high = (20.0, 0.0) if upside_down else (10.0, 30.0)
    return [
        make.passage((x, -10, low), (x, 0, high), 2.0, 1.0, name)
        for name, x in (("a", -6.0), ("b", 6.0))
    ]


SEPARATE = {"separate": [{"passages": ["a", "b"]}]}


def check(folder, solid, stray, upside_down=False, **keys):
    keys = {"pitch": 0.25, **SEPARATE, **keys}
    return make.checked(folder, solid, passages(upside_down), stray, **keys)


def silent(layers=1, **keys):
    """A stray table that says nothing of melt depth and packing but what it is given."""
    table = make.sheet(20.0, layers, source="log")
    del table["penetration"]
    return {**table, **keys}


def test_one_stray_layer_with_what_is_assumed_leaves_its_gap(tmp_path):
    found = check(tmp_path, circuits(), silent())
    (gap,) = found.unmelted
    assert gap.thickness_mm == pytest.approx(0.1, abs=1e-9)
    # The bores have no metal there; the piece of a circle beyond x = -7 or 7 is not the pocket's.
    cap = 4.0 * np.arccos(0.5) - np.sqrt(3.0)
    assert gap.area_mm2 == pytest.approx(POCKET_AREA - 2 * (4 * ROUND - cap), abs=0.05)
    assert gap.joins == (("a", "b"),)
    assert not gap.joint
    (pair,) = found.separate
    assert (pair.state, pair.through) == ("undetermined", "unmelted")
    assert found.disposition.recommendation == "undetermined"
    assert any("leak test" in text for text in found.disposition.settled_by)
    assert any("packing is not given" in text for text in found.assumptions)
    for row in found.resumed_section:
        assert row["share"] == pytest.approx(1 - gap.area_mm2 / row["nominal_area_mm2"], abs=1e-6)


@pytest.mark.parametrize(("narrow", "wide"), [(9.0, 11.0), *shared.more((11.0, 9.0))])
def test_where_walls_lean_a_gap_is_as_large_as_what_the_joint_misses(tmp_path, narrow, wide):
    # A frustum over a first layer that has metal in a quarter only: the gap's largest section is
    # at one face of the sheet, and what is missing there is no larger.
    base, top = ([[-e, -e], [e, -e], [e, e], [-e, e]] for e in (narrow, wide))
    solid = m3.Manifold.hull_points([(*p, 1.0) for p in base] + [(*p, 21.0) for p in top])
    solid += shapes.block((-3, -3, 0), (3, 3, 2))
    solid -= shapes.bore((0, 0, -1), (0, 0, 22), 2.0, segments=SIDES)
    run = [make.passage((0, 0, 0), (0, 0, 21), 2.0, 1.0)]
    found = make.checked(tmp_path, solid, run, silent(2, height=10.0), pitch=0.4)
    (gap,) = found.unmelted
    missing = [row["nominal_area_mm2"] - row["metal_area_mm2"] for row in found.resumed_section]
    assert gap.area_mm2 == pytest.approx(max(missing), abs=1e-3)
    edge = [2.0 * (narrow + (wide - narrow) * (z - 1.0) / 20.0) for z in (10.0, 10.2)]  # analytic
    assert gap.area_mm2 == pytest.approx(max(edge) ** 2 - 36.0, rel=1e-3)


@pytest.mark.parametrize(("penetration", "packing", "left", "upside_down"), [
    (0.15, 0.6, 0.1 - (0.15 - 0.2 / 3), False),
    (0.25, 0.5, 0.0, True),
    *shared.more(
        (0.15, 0.6, 0.1 - (0.15 - 0.2 / 3), True),
        (0.25, 0.5, 0.0, False),
        # melt depth as thick as a layer, powder at half: nothing is healed
        *((0.1, 0.5, 0.1, side) for side in (False, True)),
        *((0.25, 0.35, 0.1 - (0.25 - 0.65 / 3.5), side) for side in (False, True)),
    ),
])  # fmt: skip
def test_only_what_melts_below_the_solids_top_heals(
    tmp_path, upside_down, penetration, packing, left
):
    at = {"from_layer": 290} if upside_down else {}
    stray = silent(penetration=penetration, packing=packing, **at)
    stray["height"] = 10.0 if upside_down else 20.0
    found = check(tmp_path, circuits(upside_down=upside_down), stray, upside_down)
    assert [gap.thickness_mm for gap in found.unmelted] == pytest.approx([left] if left else [])
    (pair,) = found.separate
    assert pair.state == ("undetermined" if left else "apart")
    assert {row["share"] < 1.0 for row in found.resumed_section} == {left > 0.0}


@pytest.mark.more
def test_a_gap_that_ends_in_the_wall_joins_nothing(tmp_path):
    found = check(tmp_path, circuits(reach=3.0), silent())
    (gap,) = found.unmelted
    assert gap.joins == ()
    assert found.separate[0].state == "apart"


def test_a_gap_between_slices_is_welded_by_the_slice_on_it(tmp_path):
    # Slices 29 and 30 lie at z 2.95 and 3.05: only the lower one has the pocket.
    depths = (("deep", 0.25, True), ("thin", 0.15, False))
    for name, penetration, share in depths[: 2 if shared.in_full else 1]:
        stray = silent(from_layer=29, penetration=penetration, packing=0.5, layers=2)
        found = check(tmp_path / name, circuits(), stray)
        assert all((row["share"] > 0.999) == share for row in found.resumed_section)


@pytest.mark.parametrize("keys", [
    {"layers": [1, 2]},  # one layer is healed, of two 0.05 mm stay
    *shared.more({"layers": 2, "height_uncertainty": 0.1}, {"layers": 2, "resume": "unknown"}),
])  # fmt: skip
def test_what_is_left_open_may_leave_a_gap(tmp_path, keys):
    found = check(tmp_path, circuits(), silent(penetration=0.25, packing=0.5, **keys))
    (gap,) = found.unmelted
    assert gap.thickness_mm == pytest.approx(0.05, abs=1e-9)
    assert gap.joins == (("a", "b"),)
    assert found.separate[0].state == "undetermined"


def test_a_gap_counts_at_every_height_that_is_possible(tmp_path):
    # The circuits begin at 8: of what is possible only the sheet from 8.05 on meets them.
    stray = silent(height_uncertainty=0.2)
    stray["height"] = 7.85
    found = check(tmp_path, circuits(), stray)
    assert found.unmelted[0].joins == (("a", "b"),)
    assert found.separate[0].state == "undetermined"
    if not shared.in_full:
        return
    stray["height_uncertainty"] = 0.04
    assert check(tmp_path / "low", circuits(), stray).separate[0].state == "apart"


# ---- cooling -----------------------------------------------------------------------------------


STEEL = {"part": {"material": "316L"}}


def restart(height=20.0, **keys):
    """A stop after which the build went on with the right layer."""
    number = round(height / 0.1)
    table = {**silent(0, **keys), "height": height, "next_layer": number}
    del table["resume"]
    return table


def test_a_right_restart_of_a_cooled_part_may_be_unmelted(tmp_path):
    found = check(tmp_path, circuits(), restart(cooled=[50, 150]), **STEEL)
    (gap,) = found.unmelted
    assert gap.joint
    assert gap.thickness_mm == pytest.approx(20.0 * 150 * 16.5e-6)
    assert gap.area_mm2 == pytest.approx(400 - 2 * 4 * ROUND, rel=1e-4)
    assert set(gap.joins) == {("a", "b"), ("a", "outside"), ("b", "outside")}
    (row,) = found.resumed_section
    assert row["share"] == row["metal_area_mm2"] == 0.0
    assert row["gap_mm"] == gap.thickness_mm
    assert row["nominal_area_mm2"] == pytest.approx(gap.area_mm2)
    assert [p.state for p in found.passages] == ["open", "open"]
    (pair,) = found.separate
    assert (pair.state, pair.through) == ("undetermined", "unmelted")
    assert found.disposition.recommendation == "undetermined"
    assert any("connected to the outside" in text for text in found.disposition.reasons)
    assert abs(found.signs.volume_added_mm3) < 1e-6  # cooling takes no metal away
    assert any("16.5e-6/K" in text for text in found.assumptions)


@pytest.mark.parametrize("keys", [
    *shared.more({"cooled": 0.0}),
    {"cooled": [0, 150], "penetration": 0.3, "packing": 0.6},
])  # fmt: skip
def test_a_right_restart_that_melts_deep_enough_leaves_the_part_as_it_was(tmp_path, keys):
    found = check(tmp_path, circuits(), restart(**keys), **STEEL)
    assert found.unmelted == ()
    assert found.resumed_section[0]["share"] == pytest.approx(1.0)
    assert found.separate[0].state == "apart"
    assert found.disposition.recommendation == "not-affected"


@pytest.mark.parametrize(
    ("resume", "upside_down"), [*shared.more(("height", False)), ("layer", True)]
)
def test_wrong_layers_on_a_cooled_part_have_both_gaps(tmp_path, resume, upside_down):
    keys = {"from_layer": 290} if upside_down else {}
    stray = silent(cooled=200, resume=resume, **keys)
    stray["height"] = height = 10.0 if upside_down else 20.0
    found = check(tmp_path, circuits(upside_down=upside_down), stray, upside_down, **STEEL)
    sheet, joint = found.unmelted
    assert (sheet.joint, joint.joint) == (False, True)
    assert sheet.thickness_mm == pytest.approx(0.1)
    assert joint.thickness_mm == pytest.approx(height * 200 * 16.5e-6)
    # Under the slice, which has metal all but the pocket, where the part has: both make the whole.
    assert joint.area_mm2 + sheet.area_mm2 == pytest.approx(400 - 2 * 4 * ROUND, rel=1e-3)
    assert ("a", "outside") in joint.joins
    below, above = found.resumed_section
    assert (below["share"], below["gap_mm"]) == (0.0, joint.thickness_mm)
    assert above["share"] > 0.85
    assert above["gap_mm"] == 0.0


def test_a_joint_below_the_parts_top_only(tmp_path):
    # The part ends at 30: what stops above it does nothing, however cold it got.
    found = check(tmp_path, circuits(), restart(height=35.0, cooled=300), **STEEL)
    assert found.unmelted == ()
    assert found.resumed_section == ()


# ---- what the powder weighs --------------------------------------------------------------------


def test_trapped_powder_weighs_between_the_ends_of_its_packing(tmp_path):
    solid = shapes.block((-5, -5, 0), (5, 5, 30)) - shapes.bore((0, 0, -1), (0, 0, 31), 2.0)
    strays = [make.plane(10.0, 2, packing=[0.5, 0.55]), make.plane(20.0, 2, packing=[0.52, 0.62])]
    passage = make.passage((0, 0, 0), (0, 0, 30), 2.0, 1.0)
    found = make.checked(tmp_path, solid, passage, strays, part={"density_g_cm3": 8.0})
    powder = next(p for p in found.trapped_powder if "nominal" not in p.between)
    solid_g = powder.volume_mm3 * 8.0e-3
    assert powder.mass_low_g == pytest.approx(0.5 * solid_g)
    assert powder.mass_g == powder.mass_high_g == pytest.approx(0.62 * solid_g)


def test_a_log_of_a_cooled_part_has_a_joint_at_every_break(tmp_path):
    log = {"layers": ["0-199", "0", "200-299"], "cooled": [0, 120]}
    found = make.checked(
        tmp_path, circuits(), passages(), (), pitch=0.25, **SEPARATE, **STEEL, melted=log
    )
    assert [(gap.stray, gap.joint) for gap in found.unmelted] == [
        (0, False),
        (0, True),
        (1, True),
    ]
    for gap, height in zip(found.unmelted[1:], (20.0, 20.1), strict=True):
        assert gap.thickness_mm == pytest.approx(height * 120 * 16.5e-6)
        assert ("a", "b") in gap.joins
    assert [row["share"] > 0.0 for row in found.resumed_section] == [False, True, False]


def pocketed(upside_down=False):
    """A bore right through at x = -6, and a blind bore at x = 6 from the top down to z 10."""
    solid = shapes.block((-10, -10, 0), (10, 10, 30))
    solid -= shapes.bore((-6, 0, -1), (-6, 0, 31), 2.0, segments=SIDES)
    solid -= shapes.bore((6, 0, 10), (6, 0, 31), 2.0, segments=SIDES)
    return solid.mirror((0, 0, 1)).translate((0, 0, 30)) if upside_down else solid


@pytest.mark.parametrize(
    ("layers", "from_layer", "upside_down", "certain"),
    [
        ([1, 2], 0, False, True),
        ([0, 3], 290, True, False),
        *shared.more(([0, 2], 0, False, False)),
    ],
)
def test_powder_that_is_shut_in_by_part_of_what_is_possible_is_named(
    tmp_path, layers, from_layer, upside_down, certain
):
    """Not only the first case counts; nobody drills, scraps or heats on what may not be.

    Whether any wrong layer was melted at all is not known where `layers` begins with 0: the next
    layer is the one that belongs there after the last of them.
    """
    height = 15.0 if upside_down else 20.0
    follows = {"next_layer": round(10 * height) + layers[1]} if layers[0] == 0 else {}
    stray = make.sheet(height, from_layer=from_layer, source="log", **follows)
    stray["layers"] = layers
    ways = [make.passage((-6, 0, 0), (-6, 0, 30), 2.0, 3.0)]
    solid = pocketed(upside_down)
    found = make.checked(tmp_path, solid, ways, stray, pitch=0.25, part={"material": "316L"})
    (powder,) = found.trapped_powder
    assert (powder.certain, powder.passages) == (certain, ())
    depth = 5.0 if upside_down else 10.0  # the pocket is shut at z 20, beyond the sheet at 15
    assert powder.volume_mm3 == pytest.approx(ROUND * 4.0 * depth, rel=0.05)
    assert found.disposition.recommendation == "undetermined"
    assert found.exit_status == 4
    said = "without function" if certain else "in part of what is possible of the event"
    rows = dict(zip(found.disposition.reasons, found.disposition.rows, strict=True))
    assert any(said in text and row == (6 if certain else 2) for text, row in rows.items())
