"""Measure and write the tables of docs/performance.md and docs/profile.md.

    python tests/benchmarks/make_performance.py [--runs 5] [--folder DIR] [--leave-out large ...]

Whole processes, kernels compiled first; the benchmark's runs alternate with the floor's. The
parts are made in the folder if they are not there. Only what stands between the two marks
in the page is replaced. Sections that are left out say so in the table.
"""

from __future__ import annotations

import argparse
import cProfile
import multiprocessing
import os
import pstats
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import Executor, Future
from pathlib import Path
from typing import NamedTuple
from unittest import mock

import numpy as np

HERE = Path(__file__).resolve().parent
DOCS = HERE.parent.parent / "docs"
PAGE, PROFILE = DOCS / "performance.md", DOCS / "profile.md"
CHECK = ("-m", "clearance", "check", "--no-verify")
sys.path[:0] = [str(HERE), str(HERE.parent)]

import floor  # noqa: E402
import make_large  # noqa: E402
import make_part  # noqa: E402
import make_tubes  # noqa: E402
import shapes  # noqa: E402

SMALL = """[part]
name = "small"
mesh = "small.stl"
layer_thickness = 0.05
platform_z = 0.0

[[passage]]
name = "bore"
inlet = { centre = [15.0, 15.0, 0.0], radius = 4.0 }
outlet = { centre = [15.0, 15.0, 30.0], radius = 4.0 }
min_clear_diameter = 7.0

[[stray]]
shape = "plane"
source = "log"
height = 15.0
layers = 2
resume = "height"
"""


class Run(NamedTuple):
    """A whole process: seconds by the clock, seconds of processor, peak memory."""

    clock: float
    cpu: float
    peak_gib: float


def run(*command: object, one: bool = False) -> Run:
    """Run a process, on one processor if asked."""
    words = [str(word) for word in command]
    # As after an installation: modules are not compiled from their source in each run.
    given = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    start = time.perf_counter()
    with subprocess.Popen(
        words,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
        env=given,
        preexec_fn=(lambda: os.sched_setaffinity(0, {0})) if one else None,
    ) as child:
        _, _, used = os.wait4(child.pid, 0)
        child.returncode = 0
    clock = time.perf_counter() - start
    return Run(clock, used.ru_utime + used.ru_stime, used.ru_maxrss / 2**20)


def check(case: Path, pitch: float, *more: object, one: bool = False) -> Run:
    """One `clearance check`."""
    words = ("-m", "clearance", "check", case, "--pitch", pitch)
    return run(sys.executable, *words, *more, one=one)


def small_case(folder: Path) -> Path:
    """A block with one bore, more than 100,000 triangles."""
    folder.mkdir(parents=True, exist_ok=True)
    pitch = 0.25
    x, y, z = (np.arange(121, dtype=np.float32) * np.float32(pitch) for _ in range(3))
    block = np.full((121, 121, 121), np.float32(99))
    for points, at in ((x, (-1, 1, 1)), (y, (1, -1, 1)), (z, (1, 1, -1))):
        np.minimum(block, np.minimum(points, 30.0 - points).reshape(at), out=block)
    bore = np.hypot(x[:, None, None] - 15.0, y[:, None] - 15.0) - 4.0
    triangles = shapes.soup_of_field(np.minimum(block, bore), (0.0, 0.0, 0.0), pitch)
    assert len(triangles) > 100_000, len(triangles)
    shapes.write_stl(folder / "small.stl", triangles)
    (folder / "case.toml").write_text(SMALL, encoding="utf-8")
    return folder / "case.toml"


def apart(work: Callable, *given: object) -> None:
    """Do something large in a process of its own: else small runs would count this one's memory."""
    with multiprocessing.get_context("spawn").Pool(1) as pool:
        pool.apply(work, given)


def prepared(folder: Path) -> tuple[Path, Path]:
    """The benchmark's case and the dense grid of its floor."""
    case, grid = folder / "case.toml", folder / "grid-0.2.npy"
    if not (folder / "benchmark.stl").exists():
        apart(make_part.make, folder)
    if not grid.exists():
        apart(floor.make_grid, folder / "benchmark.stl", 0.2, grid)
    return case, grid


