"""Damaged files by the ten thousand: the program answers, or refuses with one message.

    .venv/bin/python tests/fuzz/fuzz.py 0 10000 --keep FOLDER

Each number is one input: it seeds what is damaged and how, so that a number that broke breaks
again. Inputs run one after the other through the command line in this process; each in a copy of
it (fork) that is ended after 60 s of processor time, and whose memory is looked at. An answer is
the exit status 0, 3 or 4, or 2 with a message; anything else, or more time or memory, is a fault.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import pickle
import resource
import select
import shutil
import signal
import sys
import tempfile
import time
import warnings
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parent))

import damage
import numpy as np
import sound
from click.testing import CliRunner

CORPUS = Path(__file__).parent / "corpus"
"""Inputs that once broke; the first word of each name tells what it is."""
MOST_S, MOST_BYTES = 60.0, 4 << 30
LONGEST_WAIT_S = 900.0
"""By the clock: a copy that waits for ever uses no processor time."""
WHOLE_BYTES = 12 << 30
"""Beyond this a copy gets no memory at all, for the machine's sake."""
STATUSES = (0, 2, 3, 4)

MESH_COMMANDS = (
    ("mesh", "MESH", "--json", "out.json"),
    ("mesh", "MESH", "--json", "out.json"),
    ("check", "layer.toml", "--json", "out.json"),
    ("check", "layer.toml", "--json", "out.json"),
    ("check", "nothing.toml", "--verify"),
    ("openings", "MESH", "--json", "out.json"),
    ("openings", "MESH", "--toml"),
    ("section", "layer.toml", "--at-height", "6.2", "--output", "out.svg"),
    ("sweep", "nothing.toml", "--from", "5", "--to", "7", "--jobs", "1", "--json", "out.json"),
)
CASE_COMMANDS = (
    ("check", "case.toml", "--json", "out.json"),
    ("check", "case.toml", "--json", "out.json"),
    ("check", "case.toml", "--verify"),
    ("check", "case.toml", "--margins"),
    ("causes", "case.toml", "--json", "out.json"),
    ("section", "case.toml", "--at-height", "6.2", "--output", "out.svg"),
    ("sweep", "case.toml", "--from", "5", "--to", "7", "--jobs", "1", "--json", "out.json"),
)
PLATE_COMMAND = ("plate", "plate.toml", "--out", "results", "--jobs", "1")


@dataclass(frozen=True)
class Ending:
    """How an input ended: its words, what is wrong with it (empty: nothing), and its cost."""

    words: tuple[str, ...]
    fault: str
    status: int | None
    seconds: float
    peak_bytes: int
    said: str = ""


# ---- an input --------------------------------------------------------------------------------


def write_sound(folder: Path, mesh: str = "binary.stl") -> None:
    """The sound files: a mesh, and cases and a plate of it."""
    (folder / mesh).write_bytes(sound.FORMATS[mesh](sound.soup()))
    for name, text in sound.CASES.items():
        (folder / f"{name}.toml").write_text(text.replace("MESH", mesh), encoding="utf-8")


def write_damaged(number: int, folder: Path) -> tuple[str, ...]:
    """Write the files of an input; the words of its command line are returned."""
    rng = np.random.default_rng(number)
    kind = rng.random()
    if kind < 0.5:
        mesh = list(sound.FORMATS)[int(rng.integers(len(sound.FORMATS)))]
        write_sound(folder, mesh)
        (folder / mesh).write_bytes(damage.damaged(rng, mesh))
        words = MESH_COMMANDS[int(rng.integers(len(MESH_COMMANDS)))]
        return tuple(mesh if word == "MESH" else word for word in words)
    write_sound(folder)
    if kind < 0.86:
        names = list(sound.CASES)
        text = sound.CASES[names[int(rng.integers(len(names)))]].replace("MESH", "binary.stl")
        (folder / "case.toml").write_bytes(damage.damaged_text(rng, text))
        return CASE_COMMANDS[int(rng.integers(len(CASE_COMMANDS)))]
    if kind < 0.97:
        (folder / "plate.toml").write_bytes(damage.damaged_text(rng, sound.PLATE))
        return PLATE_COMMAND
    (folder / "plate.toml").write_text(sound.PLATE, encoding="utf-8")
    shutil.copytree(_results(), folder / "results")
    files = sorted(p for p in (folder / "results").rglob("*.*") if not p.name.startswith("."))
    file = files[int(rng.integers(len(files)))]
    file.write_bytes(damage.damaged_result(rng, file.read_bytes()))
    return PLATE_COMMAND


