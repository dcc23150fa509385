"""`clearance plate --cluster` with a real scheduler and workers on this machine."""

import contextlib
import json
import os
import signal
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import plates
import pytest

pytest.importorskip("distributed")
TESTS = Path(__file__).parent.parent

# Three different parts. No sheet is drawn of them.
PARTS = [
    {"name": f"P{n}", "case": case, "x": 40 * n, "y": 30 * n - 100, "turn": 0,
     "more": f"layers = {layers}"}
    for n, (case, layers) in enumerate([("plain.toml", 0), ("plain.toml", 1), ("leaning.toml", 1)])
]  # fmt: skip


def wait_for(condition, seconds=60.0):
    end = time.monotonic() + seconds
    while not condition():
        assert time.monotonic() < end
        time.sleep(0.02)


class Cluster:
    """A scheduler and its workers, each a process of its own."""

    def __init__(self, folder):
        self.folder = folder
        self.file = folder / "scheduler.json"
        self.processes = []

    def start(self, *words, **environment):
        log = open(self.folder / f"{len(self.processes)}.log", "w")
        process = subprocess.Popen(
            [sys.executable, "-m", *map(str, words)],
            stdout=log,
            stderr=subprocess.STDOUT,
            cwd=self.folder,
            env={**os.environ, **environment},
            start_new_session=True,
        )
        log.close()
        self.processes.append(process)
        return process

    def scheduler(self, lost_workers=1):
        """`lost_workers`: so many workers may be lost over a part before it is given up."""
        self.start(
            "dask", "scheduler", "--host", "127.0.0.1", "--port", 0, "--no-dashboard",
            "--dashboard-address", "127.0.0.1:0", "--scheduler-file", self.file,
            DASK_DISTRIBUTED__SCHEDULER__ALLOWED_FAILURES=str(lost_workers),
        )  # fmt: skip
        wait_for(lambda: self.file.exists() and self.file.read_text().endswith("}"))
        self.address = json.loads(self.file.read_text())["address"]

    def worker(self, *words):
        return self.start(
            "dask", "worker", self.address, "--host", "127.0.0.1", "--nthreads", 1,
            "--no-dashboard", "--local-directory", self.folder, *words,
        )  # fmt: skip

    def stop(self):
        for process in self.processes:
            with contextlib.suppress(ProcessLookupError):
                os.killpg(process.pid, signal.SIGKILL)
            process.wait()


@pytest.fixture(scope="module")
def cluster(tmp_path_factory):
    """A scheduler for the tests of this file, without a worker at first."""
    found = Cluster(tmp_path_factory.mktemp("scheduler"))
    found.scheduler()
    yield found
    found.stop()


@pytest.fixture
def strict(tmp_path):
    """A scheduler that gives up a part over which a worker is lost."""
    found = Cluster(tmp_path)
    found.scheduler(lost_workers=0)
    yield found
    found.stop()


PLAIN = """\
import pytest, shared

def dask_setup(worker):
    shared.draw_few_sheets(pytest.MonkeyPatch())
"""


@pytest.fixture(scope="module")
def plain(small):
    """Words for a worker that draws few sheets, as `plates.here` does."""
    path = small / "plain.py"
    path.write_text(f"import sys\n\nsys.path.insert(0, {str(TESTS)!r})\n{PLAIN}")
    return "--preload", path


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    folder = tmp_path_factory.mktemp("cluster")
    plates.write_designs(folder)
    straight = (folder / "straight.toml").read_text()
    (folder / "plain.toml").write_text(straight.replace('name = "straight"', 'name = "plain"'))
    plates.write_plate(folder, PARTS)
    return folder


def test_no_worker(small, cluster, tmp_path, monkeypatch, run):
    """Comes first: the scheduler is the others' too, who start workers."""
    from clearance.plates import cluster as room

    monkeypatch.setattr(room, "CONNECT_S", 2.0)
    words = ["--out", tmp_path / "out", "--cluster", cluster.address]
    found = run("plate", small / "plate.toml", *words)
    assert found.exit_code == 2
    assert "no worker is connected" in found.stderr


