"""Plans and recommendations that a meeting must be able to trust.

Every expected answer is worked out by hand: distances of axes less radii.
"""

import make
import manifold3d as m3
import pytest
import shared


def bored(size=(30.0, 16.0, 20.0)):
    """A block with an upright bore of radius 3 on the z axis."""
    part = m3.Manifold.cube(size).translate((-size[0] / 2, -size[1] / 2, 0.0))
    return part - m3.Manifold.cylinder(60.0, 3.0, circular_segments=96).translate((0, 0, -20))


def groove(low, high, wall):
    """What is missing at the side of the block: it leaves `wall` to the bore at its bottom."""
    return m3.Manifold.cube((20.0, 20.0, high - low)).translate((3.0 + wall, -10.0, low))


def drilled(folder, part, diameter, least=0.1, allowance=0.7, z=10.0, **keys):
    """Check the bore with one drill."""
    drilling = {
        "series": [],
        "drills": [{"diameter": diameter, "flute": 60.0, "overall": 110.0}],
        "wall_allowance": allowance,
        "min_wall": least,
    }
    passage = make.passage((0, 0, 0), (0, 0, 20), 3.0, 5.9)
    sheet = make.plane(z, 2, source="log")
    return make.checked(folder, part, passage, sheet, drilling=drilling, **keys)


ABOVE = {"on_platform": True}  # from the outlet only


@pytest.mark.parametrize(
    ("low", "z"),
    [(16.0, 10.0), (1.0, 3.2), (16.0, 17.5), (16.7, 15.0)],
    ids=["behind the entry", "before the far mouth", "beside the sheet", "a lip"],
)
def test_a_drill_that_breaks_out_sideways_near_a_mouth_is_no_plan(tmp_path, low, z):
    # The groove leaves 0.2 of wall beside the bore; a drill of 6.8 reaches 0.4 into the wall.
    part = bored() - groove(low, low + 3.0, 0.2)
    result = drilled(tmp_path, part, 6.8, z=z, state=ABOVE)
    (found,) = result.passages
    assert found.rework is None
    assert "breaks into the outside" in found.why_not
    assert result.disposition.recommendation == "undetermined"


@pytest.mark.parametrize(
    ("low", "z", "opening"), [*shared.more((1.0, 9.0, "outlet")), (15.0, 11.0, "inlet")]
)
def test_where_the_nearer_port_has_no_wall_the_other_is_drilled(tmp_path, low, z, opening):
    part = bored() - groove(low, low + 3.0, 0.2)
    result = drilled(tmp_path, part, 6.8, z=z)
    (stroke,) = result.passages[0].rework.drilling
    assert stroke.from_ == opening
    assert result.disposition.recommendation == "repair"
    if not shared.in_full:
        return
    thin = bored() - groove(low, low + 3.0, 0.8)  # 0.4 left, 0.19 at worst
    result = drilled(tmp_path / "thin", thin, 6.8, least=0.8, z=z)
    (stroke,) = result.passages[0].rework.drilling
    assert stroke.from_ == opening


def test_the_wall_near_a_mouth_is_held_against_min_wall(tmp_path):
    # 3 + 1 - 3.4 = 0.6 of wall between hole and groove, from 1 mm behind the entry on.
    part = bored() - groove(16.0, 19.0, 1.0)
    result = drilled(tmp_path / "thin", part, 6.8, least=0.8, state=ABOVE)
    (found,) = result.passages
    assert found.rework.wall_left_mm == pytest.approx(0.6, abs=0.06)
    assert result.disposition.recommendation == "undetermined"
    if not shared.in_full:
        return
    enough = drilled(tmp_path / "enough", part, 6.8, least=0.2, state=ABOVE)
    assert enough.disposition.recommendation == "repair"


@pytest.mark.parametrize("z", [4.5, *shared.more(6.0)])
def test_a_hole_hardly_deeper_than_the_drill_is_wide_is_judged_as_any(tmp_path, z):
    # The full diameter ends about 6.7 deep, the point 8.7: the hole ended in a traceback.
    result = drilled(tmp_path, bored(), 6.8, z=z)
    assert result.disposition.recommendation == "repair"


