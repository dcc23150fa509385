"""The allowed pressure loss over all that is possible of the event, not over what was sampled."""

from __future__ import annotations

import make
import numpy as np
import pytest
import shapes

R, LEAN, HEIGHT = 2.0, 20.0, 8.0
ASIDE = 0.5 * HEIGHT * np.tan(np.radians(LEAN))
TUBE = shapes.tilted_bore(R, LEAN, (14.0, 10.0, HEIGHT), segments=32)
WAYS = make.passage((-ASIDE, 0, 0), (ASIDE, 0, HEIGHT), R / np.sqrt(np.cos(np.radians(LEAN))), 2.0)
WATER = {"density": 1000.0, "viscosity": 1e-3, "rate": 0.2, "max_pressure_loss": 50.0}


def flow(folder, **keys):
    """The leaning tube with a slice of its foot at 3 mm: it leaves a lens."""
    return make.first(
        folder, TUBE, WAYS, make.sheet(keys.pop("height", 3.0), 1, **keys), flow=WATER
    ).flow


def test_a_sheet_that_moves_what_is_above_is_not_bounded_between_heights(tmp_path):
    known = flow(tmp_path, resume="layer")
    assert known["requirement"]["predicted"] == "met"
    range_of = flow(tmp_path, resume="layer", height_uncertainty=0.05)
    assert range_of["requirement"]["predicted"] == "undetermined"
    assert range_of["bad_end"]["high_kpa"] is None
    assert range_of["requirement"]["nominal"] == "met"


def test_a_sheet_that_only_adds_metal_is_bounded_by_all_metal_of_its_heights(tmp_path):
    found = flow(tmp_path, height_uncertainty=0.2)
    assert found["requirement"]["predicted"] == "met"
    ends = [flow(tmp_path, height=h)["predicted"] for h in (2.8, 3.2)]
    high = max(end["high_kpa"] for end in ends)
    assert found["bad_end"]["high_kpa"] >= high
    assert found["good_end"]["low_kpa"] <= min(end["low_kpa"] for end in ends)
    assert found["bad_end"]["high_kpa"] == pytest.approx(high, rel=0.2)
