"""`clearance check`: exit statuses, what goes where, and what a user can get wrong."""

import json
import os
import re
import signal
import subprocess
import sys
import time

import pytest
import shared
from click.testing import CliRunner

from clearance import first_run
from clearance.case.read import read_case
from clearance.cli import outputs
from clearance.cli.main import main
from clearance.errors import LostError
from clearance.sweeps.in_processes import side_by_side
from clearance.sweeps.wanted import Wanted

PROGRAM = [sys.executable, "-m", "clearance"]


def test_conforming_part_exits_with_0(cases, run):
    found = run("check", cases / "whole.toml", "--json", "-")
    assert found.exit_code == 0
    assert json.loads(found.stdout)["passages"][0]["state"] == "open"


def test_blocked_part_exits_with_3_and_says_so(checked):
    found, _ = checked
    assert found.exit_code == 3
    row = next(line for line in found.stdout.splitlines() if line.startswith("way "))
    assert row.split()[1:4] == ["blocked", "0", "5"]


def test_unsure_part_exits_with_4(cases, run):
    found = run("check", cases / "unsure.toml")
    assert found.exit_code == 4
    assert "undetermined" in found.stdout


def test_json_file_and_standard_output_hold_the_same(checked, cases, run):
    _, file = checked
    found = run("check", cases / "cut.toml", "--json", "-")
    assert found.stdout == file.read_text(encoding="utf-8")
    data = json.loads(found.stdout)
    assert data["schema"] == 1
    diameter = data["passages"][0]["clear_diameter_mm"]
    assert diameter["predicted"] == diameter["low"] == diameter["high"] == 0  # analytic


def test_standard_error_is_quiet_when_piped(checked):
    # Of a run of more than half a minute what is going on, without a terminal's tricks.
    assert re.fullmatch(r"( +\d+ s  [^\r\x1b]*\n)*", checked[0].stderr)


def test_no_colour_when_piped_and_lines_fit(checked):
    out = checked[0].stdout
    assert "\x1b" not in out
    assert max(map(len, out.splitlines())) <= 100


def test_given_pitch_is_used(cases, run):
    found = run("check", cases / "whole.toml", "--pitch", "1", "--json", "-")
    assert json.loads(found.stdout)["pitch_mm"] == 1.0


@pytest.mark.parametrize("pitch", ["0", "-0.1", "nan", "inf", "-inf", "fine", ""])
def test_nonsense_pitch_is_refused(cases, run, pitch):
    found = run("check", cases / "whole.toml", "--pitch", pitch)
    assert found.exit_code == 2
    assert found.stdout == ""
    assert "--pitch" in found.stderr


def test_pitch_too_fine_for_any_memory_is_refused(cases, run):
    found = run("check", cases / "whole.toml", "--pitch", "1e-9")
    assert found.exit_code == 2
    assert "expected at least 0.0049 mm here" in found.stderr


@pytest.mark.parametrize(
    "words", [["--jsn", "x"], ["--pitch"], ["--json"], ["second.toml"], ["--pitch=1", "--fast"]]
)
def test_usage_errors_exit_with_2(cases, run, words):
    found = run("check", cases / "whole.toml", *words)
    assert found.exit_code == 2
    assert found.stdout == ""
    assert "Error: " in found.stderr
    assert "Traceback" not in found.stderr


@pytest.mark.parametrize("name", ["nosuch.toml", ".", "bore.stl"])
def test_bad_case_is_one_message(cases, run, name):
    found = run("check", cases / name)
    assert found.exit_code == 2
    assert found.stdout == ""
    assert found.stderr.startswith("error: ")
    assert "Traceback" not in found.stderr


def test_missing_mesh_names_file_and_key(cases, run, tmp_path):
    (tmp_path / "lost.toml").write_text((cases / "whole.toml").read_text())
    found = run("check", tmp_path / "lost.toml")
    assert found.exit_code == 2
    for word in ("lost.toml", "mesh", "bore.stl"):
        assert word in found.stderr


def test_debug_adds_the_traceback(cases, run):
    found = run("check", cases / "nosuch.toml", "--debug")
    assert found.exit_code == 2
    assert "Traceback" in found.stderr
    assert found.stderr.rstrip().splitlines()[-1].startswith("error: ")


