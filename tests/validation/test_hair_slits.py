"""A way of a hair's width over a sheet: told as narrow, and not left as wide as the mouths.

Between two legs the passage dips. The sheet has the legs' holes; over the dip it leaves a slit
below the roof, and what lies under it is shut. All clear diameters are analytic: the slit's height.
"""

from __future__ import annotations

from itertools import pairwise

import make
import pytest
import shapely
import shapes as s

from clearance.case.read import read_case
from clearance.geometry.planes import Plane
from clearance.result import State
from clearance.sweeps.passage_sweep import PassageSweep
from clearance.sweeps.station import Station
from clearance.sweeps.sweep import sweep
from clearance.sweeps.wanted import Wanted
from clearance.verdict import passage_check

T, R, NEED = 0.05, 1.5, 2.0
SLIT = 0.15
FACET = 0.9
"""The roof's bore has 32 sides: it is 7 um lower at the most."""
AXIS, ROOF = 3.0, 4.5
LAYERS = 5
LOWER = 20
"""A layer that has no more than the legs' holes."""


def dip(folder, slit, pitch=0.4):
    """Case of the part with a sheet so far below the roof of its dip."""
    solid = s.block((-10, -3, 0), (10, 3, 10))
    for side in (-1, 1):
        leg, down = 7.5 * side, 3.0 * side
        line = [(leg, 0, -1), (leg, 0, 7.5), (down, 0, 7.5), (down, 0, AXIS), (0, 0, AXIS)]
        for a, b in pairwise(line):
            solid -= s.bore(a, b, R, segments=32)
    stray = make.sheet(ROOF - slit - LAYERS * T, LAYERS, from_layer=LOWER)
    ways = make.passage((-7.5, 0, 0), (7.5, 0, 0), R, NEED)
    return make.write_case(folder, solid, ways, stray, layer=T, pitch=pitch)


def test_a_check_says_that_hardly_more_than_a_hair_is_open(tmp_path, monkeypatch):
    """However coarse the cells: no ball passes that they would show a way for."""
    monkeypatch.setattr(passage_check, "FINER", 1)
    (found,) = make.judged(read_case(dip(tmp_path, SLIT))).passages
    clear = found.clear_diameter_mm
    assert clear.low <= SLIT
    # Analytic: twice the slack of cells of 0.2, half of the pitch that the case gives.
    assert clear.high == pytest.approx(2 * (0.5 + 0.5 * 3**0.5) * 0.2, rel=1e-3)
    assert found.state is State.UNDETERMINED  # a hair, or nothing: finer cells would tell


def test_a_sweep_leads_a_way_through_the_slit_and_bounds_it(tmp_path, monkeypatch):
    """The room under the sheet is as wide as the bore, but no way comes to it."""
    case = read_case(dip(tmp_path, SLIT))
    at = case.stray[0].height
    monkeypatch.delattr(PassageSweep, "_exactly")  # sections and routes have to do
    (found,) = sweep(case, Wanted(at, at)).passages
    assert found.state == (State.RESTRICTED,)
    assert 0.1 < found.low_mm[0] <= SLIT
    assert SLIT * FACET <= found.high_mm[0] < 0.6 * NEED


@pytest.mark.more
def test_a_hair_in_the_nominal_leg_does_not_hide_the_other_leg(tmp_path):
    """The sheet leaves a pinhole in the wider leg, through which the route leads."""
    solid = s.block((-9, -3, 0), (9, 3, 16))
    for x, hole in ((-4, 0.135), (4, 1.4)):  # what the sheet is made of
        solid -= s.bore((x, 0, -1), (x, 0, 1), hole, segments=32)
    for z in (4, 12):
        solid -= s.block((-6, -2, z - 1.5), (6, 2, z + 1.5))
        solid -= s.bore((-10, 0, z), (-5, 0, z), 1.45, segments=32)
    for x, radius in ((-4, R), (4, 1.3)):
        solid -= s.bore((x, 0, 5), (x, 0, 11), radius, segments=32)
    ways = make.passage((-9, 0, 4), (-9, 0, 12), 1.45, NEED)
    path = make.write_case(tmp_path, solid, ways, make.sheet(8.0), pitch=0.4, smallest_way=0.3)
    (found,) = sweep(read_case(path), Wanted(8.0, 8.0)).passages
    assert found.state == (State.OPEN,)
    assert NEED <= found.low_mm[0] <= 2.6


@pytest.mark.parametrize("above", [False, True])
def test_a_station_falls_into_what_lies_on_either_side_of_a_level(above):
    """An upright section, 4 by 4 with a bar across its middle: analytic areas, and places."""
    plane = Plane.through((0.0, 0.0, 1.0), (1.0, 0.0, 0.0))
    whole = shapely.box(-2, -2, 2, 2) - shapely.box(-0.1, -1.5, 0.1, 1.5)  # u leads downward
    pieces = Station(plane, whole, -1.0, 3.0, 0.0).pieces(1.0, above)
    assert sum(piece.area for piece, _ in pieces) == pytest.approx(8.0 - 0.3, abs=1e-6)
    for piece, (x, y) in pieces:
        assert x == pytest.approx(0.0, abs=1e-9)
        assert 1.5 <= abs(y) <= 2.0
        assert ((plane.to_space(shapely.get_coordinates(piece))[:, 2] > 1.0 - 1e-9) == above).sum()


def test_a_level_station_and_one_beside_a_level_come_nowhere_to_it():
    flat = Station(Plane.level(2.0), shapely.box(0, 0, 1, 1), 2.0, 2.0, 0.0)
    assert [at for _, at in flat.pieces(2.0, above=True)] == [None]
    upright = Plane.through((0.0, 0.0, 0.0), (0.0, 1.0, 0.0))
    far = Station(upright, shapely.box(-1, -1, 1, 1), -1.0, 1.0, 0.0)
    assert [at for _, at in far.pieces(5.0, above=False)] == [None]
    assert far.pieces(5.0, above=True) == []
