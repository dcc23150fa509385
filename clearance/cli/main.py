"""The command line: arguments in, words and files out, and one exit status.

Results go to standard output, everything else to standard error. Imports of the
computing rooms stay inside the commands, so that ``--help`` answers at once.
"""

from __future__ import annotations

import importlib
import os
import signal
import sys
import threading
import warnings
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from clearance import __version__
from clearance.cli.outputs import computing, give, refuse, refuse_kind
from clearance.cli.terminal import paint, progress, show, show_warning, width
from clearance.errors import ClearanceError, LostError

if TYPE_CHECKING:
    from clearance.checking import Examined
    from clearance.result import Result
from clearance.cli.options import (
    A_PATH,
    DEBUG,
    all_finite,
    case_argument,
    debug_option,
    full_option,
    json_option,
    margins_option,
    memory_option,
    paper_option,
    pitch_option,
    report_option,
    verify_option,
)

NO_VERDICT, BAD_INPUT = 1, 2
INTERRUPTED = "interrupted, no verdict"
GUIDE = "bush.stl"
"""A name in the folder of guide bushes: whether it can be written is seen beforehand."""
ELSEWHERE = {
    "causes": ("clearance.cli.causes", "Report which event explains the readings, what next."),
    "mesh": ("clearance.cli.mesh", "Report on a mesh file: is it sound, could it be the cause?"),
    "openings": ("clearance.cli.mesh", "Report every opening of the voids inside a mesh."),
    "photo": ("clearance.cli.photo", "Report which slice a picture of a melted layer can be."),
    "plate": ("clearance.cli.plate", "Report on every part of a plate under one event."),
    "restart": ("clearance.cli.restart", "Draw the card for a restart, before it is begun."),
    "sweep": ("clearance.cli.sweep", "Report the states for all heights of the stray sheet."),
    "view": ("clearance.cli.view", "Write a page on which the part can be turned."),
}
"""Commands of other rooms: the room, and what the list of commands says of them."""


# ---- one place for every way to end ----------------------------------------------------------


class Interrupts:
    """Remembers that Ctrl-C was pressed.

    A compiled kernel that returns just then turns the exception into another one, and a
    callback of the compiler loses it.
    """

    seen = False

    def __enter__(self) -> Interrupts:
        """Take over from Python's own handler, if that is in force."""
        self.seen = False
        self.mine = (
            threading.current_thread() is threading.main_thread()
            and signal.getsignal(signal.SIGINT) is signal.default_int_handler
        )
        if self.mine:
            signal.signal(signal.SIGINT, self._note)
        return self

    def __exit__(self, *_: object) -> None:
        """Hand back."""
        if self.mine:
            signal.signal(signal.SIGINT, signal.default_int_handler)

    def _note(self, *_: object) -> None:
        self.seen = True
        raise KeyboardInterrupt

    def stop_if_seen(self) -> None:
        """Raise what was lost, before a result is written."""
        if self.seen:
            raise KeyboardInterrupt


interrupts = Interrupts()


class Commands(click.Group):
    """The group that turns what went wrong into a message and an exit status.

    Commands of other rooms are imported when they are asked for. Their one-line help stands in
    `ELSEWHERE`, so that the list of commands imports none of them.
    """

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names of all commands, those of other rooms with them."""
        return sorted({*super().list_commands(ctx), *ELSEWHERE})

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import a command's room if it is another one."""
        if cmd_name not in ELSEWHERE:
            return super().get_command(ctx, cmd_name)
        room, _ = ELSEWHERE[cmd_name]
        command: click.Command = getattr(importlib.import_module(room), cmd_name)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """List the commands with their one-line help."""
        rows = []
        for name in self.list_commands(ctx):
            own = self.commands.get(name)
            rows.append((name, ELSEWHERE[name][1] if own is None else own.get_short_help_str(70)))
        with formatter.section("Commands"):
            formatter.write_dl(rows)

    def invoke(self, ctx: click.Context) -> Any:
        """Run a command; no traceback for what a user can mend."""
        try:
            with interrupts:
                return super().invoke(ctx)
        except ClearanceError as fault:
            _fail(ctx, str(fault), BAD_INPUT)
        except LostError as fault:
            _fail(ctx, f"{fault}; no verdict", NO_VERDICT)
        except MemoryError:
            _fail(ctx, "the memory does not suffice; give a larger --pitch", BAD_INPUT)
        except KeyboardInterrupt:
            _fail(ctx, INTERRUPTED, NO_VERDICT)
        except Exception:
            if not interrupts.seen:
                raise
            _fail(ctx, INTERRUPTED, NO_VERDICT)


