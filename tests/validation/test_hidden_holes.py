"""Holes between two circuits that lie so near an outer face that stoppers hide them.

A ball passes each hole, by construction, and leaves the part nowhere. Plain neighbours of the
same sizes stay apart.
"""

from __future__ import annotations

import make
import numpy as np
import pytest
import shapes as s
import shared

from clearance.case.read import read_case
from clearance.verdict.circuits_apart import separate
from clearance.verdict.passage_check import PassageCheck
from clearance.verdict.prepared import prepare

RADIUS = 0.8


def twins(off: float, holes=(), turn: float = 0.0):
    """Two level bores through a block, their axes twice `off` apart, and holes between them."""
    solid = s.block((-4, -off - 2, 4), (0, off + 2, 8))
    for y in (-off, off):
        solid -= s.bore((-5, y, 6), (1, y, 6), RADIUS)
    for hole in holes:
        solid -= hole
    return solid.rotate((0, 0, turn))


def circuits(off: float, turn: float = 0.0):
    c, d = np.cos(np.radians(turn)), np.sin(np.radians(turn))

    def at(x, y):
        return (c * x - d * y, d * x + c * y, 6)

    return [
        make.passage(at(0, y), at(-4, y), RADIUS, 1.0, name)
        for y, name in ((-off, "a"), (off, "b"))
    ]


def across(off: float, depth: float, radius: float):
    """A hole from bore to bore, its axis `depth` behind the outer face."""
    return s.bore((-depth, -off, 6), (-depth, off, 6), radius)


def pair(tmp_path, solid, passages, strays=(), **keys):
    """The two circuits alone: how wide either is is not asked."""
    apart = [{"passages": ["a", "b"]}]
    path = make.write_case(tmp_path, solid, passages, strays, separate=apart, **keys)
    checked = prepare(read_case(path))
    checks = [PassageCheck(checked, one) for one in checked.case.passage]
    return separate(checked, checks, [], lambda _: None)[0]


@pytest.mark.parametrize(
    ("off", "depth", "radius", "pitch", "turn"),
    [
        (1.5, 0.25, 0.15, 0.3, 0.0),
        *shared.more((1.5, 0.3, 0.2, 0.45, 30.0), (3.5, 0.3, 0.2, 0.45, 30.0)),
    ],
)
def test_a_hole_just_behind_the_face_joins(tmp_path, off, depth, radius, pitch, turn):
    solid = twins(off, [across(off, depth, radius)], turn)
    found = pair(tmp_path, solid, circuits(off, turn), pitch=pitch)
    assert found.state == found.nominal_state == "joined"


@pytest.mark.parametrize(("off", "turn"), [(1.1, 30.0), *shared.more((1.5, 0.0), (3.5, 90.0))])
def test_neighbours_without_a_hole_stay_apart(tmp_path, turn, off):
    found = pair(tmp_path, twins(off, turn=turn), circuits(off, turn))
    assert found.state == "apart"
