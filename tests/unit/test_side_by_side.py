"""`min_open_fraction_total`: what the channels side by side at one sheet leave open, together.

Analytic: areas of squares, of which a drawn sheet covers some whole or in part.
"""

import make
import pytest
import shapes
import shared

from clearance.passages.crossings import Crossing
from clearance.verdict.channels_together import _together
from clearance.verdict.one_variant import Together
from clearance.verdict.states import Bracket, Required, Seen, state_of

DRAWN = {"shape": "mesh", "mesh": "cover.stl", "source": "log"}
SIDE = 2.0


def channels(count, flip=False, wide=1.0):
    """A plenum below, one above, square channels between, the last `wide` times as long in y."""
    end = 4.0 * (count - 1)
    void = shapes.block((-2, -2, 2), (end + 2, 2, 5)) + shapes.block((-2, -2, 15), (end + 2, 2, 18))
    for n in range(count):
        y = 1.0 * (wide if n == count - 1 else 1.0)
        void += shapes.block((4 * n - 1, -y, 4), (4 * n + 1, y, 16))
    void += shapes.bore((0, 0, -1), (0, 0, 3), 1.5) + shapes.bore((end, 0, 17), (end, 0, 21), 1.5)
    solid = shapes.block((-4, -4, 0), (end + 4, 4, 20)) - void
    ends = [(0, 0, 0), (end, 0, 20)]
    if flip:
        solid = solid.rotate((180, 0, 0)).translate((0, 0, 20))
        ends = [(0, 0, 20), (end, 0, 0)]
    return solid, ends


def cover(which, z=10.0):
    """Covers some channels whole, or a share of one from its left wall on."""
    parts = [
        shapes.block((4 * n - 1.4, -3, z), (4 * n - 1 + 2 * share, 3, z + 0.3))
        if share < 1.0
        else shapes.block((4 * n - 1.4, -3, z), (4 * n + 1.4, 3, z + 0.3))
        for n, share in which.items()
    ]
    whole = parts[0]
    for part in parts[1:]:
        whole += part
    return whole


def first(folder, solid, ends, covered, need=0.8, **keys):
    way = make.passage(*ends, 1.5, need, **keys)
    return make.first(folder, solid, way, DRAWN, meshes={"cover": covered}, pitch=0.4)


@pytest.mark.parametrize("flip", [False, *shared.more(True)])
@pytest.mark.parametrize(
    ("total", "state"), [(0.74, "open"), (0.76, "restricted")], ids=["enough", "short"]
)
def test_one_of_four_channels_sealed_leaves_three_quarters(tmp_path, total, state, flip):
    # The clear diameter is kept by the others; `min_open_fraction` alone would pass it by.
    solid, ends = channels(4, flip)
    found = first(tmp_path, solid, ends, cover({1: 1.0}), min_open_fraction_total=total)
    assert found.state.value == state
    (group,) = found.open_together
    assert group["channels"] == 4
    assert group["least"] == pytest.approx(0.75, abs=1e-4)
    assert group["greatest"] == pytest.approx(0.75, abs=1e-4)
    if state == "restricted":
        assert "leave 0.75 of their area open together at most, 0.76 required" in found.reasons[0]


def test_areas_add_up_not_fractions(tmp_path):
    # Three channels of 4 mm2, one of 6 that is covered by half, one of 4 sealed: 11 of 18.
    solid, ends = channels(4, wide=1.5)
    found = first(tmp_path, solid, ends, cover({0: 1.0, 3: 0.5}), min_open_fraction_total=0.6)
    (group,) = found.open_together
    assert group["least"] == pytest.approx(11.0 / 18.0, abs=1e-3)
    assert found.state.value == "open"


@pytest.mark.parametrize("shut", [[1, 2], *shared.more([1])])
def test_channels_that_columns_pass_beside_are_never_guessed(tmp_path, shut):
    # Thin slots of 0.2 between columns 0.4 apart: sealed, they take a twelfth each of the area.
    void = shapes.block((-2, -2, 2), (10, 2, 5)) + shapes.block((-2, -2, 15), (10, 2, 18))
    for x, half in ((0, 1.0), (4.03, 0.1), (6.03, 0.1)):
        void += shapes.block((x - half, -1, 4), (x + half, 1, 16))
    void += shapes.bore((0, 0, -1), (0, 0, 3), 1.5) + shapes.bore((0, 0, 17), (0, 0, 21), 1.5)
    solid = shapes.block((-4, -4, 0), (12, 4, 20)) - void
    covers = [shapes.block((2 * n + 1.5, -3, 10), (2 * n + 2.5, 3, 10.3)) for n in shut]
    whole = covers[0] if len(covers) == 1 else covers[0] + covers[1]
    left = 1.0 - 0.4 * len(shut) / 4.8
    ends = [(0, 0, 0), (0, 0, 20)]
    for total, wrong in ((left + 0.01, "open"), (left - 0.01, "restricted")):
        found = first(tmp_path, solid, ends, whole, min_open_fraction_total=total)
        assert found.state.value != wrong


