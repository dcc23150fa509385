"""Guide bushes of a passage's plan, as files.

In: the check of a passage and its result with a plan. Out: names and bytes of files, one STL mesh
for each operation and a text of one line beside it. Nothing is written here.
"""

from __future__ import annotations

import re
from collections.abc import Iterable

import numpy as np

from clearance.axes import to_mesh
from clearance.errors import ClearanceError
from clearance.passages.way import moved_mouth
from clearance.ports.mouth import Mouth
from clearance.result import Drilling, PassageResult
from clearance.verdict.passage_check import PassageCheck

NAME_LETTERS = 60
"""Of a passage's name, in a file's name."""


def guides(asked: Iterable[tuple[PassageCheck, PassageResult]]) -> dict[str, bytes]:
    """Files by their names: every bush of every plan, each checked against the part.

    Raises
    ------
    ClearanceError
        A passage without a plan, an operation whose bush nothing carries.
    """
    files: dict[str, bytes] = {}
    for check, result in asked:
        if result.rework is None:
            why = result.why_not or f"the passage is {result.state.value}"
            raise _refused(check, result, f"no drilling plan: {why}")
        stem = _stem(result.name, {name.rsplit("-", 1)[0] for name in files})
        for number, stroke in enumerate(result.rework.drilling, 1):
            of = len(result.rework.drilling)
            if stroke.tool == "electrode":
                raise _refused(check, result, f"operation {number} is spark erosion, no drill")
            mesh, line = _one(check, result, stroke, number, of)
            files[f"{stem}-{number}.stl"] = mesh
            files[f"{stem}-{number}.txt"] = f"{line}\n".encode()
    return files


def _one(
    check: PassageCheck, result: PassageResult, stroke: Drilling, number: int, of: int
) -> tuple[bytes, str]:
    import trimesh
    from trimesh.exchange.stl import export_stl

    from clearance.drilling.bush import NoBushError, bush, set_up
    from clearance.verdict.second_opinion import Solids
    from clearance.verdict.solids import NotPossibleError

    checked = check.checked
    bodies, events = checked.bodies, check.judged[0].variant.events or ()
    try:
        metal = Solids(
            bodies.part,
            bodies.melted,
            bodies.overlapping,
            events,
            list(bodies.added_by_stray.values()),
            checked.all_mouths,
            checked.case.grid.smallest_way,
        ).metal
        made = bush(metal, _entered(check, stroke), stroke, checked.case.bush)
    except NotPossibleError as fault:
        raise _refused(check, result, f"no bush can be checked: {fault}") from None
    except NoBushError as fault:
        said = f"no bush for operation {number} of {of}, from the {stroke.from_}: {fault}"
        raise _refused(check, result, said) from None
    corners = to_mesh(made.soup.reshape(-1, 3), checked.case.part.build_direction)
    mesh = trimesh.Trimesh(corners, np.arange(len(corners)).reshape(-1, 3), process=False)
    return bytes(export_stl(mesh)), set_up(result.name, number, of, stroke, made)


def _entered(check: PassageCheck, stroke: Drilling) -> Mouth:
    """The mouth that an operation enters, where it lies in the predicted part."""
    own = {"inlet": check.inlet, "outlet": check.outlet}
    mouth = own.get(stroke.from_) or check.checked.mouths[stroke.from_]
    events = check.judged[0].variant.events
    return moved_mouth(check.predicted(events, check.checked.pitch_mm), mouth)


def _stem(name: str, taken: set[str]) -> str:
    """A file's name for a passage: plain letters, and one that no other passage has."""
    plain = f"bush-{re.sub(r'[^A-Za-z0-9_]+', '-', name).strip('-')[:NAME_LETTERS] or 'passage'}"
    number, stem = 1, plain
    while stem in taken:
        number += 1
        stem = f"{plain}_{number}"
    return stem


def _refused(check: PassageCheck, result: PassageResult, why: str) -> ClearanceError:
    return ClearanceError(f"{check.checked.case.path.name}: {result.name}: {why}")
