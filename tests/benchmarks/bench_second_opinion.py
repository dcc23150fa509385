"""Measure what the second opinion adds to `check` where it is asked for by itself.

    python tests/benchmarks/bench_second_opinion.py [--runs 3] [CASE.toml ...]

Processor seconds (children included) of whole commands, without it and with it, alternating; the
least of the runs counts, since a busy machine only adds. Without cases: the shipped ones, and small
blocks with a bore whose mesh is made ever finer. Never a timed test.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent))

import make
import shapes

EDGES_MM = (0.75, 0.52, 0.262, 0.21)
"""Longest edge of the made parts: about 14, 23, 59 and 84 thousand triangles."""


def made(folder: Path) -> list[Path]:
    """Cases of small parts in meshes far finer than they need, at a coarse and a fine pitch."""
    block = shapes.block((0, 0, 0), (14, 14, 12)) - shapes.bore((7, 7, -1), (7, 7, 13), 3.0)
    way = make.passage((7, 7, 0), (7, 7, 12), 3.0, 5.0)
    found = []
    for edge in EDGES_MM:
        for pitch in (0.2, 0.05):
            here = folder / f"edge-{edge:g}-pitch-{pitch:g}"
            here.mkdir(parents=True, exist_ok=True)
            event = make.sheet(6.0, 2, resume_shift=[0.3, 0.0])
            fine = block.refine_to_length(edge)
            found.append(make.write_case(here, fine, way, event, layer=0.5, pitch=pitch))
    return found


def spent(case: Path, *options: str) -> tuple[float, str]:
    """Processor seconds of a check, and what it says of the second opinion."""
    command = [sys.executable, "-m", "clearance", "check", str(case), "--json", "-", *options]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL) as running:
        assert running.stdout is not None
        said = running.stdout.read().decode()
        _, status, used = os.wait4(running.pid, 0)
        running.returncode = os.waitstatus_to_exitcode(status)
    asked = "not asked" if "not asked for: the part" in said else "by itself"
    return used.ru_utime + used.ru_stime, asked


def main() -> None:
    """Measure, and print one line a case."""
    options = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    options.add_argument("--runs", type=int, default=3)
    options.add_argument("cases", type=Path, nargs="*")
    given = options.parse_args()
    with tempfile.TemporaryDirectory() as folder:
        shipped = sorted((Path(__file__).parent.parent.parent / "cases").glob("*/case.toml"))
        for case in given.cases or [*shipped, *made(Path(folder))]:
            spent(case, "--no-verify")  # compiles or loads the kernels
            without, alone = [], []
            for _ in range(given.runs):
                without.append(spent(case, "--no-verify")[0])
                seconds, asked = spent(case)
                alone.append(seconds)
            more = max(min(alone) - min(without), 0.0)
            print(
                f"{case.parent.name:24s} {min(without):6.2f} s without, {more:5.2f} more with: "
                f"{more / min(without):.2f} of the check, {asked}",
                flush=True,
            )


if __name__ == "__main__":
    main()
