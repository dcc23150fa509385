"""One random part told in several ways: never open against blocked, and brackets overlap.

Turned by quarters, mirrored, upside down where the event allows it, ends swapped, triangles split
and shuffled, another pitch, one and two threads, other units. By definition of the state; few parts
here, many with `tests/validation/many_random.py --retell`.
"""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.append(str(Path(__file__).parents[1] / "validation"))

import retelling
import shared
from random_kinds import make_scene

SEEDS = (3, 4, 10)
MORE = (7, 23)
NEED = 1.0


@pytest.mark.parametrize("seed", [*SEEDS, *shared.more(*MORE)])
def test_a_part_told_in_other_ways(tmp_path, seed):
    scene = make_scene(seed)
    need = {passage.name: NEED for passage in scene.passages}
    assert not retelling.faults(tmp_path, scene, seed, need)


def test_some_parts_are_also_told_upside_down():
    assert any(retelling.upside_down(make_scene(seed)) is not None for seed in SEEDS)
