"""A passage that no drill reaches: its figure shows the best line and what stops it."""

import make
import numpy as np
import pytest
import shapes

from clearance.case.read import read_case
from clearance.checking import judge
from clearance.drawing.drill import drill_sections
from clearance.drawing.scan import Scan
from clearance.figures import planes, style
from clearance.result import as_json
from clearance.verdict.prepared import prepare

RADIUS, ASIDE = 3.0, 9.0


@pytest.fixture(scope="module")
def stepped(tmp_path_factory):
    """Bores of 6 that two chambers join to an S; the sheet lies in the middle one, 9 mm aside.

    From an opening a line to it passes between a chamber's two corners, 3 and 5 mm apart: less
    than the 2.5 that are required.
    """
    solid = shapes.block((-10, -6, 0), (15, 6, 34))
    for x, low, high in ((0.0, -1.0, 10.0), (ASIDE, 9.0, 25.0), (0.0, 24.0, 35.0)):
        solid -= shapes.bore((x, 0, low), (x, 0, high), RADIUS)
    for low in (8.0, 21.0):
        solid -= shapes.block((0, -3, low), (ASIDE, 3, low + 5.0))
    case = make.write_case(
        tmp_path_factory.mktemp("stepped"), solid,
        make.passage((0, 0, 0), (0, 0, 34), RADIUS, 2.5, name="way"),
        make.plane(117.0, 1, source="log"), part={"platform_z": -100.0},
        drilling={"series": ["jobber", "long"]},
    )  # fmt: skip
    return judge(prepare(read_case(case), 0.5))


def test_the_nearest_line_and_the_point_that_stops_it_are_told(stepped):
    passage = stepped.result.passage("way")
    assert passage.rework is None
    line = passage.nearest_line
    start, end, wall = (np.array(at) for at in (line.start_mm, line.end_mm, line.wall_mm))
    assert min(abs(start[2]), abs(start[2] - 34.0)) < 0.01  # in the plane of an opening
    assert end[2] == pytest.approx(17.0, abs=0.3)  # in the sheet
    along = (end - start) / np.linalg.norm(end - start)
    off = wall - start
    room = np.linalg.norm(off - (off @ along) * along)
    assert 2.0 * room == pytest.approx(line.clear_mm, abs=1e-3)  # the wall is what is nearest
    assert line.clear_mm < 2.5 < line.needed_mm
    assert f"from the {line.from_} the widest straight line" in passage.why_not
    told = as_json(stepped.result)["passages"][0]["nearest_line"]
    assert told["from"] == line.from_
    # On paper heights are above the platform, which is 100 lower than the mesh's z.
    assert stepped.on_paper.passage("way").nearest_line.wall_mm[2] == pytest.approx(wall[2] + 100.0)


def test_the_figure_without_a_plan_shows_both(stepped):
    passage = stepped.result.passage("way")
    (section,) = drill_sections(stepped.checks[0], passage)
    line = passage.nearest_line
    assert section.stopped[1] == pytest.approx(line.wall_mm[2] + 100.0, abs=1e-6)
    assert section.line[:, 1] == pytest.approx(
        [line.start_mm[2] + 100.0, line.end_mm[2] + 100.0], abs=1e-6
    )
    names = " ".join(section.names)
    assert "stops it" in names
    assert f"{line.clear_mm:.2f}"[:3] in names  # how wide it is
    figure = planes.drill_figure(section)
    main = figure.axes[0]
    said = [text.get_text() for text in main.texts]
    assert any("stops it" in text for text in said)
    drawn = [one for one in main.lines if one.get_gid() == "nearest line"]
    assert len(drawn) == 1
    assert all(text.get_fontsize() >= style.SMALLEST_PT for text in main.texts)
    assert "through port and sheet" in main.get_title(loc="left")


def test_a_scan_is_laid_on_the_section_through_the_line(stepped):
    """The part set aside by 0.3 mm along x: upright walls are off by that, level ones not at all.

    The plane holds x, so a wall is off square to itself by 0.3 mm over the cosine, here 1.
    """
    soup = stepped.checked.bodies.part + np.float32([0.3, 0.0, 0.0])
    scan = Scan("scan.stl", soup, 0.1, ("as measured",))
    passage = stepped.result.passage("way")
    ((bare,), (section,)) = (drill_sections(stepped.checks[0], passage, s) for s in (None, scan))
    assert bare.measured.is_empty
    assert (bare.deviations, bare.scan) == ((), ())
    assert section.measured.area == pytest.approx(section.part.union(section.stray).area, rel=0.1)
    assert len(section.deviations) >= 2
    for one in section.deviations:
        assert abs(one.off_mm) == pytest.approx(0.3, abs=0.01)
        assert one.way[1] == pytest.approx(0.0, abs=0.05)
    assert {one.off_mm > 0.0 for one in section.deviations} == {True, False}
    assert section.scan[-1] == "as measured"
    texts = planes.drill_figure(section).axes[0].texts
    assert [one for one in texts if one.get_gid() == "deviation"]
