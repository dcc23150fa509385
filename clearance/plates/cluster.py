"""Parts of a plate on other machines, through a running dask.distributed scheduler.

In: tasks and the scheduler's address. Out: their outcomes, as `batch` gives them. The
meshes travel with each task and the result comes back whole, so that no folder has to be
shared; what has come back is never computed again. `distributed` is an extra, loaded here.
"""

from __future__ import annotations

import contextlib
import gc
import logging
import tempfile
import warnings
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any
from uuid import uuid4

from clearance import __version__
from clearance.errors import ClearanceError
from clearance.first_run import compiled
from clearance.plates.members import Task
from clearance.system.processes import CANCELLED, Job, Outcome, attempt

CONNECT_S = 10.0
"""Longest wait for the scheduler, and for a first worker."""
TICK_S = 0.5


@dataclass(frozen=True)
class Parcel:
    """A task with its files: where each lies in the parcel, where it came from, its bytes."""

    task: Task
    files: tuple[tuple[str, str, bytes], ...]


def packed(task: Task) -> Parcel:
    """Put the files of a task into a parcel.

    Raises
    ------
    ClearanceError
        A file cannot be read.
    """
    names = {path: f"{number}/{path.name}" for number, path in enumerate(task.files())}
    files = []
    for path, name in names.items():
        try:
            files.append((name, str(path), path.read_bytes()))
        except OSError as fault:
            raise ClearanceError(f"{path}: cannot be read: {fault.strerror}") from None
    return Parcel(task.relocated(lambda path: Path(names[path])), tuple(files))


def unpacked_attempt(parcel: Parcel) -> Outcome:
    """Compute a parcel's task in a folder of its own. Runs on a worker."""
    from clearance.plates.one_part import compute

    with tempfile.TemporaryDirectory(prefix="clearance-") as folder:
        for name, _, data in parcel.files:
            path = Path(folder) / name
            path.parent.mkdir()
            path.write_bytes(data)
        outcome = attempt(compute, parcel.task.relocated(lambda path: Path(folder) / path))
        text = outcome.text
        for name, origin, _ in parcel.files:  # messages name the user's file
            text = text.replace(str(Path(folder) / name), origin)
    return replace(outcome, text=text)


def run(
    jobs: Iterable[Job],
    address: str,
    tick: Callable[[], None] = lambda: None,
    say: Callable[[str], None] = lambda words: None,
) -> Iterator[tuple[Job, Outcome]]:
    """Hand the tasks of jobs to a scheduler and give each outcome as soon as it is there.

    A job whose worker dies, or that is cancelled while the scheduler goes on, goes to another
    worker by the scheduler's own rule (its setting `allowed-failures`); beyond that it is tried
    once more, alone, after all others.

    Raises
    ------
    ClearanceError
        `distributed` is not installed here; no scheduler answers at the address; it or a
        worker lacks this version of the program; no worker is there; the scheduler is lost.

    Notes
    -----
    `say` is told of workers that have to compile the kernels first.
    """
    distributed = _distributed()
    waiting = deque(sorted(jobs, key=lambda job: -job.need_bytes))
    if not waiting:
        return
    client = _client(distributed, address)
    try:
        _same_program(client, address)
        _tell_of_compiling(client, say)
        hand: dict[Any, Job] = {}
        again: deque[Job] = deque()  # a worker that dies takes the blame of all it had in hand
        alone: set[str] = set()
        while waiting or again or hand:
            while _room(client, hand, waiting, again):
                job = waiting.popleft() if waiting else again.popleft()
                try:
                    hand[_submit(client, job)] = job
                except ClearanceError as fault:
                    yield job, Outcome("refused", text=str(fault))
            with contextlib.suppress(
                TimeoutError, distributed.TimeoutError, distributed.CancelledError
            ):
                distributed.wait(list(hand), TICK_S, "FIRST_COMPLETED")
            tick()
            _refuse_if_lost(client, hand, address)
            for future in [future for future in hand if future.status != "pending"]:
                job = hand.pop(future)
                outcome = _outcome(distributed, future)
                if outcome.kind == "killed" and job.key not in alone:
                    alone.add(job.key)
                    again.append(job)
                    continue
                yield job, outcome
    finally:
        with contextlib.suppress(Exception):
            client.close(timeout=1)


def _room(client: Any, hand: dict[Any, Job], waiting: deque[Job], again: deque[Job]) -> bool:
    """Whether the cluster can take a job: one for each thread; those once killed alone."""
    if waiting:
        return len(hand) < max(1, sum(client.nthreads().values()))
    return bool(again) and not hand


