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


def main(folder: Path) -> None:
    """Run the program once for each figure."""
    from click.testing import CliRunner

    from clearance.cli import main as clearance

    folder.mkdir(parents=True, exist_ok=True)
    for name, (case, asked) in FIGURES.items():
        command = ["section", str(CASES / case / "case.toml"), *asked]
        done = CliRunner().invoke(clearance, [*command, "--output", str(folder / name)])
        if done.exit_code != 0:
            raise SystemExit(f"{name}: {done.output}")


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else DOCS / "figures")
