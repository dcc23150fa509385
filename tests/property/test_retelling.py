"""One random part told in several ways: never open against blocked, and brackets overlap.

Turned by quarters, mirrored, upside down where the event allows it, ends swapped, triangles split
and shuffled, another pitch, one and two threads, other units. By definition of the state. Each of
the plain run's parts is told in some of the ways, so that together they have all; in all with
`-m more`; many parts with `tests/validation/many_random.py --retell`.
"""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.append(str(Path(__file__).parents[1] / "validation"))

import retelling
import shared
from random_kinds import make_scene

PLAIN = {
    3: ("upside down",),  # takes longest, and is the only one that can
    4: ("another pitch", "one thread"),
    10: ("turned or mirrored", "split and shuffled", "two threads", "ends swapped", "in inches"),
}
"""Seeds of the plain run, and in which ways the part of each is told."""
MORE = (*PLAIN, 7, 23)
NEED = 1.0


@pytest.mark.parametrize(
    ("seed", "ways"), [*PLAIN.items(), *shared.more(*((seed, ()) for seed in MORE))]
)
def test_a_part_told_in_other_ways(tmp_path, seed, ways):
    scene = make_scene(seed)
    need = {passage.name: NEED for passage in scene.passages}
    assert not retelling.faults(tmp_path, scene, seed, need, ways)


def test_together_the_parts_are_told_in_every_way():
    known = {
        seed: {told.words for told in retelling.tellings(make_scene(seed), seed)} for seed in PLAIN
    }
    assert all(set(ways) <= known[seed] for seed, ways in PLAIN.items())
    assert set().union(*known.values()) == set().union(*PLAIN.values())
