"""What the README and the docs show is what the program does."""

import re
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner

from clearance.cli import main

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")


def shown(text: str) -> list[str]:
    """Lines of the README's example, without the prompt and the dots."""
    block = re.search(r"```\n\$ clearance check (\S+)\n(.*?)```", text, re.DOTALL)
    assert block is not None
    return [line.rstrip() for line in block[2].splitlines() if line not in ("...", "")]


def test_the_readme_shows_the_real_output(monkeypatch):
    monkeypatch.setenv("COLUMNS", "96")
    done = CliRunner().invoke(main, ["check", str(ROOT / "cases/mould-insert/case.toml")])
    assert done.exit_code == 3
    printed = [line.rstrip() for line in done.output.splitlines()]
    missing = [line for line in shown(README) if line not in printed]
    assert not missing


def test_the_readme_states_the_job_first():
    first = README.split("\n\n")[1]
    for word in ("inlet", "outlet", "drill", "use it as is", "rework", "repair", "scrap"):
        assert word in first.replace("\n", " ")


def test_the_commands_of_the_readme_are_one_line_each():
    blocks = re.findall(r"```\n(python3 -m venv.*?)\n```", README, re.DOTALL)
    assert len(blocks) == 2
    assert all("\n" not in block for block in blocks)
    assert "pytest" in blocks[1]


def test_the_first_command_of_the_readme_leaves_result_and_picture(tmp_path):
    # The part after installing, with this interpreter's program and another folder.
    line = re.search(r"mkdir -p out && (.*)\n", README)
    assert line is not None
    clearance = f"{sys.executable} -m clearance"
    command = line[1].replace(".venv/bin/clearance", clearance).replace(" out/", f" {tmp_path}/")
    done = subprocess.run(command, shell=True, cwd=ROOT, capture_output=True, text=True)
    assert done.returncode == 3, done.stderr
    assert (tmp_path / "mould-insert.png").read_bytes().startswith(b"\x89PNG")
    assert '"schema": 1' in (tmp_path / "mould-insert.json").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    "page",
    ["README.md", "DEVELOPERS.md", *(f"docs/{p.name}" for p in (ROOT / "docs").glob("*.md"))],
)
def test_links_lead_somewhere(page):
    text = (ROOT / page).read_text(encoding="utf-8")
    for target in re.findall(r"\]\(([^)#]+?)(?:#[^)]*)?\)", text):
        if "://" not in target:
            assert ((ROOT / page).parent / target).exists(), target


def test_the_figures_of_the_docs_are_drawn_by_the_program(tmp_path):
    done = subprocess.run(
        [sys.executable, "docs/make_figures.py", str(tmp_path)], cwd=ROOT, capture_output=True
    )
    assert done.returncode == 0, done.stderr
    for kept in (ROOT / "docs/figures").iterdir():
        drawn = (tmp_path / kept.name).read_bytes()
        # Width and height stand in bytes 16 to 24 of a PNG.
        assert drawn[16:24] == kept.read_bytes()[16:24]
