"""Random parts of all kinds against solid booleans and certified distances.

One of each kind, five more with `-m more`, without those that take long; `many_random.py` runs
all, and many more.
"""

from __future__ import annotations

import numpy as np
import pytest
import shapes
import shared
import true_diameter
from booleans import Disc
from many_random import LOOSE
from random_judged import judged
from random_kinds import KINDS, make_scene

EACH, PLAIN = 6, 1
"""Seeds of each kind, and those of them that the plain run has."""
ELSEWHERE = (
    "bent",
    "bypass",
    "foreign void",
    "layers range",
    "level faces",
    "thin walls, drilled",
    "third mouth closed",
)
"""Kinds that take longest, and that the plain run has elsewhere: bent bores and drilled ones in
`test_against_booleans.py`, the others by hand."""
SLOW = (2, 15, 17, 19, 30, 42, 51, 53, 59, 62, 66, 67, 89, 92, 110)
"""Seeds that take more than three seconds: looked at ever more closely, or drilled."""

LATER = (0, 35, 38, 56, 74)
"""Those that take long since a neck is looked for at third mouths, or drilled: with `-m more`."""


def seeds(kind: str) -> list[int]:
    """Quick seeds of a kind."""
    first = list(KINDS).index(kind)
    row = range(first, (EACH + len(SLOW)) * len(KINDS), len(KINDS))
    quick = [seed for seed in row if seed not in SLOW][:EACH]
    return sorted(quick, key=lambda seed: seed in LATER)


def kinds_and_seeds() -> list:
    """Every kind with the seeds of the plain run, then with those of `-m more`."""
    plain = [(kind, 0, PLAIN) for kind in KINDS if kind not in ELSEWHERE]
    later = [(kind, 0, PLAIN) for kind in ELSEWHERE]
    later += [(k, *part) for k in KINDS for part in ((PLAIN, 2), (2, 3), (3, EACH))]
    return [*plain, *shared.more(*later)]


@pytest.mark.parametrize(("kind", "first", "end"), kinds_and_seeds())
def test_random_parts_of_a_kind(tmp_path, kind, first, end):
    """Nothing unsafe, no bracket beside the truth, few undetermined that need not be."""
    found = []
    for seed in seeds(kind)[first:end]:
        scene = make_scene(seed)
        assert scene.kind == kind
        found += judged(tmp_path / str(seed), scene, seed)
    assert not [str(v) for v in found if v.wrong]
    if kind not in LOOSE:
        assert sum(v.undetermined and v.far for v in found) <= 1


def test_a_seed_gives_the_same_part_again():
    for seed in range(0, len(KINDS), 1 if shared.in_full else 5):
        one, other = make_scene(seed), make_scene(seed)
        assert one.kind == list(KINDS)[seed]
        assert one.nominal.volume() == other.nominal.volume()
        assert one.strays == other.strays


# ---- the reference itself, against closed forms ------------------------------------------------


BLANK = shapes.block((-8, -8, 0), (8, 8, 15))
ENDS = (
    Disc(np.array([0.0, 0.0, 0.0]), 1.5, np.array([0.0, 0.0, -1.0])),
    Disc(np.array([0.0, 0.0, 15.0]), 1.5, np.array([0.0, 0.0, 1.0])),
)
SIDES = 48


def _bored(*added):
    solid = BLANK - shapes.bore((0, 0, -1), (0, 0, 16), 1.5, segments=SIDES)
    for more in added:
        solid += more
    return solid


def _holds(solid, truth, width):
    found = true_diameter.clear_diameter(solid, BLANK, *ENDS)
    assert found.low <= truth + 1e-9
    assert found.high >= truth - 1e-9
    assert found.high - found.low <= width


def test_reference_a_bore():
    _holds(_bored(), 3.0 * np.cos(np.pi / SIDES), 0.1)  # analytic: inscribed circle of its sides


def test_reference_a_plate_with_a_hole():
    hole = shapes.bore((0.4, 0, 6), (0.4, 0, 8), 0.5, segments=SIDES)
    _holds(_bored(shapes.block((-3, -3, 7), (3, 3, 7.2)) - hole), np.cos(np.pi / SIDES), 0.15)


def test_reference_a_segment_beside_a_plate():
    # Analytic: a wall at x = 0.9 in a circle of radius 1.5 (chord error 0.0032) leaves 0.6.
    found = true_diameter.clear_diameter(
        _bored(shapes.block((-3, -3, 7), (0.9, 3, 7.2))), BLANK, *ENDS
    )
    assert found.low <= 0.6
    assert found.high >= 0.6 - 0.0033


def test_reference_a_way_round():
    loop = shapes.bent_line([(0, 0, 4), (5, 0, 4), (5, 0, 10), (0, 0, 10)], 1.7)
    solid = _bored(shapes.block((-3, -3, 7), (3, 3, 7.2))) - shapes.tube_along(loop, 0.6, SIDES)
    found = true_diameter.clear_diameter(solid, BLANK, *ENDS)
    assert found.low <= 1.2 * np.cos(np.pi / SIDES) + 1e-9
    assert found.high >= 1.2 * np.cos(np.pi / SIDES) - 0.01  # facets of the bends


def test_reference_a_third_mouth_is_no_way_out():
    # A side bore leads out below the plate and in again above it: outside the blank is no way.
    taps = [shapes.bore((0, 0, z), (9, 0, z), 0.8, segments=SIDES) for z in (4.0, 11.0)]
    solid = _bored(shapes.block((-3, -3, 7), (3, 3, 7.2)))
    for tap in taps:
        solid -= tap
    found = true_diameter.clear_diameter(solid, BLANK, *ENDS)
    assert found.low == 0.0
    assert found.high < 0.8


def test_reference_an_understated_or_overstated_answer_is_a_fault(tmp_path):
    # The judge itself: told a wrong truth it must object.
    import random_judged

    scene = make_scene(3)
    truth = random_judged.Truth((true_diameter.Bracket(0.5, 0.55),))
    verdict = random_judged.Verdict(3, scene.kind, "a", 1.0, "", truth)

    class Clear:
        low, high = 1.2, 1.3

    class Answer:
        class state:
            value = "open"

        clear_diameter_mm = Clear

    random_judged._states(verdict, Answer, truth, scene)
    assert verdict.unsafe
    assert len(verdict.faults) == 2