_made: list[tempfile.TemporaryDirectory[str]] = []


def _results() -> Path:
    """Results of the sound plate, made once."""
    if not _made:
        _made.append(tempfile.TemporaryDirectory(prefix="clearance-fuzz-"))
        folder = Path(_made[0].name)
        write_sound(folder)
        (folder / "plate.toml").write_text(sound.PLATE, encoding="utf-8")
        found = ending(PLATE_COMMAND, folder)
        assert found.status in STATUSES, found.said
    return Path(_made[0].name) / "results"


def write_corpus(file: Path, folder: Path) -> Iterator[tuple[str, ...]]:
    """Write an input of the corpus, and give each command line that is tried on it."""
    kind = file.name.partition("-")[0]
    if kind == "case":
        write_sound(folder)
        shutil.copy(file, folder / "case.toml")
        yield from dict.fromkeys(CASE_COMMANDS)
    elif kind == "plate":
        write_sound(folder)
        shutil.copy(file, folder / "plate.toml")
        yield PLATE_COMMAND
    else:
        mesh = next(name for name in sound.FORMATS if name.endswith(file.suffix))
        write_sound(folder, mesh)
        shutil.copy(file, folder / mesh)
        for words in dict.fromkeys(MESH_COMMANDS):
            yield tuple(mesh if word == "MESH" else word for word in words)


# ---- one run ---------------------------------------------------------------------------------


def _program() -> Any:
    """The command line; the parts of a plate are computed in this very process."""
    from clearance.cli.main import main
    from clearance.system import processes

    def here(jobs: Any, work: Any, *_: Any) -> Iterator[Any]:
        return ((job, processes.attempt(work, job.payload)) for job in jobs)

    processes.run = here  # type: ignore[assignment]
    return main


def ending(words: tuple[str, ...], folder: Path) -> Ending:
    """Run words in a copy of this process, in a folder, and tell how it ended."""
    receive, send = os.pipe()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # threads of the libraries, which wait for work
        child = os.fork()
    if child == 0:
        _as_child(words, folder, receive, send)
    os.close(send)
    data = b""
    with open(receive, "rb") as pipe:
        waiting = not select.select([pipe], [], [], LONGEST_WAIT_S)[0]
        if waiting:
            os.kill(child, signal.SIGKILL)
        else:
            data = pipe.read()
    _, status, used = os.wait4(child, 0)
    seconds, peak = used.ru_utime + used.ru_stime, used.ru_maxrss * 1024
    if waiting:
        said = f"no answer within {LONGEST_WAIT_S:.0f} s"
        return Ending(words, said, None, seconds, peak)
    if os.WIFSIGNALED(status):
        name = signal.Signals(os.WTERMSIG(status)).name
        return Ending(words, f"ended by {name} after {seconds:.0f} s", None, seconds, peak)
    exit_code, said, fault = pickle.loads(data) if data else (None, "", "no answer at all")
    if not fault and seconds > MOST_S:
        fault = f"took {seconds:.0f} s"
    if not fault and peak > MOST_BYTES:
        fault = f"took {peak / 1e9:.1f} GB"
    return Ending(words, fault, exit_code, seconds, peak, said)


def _as_child(words: tuple[str, ...], folder: Path, receive: int, send: int) -> None:
    """Run the words, send how they ended, and end."""
    try:
        os.close(receive)
        os.chdir(folder)
        resource.setrlimit(resource.RLIMIT_CPU, (int(MOST_S) + 1, int(MOST_S) + 5))
        resource.setrlimit(resource.RLIMIT_AS, (WHOLE_BYTES, WHOLE_BYTES))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
        before = set(os.listdir("."))
        found = CliRunner().invoke(_program(), list(words))
        with open(send, "wb") as pipe:
            pipe.write(pickle.dumps((found.exit_code, found.output, _fault(found, before))))
    finally:
        os._exit(0)


