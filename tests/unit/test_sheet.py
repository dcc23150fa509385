"""The disposition sheet: what stands on it, that it stands apart, and that it repeats."""

import dataclasses
import functools
import io
import itertools
import re

import make
import manifold3d as m3
import matplotlib as mpl
import numpy as np
import pdf
import pypdf
import pytest
import shapely
import shared

from clearance.case.read import read_case
from clearance.checking import judge
from clearance.drawing.laboratory import Line, Plane
from clearance.drawing.sheet import BOXES, NOT_JUDGED, sheet
from clearance.figures import along, paper, planes, scale, style
from clearance.figures.files import pdf_bytes
from clearance.figures.first_page import report, sheet_figures
from clearance.figures.laboratory import add_laboratory
from clearance.figures.passage_page import Letters, add_passage
from clearance.result import Margin, ScannedPassage, ScanResult, State, as_json
from clearance.verdict.prepared import prepare

RECORD = {"drawing": "4711-02", "revision": "C", "serial": "0042", "nonconformity": "NC-118"}
LATER = ("pitch_mm", "graph", "loss_coefficient", "flow")
"""Keys whose numbers stand on the last pages, if anywhere."""


@pytest.fixture(scope="module")
def examined(tmp_path_factory):
    """Two upright bores; a sheet seals both, and one drill each reopens them."""
    passages = [
        make.passage((x, 0, 0), (x, 0, 30), 3.0, 5.0, name=name)
        for x, name in ((-10.0, "left"), (10.0, "right"))
    ]
    case = make.write_case(
        tmp_path_factory.mktemp("sheet"), two_bores(), passages, make.plane(15.0, 2, source="log"),
        drilling={"series": ["jobber"]}, record=RECORD,
    )  # fmt: skip
    return judge(prepare(read_case(case), 0.5))


def two_bores():
    block = m3.Manifold.cube((40.0, 20.0, 30.0), True).translate((0.0, 0.0, 15.0))
    for x in (-10.0, 10.0):
        bore = m3.Manifold.cylinder(40.0, 3.0, 3.0, 48, True).translate((x, 0.0, 15.0))
        block = block - bore
    return block


@pytest.fixture(scope="module")
def drawn(examined):
    return sheet(examined)


@pytest.fixture(scope="module")
def printed(drawn):
    """Bytes of the sheet on a size of paper, drawn once each."""
    return functools.cache(lambda size: report(drawn if size == "a4" else shorter(drawn), size))


def shorter(drawn):
    """The sheet with one of its two passages; in a plain run without shop and laboratory."""
    if shared.in_full:
        return dataclasses.replace(drawn, passages=drawn.passages[:1])
    return first_alone(drawn, passages=drawn.passages[:1])


def first_alone(drawn, **keys):
    """The sheet with no page of passages, shop or laboratory unless `keys` has it."""
    return dataclasses.replace(drawn, **{"passages": (), "shop": None, "laboratory": None, **keys})


def first_page(drawn, **keys):
    """Figure of the first page alone."""
    return sheet_figures(first_alone(drawn, **keys))[0]


def alone(add, *what):
    """Pages of one kind, without those before and behind."""
    with mpl.rc_context(style.SETTINGS):
        flow = paper.Flow(paper.PAPERS["a4"], "part")
        add(flow, *what)
    return pdf.pages(pdf_bytes(flow.numbered("")))


@pytest.fixture(scope="module")
def pages(printed):
    return pdf.pages(printed("a4"))


def leaves(value, key=""):
    """Every number of a JSON value, with its key."""
    if isinstance(value, dict):
        for name, inner in value.items():
            if name not in LATER:
                yield from leaves(inner, name)
    elif isinstance(value, list):
        for inner in value:
            yield from leaves(inner, key)
    elif isinstance(value, (int, float)) and not isinstance(value, bool):
        yield key, float(value)


def shown(number, text):
    """Whether a text has a number, to the digits that it prints."""
    for token in set(re.findall(r"-?\d+(?:\.\d+)?", text.replace("−", "-"))):
        decimals = len(token.partition(".")[2])
        if abs(float(token) - number) <= (10.0**-decimals if decimals else 1e-9) + 1e-9:
            return True
    # A share is told in percent, a sealed one in words.
    return f"{100.0 * number:.0f} %" in text or (number == 0.0 and "sealed" in text)


