"""`clearance openings` and `clearance mesh`: exit statuses, JSON, files, what a user gets wrong."""

import json
import tomllib

import bad_meshes
import click
import numpy as np
import pytest
import shapes
import shared
from click.testing import CliRunner

from clearance.cli import main
from clearance.cli import mesh as commands_mesh


@pytest.fixture(autouse=True)
def _each_mesh_looked_at_once(monkeypatch):
    shared.examine_each_mesh_once(monkeypatch)
    shared.look_for_openings_once(monkeypatch)


@pytest.fixture(scope="module")
def program():
    """The two commands behind the program's own way of ending."""
    group = main.Commands(name="clearance", params=[])
    for command in (commands_mesh.openings, commands_mesh.mesh):
        group.add_command(command)
    return lambda *words: CliRunner().invoke(group, [str(word) for word in words])


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    place = tmp_path_factory.mktemp("meshes")
    shapes.write_stl(place / "elbow.stl", shapes.elbow(segments=32))
    shapes.write_stl(place / "sound.stl", bad_meshes.sound())
    return place


def test_openings_json_alone_on_stdout(program, folder):
    found = program("openings", folder / "elbow.stl", "--json", "-")
    assert found.exit_code == 0, found.stderr
    data = json.loads(found.stdout)
    assert [one["id"] for one in data["openings"]] == [1, 2]
    assert {one["network"] for one in data["openings"]} == {1}
    assert data["openings"][1]["centre_mm"] == pytest.approx([20, 0, 15], abs=0.02)
    assert data["openings"][0]["clear_diameter_mm"] == pytest.approx(6.0, rel=0.02)


def test_openings_toml_parses_and_words_are_a_table(program, folder):
    tables = tomllib.loads(program("openings", folder / "elbow.stl", "--toml").stdout)
    assert len(tables["passage"]) == 1
    assert "2 openings in 1 connected group" in program("openings", folder / "elbow.stl").stdout


@pytest.mark.parametrize("kind", [".svg", *shared.more(".png", ".pdf")])
def test_openings_plot_is_the_same_each_time(program, folder, tmp_path, kind):
    files = [tmp_path / f"{n}{kind}" for n in range(2)]
    for file in files:
        assert program("openings", folder / "elbow.stl", "--plot", file).exit_code == 0
    assert files[0].read_bytes() == files[1].read_bytes()
    if kind == ".svg":
        drawn = files[0].read_text(encoding="utf-8")
        assert drawn.count('id="opening 1"') + drawn.count('id="opening 1_') >= 1
        assert "elbow.stl: 2 openings, 1 connected group" in drawn


def test_mesh_words_and_json(program, folder, tmp_path):
    file = tmp_path / "sound.json"
    found = program("mesh", folder / "sound.stl", "--json", file)
    assert found.exit_code == 0
    assert "no fault found" in found.stdout
    data = json.loads(file.read_text(encoding="utf-8"))
    assert data["closed"] is True
    assert data["chord_error_mm"]["max"] == pytest.approx(3 * (1 - np.cos(np.pi / 48)), rel=1e-3)


@pytest.mark.parametrize("name", bad_meshes.BAD)
def test_no_fault_crashes_a_command(program, tmp_path, name):
    path = tmp_path / "bad.stl"
    with np.errstate(all="ignore"):
        shapes.write_stl(path, bad_meshes.BAD[name][0]())
    found = program("mesh", path, "--json", "-")
    assert found.exit_code in (0, 3), found.output
    data = json.loads(found.stdout)
    assert data["faults"]
    assert (found.exit_code == 3) == (not data["fit_for_check"])
    if data["refused"]:
        refused = program("openings", path)
        assert refused.exit_code == 2
        assert refused.stderr.startswith("error: ")


@pytest.mark.parametrize("command", ["mesh", "openings"])
@pytest.mark.parametrize("name", bad_meshes.DAMAGED)
def test_damaged_files_exit_with_2_and_one_message(program, folder, tmp_path, command, name):
    path = tmp_path / "bad.stl"
    path.write_bytes(bad_meshes.DAMAGED[name][0]((folder / "sound.stl").read_bytes()))
    found = program(command, path)
    assert found.exit_code == 2
    assert found.stdout == ""
    assert found.stderr.startswith("error: ")
    assert str(path) in found.stderr


@pytest.mark.parametrize("command", ["mesh", "openings"])
def test_files_that_are_not_there_and_outputs_that_cannot_be(program, folder, tmp_path, command):
    assert program(command, tmp_path / "none.stl").exit_code == 2
    assert program(command, tmp_path).exit_code == 2
    mesh = folder / "sound.stl"
    before = mesh.read_bytes()
    assert program(command, mesh, "--json", mesh).exit_code == 2
    assert mesh.read_bytes() == before
    assert program(command, mesh, "--json", mesh / "folder.json").exit_code == 2
    assert program(command, mesh, "--unit", "furlong").exit_code == 2
    assert list(tmp_path.iterdir()) == []


def test_openings_refuses_what_does_not_go_together(program, folder, tmp_path):
    mesh = folder / "elbow.stl"
    assert program("openings", mesh, "--toml", "--json", "-").exit_code == 2
    assert program("openings", mesh, "--plot", tmp_path / "a.jpg").exit_code == 2
    same = tmp_path / "a.pdf"
    assert program("openings", mesh, "--plot", same, "--json", same).exit_code == 2
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("command", [commands_mesh.openings, commands_mesh.mesh])
def test_every_option_has_help(command):
    assert command.help
    assert all(p.help for p in command.params if isinstance(p, click.Option))
