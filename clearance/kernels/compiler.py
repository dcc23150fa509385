"""How every kernel is compiled: once a machine, without the lock of the interpreter.

In: a function on arrays and numbers. Out: the same function, compiled when first called.

The compiler's own cache asks only whether the kernel's own file has changed. But machine code
holds that of every kernel it calls and every number it found outside, so here its stamp covers
them too: after an upgrade no kernel answers as the version before did.

A bare whole number in a call of one kernel from another is compiled for its very value, and once
more for all others; `np.int64(0)` is not.
"""

from __future__ import annotations

import atexit
import hashlib
import inspect
import os
import pickle
import stat
import sys
import tempfile
import warnings
from collections.abc import Callable, Iterator
from contextlib import suppress
from functools import cache
from pathlib import Path
from types import FunctionType, ModuleType
from typing import Any, ClassVar

import numba
import numpy as np
from numba import njit
from numba.core import environment
from numba.core.caching import CompileResultCacheImpl, FunctionCache, IndexDataCacheFile
from numba.core.dispatcher import Dispatcher
from numba.core.runtime import rtsys

from clearance.errors import ClearanceWarning
from clearance.kernels import linked
from clearance.kernels.linked import Part, Whole
from clearance.kernels.read_back import rebuilt, reduced


def kernel(function: Callable[..., Any]) -> Any:
    """`function`, compiled when it is first called and kept for the next run.

    Without the entry for callers in C, which nobody uses and which takes a tenth of the time.
    """
    return _kept(function, Whole)


def inner(function: Callable[..., Any]) -> Any:
    """`function`, compiled for calls from other kernels alone, in a fifth less time and more.

    It has no entry for Python, nor machine code of its own (`linked.py`): a call from there would
    end the process. A test looks for one (`tests/unit/test_kernels.py`).
    """
    return _kept(function, Part, no_cpython_wrapper=True)


def _kept(function: Callable[..., Any], steps: type, **options: Any) -> Any:
    if linked.SERVES:
        options["pipeline_class"] = steps
    compiled: Any = njit(nogil=True, no_cfunc_wrapper=True, **options)(function)
    compiled._cache = _Cache(function)
    return compiled


def tell(told: Callable[[int, int], None]) -> None:
    """Call `told` at each kernel that is compiled or read back: how many there are, of how many.

    Of all that are imported; a command may do without some of them.
    """
    _Cache.told = told


# ---- what machine code depends on ------------------------------------------------------------


def _stamp(function: Any, own: object) -> str:
    """A hash over the file of `function` and over all that it can take from other files.

    That is what stands in its module by then: the kernels that are imported, each with its own
    stamp, and plain numbers, which the compiler writes into the machine code.
    """
    found = hashlib.sha256(numba.__version__.encode())
    found.update(_source(inspect.getfile(function)) or repr(own).encode())
    for name, value in sorted(_taken(function.__globals__)):
        found.update(f"\n{name} = {value}".encode())
    return found.hexdigest()


def _taken(names: dict[str, Any]) -> Iterator[tuple[str, str]]:
    """Kernels and numbers among `names`, and among those of modules of the same package."""
    package = names["__name__"].partition(".")[0]
    for name, value in list(names.items()):
        if isinstance(value, Dispatcher):
            yield name, getattr(getattr(value, "_cache", None), "stamp", "")
        elif isinstance(value, (bool, int, float, complex, tuple, np.generic)):
            yield name, repr(value)
        elif isinstance(value, np.ndarray):
            yield name, f"{value.dtype} {value.shape} {value.tobytes().hex()}"
        elif isinstance(value, ModuleType) and value.__name__.partition(".")[0] == package:
            for inner, text in _taken({**vars(value), "__name__": ""}):
                yield f"{name}.{inner}", text


@cache
def _source(path: str) -> bytes:
    """The bytes of a source file, none for one within an archive."""
    try:
        return Path(path).read_bytes()
    except OSError:
        return b""


# ---- where it is kept ------------------------------------------------------------------------


# Its name begins with a "_" up to numba 0.61.
_OfUser: Any = next(
    known
    for known in CompileResultCacheImpl._locator_classes
    if known.__name__.lstrip("_") == "UserWideCacheLocator"
)


class _UserWide(_OfUser):
    """The user's folder for caches, where there is one.

    Without HOME and an entry among the users it would be a folder "~" in the working directory,
    where others could leave code to be run.
    """

    @classmethod
    def from_function(cls, py_func: FunctionType, py_file: str) -> _UserWide | None:
        if not os.path.isabs(cls(py_func, py_file).get_cache_path()):
            return None
        return super().from_function(py_func, py_file)


class _Private(_OfUser):
    """A folder for temporary files that is the user's alone: what is kept there is run."""

    @classmethod
    def from_function(cls, py_func: FunctionType, py_file: str) -> _Private | None:
        return super().from_function(py_func, py_file) if private_folder() else None

    def get_cache_path(self) -> str:
        return os.path.join(private_folder() or "", os.path.basename(self._cache_path))


