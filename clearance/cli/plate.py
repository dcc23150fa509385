"""The command `plate`: many parts under one event, its progress and its exit status.

In: the words of the command line. Out: lines on standard error while it runs, the
summary on standard output, the files in the folder. Computing is left to `plate`.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

import click

from clearance.cli import terminal
from clearance.cli.options import (
    A_PATH,
    DEBUG,
    debug_option,
    memory_option,
    verify_option,
)

if TYPE_CHECKING:
    from clearance.plates.summary import Summary
    from clearance.result.plate import PlatePart
    from clearance.system.processes import Job, Outcome


@click.command(context_settings={"help_option_names": ["-h", "--help"]})
@click.argument("plate", metavar="PLATE.toml", type=A_PATH)
@click.option(
    "--out",
    type=click.Path(path_type=Path),
    metavar="DIR",
    required=True,
    help="Folder of the results; made if it is not there.",
)
@click.option(
    "--jobs",
    type=click.IntRange(min=1),
    metavar="N",
    help="Parts at a time, each in a process of its own. Default: as many as there are "
    "processors to use. Fewer where the memory would not suffice.",
)
@click.option(
    "--cluster",
    metavar="ADDRESS",
    help="Hand the parts to the running dask.distributed scheduler at this address, such as "
    "tcp://10.0.0.5:8786, instead of processes here.",
)
@click.option(
    "--pages",
    is_flag=True,
    help="Write parts/NAME.html too: each part to turn in the hand, see `view`.",
)
@verify_option
@memory_option
@debug_option
@click.pass_context
def plate(
    ctx: click.Context,
    plate: Path,
    out: Path,
    jobs: int | None,
    cluster: str | None,
    pages: bool,
    verify: bool | None,
    memory_gib: float | None,
) -> None:
    """Report on every part of a plate under one event.

    \b
    clearance plate build-117.toml --out build-117
    clearance plate build-117.toml --out build-117 --jobs 4
    clearance plate build-117.toml --out build-117 --cluster tcp://10.0.0.5:8786

    Writes parts/NAME.json and parts/NAME.pdf for each part as it ends, then plate.json,
    plate.csv, plate.xlsx, plate.html and plate.pdf. Run again it computes only what has changed,
    so an interrupted run goes on where it was. The exit status is the gravest of all parts in the
    order 1, 2, 3, 4, 0; a part with a bad case does not stop the others.
    """  # noqa: D301 - click wants the character itself
    if jobs is not None and cluster is not None:
        raise click.UsageError("--jobs is for processes here; leave it out beside --cluster.")
    if memory_gib is not None and cluster is not None:
        raise click.UsageError("--memory is for processes here; leave it out beside --cluster.")
    summary = _run(ctx, plate, out, _Spread(jobs, cluster, memory_gib), verify, pages)
    terminal.show(ctx, _text(summary, out))
    ctx.exit(summary.exit_status)


class _Spread(NamedTuple):
    """How the parts are spread: processes at most, or a cluster's address; memory at most, GiB."""

    jobs: int | None
    cluster: str | None
    memory_gib: float | None


def _run(
    ctx: click.Context, path: Path, out: Path, over: _Spread, verify: bool | None, views: bool
) -> Summary:
    show = Progress(debug=bool(ctx.find_root().meta.get(DEBUG)))
    show.say(f"reading {path.name}")
    from clearance.case.plate import read_plate

    known = read_plate(path)
    show.say("loading the program")
    from clearance.plates.folder import Folder
    from clearance.plates.members import members
    from clearance.plates.run import Tell, run
    from clearance.plates.summary import unchanged, write_summary

    def spread(todo: list[Job]) -> Iterator[tuple[Job, Outcome]]:
        return _spread(todo, over, show)

    with Folder(out) as folder:
        try:
            show.say("reading the cases")
            found = members(known, verify, views)
            summary = run(known, found, folder, spread, Tell(show.kept, show.begins, show.ended))
            if not unchanged(folder, summary):
                show.say("drawing the map")
                from clearance.plates.report import pages

                write_summary(folder, summary, pages(summary, folder.read))
        except KeyboardInterrupt:
            show.clear()
            click.echo(f"what is done is kept in {out}; run again to go on", err=True)
            raise
        finally:
            show.clear()
    return summary


def _spread(todo: list[Job], over: _Spread, show: Progress) -> Iterator[tuple[Job, Outcome]]:
    if over.cluster is not None:
        from clearance.plates import cluster as machines

        yield from machines.run(todo, over.cluster, show.tick, show.line)
        return
    from clearance.plates.one_part import compute
    from clearance.system import processes

    count = over.jobs or processes.processors()
    free = processes.free_bytes()
    if over.memory_gib is not None:
        free = min(free, over.memory_gib * 2**30)
    if todo and sum(sorted(job.need_bytes for job in todo)[-count:]) > free:
        show.line(f"{free / 1e9:.1f} GB of memory to use: fewer than {count} parts at a time")
    yield from processes.run(todo, compute, count, free, show.tick)


