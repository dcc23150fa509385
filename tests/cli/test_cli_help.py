"""Help: every command and option has it, docs/cli.md repeats it, and it answers at once."""

import importlib.util
import subprocess
import sys
from pathlib import Path

import click
import pytest

from clearance import __version__
from clearance.cli import main

DOCS = Path(__file__).parent.parent.parent / "docs"
HEAVY = ("numpy", "numba", "pydantic", "matplotlib", "shapely", "scipy", "clearance.check")


@pytest.mark.parametrize("name", [None, *main.commands])
def test_every_command_and_option_has_help(run, name):
    command = main if name is None else main.commands[name]
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


def test_version(run):
    assert run("--version").stdout == f"clearance {__version__}\n"


def test_unknown_command_exits_with_2(run):
    found = run("chek")
    assert found.exit_code == 2
    assert found.stdout == ""


def test_help_loads_nothing_heavy():
    code = (
        "import sys; from clearance.cli import main; main(['check', '--help'], standalone_mode="
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
