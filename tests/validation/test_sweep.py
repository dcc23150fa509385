"""The sweep against closed forms over all heights, and against `check` at sampled ones."""

from __future__ import annotations

from dataclasses import replace

import make
import numpy as np
import pytest
import shapes as s
import shared

from clearance.case.read import read_case
from clearance.errors import ClearanceError
from clearance.sweeps.sweep import sweep
from clearance.sweeps.wanted import Wanted

T = 0.1
HEIGHT = 16.0
PART = (12.0, 12.0, HEIGHT)
R = 2.0
NEED = 3.0
LEAN = 20.0


def swept(folder, solid, passages, stray, layer=T, pitch=0.25, wanted=None):
    """Sweep of a case that was written to a folder, and the case."""
    path = make.write_case(folder, solid, passages, stray, layer=layer, pitch=pitch)
    return sweep(read_case(path), wanted), read_case(path)


def same_as_check(case, found, heights):
    """States equal, brackets overlapping, open fractions equal, at some heights."""
    for h in heights:
        n = int(np.argmin(np.abs(np.array(found.heights_mm) - h)))
        there = (replace(case.stray[0], height=found.heights_mm[n]),)
        result = make.judged(replace(case, stray=there))
        for one, all_heights in zip(result.passages, found.passages, strict=True):
            said = f"{one.name} at {found.heights_mm[n]}"
            assert all_heights.state[n] is one.state, said
            low, high = one.clear_diameter_mm.low, one.clear_diameter_mm.high
            assert all_heights.low_mm[n] <= high + 1e-6, said
            assert low <= all_heights.high_mm[n] + 1e-6, said
            fraction = min((c.open_fraction for c in one.crossings), default=1.0)
            assert all_heights.open_fraction[n] == pytest.approx(fraction, abs=1e-3), said


def lens(r, d):
    """Area that two discs of radius r share, their centres d apart (analytic)."""
    if d >= 2 * r:
        return 0.0
    return 2 * r * r * np.arccos(d / (2 * r)) - 0.5 * d * np.sqrt(4 * r * r - d * d)


@pytest.mark.more
def test_an_upright_tube_stays_open_at_every_height(tmp_path):
    ways = make.passage((0, 0, 0), (0, 0, HEIGHT), R, NEED)
    found, case = swept(tmp_path, s.straight_bore(R, PART), ways, make.sheet(5.0))
    (p,) = found.passages
    assert len(found.heights_mm) == round(HEIGHT / T)
    assert set(p.state) == {"open"}
    assert p.open_fraction == pytest.approx([1.0] * len(p.state))  # analytic
    assert min(p.low_mm) > 2 * R - 0.05
    same_as_check(case, found, [0.0, 8.0, HEIGHT - T])


def test_a_plane_blocks_an_upright_tube_at_every_height(tmp_path):
    ways = make.passage((0, 0, 0), (0, 0, HEIGHT), R, NEED)
    found, _ = swept(tmp_path, s.straight_bore(R, PART), ways, make.plane(5.0, 1),
                     wanted=Wanted(1.0, 15.0))  # fmt: skip
    (p,) = found.passages
    assert set(p.state) == {"blocked"}
    assert set(p.high_mm) == {0.0}
    assert set(p.open_fraction) == {0.0}


def test_a_leaning_tube_is_a_lens_that_closes_as_the_sheet_goes_up(tmp_path):
    """Analytic: the slice's hole and the section at h are ellipses, h tan(lean) apart."""
    solid = s.tilted_bore(R, LEAN, (18.0, 12.0, HEIGHT))
    tan, cos = np.tan(np.radians(LEAN)), np.cos(np.radians(LEAN))
    aside = 0.5 * HEIGHT * tan
    ways = make.passage((-aside, 0, 0), (aside, 0, HEIGHT), R / np.sqrt(cos), NEED)
    found, case = swept(tmp_path, solid, ways, make.sheet(5.0, 1))
    (p,) = found.passages
    z0 = 0.5 * T
    for n in range(3, len(p.state) - 3):
        h = found.heights_mm[n]
        # Shrunk along x by cos the ellipses are discs; the wider offset is at the upper face.
        share = lens(R, (h + T - z0) * tan * cos) / (np.pi * R * R)
        assert p.open_fraction[n] == pytest.approx(share, abs=0.01), h
    closed = 2 * R / (tan * cos)
    for n, state in enumerate(p.state):
        if found.heights_mm[n] > closed + 0.2:
            assert state == "blocked", found.heights_mm[n]
        # A ball in the lens is no wider than the lens, and no narrower than an upright one there.
        along = max(2 * R - (found.heights_mm[n] + T - z0) * tan * cos, 0.0)
        assert p.low_mm[n] <= max(along / cos, 0.0) + 0.02 or along == 0.0
    assert "restricted" in p.state
    assert "blocked" in p.state
    same_as_check(case, found, [2.5, *([1.0, 4.0, 7.0, closed + 0.5] if shared.in_full else [])])


