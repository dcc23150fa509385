"""The files of a volume: one, or a slice each, in order and without a gap.

In: what is written in the case file. Out: their paths, or what was expected instead.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Sequence
from pathlib import Path

SUFFIXES = (".tif", ".tiff")
A_FILE = "a file that exists, its path relative to this file's folder"
MOST_NAMED = 5
"""Missing slices that are named, at most."""


def listed(folder: Path, written: Sequence[str]) -> tuple[Path, ...] | str:
    """Paths of the files of a volume, lowest slice first, or what was expected.

    Parameters
    ----------
    folder : Path
        Of the case file.
    written : sequence of str
        A file, a folder, or a pattern; or the slices in their order.
    """
    try:
        if len(written) > 1:
            found = tuple(folder / name for name in written)
            lost = [path.name for path in found if not path.is_file()]
            return f"files that exist, not {_named(lost)}" if lost else found
        return _of_one(folder, written[0])
    except (OSError, ValueError):  # a name too long, a folder that may not be entered
        return A_FILE


def _of_one(folder: Path, written: str) -> tuple[Path, ...] | str:
    one = folder / written
    if one.is_file():
        return (one,)
    if one.is_dir():
        found = [path for path in one.iterdir() if path.suffix.lower() in SUFFIXES]
        return _in_order(found) if found else "a folder with TIFF files in it (.tif, .tiff)"
    if any(letter in written for letter in "*?["):
        base = Path(one.anchor) if Path(written).is_absolute() else folder
        pattern = str(Path(written).relative_to(base)) if Path(written).is_absolute() else written
        found = [path for path in base.glob(pattern) if path.is_file()]
        return _in_order(found) if found else "a pattern that files match"
    return A_FILE


def _in_order(found: Sequence[Path]) -> tuple[Path, ...] | str:
    """Slices by the last number in their names, which runs without a gap."""
    if len(found) == 1:
        return tuple(found)
    numbers = {path: re.findall(r"\d+", path.stem) for path in found}
    bare = sorted(path.name for path, own in numbers.items() if not own)
    if bare:
        return f"slices with a number in their names, not {_named(bare)}"
    by_number = sorted((int(own[-1]), path) for path, own in numbers.items())
    have = [number for number, _ in by_number]
    twice = sorted({str(n) for n, m in itertools.pairwise(have) if n == m})
    if twice:
        return f"one slice for each number, not several for {_named(twice)}"
    lost = have[-1] - have[0] + 1 - len(have)
    if lost:
        gaps = [(n + 1, m - 1) for n, m in itertools.pairwise(have) if m > n + 1]
        named = [f"{a}" if a == b else f"{a} to {b}" for a, b in gaps]
        return f"every slice from {have[0]} to {have[-1]}; {lost} missing: {_named(named)}"
    return tuple(path for _, path in by_number)


def _named(names: Sequence[str]) -> str:
    shown = ", ".join(names[:MOST_NAMED])
    return shown if len(names) <= MOST_NAMED else f"{shown}, ..."
