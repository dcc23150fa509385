"""Many jobs on the processes of one machine: each death of a process costs one job only.

In: jobs, a function of a module that does one, how many processes, and a limit on
memory. Out: an outcome for each job as it ends. Knows nothing of parts. Processes are
started afresh (no fork: threads run in the parent), end when the parent does, and leave
the interrupt key to it.
"""

from __future__ import annotations

import contextlib
import multiprocessing as mp
import os
import signal
import threading
import time
import traceback
from collections import Counter, deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import CancelledError
from dataclasses import dataclass
from multiprocessing.connection import Connection, wait
from pathlib import Path
from typing import Any, Literal

from clearance.errors import ClearanceError

TRIES = 2
"""Times that a job is begun whose process dies."""
TICK_S = 0.5
"""Longest time without a look around, so that the time left can be shown."""
SPARED = 0.1
"""Share of the free memory that is left to others."""
CANCELLED = "it was cancelled half way, and again when it was tried once more: a worker was lost"

Work = Callable[[Any], Any]
Kind = Literal["done", "refused", "killed", "crashed"]


@dataclass(frozen=True, eq=False)
class Job:
    """Something to do.

    Attributes
    ----------
    key : str
        Names it.
    payload : object
        What the function gets; it must be picklable.
    need_bytes : float
        Memory it is thought to need.
    group : str
        What a process that has done one of a group keeps, and the next of the group can use.
    """

    key: str
    payload: Any
    need_bytes: float = 0.0
    group: str = ""


@dataclass(frozen=True)
class Outcome:
    """How a job ended.

    Attributes
    ----------
    kind : str
        "done"; "refused": an error that the user can mend; "killed": its process died or
        the memory did not suffice; "crashed": an error in the program.
    value : object
        What the function returned, if done.
    text : str
        The reason, if not.
    seconds : float
    trace : str
        Where it crashed, for the developers.
    """

    kind: Kind
    value: Any = None
    text: str = ""
    seconds: float = 0.0
    trace: str = ""


def attempt(work: Work, payload: Any) -> Outcome:
    """Do one job here and tell how it ended, whatever happens short of a death."""
    start = time.perf_counter()
    try:
        value = work(payload)
    except ClearanceError as fault:
        return Outcome("refused", text=str(fault), seconds=time.perf_counter() - start)
    except MemoryError:
        text = "the memory did not suffice to compute it"
        return Outcome("killed", text=text, seconds=time.perf_counter() - start)
    except CancelledError:  # whoever ran it is being shut down: as good as a death
        return Outcome("killed", text=CANCELLED, seconds=time.perf_counter() - start)
    except Exception as fault:
        seconds = time.perf_counter() - start
        text = f"the program failed: {type(fault).__name__}: {fault}"
        return Outcome("crashed", text=text, seconds=seconds, trace=traceback.format_exc())
    return Outcome("done", value, seconds=time.perf_counter() - start)


def run(
    jobs: Iterable[Job],
    work: Work,
    processes: int,
    budget_bytes: float = float("inf"),
    tick: Callable[[], None] = lambda: None,
) -> Iterator[tuple[Job, Outcome]]:
    """Do jobs, the largest first, and give each outcome as soon as it is there.

    Parameters
    ----------
    jobs : iterable of Job
    work : callable
        A function of a module, called with each payload.
    processes : int
        At most so many at a time.
    budget_bytes : float
        The needs of the jobs in hand stay below it; a single one may exceed it.
    tick : callable
        Called at least every half second while the generator waits.

    Notes
    -----
    A job whose process dies, whose memory does not suffice, or that is cancelled, is begun once
    more, alone, after all others. Closing the generator, or an exception in it, ends the processes
    at once.
    """
    waiting = deque(sorted(jobs, key=lambda job: -job.need_bytes))
    last: deque[Job] = deque()  # those that are begun once more, alone
    tries: Counter[str] = Counter()
    pool: list[_Process] = []
    try:
        while waiting or last or any(p.job for p in pool):
            _hand_out(waiting, last, pool, work, processes, budget_bytes)
            busy = [p for p in pool if p.job]
            ready = wait([end for p in busy for end in p.ends], timeout=TICK_S)
            tick()
            for process in [p for p in busy if set(p.ends) & set(ready)]:
                job, outcome = process.take()
                tries[job.key] += 1
                if outcome.kind == "killed" and tries[job.key] < TRIES:
                    last.append(job)
                    continue
                yield job, outcome
    finally:
        for process in pool:
            process.end()


def _hand_out(
    waiting: deque[Job],
    last: deque[Job],
    pool: list[_Process],
    work: Work,
    processes: int,
    budget_bytes: float,
) -> None:
    """Give jobs to processes while number and memory allow."""
    while waiting or last:
        in_hand = [p.job.need_bytes for p in pool if p.job]
        source = waiting or last
        if len(in_hand) >= processes or (in_hand and source is last):
            return
        if in_hand and sum(in_hand) + source[0].need_bytes > budget_bytes:
            return
        pool[:] = [p for p in pool if p.job or p.alive]
        idle = next((p for p in pool if not p.job), None)
        if idle is None:
            idle = _Process(work)
            pool.append(idle)
        job = _fitting(source, idle.group, {p.group for p in pool if p.job})
        source.remove(job)
        idle.give(job)


