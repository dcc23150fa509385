"""Measure `sweep` over all layers of the benchmark part against `check`, alternating.

    python tests/benchmarks/bench_sweep.py [--runs 3] [--reach] [--folder DIR]

Prints one line a run and the ratio of the medians. Never a timed test: only the ratio
within one run means something.
"""

import argparse
import statistics
import subprocess
import sys
import tempfile
from pathlib import Path

from bench import HERE, timed


def main() -> None:
    """Make the part if need be, warm the kernels, measure."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--runs", type=int, default=3)
    options.add_argument("--reach", action="store_true")
    options.add_argument(
        "--folder", type=Path, default=Path(tempfile.gettempdir()) / "clearance-bench"
    )
    given = options.parse_args()
    case = given.folder / "case.toml"
    if not (given.folder / "benchmark.stl").exists():
        subprocess.run([sys.executable, str(HERE / "make_part.py"), str(given.folder)], check=True)
    commands = {
        name: [sys.executable, "-m", "clearance", name, str(case)] for name in ("check", "sweep")
    }
    if given.reach:
        commands["sweep"].append("--reach")
    timed([*commands["sweep"], "--from", "39", "--to", "41"])  # compiles or loads the kernels
    found: dict[str, list[float]] = {name: [] for name in commands}
    for run in range(given.runs):
        for name, command in commands.items():
            found[name].append(timed(command)[0])
        print(f"run {run + 1}: " + ", ".join(f"{n} {t[-1]:.1f} s" for n, t in found.items()))
    middle = {name: statistics.median(times) for name, times in found.items()}
    print(f"sweep / check = {middle['sweep'] / middle['check']:.1f}")


if __name__ == "__main__":
    main()
