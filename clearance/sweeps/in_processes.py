"""The pieces of a sweep, side by side in processes.

In: a case and what is wanted. Out: the `Sweep` of all pieces, the same whoever did them.
Threads would wait for one another, as plane figures are worked on in the interpreter. This
process only hands out and joins, so what computes is loaded in the others alone.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from clearance.case.read import Case
from clearance.errors import ClearanceError, LostError
from clearance.sweeps.result import Sweep, joined
from clearance.sweeps.wanted import PARTS, Piece, Wanted, moving, pieces
from clearance.system import processes as batch

if TYPE_CHECKING:
    from clearance.sweeps.sweep import Prepared

FEW = 60
"""So few heights of one passage are not worth the start of other processes."""
BASE_BYTES, PER_FILE_BYTE = 300e6, 20.0
"""Memory of a process: of the program, and for each byte of the meshes (measured, rounded up)."""


@dataclass(frozen=True)
class Task:
    """One piece and all that it takes to compute it; picklable."""

    case: Case
    wanted: Wanted
    pitch_mm: float | None
    piece: Piece


_kept: list[tuple[tuple[Case, Wanted, float | None], Prepared]] = []


def compute(task: Task) -> Sweep:
    """Compute one piece; the case is kept ready for the next one."""
    from clearance.sweeps.sweep import Prepared

    key = (task.case, task.wanted, task.pitch_mm)
    if not _kept or _kept[0][0] != key:
        _kept[:] = [(key, Prepared(*key))]
    return _kept[0][1].piece(task.piece)


def side_by_side(
    case: Case,
    wanted: Wanted,
    pitch_mm: float | None = None,
    progress: Callable[[str], None] = lambda _: None,
    processes: int | None = None,
    begin: Callable[[Callable[[str], None]], object] = lambda _: None,
) -> Sweep:
    """`sweep`, in as many processes as there are processors, unless told otherwise.

    `begin` is called first where this process computes by itself: it may have to compile.

    Raises
    ------
    ClearanceError
        As for `sweep`.
    LostError
        A process ended twice before it answered; as a rule the memory did not suffice.
    RuntimeError
        The program failed in a process.
    """
    moving(case)
    count = processes or batch.processors()
    if count == 1 or _few(case, wanted) or not _kernels_at_hand():
        from clearance.sweeps.sweep import sweep

        begin(progress)
        return sweep(case, wanted, pitch_mm, progress)
    need = BASE_BYTES + PER_FILE_BYTE * sum(_size(path) for path in case.files)
    jobs = [
        batch.Job(f"{n}", Task(case, wanted, pitch_mm, piece), need, f"passage {piece.passage}")
        for n, piece in enumerate(pieces(case))
    ]
    progress(f"{len(jobs)} pieces in {count} processes")
    found: dict[str, Sweep] = {}
    # As a rule the ends of a passage take longest: what is left for the end is then quickly done.
    order = sorted(jobs, key=lambda job: -abs(job.payload.piece.part - 0.5 * (PARTS - 1)))
    for job, outcome in batch.run(order, compute, count, batch.free_bytes()):
        found[job.key] = _value(outcome)
        progress(f"{len(found)} of {len(jobs)} pieces")
    return joined([found[job.key] for job in jobs])


def _value(outcome: batch.Outcome) -> Sweep:
    if outcome.kind == "refused":
        raise ClearanceError(outcome.text)
    if outcome.kind == "killed":
        raise LostError(outcome.text)
    if outcome.kind == "crashed":
        raise RuntimeError(f"{outcome.text}\n{outcome.trace}")
    value: Sweep = outcome.value
    return value


def _few(case: Case, wanted: Wanted) -> bool:
    """Whether there are so few heights that one process is quicker."""
    if wanted.reach or wanted.first is None or wanted.last is None:
        return False
    step = wanted.step or case.part.layer_thickness
    return len(case.passage) * (wanted.last - wanted.first) < FEW * step


def _size(path: Path) -> int:
    try:
        return path.stat().st_size
    except OSError:
        return 0  # the process that reads it says what is wrong


def _kernels_at_hand() -> bool:
    """Whether compiled kernels lie beside the program; if not, one process had better tell."""
    return any((Path(__file__).parents[1] / "columns" / "__pycache__").glob("cast.*.nbi"))