@pytest.mark.parametrize("name", [".", "bore.stl/out.json"])
def test_output_that_cannot_be_written_is_refused_at_once(cases, run, monkeypatch, name):
    monkeypatch.setattr(
        "clearance.checking.judge", lambda *_, **__: pytest.fail("was computed first")
    )
    found = run("check", cases / "whole.toml", "--json", cases / name)
    assert found.exit_code == 2
    assert "cannot be written" in found.stderr


def test_missing_folders_of_an_output_are_made(cases, run, tmp_path):
    file = tmp_path / "none" / "yet" / "out.json"
    assert run("check", cases / "whole.toml", "--json", file).exit_code == 0
    assert json.loads(file.read_text(encoding="utf-8"))["schema"] == 1


def test_no_permission_to_write_is_refused(cases, run, monkeypatch):
    monkeypatch.setattr("os.access", lambda *_: False)
    found = run("check", cases / "whole.toml", "--json", cases / "out.json")
    assert found.exit_code == 2
    assert "no permission" in found.stderr


@pytest.mark.parametrize("name", ["whole.toml", "bore.stl"])
def test_inputs_are_not_overwritten(cases, run, name):
    before = (cases / name).read_bytes()
    found = run("check", cases / "whole.toml", "--json", cases / name)
    assert found.exit_code == 2
    assert "input" in found.stderr
    assert (cases / name).read_bytes() == before


def test_memory_error_advises_a_larger_pitch(cases, run, monkeypatch):
    monkeypatch.setattr("clearance.checking.judge", _raise(MemoryError))
    found = run("check", cases / "whole.toml")
    assert found.exit_code == 2
    assert "larger --pitch" in found.stderr


def test_a_lost_process_is_no_verdict_and_no_bad_input(cases, run, monkeypatch):
    monkeypatch.setattr("clearance.checking.judge", _raise(LostError("it ended by itself")))
    found = run("check", cases / "whole.toml")
    assert found.exit_code == 1
    assert "error: it ended by itself; no verdict" in found.stderr


def test_a_fault_of_the_program_is_no_verdict(cases, run, monkeypatch):
    monkeypatch.setattr("clearance.checking.judge", _raise(ZeroDivisionError))
    assert run("check", cases / "whole.toml").exit_code == 1


@pytest.mark.parametrize("lost", [True, False])
def test_interrupts_that_a_kernel_loses_or_changes_are_noticed(
    cases, run, monkeypatch, tmp_path, lost
):
    from clearance.checking import judge

    def kernel(*words, **keys):
        try:
            signal.raise_signal(signal.SIGINT)
        except KeyboardInterrupt as fault:
            if not lost:
                raise SystemError("returned a result with an exception set") from fault
        return judge(*words, **keys)

    monkeypatch.setattr("clearance.checking.judge", kernel)
    found = run("check", cases / "whole.toml", "--json", tmp_path / "out.json")
    assert (found.exit_code, found.stdout) == (1, "")
    assert found.stderr == "error: interrupted, no verdict\n"
    assert list(tmp_path.iterdir()) == []


def _raise(error):
    def fail(*_, **__):
        raise error

    return fail


INTERRUPTED = """
import sys, time
from clearance import api, checking
from clearance.cli import main as cli
def stop(*_):
    print("ready", flush=True)
    time.sleep(60)
sys.modules[{module!r}].{name} = stop
cli.main(sys.argv[1:], prog_name="clearance")
"""


@pytest.mark.parametrize(
    ("module", "name", "command"),
    [
        ("os", "fsync", "check"),
        *shared.more(
            ("clearance.api", "prepare", "check"),
            ("clearance.verdict.prepared", "prepare", "section"),
            ("os", "fsync", "section"),
        ),
    ],
)
def test_interrupt_is_no_verdict_and_leaves_no_file(cases, tmp_path, module, name, command):
    code = INTERRUPTED.format(module=module, name=name)
    words = [command, str(cases / "whole.toml")]
    if command == "check":
        words += ["--json", str(tmp_path / "out.json")]
    else:
        words += ["--at-height", "6", "--output", str(tmp_path / "out.png")]
    with subprocess.Popen(
        [sys.executable, "-c", code, *words], stdout=subprocess.PIPE, stderr=subprocess.PIPE
    ) as process:
        assert process.stdout.readline() == b"ready\n"
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=30)
    assert process.returncode == 1
    assert out == b""
    assert err == b"error: interrupted, no verdict\n"
    assert list(tmp_path.iterdir()) == []


