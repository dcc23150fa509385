"""Spark erosion as a second straight tool: taken only where drills do not do, never over powder.

Parts are small, and every answer is known by hand; a plan's state after comes from the re-check of
the part less its bores, as for drills.
"""

import math
import tomllib
from pathlib import Path

import make
import manifold3d as m3
import pytest
import shapes

from clearance.case.read import read_case
from clearance.checking import judge
from clearance.drawing.curve import curve
from clearance.drawing.shop import shop
from clearance.drilling.practice import worst
from clearance.errors import CaseError
from clearance.report.drilling import drilling_lines
from clearance.result import State
from clearance.verdict.prepared import prepare

ROOT = Path(__file__).parents[2]
LONG = 60.0
ELECTRODE = {"diameter": 3.4, "max_length_to_diameter": 20.0}
SHORT = {"series": ["jobber"], "max_length_to_diameter": 5.0}
"""Drills that reach 5 diameters deep, which is not half way."""


def part():
    """A block 12 x 12 x 60 with an upright bore of 4."""
    solid = shapes.block((-6, -6, 0), (6, 6, LONG))
    return solid - shapes.bore((0, 0, -1), (0, 0, LONG + 1), 2.0, segments=32)


BORE = make.passage((0, 0, 0), (0, 0, LONG), 2.0, 3.0, "bore")
SHEET = make.plane(30.0, 2, source="log")


def drilling(**keys):
    return {"drilling": {**SHORT, "electrodes": [ELECTRODE], **keys}, "state": {"emptied": True}}


def checked(folder, sheets=SHEET, passage=BORE, solid=None, **tables):
    solid = part() if solid is None else solid
    return make.checked(folder, solid, passage, sheets, **{"pitch": 0.5, **tables})


@pytest.fixture(scope="module")
def eroded(tmp_path_factory):
    return checked(tmp_path_factory.mktemp("eroded"), **drilling())


def test_where_no_drill_reaches_an_electrode_does(eroded):
    (found,) = eroded.passages
    (one,) = found.rework.drilling
    assert (one.tool, one.series, one.flute_mm, one.run_out_mm) == ("electrode", "electrode", 0, 0)
    assert found.rework.state_after == "open"
    # The sheet from 30.0 to 30.2 and half a millimetre more: flat at its end, no point.
    assert one.depth_mm == pytest.approx(30.7, abs=0.25)
    # What the hole may be off is taken off what surely passes.
    assert 3.0 <= found.rework.clear_diameter_after_mm <= 3.3
    assert eroded.disposition.recommendation == "rework"
    assert {each["aspect"] for each in one.practice} == {"flushing", "recast"}


def test_it_is_said_in_words_wherever_the_plan_is(eroded):
    (found,) = eroded.passages
    assert found.rework.why_electrode.startswith("no drill does: from the ")
    said = "\n".join(drilling_lines(eroded.passages))
    assert "electrode for a hole of 3.4 mm" in said
    assert "an electrode, since no drill does" in said
    order = eroded.disposition.order_of_work
    assert any(step.startswith("erode bore: electrode for a hole of 3.4 mm") for step in order)
    assert any("recast" in step for step in order)
    assert any("Sparks ignite powder" in caution for caution in eroded.cautions)
    assert any("electrode" in reason for reason in eroded.disposition.reasons)


def test_the_example_of_the_page_is_this_one(eroded):
    page = (ROOT / "docs" / "method.md").read_text(encoding="utf-8")
    example = page.partition("<!-- the example of electrodes -->\n```toml\n")[2]
    tables, _, rest = example.partition("```\n")
    assert tomllib.loads(tables) == drilling()
    shown = rest.partition("```\n")[2].partition("```")[0].splitlines()
    said = "\n".join(drilling_lines(eroded.passages))
    assert len(shown) == 2
    assert all(line in said for line in shown)


def test_where_a_drill_does_no_electrode_is_taken(tmp_path):
    long = {"series": ["jobber", "long", "extra-long"], "max_length_to_diameter": 20.0}
    result = checked(tmp_path, **drilling(**long))
    (one,) = result.passages[0].rework.drilling
    assert one.tool == "drill"
    assert result.passages[0].rework.why_electrode == ""
    assert not any("Sparks" in caution for caution in result.cautions)


@pytest.mark.parametrize(
    ("state", "said"),
    [
        ({}, "the powder is proven to be out ([state] emptied)"),
        ({"emptied": True, "heat_treated": True}, "the heat treatment has caked is proven to be"),
    ],
)
def test_none_before_the_powder_is_out(tmp_path, state, said):
    result = checked(tmp_path, **{**drilling(), "state": state})
    assert result.passages[0].rework is None
    assert any(said in way for way in result.disposition.settled_by)
    assert result.disposition.recommendation == "undetermined"


def test_none_while_powder_is_trapped(tmp_path):
    # Two sheets shut powder in between, whatever was emptied.
    sheets = [make.plane(z, 2, source="log") for z in (20.0, 40.0)]
    result = checked(tmp_path, sheets, **drilling())
    assert result.trapped_powder
    assert result.passages[0].rework is None
    assert any("no powder is trapped" in way for way in result.disposition.settled_by)


