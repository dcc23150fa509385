"""Meshes with one fault each, made by scripts: no command crashes on any of them.

What `clearance mesh` says of each fault is tested with its words in tests/unit/test_mesh_faults.py.
"""

from pathlib import Path

import bad_meshes
import make
import numpy as np
import pytest
import shapes
import shared
from click.testing import CliRunner, Result

from clearance.cli.main import main
from clearance.verdict import circuits_apart, passage_check

# In this process: the start of others takes longer than two heights.
SWEEP = ["--from", "12", "--to", "12.1", "--reach", "--jobs", "1"]
COMMANDS = {
    "check": ["check", "CASE", "--json", "result.json"],
    "section": ["section", "CASE", "--at-height", "12.05", "--output", "level.svg"],
    "along": ["section", "CASE", "--along", "bore", "--output", "along.svg"],
    "sweep": ["sweep", "CASE", *SWEEP, "--json", "sweep.json"],
    "openings": ["openings", "MESH", "--json", "openings.json"],
    "mesh": ["mesh", "MESH", "--json", "mesh.json"],
}
"""Command lines; CASE and MESH stand for the files, other names with a dot for outputs."""
FAULTS = {**bad_meshes.BAD, **bad_meshes.DAMAGED}


def write(folder: Path, fault: str) -> None:
    """The mesh with its fault, and a case of its bore."""
    mesh = folder / "part.stl"
    bore = make.passage((0, 0, 0), (0, 0, 30), 3.0, 5.0, name="bore")
    make.write_case(folder, bad_meshes.sound(), bore, make.plane(12.0), pitch=0.5)
    if fault in bad_meshes.DAMAGED:
        mesh.write_bytes(bad_meshes.DAMAGED[fault][0](mesh.read_bytes()))
    else:
        with np.errstate(all="ignore"):
            shapes.write_stl(mesh, bad_meshes.BAD[fault][0]())


@pytest.fixture(autouse=True)
def _quick(monkeypatch):
    """Where a fault shuts the bore one finer pitch is tried, not three: no other code runs there.
    The command `mesh` is asked the same by others."""
    shared.examine_each_mesh_once(monkeypatch)
    for module in (passage_check, circuits_apart):
        monkeypatch.setattr(module, "FINER", 1)


SHUT = ("a folded sheet across the bore", "a thin sheet across the bore")
"""Faults that shut the nominal passage: there is no way along which to draw anything."""


@pytest.mark.parametrize("fault", [SHUT[0], *shared.more(*SHUT[1:])])
def test_a_report_of_a_nominal_part_without_a_way(tmp_path, fault):
    write(tmp_path, fault)
    report = tmp_path / "report.pdf"
    found = CliRunner().invoke(
        main, ["check", str(tmp_path / "case.toml"), "--report", str(report)]
    )
    assert found.exit_code == 3, found.output
    assert report.read_bytes().startswith(b"%PDF")


def run(folder: Path, command: str) -> Result:
    """A command on the mesh; it may refuse, but then with one message and nothing written."""
    names = {"CASE": folder / "case.toml", "MESH": folder / "part.stl"}
    words = [
        str(names.get(word, folder / word if "." in word and not word[0].isdigit() else word))
        for word in COMMANDS[command]
    ]
    before = {path.name for path in folder.iterdir()}
    found = CliRunner().invoke(main, words)
    assert found.exit_code in (0, 2, 3, 4), (command, found.output)
    assert "Traceback" not in found.output
    if found.exit_code == 2:
        assert found.stderr.startswith("error: ")
        assert {path.name for path in folder.iterdir()} == before
    return found


OTHERS = [name for name in COMMANDS if name != "check"]
PAIRS = [(fault, command) for fault in FAULTS for command in OTHERS]
IN_TURN = [(fault, OTHERS[n % len(OTHERS)]) for n, fault in enumerate(FAULTS)]


@pytest.mark.parametrize(
    ("fault", "command"), [*IN_TURN, *shared.more(*(p for p in PAIRS if p not in IN_TURN))]
)
def test_no_command_crashes_on_a_bad_mesh(tmp_path, fault, command):
    """Of those beside `check` one in turn; a reader of cases refuses what `check` refuses."""
    write(tmp_path, fault)
    refused = run(tmp_path, "check").exit_code == 2
    ended = run(tmp_path, command).exit_code
    assert ended == 2 or not refused or "CASE" not in COMMANDS[command]
