"""Draw every picture of the README and the docs: ``python docs/make_figures.py [FOLDER]``."""

from __future__ import annotations

import sys
from pathlib import Path

DOCS = Path(__file__).parent
CASES = DOCS.parent / "cases"

FIGURES = {
    "mould-insert.png": ("mould-insert", ["--at-height", "31.2"]),
    "mould-insert-drill.png": ("mould-insert", ["--drill", "circuit-2"]),
    "mould-insert-along.png": ("mould-insert", ["--along", "circuit-3"]),
}
"""File name to case and what `clearance section` is asked for."""
PLOTS = {
    "mould-insert-openings.png": ["openings", "mould-insert/mould-insert.3mf"],
    "mould-insert-sweep.png": [
        *("sweep", "mould-insert/case.toml", "--from", "20", "--to", "45", "--step", "5"),
    ],
}
"""File name to a command that draws with --plot; its first argument is a file in cases/."""
SHEETS = {"mould-insert-sheet.png": "mould-insert"}
"""File name to the case whose first sheet is drawn."""


def main(folder: Path) -> None:
    """Run the program once for each figure."""
    from clearance.api import examine
    from clearance.case.read import read_case
    from clearance.drawing.sheet import sheet
    from clearance.figures.files import write
    from clearance.figures.first_page import sheet_figures

    folder.mkdir(parents=True, exist_ok=True)
    for name, (case, asked) in FIGURES.items():
        command = ["section", str(CASES / case / "case.toml"), *asked]
        _draw(name, [*command, "--output", str(folder / name)])
    for name, (command, file, *words) in PLOTS.items():
        _draw(name, [command, str(CASES / file), *words, "--plot", str(folder / name)])
    for name, case in SHEETS.items():
        examined = examine(read_case(CASES / case / "case.toml"))
        write(sheet_figures(sheet(examined))[0], folder / name)


def _draw(name: str, words: list[str]) -> None:
    """Run a command that draws a figure, or stop with what it said."""
    from click.testing import CliRunner

    from clearance.cli.main import main as clearance

    done = CliRunner().invoke(clearance, words)
    if done.exit_code != 0:
        raise SystemExit(f"{name}: {done.output}")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else DOCS / "figures")