def test_strokes_from_both_ends_are_combined(tmp_path):
    # Each sheet leaves a small hole, so that no powder is trapped; 16 mm deep from either end.
    hole = m3.Manifold.cylinder(0.3, 0.5, circular_segments=16)
    sheets, meshes = [], {}
    for n, z in enumerate((10.0, 50.0)):
        plate = shapes.block((-6, -6, z), (6, 6, z + 0.3)) - hole.translate((0, 0, z))
        meshes[f"flap{n}"] = plate
        sheets.append({"shape": "mesh", "mesh": f"flap{n}.stl", "source": "log"})
    short = drilling(electrodes=[{**ELECTRODE, "max_length_to_diameter": 4.0}])
    short["drilling"] |= {"series": [], "drills": []}
    result = checked(tmp_path, sheets, meshes=meshes, **short)
    assert not result.trapped_powder
    plan = result.passages[0].rework
    assert sorted(one.from_ for one in plan.drilling) == ["inlet", "outlet"]
    assert {one.tool for one in plan.drilling} == {"electrode"}
    assert plan.state_after == "open"


@pytest.mark.parametrize(
    ("electrode", "reopened"),
    [
        ({"diameter": 3.12}, True),  # 3.02 at least
        ({"diameter": 3.08}, False),  # 2.98 at least: less than what is required
        ({"diameter": 3.08, "tolerance": 0.0}, True),
        ({"diameter": 3.4, "max_length_to_diameter": 8.0}, False),  # 27 mm
        ({"diameter": 4.0}, False),  # its hole may be 4.1 wide in a bore of 4
    ],
)
def test_no_plan_is_more_open_than_its_hole_may_be_narrow(tmp_path, electrode, reopened):
    result = checked(tmp_path, **drilling(electrodes=[{**ELECTRODE, **electrode}]))
    found = result.passages[0]
    assert (found.rework is not None) == reopened
    assert reopened or "electrode" in found.why_not
    assert found.state is State.BLOCKED


@pytest.mark.parametrize(
    ("electrodes", "said"),
    [
        ([{"diameter": 3.0}], "max_length_to_diameter"),
        ([{"diameter": 0.2, "max_length_to_diameter": 10.0, "tolerance": 0.1}], "less than 0.1 mm"),
        ([{"diameter": -1.0, "max_length_to_diameter": 10.0}], "diameter"),
        ([{"diameter": 3.0, "max_length_to_diameter": 10.0, "flute": 3.0}], "flute"),
    ],
)
def test_a_fault_of_the_file_is_one_line(tmp_path, electrodes, said):
    with pytest.raises(CaseError) as caught:
        checked(tmp_path, **drilling(electrodes=electrodes))
    (line,) = [line for line in str(caught.value).splitlines() if "electrodes" in line]
    assert said in line


@pytest.mark.parametrize(
    ("key", "value"),
    [
        ("point_angle", 190.0), ("max_tilt", 91.0),
        ("feed", [0.2, 0.1]), ("work_constant", 10.0), ("safety", 0.5),
        ("drill_modulus", 0.0), ("drill_strength", -1.0), ("split_point", 1),
    ],
)  # fmt: skip
def test_a_setting_of_the_shop_out_of_range_is_one_line(tmp_path, key, value):
    with pytest.raises(CaseError) as caught:
        checked(tmp_path, drilling={key: value})
    (line,) = str(caught.value).splitlines()
    assert key in line


def test_the_page_for_the_shop_tells_the_tool_and_what_to_mind(tmp_path):
    case = make.write_case(
        tmp_path, part(), BORE, SHEET, pitch=0.5, part={"material": "316L"}, **drilling()
    )
    examined = judge(prepare(read_case(case)))
    page = shop(examined)
    assert curve(examined.checks[0], examined.result.passages[0]).reached_by == "an electrode"
    assert page.title == "for the shop: spark erosion"
    ((what, numbers, mind),) = page.operations
    assert "spark erosion, electrode for a hole of 3.4 mm" in what
    assert "entry to the hole's end" in numbers
    assert "flushing, careful" in mind
    assert "an electrode, since no drill does" in mind
    assert "eroded downward" in numbers
    assert "electrode upright: axis" in numbers
    assert page.notes[0].startswith("erode nothing before the part is proven to be empty")
    assert any("sparks ignite powder" in note for note in page.notes)
    assert not any("sharp drill" in note for note in page.notes)


def test_a_leaning_drill_that_a_shop_cannot_start_gives_way_to_an_electrode(tmp_path):
    """A bore of 6 that leans by 40 degrees: 9 more than the point's angle allows."""
    lean = math.tan(math.radians(40.0))
    solid = shapes.block((-16, -6, 0), (16, 6, 20))
    solid -= shapes.bore((-20 * lean, 0, -10), (20 * lean, 0, 30), 3.0, segments=48)
    passage = make.passage((-10 * lean, 0, 0), (10 * lean, 0, 20), 3.4, 5.0)
    sheet = make.plane(10.0, 3, source="log")
    keys = {"drilling": {"series": ["jobber"]}, "state": {"emptied": True}}
    refused = checked(tmp_path / "drill", sheet, passage, solid, **keys)
    (one,) = refused.passages[0].rework.drilling
    assert (one.tool, worst(one.practice)) == ("drill", "not-this-way")
    decided = refused.disposition
    assert decided.recommendation == "undetermined"
    assert decided.rows[0] == 2
    assert "cannot be carried out this way" in decided.reasons[0]
    assert any("max_tilt of 40" in way for way in decided.settled_by)
    assert any("an electrode for a hole" in way for way in decided.settled_by)
    keys["drilling"]["electrodes"] = [{"diameter": 5.4, "max_length_to_diameter": 15.0}]
    eroded = checked(tmp_path / "electrode", sheet, passage, solid, **keys)
    plan = eroded.passages[0].rework
    assert [one.tool for one in plan.drilling] == ["electrode"]
    assert plan.why_electrode.startswith("a drill would not do: ")
    assert plan.clear_diameter_after_mm >= 5.0
    assert eroded.disposition.recommendation == "rework"