def test_every_number_of_a_passage_stands_on_its_page(examined, pages):
    """On its page, or on the shop's: there stands what comes loose of it."""
    for passage in as_json(examined.result)["passages"]:
        for one in (passage["rework"] or {}).get("drilling", ()):
            one["practice"] = []  # the page for the shop tells the reasons, in words
        titles = (f"{passage['name']} blocked", f"{passage['name']}: ", "for the shop: ")
        own = [p.text for p in list(pages)[1:] if any(title in p.text for title in titles)]
        text = "\n".join(own)
        found = [
            (key, number)
            for key, number in leaves(passage)
            # The drills are upright: the turn says nothing; the direction is told in words, and
            # the ends of brackets in place of their middles.
            if key not in ("turn_about_z_deg", "direction", "nominal", "predicted")
        ]
        assert len(found) > 30
        assert "axis vertical, drilled downward" in text
        for key, number in found:
            assert shown(number, text), (passage["name"], key, number)


def test_margins_and_a_scan_stand_with_the_reasons(examined, pages):
    before = "".join(page.text for page in pages)
    assert "may be off" not in before
    assert "as measured by its scan" not in before
    off = Margin(0, "height", "mm", 0.1, 0.0, 0.15, 0.05, "bore left: open", "bore left: open")
    scan = ScanResult("scan.stl", 0.3, 0.012, 1.0, 0.0, None, None, (), (), 0.05, None, 0.08)
    left, right = examined.result.passages
    seen = ScannedPassage(State.OPEN, 4.9, 5.9, (), "contradicts", ())
    left = dataclasses.replace(left, scanned=seen)
    found = dataclasses.replace(examined.result, margins=(off,), scan=scan, passages=(left, right))
    told = dataclasses.replace(examined, result=found)
    figures = sheet_figures(first_alone(sheet(told)))[:2]
    text = " ".join("".join(one.text for one in pdf.pages(pdf_bytes(figures))).split())
    assert "sensitivity to the event's data: how far it may be off" in text
    said = "event 1, height: 0.15 mm less: bore left: open; 0.05 mm more: bore left: open"
    assert said in text
    assert "the part as measured by its scan, beside what is predicted" in text
    assert "scan.stl: turned by 0.30 deg onto the part" in text
    said = "left: predicted blocked, 0 mm; measured open, 4.9 to 5.9 mm: CONTRADICTS"
    assert said in text.replace("4.90 to 5.90", "4.9 to 5.9")


def test_first_sheet_has_the_numbers_of_each_row(examined, pages):
    text = pages[0].text
    for passage in as_json(examined.result)["passages"]:
        clear = passage["clear_diameter_mm"]
        numbers = [passage["required_mm"], clear["low"], clear["high"]]
        numbers += [c["height_mm"] for c in passage["crossings"]]
        numbers.append(passage["rework"]["clear_diameter_after_mm"])
        assert all(shown(number, text) for number in numbers)
    for value in RECORD.values():
        assert value in text


def test_blocks_of_the_first_sheet_stand_in_the_order_of_the_meeting(pages):
    tops = {}
    for span in pages[0].spans:
        name = span.text.replace(paper.TIED, " ")
        tops.setdefault(name.split(":")[0].split(",")[0].split(" (")[0], span.box[1])
    order = ["HOLD", "REWORK", "what is wrong", "what happened", "section A-A", "passages",
             "work sequence", "not judged", "decision", "legal owner"]  # fmt: skip
    heights = [tops[name] for name in order]
    assert heights == sorted(heights)
    assert NOT_JUDGED in pages[0].text


def test_the_recommendation_is_the_largest_word_and_the_hold_the_second(pages):
    sizes = sorted({(span.size, span.text) for span in pages[0].spans}, reverse=True)
    assert [text for _, text in sizes[:2]] == ["REWORK", "HOLD"]
    said = pages[0].words()
    assert "recommended: 2 of 2 passages do not conform" in said
    assert "Next: empty the loose powder, then drill left and right in 2 operations" in said


