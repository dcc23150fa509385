"""The command `view`: a page to turn in the hand.

In: the words of the command line. Out: one HTML or glTF file, and a line on standard output.
Computing is left to others, imported when asked for, so that ``--help`` answers at once.
"""

from __future__ import annotations

from pathlib import Path

import click

from clearance.cli.options import A_PATH, case_argument, debug_option, pitch_option
from clearance.cli.outputs import computing, refuse
from clearance.cli.terminal import progress, show
from clearance.errors import ClearanceError

KINDS = (".html", ".glb")


@click.command(context_settings={"help_option_names": ["-h", "--help"]})
@case_argument
@click.option(
    "--output",
    type=A_PATH,
    metavar="FILE",
    required=True,
    help="File to write: .html, a page that any browser opens without a network, or .glb, "
    "glTF 2.0 (ISO/IEC 12113) for other programs.",
)
@pitch_option
@debug_option
@click.pass_context
def view(ctx: click.Context, case: Path, output: Path, pitch: float | None) -> None:
    """Write a page on which the part can be turned, with its passages and stray metal.

    \b
    clearance view insert.toml --output insert.html
    clearance view insert.toml --output insert.glb

    The part is clear as glass; passages are tubes in the colour and dashes of their state, with
    names at their ports; stray metal, unmelted gaps, trapped powder, drills and holders can be
    shown or left out, all above a height taken away, and the numbers of a crossing read. The
    page holds all that it needs and contacts no address. The exit status is 0 when the file was
    written, whatever it shows.
    """  # noqa: D301 - click wants the character itself
    if output.suffix.lower() not in KINDS:
        raise ClearanceError(
            f"{output}: found {output.suffix or 'no ending'}, expected .html or .glb"
        )
    with progress(f"reading {case.name}") as say:
        from clearance.case.read import read_case
        from clearance.system.files import write_whole

        known = read_case(case)
        refuse(known.files, output=output)
        computing(say)
        from clearance import api

        examined = api.examine(known, pitch_mm=pitch, verify=False, progress=say)
        say("drawing")
        from clearance.view.scene import scene

        shown = scene(examined)
        if output.suffix.lower() == ".glb":
            from clearance.view.gltf import glb as written
        else:
            from clearance.view.page import page as written
        data = written(shown)
        write_whole(output, data)
    show(ctx, f"{output}: {len(data) / 1e6:.1f} MB, {len(shown.bodies)} bodies; {shown.call}\n")