def against_floor(folder: Path, runs: int) -> list[str]:
    """The benchmark at 0.2 mm against the floor, and at finer pitches."""
    case, grid = prepared(folder)
    cells = int(np.prod(np.load(grid, mmap_mode="r").shape))
    floor_words = (sys.executable, HERE / "floor.py", folder / "benchmark.stl", grid)
    check(case, 0.2)
    found: dict[str, list[Run]] = {"floor": [], "check": []}
    for _ in range(runs):
        found["floor"].append(run(*floor_words))
        found["check"].append(check(case, 0.2))
    middle = {
        name: Run(*(statistics.median(column) for column in zip(*all_runs, strict=True)))
        for name, all_runs in found.items()
    }
    a, b = middle["floor"], middle["check"]
    rows = [
        f"| floor, 0.2 mm | {a.clock:.1f} | {a.cpu:.1f} | {a.peak_gib:.2f} | |",
        f"| check with reach, 0.2 mm | {b.clock:.1f} | {b.cpu:.1f} | {b.peak_gib:.2f} | "
        f"{b.clock / a.clock:.2f} floors by the clock, {b.cpu / a.cpu:.2f} by processor time; "
        f"{b.peak_gib * 2**30 / cells:.1f} bytes per dense cell |",
    ]
    for pitch in (0.1, 0.05):
        finer = check(case, pitch)
        rows.append(
            f"| check with reach, {pitch:g} mm | {finer.clock:.1f} | {finer.cpu:.1f} | "
            f"{finer.peak_gib:.2f} | {finer.clock / b.clock:.1f} times 0.2 mm by the clock, "
            f"{finer.cpu / b.cpu:.1f} by processor time |"
        )
    swept = run(sys.executable, "-m", "clearance", "sweep", case)
    rows.append(
        f"| sweep, all 2,205 layers, 0.2 mm | {swept.clock:.1f} | {swept.cpu:.1f} | "
        f"{swept.peak_gib:.2f} | {swept.clock / b.clock:.1f} checks by the clock |"
    )
    return rows


def growing(folder: Path, benchmark: Path) -> list[str]:
    """What work grows with, by processor time: a busy machine hardly changes these ratios."""
    _, grid = prepared(benchmark)
    case = folder / "small" / "case.toml"
    apart(small_case, case.parent)
    plenum, unknown = folder / "plenum", folder / "range"
    apart(make_tubes.make_plenum, plenum)
    apart(make_tubes.make_range, unknown)
    by = {
        "floor": quick(HERE / "floor.py", benchmark / "benchmark.stl", grid),
        "small": quick(*CHECK, case),
        "one": quick(*CHECK, plenum / "one.toml"),
        "twelve": quick(*CHECK, plenum / "twelve.toml", runs=1),
        "known": quick(*CHECK, unknown / "known.toml"),
        "unknown": quick(*CHECK, unknown / "unknown.toml", runs=1),
        "first": first_run(case),
    }
    rows = [
        ("floor", "dense floor, 0.2 mm", "", ""),
        ("small", "small case", "floor", "floors"),
        ("first", "small case, first run after installation", "floor", "floors"),
        ("one", "one passage of a plenum with 12 curved tubes", "small", "small cases"),
        ("twelve", "all 12 passages of that void", "one", "times one of them"),
        ("known", "two bores, the event known", "small", "small cases"),
        (
            "unknown",
            "the same, height +/- 2 mm, `layers = [2, 3]`, `resume` unknown",
            "known",
            "times the known event",
        ),
    ]
    return [
        f"| {what} | {by[name].cpu:.1f} | {by[name].peak_gib:.2f} | "
        + (f"{by[name].cpu / by[other].cpu:.1f} {unit} |" if other else "|")
        for name, what, other, unit in rows
    ]


def quick(*words: object, runs: int = 2) -> Run:
    """A process of Python: the quickest of some runs, by processor time."""
    return min((run(sys.executable, *words) for _ in range(runs)), key=lambda one: one.cpu)


def first_run(case: Path) -> Run:
    """A check that finds no compiled kernels."""
    with (
        tempfile.TemporaryDirectory() as cache,
        mock.patch.dict(os.environ, NUMBA_CACHE_DIR=cache),
    ):
        return run(sys.executable, *CHECK, case)


def very_large(folder: Path) -> list[str]:
    """The part of 400 x 400 x 350 mm."""
    case = folder / "case.toml"
    if not (folder / "large.stl").exists():
        apart(make_large.make, folder)
    count = ((folder / "large.stl").stat().st_size - 84) // 50
    got = check(case, 0.2)
    return [
        f"| 400 x 400 x 350 mm, {count:,} triangles, 0.2 mm | {got.clock:.0f} | {got.cpu:.0f} | "
        f"{got.peak_gib:.1f} | 7e9 dense cells |"
    ]


def start_up(folder: Path) -> list[str]:
    """`--help`, a small case, and the first run of all."""
    help_ = [run(sys.executable, "-m", "clearance", "--help") for _ in range(5)]
    apart(small_case, folder)
    case = folder / "case.toml"
    check(case, 0.2)
    small = [run(sys.executable, "-m", "clearance", "check", case) for _ in range(3)]
    first = first_run(case)
    h, s = min(help_), min(small)
    return [
        f"| `--help`, best of 5 | {h.clock:.2f} | {h.cpu:.2f} | {h.peak_gib:.2f} | |",
        f"| small case, best of 3 | {s.clock:.1f} | {s.cpu:.1f} | {s.peak_gib:.2f} | |",
        f"| small case, first run after installation | {first.clock:.0f} | {first.cpu:.0f} | "
        f"{first.peak_gib:.2f} | kernels compiled |",
    ]


