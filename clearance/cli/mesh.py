"""The commands `openings` and `mesh`: what a mesh file alone tells.

In: the words of the command line. Out: words and files. Computing is left to `openings` and
`mesh_faults`, imported when asked for, so that ``--help`` answers at once.
"""

from __future__ import annotations

import os
import tomllib
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from clearance.cli.options import A_PATH, debug_option, direction, json_option
from clearance.cli.outputs import file_of, give, refuse, refuse_kind
from clearance.cli.terminal import progress, width
from clearance.errors import ClearanceError

if TYPE_CHECKING:
    from clearance.axes import Direction
    from clearance.mesh.part import Part
    from clearance.report.new_case import NewCase
    from clearance.survey.openings import Openings

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


item_option = click.option(
    "--item",
    metavar="NAME",
    help="Build item of a 3MF that is meant: its object's name or its part number, with ' #2' for "
    "the second of a name. Default: all of them together.",
)


@click.command(context_settings={"help_option_names": ["-h", "--help"]})
@mesh_argument
@unit_option
@item_option
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
@click.option(
    "--new-case",
    type=A_PATH,
    metavar="FILE.toml",
    help="Case file to write, to start from: the part with its lowest z, [[passage]] for what runs "
    "through, [[closed]] for other openings, an event to fill in. What no mesh knows is left to "
    "be filled in.",
)
@click.option("--overwrite", is_flag=True, help="Write the new case file over one that is there.")
@click.option(
    "--build-direction",
    metavar="X,Y,Z",
    callback=direction,
    help="Which way is up when the part is built, in the mesh's frame, for --new-case. Default: "
    "0,0,1.",
)
@debug_option
@click.pass_context
def openings(
    ctx: click.Context,
    mesh: Path,
    unit: str,
    item: str | None,
    json_file: Path | None,
    toml: bool,
    plot: Path | None,
    new_case: Path | None,
    overwrite: bool,
    build_direction: Direction | None,
) -> None:
    """Report every opening where an internal void of a mesh reaches the outside.

    \b
    clearance openings insert.stl
    clearance openings insert.stl --new-case insert.toml
    clearance openings insert.stl --toml >> insert.toml
    clearance openings insert.stl --plot openings.pdf --json openings.json

    Openings of one connected group are connected inside. A recess that is shallower than half
    its width is no opening; tubes that begin at its floor are. The mesh has to be closed; see
    `clearance mesh`.
    """  # noqa: D301 - click wants the character itself
    if toml and json_file is not None and file_of(json_file) is None:
        raise click.UsageError("--toml and --json - both want standard output; give one a file.")
    if new_case is None and (overwrite or build_direction is not None):
        raise click.UsageError("--overwrite and --build-direction are for --new-case.")
    if new_case is not None and toml:
        raise click.UsageError("--toml and --new-case: give one of the two.")
    refuse([mesh], json=json_file, plot=plot, **{"new-case": new_case})
    refuse_kind(plot)
    if new_case is not None and new_case.exists() and not overwrite:
        raise ClearanceError(f"{new_case}: is there already; --overwrite writes over it")
    with progress(f"reading {mesh.name}") as say:
        from clearance.mesh.part import file_sha256, read_part

        part = read_part(mesh, unit, item=item)
        say("looking for openings")
        from clearance.report import openings as openings_report
        from clearance.result import as_text
        from clearance.survey.openings import find_openings

        found = find_openings(part.triangles, part.walls)
        if plot is not None:
            say("drawing")
            from clearance.figures.files import write
            from clearance.figures.openings import openings_figure

            write(openings_figure(part.triangles, found, mesh.name), plot)
        clear: list[float | None] = []
        if toml or new_case is not None:
            from clearance.verdict.proposed import clear_diameters

            tables = tomllib.loads(openings_report.toml(found)).get("passage", ())
            clear = clear_diameters(mesh, unit, tables, say, item)
    for notice in (*part.notices, *(found.notices if toml else ())):
        click.echo(f"note: {notice}", err=True)
    words = (
        openings_report.toml(found, clear)
        if toml
        else openings_report.text(found, mesh.name, width())
    )
    if new_case is not None:
        new = _begun(mesh, unit, part, found, clear, new_case.parent)
        words += _started(replace(new, item=item), part, new_case, build_direction)
    data = as_text(openings_report.as_json(found, mesh.name, file_sha256(mesh)))
    give(ctx, json_file, data, words)


@click.command(context_settings={"help_option_names": ["-h", "--help"]})
@mesh_argument
@unit_option
@item_option
@json_option
@debug_option
@click.pass_context
def mesh(
    ctx: click.Context, mesh: Path, unit: str, item: str | None, json_file: Path | None
) -> None:
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

        found = examine(mesh, unit, item)
    data = as_text(mesh_report.as_json(found))
    give(ctx, json_file, data, mesh_report.text(found, width()))
    ctx.exit(0 if found.fit else FAULTY)


def _begun(
    mesh: Path,
    unit: str,
    part: Part,
    found: Openings,
    clear: list[float | None],
    folder: Path,
) -> NewCase:
    """What a new case file in a folder is made of, for a part that stands as it is drawn."""
    from clearance.report.new_case import NewCase

    try:
        relative = os.path.relpath(mesh, folder)
    except ValueError:  # another drive
        relative = str(mesh.resolve())
    lowest = float(part.triangles[..., 2].min())
    return NewCase(mesh.stem, Path(relative).as_posix(), unit, lowest, found, clear)


def _started(new: NewCase, part: Part, file: Path, build_direction: Direction | None) -> str:
    """Write a case file to start from; returns what is left to do."""
    from clearance.axes import to_platform
    from clearance.report.new_case import new_case, told
    from clearance.system.files import write_whole

    if build_direction is not None:
        lowest = float(to_platform(part.triangles, build_direction)[..., 2].min())
        new = replace(new, lowest_mm=lowest, build_direction=build_direction)
    write_whole(file, new_case(new).encode())
    return f"\n{told(new, str(file))}"
