"""The folder of a plate's results: one run at a time, every file whole, what is done kept.

In: results of parts as they end. Out: parts/NAME.json and parts/NAME.pdf, and again what
an earlier run left if its inputs are the same. A part's result file is written last of
its files: where it is, the part is done. What the files say is left to `plate`.
"""

from __future__ import annotations

import contextlib
import json
import os
from pathlib import Path
from typing import Any

from clearance.errors import ClearanceError
from clearance.result import as_text
from clearance.system.files import write_whole

PARTS = "parts"
LOCK = ".clearance-lock"
SUMMARIES = ("plate.json", "plate.csv", "plate.pdf")


class Folder:
    """The folder, held for this run: a context manager.

    Raises
    ------
    ClearanceError
        It cannot be made or written, or another run writes into it.
    """

    def __init__(self, path: Path):
        self.path = Path(path)
        self.parts = self.path / PARTS
        self._lock: int | None = None

    def __enter__(self) -> Folder:
        try:
            self.parts.mkdir(parents=True, exist_ok=True)
            self._lock = os.open(self.path / LOCK, os.O_RDWR | os.O_CREAT, 0o666)
        except (OSError, ValueError) as fault:
            why = getattr(fault, "strerror", None) or str(fault)
            raise ClearanceError(f"{self.path}: cannot be written: {why}") from None
        if not _locked(self._lock):
            self._unlock()
            raise ClearanceError(
                f"{self.path}: another run is writing into this folder; wait for it, or give "
                "another --out"
            )
        self._clear()
        return self

    def __exit__(self, *_: object) -> None:
        self._unlock()

    def _unlock(self) -> None:
        """Let go; the file stays, since another run may hold it open already."""
        if self._lock is not None:
            os.close(self._lock)
            self._lock = None

    def _clear(self) -> None:
        """Remove what a run that was killed had begun to write."""
        for folder in (self.path, self.parts):
            for left in folder.glob(".clearance-*.tmp"):
                with contextlib.suppress(OSError):
                    left.unlink()

    # ---- parts -------------------------------------------------------------------------------

    def result(self, name: str) -> Path:
        """Path of a part's result."""
        return self.parts / f"{name}.json"

    def sheet(self, name: str) -> Path:
        """Path of a part's sheet."""
        return self.parts / f"{name}.pdf"

    def stored(self, name: str, key: str) -> dict[str, Any] | None:
        """Result of an earlier run with the same inputs; None if there is none."""
        data = self.read(name)
        about = data.get("plate") if isinstance(data, dict) else None
        if not isinstance(about, dict) or about.get("inputs_sha256") != key:
            return None
        if data.get("part") != name or not self.sheet(name).is_file():
            return None
        return data

    def read(self, name: str) -> Any:
        """What a part's result file holds; None if it is no result."""
        try:
            return json.loads(self.result(name).read_text(encoding="utf-8"))
        except (OSError, ValueError):
            return None

    def put(self, name: str, data: dict[str, Any], sheet: bytes) -> None:
        """Write the files of a part, its label on the sheet and in the data."""
        write_whole(self.sheet(name), sheet)
        named = {**data, "part": name}
        write_whole(self.result(name), as_text(named).encode())

    def forget(self, name: str) -> None:
        """Remove a result that no longer holds."""
        for path in (self.result(name), self.sheet(name)):
            self._remove(path)

    def withdraw(self) -> None:
        """Remove the summaries of an earlier run: parts are about to change under them."""
        for name in SUMMARIES:
            self._remove(self.path / name)

    def _remove(self, path: Path) -> None:
        try:
            path.unlink(missing_ok=True)
        except OSError as fault:
            raise ClearanceError(f"{path}: cannot be removed: {fault.strerror}") from None


def _locked(file: int) -> bool:
    """Take the lock of an open file; the system lets go of it when the process ends."""
    try:
        if os.name == "nt":
            import msvcrt

            msvcrt.locking(file, msvcrt.LK_NBLCK, 1)  # type: ignore[attr-defined,unused-ignore]
        else:
            import fcntl

            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True
