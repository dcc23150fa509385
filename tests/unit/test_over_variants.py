"""Which variants are checked exactly: told on numbers alone, without a part."""

from __future__ import annotations

import networkx
import numpy as np
import pytest

from clearance.passages.way import Way
from clearance.predicted.variants import Variant
from clearance.result import State
from clearance.verdict.one_variant import PassageVerdict
from clearance.verdict.over_variants import Bound, OverVariants
from clearance.verdict.states import Required, state_of

NEED = Required(2.0, 0.05)
CEILING = 9.0


def told(low, high):
    """A bound and its state by the rule that counts everywhere."""
    state, _ = state_of(NEED, Way(low, high, np.empty((0, 3)), False, None))
    return Bound(state, low, high)


def over(true_mm, bounds, every=False):
    """All variants, of each the exact bracket's middle (half-width 0.01) and its bound."""
    variants = [Variant((), f"v{n}") for n in range(len(true_mm))]
    looked_at = []

    def judge(variant):
        n = int(variant.said[1:])
        looked_at.append(n)
        low, high = (max(true_mm[n] + d, 0.0) if true_mm[n] else 0.0 for d in (-0.01, 0.01))
        way = Way(low, high, np.empty((0, 3)), False, None)
        state, said = state_of(NEED, way)
        return PassageVerdict(variant, (), networkx.MultiGraph(), (), state, way, said, 0.1)

    known = [None if one is None else told(*one) for one in bounds]
    return OverVariants(variants, judge, lambda: known, lambda _: CEILING, NEED, every), looked_at


def test_what_a_bound_proves_is_not_checked():
    found, looked_at = over([3.0] * 5, [None, *[(2.9, 3.1)] * 4])
    assert looked_at == [0]
    assert found.states == {State.OPEN}


def test_what_no_bound_decides_is_checked():
    found, looked_at = over([3.0] * 4, [None, (2.9, 3.1), (1.9, 3.1), None])
    assert looked_at == [0, 2, 3]
    assert found.states == {State.OPEN}


def test_two_states_that_differ_are_both_checked_and_the_rest_is_left():
    found, looked_at = over([3.0, 3.0, 1.0, 1.0, 3.0], [None, (2.9, 3.1), (0.9, 1.1), None, None])
    assert looked_at == [0, 2]
    assert [one.state for one in found.found[3:]] == [None, None]
    assert {(one.low_mm, one.high_mm) for one in found.found[3:]} == {(0.0, CEILING)}
    found.sharpen(0.0, 3.0)
    assert looked_at == [0, 2]


def test_all_are_checked_where_every_one_counts():
    bounds = [None, (2.9, 3.1), (0.9, 1.1), None, None]
    found, looked_at = over([3.0, 3.0, 1.0, 1.0, 3.0], bounds, every=True)
    assert looked_at == [0, 2, 3, 4]
    assert None not in [one.state for one in found.found]


def test_the_upper_end_comes_from_an_exact_check():
    found, looked_at = over([3.0, 3.2, 3.1], [None, (2.9, 3.4), (2.9, 3.15)])
    found.sharpen(0.0, np.inf)
    assert looked_at == [0, 1]  # the widest first; then no bound lies above what it has
    found, looked_at = over([3.0, 3.2, 3.1], [None, (2.9, 3.4), (2.9, 3.15)])
    found.sharpen(0.5, np.inf)  # told of all heights without it
    assert looked_at == [0]


def test_the_lower_end_of_two_states_comes_from_an_exact_check():
    found, looked_at = over([3.0, 1.0, 0.8], [None, (0.9, 1.1), (0.7, 0.85)])
    found.sharpen(0.0, np.inf)
    assert looked_at == [0, 1, 2]


@pytest.mark.parametrize("bound", [(0.5, 1.5), (3.5, 4.0)])
def test_a_bound_that_an_exact_check_contradicts_is_a_fault_that_is_said(bound):
    found, _ = over([3.0, 3.0], [None, bound])
    found.sharpen(0.0, np.inf)
    (fault,) = found.found[1].fault
    assert "contradict" in fault
    assert found.found[1].state is State.UNDETERMINED
