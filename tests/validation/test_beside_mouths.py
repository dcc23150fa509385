"""What a stopper might hide: holes beside a mouth, by-channels that leave the bore right behind it.

Every expectation is by construction: the by-channels are tubes of a known radius that join the two
sides of what shuts the bore, so there is a way, whatever stands over the mouth.
"""

from __future__ import annotations

import make
import pytest
import shapes as s
import shared

MESH = {"shape": "mesh", "mesh": "plate.stl"}


def holed(upside_down: bool = False):
    """An upright bore, and a hole from it into the top face right beside its rim."""
    solid = s.block((-4, -4, 0), (4, 4, 5)) - s.bore((0, 0, -1), (0, 0, 6), 1.5)
    solid -= s.bore((1.2, 0, 3.9), (3.4, 0, 5.5), 0.25, segments=24)
    return solid.mirror((0, 0, 1)).translate((0, 0, 5)) if upside_down else solid


@pytest.mark.parametrize(
    ("turn", "upside_down", "pitch"),
    [(0.0, False, 0.4), (90.0, True, 0.3), *shared.more((90.0, False, 0.4))],
)
def test_a_hole_that_opens_beside_the_rim_is_told(tmp_path, turn, upside_down, pitch):
    solid = holed(upside_down).rotate((0, turn, 0)).translate((0, 0, 4 if turn else 0))
    ends = ((0, 0, 4), (5, 0, 4)) if turn else ((0, 0, 0), (0, 0, 5))
    found = make.first(tmp_path, solid, make.passage(*ends, 1.5, 2.9), pitch=pitch)
    assert any("reach the outside" in said for said in found.reasons), found.reasons


def by_channel(high, low, to):
    """A tube of radius 0.25 from `high` to `low` and level from there to x `to`."""
    x, y, z = low
    tubes = s.bore(high, low, 0.25, segments=24) + s.bore(low, (to, y, z), 0.25, segments=24)
    return tubes + s.block((x - 0.25, y - 0.25, z - 0.25), (x + 0.25, y + 0.25, z + 0.25))


def only_by_channel(found):
    """The answer where no way but a by-channel is left: 0.5 wide less what its sides cut off."""
    assert found.state == "restricted", found.reasons
    assert 0.2 <= found.clear_diameter_mm.low <= 0.5 + 1e-3
    assert found.clear_diameter_mm.high >= 0.48


@pytest.mark.parametrize(
    ("turn", "high", "pitch"),
    shared.more((90.0, (0.3, 0, 4.1), 0.45), (0.0, (0.35, 0, 4.2), 0.5)),
)
def test_a_by_channel_from_right_behind_the_mouth_is_a_way(tmp_path, turn, high, pitch):
    # In level at z 5, down at x 4, out level at z 1.5.
    solid = s.block((0, -2, 0), (6, 2, 7))
    for a, b in (((-1, 0, 5), (4, 0, 5)), ((4, 0, 1.5), (4, 0, 5)), ((4, 0, 1.5), (7, 0, 1.5))):
        solid -= s.bore(a, b, 1.0, segments=32)
    solid -= by_channel(high, (1.3, 0, 1.5), 4)
    found = make.first(
        tmp_path,
        solid.rotate((0, 0, turn)),
        make.passage((0, 0, 5), (0, 6, 1.5) if turn else (6, 0, 1.5), 1.0, 1.0),
        MESH,
        meshes={"plate": s.block((2.7, -1.5, 3.0), (5.3, 1.5, 3.3)).rotate((0, 0, turn))},
        pitch=pitch,
        smallest_way=0.2,
    )
    only_by_channel(found)


def with_side_port(folder, turn, high, plate, pitch, **keys):
    """An upright bore with a side port that is closed; the by-channel leaves behind that one."""
    solid = s.block((0, -2, 0), (5.5, 2, 7)) - s.bore((4, 0, -1), (4, 0, 8), 1.0, segments=32)
    solid -= s.bore((-1, 0, 5), (4, 0, 5), 1.0, segments=32)
    solid -= by_channel(high, (1.3, 0, 1.5), 4)
    centre = (0, 4) if turn else (4, 0)
    return make.first(
        folder,
        solid.rotate((0, 0, turn)),
        make.passage((*centre, 0), (*centre, 7), 1.0, 1.0, **keys),
        MESH,
        meshes={"plate": plate.rotate((0, 0, turn))},
        closed=[{"name": "side", **make.port((0, 0, 5), 1.0)}],
        pitch=pitch,
        smallest_way=0.2,
    )


@pytest.mark.parametrize(
    ("turn", "high", "pitch"),
    [(0.0, (0.35, 0, 4.2), 0.5), *shared.more((90.0, (0.3, 0, 4.1), 0.45))],
)
def test_a_by_channel_from_right_behind_a_third_mouth(tmp_path, turn, high, pitch):
    across = s.block((2.7, -1.5, 3.0), (5.3, 1.5, 3.3))
    only_by_channel(with_side_port(tmp_path / "a", turn, high, across, pitch))
    if not shared.in_full:
        return
    # Where the bore is free and the channel is sealed, a branch is.
    sealing = s.block((0.2, -1.5, 3.0), (2.2, 1.5, 3.3))
    found = with_side_port(tmp_path / "b", turn, high, sealing, pitch, every_branch=True)
    assert found.state == "restricted", found.reasons
    assert any(crossing.sealed for crossing in found.crossings)
