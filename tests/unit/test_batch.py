"""Jobs over processes: order, deaths, memory, and the end of the parent."""

import itertools
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from clearance.errors import ClearanceError, LostError
from clearance.sweeps import in_processes
from clearance.system import processes as batch
from clearance.system.processes import Job, Outcome


def work(payload):
    """What the jobs of these tests do, by their first word."""
    word, *rest = payload
    if word == "square":
        return rest[0] ** 2
    if word == "die once":
        mark = Path(rest[0])
        if not mark.exists():
            mark.touch()
            os.kill(os.getpid(), signal.SIGKILL)
        return "in the end"
    if word == "die":
        os.kill(os.getpid(), signal.SIGKILL)
    if word == "leave":
        os._exit(rest[0])
    if word == "refuse":
        raise ClearanceError("mend this")
    if word == "forget":
        raise MemoryError
    if word == "crash":
        raise ZeroDivisionError("ours")
    if word == "span":
        start = time.monotonic()
        time.sleep(0.2)
        return start, time.monotonic()
    Path(rest[0]).write_text(str(os.getpid()))  # sleep
    time.sleep(60.0)
    return None


def outcomes(payloads, processes=2, budget=float("inf"), needs=None):
    jobs = [Job(str(n), payload, needs[n] if needs else 0.0) for n, payload in enumerate(payloads)]
    return {int(job.key): out for job, out in batch.run(jobs, work, processes, budget)}


def alive(pid):
    try:
        return Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()[0] != "Z"
    except OSError:
        return False


def soon(condition, seconds=8.0):
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        if condition():
            return True
        time.sleep(0.02)
    return False


def test_a_death_costs_only_its_job(tmp_path):
    payloads = [("square", n) for n in range(6)]
    payloads[1] = ("die once", tmp_path / "mark")
    payloads[3] = ("die",)
    found = outcomes(payloads)
    assert {n: out.value for n, out in found.items() if n not in (1, 3)} == {
        n: n * n for n in (0, 2, 4, 5)
    }
    assert found[1].kind == "done"
    assert found[1].value == "in the end"
    assert found[3].kind == "killed"
    assert "SIGKILL" in found[3].text
    assert "2 times" in found[3].text
    assert "memory" in found[3].text


def test_a_death_says_no_more_than_is_known():
    """A process that dies at its start, or of a fault, does not want for memory."""
    text = outcomes([("leave", 7)], processes=1)[0].text
    assert "ended by itself 2 times, last with exit status 7: standard error says why" in text
    assert "suffice" not in text
    assert batch._died(-signal.SIGABRT).endswith("2 times, last by SIGABRT")
    with pytest.raises(LostError, match="2 times"):
        in_processes._value(Outcome("killed", text=text))


def test_errors_are_told_apart():
    found = outcomes([("refuse",), ("forget",), ("crash",), ("square", 3)], processes=1)
    assert [found[n].kind for n in range(4)] == ["refused", "killed", "crashed", "done"]
    assert found[0].text == "mend this"
    assert "ZeroDivisionError: ours" in found[2].text
    assert "test_batch.py" in found[2].trace


def overlap(budget):
    """Whether any two of six jobs of 0.2 s ran at the same time on two processes."""
    found = outcomes([("span",)] * 6, budget=budget, needs=[9.0, 8.0, 7.0, 6.0, 5.5, 5.2])
    spans = sorted(found[n].value for n in range(6))
    return any(b[0] < a[1] for a, b in itertools.pairwise(spans))


def test_memory_limits_what_runs_at_a_time():
    assert not overlap(10.0)


def test_what_fits_runs_side_by_side():
    assert overlap(20.0)


def test_one_job_may_need_more_than_there_is():
    assert outcomes([("square", 5)], budget=1.0, needs=[100.0])[0].value == 25


def test_closing_ends_the_processes_at_once(tmp_path):
    mark = tmp_path / "pid"
    running = batch.run([Job("a", ("sleep", mark)), Job("b", ("square", 2))], work, 2)
    assert next(running)[1].value == 4
    assert soon(lambda: mark.exists() and mark.read_text())
    pid = int(mark.read_text())
    start = time.monotonic()
    running.close()
    assert time.monotonic() - start < 2.0
    assert not alive(pid)


@pytest.mark.skipif(not Path("/proc").is_dir(), reason="looks into /proc")
def test_processes_end_with_the_parent(tmp_path):
    mark = tmp_path / "pid"
    script = (
        "import sys; sys.path.insert(0, sys.argv[1]); import test_batch; from "
        "clearance.system import processes as batch\nif __name__ == '__main__': "
        "list(batch.run([batch.Job('a', ('sleep', sys.argv[2]))], test_batch.work, 1))"
    )
    file = tmp_path / "parent.py"
    file.write_text(script)
    parent = subprocess.Popen([sys.executable, str(file), str(Path(__file__).parent), str(mark)])
    assert soon(lambda: mark.exists() and mark.read_text(), 20.0)
    pid = int(mark.read_text())
    parent.kill()
    parent.wait()
    assert soon(lambda: not alive(pid))


def test_a_container_limits_the_memory(tmp_path):
    (tmp_path / "memory.max").write_text("1000\n")
    (tmp_path / "memory.current").write_text("700\n")
    (tmp_path / "memory.stat").write_text("anon 500\ninactive_file 200\n")
    assert batch._control_group(tmp_path) == 500.0
    (tmp_path / "memory.max").write_text("max\n")
    assert batch._control_group(tmp_path) is None


def test_free_memory_and_processors_are_positive():
    assert batch.free_bytes() > 0.0
    assert batch.processors() >= 1
