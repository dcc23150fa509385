"""Internal-channel clearance of powder-bed-fusion parts that carry stray layers.

The names in `__all__` are the public ones (docs/python.md); they are loaded when first asked for,
so that importing this costs nothing. All else, every submodule included, may change at any time.
"""

from __future__ import annotations

import importlib
from typing import TYPE_CHECKING, Any

__version__ = "0.1.0"

if TYPE_CHECKING:
    from clearance.api import check, draw, examine, explain, openings, sweep
    from clearance.case.read import Case, read_case
    from clearance.checking import Examined
    from clearance.errors import CaseError, ClearanceError, GridError, PartError, PortError
    from clearance.mesh.part import Part, read_part
    from clearance.result import PassageResult, Result, State
    from clearance.result.causes import CausesResult
    from clearance.survey.openings import Opening, Openings
    from clearance.sweeps.result import PassageHeights, Sweep, SweepArrays

__all__ = [
    "Case",
    "CaseError",
    "CausesResult",
    "ClearanceError",
    "Examined",
    "GridError",
    "Opening",
    "Openings",
    "Part",
    "PartError",
    "PassageHeights",
    "PassageResult",
    "PortError",
    "Result",
    "State",
    "Sweep",
    "SweepArrays",
    "__version__",
    "check",
    "draw",
    "examine",
    "explain",
    "openings",
    "read_case",
    "read_part",
    "sweep",
]

_HOMES = {
    "api": ("check", "draw", "examine", "explain", "openings", "sweep"),
    "case.read": ("Case", "read_case"),
    "checking": ("Examined",),
    "errors": ("CaseError", "ClearanceError", "GridError", "PartError", "PortError"),
    "mesh.part": ("Part", "read_part"),
    "result": ("PassageResult", "Result", "State"),
    "result.causes": ("CausesResult",),
    "survey.openings": ("Opening", "Openings"),
    "sweeps.result": ("PassageHeights", "Sweep", "SweepArrays"),
}
_HOME_OF = {name: home for home, names in _HOMES.items() for name in names}


def __getattr__(name: str) -> Any:
    if name not in _HOME_OF:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    value = getattr(importlib.import_module(f"{__name__}.{_HOME_OF[name]}"), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted(__all__)
