"""The folder of a plate's results: one run at a time, every file whole, what is done kept.

In: results of parts as they end. Out: parts/NAME.json and parts/NAME.pdf, and again what
an earlier run left if its inputs are the same. A part's result file is written last of
its files: where it is, the part is done. What the files say is left to `plate`.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
from pathlib import Path
from typing import Any

from clearance.errors import ClearanceError
from clearance.plates.table import is_foreign
from clearance.result import as_text
from clearance.system.files import write_whole

PARTS = "parts"
LOCK = ".clearance-lock"
SUMMARIES = ("plate.json", "plate.csv", "plate.xlsx", "plate.html", "plate.pdf")


class Folder:
    """The folder, held for this run: a context manager.

    Raises
    ------
    ClearanceError
        It cannot be made or written, holds files of somebody else's, or another run writes into
        it.
    """

    def __init__(self, path: Path):
        self.path = Path(path)
        self.parts = self.path / PARTS
        self._lock: int | None = None

    def __enter__(self) -> Folder:
        self._refuse_foreign()
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

    def _refuse_foreign(self) -> None:
        """Refuse a folder that holds anything and was not made by a run: its lock is our mark.

        Earlier versions wrote no workbook: one without our mark is somebody's own.
        """
        try:
            if not self.path.is_dir():
                return
            if (self.path / LOCK).exists():
                if is_foreign(self.path / "plate.xlsx"):
                    raise ClearanceError(
                        f"{self.path}: its plate.xlsx was not written by a run and would be "
                        "written over; give it another name, or give another --out"
                    )
                return
            found = sorted(p.name for p in self.path.iterdir() if not p.name.startswith("."))
        except OSError as fault:
            raise ClearanceError(f"{self.path}: cannot be read: {fault.strerror}") from None
        if found:
            raise ClearanceError(
                f"{self.path}: holds {found[0]} and is no folder of an earlier run, whose files "
                "might be written over; give --out a new or empty folder"
            )

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

    def page(self, name: str) -> Path:
        """Path of a part's page to turn in the hand."""
        return self.parts / f"{name}.html"

    def page_of(self, name: str) -> bytes:
        """The page of a part; empty where it has none."""
        try:
            return self.page(name).read_bytes()
        except OSError:
            return b""

    def stored(self, name: str, key: str) -> dict[str, Any] | None:
        """Result of an earlier run with the same inputs; None if there is none.

        Nor if it, its sheet or its page is not what that run wrote.
        """
        data = self.read(name)
        about = data.get("plate") if isinstance(data, dict) else None
        if not isinstance(about, dict) or about.get("inputs_sha256") != key:
            return None
        if data.get("part") != name or about.get("data_sha256") != _data_sha256(data):
            return None
        try:
            sheet = self.sheet(name).read_bytes()
        except OSError:
            return None
        if about.get("sheet_sha256") != hashlib.sha256(sheet).hexdigest():
            return None
        page = self.page_of(name)
        return data if about.get("page_sha256") == _sha256(page) else None

    def read(self, name: str) -> Any:
        """What a part's result file holds; None if it is no result."""
        try:
            return json.loads(self.result(name).read_text(encoding="utf-8"))
        except (OSError, ValueError, RecursionError):
            return None

    def put(self, name: str, data: dict[str, Any], sheet: bytes, page: bytes = b"") -> None:
        """Write the files of a part, its label on the sheet and in the data."""
        write_whole(self.sheet(name), sheet)
        if page:
            write_whole(self.page(name), page)
        else:
            self._remove(self.page(name))
        hashes = {"sheet_sha256": hashlib.sha256(sheet).hexdigest(), "page_sha256": _sha256(page)}
        about = {**data["plate"], **hashes}
        named = {**data, "part": name, "plate": about}
        named["plate"] = {**about, "data_sha256": _data_sha256(named)}
        write_whole(self.result(name), as_text(named).encode())

    def forget(self, name: str) -> None:
        """Remove a result that no longer holds."""
        for path in (self.result(name), self.sheet(name), self.page(name)):
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


def _sha256(page: bytes) -> str | None:
    """Hash of a page; None where there is none."""
    return hashlib.sha256(page).hexdigest() if page else None


def _data_sha256(data: dict[str, Any]) -> str:
    """Hash of a result but for itself and the time it took."""
    left_out = ("data_sha256", "seconds")
    about = {key: value for key, value in data["plate"].items() if key not in left_out}
    return hashlib.sha256(as_text({**data, "plate": about}).encode()).hexdigest()


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
