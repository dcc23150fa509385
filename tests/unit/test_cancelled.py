"""Work that is cancelled half way: a lost worker, never a wrong result or a crash."""

from concurrent.futures import CancelledError, Future
from pathlib import Path
from types import SimpleNamespace

import make
import pytest
import shapes

from clearance import checking
from clearance.case.read import read_case
from clearance.errors import ClearanceError
from clearance.plates import cluster
from clearance.system import processes
from clearance.system.processes import Job, Outcome


class Late:
    """Threads that begin nothing before its result is asked for, and then obey a shutdown."""

    def __init__(self, *_):
        self.waiting = []

    def submit(self, work, *args):
        found = Future()
        ask = found.result

        def result(timeout=None):
            if found in self.waiting:
                self.waiting.remove(found)
                found.set_result(work(*args))
            return ask(timeout)

        found.result = result
        self.waiting.append(found)
        return found

    def shutdown(self, cancel_futures):
        assert cancel_futures
        for found in self.waiting:
            found.cancel()

    def __enter__(self):
        return self

    def __exit__(self, *_):
        pass


def test_a_check_asks_for_all_its_work_before_it_lets_the_threads_go(tmp_path, monkeypatch):
    """The last pieces of work may not have begun when all passages are judged."""
    part = shapes.block((0, 0, 0), (8, 8, 8)) - shapes.bore((4, 4, -1), (4, 4, 9), 1.5)
    way = make.passage((4, 4, 0), (4, 4, 8), 1.5, 2.0)
    path = make.write_case(tmp_path, part, way, make.plane(4.0), pitch=0.5)
    expected = make.judged(read_case(path))
    monkeypatch.setattr(checking, "ThreadPoolExecutor", Late)
    assert make.judged(read_case(path)) == expected


def cancel(mark):
    """Be cancelled; with a file's name only the first time."""
    if not mark or not Path(mark).exists():
        if mark:
            Path(mark).touch()
        raise CancelledError
    return "in the end"


@pytest.mark.parametrize("once", [True, False])
def test_a_job_that_is_cancelled_is_begun_once_more(tmp_path, once):
    jobs = [Job("a", str(tmp_path / "mark") if once else "")]
    ((_, outcome),) = processes.run(jobs, cancel, 1)
    assert outcome.kind == ("done" if once else "killed")
    assert outcome.text == ("" if once else processes.CANCELLED)


# ---- a cluster that does what it is told -----------------------------------------------------


class Cancelled(CancelledError):
    reason = "unknown"


class Task:
    """A future of the cluster: what it ends with is taken from a list."""

    def __init__(self, ends_with):
        self.ends_with = ends_with
        cancelled = isinstance(ends_with, CancelledError)
        self.status = "cancelled" if cancelled else "lost" if ends_with == "lost" else "finished"
        self._state = SimpleNamespace(exception=ends_with)

    def result(self):
        if isinstance(self.ends_with, BaseException):
            raise self.ends_with
        return Outcome("done", self.ends_with)

    def release(self):
        pass


def cluster_that(monkeypatch, *endings, compiled=True):
    """A library and a scheduler whose tasks end as told, one after the other."""
    left = list(endings)

    def wait(futures, *_):
        if any(future.status == "cancelled" for future in futures):
            raise Cancelled

    client = SimpleNamespace(
        status="running",
        nthreads=lambda: {"tcp://w": 1},
        wait_for_workers=lambda *_, **__: None,
        run_on_scheduler=lambda work: work(),
        run=lambda work, on_error: {"tcp://w": work()},
        submit=lambda *_, **__: Task(left.pop(0)),
        close=lambda timeout: None,
    )
    library = SimpleNamespace(
        Client=lambda *_, **__: client,
        wait=wait,
        TimeoutError=TimeoutError,
        CancelledError=CancelledError,
        KilledWorker=type("KilledWorker", (Exception,), {}),
    )
    monkeypatch.setattr(cluster, "_distributed", lambda: library)
    monkeypatch.setattr(cluster, "packed", lambda payload: payload)
    monkeypatch.setattr(cluster, "compiled", lambda: compiled)
    return library


def outcomes(**keys):
    return [outcome for _, outcome in cluster.run([Job("a", None)], "tcp://s", **keys)]


@pytest.mark.parametrize("first", [Cancelled(), "lost"])
def test_a_task_cancelled_by_the_cluster_is_tried_once_more(monkeypatch, first):
    cluster_that(monkeypatch, first, "verdict")
    (found,) = outcomes()
    assert (found.kind, found.value) == ("done", "verdict")
    cluster_that(monkeypatch, first, first)
    (found,) = outcomes()
    assert (found.kind, found.text) == ("killed", processes.CANCELLED)


def test_a_part_that_its_workers_do_not_survive_is_tried_once_more_alone(monkeypatch):
    """As with a memory limit; with real workers: tests/cli/test_cluster.py, `-m more`."""
    library = cluster_that(monkeypatch)
    killed = library.KilledWorker()
    cluster_that(monkeypatch, killed, "verdict").KilledWorker = library.KilledWorker
    (found,) = outcomes()
    assert (found.kind, found.value) == ("done", "verdict")
    cluster_that(monkeypatch, killed, killed).KilledWorker = library.KilledWorker
    (found,) = outcomes()
    assert found.kind == "killed"
    assert "memory limit" in found.text
    cluster_that(monkeypatch, ValueError("no room"))
    (found,) = outcomes()
    assert (found.kind, found.text) == ("crashed", "the cluster failed: ValueError: no room")


def test_a_task_cancelled_because_the_scheduler_is_gone_ends_the_run(monkeypatch):
    gone = Cancelled()
    gone.reason = "scheduler-connection-lost"
    cluster_that(monkeypatch, gone)
    with pytest.raises(ClearanceError, match="the scheduler is gone"):
        outcomes()


@pytest.mark.parametrize("fault", [AssertionError(), CancelledError(), OSError("refused")])
def test_any_failure_to_connect_is_one_message(monkeypatch, fault):
    def fail(*_, **__):
        raise fault

    library = cluster_that(monkeypatch)
    library.Client = fail
    with pytest.raises(ClearanceError, match="no scheduler answers there: ") as found:
        outcomes()
    assert (str(fault) or type(fault).__name__) in str(found.value)


@pytest.mark.parametrize("compiled", [True, False])
def test_workers_that_compile_first_are_told_of(monkeypatch, compiled):
    cluster_that(monkeypatch, "verdict", compiled=compiled)
    said = []
    outcomes(say=said.append)
    assert len(said) == (not compiled)
    assert all(line.startswith("1 of 1 workers compile the kernels first") for line in said)
