"""What several tests look at and takes long to make: made once a run, by whichever process asks.

`conftest.py` names the run's folder before the processes of a parallel run begin; without it
everything is made anew in each process.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import pickle
from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path
from typing import Any

import pytest

FOLDER = "CLEARANCE_TESTS_SHARED"
CASES = Path(__file__).parent.parent / "cases"


def once(key: str, make: Callable[[], Any]) -> Any:
    """What `make` returns, from this run's folder if it has been made; it must pickle."""
    folder = os.environ.get(FOLDER)
    if folder is None:
        return make()
    file = Path(folder) / hashlib.sha256(key.encode()).hexdigest()[:32]
    with _alone(file.with_suffix(".lock")):
        if not file.exists():
            part = file.with_suffix(".part")
            part.write_bytes(pickle.dumps(make()))
            part.replace(file)
    return pickle.loads(file.read_bytes())


@contextlib.contextmanager
def _alone(path: Path) -> Iterator[None]:
    """One process at a time; a lock that its owner's end gives up, where the system has one."""
    with open(path, "w") as file:
        with contextlib.suppress(ImportError):
            import fcntl

            fcntl.flock(file, fcntl.LOCK_EX)
        yield


def more(*values: Any) -> list[Any]:
    """Parameters of a test that only a run with `-m more` takes: the plain run has their kind."""
    return [
        pytest.param(*(one if isinstance(one, tuple) else (one,)), marks=pytest.mark.more)
        for one in values
    ]


@cache
def result_of(case: str) -> Any:
    """Result of the check of a shipped case, given by the name of its folder."""

    def made() -> Any:
        from clearance.case.read import read_case
        from clearance.checking import judge
        from clearance.verdict.prepared import prepare

        return judge(prepare(read_case(CASES / case / "case.toml"))).result

    return once(f"result of {case}", made)


def openings_of(triangles: Any, find: Callable[[Any], Any]) -> Any:
    """What `find` finds in a mesh; the search in a shipped one takes a quarter of a minute."""
    mesh = hashlib.sha256(triangles.tobytes()).hexdigest()
    return once(f"openings of {mesh}", lambda: find(triangles))
