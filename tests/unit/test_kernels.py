"""Where compiled kernels are kept and what makes them stale, and that a first run can be told."""

import dis
import importlib
import os
import pkgutil
import stat
import subprocess
import sys
import tempfile
import types
from pathlib import Path

import numpy as np
import pytest
import shared
from numba.core.caching import NullCache
from numba.core.dispatcher import Dispatcher

import clearance
from clearance import first_run
from clearance.columns import cast
from clearance.kernels import compiler, linked, read_back, rows

CALLEE = """
from clearance.kernels.compiler import kernel
from toy.numbers import LENGTH

@kernel
def inner(x):
    return x + LENGTH
"""
CALLER = """
from clearance.kernels.compiler import kernel
from toy.middle import middle

@kernel
def outer(x):
    return middle(x) * 2
"""
MIDDLE = """
from clearance.kernels.compiler import kernel
from toy import callee

@kernel
def middle(x):
    return callee.inner(x) + 100
"""
NUMBERS = "LENGTH = 1"


class Installed:
    """A small package, its caller's file never changed, as an upgrade leaves it."""

    def __init__(self, folder):
        self.folder = folder / "toy"
        self.folder.mkdir()
        self.home = folder / "home"
        self.home.mkdir()
        self.write(__init__="", numbers=NUMBERS, callee=CALLEE, middle=MIDDLE, caller=CALLER)

    def write(self, **files):
        for name, text in files.items():
            (self.folder / f"{name}.py").write_text(text)

    def answer(self):
        """What the outer kernel makes of 5, imported as by a new run, and whether it was kept."""
        for name in [name for name in sys.modules if name.split(".")[0] == "toy"]:
            del sys.modules[name]
        importlib.invalidate_caches()
        compiler._source.cache_clear()
        outer = importlib.import_module("toy.caller").outer
        value = outer(5)
        return value, bool(outer.stats.cache_hits)

    def printed(self, asks, **environment):
        """What another process prints, whose variables are changed as said."""
        paths = f"{self.folder.parent}{os.pathsep}{Path(clearance.__file__).parent.parent}"
        kept = {k: v for k, v in os.environ.items() if not k.startswith(("NUMBA", "XDG"))}
        given = {**kept, "PYTHONPATH": paths, "PYTHONDONTWRITEBYTECODE": "1", **environment}
        given = {k: v for k, v in given.items() if v is not None}
        done = subprocess.run(
            [sys.executable, "-c", asks], env=given, capture_output=True, text=True, check=False,
            cwd=self.home, timeout=300,
        )  # fmt: skip
        assert done.returncode == 0, done.stderr
        return done.stdout.split()


@pytest.fixture
def installed(tmp_path, monkeypatch):
    monkeypatch.syspath_prepend(str(tmp_path))
    monkeypatch.setattr(sys, "dont_write_bytecode", True)
    return Installed(tmp_path)


# ---- after an upgrade ------------------------------------------------------------------------


def test_a_changed_callee_in_a_file_beyond_the_next_is_called_anew(installed):
    assert installed.answer() == (212, False)
    assert installed.answer() == (212, True)
    installed.write(callee=CALLEE.replace("x + LENGTH", "x - LENGTH"))
    assert installed.answer() == (208, False)
    assert installed.answer() == (208, True)


def test_a_changed_number_of_a_file_without_kernels_is_seen(installed):
    assert installed.answer() == (212, False)
    installed.write(numbers="LENGTH = 3")
    assert installed.answer() == (216, False)


YIELDS = """
from clearance.kernels.compiler import kernel

@kernel
def each(x):
    for k in range(x):
        yield k

@kernel
def total(x):
    s = 0
    for k in each(x):
        s += k
    return s

@kernel
def middle(x):
    return total(x)
"""


def test_a_generator_serves_a_kernel_that_a_run_before_had_not_compiled(installed):
    """As where a first run was ended, or where two processes share out the compiling."""
    installed.write(middle=YIELDS)
    asks = "from toy.caller import outer\nprint(outer(5))"
    assert installed.printed(asks) == ["20"]
    for kernel in ("middle.total", "middle.middle", "caller.outer"):
        for path in installed.folder.parent.rglob(f"{kernel}*.nb?"):
            path.unlink()
    assert installed.printed(asks) == ["20"]


LEAST = """
import numpy as np
from clearance.kernels.compiler import kernel

@kernel
def middle(x):
    return np.argmin(np.arange(x)) + 7
"""
ASKS = """
import sys
from toy.middle import middle
from toy.caller import outer
print(middle(5), "numba.np.arraymath" in sys.modules, outer(5))
"""


