"""What one more hour of hostile use broke, as small as it can be.

Every expectation is by construction: heights of square ducts.
"""

from __future__ import annotations

import make
import pytest
import shapes as s
import shared

from clearance.predicted.slabs import Event, slabs

DUCT_HIGH = 10.05
"""Upper face of a level duct 2 high; layers are 0.1."""


def level_duct(low: float = 8.0, high: float = DUCT_HIGH):
    return s.block((-8, -8, 0), (8, 8, 20)) - s.block((-9, -1, low), (9, 1, high))


def along(need: float, low: float = 8.0, high: float = DUCT_HIGH, **keys):
    middle = 0.5 * (low + high)
    radius = (2.0 * (high - low) / 3.14159) ** 0.5
    return make.passage((-8, 0, middle), (8, 0, middle), radius, need, **keys)


# ---- a second sheet upon a first ----------------------------------------------------------------


@pytest.mark.parametrize(
    ("first", "layers", "second", "deep"),
    [(9.9, 3, 10.2, 0.45), *shared.more((10.0, 1, 10.1, 0.5), (9.0, 2, 9.2, 0.5))],
)
def test_a_second_sheet_melts_down_into_the_one_under_it(tmp_path, first, layers, second, deep):
    """The first sheet leaves the duct open, the second is full and reaches `deep` below itself."""
    events = [make.sheet(first, layers, from_layer=85), make.plane(second, 1, penetration=deep)]
    left = max(second - deep - 8.0, DUCT_HIGH - second - 0.1)
    found = make.first(tmp_path, level_duct(), along(1.9), events, pitch=0.2)
    assert found.state == "restricted", found.reasons
    assert found.clear_diameter_mm.low <= left + 1e-3
    assert found.clear_diameter_mm.high >= left - 1e-3
    assert found.clear_diameter_mm.high <= left + 0.1


def test_a_slice_reaches_through_every_sheet_under_it():
    """Also where the part above an earlier sheet is lifted; as it was melted gaps stay gaps."""

    def event(bottom: float, count: int, deep: float, rise: float = 0.0) -> Event:
        slices = tuple(bottom - 4.0 + 0.1 * k for k in range(count))
        return Event(0, bottom, slices, 0.1, False, deep, rise, (0.0, 0.0))

    events = (event(5.0, 1, 0.0, 0.1), event(5.1, 2, 0.05), event(5.3, 1, 0.35))
    last = slabs(events)[-2].gates[0]
    for slab in slabs(events):
        middle = 0.5 * (slab.low + slab.high)
        assert (last in slab.gates) == (5.3 - 0.35 < middle < 5.4), slab
    within = [slab for slab in slabs(events, loose=True) if 5.0 < slab.low < 5.25]
    assert not any(last in slab.gates and slab.high < 5.3 - 1e-9 for slab in within)


# ---- a sheet on the part's top face -------------------------------------------------------------


@pytest.mark.parametrize(
    ("height", "deep"), [(20.1, 0.1), (20.00005, 0.0), *shared.more((20.0, 0.0))]
)
def test_a_sheet_on_the_top_face_touches_the_part(tmp_path, height, deep):
    solid = s.block((-8, -8, 0), (8, 8, 20)) - s.block((-1, -1, -1), (1, 1, 21))
    passage = make.passage((0, 0, 0), (0, 0, 20), 1.13, 1.0)
    found = make.checked(tmp_path, solid, passage, make.plane(height, 2, penetration=deep))
    assert found.passages[0].state != "open", found.passages[0].reasons
    assert found.disposition.recommendation != "not-affected"
    assert found.exit_status != 0


def test_a_sheet_above_the_top_face_does_not(tmp_path):
    solid = s.block((-8, -8, 0), (8, 8, 20)) - s.block((-1, -1, -1), (1, 1, 21))
    passage = make.passage((0, 0, 0), (0, 0, 20), 1.13, 1.0)
    found = make.checked(tmp_path, solid, passage, make.plane(20.1, 2, penetration=0.09))
    assert found.disposition.recommendation == "not-affected"


# ---- a branch that the columns pass beside ------------------------------------------------------