def same_bytes(folder: Path) -> list[str]:
    """Whether one and two processors give the same bytes."""
    case, _ = prepared(folder)
    written = []
    for one in (True, False):
        target = folder / f"threads-{one}.json"
        check(case, 0.2, "--json", target, one=one)
        written.append(target.read_bytes())
    words = "same bytes" if written[0] == written[1] else "NOT the same"
    return [f"| result on one and on two processors | | | | {words} |"]


class InLine(Executor):
    """In the place of a pool of threads: a profiler sees its own thread only."""

    def __init__(self, *_: object):
        pass

    def submit(self, work, /, *given, **named):
        done: Future = Future()
        done.set_result(work(*given, **named))
        return done


def profile(folder: Path) -> list[str]:
    """Processor time by room and by function, one thread."""
    from clearance.case.read import read_case
    from clearance.checking import judge
    from clearance.verdict.prepared import prepare

    case = read_case(prepared(folder)[0])
    profiler = cProfile.Profile(time.process_time)
    pools = [
        f"clearance.{room}.ThreadPoolExecutor"
        for room in ("mesh.formats", "verdict.prepared", "checking")
    ]
    for pool in pools:
        mock.patch(pool, InLine).start()
    profiler.enable()
    judge(prepare(case, 0.2), threads=1)
    profiler.disable()
    mock.patch.stopall()
    by_room: dict[str, float] = {}
    functions = []
    for (file, _, name), (_, calls, own, _, _) in pstats.Stats(profiler).stats.items():  # type: ignore[attr-defined]
        path = Path(file)
        library = next(
            (n for n in ("numba", "llvmlite", "shapely", "scipy") if n in path.parts), ""
        )
        own_file = "clearance" in path.parts and not library
        room = path.stem if own_file else library or "python, numpy"
        by_room[room] = by_room.get(room, 0.0) + own
        functions.append((own, f"{room}.{name}" if own_file else f"{name} ({room})", calls))
    total = sum(by_room.values())
    rooms = sorted(by_room.items(), key=lambda pair: -pair[1])[:14]
    lines = [f"Processor time {total:.1f} s with the profiler, one thread.", ""]
    lines += ["| room | s |", "| --- | ---: |", *(f"| {r} | {t:.2f} |" for r, t in rooms), ""]
    lines += ["| function | calls | s |", "| --- | ---: | ---: |"]
    lines += [
        f"| `{name}` | {calls} | {own:.2f} |" for own, name, calls in sorted(functions)[:-15:-1]
    ]
    return lines


def main() -> None:
    """Measure what is asked for and put it into the page."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--runs", type=int, default=5)
    options.add_argument("--folder", type=Path, default=Path(tempfile.gettempdir()) / "clearance")
    options.add_argument("--leave-out", nargs="*", default=[], choices=["large", "start-up"])
    options.add_argument("--only-growing", action="store_true", help="the second table alone")
    given = options.parse_args()
    parts = {name: given.folder / name for name in ("benchmark", "large", "small")}
    put(
        PAGE,
        "growing",
        [
            load_words("ratios of processor times hardly change with it"),
            "",
            "| what | s of processor | peak GiB | |",
            "| --- | ---: | ---: | --- |",
            *growing(given.folder, parts["benchmark"]),
        ],
    )
    if given.only_growing:
        return
    rows = against_floor(parts["benchmark"], given.runs)
    rows += (
        ["| very large part: left out | | | | |"]
        if "large" in given.leave_out
        else very_large(parts["large"])
    )
    if "start-up" not in given.leave_out:
        rows += start_up(parts["small"])
    rows += same_bytes(parts["benchmark"])
    lines = [
        load_words("above 1 beside the program's own two threads, times by the clock are too long"),
        "",
        "| what | s by the clock | s of processor | peak GiB | |",
        "| --- | ---: | ---: | ---: | --- |",
        *rows,
    ]
    put(PAGE, "measured", lines)
    put(PROFILE, "measured", profile(parts["benchmark"]))


def load_words(meaning: str) -> str:
    """How busy the machine was."""
    processors, load = len(os.sched_getaffinity(0)), os.getloadavg()[1]
    return (
        f"{processors} processors, load average {load:.1f} over five minutes at the end "
        f"({meaning})."
    )


def put(path: Path, table: str, lines: list[str]) -> None:
    """Write lines between the marks of a page."""
    begin, end = (f"<!-- {table}: {mark} -->" for mark in ("begin", "end"))
    before, rest = path.read_text(encoding="utf-8").split(begin)
    text = f"{before}{begin}\n\n" + "\n".join(lines) + f"\n\n{end}{rest.split(end)[1]}"
    path.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
