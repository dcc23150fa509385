"""Measure `check` on the benchmark part against the dense floor, alternating, whole processes.

    python tests/benchmarks/bench.py [--runs 5] [--pitch 0.2] [--folder DIR]

Prints one line a run and the ratio of the medians. Never a timed test: machines are
shared and noisy, only the ratio within one run means something.
"""

import argparse
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

HERE = Path(__file__).parent


def timed(command: list[str]) -> tuple[float, float]:
    """Seconds and peak memory (GiB, of the largest child so far) of a whole process."""
    start = time.perf_counter()
    subprocess.run(command, check=False, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    seconds = time.perf_counter() - start
    return seconds, resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 2**20


def main() -> None:
    """Make the part if need be, warm the kernels, measure."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--runs", type=int, default=5)
    options.add_argument("--pitch", type=float, default=0.2)
    options.add_argument(
        "--folder", type=Path, default=Path(tempfile.gettempdir()) / "clearance-bench"
    )
    given = options.parse_args()
    case, mesh = given.folder / "case.toml", given.folder / "benchmark.stl"
    if not mesh.exists():
        subprocess.run([sys.executable, str(HERE / "make_part.py"), str(given.folder)], check=True)
    grid = given.folder / f"grid-{given.pitch:g}.npy"
    if not grid.exists():
        sys.path.insert(0, str(HERE))
        from floor import make_grid

        make_grid(mesh, given.pitch, grid)
    cells = int(np.prod(np.load(grid, mmap_mode="r").shape))
    check = [sys.executable, "-m", "clearance", "check", str(case), "--pitch", str(given.pitch)]
    floor = [sys.executable, str(HERE / "floor.py"), str(mesh), str(grid)]
    _, memory = timed(check)  # compiles or loads the kernels; the check is measured alone first
    print(
        f"peak memory of check {memory:.2f} GiB, {memory * 2**30 / cells:.1f} bytes per dense cell"
    )
    found: dict[str, list[float]] = {"check": [], "floor": []}
    for run in range(given.runs):
        for name, command in (("floor", floor), ("check", check)):
            seconds, _ = timed(command)
            found[name].append(seconds)
        print(f"run {run + 1}: floor {found['floor'][-1]:.2f} s, check {found['check'][-1]:.2f} s")
    middle = {name: statistics.median(times) for name, times in found.items()}
    ratio = middle["check"] / middle["floor"]
    print(f"{cells:.3e} dense cells, pitch {given.pitch:g} mm: check / floor = {ratio:.2f}")


if __name__ == "__main__":
    main()
