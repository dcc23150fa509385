"""The command `photo`: which slice a picture of a melted layer can be.

In: the words of the command line. Out: words and files. Computing is left to `photo`, imported when
asked for, so that ``--help`` answers at once.
"""

from __future__ import annotations

from pathlib import Path

import click

from clearance.cli.options import A_PATH, debug_option, finite, json_option
from clearance.cli.outputs import computing, give, refuse
from clearance.cli.terminal import progress, width


@click.command(context_settings={"help_option_names": ["-h", "--help"]})
@click.argument("image", metavar="IMAGE", type=A_PATH)
@click.argument("file", metavar="CASE.toml|PLATE.toml", type=A_PATH)
@click.option(
    "--points",
    type=A_PATH,
    metavar="FILE",
    required=True,
    help="Points known in the picture, four or more, a line 'px py x y' for each: pixels from the "
    "middle of the upper left one to the right and down; mm on the platform (of a part alone: x, y "
    "of the part as it stands).",
)
@click.option(
    "--height",
    type=float,
    metavar="Z",
    callback=finite,
    help="Underside of the layer pictured, mm above the platform as the machine stood: for the "
    "[[reading]] that is printed.",
)
@json_option
@debug_option
@click.pass_context
def photo(
    ctx: click.Context,
    image: Path,
    file: Path,
    points: Path,
    height: float | None,
    json_file: Path | None,
) -> None:
    """Compare a picture of a melted layer with every slice.

    \b
    clearance photo layer-624.png insert.toml --points points.txt --height 31.2
    clearance photo layer-624.png plate.toml --points points.txt --json -

    Says which slices the picture can be, with the overlap of each, and prints a [[reading]] for
    the case file. Slices that differ by less than the picture's edges are off cannot be told
    apart. The exit status is 0 when it was compared: it judges no part.
    """  # noqa: D301 - click wants the character itself
    with progress(f"reading {image.name}") as say:
        from clearance.restart.asked import files

        refuse((image, points, *files(file)), json=json_file)
        computing(say)
        from clearance.photo.answer import photo as answered
        from clearance.report.photo import text
        from clearance.result import as_json, as_text

        found = answered(image, file, points, say)
    give(ctx, json_file, as_text(as_json(found)), text(found, height, width()))
