"""The commands `openings` and `mesh`: what a mesh file alone tells.

In: the words of the command line. Out: words and files. Computing is left to `openings` and
`mesh_faults`, imported when asked for, so that ``--help`` answers at once.
"""

from __future__ import annotations

import tomllib
from pathlib import Path

import click

from clearance.cli.options import A_PATH, debug_option, json_option
from clearance.cli.outputs import file_of, give, refuse, refuse_kind
from clearance.cli.terminal import progress, width

FAULTY = 3
"""Exit status of a mesh that `check` would refuse, or that has flat sheets of its own."""
UNITS = ("mm", "cm", "m", "um", "in", "inch", "foot")


mesh_argument = click.argument("mesh", metavar="MESH", type=A_PATH)
unit_option = click.option(
    "--unit",
    type=click.Choice(UNITS),
    default="mm",
    show_default=True,
    help="Unit of a mesh that carries none (STL, PLY, OBJ); a 3MF's own unit wins.",
)


@click.command(context_settings={"help_option_names": ["-h", "--help"]})
@mesh_argument
@unit_option
@json_option
@click.option(
    "--toml",
    is_flag=True,
    help="Print [[passage]] tables instead, ready to paste into a case file: in each connected "
    "group from the first opening to each other one, and what passes there in the nominal part.",
)
@click.option(
    "--plot",
    type=A_PATH,
    metavar="FILE",
    help="Figure to write: four views with the openings numbered; .png, .pdf or .svg.",
)
@debug_option
@click.pass_context
def openings(
    ctx: click.Context,
    mesh: Path,
    unit: str,
    json_file: Path | None,
    toml: bool,
    plot: Path | None,
) -> None:
    """Report every opening where an internal void of a mesh reaches the outside.

    \b
    clearance openings insert.stl
    clearance openings insert.stl --toml >> insert.toml
    clearance openings insert.stl --plot openings.pdf --json openings.json

    Openings of one connected group are connected inside. A recess that is shallower than half
    its width is no opening; tubes that begin at its floor are. The mesh has to be closed; see
    `clearance mesh`.
    """  # noqa: D301 - click wants the character itself
    if toml and json_file is not None and file_of(json_file) is None:
        raise click.UsageError("--toml and --json - both want standard output; give one a file.")
    refuse([mesh], json=json_file, plot=plot)
    refuse_kind(plot)
    with progress(f"reading {mesh.name}") as say:
        from clearance.mesh.part import file_sha256, read_part

        part = read_part(mesh, unit)
        say("looking for openings")
        from clearance.report import openings as openings_report
        from clearance.result import as_text
        from clearance.survey.openings import find_openings

        found = find_openings(part.triangles)
        if plot is not None:
            say("drawing")
            from clearance.figures.files import write
            from clearance.figures.openings import openings_figure

            write(openings_figure(part.triangles, found, mesh.name), plot)
        clear: list[float | None] = []
        if toml:
            from clearance.verdict.proposed import clear_diameters

            tables = tomllib.loads(openings_report.toml(found)).get("passage", ())
            clear = clear_diameters(mesh, unit, tables, say)
    for notice in part.notices:
        click.echo(f"note: {notice}", err=True)
    if toml:
        for notice in found.notices:
            click.echo(f"note: {notice}", err=True)
    words = (
        openings_report.toml(found, clear)
        if toml
        else openings_report.text(found, mesh.name, width())
    )
    data = as_text(openings_report.as_json(found, mesh.name, file_sha256(mesh)))
    give(ctx, json_file, data, words)


@click.command(context_settings={"help_option_names": ["-h", "--help"]})
@mesh_argument
@unit_option
@json_option
@debug_option
@click.pass_context
def mesh(ctx: click.Context, mesh: Path, unit: str, json_file: Path | None) -> None:
    """Report on a mesh file: whether it is sound, and whether it could be the cause.

    \b
    clearance mesh insert.stl
    clearance mesh insert.stl --unit inch --json -

    Says whether it is closed and where not, triangles that are turned, doubled or without
    area, pieces that overlap, chord error of round walls, thinnest wall and gap, and flat sheets
    across voids that the file has of its own. The exit status is 0 for a mesh that `check` takes,
    3 for one that it refuses or that has such sheets, 2 for a file that cannot be read as a mesh.
    """  # noqa: D301 - click wants the character itself
    refuse([mesh], json=json_file)
    with progress(f"examining {mesh.name}"):
        from clearance.report import mesh as mesh_report
        from clearance.result import as_text
        from clearance.survey.faults import examine

        found = examine(mesh, unit)
    data = as_text(mesh_report.as_json(found))
    give(ctx, json_file, data, mesh_report.text(found, width()))
    ctx.exit(0 if found.fit else FAULTY)