def test_reader_that_has_gone_is_met_quietly(cases):
    with subprocess.Popen(
        [*PROGRAM, "check", str(cases / "whole.toml")],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    ) as process:
        process.stdout.close()
        err = process.stderr.read()
    assert err == b""
    assert process.returncode == 1


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="no device that is always full")
def test_full_disk_under_standard_output(cases):
    with open("/dev/full", "wb") as full:
        found = subprocess.run(
            [*PROGRAM, "check", str(cases / "whole.toml")], stdout=full, stderr=subprocess.PIPE
        )
    assert found.returncode == 2
    assert found.stderr.startswith(b"error: standard output cannot be written")


@pytest.mark.skipif(not hasattr(os, "openpty"), reason="no pseudo terminals")
@pytest.mark.parametrize("no_color", [False, *shared.more(True)])
def test_on_a_terminal_progress_and_colour_unless_unwanted(cases, no_color):
    env = {k: v for k, v in os.environ.items() if k != "NO_COLOR"}
    if no_color:
        env["NO_COLOR"] = "1"
    master, slave = os.openpty()
    words = [*PROGRAM, "check", str(cases / "whole.toml")]
    process = subprocess.Popen(words, stdout=slave, stderr=slave, env=env)
    os.close(slave)
    shown = b""
    deadline = time.monotonic() + 60
    while time.monotonic() < deadline:
        try:
            piece = os.read(master, 65536)
        except OSError:  # the other end has gone
            break
        if not piece:
            break
        shown += piece
    os.close(master)
    assert process.wait(timeout=30) == 0
    assert b"reading whole.toml" in shown
    assert (b"\x1b[" in shown) is not no_color
    assert b"open" in shown


def test_kernels_are_looked_for_in_the_cache(checked, tmp_path):
    assert first_run.compiled()  # the fixture's run has compiled them
    asks = "from clearance import first_run; print(first_run.compiled())"
    environ = {**os.environ, "NUMBA_CACHE_DIR": str(tmp_path)}
    done = subprocess.run(
        [sys.executable, "-c", asks], env=environ, capture_output=True, text=True, check=True
    )
    assert done.stdout == "False\n"


def test_the_first_run_says_that_it_compiles(monkeypatch, checked, cases):
    said, helped = [], []
    monkeypatch.setattr(first_run, "compiled", lambda: False)
    monkeypatch.setattr(first_run, "compile_beside", lambda: helped.append(1))
    outputs.computing(said.append)
    case = read_case(cases / "cut.toml")
    begin = first_run.begin
    side_by_side(case, Wanted(4.0, 5.0), progress=said.append, processes=1, begin=begin)
    assert sum("compiling the kernels" in words for words in said) == 2
    assert len(helped) == 2


@pytest.mark.parametrize("no_color", ["", "1"])
def test_colour_where_it_can_be_shown_unless_unwanted(cases, no_color):
    """In this process; what else a terminal is shown is tested above."""
    words = ["check", str(cases / "cut.toml")]
    with_colour = CliRunner(env={"NO_COLOR": no_color}).invoke(main, words, color=True)
    assert with_colour.exit_code == 3
    assert ("\x1b[" in with_colour.stdout) is not bool(no_color)


KERNELS_USED = """
import sys
from clearance import first_run
from clearance.cli import main as cli
from clearance.columns import cells
from clearance.drilling import bore, rectangles
from clearance.evidence import pins
from clearance.geometry import beams, box_tree, distance, rays, routes, segments, soup
from clearance.passages import rooms
from clearance.ports import patches
from clearance.sweeps import regions
first_run.later() if sys.argv[1] == "later" else cli.main(sys.argv[1:], standalone_mode=False)
asked = (beams, bore, box_tree, cells, distance, patches, pins, rays, rectangles, regions, rooms)
for room in (*asked, routes, segments, soup):
    for name, kernel in vars(room).items():
        for signature in getattr(kernel, "signatures", []):
            print(f"compiled: {room.__name__}.{name} {signature}")
"""


def test_second_process_compiles_what_a_check_uses(checked, cases):
    def used(*words: str) -> set[str]:
        command = [sys.executable, "-c", KERNELS_USED, *words]
        done = subprocess.run(command, capture_output=True, text=True, check=True)
        return {line for line in done.stdout.splitlines() if line.startswith("compiled: ")}

    later = used("later")
    assert len(later) >= 10
    assert not later - used("check", str(cases / "cut.toml"))
