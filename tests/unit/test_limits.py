"""What is larger than any real event is refused in one line, before it takes time or memory."""

import re
from types import SimpleNamespace

import make
import pytest
import shapes

from clearance import checking
from clearance.api import check
from clearance.case.read import read_case
from clearance.errors import CaseError, ClearanceError
from clearance.passages import search
from clearance.predicted.slabs import Event, slabs
from clearance.verdict.prepared import prepare

PART = shapes.block((0, 0, 0), (8, 8, 8)) - shapes.bore((4, 4, -1), (4, 4, 9), 1.5)
WAY = make.passage((4, 4, 0), (4, 4, 8), 1.5, 2.0)


@pytest.mark.parametrize("shape", ["layer", "plane"])
@pytest.mark.parametrize("layers", [20_000, [1, 10_001]])
def test_a_sheet_of_more_layers_than_any_part_has(tmp_path, shape, layers):
    stray = make.sheet(4.0, layers, shape=shape)
    with pytest.raises(CaseError, match=r"layers: found [0-9]+, expected at most 10000 in one"):
        make.judged(read_case(make.write_case(tmp_path, PART, WAY, stray, layer=0.5)))


@pytest.mark.parametrize("welded", [0.0, 0.05, 0.1, 0.15, 0.37])
def test_the_layers_of_a_sheet_as_melted_are_those_that_reach_each_height(welded):
    """By the definition: layer k is melted from its face less `welded` up to its top."""
    event = Event(0, 3.0, tuple(0.05 + 0.1 * k for k in range(7)), 0.1, False, 0.1, 0.0, (0.0, 0.0),
                  welded=welded)  # fmt: skip
    table = [slab for slab in slabs((event,), loose=True) if slab.stray == 0]
    sheet = [slab for slab in table if slab.lift is None]
    assert (sheet[0].low, sheet[-1].high) == pytest.approx((3.0, 3.7))
    for slab in sheet:
        z = 0.5 * (slab.low + slab.high)
        here = [k for k in range(7) if 3.0 + 0.1 * k - welded < z < 3.1 + 0.1 * k]
        found = [gate.z for gate in slab.gates if not gate.above]
        assert found == pytest.approx([0.05 + 0.1 * k for k in here])
        assert any(gate.above for gate in slab.gates) == (z > 3.7 - welded)


@pytest.mark.parametrize("diameter", [130.0, 500.0])
def test_a_drill_beyond_every_table(tmp_path, diameter):
    own = {"drills": [{"diameter": diameter, "flute": 400.0, "overall": 600.0}]}
    path = make.write_case(tmp_path, PART, WAY, make.plane(4.0), drilling=own)
    with pytest.raises(CaseError, match=r"drills, item 1.* equal to 120"):
        read_case(path)


@pytest.mark.parametrize(("unit", "scale"), [("inch", 25.4), ("cm", 10.0)])
def test_a_part_in_another_unit_whose_size_is_plausible_gets_a_hint(tmp_path, unit, scale):
    """U12: a part of 50 mm drawn in inches is 2 mm large: no fault of its own, but of the ports."""
    part = shapes.block((0, 0, 0), (50, 50, 60)) - shapes.bore((25, 25, -1), (25, 25, 61), 3.0)
    way = make.passage((25, 25, 0), (25, 25, 60), 3.0, 5.0)
    small = (shapes.soup(part) / scale).astype("float32")
    path = make.write_case(tmp_path, small, way, make.plane(1.0), layer=0.1)
    words = f'unit mm: all ports would lie on it with .*"{unit}"'
    with pytest.raises(ClearanceError, match=words):
        make.judged(read_case(path))


@pytest.mark.parametrize("shift", [[1e5, -2.0], [0.0, -2001.0]])
def test_a_shift_beyond_any_platform(tmp_path, shift):
    path = make.write_case(tmp_path, PART, WAY, make.plane(4.0, resume_shift=shift))
    with pytest.raises(CaseError, match=r"resume_shift.* equal to -?2000"):
        read_case(path)


def test_a_pitch_that_no_memory_is_enough_for(tmp_path):
    """512 mm3 in at most 2e10 cells: 0.00295 mm; the file's key and the option are named."""
    path = make.write_case(tmp_path, PART, WAY, make.plane(4.0), pitch=0.002)
    words = r"pitch: found 0.002, .* 6.4e\+10 cells .* at least 0.003 mm"
    with pytest.raises(ClearanceError, match=r"\[grid\] " + words):
        prepare(read_case(path))
    with pytest.raises(ClearanceError, match=r"--" + words):
        prepare(read_case(path), 0.002)
    for fuzzed in (1e-120, 5e-324):  # whose cube is nothing
        with pytest.raises(
            ClearanceError, match=r"which makes .*e\+2\d\d cells .* at least 0.003 mm"
        ):
            prepare(read_case(path), fuzzed)