def with_hair(radius: float, y: float):
    """An upright bore of 4 and a thin branch round z 4 to 16 at x 5."""
    void = s.bore((0, 0, -1), (0, 0, 21), 2.0, segments=24)
    void += s.bore((0, y, 4), (5, y, 4.3), radius, segments=12)
    void += s.bore((5, y, 4.2), (5, y, 16), radius, segments=12)
    return s.block((-8, -8, 0), (10, 8, 20)) - void - s.bore((5, y, 16), (0, y, 16), radius)


@pytest.mark.parametrize(("radius", "y"), [(0.1, 0.11), *shared.more((0.1, 0.0), (0.07, 0.05))])
def test_a_sealed_branch_thinner_than_the_columns_are_apart(tmp_path, radius, y):
    """Whether the columns meet it or not: with every branch required that is not open."""
    passage = make.passage((0, 0, 0), (0, 0, 20), 2.0, 3.0, every_branch=True)
    plate = s.block((3.5, -2, 10), (7, 2, 10.3))
    stray = {"shape": "mesh", "mesh": "sheet.stl"}
    found = make.checked(tmp_path, with_hair(radius, y), passage, stray, meshes={"sheet": plate})
    assert found.passages[0].state in ("restricted", "undetermined"), found.passages[0].reasons
    assert found.exit_status != 0


@pytest.mark.parametrize(("radius", "y"), [(0.1, 0.11), *shared.more((0.1, 0.0), (0.05, 0.0))])
def test_a_sealed_branch_that_comes_back_through_a_hair(tmp_path, radius, y):
    """To columns that pass beside the hair the branch is blind."""
    void = s.bore((0, 0, -1), (0, 0, 21), 2.0, segments=24)
    void += s.block((0, -0.25, 4), (3.35, 0.25, 4.5)) + s.block((2.85, -0.25, 4), (3.35, 0.25, 16))
    void += s.bore((0, y, 15.8), (3, y, 15.8), radius, segments=12)
    passage = make.passage((0, 0, 0), (0, 0, 20), 2.0, 3.0, every_branch=True)
    plate = s.block((2.4, -1, 10), (4, 1, 10.3))
    stray = {"shape": "mesh", "mesh": "sheet.stl"}
    solid = s.block((-8, -8, 0), (10, 8, 20)) - void
    found = make.checked(tmp_path, solid, passage, stray, meshes={"sheet": plate})
    assert found.passages[0].state in ("restricted", "undetermined"), found.passages[0].reasons
    assert found.exit_status != 0


def test_a_sealed_blind_branch_is_none(tmp_path):
    """It has no way from inlet to outlet to fail."""
    void = s.bore((0, 0, -1), (0, 0, 21), 2.0, segments=24)
    void += s.block((0, -0.5, 4), (5, 0.5, 5)) + s.block((4, -0.5, 4), (5, 0.5, 16))
    passage = make.passage((0, 0, 0), (0, 0, 20), 2.0, 3.0, every_branch=True)
    plate = s.block((3.5, -2, 10), (7, 2, 10.3))
    found = make.first(
        tmp_path,
        s.block((-8, -8, 0), (10, 8, 20)) - void,
        passage,
        {"shape": "mesh", "mesh": "sheet.stl"},
        meshes={"sheet": plate},
    )
    assert found.state == "open", found.reasons


def test_a_groove_that_a_layer_fills_is_not_unaffected(tmp_path):
    """It lies wholly between two faces of the sheet, and between two rows of columns."""
    solid = s.block((-8, -8, 0), (8, 8, 20)) - s.block((-3, -3, -1), (3, 3, 21))
    groove = s.block((5.02, -9, 10.1), (5.12, 9, 10.4))
    passage = make.passage((0, 0, 0), (0, 0, 20), 3.385, 3.0)
    for name, part, expected in (("a", solid - groove, "use-as-is"), ("b", solid, "not-affected")):
        event = make.sheet(10.0, 1, from_layer=2)
        found = make.checked(tmp_path / name, part, passage, event, layer=0.5)
        assert found.disposition.recommendation == expected