def test_a_worker_that_dies_half_way_changes_nothing(
    small, cluster, plain, tmp_path, monkeypatch, run
):
    from clearance.plates import cluster as room

    monkeypatch.setattr(room, "CONNECT_S", 60.0)  # they begin with their imports
    workers = [cluster.worker("--no-nanny", *plain) for _ in range(2)]
    out = tmp_path / "out"
    parts = out / "parts"

    def written():
        return {path.name: path.stat().st_mtime_ns for path in parts.glob("*.json")}

    def kill_one():
        wait_for(written, 120.0)
        os.killpg(workers[0].pid, signal.SIGKILL)
        return written()

    with ThreadPoolExecutor(1) as beside:
        killed = beside.submit(kill_one)
        said = run("plate", small / "plate.toml", "--out", out, "--cluster", cluster.address)
        assert said.exit_code == 3, said.stderr
        before = killed.result()
    assert len(before) < len(PARTS)  # half way
    after = written()
    assert len(after) == len(PARTS)
    assert {name: after[name] for name in before} == before  # not computed again
    alone = plates.here(small / "plate.toml", tmp_path / "alone", few_sheets=True)
    assert alone.returncode == 3
    assert plates.timeless(out) == plates.timeless(tmp_path / "alone")


GREEDY = """\
import time

def dask_setup(worker):
    from clearance.plates import one_part

    computed = one_part._computed

    def greedy(task):
        if task.case.grid.pitch < 0.1:
            taken = b"x" * 2**30
            time.sleep(120.0)
        return computed(task)

    one_part._computed = greedy
"""
"""In the worker a fine part takes a gibibyte at once; by itself it takes a minute to get there."""


@pytest.mark.more  # what is made of it: tests/unit/test_cancelled.py, test_plate.py
def test_a_part_beyond_the_memory_limit_is_undetermined(
    small, strict, plain, tmp_path, monkeypatch, run
):
    from clearance.plates import cluster as room

    monkeypatch.setattr(room, "CONNECT_S", 60.0)
    (tmp_path / "greedy.py").write_text(GREEDY)
    fine = (small / "leaning.toml").read_text().replace("pitch = 0.5", "pitch = 0.02")
    (small / "fine.toml").write_text(fine)
    parts = [PARTS[0], {**PARTS[2], "case": "fine.toml"}]
    plate = plates.write_plate(small, parts, "fine-plate.toml")
    greedy = "--preload", tmp_path / "greedy.py"
    strict.worker("--memory-limit", "800MB", *plain, *greedy)
    found = run("plate", plate, "--out", tmp_path / "out", "--cluster", strict.address)
    entries = plates.summary(tmp_path / "out")["parts"]
    assert [entry["exit_status"] for entry in entries] == [0, 4], found.stderr
    assert entries[1]["recommendation"] == "undetermined"
    assert "memory limit" in entries[1]["reasons"][0]
    assert found.exit_code == 4


@pytest.mark.parametrize("address", ["tcp://127.0.0.1:9", "nohost", "tcp://127.0.0.1:port", ""])
def test_no_scheduler_at_the_address(small, tmp_path, address, monkeypatch, run):
    from clearance.plates import cluster as room

    monkeypatch.setattr(room, "CONNECT_S", 1.0)
    found = run("plate", small / "plate.toml", "--out", tmp_path / "out", "--cluster", address)
    assert found.exit_code == 2
    assert f"--cluster {address}: no scheduler answers there" in found.stderr
    assert not list((tmp_path / "out" / "parts").iterdir())


def test_program_missing_on_the_scheduler(small, tmp_path, run):
    found = Cluster(tmp_path)
    # A scheduler that cannot import the program, as on a machine where it is not installed.
    (tmp_path / "bare.py").write_text(
        "import sys\nsys.modules['clearance'] = None\n"
        "from distributed.cli.dask_scheduler import main\nmain()\n"
    )
    try:
        found.start(
            "bare", "--host", "127.0.0.1", "--port", 0, "--no-dashboard",
            "--dashboard-address", "127.0.0.1:0", "--scheduler-file", found.file,
        )  # fmt: skip
        wait_for(lambda: found.file.exists() and found.file.read_text().endswith("}"))
        address = json.loads(found.file.read_text())["address"]
        words = ["--out", tmp_path / "out", "--cluster", address]
        told = run("plate", small / "plate.toml", *words)
    finally:
        found.stop()
    assert told.exit_code == 2
    assert "must be installed on the scheduler" in told.stderr
    assert "Traceback" not in told.stderr


def test_package_missing_here(small, tmp_path, monkeypatch, run):
    monkeypatch.setitem(sys.modules, "distributed", None)
    words = ["--out", tmp_path / "out", "--cluster", "tcp://127.0.0.1:9"]
    found = run("plate", small / "plate.toml", *words)
    assert found.exit_code == 2
    assert 'pip install "clearance[cluster]"' in found.stderr
