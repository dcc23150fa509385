"""SIGKILL at random moments: no torn file, and a later run ends as if nothing had been."""

import os
import random
import shutil
import signal
import time
from pathlib import Path

import plates
import pytest

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(not Path("/proc").is_dir(), reason="looks into /proc"),
]

# Six different parts of a second each: two designs, one to three stray layers.
PARTS = [
    {"name": f"{case[0]}{n}", "case": f"{case}.toml", "x": x, "y": 40 * n, "turn": 0,
     "more": f"layers = {n}"}
    for case, x in (("straight", -40), ("leaning", 40))
    for n in (1, 2, 3)
]  # fmt: skip


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    folder = tmp_path_factory.mktemp("killed")
    plates.write_designs(folder)
    plates.write_plate(folder, PARTS)
    return folder


@pytest.fixture(scope="module")
def undisturbed(small):
    """Results of a run that nothing happened to, and how long it took."""
    start = time.monotonic()
    found = plates.run(small / "plate.toml", small / "undisturbed")
    assert found.returncode == 3
    return plates.timeless(small / "undisturbed"), time.monotonic() - start


def run_and_kill(small, out, moment, victim):
    """Start a run, kill the parent or a worker after so many seconds; whether it ended before."""
    process = plates.run(small / "plate.toml", out, wait=False)
    time.sleep(moment)
    targets = [process.pid] if victim == "parent" else plates.children(process.pid)
    if process.poll() is None and targets:
        os.kill(targets[-1], signal.SIGKILL)
    if victim == "worker":  # goes on: the part is tried once more
        assert process.wait(timeout=120) == 3
    process.communicate(timeout=120)
    if out.exists():
        plates.whole(out)
    return process.returncode == 3


def kill_often(small, folder, undisturbed, times, seed):
    """Kill runs into one folder; whenever one comes to its end compare, and begin anew."""
    expected, seconds = undisturbed
    dice = random.Random(seed)
    ended = 0
    out = folder / "out"
    for _ in range(times):
        victim = dice.choice(["parent", "parent", "worker"])
        if run_and_kill(small, out, dice.uniform(0.2, 0.9) * seconds, victim):
            assert plates.timeless(out) == expected
            shutil.rmtree(out)
            ended += 1
    assert plates.run(small / "plate.toml", out).returncode == 3
    assert plates.timeless(out) == expected
    return ended


@pytest.mark.benchmark
def test_thirty_kills(small, undisturbed, tmp_path):
    assert kill_often(small, tmp_path, undisturbed, 30, seed=2) >= 3
