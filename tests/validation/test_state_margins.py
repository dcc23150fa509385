"""How far the height may be off before a state changes: against closed forms and `check`."""

from __future__ import annotations

from dataclasses import replace

import make
import numpy as np
import pytest
import shapes as s
import shared

from clearance.case.read import read_case
from clearance.checking import judge
from clearance.margins import state_margins
from clearance.result import STATES, State
from clearance.verdict.prepared import prepare

T = 0.1
R, FLOOR = 2.0, 6.0
NEED = 2.95
"""Between two layers: no height's gap lies at it."""


def lying(folder, height, **keys):
    """A bore that comes up, turns and lies level, its floor at z 6; a solid plane over all."""
    line = np.array([(-5.0, 0, -1.0), (-5.0, 0, 8.0), (12.0, 0, 8.0)])
    solid = s.block((-9, -6, 0), (9, 6, 14)) - s.tube_along(s.bent_line(line, R + 0.5), R)
    ways = make.passage((-5, 0, 0), (9, 0, 8), R, NEED)
    return read_case(
        make.write_case(folder, solid, ways, make.plane(height, 1, **keys), layer=T, pitch=0.25)
    )


def test_a_gap_below_the_sheet_opens_where_it_is_as_high_as_required(tmp_path):
    """Analytic: a sheet at h leaves h - 6 of the level bore."""
    case = lying(tmp_path, 8.6)
    (margin,) = state_margins(judge(prepare(case)))
    assert (margin.stray, margin.what, margin.unit, margin.judged) == (0, "height", "mm", STATES)
    assert (margin.down, margin.looked_down, margin.changes_down) == (1.0, 1.0, "")
    first = next(k for k in range(1, 11) if 8.6 + k * T - FLOOR > NEED)
    assert margin.looked_up == pytest.approx(first * T)
    assert margin.up == pytest.approx((first - 1) * T)
    assert margin.changes_up.endswith("restricted becomes open")
    ends = ((8.6 + margin.looked_up, "open"), (8.6 + margin.up, "restricted"))
    for height, state in ends[: 2 if shared.in_full else 1]:
        there = (replace(case.stray[0], height=height),)
        assert make.judged(replace(case, stray=there)).passages[0].state == state


@pytest.mark.more
def test_beyond_what_is_uncertain_anyhow(tmp_path):
    """Off by so much more than the case allows for: the range's ends move."""
    case = lying(tmp_path, 8.5, height_uncertainty=0.1)
    (margin,) = state_margins(judge(prepare(case)))
    first = next(k for k in range(1, 11) if 8.6 + k * T - FLOOR > NEED)
    assert margin.looked_up == pytest.approx(first * T)


def test_nothing_is_told_beyond_the_part(tmp_path):
    (margin,) = state_margins(judge(prepare(lying(tmp_path, 13.7))))
    assert (margin.up, margin.looked_up) == (pytest.approx(0.2), pytest.approx(0.2))
    assert (margin.down, margin.looked_down) == (1.0, 1.0)


@pytest.mark.parametrize(
    "keys",
    [{"resume": "layer"}, *shared.more({"resume_shift": [0.3, 0.0]})],
    ids=["lifted", "set aside"],
)
def test_where_the_part_above_moves_nothing_is_told_unasked(tmp_path, keys):
    assert state_margins(judge(prepare(lying(tmp_path, 8.6, **keys)))) is None


def test_where_a_state_is_undetermined_nothing_is_told_unasked(tmp_path):
    known = judge(prepare(lying(tmp_path, 8.6)))
    (passage,) = known.result.passages
    untold = replace(known.result, passages=(replace(passage, state=State.UNDETERMINED),))
    assert state_margins(replace(known, result=untold)) is None


def test_where_a_given_next_layer_would_lift_the_part_elsewhere_nothing_is_told_unasked(tmp_path):
    """At 8.6 mm layer 87 belongs on one wrong layer; a layer higher it would be lifted by one."""
    case = lying(tmp_path, 8.6, next_layer=87)
    judged = judge(prepare(case))
    assert all(e.still for v in judged.checked.unknowns.variants for e in v.events)
    assert state_margins(judged) is None
