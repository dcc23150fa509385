"""What one passage's looks say together: one state, one bracket, why, and what would settle it.

In: the nominal look, what is known of each variant, and whether one state holds between heights.
Out: a `PassageResult`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from clearance.predicted.variants import Unknowns
from clearance.result import ClearDiameter, CrossingResult, PassageResult, State
from clearance.result.passage import plain
from clearance.verdict.between import Between
from clearance.verdict.graph import in_words
from clearance.verdict.one_variant import PassageVerdict, differences
from clearance.verdict.over_variants import Stated
from clearance.verdict.states import contradicts

NAME_IT = "the opening that the case does not name, given under [[closed]]"
LOOK_THERE = "a radiograph of the stray metal there, or balls counted at the end of each branch"


@dataclass(frozen=True, eq=False)
class Looks:
    """All that was looked at of one passage.

    Attributes
    ----------
    nominal : PassageVerdict
    found : sequence of Stated
        Of every variant, the first one's exact.
    between : Between
    unknowns : Unknowns
    smallest_mm : float
        A narrower opening counts as sealed.
    """

    nominal: PassageVerdict
    found: Sequence[Stated]
    between: Between
    unknowns: Unknowns
    smallest_mm: float

    @property
    def judged(self) -> list[PassageVerdict]:
        """Exact checks, that of the first variant first."""
        return [one.judged for one in self.found if one.judged is not None]

    @property
    def one_state(self) -> State:
        """The state of all variants, if they have one."""
        return state_of_all(self.found)


def state_of_all(found: Sequence[Stated]) -> State:
    """One state over all variants is the state; otherwise it is undetermined."""
    (first, *rest) = {one.state for one in found}
    return State.UNDETERMINED if rest or first is None else first


def combined(
    looks: Looks, name: str, required_mm: float, notes: Sequence[str] = ()
) -> PassageResult:
    """The result of one passage; `notes` are said after the reasons."""
    nominal, judged, first = looks.nominal, looks.judged, looks.judged[0]
    state, reasons, settled = _said(looks)
    # What is proven of all heights is proven of those that are bounded only.
    whole = looks.between.low_mm if np.isfinite(looks.between.low_mm) else 0.0
    lows = (one.low_mm if one.judged else max(one.low_mm, whole) for one in looks.found)
    low = min(looks.between.low_mm, *lows)
    high = max(looks.between.high_mm, *(one.high_mm for one in looks.found))
    if state is State.BLOCKED:
        low = high = 0.0
    elif looks.between.words:
        low = 0.0  # nothing is proven there
    return PassageResult(
        name=name,
        state=state,
        required_mm=required_mm,
        clear_diameter_mm=ClearDiameter(
            0.5 * (nominal.way.low_mm + nominal.way.high_mm),
            0.5 * (first.way.low_mm + first.way.high_mm),
            low,
            high,
            nominal.way.low_mm,
            nominal.way.high_mm,
        ),
        nominal_state=nominal.state,
        crossings=_crossings(first, looks.smallest_mm),
        reasons=(*reasons, *notes),
        settled_by=settled,
        pitch_mm=min(j.pitch_mm for j in judged),
        throat_mm=None if first.way.throat is None else plain(first.way.throat),
        graph=in_words(first.graph),
        open_together=tuple(shared.told() for shared in first.together),
    )


def _crossings(first: PassageVerdict, smallest_mm: float) -> tuple[CrossingResult, ...]:
    return tuple(
        CrossingResult(
            stray=c.stray,
            height_mm=c.height_mm,
            centre_mm=c.centre_mm,
            nominal_area_mm2=c.nominal_area_mm2,
            open_area_mm2=c.open_area_mm2,
            open_fraction=c.open_fraction,
            clear_diameter_mm=0.0 if c.circle_mm < smallest_mm else c.circle_mm,
            sealed=c.circle_mm < smallest_mm,
        )
        for c in first.crossings
    )


def _said(looks: Looks) -> tuple[State, tuple[str, ...], tuple[str, ...]]:
    """The state, the reasons, and what would settle what is not told."""
    judged, first = looks.judged, looks.judged[0]
    state, reasons = looks.one_state, list(first.reasons)
    faults = [said for j in judged if contradicts(j.way) for said in j.reasons]
    faults += [said for one in looks.found for said in one.fault]
    settled: list[str] = []
    if len({one.state for one in looks.found}) > 1:
        reasons = _by_state(looks.found)
        told = [one for one in looks.found if one.state is not None]
        settled = ["settle what is not known of the event: " + differences(told)]
    elif faults:
        settled = ["a report of the fault to who keeps the program"]
    elif looks.between.words:
        state, reasons = State.UNDETERMINED, list(looks.between.words)
        settled = [f"the height of the first wrong layer, {_nearer(looks.unknowns)}"]
    elif state is State.UNDETERMINED and any(j.wide for j in judged):
        settled = [LOOK_THERE]
    elif state is State.UNDETERMINED and any(j.way.leak for j in judged):
        settled = [NAME_IT]
    elif state is State.UNDETERMINED:
        finest = min(j.pitch_mm for j in judged)
        settled = [
            f"--pitch {finest / 2:g}, or a requirement that lies outside "
            f"{first.way.low_mm:.3f} to {first.way.high_mm:.3f} mm"
        ]
    reasons += [f for f in faults if f not in reasons]
    return state, tuple(reasons), tuple(settled)


def _by_state(found: Sequence[Stated]) -> list[str]:
    """Which variants have which state, and how many were not looked at since two differ."""
    told = sorted({one.state for one in found if one.state is not None})
    by_state = {s: [one.variant.said for one in found if one.state is s] for s in told}
    words = [f"{s.value} for {said[0]}{_and_more(said)}" for s, said in by_state.items()]
    left = [one.variant.said for one in found if one.state is None]
    if left:
        words.append(f"not looked at, since two states differ: {left[0]}{_and_more(left)}")
    return words


def _and_more(said: Sequence[str]) -> str:
    return f" and {len(said) - 1} more" if len(said) > 1 else ""


def _nearer(unknowns: Unknowns) -> str:
    """How near an uncertain height would have to be known to look at it alone."""
    half = max(e.spread for span in unknowns.spans for e in span.events) / 2.0
    return (
        f"from the machine's log or measured nearer than +/- {half:g} mm: with a height that is "
        "given without uncertainty nothing lies between"
    )