def test_machine_code_is_read_back_without_the_compilers_own_functions(installed):
    """Nor do they lack where a kernel that calls one so read back is compiled, and kept again."""
    installed.write(middle=LEAST)
    assert installed.printed(ASKS) == ["7", "True", "14"]
    for path in installed.folder.parent.rglob("caller.outer*.nb?"):
        path.unlink()
    assert installed.printed(ASKS) == ["7", "False", "14"]
    outer_alone = ASKS.replace("middle(5), ", "outer(5), ")
    assert installed.printed(outer_alone) == ["14", "False", "14"]


def test_what_a_kernel_was_made_from_is_parsed_when_another_is_compiled_only():
    """And what a version before kept, without names, is read as the compiler reads it."""

    @compiler.kernel
    def threefold(x):
        return 3 * x

    threefold._cache = NullCache()  # compiled here: what was read back cannot be kept again
    assert threefold(2) == 6
    (compiled,) = threefold.overloads.values()
    for kept in (read_back.reduced(compiled), compiled._reduce()):
        again = read_back.rebuilt(compiled.target_context, kept)
        assert again.entry_point(5) == 15
        assert again.target_context is compiled.target_context
        parsed = again.library._shared_module is not None
        assert parsed == (len(kept[0]) == 3)
        functions = again.library._get_module_for_linking().functions
        assert compiled.fndesc.llvm_func_name in [one.name for one in functions]


def part():
    """A kernel for others alone, compiled and not kept."""

    @compiler.inner
    def fourfold(x):
        return 4 * x

    fourfold._cache = NullCache()
    fourfold.compile("int64(int64)")
    return next(iter(fourfold.overloads.values()))


def test_another_version_of_the_compiler_reads_back_as_it_does(monkeypatch):
    @compiler.kernel
    def fourfold(x):
        return 4 * x

    fourfold._cache = NullCache()
    assert fourfold(2) == 8
    (compiled,) = fourfold.overloads.values()
    kept = read_back.reduced(compiled)
    monkeypatch.delattr(read_back._Reading, "unserialize_library")  # asked for by another name
    monkeypatch.delattr(read_back._Reading, "codegen")
    monkeypatch.delattr(read_back._Reading, "__getattr__")
    again = read_back.rebuilt(compiled.target_context, kept)
    assert again.entry_point(5) == 20
    assert again.library._shared_module is not None


def test_another_version_of_the_compiler_compiles_as_it_always_does(monkeypatch):
    monkeypatch.setattr(linked, "SERVES", False)

    compiled = part()
    assert compiled.library.get_pointer_to_function(compiled.fndesc.llvm_func_name) != 0


@pytest.mark.skipif(not linked.SERVES, reason="not tried with this version of the compiler")
def test_a_kernel_that_others_alone_call_is_kept_as_what_they_link():
    """Without machine code or names, so that what asks for its entry finds none."""

    compiled = part()
    kept = read_back.reduced(compiled)
    (_, _, (machine_code, _), names), *_ = kept
    assert (machine_code, names) == (b"", ())
    again = read_back.rebuilt(compiled.target_context, kept)
    assert again.library.get_pointer_to_function(compiled.fndesc.llvm_func_name) == 0
    functions = again.library._get_module_for_linking().functions
    assert compiled.fndesc.llvm_func_name in [one.name for one in functions]


def test_what_no_kernel_takes_does_not_make_them_stale(installed):
    installed.write(numbers=NUMBERS + "\nfrom toy import words")
    installed.write(words="WORD = 1")
    assert installed.answer() == (212, False)
    installed.write(words="WORD = 2")
    assert installed.answer() == (212, True)


def test_machine_code_of_before_is_not_taken_though_the_index_is_new(installed):
    """As a run leaves it that is killed between the two."""
    installed.answer()
    before = {path: path.read_bytes() for path in installed.folder.rglob("*.nbc")}
    installed.write(callee=CALLEE.replace("x + LENGTH", "x - LENGTH"))
    assert installed.answer() == (208, False)
    for path, data in before.items():
        path.write_bytes(data)
    assert installed.answer() == (208, False)
    assert installed.answer() == (208, True)


@pytest.mark.parametrize("ending", ["nbi", "nbc"])
def test_a_damaged_file_is_made_anew(installed, ending):
    installed.answer()
    for path in installed.folder.rglob(f"*.{ending}"):
        path.write_bytes(path.read_bytes()[:40])
    assert installed.answer() == (212, False)
    assert installed.answer() == (212, True)


def rooms():
    for found in pkgutil.walk_packages(clearance.__path__, "clearance."):
        if found.name != "clearance.__main__":
            yield importlib.import_module(found.name)