@pytest.mark.parametrize(("low", "high"), [(0.0, -1.0), (8.4, 8.0)])
def test_a_passage_with_one_mouth_for_both_ends(tmp_path, low, high):
    """A fuzzed height: from a mouth to itself 12 variants took a minute."""
    way = make.passage((4, 4, low), (4, 4, high), 1.5, 2.0)
    path = make.write_case(tmp_path, PART, way, make.plane(4.0))
    with pytest.raises(
        ClearanceError, match=r"one opening for inlet and outlet, at \(4.00, 4.00, "
    ):
        prepare(read_case(path))


def test_a_sheet_with_a_hole_has_two_mouths(tmp_path):
    sheet = shapes.block((0, 0, 0), (8, 8, 0.3)) - shapes.bore((4, 4, -1), (4, 4, 1), 1.5)
    way = make.passage((4, 4, 0), (4, 4, 0.3), 1.5, 2.0)
    path = make.write_case(tmp_path, sheet, way, layer=0.1)
    assert len(prepare(read_case(path)).mouths) == 2


@pytest.mark.parametrize("most", [200_000, 70_000])
def test_a_window_that_no_memory_is_enough_for(tmp_path, monkeypatch, most):
    """Key, found, expected; a pitch a tenth smaller than the least that is named is refused too."""
    path = make.write_case(tmp_path, PART, WAY, make.plane(4.0), pitch=0.05)
    monkeypatch.setattr(search, "MOST_WINDOW", most)
    with pytest.raises(ClearanceError, match=r"\[\[passage\]\] a: pitch: found 0.05, ") as fault:
        make.judged(read_case(path))
    assert str(path) in str(fault.value)
    least = float(re.search(r"at least ([0-9.]+) mm", str(fault.value))[1])
    with pytest.raises(ClearanceError):
        make.judged(read_case(path), pitch_mm=0.9 * least)


def test_large_windows_are_not_looked_at_side_by_side(monkeypatch):
    """Two always are; three and more while they fit together into what one may have."""
    checks = [SimpleNamespace(size=lambda: 100.0, checked=SimpleNamespace(pitch_mm=0.1))] * 4
    cells = 100.0 / 0.1**3
    for most, expected in ((10 * cells, 4), (3.5 * cells, 3), (0.5 * cells, 2)):
        monkeypatch.setattr(checking, "MOST_CELLS", most)
        monkeypatch.setattr(checking.PassageCheck, "size", lambda one: one.size())
        assert checking._fitting(checks) == expected


def test_a_given_memory_orders_the_work_down_to_one_passage_at_a_time(monkeypatch):
    checks = [SimpleNamespace(size=lambda: 100.0, checked=SimpleNamespace(pitch_mm=0.1))] * 4
    window = 100.0 / 0.1**3 * checking.BYTES_A_CELL / 2**30
    monkeypatch.setattr(checking.PassageCheck, "size", lambda one: one.size())
    found = [checking._fitting(checks, share * window) for share in (0.1, 1.01, 2.5, 99.0)]
    assert found == [1, 1, 2, 4]


def test_any_memory_gives_the_same_bytes(tmp_path):
    """Two passages of one void share its cells, or each makes its own."""
    solid = shapes.block((0, 0, 0), (14, 8, 10)) - shapes.block((2, 2, 2), (12, 6, 4))
    solid -= shapes.bore((7, 4, -1), (7, 4, 3), 1.0, segments=24)
    ends = [(4, 4, 10), (10, 4, 10)]
    for x, y, z in ends:
        solid -= shapes.bore((x, y, 3), (x, y, z + 1), 1.0, segments=24)
    ways = [make.passage((7, 4, 0), end, 1.0, 1.5, f"to {end[0]}") for end in ends]
    path = make.write_case(tmp_path, solid, ways, make.sheet(6.0, resume_shift=[0.5, 0.0]))
    case = read_case(path)
    held = []
    keep = checking.Kept.hold
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(checking.Kept, "hold", lambda one: (held.append(one), keep(one)))
        ample = check(case, verify=False)
        assert len(held) == 2  # both hold the cells of their one window
        assert held[0] is held[1]
        scant = check(case, verify=False, memory_gib=1e-6)
        assert len(held) == 2
    assert ample.to_json() == scant.to_json()
