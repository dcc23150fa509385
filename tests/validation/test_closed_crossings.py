"""Routes held against crossings that a way may not use: whether they enter one, by construction."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest
import shapely

from clearance.passages.way import enters

SHEET = SimpleNamespace(low=4.0, high=5.0, footprint=shapely.box(0, 0, 2, 2))


@pytest.mark.parametrize(
    ("route", "inside"),
    [
        ([(1, 1, 0), (1, 1, 9)], True),
        ([(1, 1, 9), (1, 1, 0)], True),
        ([(1, 1, 0), (1, 1, 3.9), (9, 1, 3.9)], False),  # turns off below the sheet
        ([(-3, 1, 0), (5, 1, 9)], True),
        ([(-3, 1, 0), (5, 1, 3.9)], False),
        ([(-3, 1, 4.5), (5, 1, 4.5)], True),  # level, through it
        ([(-3, 3, 4.5), (5, 3, 4.5)], False),  # level, beside it
        ([(3, 1, 0), (3, 1, 9)], False),
        ([(-9, 1, 0), (1, 1, 9)], False),  # over the sheet only above it
    ],
)
def test_a_route_enters_a_crossing(route, inside):
    assert (enters(np.array(route, float), SHEET) is not None) == inside
