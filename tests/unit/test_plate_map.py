"""Labels of the plate's map: as much as finds room, and of each part its letter at least."""

import itertools

import pytest
from shapely import box

from clearance.figures import style
from clearance.plates.map import _labels

SCALE = 6.0 / 250.0
"""Inches a mm: a platform of 250 on 6 inches."""


def labelled(places, size=14.0):
    """Labels of square parts at places on a platform, by name."""
    shapes = [box(x, y, x + size, y + size) for x, y in places]
    parts = [{"name": f"valve-{n:03d}", "recommendation": "rework"} for n in range(len(places))]
    numbers = {part["name"]: n for n, part in enumerate(parts, 1)}
    found = _labels(parts, shapes, numbers, SCALE)
    for (_, one), (_, other) in itertools.combinations(found, 2):
        assert not one.intersects(other)
    return [words for words, _ in found]


def test_one_crowded_corner_costs_no_other_part_its_name():
    found = labelled([(-100, -100), (100, 100), (60, -100), (76, -100)])
    assert found[0] == ["R 1", "valve-000"]
    assert found[1] == ["R 2", "valve-001"]
    assert all(len(words) == 1 for words in found[2:])


@pytest.mark.parametrize(("apart", "words"), [(60.0, 2), (18.0, 1), (9.0, 1)])
def test_every_part_has_its_letter(apart, words):
    found = labelled([(apart * i - 110, apart * j - 110) for i in range(3) for j in range(3)], 7.0)
    letter = style.MARKS["rework"][0]
    assert all(one[0].split()[0] == letter for one in found)
    assert max(map(len, found)) == words
    assert any(one == [letter] for one in found) == (apart < 10.0)
