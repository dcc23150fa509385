"""The terminal: results on standard output, progress on standard error.

In: words. Out: words where they belong, in the width and the colours that the
terminal has. What is said is left to the commands.
"""

from __future__ import annotations

import errno
import os
import shutil
import sys
import threading
import time
import warnings
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from typing import Any

import click

from clearance.errors import ClearanceError, ClearanceWarning

NARROWEST, WIDEST, UNKNOWN_WIDTH = 40, 100, 88
"""Columns of the text: those of the terminal within these bounds, the last if there is none."""

LOG_EVERY_S = 30.0
"""Between lines of progress where standard error is no terminal."""

COLOURS = {
    "open": 31,
    "restricted": 130,
    "blocked": 161,
    "undetermined": 98,
    "not-affected": 31,
    "use-as-is": 31,
    "rework": 130,
    "repair": 130,
    "scrap": 161,
}
"""Of the 256 that terminals share, so dark that they read on white and so bright that they read on
black: at least 4 to 1 against either, and bold."""


def show(ctx: click.Context, data: str | bytes) -> None:
    """Write a result to standard output; a reader that has gone is not an error of ours."""
    try:
        click.echo(data, nl=False, color=ctx.color)
    except OSError as fault:
        if fault.errno == errno.EPIPE:
            raise
        _abandon_stdout()
        raise ClearanceError(f"standard output cannot be written: {fault.strerror}") from None


def _abandon_stdout() -> None:
    """Let the end of the program not try once more to write what cannot be written."""
    with open(os.devnull, "w") as nowhere:
        os.dup2(nowhere.fileno(), sys.stdout.fileno())


def show_warning(message: Warning | str, category: type[Warning], *place: Any, **more: Any) -> None:
    """Show what is said of this run without the place in the program; others as they come."""
    if issubclass(category, ClearanceWarning):
        click.echo(f"warning: {message}", err=True)
    else:
        _as_they_come(message, category, *place, **more)


_as_they_come = warnings.showwarning


def width() -> int:
    """Columns of the text."""
    columns = shutil.get_terminal_size((UNKNOWN_WIDTH, 24)).columns
    return min(max(columns, NARROWEST), WIDEST)


def paint(word: str, state: str) -> str:
    """Colour a word by the state it tells."""
    return click.style(word, fg=COLOURS.get(state), bold=True)


class Line:
    """One line on a terminal, rewritten, with the seconds since the start."""

    def __init__(self) -> None:
        self.start = time.monotonic()
        self.length = 0

    def __call__(self, sentence: str) -> None:
        """Show a sentence in place of the last one."""
        room = shutil.get_terminal_size((UNKNOWN_WIDTH, 24)).columns - 1
        words = f"{time.monotonic() - self.start:6.1f} s  {sentence}"[:room]
        click.echo("\r" + words.ljust(self.length), nl=False, err=True)
        self.length = len(words)

    def keep(self) -> None:
        """Leave the line as it stands and go on below it."""
        click.echo(err=True)
        self.length = 0

    def clear(self) -> None:
        """Wipe the line."""
        click.echo("\r" + " " * self.length + "\r", nl=False, err=True)


class Log:
    """What is going on, a line every half minute: for a run whose standard error is kept."""

    def __init__(self, first: str, every_s: float = LOG_EVERY_S) -> None:
        self.start, self.sentence, self.every_s = time.monotonic(), first, every_s
        self._ended = threading.Event()
        self._writer = threading.Thread(target=self._write, daemon=True)
        self._writer.start()

    def __call__(self, sentence: str) -> None:
        """Remember what is going on."""
        self.sentence = sentence

    def _write(self) -> None:
        while not self._ended.wait(self.every_s):
            with suppress(OSError):  # who reads may have gone
                click.echo(f"{time.monotonic() - self.start:6.0f} s  {self.sentence}", err=True)

    def end(self) -> None:
        """Write no more."""
        self._ended.set()
        self._writer.join()


@contextmanager
def progress(first: str) -> Iterator[Callable[[str], None]]:
    """Progress: on a terminal a line that is rewritten, elsewhere one every half minute."""
    if sys.stderr is None:
        yield lambda _: None
        return
    if not sys.stderr.isatty():
        log = Log(first)
        try:
            yield log
        finally:
            log.end()
        return
    line = Line()
    line(first)
    try:
        yield line
    finally:
        line.clear()


def keep_line(say: Callable[[str], None]) -> None:
    """Leave what was last said where it stands, if it is a line on a terminal."""
    if isinstance(say, Line):
        say.keep()
