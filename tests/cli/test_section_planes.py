"""`section --along` and `--drill`: figures of one passage, and what is refused."""

import make
import pdf
import pytest
import shapes
from click.testing import CliRunner

from clearance.cli.main import main


@pytest.fixture(scope="module")
def case(tmp_path_factory):
    """An upright bore, sealed at z 15 and reopened by one drill."""
    solid = shapes.straight_bore(radius=3.0, size=(20.0, 20.0, 30.0))
    passage = make.passage((0, 0, 0), (0, 0, 30), 3.0, 5.0, name="bore")
    folder = tmp_path_factory.mktemp("case")
    sheet = make.plane(15.0, 2, source="log")
    return make.write_case(folder, solid, passage, sheet, drilling={"series": ["jobber"]})


def run(*words):
    return CliRunner().invoke(main, ["section", *map(str, words)])


def words_of(path):
    return pdf.pages(path)[0].text


def test_along_shows_requirement_and_crossing(case, tmp_path):
    done = run(case, "--along", "bore", "--output", tmp_path / "along.pdf")
    assert done.exit_code == 0, done.output
    text = words_of(tmp_path / "along.pdf")
    for word in ("bore blocked", "5 mm required", "crossing 1 at z 15.00: sealed", "nominal"):
        assert word in text


def test_drill_shows_the_plan(case, tmp_path):
    done = run(case, "--drill", "bore", "--output", tmp_path / "drill.pdf")
    assert done.exit_code == 0, done.output
    text = words_of(tmp_path / "drill.pdf")
    for word in ("5.5 mm drill (jobber)", "section A-A", "radial clearance", "depth to the tip"):
        assert word in text


def test_the_same_input_gives_the_same_bytes(case, tmp_path):
    for name in ("a.pdf", "b.pdf"):
        assert run(case, "--along", "bore", "--output", tmp_path / name).exit_code == 0
    assert (tmp_path / "a.pdf").read_bytes() == (tmp_path / "b.pdf").read_bytes()


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        (["--along", "boer"], "did you mean 'bore'"),
        ([], "at least one of"),
        (["--along", "bore", "--at-height", "3"], "expected one of .pdf"),
    ],
)
def test_what_is_refused(case, tmp_path, asked, said):
    done = run(case, *asked, "--output", tmp_path / "x.png")
    assert done.exit_code == 2
    assert said in done.output
    assert not (tmp_path / "x.png").exists()


def test_no_plan_is_said_with_its_reason(tmp_path):
    solid = shapes.straight_bore(radius=3.0, size=(20.0, 20.0, 30.0))
    passage = make.passage((0, 0, 0), (0, 0, 30), 3.0, 5.0, name="bore")
    case = make.write_case(tmp_path, solid, passage)
    done = run(case, "--drill", "bore", "--output", tmp_path / "x.png")
    assert done.exit_code == 2
    assert "the passage is open" in done.output
