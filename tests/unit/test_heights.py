"""Words and pictures say heights above the platform, JSON those of the mesh, wherever it is."""

import re
from dataclasses import fields, is_dataclass, replace
from typing import get_type_hints

import make
import manifold3d as m3
import numpy as np
import pytest
import shapes
import shared
from matplotlib.text import Text

from clearance import result as results
from clearance.case.read import read_case
from clearance.checking import judge
from clearance.drawing.curve import curve
from clearance.drawing.drill import drill_sections
from clearance.drawing.level import level_section
from clearance.drawing.level_words import passage_footer
from clearance.drawing.sheet import sheet
from clearance.figures.along import curve_figure
from clearance.figures.first_page import sheet_figures
from clearance.figures.level import level_figure
from clearance.figures.planes import drill_figure
from clearance.heights import HEIGHTS, POINTS, above_platform, place
from clearance.margins import state_margins
from clearance.report.full import text
from clearance.result import as_json
from clearance.verdict.prepared import prepare

# Where the mesh begins, and the platform's z as the case gives it; the first stands at 0.
ON_PLATFORM = {"at 0": (0.0, 0.0), "assumed": (-5.0, None)}
GIVEN = {"at 0": (0.0, 0.0), "given": (12.7, 12.7)}
ON_SUPPORTS = {"at 0": (2.5, 0.0), "below": (-5.5, -8.0)}


def two_bores(z):
    """A bore that widens upward, one that turns three times, and a slot as deep as a slice."""
    part = shapes.block((-20, -10, 0), (20, 10, 30)) - shapes.block((-3, -11, -1), (3, 11, 0.15))
    part -= shapes.bore((-11, 0, 0), (-11, 0, 30), 2.0, 3.0)
    part -= m3.Manifold.batch_boolean(
        [
            shapes.bore(start, end, 2.5)
            for start, end in (
                ((8, 0, 14), (8, 0, 31)),
                ((5.5, 0, 16.5), (16.5, 0, 16.5)),
                ((14, 0, 5), (14, 0, 19)),
                ((11.5, 0, 7.5), (21, 0, 7.5)),
            )
        ],
        m3.OpType.Add,
    )
    return part.translate((0, 0, z))


def examined(folder, z, platform_z):
    """A case whose mesh begins at z; its event is the same above the part's lowest face."""
    rise = 0.0 if platform_z is None else z - platform_z
    upright = make.passage(
        (-11, 0, z), (-11, 0, z + 30), 2.0, 3.0, "upright", min_open_fraction=0.9
    )
    path = make.write_case(
        folder,
        two_bores(z),
        [
            {**upright, "outlet": make.port((-11, 0, z + 30), 3.0)},
            make.passage((8, 0, z + 30), (20, 0, z + 7.5), 2.5, 3.0, "turned"),
        ],
        [make.sheet(12.0 + rise, from_layer=round(10 * rise)), make.plane(22.04 + rise)],
        part={"platform_z": platform_z, "density_g_cm3": 7.9},
        separate=[{"passages": ["upright", "turned"]}],
        drilling={"series": [], "drills": [{"diameter": 3.2, "flute": 40.0, "overall": 80.0}]},
        pitch=0.4,
    )
    found = judge(prepare(read_case(path)), threads=1)
    return replace(found, result=replace(found.result, margins=state_margins(found)))


@pytest.fixture(
    scope="module",
    params=[
        pytest.param(ON_PLATFORM, id="on it", marks=pytest.mark.more),
        pytest.param(ON_SUPPORTS, id="on supports"),
        pytest.param(GIVEN, id="given", marks=pytest.mark.more),
    ],
)
def moved(request, tmp_path_factory):
    """The same part at heights of its mesh, by name; that at 0 first."""
    return {
        name: examined(tmp_path_factory.mktemp("part"), z, platform_z)
        for name, (z, platform_z) in request.param.items()
    }


ROUNDED = re.compile(
    r"(?<=ball of )[\d.]+|(?<=at least )[\d.]+|-(?=0\.0+\b)|\([-\d., \n]+\) *(?=mm\s+is\s+in\s+the)"
    r"|(?<=stops it at z )[\d.]+(?:, [\d.]+ \w+ the plane)?|(?<=: axis )[^:;–]*?(?:up|down)ward"
    r"|(?<=nearest to it at )x [-\d.]+, y [-\d.]+, z\s[-\d.]+|(?<=beam along z: )[\d.]+"
)
"""What rounding of float32 coordinates may change: a re-check's last digits, the sign of 0, which
of the two walls is named that stop the widest line alike."""


def words(found):
    """The text of a result in one line, without what says where the platform is."""
    said = found.on_paper
    notices = tuple(s for s in said.notices if s not in found.checked.frame_notice)
    assumptions = tuple(s for s in said.assumptions if "lowest z" not in s)
    said = replace(said, notices=notices, assumptions=assumptions)
    return ROUNDED.sub("", " ".join(text(said).split()))


