"""What the first page shows of the event: the worst of it, whatever kind of event it was."""

import dataclasses
import re

import make
import manifold3d as m3
import pytest
import shared
from matplotlib.text import Text

from clearance.case.read import read_case
from clearance.checking import judge
from clearance.drawing.sheet import _crossing_rows, sheet
from clearance.figures.first_page import sheet_figures
from clearance.report.full import text
from clearance.result import CrossingResult, SeparateResult, TrappedPowder
from clearance.verdict.prepared import prepare

FOOT, PILLAR = 9.0, 4.0
"""Sides of the two feet of the block: all that its first millimetre has, mm."""
BORE = 3.0


def block():
    """40 x 20 x 30 on two feet, with two bores from the top that meet in a duct at z 6."""
    solid = m3.Manifold.cube((40.0, 20.0, 29.0), True).translate((0.0, 0.0, 15.5))
    for x in (-10.0, 10.0):
        solid -= m3.Manifold.cylinder(27.0, BORE, BORE, 48).translate((x, 0.0, 3.0))
    solid -= m3.Manifold.cube((20.0, 3.0, 6.0), True).translate((0.0, 0.0, 6.0))
    solid += m3.Manifold.cube((FOOT, FOOT, 2.0), True).translate((-10.0, 0.0, 1.0))
    return solid + m3.Manifold.cube((PILLAR, PILLAR, 2.0), True).translate((17.0, 0.0, 1.0))


def flange():
    """A tube of radius 6 with a flange of radius 15 at its foot and a plate of 12 on top."""
    tube = m3.Manifold.cylinder(30.0, 6.0, 6.0, 96) + m3.Manifold.cylinder(3.0, 15.0, 15.0, 96)
    plate = m3.Manifold.cylinder(10.0, 12.0, 12.0, 96).translate((0.0, 0.0, 20.0))
    return tube + plate - m3.Manifold.cylinder(40.0, 2.0, 2.0, 96).translate((0.0, 0.0, -5.0))


def through(need=2.0):
    return make.passage((10.0, 0.0, 30.0), (-10.0, 0.0, 30.0), BORE, need, name="u")


class Printed:
    """A page of the sheet by the words of its figure; that a file holds them tells `test_sheet`."""

    def __init__(self, figure):
        self.text = "\n".join(text.get_text() for text in figure.findobj(Text))

    def words(self):
        return " ".join(self.text.split())


def printed(page):
    """Pages of the sheet without those of passages, of the shop and of the laboratory."""
    own = dataclasses.replace(page, passages=(), shop=None, laboratory=None)
    return [Printed(figure) for figure in sheet_figures(own)]


def drawn(folder, stray, **keys):
    path = make.write_case(folder, block(), through(), stray, **keys)
    found = judge(prepare(read_case(path), 0.5))
    return found, sheet(found)


KINDS = {
    "one layer": make.sheet(15.0, 1, penetration=0.05),
    "its gap partly melted again": make.sheet(15.0, 1, penetration=0.08),
    "three layers": make.sheet(15.0, 3, penetration=0.15),
    "layers that differ": make.sheet(15.0, 2, from_layer=9, penetration=0.05),
    "repeated layers": {"height": 15.0, "layers": 2, "resume": "layer", "penetration": 0.05},
    "layers left out": {"height": 15.0, "layers": 2, "next_layer": 160, "penetration": 0.05},
}


ALIKE = ("one layer", "three layers")
"""Of kinds that the plain run has: one layer whose gap is melted in part, layers that differ."""


@pytest.mark.parametrize(
    "kind", [*(one for one in KINDS if one not in ALIKE), *shared.more(*ALIKE)]
)
def test_the_section_of_the_first_page_shows_what_is_unmelted(tmp_path, kind):
    """Of 40 x 20 less two bores only the feet are joined; the left bore stands on one."""
    found, page = drawn(tmp_path, KINDS[kind])
    (gap,) = found.result.unmelted
    assert page.section.unmelted.area == pytest.approx(gap.area_mm2, rel=1e-3)
    worst = min(row["share"] for row in found.result.resumed_section)
    seen = 1.0 - page.section.unmelted.area / page.section.metal.union(page.section.unmelted).area
    assert seen == pytest.approx(worst, abs=0.01)
    left = min(void.open_fraction for void in page.section.voids)
    assert left == 0.0  # the sealed bore is in the same section