def test_without_the_key_nothing_is_told_and_nothing_fails(tmp_path):
    solid, ends = channels(4)
    found = first(tmp_path, solid, ends, cover({1: 1.0, 2: 1.0}))
    assert found.state.value == "open"
    assert found.open_together == ()


def test_legs_one_behind_the_other_are_no_channels_side_by_side(tmp_path):
    # Down one leg and up the other through the same sheet: half of one is 0.5, not 0.75 of both.
    void = shapes.block((-1, -1, 4), (1, 1, 21)) + shapes.block((5, -1, 4), (7, 1, 21))
    void += shapes.block((-1, -1, 3), (7, 1, 5))
    solid = shapes.block((-3, -3, 0), (9, 3, 20)) - void
    half = shapes.block((-1.4, -2, 10), (0, 2, 10.3)) + shapes.block((4.5, -2, 10), (5.1, 2, 10.3))
    way = make.passage((0, 0, 20), (6, 0, 20), 1.0, 0.8, min_open_fraction_total=0.6)
    found = make.first(tmp_path, solid, way, DRAWN, meshes={"cover": half}, pitch=0.4)
    assert found.state.value == "restricted"
    assert sorted(g["channels"] for g in found.open_together) == [1, 1]
    assert min(g["greatest"] for g in found.open_together) == pytest.approx(0.5, abs=1e-3)


def test_a_sheet_along_the_channel_is_not_told(tmp_path):
    # It lies along a level run, both ends of which open upward: what lies below it is no channel.
    void = shapes.block((-1, -1, 8), (1, 1, 21)) + shapes.block((-1, -1, 8), (21, 1, 12))
    void += shapes.block((19, -1, 8), (21, 1, 21))
    solid = shapes.block((-3, -3, 4), (23, 3, 20)) - void
    along = shapes.block((-2, -2, 10), (22, 2, 10.3))
    way = make.passage((0, 0, 20), (20, 0, 20), 1.0, 0.8, min_open_fraction_total=0.9)
    found = make.first(tmp_path, solid, way, DRAWN, meshes={"cover": along}, pitch=0.4)
    assert found.state.value == "undetermined"
    assert [g["channels"] for g in found.open_together] == [0]


# ---- the rule -----------------------------------------------------------------------------------


def crossing(area, fraction, stray=0):
    z = {"height_mm": 1.0, "low": 0.9, "high": 1.1, "level_mm": 1.0}
    return Crossing(
        stray=stray, centre_mm=(0.0, 0.0, 1.0), nominal_area_mm2=area,
        open_area_mm2=area * fraction, open_fraction=fraction, circle_mm=0.0,
        footprint=None, opening=None, **z,
    )  # fmt: skip


def test_what_may_or_may_not_be_among_them_widens_the_share():
    sure = [crossing(2.0, 1.0), crossing(2.0, 0.5)]
    loose = [crossing(4.0, 0.0), crossing(4.0, 1.0)]
    found = _together(sure, loose)
    assert found.least == pytest.approx(3.0 / 8.0)
    assert found.greatest == pytest.approx(7.0 / 8.0)
    assert _together(sure, []) == Together(0, 1.0, 2, 0.75, 0.75)


@pytest.mark.parametrize(
    ("shares", "state"),
    [
        (((5.0, 0.9, 0.9),), "open"),
        (((5.0, 0.7, 0.9),), "undetermined"),
        (((5.0, 0.7, 0.7),), "restricted"),
        (((5.0, 0.9, 0.9), (8.0, 0.2, 0.3)), "restricted"),
        ((), "open"),
        (None, "undetermined"),
    ],
)
def test_met_by_the_least_share_missed_by_the_greatest(shares, state):
    asked = Required(1.0, 0.1, open_together=0.8)
    assert state_of(asked, Bracket(2.0, 2.0), Seen(together=shares))[0].value == state
    assert state_of(Required(1.0, 0.1), Bracket(2.0, 2.0), Seen(together=shares))[0].value == "open"


@pytest.mark.parametrize(
    "seen",
    [Seen(ahead=True, together=()), Seen(fractions=((5.0, 1.0),), sampled=(5.0,), together=())],
)
def test_what_is_not_shown_of_an_area_is_undetermined(seen):
    asked = Required(1.0, 0.1, open_together=0.8)
    assert state_of(asked, Bracket(2.0, 2.0), seen)[0].value == "undetermined"
    assert (
        state_of(asked, Bracket(2.0, 2.0), Seen(together=()), None, lambda: (3.0,))[0].value
        == "undetermined"
    )