def numbers(value, path=""):
    """Every number of a JSON value, by its path."""
    if isinstance(value, dict):
        return {
            k: v for key, one in value.items() for k, v in numbers(one, f"{path}/{key}").items()
        }
    if isinstance(value, list):
        rows = enumerate(value)
        return {k: v for n, one in rows for k, v in numbers(one, f"{path}/{n}").items()}
    return {path: value} if isinstance(value, int | float) else {}


def is_height(path):
    """Whether a number of the JSON is a z."""
    *_, parent, name = path.split("/")
    return name in HEIGHTS or (parent in POINTS and name == "2")


def test_text_says_the_same_heights_wherever_the_mesh_lies(moved):
    first, *others = (words(found) for found in moved.values())
    assert re.search(r"z 12|z 14", first)
    for other in others:
        assert other == first


def test_json_differs_by_the_offset_alone(moved):
    first, *others = moved.values()
    expected = numbers(as_json(first.result))
    assert sum(map(is_height, expected)) > 10
    for other in others:
        off = other.checked.platform_z - first.checked.platform_z
        found = numbers(as_json(other.result))
        assert found.keys() == expected.keys()
        for path, value in found.items():
            if "/nearest_line/wall_mm" in path:
                continue  # which of two walls that are equally near is rounding
            # The searches for a line to drill (mm) and for a beam (degrees) end there.
            loose = 0.02 if "/nearest_line/" in path else 2e-5
            loose = 1e-3 if path.endswith("/direction_deg") else loose
            assert value == pytest.approx(
                expected[path] + off * is_height(path), rel=1e-6, abs=loose
            ), path


def test_the_difference_is_said_once(moved):
    for found in moved.values():
        z = found.checked.platform_z
        said = [s for s in found.result.notices if "above the platform" in s]
        assert len(said) == (1 if z else 0)
        shown = " ".join(text(found.on_paper).split())
        assert shown.count("is the height above the platform") == len(said)
        if z:
            assert f"whose platform is at z {z:.3f} mm" in said[0]
            assert f"{abs(z):.3f} mm {'more' if z > 0 else 'less'}" in said[0]


TOLD_APART = re.compile(r"input [0-9a-f]{12}|(?:[0-9a-f] ?){64}| in mesh coordinates")
"""What stands on paper of the input files, and where z is the mesh's because they are one."""


def paper(found):
    """The words of all pages of the report but what is said of the platform and of the files."""
    drawn = sheet(found)
    # The other's page has no drill and no number of another kind. Its words are those of the
    # figures, ticks apart, which `test_figures_say...` compares: a PDF takes four times as long.
    pages = sheet_figures(drawn if shared.in_full else replace(drawn, passages=drawn.passages[1:]))
    texts = [text.get_text() for page in pages for text in page.findobj(Text)]
    said = " ".join(" ".join(texts).split())
    for notice in found.checked.frame_notice:
        assert said.count(notice[:60]) == 1
    for line in (*found.checked.frame_notice, *found.checked.assumptions[:1]):
        if "platform" in line:
            said = said.replace(f" – {line}", "")
    said = re.sub(r"lowest point assumed|z -?[\d.]+ mm case file", "", said)
    return ROUNDED.sub("", TOLD_APART.sub("", said))


@pytest.mark.parametrize("moved", [ON_SUPPORTS], ids=["on supports"], indirect=True)
def test_the_sheet_says_the_same_heights_wherever_the_mesh_lies(moved):
    """At 0 and one that lies elsewhere; its text is compared at all of them, above."""
    first, other = map(paper, list(moved.values())[:2])
    assert other == first


def labels(figure):
    """All words of a figure, ticks of z axes with them."""
    figure.canvas.draw()
    return [
        ROUNDED.sub("", " ".join(TOLD_APART.sub("", text.get_text()).split()))
        for text in figure.findobj(Text)
    ]


def figures(found, rise):
    """Level, along and drill figures of a part, with the footer that `section` gives them."""
    check, passage, base = found.checks[1], found.result.passages[1], found.checked.platform_z
    footer = passage_footer(found.checked)
    assert footer[2:] == found.checked.frame_notice
    (drill,) = drill_sections(check, passage)
    level = level_section(found.checked, found.result.passages, rise + 22.1)
    assert level.footer[3:] == found.checked.frame_notice
    assert drill.plan_z_mm == pytest.approx(passage.crossings[0].height_mm - base, abs=0.2)
    return [
        level_figure(replace(level, footer=level.footer[:3])),
        curve_figure(curve(check, passage), footer[:2]),
        drill_figure(drill, footer[:2]),
    ]