def _fail(ctx: click.Context, message: str, status: int) -> None:
    if ctx.find_root().meta.get(DEBUG):
        import traceback

        traceback.print_exc()
    click.echo(f"error: {message}", err=True)
    ctx.exit(status)


@click.group(
    cls=Commands,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 88},
)
@click.version_option(__version__, prog_name="clearance", message="%(prog)s %(version)s")
@click.pass_context
def main(ctx: click.Context) -> None:
    """Report whether passages of a powder-bed-fusion part still run through after stray layers.

    \b
    clearance check CASE.toml
    clearance section CASE.toml --at-height 31.2 --output section.pdf

    Exit status: 0 everything conforms; 1 no verdict (a crash or an interrupt); 2 bad input;
    3 a requirement fails, or rework, repair or scrap is recommended; 4 something is undetermined.

    The program recommends; it never releases a part.
    """  # noqa: D301 - click wants the character itself
    if os.environ.get("NO_COLOR"):
        ctx.color = False
    warnings.showwarning = show_warning
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):  # a name that the terminal cannot show is no fault
            stream.reconfigure(errors="replace")


# ---- commands --------------------------------------------------------------------------------


@main.command()
@case_argument
@pitch_option
@json_option
@report_option
@paper_option
@full_option
@margins_option
@verify_option
@memory_option
@debug_option
@click.pass_context
def check(
    ctx: click.Context,
    case: Path,
    pitch: float | None,
    json_file: Path | None,
    report_file: Path | None,
    paper: str,
    full: bool,
    margins: bool,
    verify: bool | None,
    memory_gib: float | None,
) -> None:
    """Report on every passage of one part.

    \b
    clearance check insert.toml
    clearance check insert.toml --full
    clearance check insert.toml --pitch 0.1 --json insert.json
    clearance check insert.toml --report insert.pdf
    clearance check insert.toml --json - | jq .passages

    Prints the recommendation, the passages with the gravest first, what else is grave, what is
    needed to decide and the next steps; with --full everything that was found. The exit status
    tells the verdict: 0 conforms, 3 does not (a requirement fails, or the part is recommended for
    rework, repair or scrap), 4 something is undetermined.
    """  # noqa: D301 - click wants the character itself
    with progress(f"reading {case.name}") as say:
        from clearance.case.read import read_case

        known = read_case(case)
        refuse(known.files, json=json_file, report=report_file)
        refuse_kind(report_file, (".pdf",))
        computing(say)
        from clearance import api
        from clearance.report.full import text as full_text
        from clearance.report.short import text as short_text
        from clearance.system.files import write_whole

        examined = api.examine(
            known,
            pitch_mm=pitch,
            margins=margins,
            verify=verify,
            memory_gib=memory_gib,
            progress=say,
        )
        result: Result = examined.in_mesh_axes
        drawn = None if report_file is None else _report(examined, paper, say)
    interrupts.stop_if_seen()
    if report_file is not None and drawn is not None:
        write_whole(report_file, drawn)
    text, event = full_text if full else short_text, bool(examined.checked.case.stray)
    words = text(examined.on_paper, width(), paint, event)
    give(ctx, json_file, result.to_json(), f"{words}\n")
    ctx.exit(result.exit_status)


