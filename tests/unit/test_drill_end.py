"""The wall beside a drill's end counts: the line that it goes along is sought for a half ball.

Analytic: a bore that is narrower from a step on, which the drill's full diameter just passes.
"""

import make
import numpy as np
import pytest
import shapes

SEGMENTS = 96
ALL = {"series": ["jobber", "long", "extra-long"]}


def stepped(narrow, step, lean=0.0, upside_down=False):
    """A bore of radius 3 that has another radius above a height; leaning, or turned over."""
    part = shapes.block((-10, -10, 0), (10, 10, 30))
    along = np.array([np.tan(np.radians(lean)), 0.0, 1.0])
    at = np.array([-15.0 * along[0], 0.0, 0.0])
    part -= shapes.bore(at - 4 * along, at + step * along, 3.0, segments=SEGMENTS)
    part -= shapes.bore(at + (step - 2) * along, at + 34 * along, narrow, segments=SEGMENTS)
    ends = at, at + 30 * along
    if upside_down:
        part = part.rotate((180, 0, 0)).translate((0, 0, 30))
        ends = [np.array([p[0], -p[1], 30 - p[2]]) for p in ends]
    return part, ends


def stroke_in(folder, solid, ends, need, sheet, **drilling):
    passage = make.passage(*ends, 3.1, need)
    case = make.sheet(sheet, 2, shape="plane", source="log")
    found = make.first(folder, solid, passage, case, drilling={**ALL, **drilling})
    (stroke,) = found.rework.drilling
    return stroke


@pytest.mark.parametrize(("lean", "upside_down"), [(0.0, False), (0.0, True), (12.0, False)])
def test_the_margin_is_that_beside_the_drills_end(tmp_path, lean, upside_down):
    """The sheet ends at 12.2 and the full diameter 0.5 beyond it; the step lies between."""
    narrow, step = 2.85, 12.45
    solid, ends = stepped(narrow, step, lean, upside_down)
    sheet = 30 - 12.2 if upside_down else 12.0
    stroke = stroke_in(tmp_path, solid, ends, 5.0, sheet)
    assert stroke.from_ == "inlet"
    true = narrow * np.cos(np.pi / SEGMENTS) - stroke.drill_diameter_mm / 2
    assert stroke.wall_margin_mm <= true + 0.005
    assert stroke.wall_margin_mm == pytest.approx(true, abs=0.08)
    # So it is the largest that keeps clear of that wall, not of the wider one, with run-out.
    assert stroke.wall_margin_mm >= stroke.drill_tolerance_mm + stroke.run_out_mm


@pytest.mark.parametrize(("allowance", "allowed"), [(0.4, True), (0.3, False)])
def test_so_is_the_cut_and_it_is_held_against_what_is_allowed(tmp_path, allowance, allowed):
    """A drill of 5.9 in 5.7 cuts 0.1 at the step, with 0.018 + 0.2 of tolerance and run-out 0.32;
    the line alone would have it cut none."""
    solid, ends = stepped(2.85, 12.45)
    own = [{"diameter": 5.9, "flute": 60.0, "overall": 100.0}]
    drilling = {"series": [], "drills": own, "wall_allowance": allowance}
    passage = make.passage(*ends, 3.1, 5.6)
    sheet = make.sheet(12.0, 2, shape="plane", source="log")
    found = make.first(tmp_path, solid, passage, sheet, drilling=drilling)
    if not allowed:
        assert found.rework is None
        assert "cuts 0.11" in found.why_not  # 0.1015 to flats of 96 sides, rounded up
        return
    (stroke,) = found.rework.drilling
    assert stroke.wall_cut_mm == pytest.approx(0.1, abs=0.02)