def test_figures_say_the_same_heights_wherever_the_mesh_lies(moved):
    rise = 2.5 if "below" in moved else 0.0
    first, *others = ([labels(f) for f in figures(found, rise)] for found in moved.values())
    sheet_at = f"z {22.04 + rise:.2f}"
    assert any(f"z = {22.1 + rise:g} mm" in label for label in first[0])
    assert any(sheet_at in label for label in first[1])
    assert any(f"stray sheet 1, z {12.0 + rise:.2f} to" in label for label in first[2])
    for other in others:
        assert other == first


@pytest.mark.parametrize("z", [0.0, -5.0])
def test_a_drill_enters_at_a_height_above_the_platform(tmp_path, z):
    bore = shapes.manifold(shapes.straight_bore(radius=3.0, segments=32))
    top = float(bore.bounding_box()[5])
    passage = make.passage((0, 0, z + top), (0, 0, z), 3.0, 3.0)
    path = make.write_case(
        tmp_path,
        bore.translate((0, 0, z)),
        passage,
        make.plane(top - 4.0),
        part={"platform_z": None},
        drilling={"series": [], "drills": [{"diameter": 5.0, "flute": 40.0, "overall": 80.0}]},
    )
    found = judge(prepare(read_case(path)), threads=1)
    (stroke,) = found.result.passages[0].rework.drilling
    assert stroke.entry_mm[2] == pytest.approx(z + top, abs=0.01)
    (drawn,) = drill_sections(found.checks[0], found.result.passages[0])
    assert drawn.entry[1] == pytest.approx(top, abs=0.01)
    assert drawn.tip[1] == pytest.approx(top - stroke.depth_mm, abs=0.01)
    assert f"z {top:.2f} mm" in drawn.lines[1]
    assert any(f"stray sheet 1, z {top - 4.0:.2f} to" in name for name in drawn.names)
    assert drawn.part.bounds[1] == pytest.approx(0.0, abs=1e-4)  # the part stands on the platform
    assert drawn.part.bounds[3] == pytest.approx(top, abs=1e-4)
    assert f"entry x 0, y 0, z {top:g}" in words(found)


# ---- no field is left out ------------------------------------------------------------------------

DIRECTIONS = {"direction", "outside_overhang_direction", "voxel_mm"}
"""Fields of three numbers that are no place: they stay as they are wherever the platform is."""
LENGTHS = {"height_added_mm"}
"""Fields with such names that have no place in any frame."""


def test_every_height_and_place_of_the_result_is_known():
    kinds = [one for one in vars(results).values() if is_dataclass(one)]
    fields = {name: str(kind) for one in kinds for name, kind in get_type_hints(one).items()}
    points = {name for name, kind in fields.items() if "float, float, float" in kind.lower()}
    assert points == POINTS | DIRECTIONS
    assert {name for name in fields if "height" in name or "z_" in name} - {
        "tilt_from_z_deg", "turn_about_z_deg"
    } == HEIGHTS | LENGTHS  # fmt: skip


@pytest.mark.parametrize("name", sorted(POINTS | HEIGHTS))
def test_each_of_them_is_taken_above_the_platform(name):
    kinds = [one for one in vars(results).values() if is_dataclass(one)]
    owners = [one for one in kinds if name in get_type_hints(one)]
    assert owners
    for owner in owners:
        values = {
            f.name: (1.0, 2.0, 3.0) if f.name in POINTS | DIRECTIONS else 3.0 for f in fields(owner)
        }
        got = above_platform((owner(**values),), -5.0)[0]
        assert getattr(got, name) == ((1.0, 2.0, 8.0) if name in POINTS else 8.0)
        for other in values.keys() - POINTS - HEIGHTS:
            assert getattr(got, other) == values[other]
    assert above_platform(({"height_mm": 3.0, "share": 3.0},), 1.0) == (
        {"height_mm": 2.0, "share": 3.0},
    )


def test_at_0_a_result_stays_as_it_is():
    rows = ({"height_mm": 0.1 + 0.2},)
    assert above_platform(rows, 0.0) is rows


def test_a_place_in_words():
    assert place(np.array([1.0, -2.0, 15.3]), 12.7) == "(1.0, -2.0, 2.6) mm"


def test_an_untouched_part_is_complete_at_a_height_above_the_platform(tmp_path):
    part = shapes.manifold(shapes.straight_bore(radius=3.0, segments=32))
    top = float(part.bounding_box()[5])
    for z in (0.0, 12.7):
        passage = make.passage((0, 0, z), (0, 0, z + top), 3.0, 3.0)
        own = {"platform_z": None}
        solid = part.translate((0, 0, z))
        found = make.checked(tmp_path, solid, passage, make.plane(top + 1.5), part=own)
        assert any(f"complete below z {top + 1.5:.2f} mm" in said for said in found.notices)