def _distributed() -> Any:
    try:
        import distributed
    except ImportError:
        raise ClearanceError(
            '--cluster needs the package distributed; install it with: pip install "clearance'
            '[cluster]"'
        ) from None
    # What it has to say comes as errors of ours. Its rooms have levels of their own.
    for name in [
        name for name in logging.root.manager.loggerDict if name.startswith("distributed")
    ]:
        logging.getLogger(name).setLevel(logging.CRITICAL)
    return distributed


def _client(distributed: Any, address: str) -> Any:
    try:
        if not address.strip():  # taken for none, it would start a cluster here
            raise ValueError("the address is empty")
        # A client that found no scheduler is never closed; collected while another one starts, it
        # would wait for a lock that the same thread holds.
        gc.collect()
        return distributed.Client(address, timeout=CONNECT_S)
    except Exception as fault:  # the library raises many kinds, assertions of its own among them
        why = str(fault) or type(fault).__name__
        raise ClearanceError(f"--cluster {address}: no scheduler answers there: {why}") from None


def _version() -> str:
    """Version of the program where this runs."""
    return __version__


def _same_program(client: Any, address: str) -> None:
    """Refuse a cluster on which the program is missing or another one."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            found = {f"the scheduler {address}": client.run_on_scheduler(_version)}
    except Exception as fault:
        raise ClearanceError(_missing(f"the scheduler {address}", fault)) from None
    with contextlib.suppress(Exception):
        client.wait_for_workers(1, timeout=CONNECT_S)
    try:
        workers = client.run(_version, on_error="return")
    except Exception as fault:  # the scheduler has gone meanwhile
        why = str(fault) or type(fault).__name__
        raise ClearanceError(f"--cluster {address}: the scheduler is gone: {why}") from None
    if not workers:
        raise ClearanceError(f"--cluster {address}: no worker is connected to the scheduler")
    found.update({f"the worker {worker}": version for worker, version in workers.items()})
    for who, version in found.items():
        if isinstance(version, BaseException):
            raise ClearanceError(_missing(who, version))
        if version != __version__:
            raise ClearanceError(
                f"--cluster {address}: {who} has clearance {version}, expected {__version__}"
            )


def _missing(who: str, fault: BaseException) -> str:
    return (
        f"{who} cannot load the program clearance: it must be installed on the scheduler and on "
        f"every worker ({type(fault).__name__}: {fault})"
    )


def _submit(client: Any, job: Job) -> Any:
    parcel = packed(job.payload)
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Sending large graph")
        return client.submit(unpacked_attempt, parcel, pure=False, key=f"part-{uuid4().hex}")


def _tell_of_compiling(client: Any, say: Callable[[str], None]) -> None:
    """Say that workers will compile the kernels first: nothing ends until then."""
    with contextlib.suppress(Exception):  # then it is not said
        known = client.run(compiled, on_error="return")
        new = [worker for worker, at_hand in known.items() if at_hand is False]
        if new:
            say(
                f"{len(new)} of {len(known)} workers compile the kernels first, once per "
                "installation; this takes a minute or two"
            )


def _refuse_if_lost(client: Any, hand: Iterable[Any], address: str) -> None:
    """Raise if it is the scheduler that has gone, not a worker."""
    gone = client.status not in ("running", "connecting") or any(
        future.status == "cancelled" and _reason(future) == "scheduler-connection-lost"
        for future in hand
    )
    if gone:
        raise ClearanceError(
            f"--cluster {address}: the scheduler is gone; what is done is kept, run again to go on"
        )


def _reason(future: Any) -> str:
    """Why a future was cancelled."""
    return str(getattr(future._state.exception, "reason", "unknown"))


def _outcome(distributed: Any, future: Any) -> Outcome:
    """Outcome of a future that ended; its data is let go of at the cluster."""
    try:
        if future.status == "lost":
            return Outcome("killed", text=CANCELLED)
        found = future.result()
    except distributed.KilledWorker:
        text = (
            "the workers that computed it were ended, each in turn, the last with nothing else in "
            "hand: as a rule the part needs more than their memory limit"
        )
        return Outcome("killed", text=text)
    except distributed.CancelledError:
        return Outcome("killed", text=CANCELLED)
    except Exception as fault:
        return Outcome("crashed", text=f"the cluster failed: {type(fault).__name__}: {fault}")
    finally:
        future.release()
    outcome: Outcome = found
    return outcome
