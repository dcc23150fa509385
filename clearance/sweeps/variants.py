"""What sections and neighbouring heights prove of variants that differ in their height alone.

In: a passage's check and its variants. Out: for each a state and a bracket, or None where only the
exact check can tell: where the part above moves, several sheets lie in the part, or more is asked
of a passage than its width.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from clearance.predicted.slabs import Event
from clearance.predicted.variants import Variant
from clearance.result import PassageResult, State
from clearance.sweeps.looked_at import At
from clearance.sweeps.near import Near, melts_the_same
from clearance.sweeps.passage_sweep import PassageSweep
from clearance.verdict.over_variants import Bound
from clearance.verdict.passage_check import PassageCheck
from clearance.verdict.prepared import Progress, silent

FEW = 4
"""So few heights are checked sooner than swept."""


def result_of(check: PassageCheck, progress: Progress = silent) -> PassageResult:
    """The verdict on one passage over all that is not known of the event."""
    return check.result(progress, bounds)


def bounds(check: PassageCheck, variants: Sequence[Variant]) -> list[Bound | None]:
    """What is proven of each variant without its exact check.

    Parameters
    ----------
    check : PassageCheck
        Its nominal part has a way.
    variants : sequence of Variant
    """
    found: list[Bound | None] = [None] * len(variants)
    if check.asked.every_branch or check.asked.areas or check.checked.bodies.added_by_stray:
        return found
    if check.checked.case.flow is not None:
        return found  # what flows is asked of every variant's crossings
    rows = [numbers for numbers in _by_height(check, variants) if len(numbers) > FEW]
    near = Near(check) if rows else None
    for numbers in rows:
        assert near is not None
        events = [(variants[n].events or ())[0] for n in numbers]
        bottoms = np.array([event.bottom for event in events])
        swept = PassageSweep(check, near, (events[0],), 0, bottoms, exact=False).run()
        for n, at in zip(numbers, swept, strict=True):
            found[n] = _bound(at)
    return found


def _bound(at: At) -> Bound | None:
    if at.low_mm > at.high_mm or at.state is State.UNDETERMINED:
        return None
    return Bound(at.state, at.low_mm, at.high_mm)


def _by_height(check: PassageCheck, variants: Sequence[Variant]) -> list[list[int]]:
    """Numbers of variants that are one sheet which only adds metal, by all but its height."""
    top = float(check.checked.bodies.bounds[1, 2])
    rows: dict[Event, list[int]] = {}
    for n, variant in enumerate(variants):
        events = variant.events or ()
        if len(events) == 1 and melts_the_same(events) and events[0].bottom < top - 1e-6:
            rows.setdefault(replace(events[0], bottom=0.0), []).append(n)
    return [sorted(row, key=lambda n: _bottom(variants[n])) for row in rows.values()]


def _bottom(variant: Variant) -> float:
    return (variant.events or ())[0].bottom
