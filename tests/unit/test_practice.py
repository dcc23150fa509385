"""What a shop would say to an operation: closed forms, and published limits where they are named.

Operations and sheets are made by hand; the numbers of forces are held in test_forces.
"""

import math
from dataclasses import replace

import pytest

from clearance.case.tables import DrillingTable, PartTable
from clearance.drilling.practice import Met, Shop, aspects, equal_diameter, worded, worst
from clearance.report.drilling import forces_line
from clearance.result import Drilling

STEEL = (24_000.0, 35_000.0)


def operation(diameter=7.5, tilt=0.0, flute=69.0, margin=0.25, tool="drill"):
    lean = math.radians(tilt)
    return Drilling(
        0, (), diameter, "jobber", flute, 117.0, "inlet", (0.0, 0.0, 0.0),
        (math.sin(lean), 0.0, math.cos(lean)), 30.0, 30.0 / diameter, margin, 0.0, 0.5, 1.0,
        tilt, 0.0, 0.02, 0.1, tool=tool,
    )  # fmt: skip


def met(thick=(0.15, 0.25), opening=0.0, axis_open=False, across=8.0, number=0):
    share = (opening / across) ** 2
    return Met(number, thick, share, axis_open, opening, across)


def shop(constant=STEEL, modulus=193.0, **keys):
    return Shop(DrillingTable(**keys), constant, modulus)


def of(aspect, one, *crossings, given=None):
    found = aspects(one, crossings or (met(),), given or shop())
    return next(each for each in found if each["aspect"] == aspect)


@pytest.mark.parametrize(
    ("tilt", "across", "answer"),
    [
        (0.0, 8.0, "fine"),
        (1.9, 8.0, "fine"),
        (20.0, 8.0, "careful"),
        (30.9, 8.0, "careful"),
        (31.1, 8.0, "not-this-way"),
        (149.1, 8.0, "careful"),  # the same from the other side
        (148.9, 8.0, "not-this-way"),
        # 0.76 mm of clearance are more than a tenth of 7.5: the bore does not lead it.
        (7.9, 9.02, "careful"),
        (8.1, 9.02, "not-this-way"),
        (8.1, 8.98, "careful"),
        (85.0, 8.0, "not-this-way"),
    ],
)
def test_tilt_up_to_the_points_angle_where_the_bore_leads(tilt, across, answer):
    """90 - 118 / 2 = 31 degrees; without a wall that leads it the 8 degrees that are given."""
    found = of("tilt", operation(tilt=tilt), met(across=across))
    assert found["answer"] == answer
    assert found["numbers"]["side_clearance_mm"] == pytest.approx((across - 7.5) / 2)
    assert bool(found["would_do"]) == (answer == "not-this-way")


def test_a_drill_within_a_sheet_thicker_than_itself_is_in_solid_metal():
    along = operation(tilt=90.0)
    assert of("tilt", along, met((7.6, 7.9)))["answer"] == "careful"
    assert of("tilt", along, met((7.4, 7.9)))["answer"] == "not-this-way"


def test_a_drill_beside_one_wall_of_a_wide_bore_is_not_led():
    """0.05 mm from one wall, but the bore is 12 wide: 2.25 mm on the mean of all sides."""
    found = of("tilt", operation(tilt=20.0, margin=0.05), met(across=12.0))
    assert found["answer"] == "not-this-way"


def test_a_bore_leads_only_what_is_in_it():
    """Before the mouth, or behind a wider room, the same bore leads nothing yet."""
    one = operation(tilt=20.0)
    outside = of("tilt", one, replace(met(), beside_mm=math.inf))
    assert outside["answer"] == "not-this-way"
    assert "before it is a diameter deep" in outside["why"]
    assert outside["numbers"]["side_clearance_mm"] == pytest.approx(0.25)  # a number of the file
    room = of("tilt", one, replace(met(), beside_mm=0.76))
    assert (room["answer"], room["numbers"]["side_clearance_mm"]) == ("not-this-way", 0.76)
    assert of("tilt", one, replace(met(), beside_mm=0.74))["answer"] == "careful"


