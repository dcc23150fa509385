"""The detail of a leak: which leak, how large, and which circuit is which."""

import pytest
from shapely import Point, box

from clearance.drawing.leak import leak_detail
from clearance.drawing.level_parts import NOTHING, Void
from clearance.result import SeparateResult, State

A, B = Point(0.0, 0.0).buffer(2.0), Point(8.0, 0.0).buffer(2.0)
GAP = box(1.5, -0.25, 6.5, 0.25)
"""Powder 5 mm long and 0.5 mm wide between two bores of 4."""


def void(name, shape):
    return Void((name,), State.OPEN, shape, shape, (0.0, 0.0), (name,))


def pair(state, through, z=10.0):
    return SeparateResult(("a", "b"), state, (4.0, 0.0, z), through)


def told(*pairs, joined=NOTHING, unmelted=GAP, z=10.0):
    return leak_detail(pairs, z, (void("a", A), void("b", B)), (), (joined, unmelted))


def test_powder_between_circuits_is_shown_with_its_size():
    detail = told(pair("undetermined", "unmelted"))
    assert detail.title == "detail X: a and b not known to be apart"
    assert detail.lines[0] == "unmelted powder between them: 2.50 mm2 in plan"  # 5 x 0.5
    assert float(detail.lines[1].split()[0]) == pytest.approx(0.5, abs=0.011)
    x0, y0, x1, y1 = detail.bounds
    assert x1 - x0 == pytest.approx(y1 - y0)
    assert box(*detail.bounds).covers(Point(4.0, 0.0))  # where it is


def test_each_circuit_is_named_within_itself_as_far_as_it_is_seen():
    wide = box(1.5, -1.5, 6.5, 1.5)  # as wide as this the detail holds both
    detail = told(pair("undetermined", "unmelted"), unmelted=wide)
    named = dict(detail.named)
    assert A.covers(Point(named["a"]))
    assert B.covers(Point(named["b"]))


def test_what_is_joined_comes_before_what_may_be():
    open_between = box(3.0, -1.0, 5.0, 1.0)
    detail = told(pair("undetermined", "unmelted"), pair("joined", "void"), joined=open_between)
    assert detail.title == "detail X: a and b connected"
    assert detail.lines[0].startswith("open between them: 4.00 mm2")


def test_no_detail_where_nothing_leaks_or_elsewhere():
    assert told(pair("apart", None)) is None
    assert told(pair("joined", "unmelted", z=12.0)) is None
    assert told(pair("joined", "void")) is None  # nothing open is in this section
