"""Help: every command and option has it, docs/cli.md repeats it, and it answers at once."""

import importlib.util
import os
import subprocess
import sys
import time
from pathlib import Path

import click
import pytest

from clearance import __version__
from clearance.cli.main import main

DOCS = Path(__file__).parent.parent.parent / "docs"
PROGRAM = (sys.executable, "-m", "clearance")
HEAVY = (
    "clearance.cli.plate",
    "numpy",
    "numba",
    "pydantic",
    "matplotlib",
    "shapely",
    "scipy",
    "clearance.checking",
)


CONTEXT = click.Context(main)
NAMES = main.list_commands(CONTEXT)


def test_all_commands_are_listed():
    assert {"check", "plate", "section", "openings", "mesh"} <= set(NAMES)


@pytest.mark.parametrize("name", [None, *NAMES])
def test_every_command_and_option_has_help(run, name):
    command = main if name is None else main.get_command(CONTEXT, name)
    assert command.help
    options = [p for p in command.params if isinstance(p, click.Option)]
    assert all(option.help for option in options)
    found = run(*([name] if name else []), "--help")
    assert found.exit_code == 0
    assert found.stdout.startswith("Usage: ")


def test_reference_page_is_the_help():
    spec = importlib.util.spec_from_file_location("make_cli", DOCS / "make_cli.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    assert (DOCS / "cli.md").read_text(encoding="utf-8") == module.page()


@pytest.mark.parametrize("name", NAMES)
def test_every_command_and_option_stands_in_the_reference(name):
    page = (DOCS / "cli.md").read_text(encoding="utf-8")
    part = page.partition(f"## `clearance {name}`\n")[2].partition("\n## ")[0]
    for param in main.get_command(CONTEXT, name).params:
        words = param.opts if isinstance(param, click.Option) else [param.metavar]
        assert all(word in part for word in words), words


def test_version(run):
    assert run("--version").stdout == f"clearance {__version__}\n"


def test_unknown_command_exits_with_2(run):
    found = run("chek")
    assert found.exit_code == 2
    assert found.stdout == ""


def test_help_loads_nothing_heavy():
    code = (
        "import sys; from clearance.cli.main import main; main(['--help'], standalone_mode="
        f"False); print(*[name for name in {HEAVY} if name in sys.modules])"
    )
    found = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert found.stdout.splitlines()[-1].strip() == ""


def test_module_runs_as_the_command():
    found = subprocess.run(
        [sys.executable, "-m", "clearance", "--help"], capture_output=True, text=True, check=True
    )
    assert found.stdout.startswith("Usage: clearance ")
    assert found.stderr == ""


def _best(seconds):
    """Least of a few: what the program takes when nothing else runs."""
    return min(seconds() for _ in range(5))


@pytest.mark.benchmark
def test_help_answers_within_three_tenths_of_a_second():
    def seconds():
        start = time.perf_counter()
        subprocess.run([*PROGRAM, "--help"], check=True, capture_output=True)
        return time.perf_counter() - start

    assert _best(seconds) < 0.3


@pytest.mark.skipif(not hasattr(os, "openpty"), reason="no pseudo terminals")
@pytest.mark.benchmark
def test_first_words_on_a_terminal_within_a_tenth_of_a_second_of_pythons_own_start():
    def first_words(*command):
        master, slave = os.openpty()
        start = time.perf_counter()
        process = subprocess.Popen(command, stdout=slave, stderr=slave)
        os.close(slave)
        os.read(master, 1)
        found = time.perf_counter() - start
        process.kill()
        process.wait()
        os.close(master)
        return found

    bare = _best(lambda: first_words(sys.executable, "-c", "print('x')"))
    case = DOCS.parent / "cases" / "mould-insert" / "case.toml"
    assert _best(lambda: first_words(*PROGRAM, "check", case)) - bare < 0.1
