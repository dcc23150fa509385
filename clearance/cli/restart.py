"""The command `restart`: the card for the machine's side, before the button is pressed.

In: the words of the command line. Out: a PDF, a few lines or JSON on standard output.
Computing is left to `restart`, imported when asked for, so that ``--help`` answers at once.
"""

from __future__ import annotations

from pathlib import Path

import click

from clearance.cli.options import A_PATH, debug_option, finite, json_option, paper_option, positive
from clearance.cli.outputs import computing, give, refuse, refuse_kind
from clearance.cli.terminal import progress


def layer_numbers(
    _: click.Context, __: click.Parameter, value: str | None
) -> tuple[int, ...] | None:
    """Layer numbers with commas between them."""
    if value is None:
        return None
    try:
        numbers = tuple(int(one) for one in value.split(","))
    except ValueError:
        raise click.BadParameter(
            f"{value!r} is not a list of layer numbers, such as 0,1,622."
        ) from None
    if min(numbers) < 0:
        raise click.BadParameter(f"{min(numbers)} is below 0.")
    return numbers


@click.command(context_settings={"help_option_names": ["-h", "--help"]})
@click.argument("file", metavar="CASE.toml|PLATE.toml", type=A_PATH)
@click.option(
    "--after-layer",
    type=click.IntRange(min=0),
    metavar="N",
    help="Last good layer, counted from 0 whatever the machine does.",
)
@click.option(
    "--at-height",
    type=float,
    metavar="Z",
    callback=finite,
    help="Instead: top of the last good layer in mm above the platform.",
)
@click.option(
    "--counts-from",
    type=click.Choice(["0", "1"]),
    help="Number that the machine gives to the first layer of a job. Without it, and without the "
    "machine's log in the case, the card asks for it first.",
)
@click.option(
    "--candidates",
    metavar="N,N,...",
    callback=layer_numbers,
    help="Wrong layers to show, counted from 0. Default: 0, 1, the last good one, one too far, "
    "one too early.",
)
@click.option(
    "--layers",
    type=click.IntRange(1, 1000),
    default=3,
    show_default=True,
    metavar="N",
    help="Wrong layers that would be melted one after another before somebody sees it.",
)
@click.option(
    "--eye",
    type=float,
    default=1.0,
    show_default=True,
    metavar="MM",
    callback=positive,
    help="A difference is seen if it holds a circle of this diameter; an assumption.",
)
@click.option(
    "--outlines-only",
    is_flag=True,
    help="Do not compute what wrong layers would seal, restrict or join: the card is there in "
    "seconds.",
)
@click.option("--output", type=A_PATH, metavar="FILE.pdf", required=True, help="Card to write.")
@json_option
@paper_option
@debug_option
@click.pass_context
def restart(
    ctx: click.Context,
    file: Path,
    after_layer: int | None,
    at_height: float | None,
    counts_from: str | None,
    candidates: tuple[int, ...] | None,
    layers: int,
    eye: float,
    outlines_only: bool,
    output: Path,
    json_file: Path | None,
    paper: str,
) -> None:
    """Draw the card for a restart: the layer that belongs there, and wrong ones.

    \b
    clearance restart insert.toml --after-layer 623 --counts-from 1 --output card.pdf
    clearance restart plate.toml --at-height 45 --output card.pdf --outlines-only
    clearance restart insert.toml --after-layer 623 --candidates 0,622 --output card.pdf --json -

    Page 1 has the number to start with, the last good layer and the caution in letters 10 mm
    high, boxes to sign, and the right layer to scale. Where the machine's counting is not
    known, it tells how to find out and has a number for either answer. Page 2 has each wrong
    layer: how it differs to the eye, and what it would seal, restrict or join. The exit
    status is 0 when the card was written: it judges no part.
    """  # noqa: D301 - click wants the character itself
    if (after_layer is None) == (at_height is None):
        raise click.UsageError("give one of --after-layer and --at-height")
    with progress(f"reading {file.name}") as say:
        from clearance.restart.asked import files
        from clearance.system.files import write_whole

        refuse_kind(output, (".pdf",))
        refuse(files(file), output=output, json=json_file)
        computing(say)
        from clearance.figures.files import pdf_bytes
        from clearance.figures.restart import restart_pages
        from clearance.report.restart import text
        from clearance.restart.card import card
        from clearance.result import as_json, as_text

        known = None if counts_from is None else int(counts_from)
        found = card(
            file, after_layer, at_height, candidates, layers, eye, not outlines_only, say, known
        )
        say("drawing the card")
        drawn = pdf_bytes(restart_pages(found, paper), f"Restart card: {found.result.name}")
        data = as_text(as_json(found.result))
        write_whole(output, drawn)
    give(ctx, json_file, data, text(found.result))
