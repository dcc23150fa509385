"""Machine code as it is kept and read back, without what only the compiling of others needs.

In: the result of a compilation. Out: what is kept of it; the same result, ready to be called. The
compiler would also parse what the code was made from, and go through all its names: that takes
twice as long as all the rest. Here it is parsed when another kernel that calls it is compiled.
"""

from __future__ import annotations

from typing import Any

import llvmlite.binding as llvm
from numba.core.codegen import JITCodeLibrary
from numba.core.compiler import CompileResult

from clearance.kernels.linked import Unplaced


def reduced(result: Any) -> tuple[Any, ...]:
    """What is kept of a compilation: as the compiler has it, and which of its names are defined."""
    library, *rest = result._reduce()
    found, engine = result.fndesc, result.library.codegen._engine
    names = (found.llvm_func_name, found.llvm_cpython_wrapper_name, found.llvm_cfunc_wrapper_name)
    return (*library, tuple(filter(engine.is_symbol_defined, names))), *rest


def rebuilt(target: Any, kept: tuple[Any, ...]) -> Any:
    """The compilation of which `kept` was kept, by this version or one before."""
    library, *rest = kept
    if len(library) > 3:  # a version before kept no names
        try:
            found = CompileResult._rebuild(_Reading(target), *kept)
        except (AttributeError, TypeError):  # another version of the compiler
            pass
        else:
            return found._replace(target_context=target)
    return CompileResult._rebuild(target, library[:3], *rest)


class _Reading:
    """The compiler's target, which reads libraries in our way."""

    def __init__(self, target: Any) -> None:
        self._target = target

    def __getattr__(self, name: str) -> Any:
        return getattr(self._target, name)

    def codegen(self) -> _Reading:
        """What is asked for the library."""
        return self

    def unserialize_library(self, kept: tuple[Any, ...]) -> _Library:
        """The library, ready to run."""
        name, _, (machine_code, made_from), names = kept
        codegen = self._target.codegen()
        library = _Library(codegen, name)
        library.enable_object_caching()
        library._set_compiled_object(machine_code)
        library.made_from = made_from
        library.placed = bool(machine_code)  # none for what others alone call: `linked.py`
        if machine_code:
            library._finalize_final_module()
        else:
            library._finalized = True
        codegen._engine._defined_symbols.update(names)
        return library


class _Library(JITCodeLibrary):
    """Machine code that was read back."""

    made_from: bytes
    placed: bool
    _shared_module: Any

    @property
    def codegen(self) -> Any:
        """That of the compiler; for a part of others one that looks for nothing in the machine."""
        return self._codegen if self.placed else Unplaced(self._codegen)

    def _get_module_for_linking(self) -> Any:
        if self._shared_module is None:
            self._shared_module = llvm.parse_bitcode(self.made_from)
        return super()._get_module_for_linking()
