"""Measure what `causes` costs for 10,000 suspects against one `check` of the same part.

    python tests/benchmarks/bench_causes.py [--write]

Processor time in one process, kernels loaded. `--write`: the table of docs/performance.md. Never a
timed test: only the ratios within one run mean something.
"""

import argparse
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from make_performance import put

from clearance.case.read import read_case
from clearance.case.readings import ReadingTable
from clearance.causes.states import Outcomes
from clearance.causes.strength import ratios
from clearance.causes.weighing import Scales
from clearance.checking import judge
from clearance.verdict.prepared import prepare

ROOT = Path(__file__).parents[2]
CASE = ROOT / "cases/mould-insert"
SUSPECTED = """
[suspected]
after_layer = [600, 649]
from_layer = [0, 19]
layers = [1, 5]
resume = ["height", "layer"]
"""
READINGS: dict[str, dict[str, Any]] = {
    "height of the rim's top": {"kind": "rim_top", "value": 31.36, "u": 0.03},
    "thickness of the rim": {"kind": "rim_thickness", "value": 0.26, "u": 0.03},
    "width of the rim": {"kind": "rim_width", "value": 3.83, "u": 0.05},
    "height of the part": {"kind": "part_height", "value": 44.9, "u": 0.03},
    "mass": {"kind": "mass", "value": 1e3, "u": 1.0, "sisters": [999.0, 1000.0, 1001.0]},
    "ball": {"kind": "ball", "passage": "circuit-2", "diameter": 7.0, "result": "stops"},
    "pin": {"kind": "pin", "port": "circuit-2 inlet", "diameter": 7.0, "value": 31.0},
    "open area": {"kind": "open_area", "passage": "circuit-3", "height": 31.2,
                  "value": 5.0, "u": 1.0},
}  # fmt: skip


def spent(work: Callable[[], Any]) -> tuple[float, Any]:
    """Processor time of some work, s, and what it gives."""
    begun = time.process_time()
    found = work()
    return time.process_time() - begun, found


def measured() -> list[str]:
    """Rows of the table; each is printed as soon as it is known."""
    text = (
        (CASE / "case.toml")
        .read_text("utf-8")
        .replace('"mould-insert.3mf"', f'"{CASE}/mould-insert.3mf"')
    )
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "case.toml"
        path.write_text(text + SUSPECTED, "utf-8")
        case = read_case(path)
    checked = prepare(case)
    judge(checked)  # loads the kernels
    one = spent(lambda: judge(prepare(case)))[0]
    suspects, stray = case.suspected.suspects, case.suspected.stray
    lines = ["| what | s of processor | in checks |", "| --- | ---: | ---: |"]

    def row(what: str, seconds: float) -> None:
        lines.append(f"| {what} | {seconds:.1f} | {seconds / one:.2f} |")
        print(lines[-1], flush=True)

    row("one check of the part", one)
    total, scales = spent(lambda: Scales(checked, suspects, stray))
    row(f"{len(suspects)} suspects, their events", total)
    logs = 0.0
    for what, keys in READINGS.items():
        reading = ReadingTable.model_validate(keys)
        seconds, weighed = spent(lambda reading=reading: scales.weighed([reading]))
        row(f"{what}, of each suspect", seconds)
        total += seconds
        logs = logs + weighed.log_likelihood if keys["kind"].startswith("rim_t") else logs
    row("the sum of these", total)
    together = [ReadingTable.model_validate(keys) for keys in READINGS.values()]
    fresh = spent(lambda: Scales(checked, suspects, stray).weighed(together))[0]
    row("all of them at once, as a case has them, events included", fresh)
    likely = [n for n, ratio in enumerate(ratios(logs)) if ratio >= 1e-3]
    outcomes = Outcomes(checked, suspects, stray)
    seconds, _ = spent(lambda: outcomes._by_sections(likely))
    row(f"states of the {len(likely)} suspects that top and thickness leave", seconds)
    return lines


def main() -> None:
    """Measure, and write the table if asked."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--write", action="store_true")
    write, lines = options.parse_args().write, measured()
    if write:
        put(ROOT / "docs/performance.md", "causes", lines)


if __name__ == "__main__":
    main()
