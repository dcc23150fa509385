"""What a command writes: refused before the long work begins, given at its end.

In: the files that the words of the command line name, JSON and words. Out: files, standard output.
Imports stay inside the functions, so that ``--help`` answers at once.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from pathlib import Path

import click

from clearance.cli.terminal import keep_line, show
from clearance.errors import ClearanceError


def file_of(path: Path | None) -> Path | None:
    """The file that an option names: none where it is not given, or is standard output."""
    return None if path is None or str(path) == "-" else path


def refuse(inputs: Iterable[Path], **options: Path | None) -> None:
    """Refuse outputs that cannot be written, or would overwrite an input or each other.

    `options`: the file of each option, by its name without the dashes.
    """
    from clearance.system.files import writable

    inputs, taken = list(inputs), dict[Path, str]()
    for option, path in options.items():
        file = file_of(path)
        if file is None:
            continue
        writable(file, inputs)
        other = taken.setdefault(file.resolve(), option)
        if other != option:
            raise ClearanceError(f"{file}: found in --{other} and --{option}, expected two files")


def refuse_kind(path: Path | None, only: tuple[str, ...] = ()) -> None:
    """Refuse a figure that cannot be written as its name says."""
    if path is not None:
        from clearance.figures.style import SUFFIXES, figure_kind

        figure_kind(path, only or SUFFIXES)


def computing(say: Callable[[str], None]) -> None:
    """Import what computes; say so if its kernels have to be compiled first."""
    say("loading the program")
    from clearance import first_run

    if first_run.begin(say):
        keep_line(say)


def give(ctx: click.Context, json_file: Path | None, data: str, words: str) -> None:
    """Write the JSON where it is wanted, and the words unless it takes their place."""
    from clearance.system.files import write_whole

    file = file_of(json_file)
    if file is not None:
        write_whole(file, data.encode())
    show(ctx, words if file is not None or json_file is None else data.encode())