def test_no_box_is_filled_in_beforehand(pages):
    top = next(s.box[1] for s in pages[0].spans if s.text == "decision")
    foot = next(s.box[1] for s in pages[0].spans if s.text.startswith("legal"))
    words = sorted(s.text for s in pages[0].spans if top - 1.0 <= s.box[1] < foot - 1.0)
    assert words == sorted([*BOXES, *["date", "signature"] * (len(BOXES) - 1)])
    measured = next(s.box for s in pages[0].spans if s.text == "measured")
    below = [
        s.text
        for s in pages[0].spans
        if s.box[0] >= measured[0] - 2.0 and measured[3] < s.box[1] < measured[3] + 60.0
    ]
    assert below == []


def test_pitch_and_triangles_stay_on_the_last_page(pages):
    for page in list(pages)[:-1]:
        assert "triangles" not in page.text
        assert "column spacing" not in page.text
    last = pages[-1].text
    for word in ("triangles", "column spacing", "SHA-256", "method"):
        assert word in last


def test_a_passage_that_is_wide_enough_but_loses_too_much_is_a_finding_with_its_page(tmp_path):
    """A flap leaves a hole of 3.2 of the bore of 6: a ball of 3 passes, 20 L/min do not."""
    flap = m3.Manifold.cube((8.0, 8.0, 0.3), True) - m3.Manifold.cylinder(2.0, 1.6, 1.6, 48, True)
    solid = m3.Manifold.cube((12.0, 12.0, 12.0), True) - m3.Manifold.cylinder(
        20, 3.0, 3.0, 48, True
    )
    flow = {"density": 998.0, "viscosity": 1e-3, "rate": 20.0, "max_pressure_loss": 500.0}
    case = make.write_case(
        tmp_path, solid, make.passage((0, 0, -6), (0, 0, 6), 3.0, 3.0, name="way"),
        {"shape": "mesh", "mesh": "flap.stl", "source": "measured"},
        meshes={"flap": flap}, flow=flow, pitch=1.0, part={"platform_z": -6.0},
    )  # fmt: skip
    found = judge(prepare(read_case(case)))
    assert [p.state for p in found.result.passages] == [State.OPEN]
    assert found.result.passages[0].flow["requirement"]["predicted"] == "not met"
    shown = sheet(found)
    assert shown.wrong[0].startswith("way wide enough (")
    assert shown.wrong[0].endswith(" kPa, 500 kPa allowed")
    assert [page.name for page in shown.passages] == ["way"]
    assert shown.rows[0].after == ""  # nothing is recommended that would change it


def test_rules_stand_by_their_number_on_the_last_pages_alone(examined, pages):
    assert examined.result.disposition.rows == (8, 8, None)
    for page in pages:
        words = " ".join(span.text for span in page.spans)
        assert ("rules that decided" in words) == (page is pages[-1])
        assert not re.search(r"\brow \d", words)
    assert "a re-checked plan that does not touch the wall" in words


@pytest.mark.parametrize("size", ["a4", *shared.more("letter")])
def test_a_hash_stands_on_one_line(drawn, printed, size):
    """It is compared by eye, letter by letter."""
    digest = drawn.files[0][1]
    assert len(digest) == 64
    assert digest in "\n".join(page.text for page in pdf.pages(printed(size)))


def test_each_page_has_its_number_the_version_and_that_it_releases_nothing(pages):
    import clearance

    for n, page in enumerate(pages, 1):
        text = page.words()
        assert f"page {n} of {len(pages)}" in text
        assert f"clearance {clearance.__version__}" in text
        assert "does not release the part" in text


@pytest.mark.more
def test_the_same_sheet_gives_the_same_bytes(drawn, printed):
    assert printed("letter") == report(shorter(drawn), "letter")


def test_a_page_of_the_sheet_gives_the_same_bytes(drawn, printed):
    one, other = (pdf_bytes([first_page(drawn)], "title") for _ in range(2))
    assert one == other
    for data in (one, printed("a4")):
        assert b"CreationDate" not in data
        assert len(data) < 3_000_000


@pytest.mark.parametrize(("name", "size"), [("a4", (595.4, 841.7)), ("letter", (612.0, 792.0))])
def test_paper(printed, name, size):
    for page in pdf.pages(printed(name)):
        assert (page.width, page.height) == pytest.approx(size, abs=1.0)
        _stands_apart(page)


def test_fonts_are_embedded_and_no_letter_is_smaller_than_9_pt(pages):
    for page in pages:
        assert page.fonts == {"Type0 embedded"}
        assert all(span.size >= 8.99 for span in page.spans)


