"""Measure what work grows with, row by row, by processor time, against what each row asks for.

    python tests/benchmarks/bench_rows.py [ROW ...] [--write] [--folder DIR]

Without a row: their names. Whole processes, kernels loaded; a row and what it is compared with run
one after the other. `--write`: the rows that were measured, in the table of docs/performance.md;
the others stay as they are. Never a timed test: only the ratios within one run mean something.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE)]

import floor  # noqa: E402
import make_performance as measured  # noqa: E402
import make_tubes  # noqa: E402

CASES = HERE.parents[1] / "cases"
RUN = ("-m", "clearance")
CHECK = measured.CHECK
Words = tuple[object, ...]
UNMEASURED = "| {} | | | | {} | not measured |"


class Row(NamedTuple):
    """What is measured, what it is compared with, how, and the ratio that is to be reached."""

    what: str
    work: Callable[[Path], Words]
    beside: Callable[[Path], Words]
    target: str
    heights: int = 0  # so many more heights than one, whose cost each is asked for


def benchmark(folder: Path) -> Path:
    """The case of the benchmark part, made if need be."""
    return measured.prepared(folder / "benchmark")[0]


def unknown_resume(folder: Path) -> Path:
    """The same with both ways to go on."""
    case = benchmark(folder)
    text = case.read_text(encoding="utf-8").replace('resume = "height"\n', "")
    return _written(case.with_name("unknown-resume.toml"), text)


def tubes(name: str) -> Callable[[Path], Path]:
    """A case of the part with a plenum."""

    def made(folder: Path) -> Path:
        if not (folder / "plenum" / "part.stl").exists():
            make_tubes.make_plenum(folder / "plenum")
        return folder / "plenum" / f"{name}.toml"

    return made


def bores(name: str) -> Callable[[Path], Path]:
    """A case of the part with two bores; `moves`: what lies above moves down, as by number."""

    def made(folder: Path) -> Path:
        make_tubes.make_range(folder / "range")
        known = folder / "range" / "known.toml"
        text = known.read_text(encoding="utf-8").replace('"height"', '"layer"')
        _written(known.with_name("moves.toml"), text)
        return known.with_name(f"{name}.toml")

    return made


def small(folder: Path) -> Path:
    """The block with one bore."""
    case = folder / "small" / "case.toml"
    return case if case.exists() else measured.small_case(case.parent)


def _written(path: Path, text: str) -> Path:
    path.write_text(text, encoding="utf-8")
    return path


def check(case: Callable[[Path], Path], *more: object) -> Callable[[Path], Words]:
    """One check, without second opinion unless `more` asks for it."""
    return lambda folder: (*(more or CHECK), case(folder))


def sweep(case: Callable[[Path], Path], *more: object) -> Callable[[Path], Words]:
    """A sweep in one process."""
    return lambda folder: (*RUN, "sweep", "--jobs", 1, *more, case(folder))


def dense_floor(folder: Path) -> Words:
    """The floor of the benchmark part."""
    case, grid = measured.prepared(folder / "benchmark")
    return Path(floor.__file__), case.with_name("benchmark.stl"), grid


def shipped(name: str) -> Callable[[Path], Path]:
    """A case of the repository."""
    return lambda _: CASES / name / "case.toml"


def of_mesh(command: str) -> Callable[[Path], Words]:
    """A command that takes the benchmark's mesh."""
    return lambda folder: (*RUN, command, benchmark(folder).with_name("benchmark.stl"))


