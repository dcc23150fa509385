"""The command `causes`: which event explains the part, and what to measure next.

In: the words of the command line. Out: text or JSON on standard output, files, an exit status.
"""

from __future__ import annotations

from pathlib import Path

import click

from clearance.cli.options import A_PATH, case_argument, debug_option, json_option, pitch_option
from clearance.cli.outputs import computing, give, refuse, refuse_kind
from clearance.cli.terminal import paint, progress, width


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

        known = read_case(case)
        refuse(known.files, json=json_file, plot=plot)
        refuse_kind(plot)
        computing(say)
        from clearance import api
        from clearance.report.causes import text

        found = api.explain(known, pitch_mm=pitch, progress=say)
        if plot is not None:
            say("drawing the figure")
            from clearance.figures.causes import causes_figure
            from clearance.figures.files import write_pages

            write_pages([causes_figure(found)], plot)
    give(ctx, json_file, found.to_json(), text(found, width(), paint))
    ctx.exit(found.exit_status)
