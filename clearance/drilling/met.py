"""The sheets that a plan's operations meet, and what a shop would say to each operation.

In: a passage's check and a re-checked plan. Out: the plan with `practice` filled in.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import shapely

from clearance.drilling.aslant import EDGE_ON_DEG, off_normal
from clearance.drilling.led import beside, off_square
from clearance.drilling.pieces import cut
from clearance.drilling.practice import SQUARE_DEG, Met, Shop, aspects, equal_diameter
from clearance.passages.crossings import Crossing
from clearance.predicted.part import Predicted
from clearance.result import Drilling, Rework
from clearance.verdict.passage_check import PassageCheck
from clearance.verdict.sheet_thickness import over_variants, thickness


def with_practice(check: PassageCheck, plan: Rework) -> Rework:
    """Fill in what a shop would say, for the gravest of all that is possible of the event.

    Parameters
    ----------
    check : PassageCheck
    plan : Rework
        Of that passage, with places in the mesh's coordinates.
    """
    shop = Shop.of(check.checked.case.part, check.checked.case.drilling)

    def told(one: Drilling) -> Drilling:
        numbers = dict.fromkeys((one.crossing, *one.also_clears))
        met = [each for n in numbers for each in _all_met(check, n, one)]
        return replace(one, practice=aspects(one, met, shop))

    return replace(plan, drilling=tuple(told(one) for one in plan.drilling))


def _all_met(check: PassageCheck, number: int, one: Drilling) -> Iterator[Met]:
    """A crossing of the first variant, and what stands for it in the others that were judged."""
    own = check.judged[0].crossings[number]
    thick = over_variants(check.checked, own)
    for judged in check.judged:
        alike = [each for each in judged.crossings if each.stray == own.stray]
        if alike:
            nearest = min(alike, key=lambda each: abs(each.height_mm - own.height_mm))
            predicted = check.checked.whole.predict(judged.variant.events)
            low, high = thickness(check.checked, predicted, nearest)
            if high > 0.0 and thick is not None:
                low, high = min(low, thick[0]), max(high, thick[1])
            yield _met(check, predicted, number, nearest, one, (low, high))


def _met(
    check: PassageCheck,
    predicted: Predicted,
    number: int,
    crossing: Crossing,
    one: Drilling,
    thick: tuple[float, float],
) -> Met:
    sealed = check.sealed(crossing)
    off = None
    if check.checked.case.stray[crossing.stray].shape == "mesh":
        off = off_square(check.checked.bodies.added_by_stray[crossing.stray], one)
    most = max(off_normal(one), off or 0.0)
    aslant = most > SQUARE_DEG and off_normal(one) < EDGE_ON_DEG
    return Met(
        crossing=number,
        thickness_mm=thick,
        open_fraction=0.0 if sealed else crossing.open_fraction,
        axis_open=not sealed and _in_the_open(crossing, one),
        opening_mm=0.0 if sealed else crossing.circle_mm,
        across_mm=equal_diameter(crossing.nominal_area_mm2, off_normal(one)),
        beside_mm=beside(check, predicted, crossing, one) if aslant else 0.0,
        metal_share=1.0 if sealed else _metal_share(crossing, one),
        off_deg=off,
    )


def _metal_share(crossing: Crossing, one: Drilling) -> float:
    """Of what a drill cuts in a sheet's plane, where that is most open, how much is metal."""
    ellipse = cut(one, crossing.level_mm)
    if ellipse is None:
        return 1.0
    return 1.0 - float(shapely.intersection(ellipse, crossing.opening).area / ellipse.area)


def _in_the_open(crossing: Crossing, one: Drilling) -> bool:
    """Whether the axis passes through what is open of a sheet, where that is narrowest."""
    entry, along = np.array(one.entry_mm), np.array(one.direction)
    if abs(along[2]) < 1e-6:
        return False
    x, y, _ = entry + (crossing.level_mm - entry[2]) / along[2] * along
    return bool(shapely.intersects_xy(crossing.opening, x, y))