def private_folder() -> str | None:
    """The user's own folder beside those of others, made if need be; None if it is not theirs."""
    if not hasattr(os, "getuid"):
        return None
    own = Path(tempfile.gettempdir()) / f"clearance-{os.getuid()}"
    try:
        own.mkdir(mode=0o700, exist_ok=True)
        found = own.lstat()
    except OSError:
        return None
    theirs = found.st_uid == os.getuid() and not found.st_mode & 0o077
    return str(own) if theirs and stat.S_ISDIR(found.st_mode) else None


class _OneRun(_OfUser):
    """A folder that goes away with this process; those that it starts use it too."""

    def get_cache_path(self) -> str:
        return os.path.join(folder_of_this_run(), os.path.basename(self._cache_path))


@cache
def folder_of_this_run() -> str:
    """Make the folder, once, and warn: every run has to compile."""
    folder = tempfile.TemporaryDirectory(prefix="clearance-kernels-")
    atexit.register(folder.cleanup)
    os.environ["NUMBA_CACHE_DIR"] = numba.config.CACHE_DIR = folder.name
    warnings.warn(
        "no folder for compiled kernels can be written, so each run compiles them anew; "
        "NUMBA_CACHE_DIR may name one",
        ClearanceWarning,
        stacklevel=2,
    )
    return folder.name


class _Place(CompileResultCacheImpl):
    """Beside the program, in the user's folder for caches, a private one, one of this run."""

    _locator_classes = [  # noqa: RUF012 (the compiler's own name)
        *(
            _UserWide if known is _OfUser else known
            for known in CompileResultCacheImpl._locator_classes
        ),
        _Private,
        _OneRun,
    ]

    def reduce(self, data: Any) -> Any:
        """What is kept of a compilation."""
        return reduced(data)

    def rebuild(self, target_context: Any, payload: Any) -> Any:
        """The compilation, from what was kept."""
        return rebuilt(target_context, payload)


class _Unpickler(pickle.Unpickler):
    """Reads machine code back without the parts of the compiler that it was made from.

    What a kernel uses of the compiler's own functions names their modules, and to import those
    takes longer than a small check. Machine code asks for none of it: only code that runs in the
    interpreter looks a name up there, and a kernel has none.
    """

    def find_class(self, module: str, name: str) -> Any:
        """The function that makes up an environment, ours in place of the compiler's."""
        found = super().find_class(module, name)
        return _environment if (module, name) == _REBUILD else found


_REBUILD = ("numba.core.environment", "_rebuild_env")


def _environment(module: str, constants: list[Any], name: str) -> Any:
    """What one function of a kernel finds at run time, as the compiler's own makes it up."""
    if module.partition(".")[0] != numba.__name__ or module in sys.modules:
        return environment._rebuild_env(module, constants, name)
    found: Any = environment.lookup_environment(name)
    if found is None:
        found = environment.Environment({"__name__": module})  # asked for where it is kept again
        found.consts[:] = constants
        found.env_name = name
        environment.Environment._memo[name] = found
    return found


class _Files(IndexDataCacheFile):
    """Index and machine code, each with its stamp; what is damaged counts as missing.

    The index is written first: a run that is killed or finds the disk full in between would
    leave a new index that names old machine code.
    """

    def _load_index(self) -> dict[Any, str]:
        try:
            return super()._load_index()
        except Exception:  # whatever unpickling makes of damaged bytes
            return {}

    def _save_data(self, name: str, data: Any) -> None:
        super()._save_data(name, (self._source_stamp, data))

    def _load_data(self, name: str) -> Any:
        try:
            with open(self._data_path(name), "rb") as file:
                stamp, data = _Unpickler(file).load()
        except Exception as fault:  # as above
            raise FileNotFoundError(name) from fault
        if stamp != self._source_stamp:
            raise FileNotFoundError(name)
        return data


class _Cache(FunctionCache):
    """What is kept of one kernel; what cannot be kept is compiled in every run.

    A generator is not: one that is read back cannot be called by a kernel that has to be compiled.
    """

    _impl_class = _Place
    imported: ClassVar[int] = 0
    ready: ClassVar[set[str]] = set()
    told: ClassVar[Callable[[int, int], None] | None] = None

    def __init__(self, function: Any) -> None:
        super().__init__(function)
        _Cache.imported += 1
        self.name = f"{function.__module__}.{function.__qualname__}"
        self.kept = not inspect.isgeneratorfunction(function)
        self.stamp = _stamp(function, self._impl.locator.get_source_stamp())
        self._cache_file: Any = _Files(self._cache_path, self._impl.filename_base, self.stamp)

    def load_overload(self, sig: Any, target_context: Any) -> Any:
        """Read machine code back without making the compiler ready, which takes a second.

        What has to be compiled makes it ready for itself; machine code only needs what counts
        references at run time.
        """
        if not self.kept:
            return None
        rtsys.initialize(target_context)
        with self._guard_against_spurious_io_errors():
            found = self._load_overload(sig, target_context)
            if found is not None:
                self._tell()
            return found

    def _tell(self) -> None:
        _Cache.ready.add(self.name)
        if _Cache.told is not None:
            _Cache.told(len(_Cache.ready), _Cache.imported)

    def save_overload(self, sig: Any, data: Any) -> None:
        self._tell()
        with suppress(OSError):
            if self.kept:
                super().save_overload(sig, data)
