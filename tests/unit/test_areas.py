"""The largest circle within a figure, against closed forms; never too small."""

import pytest
import shapely
from shapely import affinity

from clearance.geometry import areas
from clearance.geometry.areas import CIRCLE_MM, largest_circle_mm

DISC = shapely.Point(0, 0).buffer(3.0, quad_segs=64)
SLOT = shapely.LineString([(-9, 0), (9, 0)]).buffer(1.0, quad_segs=16)
FIGURES = {
    "slot": (SLOT, 2.0),
    "slot aslant": (affinity.rotate(SLOT, 31.0), 2.0),
    "slot with one square end": (SLOT.difference(shapely.box(5, -2, 20, 2)), 2.0),
    "three, four, five": (shapely.Polygon([(0, 0), (4, 0), (0, 3)]), 2.0),  # inradius 1
    "ring": (DISC.difference(shapely.Point(0, 0).buffer(1.0, quad_segs=64)), 2.0),
    "ring, hole aside": (DISC.difference(shapely.Point(1, 0).buffer(1.0, quad_segs=64)), 3.0),
    "keyhole": (DISC.union(shapely.box(0, -1, 40, 1)), 6.0),
    "slot with a bar beside its middle": (SLOT.difference(shapely.box(3, -2, 4, 2)), 2.0),
    "box with a post in its middle": (shapely.box(0, 0, 9, 3) - shapely.box(4, 1, 5, 2), 3.0),
    "wedge": (shapely.Polygon([(0, -1), (0, 1), (30, 1.5), (30, -1.5)]), None),
}


@pytest.mark.parametrize("name", FIGURES)
def test_the_largest_circle_is_that_of_closed_forms(name):
    figure, wide = FIGURES[name]
    if wide is None:  # touches both legs and the far side: tan of half the angle is 1/60
        half = 0.5 / 30.0
        slope = (1.0 + half**2) ** 0.5
        wide = 2.0 * 1.5 / (slope + half)  # radius slope * r = 1.5 - half * r
    found = largest_circle_mm(figure)
    assert wide - 2e-3 * (wide == 6.0 or "ring" in name) <= found  # their discs are polygons
    assert found <= wide + 2.0 * CIRCLE_MM + 1e-6


def test_a_slot_needs_no_search(monkeypatch):
    monkeypatch.setattr(areas.shapely, "maximum_inscribed_circle", None)
    slot = affinity.translate(affinity.rotate(SLOT, 12.5), 0.3, 0.7)
    assert largest_circle_mm(slot) == pytest.approx(2.0 + 2.0 * CIRCLE_MM, abs=1e-5)
    with pytest.raises(TypeError):
        largest_circle_mm(shapely.Polygon([(0, 0), (4, 0), (0, 3.1)]))
