"""What readings of many events share is worked out once: the same as each by itself.

The slow way is in the test: plain unions of whole sections, a pin against the whole surface.
"""

import math
import sys
from dataclasses import replace
from itertools import product
from pathlib import Path

import numpy as np
import pytest
import shapely

sys.path.insert(0, str(Path(__file__).parent.parent))

from test_readings import events, rim  # noqa: F401 - a fixture

from clearance.evidence.added import metal_added
from clearance.evidence.pins import Entry, Straight
from clearance.geometry.soup import Box
from clearance.predicted.part import Predicted
from clearance.predicted.slabs import Gate, offset
from clearance.readings.pins import Pins
from clearance.readings.unions import Unions
from clearance.readings.voids import Voids

SLICES = ((0.05, 0.15, 0.25), (0.35, 0.55, 1.05), (0.95,), (2.05, 2.15))
"""Of the foot with the thin bore, across its upper face, of foot and block, of the block."""


@pytest.fixture(scope="module")
def suspects(rim):  # noqa: F811
    """Sheets at two heights, of foot and block, that lift or shift what is above them, or not."""
    (told,) = events(rim)
    found = []
    for low, slices, shift in product((12.0, 0.9), SLICES, ((0.0, 0.0), (0.5, -0.25))):
        for rise in (0.0, len(slices) * told.layer):
            found.append((replace(told, bottom=low, slices=slices, rise=rise, shift=shift),))
    return [Predicted(rim.checked.whole, one, None) for one in found]


def test_added_metal_is_that_of_plain_unions(rim, suspects):  # noqa: F811
    nominal, areas = rim.checked.whole.predict(None), Unions()
    found = [metal_added(one, nominal, areas) for one in suspects]
    assert found == pytest.approx([metal_added(one, nominal) for one in suspects], abs=1e-7)
    assert max(found) - min(found) > 5.0  # mm3: they are not all alike


def test_areas_of_figures_with_voids_and_islands():
    """Islands in voids, voids across rims, figures in several pieces."""

    class Given:
        def __init__(self, shapes):
            self.shapes = shapes

        def outline(self, gate):
            return self.shapes[int(gate.z)]

    def ring(x, wide, hole):
        return shapely.Point(x, 0).buffer(wide).difference(shapely.Point(x, 0).buffer(hole))

    island = ring(0, 5, 4).union(ring(0, 2, 1))
    shapes = [island, ring(1, 4.5, 1.5), ring(3, 3, 2), shapely.box(-9, -1, -4, 1), ring(20, 2, 1)]
    gates, given, areas = [Gate("part", n, (0.0, 0.0)) for n in range(5)], Given(shapes), Unions()
    for some in ((0, 1), (1, 0), (0, 2), (2, 3, 0), (4, 0), (3, 4, 2, 1), (1, 1), (2,)):
        united = shapely.union_all([shapes[n] for n in some])
        found = areas.gates_mm2(given, tuple(gates[n] for n in some))
        assert found == pytest.approx(united.area, abs=1e-9), some
        left = shapely.difference(united, shapes[0]).area
        less = areas.less_mm2(given, tuple(gates[n] for n in some), gates[0])
        assert less == pytest.approx(left, abs=1e-9), some


@pytest.mark.parametrize(("port", "diameter"), [("a outlet", 4.0), ("a inlet", 1.5)])
def test_a_pin_stops_where_the_whole_surface_stops_it(rim, suspects, port, diameter):  # noqa: F811
    pins, mouth = Pins(rim.checked), rim.checked.mouths[port]
    entry, everywhere = Entry.of(mouth), Box(np.full(3, -1e3), np.full(3, 1e3))
    depths = set()
    for one in suspects:
        (event,) = one.events
        if any(event.shift) or event.bottom < 5.0:
            continue  # an edge may stop it sooner, metal before the mouth may keep it out
        here = entry.moved(offset(one.events, float(mouth.centre[2])))
        surface = np.concatenate([one.bare_surface(everywhere), *one.stray_near(everywhere)])
        stop = Straight.inward(here, surface).stop(0.5 * diameter)
        low, high = pins.stop(one, port, diameter, False)
        assert low == high == pytest.approx(math.inf if stop is None else stop, abs=1e-4)
        depths.add(round(high, 2))
    assert (len(depths) > 1) is (port == "a outlet")  # the foot's bore lets the thin one through


def test_what_a_sheet_leaves_is_that_of_whole_outlines(rim, suspects):  # noqa: F811
    voids, areas = Voids(rim.checked), set()
    for one in suspects:
        (event,) = one.events
        if event.bottom < 5.0:
            continue  # the bore widens there
        slices = [one.outline(Gate("melted", z, event.shift)) for z in event.slices]
        (channel,) = voids.openings("a", one, event)
        bore = shapely.Point(0, 0).buffer(3.0, quad_segs=16)
        moved = shapely.transform(bore, lambda at: at + np.array(event.shift))  # noqa: B023
        through = shapely.intersection(bore, moved).difference(shapely.union_all(slices))
        assert channel.open_mm2[0] == pytest.approx(through.area, abs=1e-3)
        wide = 2.0 * shapely.maximum_inscribed_circle(through, tolerance=1e-4).length
        for diameter in (0.5, wide - 0.01, wide + 0.01):
            assert channel.may_seal(diameter) is (diameter > wide)
        areas.add(round(through.area, 1))
    assert len(areas) > 2
