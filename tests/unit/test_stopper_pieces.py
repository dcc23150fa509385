"""Which pieces of the possible void a stopper may hide a way between, step by step.

Each step is asked directly, with pieces numbered by hand; whole parts: `test_hidden_holes`,
`test_beside_mouths`, `test_behind_third_mouths` in `tests/validation`.
"""

from types import SimpleNamespace

import numpy as np
import pytest

from clearance.columns.grid import Grid
from clearance.geometry.soup import Box
from clearance.passages import hidden
from clearance.passages.hidden import Hidden

OUTSIDE = 9
VOID = SimpleNamespace(outside=OUTSIDE)


def stoppers(near, groups=(), names=("a", "b", "c"), **keys):
    """Stoppers that may hide something: of each the pieces near it, and those it joins."""
    return SimpleNamespace(
        _hiding=list(near),
        _near=lambda void, n: near[n],
        _groups=lambda void, n: dict(groups).get(n, []),
        stood=[SimpleNamespace(nominal=SimpleNamespace(name=name)) for name in names],
        **keys,
    )


def test_pieces_grow_from_stopper_to_stopper_and_not_in_from_outside():
    where = stoppers({0: {1, 2}, 1: {3, 4}, 2: {OUTSIDE, 6}}, {0: [{1, 2}], 1: [{3, 4}], 2: [{6}]})
    assert Hidden.grown(where, VOID, {1}) == {1, 2}
    assert Hidden.grown(where, VOID, {1}, [{2, 3}]) == {1, 2, 3, 4}
    assert Hidden.grown(where, VOID, {5}) == {5}
    assert Hidden.grown(where, VOID, {1, OUTSIDE}) == {1, 2, OUTSIDE}


def test_a_stopper_is_beside_pieces_of_its_own_mouth_alone():
    where = stoppers({0: {1}, 2: {3}})
    mouth = {name: SimpleNamespace(name=name) for name in "abc"}
    assert Hidden.beside(where, VOID, mouth["a"], {1, 7})
    assert not Hidden.beside(where, VOID, mouth["a"], {3, 7})
    assert not Hidden.beside(where, VOID, mouth["b"], {1, 3})  # hides nothing
    assert not Hidden.beside(where, VOID, mouth["c"], {1, 2})


def test_a_mouth_is_as_wide_as_what_comes_to_the_inner_end_of_its_own_stopper():
    def mouth(name, x, polygon):
        plane = SimpleNamespace(origin=np.array([x, 0.0, 0.0]))
        return SimpleNamespace(name=name, plane=plane, polygon=polygon)

    one, elsewhere, other = mouth("a", 0.0, "own"), mouth("a", 1.0, "own"), mouth("b", 0.0, "own")
    where = SimpleNamespace(
        _alone=SimpleNamespace(inner={0: "wide", 1: "wide", 2: "wide", 3: one.polygon}),
        stood=[SimpleNamespace(place=place) for place in (one, elsewhere, other, one)],
        _wide=lambda n, inner: (n, inner),
    )
    assert Hidden.behind_figures(where, one) == [one, (0, "wide")]


def test_groups_of_one_piece_join_nothing():
    met = {1: {11}, 2: {21, 22}, OUTSIDE: {1, 2}}
    inner = SimpleNamespace(piece=np.array([1, 2, 2, OUTSIDE]), outside=OUTSIDE)
    where = SimpleNamespace(
        _looked_into=lambda n: SimpleNamespace(void=inner), _just_behind=lambda void, n: {5, 6}
    )
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(hidden, "_meeting", lambda void, piece, _: met[piece])
        assert Hidden._groups(where, VOID, 0) == [{21, 22}, {5, 6}]
        where._just_behind = lambda void, n: {5}
        assert Hidden._groups(where, VOID, 0) == [{21, 22}]


def grid(pitch=1.0, side=6.0):
    return Grid.over(np.zeros(2), np.full(2, side), pitch, pad=0)


def squares(g, i, j):
    return {a * (g.ny - 1) + b for a in i for b in j}


class Asked:
    """A possible void that keeps what was asked of it."""

    def __init__(self, g):
        self.places, self.squares, self.heights = SimpleNamespace(grid=g), set(), set()

    def pieces_over(self, at, low, high):
        self.squares |= set(np.asarray(at).tolist())
        self.heights |= set(zip(np.asarray(low).tolist(), np.asarray(high).tolist(), strict=True))
        return {1}


def test_squares_hold_points_and_the_nearest_stand_for_those_beyond():
    g = grid()
    at = float(g.x_mm(0))
    x, y = at + np.array([0.5, 3.5, -4.0, 99.0]), at + np.array([2.5, 0.5, 1.5, 99.0])
    last = g.ny - 2
    expected = [0 + 2, 3 * (g.ny - 1) + 0, 1, (g.nx - 2) * (g.ny - 1) + last]
    assert hidden._square_at(g, x, y).tolist() == expected


def test_pieces_near_a_stopper_are_those_over_its_box_grown_by_a_pitch(monkeypatch):
    g = grid()
    at = float(g.x_mm(0))
    low, high = np.array([at + 2.2, at + 3.2, 5.0]), np.array([at + 2.8, at + 4.4, 7.0])
    monkeypatch.setattr(hidden, "stopper", lambda *_: np.array([[low, high, low]]))
    where = SimpleNamespace(
        predicted=SimpleNamespace(window=SimpleNamespace(box=Box(np.zeros(3), np.full(3, 9.0)))),
        stood=[SimpleNamespace(place=None)],
    )
    void = Asked(g)
    assert Hidden._near(where, void, 0) == {1}
    assert void.squares == squares(g, (1, 2, 3), (2, 3, 4, 5))
    ((bottom, top),) = void.heights
    assert (bottom, top) == pytest.approx((4.0, 8.0))
    where.predicted.window.box = Box(np.zeros(3), np.array([9.0, 9.0, 3.5]))
    assert Hidden._near(where, Asked(g), 0) == set()


def test_a_piece_of_small_squares_meets_what_lies_over_all_of_their_corners():
    fine, g = grid(0.5), grid()
    own, other = 3 * (fine.ny - 1) + 3, 7 * (fine.ny - 1) + 7
    low, high = np.array([1.0, 2.0]), np.array([1.5, 2.5])
    within = SimpleNamespace(
        runs=(np.array([own, other]), low, high),
        piece=np.array([4, 5]),
        places=SimpleNamespace(grid=fine),
    )
    void = Asked(g)
    assert hidden._meeting(within, 4, void) == {1}
    x = [float(fine.x_mm(k)) for k in (3, 4)]
    i = {int(np.floor(v - float(g.x_mm(0)))) for v in x}
    assert void.squares == squares(g, i, i)
    assert void.heights == {(1.0, 1.5)}


@pytest.mark.parametrize(
    ("low", "high", "meets"),
    [((1, 1, 1), (3, 3, 3), True), ((1, 1, 3), (3, 3, 4), False), ((-3, 1, 1), (-1, 3, 3), False)],
)
def test_boxes_meet_along_all_axes(low, high, meets):
    one, other = Box(np.zeros(3), np.full(3, 2.0)), Box(np.array(low, float), np.array(high, float))
    assert hidden._meet(one, other) is hidden._meet(other, one) is meets