def _fitting(source: deque[Job], own: str, others: set[str]) -> Job:
    """Of the largest jobs one of the process's own group, else of a group that no other is at."""
    largest = [job for job in source if job.need_bytes == source[0].need_bytes]
    same = (job for job in largest if job.group == own)
    free = (job for job in largest if job.group not in others)
    return next(same, None) or next(free, None) or source[0]


# ---- one process -----------------------------------------------------------------------------


class _Process:
    """A process that does jobs, one at a time."""

    def __init__(self, work: Work):
        context = mp.get_context("spawn")
        self._connection, theirs = context.Pipe()
        self._process = context.Process(target=_serve, args=(theirs, work), daemon=True)
        with _interrupts_held():
            self._process.start()
        theirs.close()
        self.job: Job | None = None
        self.group = ""
        self._began = 0.0

    @property
    def alive(self) -> bool:
        return self._process.is_alive()

    @property
    def ends(self) -> tuple[Any, Any]:
        """What becomes ready when there is an answer, or when the process has died."""
        return self._connection, self._process.sentinel

    def give(self, job: Job) -> None:
        self.job, self.group, self._began = job, job.group, time.perf_counter()
        with contextlib.suppress(OSError):  # it has just died: `take` will tell
            self._connection.send(job.payload)

    def take(self) -> tuple[Job, Outcome]:
        """Give the job in hand and its outcome; the process is free or dead after it."""
        assert self.job is not None
        job, self.job = self.job, None
        try:
            outcome: Outcome = self._connection.recv()
        except (EOFError, OSError):
            self._process.join()
            seconds = time.perf_counter() - self._began
            outcome = Outcome("killed", text=_died(self._process.exitcode), seconds=seconds)
            self._connection.close()
        return job, outcome

    def end(self) -> None:
        """End it at once: it holds nothing that would have to be saved."""
        self._process.kill()
        self._process.join()
        self._connection.close()


def _died(exitcode: int | None) -> str:
    """How a process died, and no more than that tells of why."""
    if exitcode is None or exitcode >= 0:
        return (
            f"the process that was to compute it ended by itself {TRIES} times, last with exit "
            f"status {exitcode}: standard error says why; a script of yours needs the guard "
            'if __name__ == "__main__"'
        )
    how = f"signal {-exitcode}"
    with contextlib.suppress(ValueError):
        how = signal.Signals(-exitcode).name
    why = ": as a rule the memory did not suffice" if how == "SIGKILL" else ""
    return f"the process that computed it was ended {TRIES} times, last by {how}{why}"


@contextlib.contextmanager
def _interrupts_held() -> Iterator[None]:
    """Start a process that never sees the interrupt key: only the parent acts on it."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, [signal.SIGINT])
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _serve(connection: Connection, work: Work) -> None:
    """Do jobs until the parent closes the connection or dies."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()
    while True:
        try:
            payload = connection.recv()
        except (EOFError, OSError):
            return
        outcome = attempt(work, payload)
        with contextlib.suppress(BrokenPipeError):
            connection.send(outcome)


def _end_with_parent() -> None:
    parent = mp.parent_process()
    if parent is not None:
        wait([parent.sentinel])
        os._exit(1)


# ---- what the machine has --------------------------------------------------------------------


def processors() -> int:
    """Number of processors this process may use."""
    if hasattr(os, "sched_getaffinity"):
        return len(os.sched_getaffinity(0))
    return os.cpu_count() or 1


def free_bytes() -> float:
    """Memory that jobs may take, a tenth of what is free being spared; inf if not known."""
    found = [_meminfo(), _control_group()]
    known = [size for size in found if size is not None]
    return min(known) * (1.0 - SPARED) if known else float("inf")


def _meminfo(path: Path = Path("/proc/meminfo")) -> float | None:
    try:
        lines = dict(line.split(":", 1) for line in path.read_text().splitlines() if ":" in line)
        return 1024.0 * float(lines["MemAvailable"].split()[0])
    except (OSError, KeyError, ValueError, IndexError):
        pass
    try:  # other systems: what is built in, of which some will be taken
        return 0.5 * os.sysconf("SC_PHYS_PAGES") * os.sysconf("SC_PAGE_SIZE")
    except (AttributeError, OSError, ValueError):
        return None


def _control_group(folder: Path = Path("/sys/fs/cgroup")) -> float | None:
    """What the control group of a container leaves free."""
    try:
        most = float((folder / "memory.max").read_text())  # "max" where there is no limit
        used = float((folder / "memory.current").read_text())
        rows = (line.split() for line in (folder / "memory.stat").read_text().splitlines())
        files = {name: float(size) for name, size in rows}["inactive_file"]  # given up at need
        return most - used + files
    except (OSError, ValueError, KeyError):
        return None
