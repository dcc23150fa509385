"""Write docs/cli.md from the help of the commands: ``python docs/make_cli.py``."""

from __future__ import annotations

import inspect
from pathlib import Path

import click

from clearance.cli.main import main

PAGE = Path(__file__).with_name("cli.md")

OPENING = """\
# Command line

Written by `docs/make_cli.py` from the program's own help; a test compares them. Results go to
standard output; progress (on a terminal a line that is rewritten, elsewhere one every half
minute), warnings and errors to standard error.

| exit status | meaning |
|---|---|
| 0 | everything conforms (for `section`: the figure was written; for `sweep`: it ran) |
| 1 | no verdict: a crash or an interrupt |
| 2 | bad input or usage; one message on standard error, nothing written |
| 3 | something does not conform |
| 4 | nothing is known not to conform, but something is undetermined |

A part does not conform (3) where a stated requirement fails (clear diameter, open fraction,
branches, circuits apart, pressure loss), where its finished shape is not inside the metal, or where
the recommendation is rework, repair or scrap; else 4 where anything is undetermined, the
recommendation included; else 0. `plate` ends with the
gravest of its parts in the order 1, 2, 3, 4, 0.

Files appear whole: they are written under a temporary name and then renamed. Colours only repeat
what the words say, and `NO_COLOR` turns them off. Words keep within the terminal's columns, 40 to
100 of them (88 where there is no terminal); `COLUMNS` says otherwise.

**Completion.** Shells complete commands, options and files once they are told how, by one line in
their start-up file (click's own completion; the line runs the program each time a shell starts):

| shell | line | file |
|---|---|---|
| bash 4.4 or newer | `eval "$(_CLEARANCE_COMPLETE=bash_source clearance)"` | `~/.bashrc` |
| zsh | `eval "$(_CLEARANCE_COMPLETE=zsh_source clearance)"` | `~/.zshrc` |
| fish | `_CLEARANCE_COMPLETE=fish_source clearance \\| source` | `config.fish` |
"""


def page() -> str:
    """Text of docs/cli.md."""
    whole = click.Context(main, info_name="clearance", terminal_width=88, **main.context_settings)
    contexts = [whole]
    for name in main.list_commands(whole):
        command = main.get_command(whole, name)
        assert command is not None
        contexts.append(click.Context(command, info_name=name, parent=whole))
    return "\n".join([OPENING, *map(_section, contexts)])


def _section(context: click.Context) -> str:
    text = inspect.cleandoc(context.get_help())
    return f"## `{context.command_path}`\n\n```text\n{text}\n```\n"


if __name__ == "__main__":
    PAGE.write_text(page(), encoding="utf-8")