def test_a_way_that_the_shop_has_is_a_setting():
    one = operation(tilt=40.0)
    refused = of("tilt", one)
    assert any("max_tilt of 40" in way for way in refused["would_do"])
    assert any("electrode" in way for way in refused["would_do"])
    assert of("tilt", one, given=shop(max_tilt=40.0))["answer"] == "careful"
    along = of("tilt", operation(tilt=90.0), given=shop(max_tilt=90.0))
    assert along["answer"] == "careful"
    assert "runs along it" in along["why"]


@pytest.mark.parametrize(
    ("diameter", "opening", "axis_open", "answer", "word"),
    [
        (7.5, 0.0, False, "fine", "nothing of it open"),
        (7.5, 4.0, False, "careful", "metal beside an opening"),
        (7.5, 4.0, True, "careful", "a guide bush, a point for thin sheet"),
        (12.0, 7.3, True, "careful", "a core drill of that size"),
        (12.0, 7.1, True, "careful", "a guide bush"),  # less than 60 % of the size
        (7.5, 7.2, True, "careful", "a reamer would do"),
        (7.5, 7.0, True, "careful", "no reamer"),
    ],
)
def test_an_opening_grabs_a_drill_with_two_flutes(diameter, opening, axis_open, answer, word):
    """Core drills from 10 mm, for a hole of 60 % (two pages); reaming 0.40 at 7.1 to 22 mm."""
    one = operation(diameter)
    found = of("opening", one, met(opening=opening, axis_open=axis_open, across=diameter + 0.5))
    assert found["answer"] == answer
    assert word in found["why"]


def test_the_worked_example_of_a_slender_drill():
    """316L, d 3, flute 66, safety 3: 245 N held and 30 N free; needed 217 to 316 N at 0.02 mm a
    turn, 402 to 586 at 0.05: only with the tip held and little feed."""
    one, thick = operation(3.0, flute=66.0), met(thick=(2.0, 2.0), across=3.5)
    found = of("thrust", one, thick, given=shop(feed=(0.02, 0.05)))
    numbers = found["numbers"]
    assert numbers["held_n"] == pytest.approx(245, rel=0.01)
    assert numbers["free_n"] == pytest.approx(30, rel=0.01)
    assert numbers["lip_share"] == 1.0
    assert numbers["thrust_low_n"] == pytest.approx(217, rel=0.01)
    assert numbers["thrust_high_n"] == pytest.approx(586, rel=0.01)
    assert found["answer"] == "careful"
    assert "with the least feed" in found["why"]
    usual = of("thrust", one, thick, given=shop(feed=(0.05, 0.05)))
    assert usual["answer"] == "not-this-way"
    assert "it buckles" in usual["why"]
    # Split point at 0.02 mm a turn: 141 to 205 N.
    split = of("thrust", one, thick, given=shop(feed=(0.02, 0.02), split_point=True))
    low_high = split["numbers"]["thrust_low_n"], split["numbers"]["thrust_high_n"]
    assert low_high == pytest.approx((141, 205), rel=0.01)
    assert split["answer"] == "careful"


def test_a_shorter_drill_is_named_that_would_not_buckle():
    """At 0.05 mm a turn and K 35 000 the longest with its tip held is 43 mm (published)."""
    one, thick = operation(3.0, flute=66.0), met(thick=(2.0, 2.0), across=3.5)
    found = of("thrust", one, thick, given=shop((35e3, 35e3), feed=(0.05, 0.05)))
    assert any("at most 42 mm of flute" in way for way in found["would_do"])


def test_a_thin_sheet_needs_a_part_of_what_solid_metal_needs():
    """0.1 to 0.2 mm, a drill of 3: 11 and 22 % of the lips, and the chisel edge's 45 to 66 N."""
    given = shop(feed=(0.05, 0.05))
    found = of("thrust", operation(3.0, flute=33.0), met((0.1, 0.2), across=3.5), given=given)
    numbers = found["numbers"]
    assert numbers["chisel_low_n"] == pytest.approx(45, rel=0.02)
    assert numbers["chisel_high_n"] == pytest.approx(66, rel=0.02)
    assert numbers["thrust_low_n"] == pytest.approx(45.4 + 0.11 * (402 - 45.4), rel=0.01)
    assert numbers["thrust_high_n"] == pytest.approx(66.2 + 0.22 * (586 - 66.2), rel=0.01)
    # Over an opening no metal is before the chisel edge: the least is less.
    open_one = of(
        "thrust", operation(3.0, flute=33.0), met((0.1, 0.2), 1.0, True, 3.5), given=given
    )
    assert open_one["numbers"]["thrust_low_n"] == pytest.approx(0.11 * (402 - 45.4), rel=0.01)


