"""Variants that bounds between heights prove, held against the exact check of every one of them.

The reference is the exhaustive way itself, each variant by an exact check of its own, which shares
no bound between heights. Parts are such that the bounds' weakest steps count: a state that holds
at one height alone, a requirement met by hundredths, ways on one side of a sheet, ways round it.
"""

from __future__ import annotations

from functools import cache
from itertools import pairwise

import make
import numpy as np
import pytest
import shapes as s
import shared

from clearance.case.read import read_case
from clearance.result import State
from clearance.sweeps.variants import bounds, result_of
from clearance.verdict.passage_check import PassageCheck
from clearance.verdict.prepared import prepare

SIDE = 5.0


def lying(r=1.0):
    """A bore along x with its middle at 7.15."""
    tool = s.tube_along(np.array([(-SIDE - 2, 0, 7.15), (SIDE + 2, 0, 7.15)]), r, 48)
    return s.block((-SIDE, -3, 3), (SIDE, 3, 11)) - tool


def along(need, **keys):
    return make.passage((-SIDE, 0, 7.15), (SIDE, 0, 7.15), 1.0, need, **keys)


def leaning(lean, need):
    """A bore of 2 that leans; layers of its foot, melted at 8, stand aside by 8 tan(lean)."""
    aside = np.tan(np.radians(lean))
    line = np.array([(-2 * aside, 0, -2), (18 * aside, 0, 18)])
    solid = s.block((-4, -4, 0), (4 + 16 * aside, 4, 16)) - s.tube_along(line, 1.0, 48)
    return solid, make.passage((0, 0, 0), (16 * aside, 0, 16), 1.02, need)


def loop():
    """An upright bore and a channel beside it that leaves it below 8 and comes back above."""
    solid = s.block((-4, -4, 0), (8, 4, 16)) - s.bore((0, 0, -1), (0, 0, 17), 1.5, segments=48)
    corners = [(0, 0, 5.5), (5, 0, 5.5), (5, 0, 10.5), (0, 0, 10.5)]
    for a, b in pairwise(corners):
        solid -= s.tube_along(np.array([a, b], float), 1.0, 24)
    return solid - s.block((4, -1, 4.6), (6, 1, 11.4))


def both_ways(folder, solid, ends, stray, **keys):
    """The exact check of every variant, the result without bounds, the check, its result."""
    checked = prepare(read_case(make.write_case(folder, solid, ends, stray, **keys)))
    whole, quick = (PassageCheck(checked, checked.case.passage[0]) for _ in range(2))
    whole.judge = cache(whole.judge)
    exact = [whole.judge(variant) for variant in checked.unknowns.variants]
    return exact, whole.result(), quick, result_of(quick)


def assert_same(exact, whole, quick, found):
    """Each bound against the exact check of its variant; then the two results."""
    for bound, judged in zip(bounds(quick, [j.variant for j in exact]), exact, strict=True):
        if bound is not None:
            assert judged.state in (bound.state, State.UNDETERMINED), judged.variant.said
            assert bound.low_mm <= judged.way.high_mm + 1e-4
            assert judged.way.low_mm <= bound.high_mm + 1e-4
    states = {j.state for j in exact}
    assert found.state is whole.state
    assert found.crossings == whole.crossings
    low, high = found.clear_diameter_mm.low, found.clear_diameter_mm.high
    if len(states) > 1:
        assert found.state is State.UNDETERMINED
        assert len({j.state for j in quick.judged}) > 1  # that two differ rests on exact checks
        assert low <= min(j.way.low_mm for j in exact)
        assert high >= max(j.way.high_mm for j in exact) - 1e-9
        return
    assert (found.reasons, found.settled_by) == (whole.reasons, whole.settled_by)
    known = whole.clear_diameter_mm
    assert low >= known.low - 1e-9
    assert high <= known.high + 1e-9


@pytest.mark.parametrize(
    ("need", "state"),
    [(1.6, "restricted"), *shared.more((0.86, "undetermined"))],
)
def test_a_sheet_that_moves_through_a_lying_bore(tmp_path, need, state):
    # 0.85 is left above and below a sheet of 0.3 in the middle, more at any other height.
    stray = make.plane(7.0, 3, height_uncertainty=0.1 if state == "restricted" else 0.2)
    both = both_ways(tmp_path, lying(), along(need), stray)
    assert both[3].state == state
    assert_same(*both)


def test_fewer_exact_checks_where_bounds_tell(tmp_path):
    both = both_ways(tmp_path, *leaning(30.0, 1.5), make.sheet(8.0, 2, height_uncertainty=0.3))
    assert both[3].state == "blocked"  # they stand 4.6 aside, more than the bore is wide
    assert_same(*both)
    assert (len(both[0]), len(both[2].judged)) == (7, 1)


def test_a_state_that_changes_with_the_height_is_said_by_two_exact_checks(tmp_path):
    # Aside by h tan(7): the lens is 2 - 0.123 h wide, 1.03 at 7.9 and 0.98 at 8.3.
    event = make.sheet(8.1, 2, height_uncertainty=0.2, resume="unknown")
    both = both_ways(tmp_path, *leaning(7.0, 1.0), event)
    assert {j.state.value for j in both[2].judged} >= {"open", "restricted"}
    assert any(said.startswith("open for ") for said in both[3].reasons)
    assert any(said.startswith("restricted for ") for said in both[3].reasons)
    assert_same(*both)
    assert len(both[2].judged) < len(both[0]) / 2


@pytest.mark.parametrize(("table", "state"), [(make.sheet, "open"), (make.plane, "blocked")])
def test_a_way_round_a_sheet_counts_at_every_height(tmp_path, table, state):
    # The first layers hold the bore and not the channel beside it; a plane shuts both.
    ends = make.passage((0, 0, 0), (0, 0, 16), 1.5, 2.2)
    both = both_ways(tmp_path, loop(), ends, table(8.0, 2, height_uncertainty=0.3))
    assert both[3].state == state
    assert_same(*both)


def test_what_is_asked_of_areas_is_checked_exactly(tmp_path):
    stray = make.plane(7.0, 3, height_uncertainty=0.2)
    for n, asked in enumerate(({"min_open_fraction": 0.2}, {"every_branch": True})):
        path = make.write_case(tmp_path / str(n), lying(), along(0.7, **asked), stray)
        checked = prepare(read_case(path))
        check = PassageCheck(checked, checked.case.passage[0])
        assert set(bounds(check, checked.unknowns.variants)) == {None}
