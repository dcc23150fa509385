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
from clearance.predicted.variants import TOUCHING_MM
from clearance.restart.asked import Asked, Standing, asked, extents, holes, islands, standing
from clearance.restart.would_do import NO_PASSAGE, Found, stray_of, would_do
from clearance.result.restart import Candidate, PassageThere, RestartResult, RightLayer, WouldDo
from clearance.verdict.prepared import Progress, silent

NEVER_START = "Never start on a number that two people have not read from the screen and this card."
COMPLETE = "complete below this height"
NOT_ASKED = "what it would do to the passages was not computed"
NEIGHBOURS = (
    "Whether a wrong layer of one part would be melted on another part's place is not looked at "
    "here; `clearance plate` does."
)
FRESH = (
    "This card is for a build that stands still on good layers only. Where wrong layers are "
    "already melted, do not go on with it: `clearance check` judges such a part."
)
REPLACED = (
    "The restart that the part's file describes is not the one on this card; only how deep the "
    "laser melts, how dense the powder lies and how far the part cooled are taken from it."
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
    counts_from: int | None = None,
) -> Card:
    """The card of a case or plate file; parameters as `asked`.

    Raises
    ------
    ClearanceError
        What the user can mend: a file, a height, a candidate, a layer above all parts.
    """
    name, parts, size = standing(path)
    wanted = asked(
        parts[0].layer_mm, after_layer, at_height, candidates, layers, eye_mm, consequences,
        counts_from,
    )  # fmt: skip
    first_number = _first_number(parts, wanted)
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
        first_number=first_number,
        layers=wanted.layers,
        eye_mm=wanted.eye_mm,
        parts=tuple(_right(part, wanted, _there(n, part, found)) for n, part in enumerate(parts)),
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


def _there(
    number: int, part: Standing, found: dict[tuple[int, int], Found | str]
) -> tuple[PassageThere, ...] | None:
    """Where passages of a part cross the layer, as any candidate that was looked at tells."""
    looked = [one for (n, _), one in found.items() if n == number and isinstance(one, Found)]
    if not looked:
        return None
    places = next((one.places for one in looked if one.places), ())
    points = [(name, part.placed(shapely.Point(x, y))) for name, x, y in places]
    return tuple(PassageThere(name=name, x_mm=at.x, y_mm=at.y) for name, at in points)


def _right(part: Standing, wanted: Asked, there: tuple[PassageThere, ...] | None) -> RightLayer:
    shape = part.layer(wanted.right)
    stray = part.stray
    shrunk = gap = None
    if stray is not None and stray.cooled_high > 0.0:
        height = wanted.right * part.layer_mm
        shrunk = shrinkage(height, stray.cooled_high, stray.expansion_1e6_k)
        gap = stray.joint_gap(height, part.layer_mm)
    return RightLayer(
        part.name,
        float(shape.area),
        islands(shape),
        holes(shape),
        extents(part.placed(shape)),
        shrunk,
        gap,
        there,
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
    widest = largest_circle_mm(apart)
    counts = (islands(wrong), holes(wrong))
    size = (part.name, float(wrong.area), float(apart.area), widest, *counts)
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
    """Whether any of the wrong layers may hold metal of a part; else it lays powder alone."""
    numbers = range(candidate, candidate + wanted.layers)
    return part.unclear(candidate) or any(not part.layer(n).is_empty for n in numbers)


def _why_not(part: Standing, wanted: Asked) -> str:
    if not wanted.consequences:
        return NOT_ASKED
    if not part.case.passage:
        return NO_PASSAGE
    height = wanted.right * part.layer_mm
    lowest = height - stray_of(part, wanted, 0).penetration_high
    return COMPLETE if part.ends_mm[1] < lowest - TOUCHING_MM else ""


def _first_number(parts: tuple[Standing, ...], wanted: Asked) -> int | None:
    """How the machine counts, where a case has its log or the user says it; both must agree."""
    known = {p.case.melted.first_number for p in parts if p.case.melted is not None}
    if wanted.counts_from is None:
        return known.pop() if len(known) == 1 else None
    other = known - {wanted.counts_from}
    if other:
        raise ClearanceError(
            f"--counts-from: found {wanted.counts_from}, expected {other.pop()} as in first_number "
            "of the machine's log"
        )
    return wanted.counts_from


def _notices(parts: tuple[Standing, ...], on_plate: bool) -> tuple[str, ...]:
    said = [FRESH, NEIGHBOURS] if on_plate else [FRESH]
    if any(part.stray is not None for part in parts):
        said.append(REPLACED)
    return tuple(said)
