"""Level sections and curves as data: what is shown at a step, and that words and numbers agree."""

import math
import re
from dataclasses import replace

import make
import pytest
import shapely
import shapes

from clearance.case.read import read_case
from clearance.drawing.curve import curve
from clearance.drawing.level import in_sheet, level_section
from clearance.errors import ClearanceError
from clearance.figures.level import level_figure
from clearance.predicted.slabs import Event
from clearance.verdict.circuits_apart import separate
from clearance.verdict.passage_check import PassageCheck
from clearance.verdict.prepared import prepare, silent

STEP = {"shape": "layer", "source": "log", "layers": 0, "next_layer": 60}


def lens(radius, distance):
    """Area common to two equal circles."""
    half = math.acos(distance / (2.0 * radius))
    return 2.0 * radius**2 * half - 0.5 * distance * math.sqrt(4.0 * radius**2 - distance**2)


def prepared(folder, solid, passages, stray, **tables):
    checked = prepare(read_case(make.write_case(folder, solid, passages, stray, **tables)))
    return checked, [PassageCheck(checked, table) for table in checked.case.passage]


@pytest.mark.parametrize(
    ("z", "cut"),
    [(4.0, 5.05), (5.0, 5.05), (5.08, 5.05), (5.1, 5.15), (5.29, 5.25), (5.3, 5.25), (9.0, 5.25)],
)
def test_a_sheet_is_cut_in_the_middle_of_its_nearest_layer(z, cut):
    """Analytic: three layers of 0.1 from 5 on; a height at a face belongs to the layer above."""
    event = Event(0, 5.0, (0.05, 0.15, 0.25), 0.1, False, 0.0, 0.0, (0.0, 0.0))
    assert in_sheet(event, z) == pytest.approx(cut)
    assert in_sheet(replace(event, slices=()), z) == 5.0
    aside = replace(event, shift=(1.0, 0.0))
    assert in_sheet(aside, z) == pytest.approx(5.0 if cut == 5.05 else cut)


@pytest.fixture(scope="module")
def stepped(tmp_path_factory):
    """An upright bore of 6 whose upper half stands 1 mm aside from z 6."""
    return prepared(
        tmp_path_factory.mktemp("step"),
        shapes.straight_bore(3.0, (14.0, 14.0, 12.0)),
        make.passage((0, 0, 0), (0, 0, 12), 3.0, 5.5),
        make.sheet(6.0, resume_shift=[1.0, 0.0], **STEP),
    )


def test_a_step_shows_what_is_open_on_both_sides(stepped):
    checked, checks = stepped
    drawn = level_section(checked, [checks[0].result()], 6.0)
    assert drawn.step
    assert drawn.title == "a restricted at z = 6 mm"
    assert drawn.voids[0].open.area == pytest.approx(lens(3.0, 1.0), rel=2e-3)  # analytic
    # analytic: beside the lens the two moons, and outside a strip of 1 x 14 on either side
    moons = 2.0 * (math.pi * 9.0 - lens(3.0, 1.0))
    assert drawn.stray.area == pytest.approx(moons + 28.0, rel=2e-3)
    assert "either side of the step" in drawn.footer[1]
    result = checks[0].result().crossings[0]
    assert drawn.voids[0].open_fraction == pytest.approx(result.open_fraction, abs=1e-6)
    assert f"{result.open_area_mm2:.1f} of {result.nominal_area_mm2:.1f}" in drawn.detail.lines[0]


@pytest.mark.parametrize("height", [5.0, 7.0])
def test_beside_the_step_nothing_is_stray(stepped, height):
    checked, checks = stepped
    drawn = level_section(checked, [checks[0].result()], height)
    assert drawn.title == f"No stray metal at z = {height:g} mm; elsewhere: a restricted"
    assert drawn.stray.is_empty
    assert not drawn.step
    assert drawn.voids[0].open_fraction == pytest.approx(1.0)


