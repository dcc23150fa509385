"""Options and arguments of the commands, each declared once.

In: words of the command line. Out: numbers and paths, refused where they cannot be.
"""

from __future__ import annotations

import math
from pathlib import Path

import click

DEBUG = "clearance.debug"


def remember_debug(ctx: click.Context, _: click.Parameter, value: bool) -> None:
    """Remember that tracebacks are wanted."""
    ctx.find_root().meta[DEBUG] = value


# ---- options, each declared once -------------------------------------------------------------


def finite(_: click.Context, __: click.Parameter, value: float | None) -> float | None:
    """Refuse what is not a finite number."""
    if value is not None and not math.isfinite(value):
        raise click.BadParameter(f"{value} is not a finite number.")
    return value


def all_finite(
    ctx: click.Context, option: click.Parameter, values: tuple[float, ...]
) -> tuple[float, ...]:
    """Refuse what is not finite among several numbers."""
    for value in values:
        finite(ctx, option, value)
    return values


def positive(ctx: click.Context, option: click.Parameter, value: float | None) -> float | None:
    """Refuse what is not above 0."""
    if value is not None and value <= 0.0:
        raise click.BadParameter(f"{value:g} is not above 0.")
    return finite(ctx, option, value)


def direction(
    _: click.Context, __: click.Parameter, value: str | None
) -> tuple[float, float, float] | None:
    """Three numbers, not all zero."""
    if value is None:
        return None
    words = value.split(",")
    try:
        numbers = [float(word) for word in words]
    except ValueError:
        numbers = []
    if len(numbers) != 3 or not all(map(math.isfinite, numbers)) or not any(numbers):
        raise click.BadParameter(f"found {value}, expected three numbers X,Y,Z, not all 0.")
    x, y, z = numbers
    return x, y, z


# What is wrong with a file the rooms that read and write it say; click only makes it a path.
A_PATH = click.Path(path_type=Path, readable=False, allow_dash=True)
case_argument = click.argument("case", metavar="CASE.toml", type=A_PATH)
pitch_option = click.option(
    "--pitch",
    type=float,
    metavar="MM",
    callback=positive,
    help="Resolution: distance of the columns, above 0. Default: the case's, or chosen from the "
    "requirements. Half the pitch takes about four times as long.",
)
json_option = click.option(
    "--json",
    "json_file",
    type=A_PATH,
    metavar="FILE|-",
    help="Write the result as JSON to a file; -: to standard output, and nothing else there.",
)
report_option = click.option(
    "--report",
    "report_file",
    type=A_PATH,
    metavar="FILE.pdf",
    help="Write the disposition sheet: one page for the meeting, then a page or more for each "
    "passage that does not conform, then inputs, settings and method.",
)
paper_option = click.option(
    "--paper",
    type=click.Choice(["a4", "letter"]),
    default="a4",
    show_default=True,
    help="Paper of the report.",
)
full_option = click.option(
    "--full",
    is_flag=True,
    help="Print everything: all reasons and steps, every passage, crossing and drilling operation "
    "with its numbers, what to look for on the part, joints, assumptions and notices.",
)
margins_option = click.option(
    "--margins",
    is_flag=True,
    help="Report how many layers the height of the first stray sheet, its first wrong layer and "
    "their number may be off, each by itself, before a state or the recommendation changes. "
    "Every step up to three each way is a check of its own. Without it only the height is looked "
    "at, up to ten layers each way and for the states alone, where the sheet only adds metal.",
)
verify_option = click.option(
    "--verify/--no-verify",
    default=None,
    help="Ask a second opinion on every verdict and plan: the predicted metal is built once more "
    "as solids, by a library that shares no code with the check. A contradiction makes the "
    "recommendation undetermined. Default: asked up to 120000 triangles, of which every 20 wrong "
    "layers count once more what the part has; there it costs about a fifth of the check.",
)
memory_option = click.option(
    "--memory",
    "memory_gib",
    type=click.FloatRange(min=0.0, min_open=True),
    metavar="GIB",
    help="Memory to get by with, in GiB: what is kept, and how much goes on at a time. It orders "
    "the work and never the pitch, so the result is the same; what a single passage (of a plate: "
    "a single part) needs it takes all the same.",
)
debug_option = click.option(
    "--debug",
    is_flag=True,
    expose_value=False,
    callback=remember_debug,
    help="Show where in the program an error came up.",
)