def _stands_apart(page):
    """No text leaves the page or covers another one."""
    found = list(page.spans)
    for span in found:
        x0, y0, x1, y1 = span.box
        assert 0.0 < x0 < x1 < page.width, span.text
        assert 0.0 < y0 < y1 < page.height, span.text
    for one, other in itertools.combinations(found, 2):
        a, b = one.box, other.box
        wide = min(a[2], b[2]) - max(a[0], b[0])
        high = min(a[3], b[3]) - max(a[1], b[1])
        assert min(wide, high) < 1.0, (page.number, one.text, other.text)


def test_no_text_covers_another(pages):
    for page in pages:
        _stands_apart(page)


LONG = "cooling circuit of the upper left core, return leg to the distributor"
ODD = "冷却回路 контур ünï $5$"


def crowded(drawn):
    """The same sheet with sixteen passages, long names and letters that the font lacks."""
    rows = tuple(
        dataclasses.replace(drawn.rows[n % 2], name=f"{LONG if n % 2 else ODD} {n}")
        for n in range(16)
    )
    page = dataclasses.replace(drawn.passages[0], name=LONG, title=f"{ODD} {LONG} " * 4)
    return dataclasses.replace(
        drawn,
        identity=tuple((key, f"{ODD} {LONG}") for key, _ in drawn.identity),
        wrong=tuple(f"{row.name} blocked: sealed at z 15.00" for row in rows),
        rows=rows,
        order_of_work=tuple(f"drill {row.name}" for row in rows),
        conditions=tuple(f"circuits {row.name}: apart" for row in rows),
        passages=(page,),
        shop=None,
        laboratory=None,
        files=((f"{LONG}-{'x' * 120}.stl", "0" * 64),),
    )


def test_long_names_sixteen_passages_and_foreign_letters(drawn):
    pages = pdf.pages(report(crowded(drawn)))
    for page in pages:
        _stands_apart(page)
    text = "".join(page.text for page in pages)
    told = re.sub(r"\s+", "", text)
    for n in range(16):  # every passage has its row, wherever it goes on
        assert re.search(rf"(distributor|\$5\$){n}blocked", told), n
    assert "контурünï$5$" in told
    assert "[U+51B7]" in told  # a box would be the same for every name
    assert "page 2" in pages[0].text
    assert told.count("blocked:sealedatz15.00") >= 16  # all that is wrong, over pages
    assert "all 16 steps on the next page" in pages[0].words()


def test_letters_that_the_font_lacks_are_named_and_widths_are_measured():
    assert paper.legible("a冷") == "a[U+51B7]"
    assert paper.width_in("iii", 7.0) < paper.width_in("mmm", 7.0)
    lines = paper.wrapped(f"{LONG} {'x' * 90}", 1.0, 7.0)
    assert all(paper.width_in(line, 7.0) <= 1.0 for line in lines)
    assert "".join(lines).replace(" ", "") == f"{LONG}{'x' * 90}".replace(" ", "")
    short = paper.shortened(LONG, 1.0, 7.0)
    assert paper.width_in(short, 7.0) <= 1.0
    assert "…" in short


def test_title_language_and_bookmarks(printed):
    """What readers, search and screen readers ask for: ISO 32000-1, 12.3.3 and 14.9.2."""
    reader = pypdf.PdfReader(io.BytesIO(printed("a4")))
    assert reader.metadata.title == "Disposition sheet: part; 0042: rework"
    assert reader.root_object["/Lang"] == "en"
    found = [reader.get_destination_page_number(mark) for mark in reader.outline]
    assert [mark.title for mark in reader.outline] == [
        "recommendation", "reasons", "passage left", "passage right",
        "shop", "laboratory", "appendix: rules, inputs, settings",
    ]  # fmt: skip
    assert found == sorted(set(found))
    assert (found[0], found[-1]) == (0, len(reader.pages) - 1)


def test_fields_of_the_title_block_are_printed_or_left_to_write_in(drawn):
    """Fields of ISO 7200, from memory: owner, number, date of issue, creator, approval, kind."""
    empty = dict(drawn.title_block)
    assert set(empty.values()) == {""}
    filled = tuple((key, f"entry for the {key}") for key in empty)
    (page,) = pdf.pages(pdf_bytes([first_page(drawn, title_block=filled)]))
    told = re.sub(r"\s+", "", page.text)
    for key in ("legal owner", "document no.", "date of issue", "prepared by", "approved by"):
        assert "".join(f"entry for the {key}".split()) in told
    _stands_apart(page)