@pytest.mark.parametrize(("height", "area"), [(0.0, 196.0 - 9.0 * math.pi), (12.0, 196.0)])
def test_the_lowest_and_the_highest_face_are_drawn(tmp_path, height, area):
    """A bore of 6 that is blind at the top: analytic areas of what lies beside each face."""
    solid = shapes.block((-7, -7, 0), (7, 7, 12)) - shapes.bore((0, 0, -1), (0, 0, 8), 3.0)
    solid -= shapes.bore((0, 0, 5), (8, 0, 5), 1.0)
    passage = make.passage((0, 0, 0), (7, 0, 5), 3.0, 1.5)
    passage["outlet"]["radius"] = 1.0
    checked, checks = prepared(tmp_path, solid, passage, make.plane(3.0))
    drawn = level_section(checked, [checks[0].result()], height)
    assert drawn.metal.area == pytest.approx(area, rel=2e-3)


def test_between_two_bodies_there_is_nothing_to_draw(tmp_path):
    solid = shapes.block((-7, -7, 0), (7, 7, 6)) - shapes.bore((0, 0, -1), (0, 0, 7), 3.0)
    solid += shapes.block((-7, -7, 9), (7, 7, 12))
    passage = make.passage((0, 0, 0), (0, 0, 6), 3.0, 5.5)
    checked, checks = prepared(tmp_path, solid, passage, make.plane(3.0))
    with pytest.raises(ClearanceError, match=r"--at-height: found 7\.5, where the predicted"):
        level_section(checked, [checks[0].result()], 7.5)


def test_circuits_that_a_step_joins_are_the_finding(tmp_path):
    # Bores of 6 at x -5 and 5; the upper half stands 7 mm aside: the upper left one meets the
    # lower right one, 3 mm off its middle, and no bore meets itself.
    ends = [
        make.passage((x, 0, 0), (x, 0, 30), 3.0, 5.0, name) for x, name in ((-5, "a"), (5, "b"))
    ]
    checked, checks = prepared(
        tmp_path,
        shapes.two_bores(3.0, 10.0),
        ends,
        make.sheet(6.0, resume_shift=[7.0, 0.0], **STEP),
        separate=[{"passages": ["a", "b"]}],
    )
    passages = [check.result() for check in checks]
    apart = separate(checked, checks, [], silent)
    drawn = level_section(checked, passages, 6.0, apart)
    assert drawn.title.startswith("a and b connected; ")
    assert drawn.joined.area == pytest.approx(lens(3.0, 3.0), rel=2e-3)  # analytic
    # The leak in the detail: its size in plan and its widest circle, 2 r - d, analytic.
    assert drawn.detail.title == "detail X: a and b connected"
    area, wide = (float(re.search(r"(\d+\.\d+) mm", line)[1]) for line in drawn.detail.lines)
    assert area == pytest.approx(lens(3.0, 3.0), abs=0.03)
    assert wide == pytest.approx(3.0, abs=0.03)
    # Both circuits are named where they lie: a above, b below it, which is drawn dashed.
    named = dict(drawn.detail.named)
    assert set(named) == {"a", "b"}
    (below,) = drawn.beneath
    assert below.contains(shapely.Point(named["b"]))
    assert drawn.voids[0].nominal.contains(shapely.Point(named["a"]))
    assert not drawn.joined.intersects(shapely.MultiPoint(list(named.values())))
    figure = level_figure(drawn)
    detail = next(a for a in figure.axes if a.get_title(loc="left").startswith("detail X"))
    assert {"a", "b"} <= {t.get_text() for t in detail.texts if t.get_gid() == "circuit"}
    assert drawn.voids[0].open.is_empty
    elsewhere = level_section(checked, passages, 3.0, apart)
    assert "elsewhere: a and b connected" in elsewhere.title


def test_the_curve_goes_no_lower_than_the_bracket(stepped):
    check = stepped[1][0]
    result = check.result()
    drawn = curve(check, result)
    low, high = result.clear_diameter_mm.low, result.clear_diameter_mm.high
    assert low - 1e-3 <= drawn.predicted_mm.min() <= high + 1e-9
    assert drawn.nominal_mm.min() >= result.clear_diameter_mm.nominal_low - 1e-3
    # analytic: the largest circle in the lens has 6 - 1 mm
    shown = re.fullmatch(r"a restricted: (.*) to (.*) mm clear, 5.5 mm required", drawn.title)
    assert float(shown[1]) <= 5.0 <= float(shown[2])
