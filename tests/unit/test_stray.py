"""The slab table: which slice lies at which height, and what moves."""

from types import SimpleNamespace

import numpy as np
import pytest

from clearance.columns.runs import Runs
from clearance.passages.levels import Sections, levels_of
from clearance.predicted.slabs import Event, assemble, bodies, offset, plugs_only, slabs


def event(**changed):
    known = {
        "stray": 0,
        "bottom": 10.0,
        "slices": (0.05, 0.15),
        "layer": 0.1,
        "plane": False,
        "penetration": 0.2,
        "rise": 0.0,
        "shift": (0.0, 0.0),
        "welded": 0.05,
    }
    return Event(**{**known, **changed})


def one_column(*intervals):
    return Runs(np.array([0, len(intervals)]), np.array(intervals, float).reshape(-1, 2))


def predicted(events, part, melted=None, loose=False):
    table = slabs(tuple(events), loose=loose)
    casts = {key: part if key[0] == "part" or melted is None else melted for key in bodies(table)}
    return np.round(assemble(table, casts).z, 9).tolist()


def test_without_events_the_part_is_nominal():
    assert predicted([], one_column((0, 5), (7, 20))) == [[0, 5], [7, 20]]


def test_resume_at_the_height_adds_the_sheet_and_keeps_the_rest():
    # Void from 5 to 15; both slices are metal here: a sheet from h - p to h + 2 t.
    part = one_column((0, 5), (15, 20))
    assert predicted([event()], part) == [[0, 5], [9.8, 10.2], [15, 20]]


def test_only_the_slice_that_is_metal_counts_and_penetration_follows_the_first():
    part = one_column((0.12, 5), (15, 20))  # metal at 0.15, powder at 0.05
    assert predicted([event()], part) == [[0.12, 5], [10.1, 10.2], [15, 20]]
    part = one_column((0, 0.1), (15, 20))  # metal at 0.05 only
    assert predicted([event()], part) == [[0, 0.1], [9.8, 10.1], [15, 20]]


def test_resume_at_the_layer_lifts_what_is_above():
    part = one_column((0, 5), (15, 20))
    assert predicted([event(rise=0.2)], part) == [[0, 5], [9.8, 10.2], [15.2, 20.2]]


def test_skipped_layers_lower_what_is_above():
    part = one_column((0, 5), (15, 20))
    assert predicted([event(slices=(), rise=-0.3)], part) == [[0, 5], [14.7, 19.7]]


def test_a_gap_counts_as_metal_for_passages_and_is_powder_as_melted():
    # The part is metal from 0.12 to 20 but slice 0 (0.05) is not: a gap from 10 to 10.1. The slice
    # above it is welded 0.05 down, as every layer is.
    part = one_column((0.12, 20))
    assert predicted([event()], part) == [[0.12, 20]]
    assert predicted([event()], part, loose=True) == [[0.12, 10], [10.05, 20]]
    assert predicted([event(welded=0.0)], part, loose=True) == [[0.12, 10], [10.1, 20]]
    assert predicted([event(welded=0.1)], part, loose=True) == [[0.12, 20]]
    both = one_column((0.3, 20))  # neither slice is metal: the layer above heals the lowest 0.05
    assert predicted([event()], both, loose=True) == [[0.3, 10], [10.15, 20]]
    assert predicted([event(welded=0.15)], both, loose=True) == [[0.3, 10], [10.05, 20]]
    assert predicted([event(welded=0.2)], both, loose=True) == [[0.3, 20]]
    assert predicted([event(rise=0.2)], both) == [[0.3, 20.2]]


def test_what_was_melted_beside_the_part_belongs_to_the_slices():
    part = one_column((15, 20))
    supports = one_column((0, 15), (15, 20))
    assert predicted([event()], part, supports) == [[9.8, 10.2], [15, 20]]


def test_two_events_in_machine_heights():
    part = one_column((0, 5), (15, 40))
    events = [event(rise=0.2), event(stray=1, bottom=12.0, slices=(0.05,), rise=0.1)]
    assert predicted(events, part) == [[0, 5], [9.8, 10.2], [11.8, 12.1], [15.3, 40.3]]


def test_ports_move_with_what_is_at_or_above_the_cut():
    events = (event(rise=0.2, shift=(0.4, 0.0)), event(stray=1, bottom=12.0, rise=0.1))
    assert offset(events, 9.99).tolist() == [0.0, 0.0, 0.0]
    assert offset(events, 10.0) == pytest.approx([0.4, 0.0, 0.2], abs=1e-5)
    # Nominal 11.8 stands at 12.0, the second cut.
    assert offset(events, 11.8) == pytest.approx([0.4, 0.0, 0.3], abs=1e-5)


def test_slabs_tile_the_height():
    table = slabs((event(shift=(1.0, 0.0)), event(stray=1, bottom=12.0, rise=0.1)))
    assert table[0].low == -np.inf
    assert table[-1].high == np.inf
    assert [a.high for a in table[:-1]] == [b.low for b in table[1:]]


def test_plugs_alone_keep_their_slabs():
    table = plugs_only(slabs((event(rise=0.2),)))
    assert {slab.body for slab in table} == {"plugs"}
    assert {gate.body for slab in table for gate in slab.gates} <= {"plugs"}


def test_its_lowest_is_where_its_metal_begins_and_is_looked_at():
    """The deepest that its first layer melts below itself: 9.8, of which 0.2 is penetration."""
    one = event()
    (_, (lowest, _), _) = predicted([one], one_column((0, 5), (15, 20)))
    assert one.lowest == pytest.approx(lowest) == pytest.approx(9.8)
    nothing_between = SimpleNamespace(between=lambda *_: ())
    assert levels_of(nothing_between, (one,), 0) == pytest.approx([9.8, 10.0, 10.1, 10.2])


def test_levels_of_a_sheet_anywhere_in_its_spread_are_the_ends_of_its_slices_above_what_moved():
    """Two slices from 10 - 0.2 on, 0.1 thick, anywhere up to 0.3 higher: by hand."""
    between = SimpleNamespace(between=lambda low, high: [0.5 * (low + high)] * (high < 8.75))
    one = event(spread=0.3)
    assert levels_of(between, (one,), 0) == pytest.approx([9.8, 10.1, 10.4, 10.5])
    lower = event(bottom=9.0, slices=(0.05,), rise=0.6)  # its top, 9.1, and what is above moves
    found = levels_of(between, (lower, event(spread=0.0, bottom=9.2)), 1)
    assert found == pytest.approx([9.1, 9.15, 9.2, 9.25, 9.3, 9.4])


def test_where_an_upright_mouth_begins_and_ends_between_two_heights():
    """A rim that goes up and down twice: lowest places 5.0 and 5.5, highest 6.0 and 6.5."""
    z = [5.0, 5.3, 6.0, 5.5, 6.5, 6.1, 5.0]
    rim = np.column_stack([np.zeros((7, 2)), z])
    sections = SimpleNamespace(
        walls_between=lambda *_: np.empty((0, 3, 3), np.float32),
        overlapping=False,
        mouths=[SimpleNamespace(rim=rim)],
        smallest_mm=0.3,
    )
    assert Sections._turns(sections, 5.2, 6.2) == (5.5, 6.0)
    assert Sections._turns(sections, 4.0, 7.0) == (5.0, 6.5)
    assert Sections._even(sections, 5.5, 6.0) == pytest.approx([5.625, 5.875])
    assert len(Sections._even(sections, 6.0, 5.5)) == 0
