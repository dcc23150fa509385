"""For every test: settings of hypothesis, so that a run repeats and is not timed.

And the folder of what tests share (`shared.py`), the order of files, and the signal that an
interrupt sends.
"""

from __future__ import annotations

import os
import shutil
import signal
import sys
import tempfile
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

settings.register_profile(
    "repeatable",
    derandomize=True,
    deadline=None,
    database=None,
    max_examples=10,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
settings.load_profile("repeatable")

sys.path.insert(0, str(Path(__file__).parent))

import shared  # noqa: E402

_made = pytest.StashKey[str]()

FIRST = (
    "golden/test_cases.py",  # others look at the same results; compiles most kernels
    *(f"unit/test_{name}.py" for name in ("kernels", "case", "mesh_files", "batch")),
    *(f"unit/test_{name}.py" for name in ("flow", "forces", "happened")),
    "test_floors.py",
    "golden/test_case_meshes.py",
    "test_docs.py",
    "cli/test_plate.py",
    "cli/test_cluster.py",
    "fuzz/test_fuzz.py",
    "validation/test_random_kinds.py",
    "cli/test_bad_meshes.py",
)
"""Files that take longest: begun first, so that no process waits for another's last one.

Beside the very first go some that call few kernels: else each process compiles them all.
"""


def pytest_configure(config: pytest.Config) -> None:
    """Name the folder here, before the processes of a parallel run begin.

    A file's tests go to one of them: what they share they need not make twice.
    """
    if getattr(config.option, "dist", None) == "load":
        config.option.dist = "loadfile"
        config.option.loadscopereorder = False
    shared.in_full = "more" in config.option.markexpr.replace("not more", "")
    if shared.FOLDER not in os.environ:
        folder = tempfile.mkdtemp(prefix="clearance-tests-")
        os.environ[shared.FOLDER] = config.stash[_made] = folder
    # Most of what a process takes is imports: those that tests start keep what they compile.
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
    # Under nohup and some runners SIGINT is ignored, and so would be in every process that a test
    # starts and interrupts.
    if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
        signal.signal(signal.SIGINT, signal.default_int_handler)


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Order the files; what a plain test does in full only is selected by `-m more` too."""
    for item in items if shared.in_full else ():
        if shared.does_more(getattr(item, "function", None)):
            item.add_marker(pytest.mark.more)

    def rank(item: pytest.Item) -> int:
        path = item.path.as_posix()
        return next((n for n, name in enumerate(FIRST) if path.endswith(name)), len(FIRST))

    items.sort(key=rank)


def pytest_unconfigure(config: pytest.Config) -> None:
    if _made in config.stash:
        shutil.rmtree(config.stash[_made], ignore_errors=True)
        os.environ.pop(shared.FOLDER, None)