def _fault(found: Any, before: set[str]) -> str:
    """What is wrong with an ending; empty if nothing is."""
    if found.exception is not None and not isinstance(found.exception, SystemExit):
        import traceback

        return "".join(traceback.format_exception(found.exception))
    if found.exit_code not in STATUSES:
        return f"exit status {found.exit_code}"
    if "Traceback" in found.output or "the program failed" in found.output:
        return "a traceback"
    if found.exit_code == 2:
        if not found.stderr.startswith(("error: ", "Usage: ")) and "results" not in os.listdir("."):
            return "exit status 2 without a message"
        if set(os.listdir(".")) - before - {"results"}:
            return "a file is written although the input is refused"
    return ""


def run(number: int, keep: Path | None = None) -> Ending:
    """One input, by its number; its files are kept if it ends badly."""
    with tempfile.TemporaryDirectory(prefix="clearance-fuzz-") as name:
        folder = Path(name)
        words = write_damaged(number, folder)
        found = ending(words, folder)
        if found.fault and keep is not None:
            place = keep / str(number)
            shutil.copytree(folder, place, dirs_exist_ok=True)
            (place / "fault.txt").write_text(f"{' '.join(words)}\n{found.fault}\n{found.said}")
    return found


def ready(few: bool = False) -> None:
    """Load the program and compile its kernels once: every copy has them then.

    `few` inputs: the program alone is loaded, by commands that refuse an empty mesh.

    Solids are never built in this process: their library's threads are not in a copy of it, which
    would wait for them for ever. With --margins a check calls no other kernels, 25 s long.
    """
    with tempfile.TemporaryDirectory(prefix="clearance-fuzz-") as name, contextlib.chdir(name):
        write_sound(Path(name))
        if few:
            Path("binary.stl").write_bytes(b"")
        lines: dict[str, tuple[str, ...]] = {}
        for words in (*CASE_COMMANDS, *MESH_COMMANDS):  # each once: the same kernels again
            known = {"MESH": "binary.stl", "case.toml": "full.toml"}
            alone = ["--no-verify"] if words[0] == "check" else []
            lines.setdefault(words[0], tuple(known.get(word, word) for word in (*words, *alone)))
        for line in lines.values():
            CliRunner().invoke(_program(), line)


def main() -> None:
    """Run a range of numbers and tell what broke."""
    asked = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    asked.add_argument("first", type=int)
    asked.add_argument("count", type=int)
    asked.add_argument("--keep", type=Path, help="folder for the files of inputs that broke")
    asked.add_argument("--corpus", action="store_true", help="what once broke, before the rest")
    asked.add_argument(
        "--in-turn", action="store_true", help="beside the first one other command for each of it"
    )
    words = asked.parse_args()
    ready(few=words.in_turn)
    statuses: Counter[Any] = Counter()
    slowest, largest, broken = 0.0, 0, 0
    start = time.monotonic()

    def enter(what: str, found: Ending) -> None:
        nonlocal slowest, largest, broken
        statuses[found.status] += 1
        slowest, largest = max(slowest, found.seconds), max(largest, found.peak_bytes)
        if found.fault:
            broken += 1
            last = found.fault.strip().splitlines()[-1]
            print(f"{what}: {' '.join(found.words)}: {last}", flush=True)
        elif found.seconds > 0.25 * MOST_S:
            print(f"{what}: {' '.join(found.words)}: slow, {found.seconds:.0f} s", flush=True)

    if words.corpus:
        for n, file in enumerate(sorted(CORPUS.glob("*.*"))):
            with tempfile.TemporaryDirectory(prefix="clearance-fuzz-") as name:
                lines = list(write_corpus(file, Path(name)))
                if words.in_turn:
                    lines = list(dict.fromkeys([lines[0], lines[n % len(lines)]]))
                for line in lines:
                    enter(file.name, ending(line, Path(name)))
    for number in range(words.first, words.first + words.count):
        enter(str(number), run(number, words.keep))
        if (number + 1) % 500 == 0:
            print(f"{number + 1}: {dict(statuses)}, {broken} broken", flush=True)
    print(
        f"{sum(statuses.values())} inputs in {time.monotonic() - start:.0f} s: exit statuses "
        f"{dict(sorted(statuses.items(), key=str))}, longest {slowest:.1f} s, most memory "
        f"{largest / 1e9:.2f} GB, {broken} broken"
    )
    sys.exit(1 if broken else 0)


if __name__ == "__main__":
    main()
