"""The command `sweep`: what if the sheet lay at another height.

In: the words of the command line. Out: a short table or JSON on standard output, files.
Computing is left to `sweep`, imported when asked for, so that ``--help`` answers at once.
"""

from __future__ import annotations

from pathlib import Path

import click

from clearance.cli.options import (
    A_PATH,
    case_argument,
    debug_option,
    finite,
    json_option,
    positive,
)
from clearance.cli.outputs import give, refuse, refuse_kind
from clearance.cli.terminal import paint, progress, width


@click.command(context_settings={"help_option_names": ["-h", "--help"]})
@case_argument
@click.option(
    "--from",
    "first",
    type=float,
    metavar="Z",
    callback=finite,
    help="Lowest height in mm above the platform. Default: the part's lowest layer.",
)
@click.option(
    "--to",
    "last",
    type=float,
    metavar="Z",
    callback=finite,
    help="Highest height in mm above the platform. Default: the part's last layer.",
)
@click.option(
    "--step",
    type=float,
    metavar="DZ",
    callback=positive,
    help="Distance of the heights in mm, above 0. Default: the layer thickness.",
)
@click.option(
    "--reach",
    is_flag=True,
    help="Report whether a straight drill could reopen it there, no electrode.",
)
@json_option
@click.option(
    "--plot",
    type=A_PATH,
    metavar="FILE",
    help="Figure to write: .png, .pdf or .svg, A4 landscape; more than 6 passages need .pdf.",
)
@click.option(
    "--pitch",
    type=float,
    metavar="MM",
    callback=positive,
    help="Resolution: distance of the columns, as for check.",
)
@click.option(
    "--jobs",
    type=click.IntRange(min=1),
    metavar="N",
    help="Processes at a time. Default: the processors to use.",
)
@debug_option
@click.pass_context
def sweep(
    ctx: click.Context,
    case: Path,
    first: float | None,
    last: float | None,
    step: float | None,
    reach: bool,
    json_file: Path | None,
    plot: Path | None,
    pitch: float | None,
    jobs: int | None,
) -> None:
    """Report every passage's state for all heights at which the stray sheet might lie.

    \b
    clearance sweep insert.toml
    clearance sweep insert.toml --from 20 --to 40 --plot insert-sweep.pdf
    clearance sweep insert.toml --reach --json - | jq .passages

    Moves the first stray sheet of shape layer or plane; everything else of the case stays, but
    for height_uncertainty, which the heights themselves stand for, and next_layer, which goes
    along, so that what lies above keeps its lift. States are those of check at that height. The
    exit status is 0 when it ran, whatever it found: it judges no part.
    """  # noqa: D301 - click wants the character itself
    with progress(f"reading {case.name}") as say:
        from clearance.case.read import read_case

        known = read_case(case)
        say("loading the program")
        from clearance import first_run
        from clearance.report.sweep import text
        from clearance.sweeps.in_processes import side_by_side
        from clearance.sweeps.result import written
        from clearance.sweeps.wanted import Wanted

        refuse(known.files, json=json_file, plot=plot)
        refuse_kind(plot, (".pdf",) if len(known.passage) > 12 else ())
        found = side_by_side(
            known, Wanted(first, last, step, reach), pitch, say, jobs, first_run.begin
        )
        if plot is not None:
            say("drawing the figure")
            from clearance.figures.files import write_pages
            from clearance.figures.sweep import sweep_figures

            write_pages(sweep_figures(found), plot)
    give(ctx, json_file, written(found), text(found, width(), paint))
