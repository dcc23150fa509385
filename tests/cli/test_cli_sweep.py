"""The command `sweep`: its words, its JSON, its figure and its refusals."""

from __future__ import annotations

import json

import pytest


@pytest.fixture(scope="module")
def swept(cases, run):
    """The sweep of the blocked part with all outputs."""
    file, plot = cases / "sweep.json", cases / "sweep.png"
    words = ["--reach", "--jobs", 1, "--json", file, "--plot", plot]  # here: others take as long
    done = run("sweep", cases / "cut.toml", *words)
    return done, json.loads(file.read_text(encoding="utf-8")), plot


def test_it_runs_and_writes_its_files(swept):
    done, data, plot = swept
    assert done.exit_code == 0, done.output
    assert data["heights_mm"][0] == 0.0
    assert len(data["heights_mm"]) == 24  # analytic: 12 mm in layers of 0.5
    assert plot.read_bytes().startswith(b"\x89PNG")


def test_every_list_is_as_long_as_the_heights(swept):
    _, data, _ = swept
    (passage,) = data["passages"]
    for key in ("state", "clear_diameter_mm", "low_mm", "high_mm", "open_fraction", "reopen"):
        assert len(passage[key]) == len(data["heights_mm"]), key
    assert set(passage["reopen"]) <= {"not-needed", "possible", "impossible"}


def test_a_plane_blocks_a_bore_wherever_it_lies(swept):
    _, data, _ = swept
    assert set(data["passages"][0]["state"]) == {"blocked"}  # analytic
    assert set(data["passages"][0]["high_mm"]) == {0.0}


def test_the_words_name_rows_of_heights(swept):
    done, _, _ = swept
    assert "z 0 to 11.5: blocked" in done.output


def test_processes_find_what_one_finds(cases, run):
    texts = []
    for jobs in (1, 2):
        file = cases / f"sweep-{jobs}.json"
        assert run("sweep", cases / "cut.toml", "--jobs", jobs, "--json", file).exit_code == 0
        texts.append(file.read_bytes())
    assert texts[0] == texts[1]


def test_a_fault_of_the_mesh_is_told_from_another_process(cases, run):
    broken = cases / "none.toml"
    text = (cases / "cut.toml").read_text(encoding="utf-8")
    broken.write_text(text.replace(".stl", "-none.stl"), encoding="utf-8")
    done = run("sweep", broken, "--jobs", 2)
    assert done.exit_code == 2, done.output
    assert "-none.stl" in done.output


def test_json_alone_on_standard_output(cases, run):
    done = run("sweep", cases / "cut.toml", "--from", 4, "--to", 6, "--step", 1, "--json", "-")
    assert json.loads(done.stdout)["heights_mm"] == [4.0, 5.0, 6.0]


@pytest.mark.parametrize(
    ("case", "words", "message"),
    [
        ("whole", (), "found no [[stray]], expected a [[stray]] of shape layer or plane"),
        ("cut", ("--from", 6, "--to", 5), "no height lies from 6 to 5 mm"),
        ("cut", ("--step", 0), "0 is not above 0"),
        ("cut", ("--step", 1e-6), "heights are too many"),
        ("cut", ("--plot", "sweep.txt"), "a name that ends in .txt"),
        ("cut", ("--json", "x.png", "--plot", "./x.png"), "--json and --plot, expected two files"),
        ("cut", ("--from", "nan"), "is not a finite number"),
    ],
)
def test_what_a_user_can_mend_is_said(cases, run, case, words, message):
    done = run("sweep", cases / f"{case}.toml", *words)
    assert done.exit_code == 2
    assert message in done.stderr
    assert "Traceback" not in done.output


def test_margins_of_a_check(cases, run):
    done = run("check", cases / "cut.toml", "--margins", "--json", "-")
    (height,) = json.loads(done.stdout)["margins"]
    assert height["what"] == "height"
    # Analytic: a plane blocks an upright bore at every height.
    assert (height["down"], height["up"]) == (1.5, 1.5)
    assert (height["changes_down"], height["changes_up"]) == ("", "")


def test_a_check_tells_unasked_what_is_soon_told(cases, checked, run):
    (height,) = json.loads(checked[1].read_text(encoding="utf-8"))["margins"]
    assert (height["what"], height["judged"]) == ("height", "states")
    # Analytic: a plane blocks an upright bore at every height.
    assert (height["down"], height["up"]) == (5.0, 5.0)
    assert "event 1, height, states alone" in run("check", cases / "cut.toml", "--full").output