def all_kernels():
    for room in rooms():
        for name, found in vars(room).items():
            if isinstance(found, Dispatcher) and found.py_func.__module__ == room.__name__:
                yield f"{room.__name__}.{name}", found


def names_in(code):
    yield from code.co_names
    for constant in code.co_consts:
        if isinstance(constant, types.CodeType):
            yield from names_in(constant)


def test_kernels_take_nothing_that_their_stamp_does_not_cover():
    """Kernels, numbers and arrays of them; and what numpy, math and the compiler bring."""
    seen = 0
    for kernel_name, found in all_kernels():
        outside = found.py_func.__globals__
        for name in set(names_in(found.py_func.__code__)) & set(outside):
            value = outside[name]
            seen += 1
            known = isinstance(value, (Dispatcher, bool, int, float, np.generic, np.ndarray))
            plain = isinstance(value, tuple) and all(isinstance(v, (int, float)) for v in value)
            foreign = getattr(value, "__name__", "").split(".")[0] in ("numpy", "math", "numba")
            made = getattr(value, "__module__", "") or ""
            assert known or plain or foreign or made.split(".")[0] in ("numba", "numpy"), (
                f"{kernel_name} takes {name}: {value!r}"
            )
    assert seen > 100


def plain_code(room, kernels):
    """The functions of a module, those within others too, its kernels left out."""
    path = Path(room.__file__)
    waiting = [compile(path.read_bytes(), str(path), "exec")]
    while waiting:
        within = [one for one in waiting.pop().co_consts if isinstance(one, types.CodeType)]
        waiting += [code for code in within if code not in kernels]
        yield from (code for code in within if code not in kernels)


def test_kernels_without_an_entry_are_called_by_kernels_alone():
    """A call from Python would end the process."""
    compiled = [found for _, found in all_kernels()]
    inner = {id(one) for one in compiled if one.targetoptions.get("no_cpython_wrapper")}
    assert 50 < len(inner) < len(compiled) - 50
    kernels = {one.py_func.__code__ for one in compiled}
    plain = 0
    for room in rooms():
        for code in plain_code(room, kernels):
            plain += 1
            value = None
            for step in dis.get_instructions(code):
                if step.opname.startswith("LOAD_GLOBAL"):
                    value = vars(room).get(step.argval)
                elif step.opname.startswith(("LOAD_ATTR", "LOAD_METHOD")):
                    value = getattr(value, str(step.argval), None)
                else:
                    value = None
                assert id(value) not in inner, f"{room.__name__}.{code.co_name}, {step.argval}"
    assert plain > 1000


def test_every_kernel_keeps_its_stamp_from_run_to_run():
    asks = (
        "from tests.unit.test_kernels import all_kernels\n"
        "print({name: found._cache.stamp for name, found in all_kernels()})"
    )
    here = repr({name: found._cache.stamp for name, found in all_kernels()})
    there = subprocess.run(
        [sys.executable, "-c", asks], text=True, capture_output=True,
        env={**os.environ, "PYTHONHASHSEED": "7", "PYTHONPATH": str(Path(shared.__file__).parent)},
        check=True, cwd=Path(clearance.__file__).parent.parent,
    )  # fmt: skip
    assert there.stdout.strip() == here


def test_places_in_a_rising_row_are_as_numpy_has_them():
    """Expected: numpy's, and Python's own least and greatest; equal numbers among them."""
    rising = np.array([-3.0, 0.5, 0.5, 0.5, 2.0, np.inf])
    for value in (-np.inf, -3.0, 0.0, 0.5, 1.0, 2.0, 7.0, np.inf):
        for row in (rising, rising[:1], rising[:0], rising[::2]):
            below = rows.first_not_below.py_func(row, value)
            assert below == np.searchsorted(row, value)
            assert rows.first_above.py_func(row, value) == np.searchsorted(row, value, "right")
    for row in ([4, -2, 7, 7], [3], [2.5, -1.0, np.inf]):
        assert rows.least.py_func(np.array(row)) == min(row)
        assert rows.greatest.py_func(np.array(row)) == max(row)


# ---- where they are kept ---------------------------------------------------------------------

PLACE = """
from toy.caller import outer
print(outer._cache.cache_path, outer(5), len(outer.stats.cache_hits))
"""


def test_kernels_are_kept_beside_the_program(installed):
    installed.answer()
    assert {path.parent for path in installed.folder.rglob("*.nbi")} == {
        installed.folder / "__pycache__"
    }


