"""Passages that lie: a sheet runs along them, may be taller than they are, and may cut their ports.

Every expected value is analytic, in ducts and bores along x. A way may run beside, under or within
the sheet; what one level of the sheet closes bounds only ways that have to pass that level.
"""

from __future__ import annotations

from math import sqrt

import booleans
import make
import numpy as np
import pytest
import shapes as s
import shared

LONG = 20.0
PITCH = 0.4


def level_duct(low: float, high: float, width: float = 4.0):
    """Duct along x through a block, from z = low to high."""
    block = s.block((-LONG / 2, -6, 0), (LONG / 2, 6, 16))
    return block - s.block((-LONG, -width / 2, low), (LONG, width / 2, high))


def along(z: float, radius: float, need: float = 0.5, **keys):
    return make.passage((-LONG / 2, 0, z), (LONG / 2, 0, z), radius, need, **keys)


def bracket(clear, truth: float, pitch: float = PITCH) -> None:
    """Truth inside the bracket and the middle within a pitch of it."""
    assert clear.low <= truth + 1e-6
    assert clear.high >= truth - 1e-6
    assert abs(clear.predicted - truth) <= pitch


@pytest.mark.parametrize(("height", "layers", "truth"), [
    (7.1, 4, 2.5),  # 6 to 7.1 and 7.5 to 10
    (6.0, 40, 0.0),  # all of it
    *shared.more(
        (5.0, 10, 4.0),  # below the duct
        (9.0, 20, 3.0),  # up to the roof and into it
        (5.5, 10, 3.5),  # over its floor: 6.5 to 10 is left
        (8.4, 4, 2.4),  # 6 to 8.4 and 8.8 to 10
        (5.9, 42, 0.0),
    ),
])  # fmt: skip
def test_a_level_sheet_leaves_what_is_above_or_below_it(tmp_path, height, layers, truth):
    solid = level_duct(6.0, 10.0)
    found = make.first(tmp_path, solid, along(8.0, 2.25), make.plane(height, layers), pitch=PITCH)
    assert found.state == ("open" if truth else "blocked")
    bracket(found.clear_diameter_mm, truth)


@pytest.mark.parametrize("pitch", [0.4, *shared.more(0.2)])
def test_the_nominal_area_reaches_from_mouth_to_mouth(tmp_path, pitch):
    # Level bore of radius 2 at z = 8, cut at 8.4: a rectangle as long as the block.
    solid = s.block((-LONG / 2, -6, 0), (LONG / 2, 6, 16))
    solid -= s.bore((-LONG, 0, 8), (LONG, 0, 8), 2.0, segments=96)
    found = make.first(tmp_path, solid, along(8.0, 2.0), make.plane(8.4, 4), pitch=pitch)
    (crossing,) = found.crossings
    assert crossing.nominal_area_mm2 == pytest.approx(LONG * 2 * sqrt(4 - 0.4**2), rel=0.01)
    assert crossing.open_area_mm2 == 0.0
    bracket(found.clear_diameter_mm, 2.4, pitch)


def tall_over_window(first: int, layers: int, base: float):
    """Duct of 2 mm at z 6 to 8 over a wider one at z 1 to 2; a sheet of slices from `first`."""
    solid = level_duct(6.0, 8.0, 6.0) - s.block((-LONG, -3.5, 1), (LONG, 3.5, 2))
    return solid, make.sheet(base, layers, from_layer=first)


@pytest.mark.parametrize(("first", "layers", "base", "truth"), [
    (0, 20, 5.5, 1.5),  # slices 10 to 19 are void: 6.5 to 7.5, and 7.5 to 8 was not touched
    (25, 30, 5.5, 0.0),  # slices of solid metal
    *shared.more(
        (0, 30, 4.8, 0.8),  # 5.8 to 6.8: 6 to 6.8
        (0, 30, 5.5, 1.0),  # taller than the duct: only 6.5 to 7.5
        (0, 30, 5.2, 1.0),  # 6.2 to 7.2, and solid above
    ),
])  # fmt: skip
def test_a_sheet_taller_than_the_passage_lets_it_through_its_own_void(
    tmp_path, first, layers, base, truth
):
    solid, event = tall_over_window(first, layers, base)
    discs = [
        booleans.Disc(np.array((x, 0.0, 7.0)), 2.3, np.array((x, 0.0, 0.0)) / abs(x))
        for x in (-LONG / 2, LONG / 2)
    ]
    part = booleans.predicted(solid, [event], 0.1)
    a, b = booleans.behind(part, discs)
    assert bool((a & b) - {booleans.OUTSIDE}) is (truth > 0)  # the reference agrees
    found = make.first(tmp_path, solid, along(7.0, 1.95), event, pitch=0.25)
    assert found.state == ("open" if truth else "blocked")
    bracket(found.clear_diameter_mm, truth, 0.25)


@pytest.mark.parametrize("inner", shared.more(9.5, 9.7, 9.2, 5.0))
def test_a_rib_in_the_slices_close_to_a_mouth(tmp_path, inner):
    # The slices are void from 6.5 to 7.5 but for a rib 0.2 mm thick across the duct, and the sheet
    # ends at 7.5: over the rib 0.5 mm is left, whether it stands near the mouth or not.
    solid, event = tall_over_window(0, 20, 5.5)
    solid += s.block((inner, -4, 0.5), (inner + 0.2, 4, 2.5))
    found = make.first(tmp_path, solid, along(7.0, 1.95, 0.8), event, pitch=0.25)
    assert found.state == "restricted"
    bracket(found.clear_diameter_mm, 0.5, 0.25)


PIN = 0.3