WITH_OPINION = (*RUN, "check", "--verify")
INSERT = shipped("mould-insert")
ROWS = {
    "check": Row("check with reach, 0.2 mm, beside the floor",
                 check(benchmark), dense_floor, "1.4"),
    "resume": Row(
        "the same, `resume` not given", check(unknown_resume), dense_floor, "1.25 by the clock"
    ),
    "plenum": Row("one of 12 tubes of a plenum, beside the small case",
                  check(tubes("one")), check(small), "5"),
    "twelve": Row("all 12, beside one", check(tubes("twelve")), check(tubes("one")), "4"),
    "range": Row("height +/- 2 mm, 2 or 3 layers, `resume` unknown, beside the known event",
                 check(bores("unknown")), check(bores("known")), "8"),
    "sweep": Row("sweep of 2,205 layers beside one check",
                 sweep(benchmark), check(benchmark), "2.5"),
    "sweep-reach": Row("the same with `--reach`",
                       sweep(benchmark, "--reach"), check(benchmark), "6"),
    "moves": Row("a height of the sweep where the part above moves, beside one check",
                 sweep(bores("moves"), "--from", 20, "--to", 24, "--step", 0.5),
                 check(bores("moves")), "0.25", heights=8),
    "insert": Row("sweep of the mould insert beside its check", sweep(INSERT), check(INSERT), "15"),
    "tenth": Row("sweep of the mould insert from 47.65 to 47.80 mm, beside its check",
                 sweep(INSERT, "--from", 47.65, "--to", 47.80), check(INSERT), "8 s a height"),
    "openings": Row("`openings` of the benchmark part beside its check",
                    of_mesh("openings"), check(benchmark), "3"),
    "mesh": Row("`mesh` of the benchmark part beside its check",
                of_mesh("mesh"), check(benchmark), "3"),
    "shipped": Row("the mould insert, slowest of the shipped cases, beside the floor",
                   check(INSERT), dense_floor, "2.5"),
    "small": Row("small case beside the floor", check(small), dense_floor, "0.45"),
    "opinion": Row("check with second opinion beside one without",
                   check(bores("known"), *WITH_OPINION), check(bores("known")), "1.33"),
    "plate": Row("plate of 12, two processes beside one, by the clock",
                 lambda folder: plate(folder, 1), lambda folder: plate(folder, 2), "1.85"),
}  # fmt: skip


def plate(folder: Path, jobs: int) -> Words:
    """The shipped plate, into a new folder."""
    out = tempfile.mkdtemp(dir=folder)
    return (*RUN, "plate", CASES / "plate-of-twelve/plate.toml", "--out", out, "--jobs", jobs)


def line(name: str, folder: Path) -> str:
    """One row of the table, measured."""
    row = ROWS[name]
    words, beside = row.work(folder), row.beside(folder)
    measured.run(sys.executable, *beside)  # kernels and files are loaded once
    base, run = (measured.run(sys.executable, *given) for given in (beside, words))
    ratio = run.clock / base.clock if name == "plate" else run.cpu / base.cpu
    if row.heights:
        one = measured.run(sys.executable, *words[:4], *("--from", 20, "--to", 20), words[-1])
        ratio = (run.cpu - one.cpu) / row.heights / base.cpu
    return (
        f"| {row.what} | {run.cpu:.1f} | {base.cpu:.1f} | {ratio:.2f} | {row.target} | "
        f"{run.peak_gib:.2f} GiB |"
    )


def kept(table: str) -> dict[str, str]:
    """The rows that the page has, by what they are about."""
    begin, end = (f"<!-- {table}: {mark} -->" for mark in ("begin", "end"))
    text = measured.PAGE.read_text(encoding="utf-8").split(begin)[1].split(end)[0]
    return {one.split("|")[1].strip(): one for one in text.splitlines() if one.startswith("| ")}


def main() -> None:
    """Measure the rows that are named."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("rows", nargs="*", choices=[*ROWS, []])
    options.add_argument("--write", action="store_true")
    options.add_argument("--folder", type=Path, default=Path(tempfile.gettempdir()) / "clearance")
    given = options.parse_args()
    given.folder.mkdir(parents=True, exist_ok=True)
    if not given.rows:
        print("\n".join(f"{name:12} {row.what}" for name, row in ROWS.items()))
    found = {}
    for name in given.rows:
        found[ROWS[name].what] = line(name, given.folder)
        print(found[ROWS[name].what], flush=True)
    print(f"load average {os.getloadavg()[1]:.1f}")
    if given.write:
        before = kept("rows")
        lines = [
            "| what | s of processor | s beside | ratio | to reach | peak |",
            "| --- | ---: | ---: | ---: | --- | --- |",
        ]
        for row in ROWS.values():
            old = before.get(row.what, UNMEASURED.format(row.what, row.target))
            lines.append(found.get(row.what, old))
        measured.put(measured.PAGE, "rows", lines)


if __name__ == "__main__":
    main()
