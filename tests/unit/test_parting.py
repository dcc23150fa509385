"""Plane sections that every wide way crosses: what cells prove, on ducts by construction."""

from __future__ import annotations

from types import SimpleNamespace

import make
import numpy as np
import pytest
import shapes as s

from clearance.case.read import read_case
from clearance.columns import ways
from clearance.geometry.planes import Plane
from clearance.passages.parting import Parting, _spans
from clearance.passages.search import Search
from clearance.predicted.part import NOMINAL
from clearance.verdict.passage_check import PassageCheck
from clearance.verdict.prepared import prepare

LEFT, RIGHT = np.array([-1.5, 0.0, 15.0]), np.array([1.5, 0.0, 15.0])
UP = np.array([0.0, 0.0, 1.0])


def searched(folder, void, port, radius) -> Search:
    solid = s.block((-6, -5, 0), (6, 5, 30)) - void
    passage = make.passage((*port, 0), (*port, 30), radius, 1.0)
    checked = prepare(read_case(make.write_case(folder, solid, passage, pitch=0.25)))
    check = PassageCheck(checked, checked.case.passage[0])
    return check.search(check.predicted(NOMINAL, 0.25), [])


def forked(folder, top: float = 20.0) -> Search:
    """Two ducts of 2 by 2 side by side from z 10 to `top`, a chamber of both below and above."""
    void = s.block((-2.5, -1, -1), (2.5, 1, 31)) - s.block((-0.5, -2, 10), (0.5, 2, top))
    return searched(folder, void, (0.0, 0.0), 1.5)


def parting(search: Search, radius: float = 0.7) -> Parting:
    ends = search._at(search.ends[0]), search._at(search.ends[1])
    return Parting(search.cells, search._active((), radius), ends)


def cut(where: Parting, search: Search, place, normal=UP) -> None:
    plane = Plane.through(place, normal)
    where.cut(plane, search.void_piece(plane))


@pytest.mark.parametrize("normal", [(0, 0, 1), (0.2, 0.1, 1)])
def test_both_branches_of_a_fork_are_crossed_and_one_is_not(tmp_path, normal):
    search = forked(tmp_path)
    one = parting(search)
    cut(one, search, LEFT, normal)
    assert len(one.left()[0])
    assert not one.all_cross(0.7)
    cut(one, search, RIGHT, normal)
    assert not len(one.left()[0])
    assert one.all_cross(0.7)


def test_a_section_more_in_a_row_changes_nothing(tmp_path):
    # A way through both is crossed twice: each section is counted by itself.
    search = forked(tmp_path)
    one = parting(search)
    for place in (LEFT, RIGHT, LEFT + 3 * UP, np.array([0.0, 0.0, 5.0])):
        cut(one, search, place)
    assert one.all_cross(0.7)


@pytest.mark.parametrize("depth", [0.05, 0.6])
def test_a_fork_right_beside_the_section_leaves_the_other_branch(tmp_path, depth):
    # The dividing wall begins just above the section: cells of the other branch see it.
    search = forked(tmp_path, 15.0 + depth)
    one = parting(search)
    cut(one, search, LEFT)
    assert len(one.left()[0])
    assert not one.all_cross(0.7)
    route = np.array([(-1.5, 0.0, z) for z in (30.0, 20.0, 15.0, 5.0, 0.0)])
    assert search._cut((), 0.9, route) >= 2.0  # by construction: either duct lets 2 pass
    assert search._cut((), 0.9, route, 1.9) == 1.9  # a bound that is known already: given up


def test_no_section_where_a_way_begins(tmp_path):
    # From the mouth to the centre of its cell a way may pass the section, or not.
    search = searched(tmp_path, s.block((-1, -1, -1), (1, 1, 31)), (0.0, 0.0), 1.1)
    one = parting(search)
    cut(one, search, np.array([0.0, 0.0, 29.9]))
    assert not one.all_cross(0.7)
    cut(one, search, np.array([0.0, 0.0, 15.0]))
    assert one.all_cross(0.7)


def test_a_section_that_comes_to_a_mouth_bounds_nothing(tmp_path):
    search = searched(tmp_path, s.block((-1, -1, -1), (1, 1, 31)), (0.0, 0.0), 1.1)
    slanting = Plane.through((0.0, 0.0, 29.5), (1.0, 0.0, 1.0))
    assert search.void_piece(slanting) is None
    assert search.void_piece(Plane.through((0.0, 0.0, 28.0), (1.0, 0.0, 1.0))) is not None


def test_two_sections_that_one_link_leads_through_are_both_crossed_there():
    """A row of four cells: the first link leads through two sections, each of which is crossed once
    more farther on. A way may pass both by; its chain comes back through them."""
    cells = SimpleNamespace(radius=np.ones((1, 1, 4), np.float32), slack_mm=0.1)
    row = Parting(cells, np.ones((1, 1, 4), np.uint8), (np.array([0]), np.array([3])))

    def cut_before(*places: int) -> None:
        low = np.array(places) - 1
        row.active.ravel()[low] |= ways.CUT_LINK[2]
        row._links.append((low, low + 1))

    cut_before(1, 2)
    assert not row.all_cross(0.5)
    cut_before(1, 3)
    assert not row.all_cross(0.5)
    cut_before(2)
    assert row.all_cross(0.5)


@pytest.mark.parametrize(
    ("vectors", "wanted", "found"),
    [
        ([], 0, True),
        ([], 1, False),
        ([0b011, 0b110], 0b101, True),
        ([0b011, 0b110], 0b111, False),
        ([0b111, 0b101, 0b010], 0b010, True),
        ([0b1000, 0b0100], 0b1110, False),
    ],
)
def test_crossings_add_up_by_twos(vectors, wanted, found):
    assert _spans(vectors, wanted) == found