def test_a_step_is_as_thick_as_the_part():
    found = of("thrust", operation(3.0, flute=33.0), met((0.0, 0.0), 2.0, False, 3.5))
    assert found["numbers"]["lip_share"] == 1.0
    assert of("sheet", operation(3.0), met((0.0, 0.0)))["answer"] == "fine"


def test_a_drill_of_one_millimetre_has_no_margin_of_torque():
    """0.022 N m stood; needed 0.023 to 0.033 in solid 316L at 0.015 mm a turn (published)."""
    one, thick = operation(1.0, flute=12.0), met((1.0, 1.0), across=1.2)
    found = of("torque", one, thick, given=shop(feed=(0.015, 0.015)))
    assert found["answer"] == "not-this-way"
    assert found["numbers"]["torque_limit_nm"] == pytest.approx(0.022)
    assert of("torque", operation(8.0), met())["answer"] == "fine"


@pytest.mark.parametrize(("thick", "answer"), [(0.1, "careful"), (0.3, "fine")])
def test_a_thin_sheet_bulges_under_the_chisel_edge(thick, answer):
    """Bore 5, 316L: 14 N bend 0.1 mm by as much, 1150 N one of 0.3 mm; a drill of 4.5 brings
    0.007 x 35 000 x 4.5^2 x 0.03 = 149 N."""
    found = of("sheet", operation(4.5), met((thick, thick), across=5.0))
    assert found["answer"] == answer
    assert found["numbers"]["chisel_high_n"] == pytest.approx(148.8, rel=0.01)


def test_an_unknown_material_borrows_nothing():
    bare = Shop.of(PartTable(name="a", mesh="a.stl", layer_thickness=0.05), DrillingTable())
    found = aspects(operation(), (met((0.3, 0.4)),), bare)
    told = {one["aspect"]: one for one in found}
    for name in ("thrust", "torque"):
        assert told[name]["answer"] == "careful"
        assert "work_constant" in told[name]["why"]
        assert not any(key.startswith((name, "chisel")) and "limit" not in key
                       for key in told[name]["numbers"])  # fmt: skip
    assert "not known" in told["sheet"]["why"]
    assert bare.material == ""


def test_constants_from_memory_say_whose_they_are_and_given_ones_do_not():
    part = PartTable(name="a", mesh="a.stl", layer_thickness=0.05, material="IN718")
    known = Shop.of(part, DrillingTable())
    assert "alloy 718" in of("thrust", operation(), given=known)["why"]
    own = Shop.of(
        part.model_copy(update={"youngs_modulus": 190.0}), DrillingTable(work_constant=(3e4, 3e4))
    )
    assert (own.work_constant, own.modulus_gpa, own.material) == ((3e4, 3e4), 190.0, "")
    assert "memory" not in of("thrust", operation(), given=own)["why"]


def test_another_point_meets_and_cuts_otherwise():
    """140 degrees: its corner meets first from 20 degrees on, and it is 3.75 / tan 70 long."""
    own = shop(point_angle=140.0)
    found = of("tilt", operation(tilt=19.0), given=own)
    point = 3.75 / math.tan(math.radians(70.0))
    assert found["numbers"]["uneven_mm"] == pytest.approx(
        point + 3.75 * math.tan(math.radians(19.0))
    )
    assert of("tilt", operation(tilt=21.0), given=own)["answer"] == "not-this-way"
    thrust = of("thrust", operation(), met((0.5, 1.0)), given=own)
    assert thrust["numbers"]["lip_share"] == pytest.approx(1.0 / point)


def test_of_two_sheets_the_gravest_counts():
    found = of("opening", operation(), met(), met(opening=4.0, axis_open=True, number=3))
    assert (found["crossing"], found["answer"]) == (3, "careful")
    assert worst(aspects(operation(tilt=40.0), (met(),), shop())) == "not-this-way"


