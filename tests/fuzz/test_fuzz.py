"""A short run of the fuzzer, and everything that once broke; the long run is a script."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
import shared


@pytest.mark.skipif(not hasattr(os, "fork"), reason="each input runs in a copy of the process")
@pytest.mark.parametrize("words", [["--in-turn"], *shared.more([])])
def test_damaged_files_get_an_answer_or_one_message(words):
    script = Path(__file__).with_name("fuzz.py")
    command = [sys.executable, str(script), "100000", "5", "--corpus", *words]
    ran = subprocess.run(command, capture_output=True, text=True, timeout=500)
    assert ran.returncode == 0, ran.stdout + ran.stderr
    assert ", 0 broken" in ran.stdout.splitlines()[-1]