def test_a_plane_keeps_its_letter_and_no_two_planes_share_one(drawn):
    letters = Letters()
    section = drawn.section
    first = letters.of_level(section)
    given = [letters.of_drill() for _ in range(40)]
    assert first == "A"
    assert letters.of_level(section) == "A"
    assert len({first, *given}) == 41
    assert not {"I", "O", "Q", "X", "Y"} & set(given)


# ---- figures of planes -----------------------------------------------------------------------


def test_labels_of_beams_side_by_side_cover_none(drawn):
    """A ring of 115 mm, at 1 : 2; nearly upright beams through its left side."""
    ring = shapely.Point(0.0, 0.0).buffer(57.5) - shapely.Point(0.0, 0.0).buffer(30.0)
    beams = ((-8.0, 94.8), (0.0, 93.0), (-38.0, 89.9), (6.0, 89.9))
    lines = tuple(Line(f"{n}", (x, -20.0), turn) for n, (x, turn) in enumerate(beams, 1))
    plane = Plane("layer at z 15", ring, shapely.Point(-8.0, 0.0).buffer(2.0), ring & ring, lines)
    page = dataclasses.replace(drawn.laboratory, planes=(plane,))
    own, *_ = alone(add_laboratory, page)
    assert "which inspection could see" in own.words()
    _stands_apart(own)
    assert all(f"{line.mark}, {line.turn_deg:.1f}°" in own.text for line in lines)
    assert "layer at z 15 (1 : 2)" in own.text


def test_which_way_is_right_stands_in_the_title_and_covers_nothing(drawn):
    """Of a plane that lies along no axis its words are the longest."""
    passage = drawn.passages[0]
    turned = dataclasses.replace(passage.drills[0], trace=np.array([[0.0, 0.0], [-1.0, -0.7]]))
    page = dataclasses.replace(passage, drills=(turned,))
    found = alone(add_passage, page, Letters())
    for one in found:
        _stands_apart(one)
    told = " ".join(one.text for one in found)
    assert "through the drill's axis; right is 215.0 deg from +x to +y" in told


def test_section_through_the_drill_is_to_a_scale_and_names_what_it_shows(drawn):
    (drill,) = drawn.passages[0].drills
    figure = planes.drill_figure(drill)
    main, detail, plan = figure.axes
    for axes in (main, detail, plan):
        assert any(scale.true_scale(axes) == pytest.approx(one) for one in scale.SCALES)
        assert axes.get_aspect() == 1.0
    said = [text.get_text() for text in main.texts]
    for word in ("outlet", "stray sheet 1, z 15.00 to 15.20 mm", f"{drill.depth_mm:.1f}"):
        assert word in said
    assert said.count("B") == 2  # the level section, at both ends of its line
    assert [text.get_text() for text in plan.texts].count("A") == 2
    assert scale.true_scale(detail) > scale.true_scale(main)


def test_the_part_is_not_cut_off_at_the_passage(drawn):
    """The section is 40 mm wide, as the block is: analytic."""
    (drill,) = drawn.passages[0].drills
    u0, v0, u1, v1 = drill.part.bounds
    assert u1 - u0 == pytest.approx(40.0, abs=1e-3)
    assert v1 - v0 == pytest.approx(30.0, abs=1e-3)
    assert v0 == pytest.approx(0.0, abs=1e-3)  # v is the height z


def test_curve_has_requirement_both_curves_and_a_mark_for_each_crossing(drawn):
    page = drawn.passages[0]
    figure = along.curve_figure(page.curve)
    below, above = figure.axes
    assert above.get_ylabel() == "clear diameter, mm"
    assert below.get_ylabel() == "area, mm2"
    said = [text.get_text() for text in above.get_legend().get_texts()]
    assert {"nominal", "predicted", "required, 5 mm"} <= set(said)
    assert above.get_xlim() == below.get_xlim() == (0.0, page.curve.length_mm[-1])
    ticks = [line for line in above.lines if line.get_linestyle() == ":"]
    assert len(ticks) == len(page.curve.marks) == 1