# ---- progress --------------------------------------------------------------------------------


class Progress:
    """A line on a terminal that is rewritten; elsewhere a line for each part that ends."""

    def __init__(self, debug: bool = False) -> None:
        self.terminal = sys.stderr is not None and sys.stderr.isatty()
        self.debug = debug
        self._length = 0
        self._start = time.monotonic()
        self._parts = self._done = 0

    def say(self, words: str) -> None:
        """Rewrite the line, on a terminal."""
        if not self.terminal:
            return
        import shutil

        words = words[: shutil.get_terminal_size((80, 24)).columns - 1]
        click.echo("\r" + words.ljust(self._length), nl=False, err=True)
        self._length = len(words)

    def clear(self) -> None:
        """Wipe the line."""
        if self._length:
            click.echo("\r" + " " * self._length + "\r", nl=False, err=True)
            self._length = 0

    def line(self, words: str) -> None:
        """Write a line that stays."""
        self.clear()
        click.echo(words, err=True)

    def kept(self, count: int) -> None:
        """Tell how many parts an earlier run has left."""
        if count:
            parts = "1 part is" if count == 1 else f"{count} parts are"
            self.line(f"{parts} unchanged since an earlier run and skipped")

    def begins(self, parts: int, distinct: int) -> None:
        """Remember how much there is to do."""
        self._parts, self._done, self._start = parts, 0, time.monotonic()
        if distinct < parts:
            self.line(f"{parts} parts to compute, {distinct} of them different")
        self.tick()

    def ended(self, entry: PlatePart, outcome: Outcome | None) -> None:
        """Tell of a part that is done."""
        words = f"{entry['name']}: {entry['recommendation']}"
        if outcome is not None:
            self._done += 1
            words += f" ({outcome.seconds:.1f} s)"
        if entry["result"] is None:
            words += f": {entry['reasons'][0]}"
        if not self.terminal or entry["result"] is None:
            self.line(words)
        if self.debug and outcome is not None and outcome.trace:
            self.line(outcome.trace)
        self.tick(words)

    def tick(self, last: str = "") -> None:
        """Show how far it is."""
        if not self.terminal or not self._parts:
            return
        took = time.monotonic() - self._start
        words = f"{self._done} of {self._parts} parts, {took:.0f} s"
        if 0 < self._done < self._parts:
            left = took / self._done * (self._parts - self._done)
            words += f", about {left:.0f} s left"
        self.say(f"{words}  {last}" if last else words)


# ---- what is printed at the end --------------------------------------------------------------


def _text(summary: Summary, out: Path) -> str:
    """What to hold first, then what happened, a part a line with its reason, what else there is."""
    from clearance.plates.after import alike
    from clearance.plates.summary import gravest_first, happened, hold
    from clearance.verdict.numbers import near

    data, columns = summary.data, terminal.width()
    counts = ", ".join(f"{count} {name}" for name, count in data["counts"].items())
    lines = [*_wrapped(f"plate {data['plate']}: {hold(data)}; {counts}", "", columns)]
    lines.append("what happened (z in mm above the platform):")
    for said in happened(data):
        lines += _wrapped(said, "  ", columns)
    lines.append("")
    wide = min(max(len(entry["name"]) for entry in data["parts"]), LONGEST_NAME)
    for entry in gravest_first(data["parts"]):
        head = f"{entry['name']:{wide}}  {entry['recommendation']:13} "
        lines += _wrapped(entry["finding"], head, columns)
    stop = data["stop_building"]
    if stop["parts"]:
        left = f"{near(stop['metal_left_mm3'] * 1e-3, 1)} cm3"
        if stop["mass_left_g"] is not None:
            left += f" ({near(stop['mass_left_g'], 0)} g)"
        said = f"scrap and not complete: {', '.join(stop['parts'])}; {left} not yet melted"
        lines += ["", *_wrapped(said, "", columns)]
    follows = [*alike(data["coupons"]), *alike(data["unfinished"])]
    if follows:
        lines.append("")
    for one in follows:
        lines += _wrapped(one, "", columns)
    lines.append("")
    files = f"results in {out}: plate.json, plate.csv, plate.xlsx, plate.html, plate.pdf, parts"
    for said in (*data["notices"], files):
        lines += _wrapped(said, "", columns)
    return "\n".join(lines) + "\n"


LONGEST_NAME = 20


def _wrapped(said: str, head: str, columns: int) -> list[str]:
    """A text behind a head, its further lines below it; nothing is cut, no word broken."""
    import textwrap

    under = " " * min(len(head), columns // 2) if head else "  "
    return textwrap.wrap(
        said, columns, initial_indent=head, subsequent_indent=under,
        break_long_words=False, break_on_hyphens=False,
    ) or [head.rstrip()]  # fmt: skip