def test_then_in_the_folder_of_the_user(installed):
    (installed.folder / "__pycache__").touch()
    place, *_ = installed.printed(PLACE, HOME=str(installed.home))
    assert Path(place).is_relative_to(installed.home)


@pytest.mark.skipif(not hasattr(os, "getuid"), reason="folders have no owner here")
@pytest.mark.parametrize("home", [None, *shared.more("a file")])
def test_then_in_a_private_one(installed, tmp_path, home):
    """Also for a user without HOME who is not in the list of users, as in many containers."""
    (installed.folder / "__pycache__").touch()
    nobody = "import pwd\ndef _none(*_): raise KeyError\npwd.getpwuid = _none\n"
    occupied = tmp_path / "file"
    occupied.touch()
    given = {"HOME": str(occupied) if home else None, "TMPDIR": str(tmp_path)}
    place, *said = installed.printed(nobody + PLACE, **given)
    assert said == ["212", "0"]
    own = tmp_path / f"clearance-{os.getuid()}"
    assert Path(place).parent == own
    assert stat.S_IMODE(own.stat().st_mode) == 0o700
    assert list(installed.home.iterdir()) == []  # no folder "~" in the working directory
    assert installed.printed(nobody + PLACE, **given) == [place, "212", "1"]


@pytest.mark.skipif(not hasattr(os, "getuid"), reason="folders have no owner here")
@pytest.mark.parametrize("kind", ["open to others", "file", "link", "theirs"])
def test_a_place_that_is_not_the_users_alone_is_not_used(tmp_path, monkeypatch, kind):
    monkeypatch.setattr(tempfile, "gettempdir", lambda: str(tmp_path))
    own = tmp_path / f"clearance-{os.getuid()}"
    if kind == "file":
        own.touch(mode=0o600)
    elif kind == "link":
        (tmp_path / "elsewhere").mkdir(mode=0o700)
        own.symlink_to(tmp_path / "elsewhere")
    else:
        own.mkdir(mode=0o700)
        assert compiler.private_folder() == str(own)
        own.chmod(0o777 if kind == "open to others" else 0o700)
        if kind == "theirs":
            other = os.getuid() + 1
            monkeypatch.setattr(os, "getuid", lambda: other)
            own.rename(tmp_path / f"clearance-{other}")
    assert compiler.private_folder() is None


@pytest.mark.skipif(not hasattr(os, "getuid"), reason="folders have no owner here")
def test_nobody_can_lock_another_out(installed, tmp_path):
    """Neither a home nor a private place: the program starts; a command then says what to do."""
    (tmp_path / f"clearance-{os.getuid()}").touch()
    asks = "import pwd\ndef _none(*_): raise KeyError\npwd.getpwuid = _none\n" + (
        "from clearance.cli.main import main; main(['--version'])"
    )
    words = installed.printed(asks, HOME=None, TMPDIR=str(tmp_path))
    assert clearance.__version__ in words


@pytest.mark.skipif(not hasattr(os, "getuid"), reason="folders have no owner here")
def test_at_last_in_a_folder_of_this_run(installed, tmp_path):
    """It is used, said once, handed to other processes, and gone afterwards."""
    (installed.folder / "__pycache__").touch()
    (tmp_path / f"clearance-{os.getuid()}").touch()
    nobody = "import pwd\ndef _none(*_): raise KeyError\npwd.getpwuid = _none\n"
    told = (
        "import warnings\nfound = []\nwarnings.showwarning = lambda said, *_: found.append(said)\n"
    )
    rest = "import os\nprint(os.environ['NUMBA_CACHE_DIR'], len(found), *found)\n"
    words = installed.printed(nobody + told + PLACE + rest, HOME=None, TMPDIR=str(tmp_path))
    place, answer, hits, shared, count, *said = words
    assert (answer, hits, count) == ("212", "0", "1")
    assert Path(place).is_relative_to(shared)
    assert Path(shared).parent == tmp_path
    assert not Path(shared).exists()
    assert "NUMBA_CACHE_DIR" in said


def test_a_full_disk_costs_time_only(monkeypatch):
    """A kernel that cannot be kept is still called."""

    def full(*_):
        raise OSError(28, "No space left on device")

    @compiler.kernel
    def twice(x):
        return 2 * x

    monkeypatch.setattr(twice._cache._cache_file, "save", full)
    assert twice(4) == 8


def test_a_first_run_is_told(monkeypatch):
    file = cast._crossings._cache._cache_file
    monkeypatch.setattr(file, "_load_index", dict)
    assert not first_run.compiled()
    monkeypatch.setattr(file, "_load_index", lambda: {"signature": "kernel"})
    assert first_run.compiled()