def test_a_step_is_drawn_with_both_of_its_sides(tmp_path):
    """Slices and what lies above are 1.5 aside: a lens of the right bore stays open."""
    _, page = drawn(tmp_path, make.sheet(15.0, 2, penetration=0.1, resume_shift=[1.5, 0.0]))
    shares = {void.at[0] > 0.0: void.open_fraction for void in page.section.voids}
    assert shares[False] == 0.0
    assert shares[True] == pytest.approx(_lens(1.5, BORE), abs=0.01)
    assert page.section.unmelted.area > 600.0


def _lens(apart, radius):
    """Share of a circle that another one as large covers: analytic."""
    import math

    half = math.acos(0.5 * apart / radius)
    return (2.0 * half - math.sin(2.0 * half)) / math.pi


def leaning():
    bar = m3.Manifold.cylinder(80.0, 2.0, 2.0, 48, True).rotate((0.0, 45.0, 0.0))
    cube = m3.Manifold.cube((60.0, 20.0, 30.0), True).translate((0.0, 0.0, 15.0))
    return cube - bar.translate((0.0, 0.0, 15.0))


def test_layers_left_out_with_no_slice_melted_are_drawn_as_a_step(tmp_path):
    """A bore at 45 degrees jumps by the ten layers that are left out: 1 mm aside."""
    a, b = (-15.0, 0.0, 0.0), (15.0, 0.0, 30.0)
    path = make.write_case(
        tmp_path, leaning(), make.passage(a, b, 2.0, 3.5),
        {"height": 15.0, "layers": 0, "next_layer": 160},
    )  # fmt: skip
    found = judge(prepare(read_case(path), 0.5))
    section = sheet(found).section
    assert section.step
    (void,) = section.voids
    (crossing,) = found.result.passages[0].crossings
    assert void.open_fraction == pytest.approx(crossing.open_fraction, abs=0.02)
    assert void.open_fraction < 0.85


@pytest.mark.parametrize("top", [15.2, *shared.more(15.0)])
def test_a_sheet_given_as_a_mesh_is_drawn_where_it_closes(tmp_path, top):
    bodies = {"extra": m3.Manifold.cube((20.0, 18.0, 0.2), True).translate((-10.0, 0.0, top - 0.1))}
    _, page = drawn(tmp_path, {"shape": "mesh", "mesh": "extra.stl"}, meshes=bodies)
    assert min(void.open_fraction for void in page.section.voids) == 0.0
    assert page.section.stray.area == pytest.approx(28.2, abs=0.1)


def test_a_ring_that_is_unmelted_is_found_on_the_first_page(tmp_path):
    """The tube's slice carries 108 of the plate's 440: analytic, 7.6 percent less the polygon."""
    bore = make.passage((0.0, 0.0, 0.0), (0.0, 0.0, 30.0), 2.0, 3.0, name="bore")
    stray = make.sheet(25.0, 1, from_layer=100, penetration=0.05)
    path = make.write_case(tmp_path, flange(), bore, stray, drilling={"series": []})
    found = judge(prepare(read_case(path), 0.5))
    assert found.result.passages[0].state == "open"
    page = sheet(found)
    share = (6.0**2 - 2.0**2) / (12.0**2 - 2.0**2)  # of like polygons: analytic
    said = f"only {int(100.0 * share)} % of the section is fused"
    assert page.section.unmelted.area / page.section.bounds[2] ** 2 > 2.0
    first, second = (p.words() for p in printed(page)[:2])
    assert said in first
    assert f"{int(100.0 * share)} % of it" in second  # in the event's row
    assert "unmelted powder" in first  # in the key
    assert said in " ".join(text(found.result).split())


def test_a_joint_that_no_passage_meets_has_its_section(tmp_path):
    """The second event lies under both bores: nothing is narrowed, and most is unmelted."""
    strays = [make.sheet(2.5, 1), make.plane(15.0, 1)]
    found, page = drawn(tmp_path, strays)
    assert [c.stray for c in found.result.passages[0].crossings if c.sealed] == [1, 1]
    (joint,) = page.joint_sections
    assert joint.unmelted.area > 0.8 * (40.0 * 20.0)
    assert any("joint that is not whole" in p.text for p in printed(page))


# ---- powder ----------------------------------------------------------------------------------


def crowded(found, voids, pairs=0):
    """The same part with so many voids of powder and circuits that run into each other."""
    powder = tuple(
        TrappedPowder(
            100.0 * (n + 1), 0.5, ("stray 0", "part"), (1.0 * n, 2.0, 3.0), ("u",), 0.375, 0.5
        )
        for n in range(voids)
    )
    joined = tuple(
        SeparateResult((f"circuit {n}", "u"), "joined", (0.0, 0.0, 1.0 * n), "void")
        for n in range(pairs)
    )
    steps = tuple(f"a step that is long enough to take up some of the room, {n}" for n in range(60))
    steps = (*steps, "before drilling into shut-in powder: drilling can ignite it", "the last")
    decided = dataclasses.replace(found.result.disposition, order_of_work=steps)
    result = dataclasses.replace(
        found.result, trapped_powder=powder, separate=joined, disposition=decided
    )
    return dataclasses.replace(found, result=result)


