"""Branches that columns pass beside, or that lie within a stopper: with every_branch they count.

By construction: the sheet is cut from layers where the bore is open and the branch is not, so it
seals the branch and leaves the bore as it is.
"""

from __future__ import annotations

import make
import numpy as np
import pytest
import shapes as s
import shared

TALL = 8.0


def branched(wide: float, low: float = 2.5, high: float = 6.0):
    """An upright bore of radius 1, and a flat tube that leaves it and comes back."""
    solid = s.block((-3, -3, 0), (3, 3, TALL)) - s.bore((0, 0, -1), (0, 0, 9), 1.0, segments=48)
    tube = s.block((1.8, -0.3, low), (1.8 + wide, 0.3, high + wide))
    for z in (low, high):
        tube += s.block((0.5, -0.3, z), (1.8 + wide, 0.3, z + wide))
    return solid - tube


@pytest.mark.parametrize(
    ("wide", "pitch", "sheet"),
    [
        (0.15, 0.5, make.sheet(4.3, 3, from_layer=10, penetration=0.1)),
        *shared.more((0.1, 0.4, make.sheet(4.0, 2, from_layer=10)), (0.2, 0.6, make.sheet(5.0, 1))),
    ],
)
def test_a_branch_that_is_thinner_than_columns_are_apart(tmp_path, wide, pitch, sheet):
    passage = make.passage((0, 0, 0), (0, 0, TALL), 1.0, 1.5, every_branch=True)
    found = make.first(tmp_path, branched(wide), passage, sheet, pitch=pitch)
    assert found.state in ("restricted", "undetermined"), found.reasons


def windowed():
    """A duct of 1 by 2 right behind a face, and a window in the face as wide as can be."""
    solid = s.block((-4, -3, 0), (0, 3, TALL)) - s.block((-1.7, -1, -1), (-0.7, 1, TALL + 1))
    return solid - s.block((-0.8, -1.9, 2), (1, 1.9, 6))


@pytest.mark.parametrize("turn", [0.0, *shared.more(90.0, 180.0)])
def test_a_section_whose_middle_a_stopper_covers_is_the_passages(tmp_path, turn):
    """Slices of the first layer leave the duct's 2 mm2 of 4.84 mm2."""
    c, d = np.cos(np.radians(turn)), np.sin(np.radians(turn))
    passage = make.passage(
        (-1.2 * c, -1.2 * d, 0), (-1.2 * c, -1.2 * d, TALL), 0.8, 0.6, min_open_fraction=0.9
    )
    found = make.first(
        tmp_path,
        windowed().rotate((0, 0, turn)),
        passage,
        make.sheet(4.0, 2),
        pitch=0.6,
        closed=[{"name": "window", **make.port((0, 0, 4), np.sqrt(3.8 * 4 / np.pi))}],
    )
    assert found.state == "restricted", found.reasons
    assert found.crossings[0].open_fraction == pytest.approx(2.0 / 4.84, abs=0.01)
