"""Kernels that other kernels alone call: kept as what goes into those, without machine code.

In: a function on its way through the compiler. Out: its code, ready to be linked into a caller.
Nothing runs it by itself, since each caller has it linked in, optimised and made machine code of.
To do the same for the part alone would take a tenth of all the time, or more.
"""

from __future__ import annotations

from typing import Any

import numba
from numba.core import environment, extending
from numba.core.codegen import JITCodeLibrary
from numba.core.compiler import Compiler

KNOWN = "0.68."
"""Versions of the compiler with which this was tried: it leans on their inner steps. With any other
kernels are compiled as usual, which takes longer and gives the same."""
SERVES = numba.__version__.startswith(KNOWN)

if SERVES:
    # What the compiler brings for kernels to call has an entry for callers in C, which nobody uses.
    vars(extending)["_overload_default_jit_options"]["no_cfunc_wrapper"] = True


class Whole(Compiler):
    """The compiler, for a kernel that Python calls."""

    def define_pipelines(self) -> Any:
        """The usual steps, which fill a library of ours."""
        return _filling(_Whole, self.state, super().define_pipelines)


class Part(Compiler):
    """The compiler, for a kernel that other kernels alone call."""

    def define_pipelines(self) -> Any:
        """As above."""
        return _filling(_Part, self.state, super().define_pipelines)


def _filling(kind: Any, state: Any, steps: Any) -> Any:
    state.library = kind(state.targetctx.codegen(), state.func_id.func_qualname)
    state.library.enable_object_caching()
    return steps()


class _Whole(JITCodeLibrary):
    """Code that is run: its parts find here what each of them finds at run time."""

    def _finalize_final_module(self) -> None:
        super()._finalize_final_module()
        for variable in self._final_module.global_variables:
            found = environment.lookup_environment(variable.name)
            if found is not None:
                self._codegen.set_env(variable.name, found)


class _Part(JITCodeLibrary):
    """Code that never goes to the machine by itself."""

    @property
    def codegen(self) -> Any:
        """That of the compiler, which would look for what the machine has of this."""
        return Unplaced(self._codegen)

    def _optimize_final_module(self) -> None:
        """As functions only, which has been done: what is linked is optimised as a whole there."""

    def _finalize_final_module(self) -> None:
        self._finalize_dynamic_globals()
        self._verify_declare_only_symbols()
        self._finalized = True

    def get_pointer_to_function(self, name: str) -> int:
        """None: 0, as the compiler has it where nothing is defined."""
        self._ensure_finalized()
        return 0

    def serialize_using_object_code(self) -> tuple[str, str, tuple[bytes, bytes]]:
        """As the compiler has it, with no machine code."""
        return self.name, "object", (b"", self._get_module_for_linking().as_bitcode())


class Unplaced:
    """The compiler's code generator, for code that does not go to the machine."""

    def __init__(self, codegen: Any) -> None:
        self._codegen = codegen

    def __getattr__(self, name: str) -> Any:
        return getattr(self._codegen, name)

    def set_env(self, name: str, found: Any) -> None:
        """Nothing: each caller has a place of its own for it."""
