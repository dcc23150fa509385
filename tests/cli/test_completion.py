"""Shell completion: click's own, told in docs/cli.md, works for every command."""

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

PAGE = (Path(__file__).parent.parent.parent / "docs/cli.md").read_text(encoding="utf-8")
CODE = "from clearance.cli.main import main; main(prog_name='clearance')"


def answered(how, words=""):
    env = {
        **os.environ,
        "_CLEARANCE_COMPLETE": how,
        "COMP_WORDS": words,
        "COMP_CWORD": f"{len(words.split()) - 1}",
    }
    return subprocess.run(
        [sys.executable, "-c", CODE], env=env, capture_output=True, text=True, check=True
    ).stdout.split()


@pytest.mark.parametrize(
    ("words", "expected"),
    [("clearance ch", ["plain,check"]), ("clearance check --fu", ["plain,--full"])],
)
def test_commands_and_options_are_completed(words, expected):
    assert answered("bash_complete", words) == expected


def test_the_line_for_a_shell_is_what_the_page_says():
    told = re.findall(r"_CLEARANCE_COMPLETE=(\w+)_source clearance", PAGE)
    assert told == ["bash", "zsh", "fish"]
    assert "clearance" in " ".join(answered("zsh_source"))
