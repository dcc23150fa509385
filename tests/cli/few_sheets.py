"""The program with `shared.draw_few_sheets`, in the processes that it starts too.

These begin with this file once more, under another name.
"""

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1]))

import shared

shared.draw_few_sheets(pytest.MonkeyPatch())

if __name__ == "__main__":
    from clearance.cli.main import main

    main(prog_name="clearance")
