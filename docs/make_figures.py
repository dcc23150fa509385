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
SHEETS = {"mould-insert-sheet.png": "mould-insert"}
"""File name to the case whose first sheet is drawn."""


def main(folder: Path) -> None:
    """Run the program once for each figure."""
    from click.testing import CliRunner

    from clearance.case import read_case
    from clearance.check import examine
    from clearance.checked import prepare
    from clearance.cli import main as clearance
    from clearance.plots import write
    from clearance.sheet import sheet
    from clearance.sheet_pages import sheet_figures

    folder.mkdir(parents=True, exist_ok=True)
    for name, (case, asked) in FIGURES.items():
        command = ["section", str(CASES / case / "case.toml"), *asked]
        done = CliRunner().invoke(clearance, [*command, "--output", str(folder / name)])
        if done.exit_code != 0:
            raise SystemExit(f"{name}: {done.output}")
    for name, case in SHEETS.items():
        examined = examine(prepare(read_case(CASES / case / "case.toml")))
        write(sheet_figures(sheet(examined))[0], folder / name)


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else DOCS / "figures")
