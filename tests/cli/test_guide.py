"""`clearance section --guide`: files that appear together or not at all, and what is refused."""

import numpy as np
import pdf
import pytest
import shapes
import trimesh


@pytest.fixture(scope="module")
def made(cases, run, tmp_path_factory):
    folder = tmp_path_factory.mktemp("guide") / "new" / "bushes"
    found = run("section", cases / "cut.toml", "--drill", "way", "--guide", folder)
    assert found.exit_code == 0, found.stderr
    return folder, found


def test_a_mesh_and_its_set_up(made):
    folder, found = made
    names = sorted(path.name for path in folder.iterdir())
    assert names == ["bush-way-1.stl", "bush-way-1.txt"]
    line = (folder / "bush-way-1.txt").read_text(encoding="utf-8")
    assert found.output == line
    assert line.count("\n") == 1
    assert line.startswith("way, 1 of 1: sits on the face of the outlet, outward normal (0.0000, ")


def test_the_mesh_is_watertight_and_clears_the_part_with_its_sheet(made):
    """By trimesh, and by solids built here: the block, its bore, the sheet from 6 to 7."""
    mesh = trimesh.load(made[0] / "bush-way-1.stl")
    assert mesh.is_watertight
    assert mesh.body_count == 1
    bore = shapes.bore((0, 0, -1), (0, 0, 13), 3.0, segments=24)
    part = shapes.block((-7, -7, 0), (7, 7, 12)) - bore
    part = part + shapes.block((-7, -7, 5.5), (7, 7, 7))
    body = shapes.manifold(np.asarray(mesh.triangles, np.float32))
    assert (body ^ part).volume() < 1e-6
    assert body.bounding_box()[2] == pytest.approx(12.0, abs=0.01)  # on the outlet's face


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--at-height", "6", "--guide", "g"], "--guide takes the operations of --drill"),
        (["--drill", "way", "--guide", "cut.toml"], "is not a folder"),
        (["--drill", "way"], "Missing option '--output'"),
        (["--drill", "way", "--at-height", "6", "--guide", "g"], "Missing option '--output'"),
    ],
)
def test_what_is_refused_beforehand(cases, run, tmp_path, words, said):
    words = [cases / "cut.toml" if word == "cut.toml" else word for word in words]
    words = [tmp_path / word if word == "g" else word for word in words]
    found = run("section", cases / "cut.toml", *words)
    assert found.exit_code == 2
    assert said in found.stderr
    assert list(tmp_path.iterdir()) == []


def test_a_bush_that_does_not_fit_is_refused_in_one_line_and_nothing_is_written(
    cases, run, tmp_path
):
    """A bush 500 mm long for a drill of some 100 mm."""
    text = (cases / "cut.toml").read_text(encoding="utf-8")
    case = cases / "long-bush.toml"
    case.write_text(text + "\n[bush]\nlength = 500.0\n", encoding="utf-8")
    figure = tmp_path / "drill.pdf"
    found = run(
        "section", case, "--drill", "way", "--guide", tmp_path / "g", "--output", figure
    )  # fmt: skip
    assert found.exit_code == 2
    assert found.stderr.splitlines()[-1].startswith(
        "error: long-bush.toml: way: no bush for operation 1 of 1, from the outlet: the drill, "
    )
    assert list(tmp_path.iterdir()) == []


def test_a_passage_that_needs_no_drill_has_no_bush(cases, run, tmp_path):
    found = run("section", cases / "whole.toml", "--drill", "way", "--guide", tmp_path / "g")
    assert found.exit_code == 2
    assert "whole.toml: way: no drilling plan" in found.stderr
    assert list(tmp_path.iterdir()) == []


def test_spark_erosion_has_no_bush_and_a_figure_of_its_own(cases, run, tmp_path):
    text = (cases / "cut.toml").read_text(encoding="utf-8")
    tool = "electrodes = [{ diameter = 5.4, max_length_to_diameter = 20.0 }]"
    case = cases / "eroded.toml"
    own = f"\n[drilling]\nseries = []\n{tool}\n[state]\nemptied = true\n"
    case.write_text(text + own, encoding="utf-8")
    figure = tmp_path / "electrode.pdf"
    words = "section", case, "--drill", "way", "--output", figure
    found = run(*words, "--guide", tmp_path / "g")
    assert found.exit_code == 2
    assert found.stderr.splitlines()[-1] == (
        "error: eroded.toml: way: operation 1 of 1 is spark erosion: bushes are for drills alone"
    )
    assert list(tmp_path.iterdir()) == []
    assert run(*words).exit_code == 0
    said = pdf.pages(figure)[0].words()
    assert "section A-A through the electrode's axis" in said
    assert "axis vertical, eroded downward" in said
    assert "electrode upright: axis 0.00 deg off +Z" in said
    assert "drill" not in said
