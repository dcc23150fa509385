"""The restart card as data.

In: parts that stand there, and what is asked. Out: `Card`: the result, and the figure of each
layer.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import shapely

from clearance.case.powder_bed import shrinkage
from clearance.checking import CAUTIONS
from clearance.errors import ClearanceError
from clearance.geometry.areas import largest_circle_mm, polygonal
from clearance.restart.asked import Asked, Standing, asked, extents, islands, standing
from clearance.restart.would_do import NO_PASSAGE, Found, would_do
from clearance.result.restart import Candidate, RestartResult, RightLayer, WouldDo
from clearance.verdict.prepared import Progress, silent

NEVER_START = "Never start on a number that two people have not read from the screen and this card."
COMPLETE = "complete below this height"
NOTHING = "its layers hold no metal here"
NOT_ASKED = "harm: not asked for"
NEIGHBOURS = (
    "what the slices of one part bring along to another's place is not looked at here; "
    "`clearance plate` does"
)
REPLACED = (
    "the event that the file gives is not looked at; melt depth and packing are taken from it"
)


@dataclass(frozen=True, eq=False)
class Layer:
    """One layer of all parts as it looks, in the axes of the platform (shapely, mm)."""

    number: int
    metal: Any


@dataclass(frozen=True, eq=False)
class Card:
    """The card: the result, the right layer, the wrong ones, the platform's size or None."""

    result: RestartResult
    right: Layer
    wrong: tuple[Layer, ...]
    size_mm: tuple[float, float] | None


def card(
    path: Path,
    after_layer: int | None = None,
    at_height: float | None = None,
    candidates: tuple[int, ...] | None = None,
    layers: int = 3,
    eye_mm: float = 1.0,
    consequences: bool = True,
    progress: Progress = silent,
) -> Card:
    """The card of a case or plate file; parameters as `asked`.

    Raises
    ------
    ClearanceError
        What the user can mend: a file, a height, a candidate, a layer above all parts.
    """
    name, parts, size = standing(path)
    wanted = asked(
        parts[0].layer_mm, after_layer, at_height, candidates, layers, eye_mm, consequences
    )
    _refuse_above(path, parts, wanted)
    found = _consequences(parts, wanted, progress)
    wrong = tuple(_candidate(parts, wanted, n, found) for n in wanted.candidates)
    result = RestartResult(
        name=name,
        plate=size is not None,
        layer_thickness_mm=parts[0].layer_mm,
        height_mm=round(wanted.right * parts[0].layer_mm, 9),
        last_good_layer=wanted.last_good,
        next_layer=wanted.right,
        next_layer_from_1=wanted.right + 1,
        first_number=_first_number(parts),
        layers=wanted.layers,
        eye_mm=wanted.eye_mm,
        parts=tuple(_right(part, wanted) for part in parts),
        candidates=wrong,
        notices=_notices(parts, size is not None),
        cautions=(NEVER_START, *CAUTIONS),
    )
    shown = (wanted.right, *wanted.candidates)
    right, *others = (Layer(n, _whole(parts, n)) for n in shown)
    return Card(result, right, tuple(others), size)


def _refuse_above(path: Path, parts: tuple[Standing, ...], wanted: Asked) -> None:
    if all(part.layer(wanted.right).is_empty for part in parts):
        raise ClearanceError(
            f"{path}: the layer that belongs there, {wanted.right} counted from 0, at "
            f"{wanted.right * parts[0].layer_mm:g} mm, holds no metal of any part"
        )


def _whole(parts: tuple[Standing, ...], number: int) -> Any:
    return shapely.union_all([part.placed(part.layer(number)) for part in parts])


def _right(part: Standing, wanted: Asked) -> RightLayer:
    shape = part.layer(wanted.right)
    stray = part.stray
    shrunk = gap = None
    if stray is not None and stray.cooled_high > 0.0:
        height = wanted.right * part.layer_mm
        shrunk = shrinkage(height, stray.cooled_high, stray.expansion_1e6_k)
        gap = stray.joint_gap(height, part.layer_mm)
    return RightLayer(
        part.name, float(shape.area), islands(shape), extents(part.placed(shape)), shrunk, gap
    )


def _candidate(
    parts: tuple[Standing, ...],
    wanted: Asked,
    number: int,
    found: dict[tuple[int, int], Found | str],
) -> Candidate:
    rows = tuple(_would_do(part, wanted, number, found[n, number]) for n, part in enumerate(parts))
    most = max(rows, key=lambda row: row.widest_mm)
    seen = most.widest_mm >= wanted.eye_mm
    look_at = most.name if most.differs_mm2 > 0.0 else None
    return Candidate(number, number + 1, seen, look_at, rows)


def _would_do(part: Standing, wanted: Asked, number: int, found: Found | str) -> WouldDo:
    wrong = part.layer(number)
    apart = polygonal(shapely.symmetric_difference(wrong, part.layer(wanted.right)))
    size = (part.name, float(wrong.area), float(apart.area), largest_circle_mm(apart))
    if isinstance(found, str):
        return WouldDo(*size, None, None, None, None, found)
    return WouldDo(*size, found.sealed, found.restricted, found.undetermined, found.joined)


def _consequences(
    parts: tuple[Standing, ...], wanted: Asked, progress: Progress
) -> dict[tuple[int, int], Found | str]:
    """Of each part and candidate; equal parts are computed once."""
    known: dict[object, dict[int, Found]] = {}
    found: dict[tuple[int, int], Found | str] = {}
    for n, part in enumerate(parts):
        why = _why_not(part, wanted)
        melted = [c for c in wanted.candidates if _melts(part, wanted, c)]
        key = (part.case.path, part.stray and part.stray.penetration_high)
        if not why and key not in known:
            known[key] = would_do(part, wanted, melted, progress)
        for candidate in wanted.candidates:
            bare = Found((), (), (), ()) if not why else why
            found[n, candidate] = bare
            if not why and candidate in melted:
                found[n, candidate] = known[key][candidate]
    return found


def _melts(part: Standing, wanted: Asked, candidate: int) -> bool:
    """Whether any of the wrong layers holds metal of a part; else it lays powder alone."""
    return any(not part.layer(candidate + k).is_empty for k in range(wanted.layers))


def _why_not(part: Standing, wanted: Asked) -> str:
    if not wanted.consequences:
        return NOT_ASKED
    if not part.case.passage:
        return NO_PASSAGE
    return COMPLETE if part.layer(wanted.right).is_empty else ""


def _first_number(parts: tuple[Standing, ...]) -> int | None:
    """How the machine counts, where a case has its log."""
    known = {p.case.melted.first_number for p in parts if p.case.melted is not None}
    return known.pop() if len(known) == 1 else None


def _notices(parts: tuple[Standing, ...], on_plate: bool) -> tuple[str, ...]:
    said = [NEIGHBOURS] if on_plate else []
    if any(part.stray is not None for part in parts):
        said.append(REPLACED)
    return tuple(said)
