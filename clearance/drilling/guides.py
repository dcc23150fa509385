"""Guide bushes of a passage's plan, as files.

In: the check of a passage and its result with a plan. Out: names and bytes of files, one STL mesh
for each operation and a text of one line beside it. Nothing is written here.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import TYPE_CHECKING

import numpy as np

from clearance.axes import to_mesh
from clearance.errors import ClearanceError
from clearance.passages.way import moved_mouth
from clearance.ports.mouth import Mouth
from clearance.result import Drilling, PassageResult
from clearance.verdict.passage_check import PassageCheck
from clearance.verdict.prepared import Checked

if TYPE_CHECKING:
    from manifold3d import Manifold

NAME_LETTERS = 60
"""Of a passage's name, in a file's name."""
FAR_MM = 500.0
"""So far the platform reaches around the part, and down."""


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
                raise _refused(
                    check,
                    result,
                    f"operation {number} of {of} is spark erosion: bushes are for drills alone",
                )
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
        mouth, around = _entered(check, stroke), _around(checked)
        made = bush(metal, mouth, stroke, checked.case.bush, around)
    except NotPossibleError as fault:
        raise _refused(check, result, f"no bush can be checked: {fault}") from None
    except NoBushError as fault:
        said = f"no bush for operation {number} of {of}, from the {stroke.from_}: {fault}"
        raise _refused(check, result, said) from None
    corners = to_mesh(made.soup.reshape(-1, 3), checked.case.part.build_direction)
    line = set_up(result.name, number, of, stroke, made)
    if checked.case.part.build_direction is not None:
        line += "; directions are in the platform's axes, the mesh is in the part's as drawn"
    if len(checked.unknowns.variants) > 1:
        line += "; the event is not known for sure: held against the first case of it alone"
    mesh = trimesh.Trimesh(corners, np.arange(len(corners)).reshape(-1, 3), process=False)
    return bytes(export_stl(mesh)), line


def _around(checked: Checked) -> Manifold:
    """What stands around the part: while it is on the platform that, and other parts beside it."""
    from manifold3d import Manifold

    from clearance.verdict.solids import solid, united

    found = [solid(other.soup(), True) for other in checked.others]
    if len(checked.bodies.standing):
        found.append(solid(checked.bodies.standing, True))
    if checked.case.state.on_platform:
        low, high = checked.bodies.bounds[0] - FAR_MM, checked.bodies.bounds[1] + FAR_MM
        size = (high[0] - low[0], high[1] - low[1], FAR_MM)
        plate = Manifold.cube(tuple(map(float, size)))
        found.append(plate.translate((float(low[0]), float(low[1]), checked.platform_z - FAR_MM)))
    return united(found) if found else Manifold()


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