@pytest.mark.parametrize("order", [1, -1])
def test_of_two_sheets_the_forces_are_those_of_the_thicker_and_the_load_of_the_thinner(order):
    """Both are careful; the drill has to cut both, and both have to stand it."""
    one, sheets = operation(5.5), [met((0.04, 0.1)), met((2.0, 3.0), number=1)][::order]
    forces = of("thrust", one, *sheets)
    assert forces["crossing"] == 1
    assert forces["numbers"]["thrust_high_n"] == pytest.approx(1692, rel=0.01)
    assert of("torque", one, *sheets)["crossing"] == 1
    thin = of("sheet", one, *sheets)
    assert (thin["crossing"], thin["answer"]) == (0, "careful")
    both_fine = [met((2.0, 3.0), number=1), met((0.5, 0.6))][::order]
    assert of("sheet", one, *both_fine)["crossing"] == 0  # the weaker of the two


def test_a_sheet_with_an_opening_is_no_clamped_disc():
    """Of 0.3 mm across 5 a closed one stands the chisel edge; one with a hole in it bends away."""
    assert of("sheet", operation(4.5), met((0.3, 0.3), across=5.0))["answer"] == "fine"
    lens = of("sheet", operation(4.5), met((0.3, 0.3), 2.0, False, 5.0))
    assert lens["answer"] == "careful"
    assert "softer than one clamped all round" in lens["why"]
    # Thicker than the point is long (0.3 x 4.5) it is as solid metal.
    assert of("sheet", operation(4.5), met((1.4, 1.4), 2.0, False, 5.0))["answer"] == "fine"


def test_a_sheet_across_a_leaning_bore_is_as_wide_as_it_is_in_plan():
    """A level disc of area A / cos(tilt): its load is cos(tilt) of that across an upright bore."""
    square, lean = (
        of("sheet", operation(4.5, tilt=tilt), met((0.1, 0.1), across=5.0))["numbers"]["sheet_n"]
        for tilt in (0.0, 60.0)
    )
    assert lean == pytest.approx(0.5 * square)


def test_where_little_metal_is_left_the_least_force_is_little():
    """A step 3 mm thick on a fifth of the drill's circle: no reason to call it impossible."""
    step = replace(met((0.0, 0.0), 2.9, True, 3.2), metal_share=0.2)
    whole = replace(step, metal_share=1.0)
    least = [of("thrust", operation(3.0, 66.0), one)["numbers"] for one in (step, whole)]
    assert least[0]["thrust_low_n"] == pytest.approx(0.2 * least[1]["thrust_low_n"])
    assert least[0]["thrust_high_n"] == least[1]["thrust_high_n"]
    turn = [of("torque", operation(3.0), one)["numbers"] for one in (step, whole)]
    assert turn[0]["torque_low_nm"] == pytest.approx(0.2 * turn[1]["torque_low_nm"])


def test_an_electrode_has_cautions_of_its_own_and_no_forces():
    found = aspects(operation(tool="electrode", tilt=60.0), (met(),), shop())
    assert [one["aspect"] for one in found] == ["flushing", "recast"]
    assert {one["answer"] for one in found} == {"careful"}
    said = "; ".join(worded(found))
    assert "recast layer" in said
    assert "breaks into the void" in said


def test_words_tell_the_gravest_first():
    said = list(worded(aspects(operation(tilt=40.0), (met((1.0, 1.0)),), shop())))
    assert said[0].startswith("tilt, not this way: ")
    assert said[-1].startswith("fine: ")


def test_a_leaning_bore_is_as_wide_as_it_is_square_to_the_drill():
    """An ellipse in plan: pi D^2 / (4 cos a)."""
    area = math.pi * 64.0 / 4.0 / math.cos(math.radians(30.0))
    assert equal_diameter(area, 30.0) == pytest.approx(8.0)


def test_the_ranges_stand_with_an_operation_where_they_are_known():
    """d 3 at 0.05 mm a turn, solid 316L: 402 to 586 N, 0.43 to 0.62 N m (published, to the
    nearest); here rounded outward."""
    one = operation(3.0, flute=33.0)
    solid = (met((2.0, 2.0), across=3.5),)
    told = replace(one, practice=aspects(one, solid, shop(feed=(0.05, 0.05))))
    assert forces_line(told) == "thrust 401 to 586 N, torque 0.42 to 0.63 N m"
    bare = Shop(DrillingTable(), None, None)
    assert forces_line(replace(one, practice=aspects(one, solid, bare))) == ""
