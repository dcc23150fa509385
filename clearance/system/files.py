"""Files written whole: a reader sees the old file or the new one, never half of one.

In: a path and the bytes. Out: the file. What goes into it is left to the caller.
"""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterable, Mapping
from pathlib import Path

from clearance.errors import ClearanceError


def writable(path: Path, inputs: Iterable[Path] = ()) -> None:
    """Refuse an output that cannot be written, before the long work is done.

    Parameters
    ----------
    path : Path
        File to be written; folders that are missing are made when it is written.
    inputs : iterable of Path
        Files that must not be overwritten.

    Raises
    ------
    ClearanceError
    """
    try:
        if path.is_dir():
            raise ClearanceError(f"{path}: cannot be written: it is a folder, give a file")
        folder = _nearest_folder(path)
        if not folder.is_dir():
            raise ClearanceError(f"{path}: cannot be written: {folder} is not a folder")
        if path.exists() and any(path.samefile(used) for used in inputs if used.exists()):
            raise ClearanceError(f"{path}: is an input of this run; give another file")
        target = path if path.exists() and not path.is_file() else folder
        if not os.access(target, os.W_OK):
            raise ClearanceError(f"{path}: cannot be written: no permission to write {target}")
    except (OSError, ValueError) as fault:  # a name too long, a folder that may not be entered
        raise _refused(path, fault) from None


def _nearest_folder(path: Path) -> Path:
    """The lowest folder above a file that is there."""
    return next(above for above in path.resolve().parents if above.exists())


def write_whole(path: Path, data: bytes) -> None:
    """Write a file under a temporary name in the same folder, then rename it.

    Folders that are missing are made. A device or pipe (``/dev/stdout``) is written as it
    is: it cannot be replaced.

    Raises
    ------
    ClearanceError
        The folder or the file cannot be written.
    """
    try:
        if path.exists() and not path.is_file():
            path.write_bytes(data)
            return
        target = path.resolve()  # through a link, so that the link itself stays
        target.parent.mkdir(parents=True, exist_ok=True)
        _replace(target, data)
    except (OSError, ValueError) as fault:
        raise _refused(path, fault) from None


def write_all(files: Mapping[Path, bytes]) -> None:
    """Write several files, each whole; where one cannot be written, none of the new ones stays.

    Raises
    ------
    ClearanceError
    """
    new: list[Path] = []
    try:
        for path, data in files.items():
            there = path.exists()
            write_whole(path, data)
            if not there:
                new.append(path)
    except BaseException:
        for path in new:
            with contextlib.suppress(OSError):
                path.unlink()
        raise


def _replace(target: Path, data: bytes) -> None:
    temporary = target.parent / f".clearance-{os.getpid()}.tmp"
    try:
        with open(temporary, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        os.replace(temporary, target)
    except BaseException:
        # Also at an interrupt: nothing half written stays behind.
        with contextlib.suppress(OSError):
            temporary.unlink()
        raise


def _refused(path: Path, fault: OSError | ValueError) -> ClearanceError:
    why = getattr(fault, "strerror", None) or str(fault)
    return ClearanceError(f"{path}: cannot be written: {why}")
