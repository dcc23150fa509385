"""What bounds the search for a plan is said where it was reached."""

from itertools import pairwise

import make
import pytest
import shapes

from clearance.drilling.recheck import Recheck, _far_apart_first
from clearance.drilling.strokes import Reached


@pytest.mark.parametrize(
    ("sizes", "said"), [(15, ""), (16, "; drills of more than 5.8 mm were not tried")]
)
def test_drills_that_were_not_tried_are_named(tmp_path, monkeypatch, sizes, said):
    """Eight diameters are tried where the re-check refuses the smaller: here it refuses all.

    The first is the largest that stays clear of the wall with run-out, 5.45: 0.275 is left beside
    it, 0.018 + 0.03 + 0.01 * 120 / 5.45 may be taken. The last of 15 is 5.8, of 16 it is 5.85.
    """
    solid = shapes.block((-10, -10, 0), (10, 10, 20)) - shapes.bore((0, 0, -1), (0, 0, 21), 3.0)
    way = make.passage((0, 0, 0), (0, 0, 20), 3.0, 5.0)
    own = [
        {"diameter": round(5.1 + 0.05 * n, 2), "flute": 60.0, "overall": 120.0}
        for n in range(sizes)
    ]
    monkeypatch.setattr(Recheck, "of", lambda *_: (Reached(None, "a plan was found, but no"), True))
    tools = {"series": [], "drills": own}
    found = make.first(tmp_path, solid, way, make.plane(10.0), pitch=0.5, drilling=tools)
    assert found.why_not.startswith("a plan was found, but no")
    assert found.why_not.removeprefix("a plan was found, but no") == said


@pytest.mark.parametrize("count", [0, 1, 2, 7, 8, 41, 164])
def test_every_place_is_looked_at_once_and_far_ones_first(count):
    order = _far_apart_first(range(count))
    assert sorted(order) == list(range(count))
    # After 2 k looks no stretch of places that all fail and is longer than n / k is missed.
    for k in (2, 4):
        looked = sorted([-1, *order[: 2 * k], count])
        assert max(b - a for a, b in pairwise(looked)) <= count / k + 2
