"""The command `causes`: which event explains the part, and what to measure next.

In: the words of the command line. Out: text or JSON on standard output, files, an exit status.
"""

from __future__ import annotations

from pathlib import Path

import click

from clearance.cli.options import A_PATH, case_argument, debug_option, json_option, pitch_option
from clearance.cli.terminal import keep_line, paint, progress, show, width


@click.command(context_settings={"help_option_names": ["-h", "--help"]})
@case_argument
@json_option
@click.option(
    "--plot",
    type=A_PATH,
    metavar="FILE",
    help="Figure to write, readings against classes: .png, .pdf or .svg, one page of A4.",
)
@pitch_option
@debug_option
@click.pass_context
def causes(
    ctx: click.Context,
    case: Path,
    json_file: Path | None,
    plot: Path | None,
    pitch: float | None,
) -> None:
    """Report which event explains the readings, and what to measure next.

    \b
    clearance causes insert.toml
    clearance causes insert.toml --plot insert-causes.pdf
    clearance causes insert.toml --json - | jq .classes

    Compares every event of [suspected] with every [[reading]]: which ones a reading excludes,
    which ones no reading tells apart, how strongly the readings speak, what check would
    recommend of each, and which measurement would change that. At most 20 suspects are checked
    whole. The exit status is that of every likely suspect if all have the same (3: does not
    conform; 0: conforms), else 4.
    """  # noqa: D301 - click wants the character itself
    with progress(f"reading {case.name}") as say:
        from clearance.case.read import read_case
        from clearance.system.files import writable, write_whole

        known = read_case(case)
        to_file = json_file if json_file is not None and str(json_file) != "-" else None
        for path in (to_file, plot):
            if path is not None:
                writable(path, known.files)
        if plot is not None:
            from clearance.figures.style import SUFFIXES, figure_kind

            figure_kind(plot, SUFFIXES)
        say("loading the program")
        from clearance import first_run

        if first_run.begin(say):
            keep_line(say)
        from clearance import api

        found = api.explain(known, pitch_mm=pitch, progress=say)
        if plot is not None:
            say("drawing the figure")
            from clearance.figures.causes import causes_figure
            from clearance.figures.files import write_pages

            write_pages([causes_figure(found)], plot)
        if to_file is not None:
            write_whole(to_file, found.to_json().encode())
    if json_file is not None and to_file is None:
        show(ctx, found.to_json().encode())
    else:
        from clearance.report.causes import text

        show(ctx, text(found, width(), paint))
    ctx.exit(found.exit_status)
