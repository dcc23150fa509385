"""What an inspection is to see: crossings that narrow or seal, and unmelted gaps.

In: a part that has been judged. Out: `Target`s with their exact figures in the layer plane.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from clearance.evidence.powder import gap_outline, joint_outline
from clearance.geometry.areas import polygonal
from clearance.geometry.beams import edges
from clearance.passages.crossings import Crossing
from clearance.predicted.part import Predicted
from clearance.result import Result, Unmelted
from clearance.result.inspection import Target as Kind
from clearance.verdict.numbers import NAMEWORTHY
from clearance.verdict.passage_check import PassageCheck
from clearance.verdict.prepared import Checked
from clearance.verdict.sheet_thickness import thickness

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Target:
    """One thing that an inspection is to see.

    Attributes
    ----------
    kind : {"crossing", "gap"}
    passage : str or None
    number : int
        Of the crossing in its passage, or of the gap in `unmelted`.
    at : (3,) ndarray, mm
        Its centre, in the predicted part.
    figure : shapely geometry
        In plan: the stray metal in the passage, or the gap.
    area_mm2 : float
        Of the passage, or of the gap, in plan.
    thickness_mm : (float, float)
        At least and at most; of a gap it may be any thinner.
    outline : (N, 2, 2) ndarray, mm
        Edges of all metal in the layer plane at `at`, see `geometry.beams`.
    crossing : Crossing or None
    contrast : float
        Share of the contrast of metal against a void that it shows, at least: in a gap lies powder.
    """

    kind: Kind
    passage: str | None
    number: int
    at: Floats
    figure: Any
    area_mm2: float
    thickness_mm: tuple[float, float]
    outline: Floats
    crossing: Crossing | None = None
    contrast: float = 1.0

    @property
    def is_step(self) -> bool:
        """No sheet lies there: what is above only stands aside."""
        return self.kind == "crossing" and self.thickness_mm[1] <= 0.0


def targets(checked: Checked, checks: Sequence[PassageCheck], result: Result) -> list[Target]:
    """Crossings that narrow or seal, passage by passage, then gaps, in the result's order.

    Of the first variant of the event; of a gap the first that leaves it.
    """
    planes = _Planes(checked)
    found = [target for check in checks for target in _of_passage(planes, check)]
    for number, gap in enumerate(result.unmelted):
        found += _of_gap(planes, number, gap)
    return found


class _Planes:
    """Sections of the whole predicted part, each made once."""

    def __init__(self, checked: Checked):
        self.checked = checked
        self._known: dict[tuple[int, float], tuple[Any, Floats]] = {}

    def variants(self) -> list[Predicted]:
        whole = self.checked.whole
        return [
            Predicted(whole, variant.events or (), self.checked.bodies.added)
            for variant in self.checked.unknowns.variants
        ]

    def metal(self, predicted: Predicted, z: float) -> tuple[Any, Floats]:
        key = (hash(predicted.events), z)
        if key not in self._known:
            metal = predicted.section(z)
            self._known[key] = (metal, edges(metal))
        return self._known[key]


def _of_passage(planes: _Planes, check: PassageCheck) -> Iterator[Target]:
    first = check.judged[0]
    predicted = planes.checked.whole.predict(first.variant.events)
    for number, crossing in enumerate(first.crossings):
        if crossing.open_fraction >= NAMEWORTHY and not check.sealed(crossing):
            continue
        z = _height(predicted, crossing)
        metal, outline = planes.metal(predicted, z)
        figure = polygonal(shapely.intersection(crossing.footprint, metal))
        yield Target(
            "crossing",
            check.passage.name,
            number,
            np.array([*crossing.centre_mm[:2], z]),
            figure,
            crossing.nominal_area_mm2,
            thickness(planes.checked, predicted, crossing),
            outline,
            crossing,
        )


def _height(predicted: Predicted, crossing: Crossing) -> float:
    """In the middle of the layer in which least is open."""
    for slab in predicted.table:
        inside = slab.low - 1e-9 <= crossing.height_mm <= slab.high + 1e-9
        if inside and slab.gates and slab.stray == crossing.stray:
            return 0.5 * (slab.low + slab.high)
    return crossing.height_mm


def _of_gap(planes: _Planes, number: int, gap: Unmelted) -> Iterator[Target]:
    for predicted in planes.variants():
        event = next((e for e in predicted.events if e.stray == gap.stray), None)
        if event is None:
            continue
        outline_of = joint_outline if gap.joint else gap_outline
        figure = polygonal(outline_of(predicted, event))
        if figure.is_empty:
            continue
        largest = max(shapely.get_parts(figure), key=lambda part: part.area)
        x, y = shapely.get_coordinates(shapely.point_on_surface(largest))[0]
        z = event.bottom if gap.joint else 0.5 * (event.bottom + event.top)
        yield Target(
            "gap",
            None,
            number,
            np.array([x, y, z]),
            figure,
            float(figure.area),
            (0.0, gap.thickness_mm),
            planes.metal(predicted, z)[1],
            contrast=1.0 - planes.checked.case.stray[gap.stray].packing_high,
        )
        return
