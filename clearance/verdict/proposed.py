"""What passages that are only proposed let through: a requirement to begin with.

In: the mesh and the tables of passages as `openings` finds them. Out: the clear diameter of each
in the nominal part. A port is as a rule wider than what lies behind it: a chamfer says nothing
of the passage.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from clearance.case.read import Case
from clearance.errors import ClearanceError
from clearance.verdict.passage_check import PassageCheck
from clearance.verdict.prepared import Progress, prepare, silent

MOST = 24
"""Passages that are measured; the star of a larger group would take minutes."""
LAYER_MM = 0.05
"""Layers of the case that is made up for it; without an event they decide nothing."""


def clear_diameters(
    mesh: Path,
    unit: str,
    passages: Sequence[Mapping[str, Any]],
    progress: Progress = silent,
    item: str | None = None,
) -> list[float | None]:
    """Largest ball that is proven to pass each of some passages of a mesh.

    Parameters
    ----------
    mesh : Path
    unit : str
        Of a mesh that carries none.
    passages : sequence of mapping
        As [[passage]] tables of a case file.
    progress : callable
    item : str, optional
        Build item of a 3MF that is meant.

    Returns
    -------
    list of float or None, mm
        A lower bound; None where none was found, or where there are too many passages.
    """
    if not passages or len(passages) > MOST:
        return [None] * len(passages)
    part = {"name": "proposed", "mesh": mesh.name, "unit": unit, "platform_z": 0.0}
    part["layer_thickness"] = LAYER_MM
    if item is not None:
        part["item"] = item
    try:
        tables = {"part": part, "passage": [dict(one) for one in passages]}
        checked = prepare(Case.from_tables(tables, mesh.parent), progress=progress)
        return [_passing(PassageCheck(checked, one), progress) for one in checked.case.passage]
    except ClearanceError:  # a port that no case could name, or a grid that does not fit
        return [None] * len(passages)


def _passing(check: PassageCheck, progress: Progress) -> float | None:
    progress(f"{check.passage.name}: what passes it")
    try:
        way = check.nominal.way
    except ClearanceError:
        return None
    return way.low_mm if way.low_mm > 0.0 else None
