"""The sheets that a plan's operations meet, and what a shop would say to each operation.

In: a passage's check and a re-checked plan. Out: the plan with `practice` filled in.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import shapely

from clearance.drilling.aslant import off_normal
from clearance.drilling.practice import Met, Shop, aspects, equal_diameter
from clearance.passages.crossings import Crossing
from clearance.predicted.part import Predicted
from clearance.result import Drilling, Rework
from clearance.verdict.passage_check import PassageCheck
from clearance.verdict.sheet_thickness import thickness


def with_practice(check: PassageCheck, plan: Rework) -> Rework:
    """Fill in what a shop would say, in the first variant of the event.

    Parameters
    ----------
    check : PassageCheck
    plan : Rework
        Of that passage, with places in the mesh's coordinates.
    """
    case, first = check.checked.case, check.judged[0]
    shop = Shop.of(case.part, case.drilling)
    predicted = check.checked.whole.predict(first.variant.events)

    def told(one: Drilling) -> Drilling:
        numbers = dict.fromkeys((one.crossing, *one.also_clears))
        met = [_met(check, predicted, n, first.crossings[n], one) for n in numbers]
        return replace(one, practice=aspects(one, met, shop))

    return replace(plan, drilling=tuple(told(one) for one in plan.drilling))


def _met(
    check: PassageCheck, predicted: Predicted, number: int, crossing: Crossing, one: Drilling
) -> Met:
    sealed = check.sealed(crossing)
    return Met(
        crossing=number,
        thickness_mm=thickness(check.checked, predicted, crossing),
        open_fraction=0.0 if sealed else crossing.open_fraction,
        axis_open=not sealed and _in_the_open(crossing, one),
        opening_mm=0.0 if sealed else crossing.circle_mm,
        across_mm=equal_diameter(crossing.nominal_area_mm2, off_normal(one)),
    )


def _in_the_open(crossing: Crossing, one: Drilling) -> bool:
    """Whether the axis passes through what is open of a sheet, where that is narrowest."""
    entry, along = np.array(one.entry_mm), np.array(one.direction)
    if abs(along[2]) < 1e-6:
        return False
    x, y, _ = entry + (crossing.level_mm - entry[2]) / along[2] * along
    return bool(shapely.intersects_xy(crossing.opening, x, y))