@main.command()
@case_argument
@click.option(
    "--at-height",
    "heights",
    type=float,
    metavar="Z",
    multiple=True,
    callback=all_finite,
    help="Height of a horizontal section in mm above the platform, as in [[stray]] height. Within "
    "a stray sheet the section is taken in the middle of the layer that holds it; where the part "
    "has a lateral offset it shows what is open on both sides of the step.",
)
@click.option(
    "--along",
    metavar="PASSAGE",
    multiple=True,
    help="Clear diameter and open area along the way of a passage, nominal and predicted, from "
    "inlet to outlet.",
)
@click.option(
    "--drill",
    metavar="PASSAGE",
    multiple=True,
    help="Section through the axis of the drill that reopens a passage; if none does, through "
    "its port and the sheet, with the reason.",
)
@click.option(
    "--output",
    type=A_PATH,
    metavar="FILE",
    help="Figure to write: .png, .pdf or .svg, A4 landscape; several pages need .pdf.",
)
@click.option(
    "--guide",
    type=A_PATH,
    metavar="DIR",
    help="Folder for a guide bush for each drilling operation of --drill: a closed mesh (STL, mm, "
    "in the case's coordinates) that sits on the opening's face, and its set-up in a text beside "
    "it; with it --output may be left out.",
)
@pitch_option
@debug_option
@click.pass_context
def section(
    ctx: click.Context,
    case: Path,
    heights: tuple[float, ...],
    along: tuple[str, ...],
    drill: tuple[str, ...],
    output: Path | None,
    guide: Path | None,
    pitch: float | None,
) -> None:
    """Draw sections of the predicted part, one or several to one PDF.

    \b
    clearance section insert.toml --at-height 31.2 --output insert-31.pdf
    clearance section insert.toml --along circuit-2 --output along.png
    clearance section insert.toml --drill circuit-2 --output drill.pdf
    clearance section insert.toml --drill circuit-2 --guide bushes
    clearance section insert.toml --at-height 31.2 --along circuit-2 --output both.pdf

    Passages are coloured and hatched by their state, stray metal is near-black. A detail shows
    the worst crossing if the height lies in a stray sheet. Scales hold on A4 paper. The exit
    status is 0 when the figure was written, whatever it shows.
    """  # noqa: D301 - click wants the character itself
    count = len(heights) + len(along) + len(drill)
    if not count:
        raise click.UsageError("give at least one of --at-height, --along and --drill")
    if guide is not None and not drill:
        raise click.UsageError("--guide takes the operations of --drill PASSAGE; none was given")
    if output is None and (guide is None or heights or along):
        raise click.UsageError("Missing option '--output'.")
    with progress(f"reading {case.name}") as say:
        from clearance.case.read import read_case

        known = read_case(case)
        refuse(known.files, output=output, guide=None if guide is None else guide / GUIDE)
        refuse_kind(output, (".pdf",) if count > 1 else ())
        computing(say)
        from clearance.figures.files import write_pages
        from clearance.figures.sections import Asked, known_passages, section_pages
        from clearance.system.files import write_all

        known_passages(known, (*along, *drill))
        asked = Asked(heights, along, drill, guide is not None, output is not None)
        drawn = section_pages(known, pitch, asked, say)
        interrupts.stop_if_seen()
        bushes = {} if guide is None else {guide / n: data for n, data in drawn.guides.items()}
        refuse(known.files, **{path.name: path for path in bushes})
        if output is not None:
            write_pages(drawn.pages, output)
        write_all(bushes)
    lines = [data.decode() for path, data in bushes.items() if path.suffix == ".txt"]
    if lines:
        show(ctx, "".join(lines))


def _report(examined: Examined, paper: str, say: Callable[[str], None]) -> bytes:
    from clearance.drawing.sheet import sheet
    from clearance.figures.first_page import report

    drawn = sheet(examined, say)
    say("drawing the report")
    return report(drawn, paper)