@pytest.fixture(scope="module")
def plain(tmp_path_factory):
    return drawn(tmp_path_factory.mktemp("powder"), make.plane(15.0, 1))[0]


@pytest.mark.parametrize(
    ("voids", "mass"),
    [(9, "3.37 to 4.50 g (4500.0 mm3)"), *shared.more((1, "0.37 to 0.50 g (100.0 mm3)"))],
)
def test_powder_stands_on_the_first_page_whatever_else_does(plain, voids, mass):
    full = crowded(plain, voids, pairs=4)
    first, *others = printed(sheet(full))
    said = first.words()
    assert mass in said
    assert "can ignite it" in said
    for n in range(4):
        assert f"circuit {n} and u: connected" in said
    assert "all 62 steps on the next page, of them about powder: 61" in said
    behind = " ".join(page.words() for page in others)
    for n in range(1, 63):
        assert re.search(rf"\b{n}\. ", behind), n
    lines = " ".join(text(full.result).split("\ncrossings\n")[0].split())
    assert mass in lines
    assert "circuit 3 and u: connected" in lines


def test_powder_without_a_density_is_told_by_volume(plain):
    lost = dataclasses.replace(
        plain.result,
        trapped_powder=(TrappedPowder(7.0, None, ("nominal",), (0.0, 0.0, 0.0)),),
    )
    assert "mass unknown, no density (7.0 mm3)" in " ".join(text(lost).split())


# ---- words that are never cut --------------------------------------------------------------------


def test_identity_and_recommendation_are_never_cut_within_a_word(plain):
    record = f"NC-{'0123456789' * 9}-END"
    reason = "bore: blocked; the point of a 3.6 mm jobber drill meets the wall; " * 8
    case = plain.checked.case
    case = dataclasses.replace(case, record=case.record.model_copy(update={"serial": record}))
    decided = dataclasses.replace(plain.result.disposition, reasons=(reason, "the end"))
    decided = dataclasses.replace(decided, recommendation="scrap")
    told = dataclasses.replace(
        plain,
        checked=dataclasses.replace(plain.checked, case=case),
        result=dataclasses.replace(plain.result, disposition=decided),
    )
    first, *others = printed(sheet(told))
    assert record in first.text.replace("\n", "")
    assert all(record in page.text.replace("\n", "") for page in others)
    assert "SCRAP recommended" in first.words()
    whole = [page for page in others if " ".join(reason.split()) in page.words()]
    assert whole  # the reason stands behind, uncut


# ---- two strokes -----------------------------------------------------------------------------


def test_one_stroke_of_two_does_not_leave_a_passage_open(tmp_path):
    """Each of the two bores of the block is sealed: one stroke from each port."""
    tools = {"series": ["jobber"]}
    path = make.write_case(tmp_path, block(), through(2.5), make.plane(15.0, 1), drilling=tools,
                           part={"density_g_cm3": 8.0})  # fmt: skip
    found = judge(prepare(read_case(path), 0.5))
    drills = sheet(found).passages[0].drills
    assert len(drills) == 2
    for n, drill in enumerate(drills, 1):
        assert drill.title.endswith(f"operation {n} of 2: open only after both")
        assert "leaves it" not in drill.title


def test_no_event_is_not_one_that_has_left_nothing(tmp_path):
    found, page = drawn(tmp_path, ())
    assert found.result.disposition.recommendation == "not-affected"
    said = " ".join(p.words() for p in printed(page))
    assert "no event is given" in said
    assert "the event has left nothing" not in said


def test_of_very_many_crossings_those_that_read_alike_are_one_row():
    def crossing(n, sealed):
        area = 0.0 if sealed else 6.0
        return CrossingResult(0, 26.0 + 0.01 * n, (float(n), 2.0, 26.0), 12.0, area, area / 12.0,
                              0.0 if sealed else 2.0, sealed=sealed)  # fmt: skip

    many = [crossing(n, n < 26) for n in range(80)]
    first, second = _crossing_rows(many)
    assert (first.number, second.number) == ("1 to 26, sheet 1", "27 to 80, sheet 1")
    assert first.place == "z 26.00 to 26.25, x 0.0 to 25.0, y 2.0"
    assert (first.share, second.passes) == ("sealed", "at most 2.00 mm")
    assert len(_crossing_rows(many[:12])) == 12