@pytest.mark.parametrize(
    ("first", "step", "alike"), [(8.0, 8.0, [16.0]), *shared.more((2.0, 2.0, [8.0, 14.0, 16.0]))]
)
def test_a_helical_tube_is_open_once_a_turn(tmp_path, first, step, alike):
    """Analytic: over its own start after a whole turn, blocked opposite to it."""
    turn, away = 16.0, 4.0
    solid = s.helical_tube(1.5, away, 2 * turn, 2.0)
    slope = np.arctan2(turn, 2 * np.pi * away)
    ways = make.passage((away, 0, 0), (away, 0, 2 * turn), 1.5 / np.sqrt(np.sin(slope)), 2.0)
    found, case = swept(tmp_path, solid, ways, make.sheet(5.0, 1), layer=0.2, pitch=0.25,
                        wanted=Wanted(first, 32.0 - first, step))  # fmt: skip
    (p,) = found.passages
    at = {round(h, 3): n for n, h in enumerate(found.heights_mm)}
    assert p.state[at[8.0]] == "blocked"
    assert p.state[at[24.0]] == "blocked"
    assert p.state[at[16.0]] == "open"
    assert p.open_fraction[at[8.0]] == 0.0
    assert p.open_fraction[at[16.0]] > 0.85
    same_as_check(case, found, alike)


@pytest.mark.parametrize("resume", ["height", *shared.more("layer")])
def test_a_shifted_tube_is_a_lens_at_every_height(tmp_path, resume):
    """Analytic: two circles at distance d leave a lens, whose ball is 2 r - d wide."""
    d = 0.6
    ways = make.passage((0, 0, 0), (0, 0, HEIGHT), R, NEED)
    stray = make.sheet(5.0, 1, resume=resume, resume_shift=[d, 0.0])
    found, case = swept(tmp_path, s.straight_bore(R, PART), ways, stray,
                        wanted=Wanted(1.0, 15.0, 2.0))  # fmt: skip
    (p,) = found.passages
    assert set(p.state) == {"open"}
    for low, high, fraction in zip(p.low_mm, p.high_mm, p.open_fraction, strict=True):
        assert low <= 2 * R - d + 1e-3
        assert high >= 2 * R - d - 0.02  # facets
        assert fraction == pytest.approx(lens(R, d) / (np.pi * R * R), abs=0.01)
    same_as_check(case, found, [5.0])


def test_a_level_run_narrows_from_the_face_of_the_sheet(tmp_path):
    """Analytic: between the roof of a level bore and a solid sheet in it the gap is a segment."""
    line = np.array([(-5.0, 0, -1.0), (-5.0, 0, 8.0), (12.0, 0, 8.0)])
    solid = s.block((-9, -6, 0), (9, 6, 14)) - s.tube_along(s.bent_line(line, 2.5), R)
    ways = make.passage((-5, 0, 0), (9, 0, 8), R, NEED)
    found, case = swept(
        tmp_path,
        solid,
        ways,
        make.plane(5.0, 1),
        wanted=Wanted(8.3, 10.5, 0.1 if shared.in_full else 0.5),
    )
    (p,) = found.passages
    for n, h in enumerate(found.heights_mm):
        gap = min(h - (8.0 - R), 2 * R)  # below the sheet: the way in comes from below
        assert p.low_mm[n] <= gap + 0.01, h
        assert p.high_mm[n] >= gap - 0.05, h
    same_as_check(case, found, [8.3, *([9.5, 10.4] if shared.in_full else [])])


def test_a_given_next_layer_goes_along_with_the_height(tmp_path):
    """The lift stays, and the sweep says so; check with the next layer of that height agrees."""
    solid = s.tilted_bore(R, LEAN, (18.0, 12.0, HEIGHT), segments=48)
    aside = 0.5 * HEIGHT * np.tan(np.radians(LEAN))
    ways = make.passage(
        (-aside, 0, 0), (aside, 0, HEIGHT), R / np.sqrt(np.cos(np.radians(LEAN))), NEED
    )
    found, case = swept(tmp_path, solid, ways, make.sheet(3.0, 3, next_layer=30),
                        wanted=Wanted(2.5, 2.5))  # fmt: skip
    assert any("lifted by 0.3 mm at every height" in notice for notice in found.notices)
    there = replace(case, stray=(replace(case.stray[0], next_layer=25),))
    same_as_check(there, found, [2.5])


def test_a_sheet_above_the_part_is_one_message(tmp_path):
    ways = make.passage((0, 0, 0), (0, 0, HEIGHT), R, NEED)
    with pytest.raises(ClearanceError, match="found 21, expected a height on the part, at most 16"):
        swept(tmp_path, s.straight_bore(R, PART), ways, make.sheet(HEIGHT + 5.0))