@pytest.mark.parametrize(("sheet", "pin", "truth"), [
    (True, True, 2 - PIN),  # under the sheet, beside the pin
    *shared.more((True, False, 2.4), (False, True, 2 - PIN)),  # between the pin and either wall
])  # fmt: skip
def test_a_tall_mesh_is_passed_beside_and_below(tmp_path, sheet, pin, truth):
    solid = level_duct(6.0, 10.0)
    mesh = s.block((-9.9, -4, 8.4), (9.9, 4, 8.8)) if sheet else None
    if pin:
        post = s.bore((0, 0, 5), (0, 0, 11), PIN, segments=48)
        mesh = post if mesh is None else mesh + post
    found = make.first(
        tmp_path,
        solid,
        along(8.0, 2.25),
        STRAY,
        meshes={"stray": mesh},
        pitch=PITCH,
    )
    assert found.state == "open", found.reasons
    bracket(found.clear_diameter_mm, truth)


STRAY = {"shape": "mesh", "mesh": "stray.stl"}


@pytest.mark.parametrize(("inner", "outer", "pitch"), [
    (9.8, 10.2, 0.2),  # across the closing surface
    *shared.more((9.5, 9.7, 0.4), (9.8, 10.0, 0.4), (7.0, 7.2, 0.4), (9.8, 10.2, 0.4),
        (9.8, 10.0, 0.2), (9.5, 9.7, 0.2), (9.2, 9.4, 0.2), (9.2, 9.4, 0.4)),
])  # fmt: skip
def test_a_plate_close_to_an_upright_mouth(tmp_path, inner, outer, pitch):
    # Wherever it stands, a plate across the whole duct seals it; one over the upper 1.5 mm leaves
    # 2.5: the ball's centre has to come to the closing surface.
    solid, passage = level_duct(6.0, 10.0), along(8.0, 2.25, 3.0)
    for foot, state, truth in ((5.0, "blocked", 0.0), (8.5, "restricted", 2.5)):
        plate = s.block((inner, -4, foot), (outer, 4, 11))
        found = make.first(
            tmp_path / state, solid, passage, STRAY, meshes={"stray": plate}, pitch=pitch
        )
        assert found.state == state, f"plate from z = {foot}: {found.clear_diameter_mm}"
        bracket(found.clear_diameter_mm, truth, pitch)


@pytest.mark.parametrize("lean", shared.more(20.0, 5.0))
def test_a_plate_behind_the_mouth_of_a_leaning_bore(tmp_path, lean):
    axis = np.array((np.cos(np.radians(lean)), 0.0, np.sin(np.radians(lean))))
    middle, rise = np.array((0.0, 0.0, 8.0)), LONG / 2 * np.tan(np.radians(lean))
    solid = s.block((-LONG / 2, -6, 0), (LONG / 2, 6, 16))
    solid -= s.bore(middle - 14 * axis, middle + 14 * axis, 2.0, segments=64)
    plate = s.block((9.6, -5, 0), (9.7, 5, 16))
    ends = (-LONG / 2, 0, 8 - rise), (LONG / 2, 0, 8 + rise)
    passage = make.passage(*ends, 2.0 / sqrt(np.cos(np.radians(lean))), 3.0)
    found = make.first(tmp_path, solid, passage, STRAY, meshes={"stray": plate}, pitch=PITCH)
    assert found.state in ("blocked", "undetermined")
    assert found.clear_diameter_mm.low == 0.0


@pytest.mark.parametrize(("inner", "open_"), [(10.0, False), (12.1, True)])
def test_a_plate_outside_a_mouth(tmp_path, inner, open_):
    # The ball may stand out of the mouth, but not into metal: a plate that lies on the face closes
    # it, one more than a ball's radius away does not matter.
    solid, passage = level_duct(6.0, 10.0), along(8.0, 2.25, 3.0)
    plate = s.block((inner, -4, 5), (inner + 0.3, 4, 11))
    found = make.first(tmp_path, solid, passage, STRAY, meshes={"stray": plate}, pitch=PITCH)
    if open_:
        assert found.state == "open"
        bracket(found.clear_diameter_mm, 4.0)
    else:
        assert found.state in ("blocked", "undetermined")
        assert found.clear_diameter_mm.low == 0.0


@pytest.mark.parametrize("tilt", shared.more(2.0, 6.0, 15.0))
def test_a_plate_that_leans_along_the_passage(tmp_path, tilt):
    # A plate 0.4 thick through (0, 9.2), lowest at the duct's one end, where it leaves least below;
    # above it, least is left at the other end: no height is open from end to end.
    solid = level_duct(6.0, 10.0)
    plate = s.block((-LONG, -4, -0.2), (LONG, 4, 0.2)).rotate((0, tilt, 0)).translate((0, 0, 9.2))
    found = make.first(
        tmp_path,
        solid,
        along(8.0, 2.25),
        STRAY,
        meshes={"stray": plate},
        pitch=PITCH,
    )
    half = 0.2 / np.cos(np.radians(tilt))
    drop = LONG / 2 * np.tan(np.radians(tilt))
    below = 9.2 - half - drop - 6.0  # height left at the end under the plate
    if below > 0.5:
        # A ball may end beyond the face: its centre stops there. At the end it touches floor and
        # plate, whose slope presses it no lower than the gap at its centre.
        assert found.state == "open"
        ball = 2 * below / (1 + 1 / np.cos(np.radians(tilt)))
        bracket(found.clear_diameter_mm, ball)
    else:
        assert found.state in ("blocked", "restricted", "undetermined")
        assert found.clear_diameter_mm.low <= max(below, 0.0) + 1e-6
