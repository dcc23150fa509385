"""`clearance openings --new-case`: from a mesh to a case that `check` takes."""

import tomllib

import make
import numpy as np
import pytest
import shapes
from click.testing import CliRunner

from clearance.axes import to_mesh
from clearance.case.read import read_case
from clearance.cli.main import main
from clearance.errors import CaseError
from clearance.report.new_case import NewCase, new_case, told
from clearance.survey.openings import Openings


@pytest.fixture(scope="module")
def tee():
    """A leaning bore, and a blind hole beside it; the block stands at z 3."""
    part = shapes.block((-8, -6, 3), (12, 6, 15))
    part -= shapes.bore((-4, 0, 2), (-1, 0, 16), 2.0, segments=24)
    return shapes.soup(part - shapes.bore((7, 1, 9), (7, 1, 16), 1.0, segments=24))


@pytest.fixture(scope="module")
def written(tee, tmp_path_factory):
    """The file as the command writes it, and what the command said."""
    folder = tmp_path_factory.mktemp("new")
    mesh = folder / 'meshes "here"' / "tee.stl"
    mesh.parent.mkdir()
    shapes.write_stl(mesh, tee)
    file = folder / "cases" / "tee.toml"
    said = CliRunner().invoke(main, ["openings", str(mesh), "--new-case", str(file)])
    assert said.exit_code == 0, said.output
    return file, said.stdout


def test_what_only_people_know_is_asked_line_by_line(written):
    file, said = written
    assert "1 passage, 1 closed opening" in said
    with pytest.raises(CaseError) as fault:
        read_case(file)
    rows = file.read_text().splitlines()
    lines = str(fault.value).splitlines()
    for line, place in zip(
        lines, ("[part] layer_thickness", "[[passage]] number 1 min_clear_diameter"), strict=True
    ):
        number = next(n for n, row in enumerate(rows, 1) if row.startswith(place.split()[-1]))
        assert line == f"{file}:{number}: {place}: found 'fill in', expected a valid number"


def test_check_takes_it_once_they_are_filled_in(written):
    """Analytic: 6 mm up a bore of 4 leans 1.29 mm aside, so the lens left open is 2.71 wide."""
    file, _ = written
    text = file.read_text()
    tables = tomllib.loads(text)
    assert tables["part"]["mesh"] == '../meshes "here"/tee.stl'
    assert "stray" not in tables
    assert "# platform_z = 3.000 " in text
    assert "a ball of 3.9" in text
    assert [one["name"] for one in tables["closed"]] == ["opening 3, top x7 y1"]
    text = text.replace('layer_thickness = "fill in"', "layer_thickness = 0.1")
    text = text.replace('min_clear_diameter = "fill in"', "min_clear_diameter = 3.0")
    begin = text.index("# [[stray]]")
    event = text[begin:].replace("\n# docs", "\n## docs").replace("# ", "", 1)
    event = event.replace("\n# ", "\n").replace("height = 0.0", "height = 6.0")
    filled = file.with_name("filled.toml")
    filled.write_text(text[:begin] + event.replace("layers = 1 ", "layers = 2 "))
    result = make.judged(read_case(filled))
    found = result.passages[0]
    assert [one.height_mm for one in found.crossings] == pytest.approx([9.0], abs=0.4)
    assert found.state == "restricted"
    bracket = found.clear_diameter_mm
    assert 2.6 < bracket.low <= bracket.high < 2.75


def test_a_file_that_is_there_is_only_written_over_when_asked(written, tmp_path):
    file, _ = written
    mesh = str(file.parent.parent / 'meshes "here"' / "tee.stl")
    kept = tmp_path / "kept.toml"
    kept.write_text("mine")
    said = CliRunner().invoke(main, ["openings", mesh, "--new-case", str(kept)])
    assert (said.exit_code, kept.read_text()) == (2, "mine")
    assert said.stderr == f"error: {kept}: is there already; --overwrite writes over it\n"
    for words in (["--overwrite"], ["--build-direction", "0,0,1"]):
        assert CliRunner().invoke(main, ["openings", mesh, *words]).exit_code == 2
    for value in ("0,0,0", "1,2", "1,2,x", "0,0,nan"):
        words = ["openings", mesh, "--new-case", str(tmp_path / "a"), "--build-direction", value]
        said = CliRunner().invoke(main, words)
        assert said.exit_code == 2
        assert "expected three numbers X,Y,Z, not all 0" in said.stderr
    assert CliRunner().invoke(main, ["openings", mesh, "--new-case", mesh]).exit_code == 2
    assert list(tmp_path.iterdir()) == [kept]


def test_a_build_direction_is_written_and_the_lowest_height_is_along_it(tee, tmp_path):
    """The same part drawn lying on its side, x up: it stands at x 3."""
    shapes.write_stl(tmp_path / "tee.stl", to_mesh(tee, (1, 0, 0)).astype(np.float32))
    file = tmp_path / "tee.toml"
    found = Openings((), ())
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("clearance.survey.openings.find_openings", lambda *_: found)
        words = ["openings", str(tmp_path / "tee.stl"), "--new-case", str(file)]
        said = CliRunner().invoke(main, [*words, "--build-direction", "2,0,0"])
    assert said.exit_code == 0, said.output
    text = file.read_text()
    assert tomllib.loads(text)["part"]["build_direction"] == [2.0, 0.0, 0.0]
    assert "# platform_z = 3.000    # mm; the mesh's lowest z along build_direction" in text


def test_a_mesh_without_a_passage_says_so():
    new = NewCase("solid", "solid.stl", "mm", 0.0, Openings((), ()))
    assert "a [[passage]] has to be written" in new_case(new)
    assert "Fill in: the layer thickness, a [[passage]], the event." in told(new, "a.toml")
    assert "passage" not in tomllib.loads(new_case(new))