@pytest.mark.parametrize(
    "drilling", [{"series": []}, {"series": ["jobber"], "max_length_to_diameter": 1.0}]
)
def test_powder_in_a_passage_that_a_drill_could_open_is_no_scrap(tmp_path, drilling):
    # Two sheets in a straight bore: a longer drill would open both.
    sheets = [make.plane(z, 2, source="log") for z in (5.0, 15.0)]
    passage = make.passage((0, 0, 0), (0, 0, 20), 3.0, 5.5)
    result = make.checked(tmp_path, bored(), passage, sheets, drilling=drilling)
    assert result.trapped_powder
    assert result.disposition.recommendation == "undetermined"
    rows = zip(result.disposition.reasons, result.disposition.rows, strict=True)
    assert any(row == 6 and "not proven" in said for said, row in rows)


def test_a_cut_that_run_out_takes_beyond_the_allowance_is_no_repair(tmp_path):
    # 0.4 is cut; tolerance 0.022 and run-out 0.03 + 0.01 * 110 / 6.8 come on top: 0.614 in all.
    result = drilled(tmp_path / "half", bored(), 6.8, allowance=0.5)
    (found,) = result.passages
    assert found.rework is None
    assert "with tolerance and run-out 0.62 mm, 0.5 allowed" in found.why_not
    other, change = found.what_would_change[:2]
    assert not other.at_hand  # a drill of 5.92 to 6.00 needs no cut
    assert other.wall_allowance_mm is None or other.wall_allowance_mm < change.wall_allowance_mm
    assert change.at_hand
    assert change.max_length_to_diameter is None
    assert change.wall_allowance_mm == pytest.approx(0.4 + 0.022 + 0.03 + 1.1 / 6.8, abs=0.01)
    assert result.disposition.recommendation == "undetermined"
    assert any("wall_allowance of 0.62, 0.5 given" in s for s in result.disposition.settled_by)
    if not shared.in_full:
        return
    enough = drilled(tmp_path / "enough", bored(), 6.8, allowance=0.62)
    assert enough.disposition.recommendation == "repair"


def test_why_no_drill_is_sought_where_the_first_case_has_no_sheet_is_said(tmp_path):
    """Whether none or two wrong layers were melted is not known; plans are sought for none."""
    sheet = {**make.plane(10.0, 2, source="log", next_layer=102), "layers": [0, 2]}
    passage = make.passage((0, 0, 0), (0, 0, 20), 3.0, 5.0)
    drilling = {"series": ["jobber"]}
    found = make.first(tmp_path, bored(), passage, sheet, drilling=drilling, pitch=1.0)
    assert found.why_not.startswith("drills are sought for the first case alone")
    assert "0 stray layers" in found.why_not


def test_wall_and_conflicts_of_plans_stand_in_text_and_on_page_1():
    from clearance.drawing import sheet_rows
    from clearance.report.drilling import wall_words
    from clearance.report.table import why
    from clearance.result import Drilling, Rework

    stroke = Drilling(
        0, (), 6.8, "shop", 60.0, 110.0, "inlet", (0, 0, 0), (0, 0, 1), 12.7, 1.9, 0.0, 0.4, 0.5,
        0.0, 180.0, 0.0, 0.022, 0.192,
    )  # fmt: skip
    plan = Rework("open", 5.996, (stroke,), True, 1.25, 1.0, ("drilled as well: they meet",))
    assert wall_words(plan) == [
        "the wall cut by 0.40 mm, 0.62 mm with run-out",
        "1.00 mm of wall left at worst",
    ]
    assert wall_words(Rework("open", 5.996, (stroke,))) == []
    found = make_passage(plan)
    assert "0.62 mm with run-out, 1.00 mm of wall left at worst" in why(found, {})
    said = sheet_rows.after(found, "repair")
    assert "6.8 drill, inlet" in said
    assert "0.62 mm with run-out" in said
    assert "1.00 mm of wall left at worst" in said
    assert "not with another plan" in said


def make_passage(plan):
    from clearance.result import ClearDiameter, PassageResult, State

    clear = ClearDiameter(6.0, 0.0, 0.0, 0.0, 6.0, 6.0)
    return PassageResult("a", State.BLOCKED, 5.9, clear, State.OPEN, (), (), rework=plan)
