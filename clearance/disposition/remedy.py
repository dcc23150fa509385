"""What follows from the verdicts: drilling, pressure loss and the disposition.

In: the passage checks and their results. Out: the results with reach and flow filled
in, and the recommendation of the rules.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from clearance.columns.voids import label
from clearance.disposition.gather import Extra, gather
from clearance.disposition.rules import dispose
from clearance.drilling.drilled import Drilled
from clearance.drilling.reach import Reach, needs_reach
from clearance.drilling.strokes import Reached
from clearance.drilling.together import conflicts
from clearance.evidence.powder import void_run
from clearance.flow.channel import End, Restriction, Stopped
from clearance.flow.of_passage import channel_mm2, ends
from clearance.flow.orifice import loss
from clearance.flow.pressure_loss import pressure_loss, untold
from clearance.heights import above_platform
from clearance.passages.changed import changed
from clearance.passages.crossings import Crossing
from clearance.predicted.variants import Variant
from clearance.result import DispositionResult, PassageResult, Result
from clearance.verdict.graph import on_way, passed_by
from clearance.verdict.one_variant import Judged
from clearance.verdict.passage import PassageCheck
from clearance.verdict.prepared import Checked, Progress, silent

FLAT = 3.0
"""Level section over the section square to the way from which a sheet lies along the passage."""
TOUCHED_MM3 = 1e-6
"""Less metal added than this is rounding."""


@dataclass(frozen=True)
class Remedied:
    """A passage's result with its remedy, and what the result does not carry."""

    result: PassageResult
    reached: Reached | None


def remedied(check: PassageCheck, result: PassageResult, progress: Progress = silent) -> Remedied:
    """Fill in the drilling plan or the reason why there is none, and the flow."""
    reached = None
    if needs_reach(check.judged, check.nominal):
        progress(f"{check.passage.name}: can a drill reach it?")
        reached = Reach(check, check.judged).reached()
        result = replace(result, rework=reached.rework, why_not=reached.why_not)
    return Remedied(_with_flow(check, result, reached), reached)


def judged_together(checked: Checked, remedies: list[Remedied]) -> list[Remedied]:
    """Note in every plan what speaks against drilling it as well as the part's other plans."""
    plans = {
        remedy.result.name: remedy.reached.holes
        for remedy in remedies
        if remedy.reached is not None and remedy.reached.rework is not None
    }
    against = {}
    if len(plans) > 1:
        against = conflicts(checked, checked.unknowns.variants[0].events, plans)
    return [_against(remedy, against.get(remedy.result.name, ())) for remedy in remedies]


def _against(remedy: Remedied, said: tuple[str, ...]) -> Remedied:
    rework = remedy.result.rework
    if rework is None or not said:
        return remedy
    return replace(remedy, result=replace(remedy.result, rework=replace(rework, conflicts=said)))


def _with_flow(
    check: PassageCheck, result: PassageResult, reached: Reached | None
) -> PassageResult:
    """Loss coefficients of the crossings; pressure losses where the case gives a flow."""
    first = check.judged[0]
    crossings = tuple(
        replace(
            shown,
            loss_coefficient=loss(c.open_area_mm2, c.nominal_area_mm2, c.high - c.low).coefficient,
        )
        for shown, c in zip(result.crossings, first.crossings, strict=True)
    )
    flow = check.checked.case.flow
    if flow is None:
        return replace(result, crossings=crossings)
    if len(check.nominal.way.route) == 0:
        return replace(result, crossings=crossings, flow=untold(flow))
    after = None if reached is None else reached.after
    ways, past = on_way(first.graph), passed_by(first.graph, len(first.crossings))
    low, high = ends(check)
    possible = Possible.of(check)
    restrictions = [
        _restriction(check, possible, high, c, after, n in past, n not in ways)
        for n, c in enumerate(first.crossings)
    ]
    blocked = [judged.way.blocked for judged in check.judged]
    stopped = Stopped(
        blocked[0],
        any(blocked),
        all(blocked),
        after is not None and after.way.blocked,
        possible.beside,
    )
    found = pressure_loss(low, high, restrictions, flow, stopped)
    return replace(result, crossings=crossings, flow=found)


@dataclass(frozen=True, eq=False)
class Possible:
    """Crossings in everything that is possible of the event, the first variant's first.

    Attributes
    ----------
    crossings : tuple of tuples of Crossing
        Of each variant; where heights are uncertain, with all metal that a sheet at any of them
        has, and with the metal that all of them share.
    beside : bool
        Stray metal that is none of the first variant's crossings may take more than they do.
    """

    crossings: tuple[tuple[Crossing, ...], ...]
    beside: bool

    @classmethod
    def of(cls, check: PassageCheck) -> Possible:
        """Look at all that is possible for a passage that has been judged."""
        found = [judged.crossings for judged in check.judged]
        beside = check.stray_in_front()
        for span in check.checked.unknowns.spans:
            if not any(event.spread > 0.0 for event in span.events):
                continue
            if not span.still:
                beside = True  # heights between those looked at may leave less
                continue
            shared = tuple(replace(event, sure=True) for event in span.events)
            for events in (span.events, shared):
                predicted = check.predicted(events, check.checked.pitch_mm)
                found.append(check.crossed(predicted, Variant(events, "")).crossings)
        others = [c for crossings in found[1:] for c in crossings if c.open_fraction < 1.0]
        beside = beside or any(counterpart(c, found[0]) is None for c in others)
        return cls(tuple(found), beside)


def _restriction(
    check: PassageCheck,
    possible: Possible,
    high: End,
    crossing: Crossing,
    after: Judged | None,
    past: bool,
    beside: bool,
) -> Restriction:
    alike = [counterpart(crossing, crossings) for crossings in possible.crossings]
    same = [one for one in alike if one is not None]
    # Where there is none nothing closes anything there.
    areas = [crossing.nominal_area_mm2 if c is None else c.open_area_mm2 for c in alike]
    drilled = None
    if after is not None and (cleared := counterpart(crossing, after.crossings)) is not None:
        drilled = cleared.open_area_mm2
    channel = channel_mm2(check, high, crossing.centre_mm, crossing.nominal_area_mm2)
    return Restriction(
        nominal_area_mm2=crossing.nominal_area_mm2,
        open_area_mm2=crossing.open_area_mm2,
        thickness_mm=crossing.high - crossing.low,
        smallest_mm2=min(areas),
        largest_mm2=max(areas),
        after_mm2=drilled,
        channel_area_mm2=channel,
        hydraulic_mm=min(
            (_hydraulic(one) for one in same if one.open_area_mm2 > 0.0), default=None
        ),
        along=beside or crossing.nominal_area_mm2 > FLAT * channel,
        passed_by=past,
    )


def counterpart(crossing: Crossing, others: Sequence[Crossing]) -> Crossing | None:
    """The crossing of another predicted part that lies where this one does."""
    near = [
        (crossing.footprint.intersection(other.footprint).area, -n)
        for n, other in enumerate(others)
        if other.stray == crossing.stray
    ]
    shared, n = max(near, default=(0.0, 0))
    return others[-n] if shared > 0.0 else None


def _hydraulic(crossing: Crossing) -> float:
    """Four times the open area over the length of its outline, mm."""
    return float(4.0 * crossing.open_area_mm2 / max(crossing.opening.length, 1e-12))


# ---- the disposition ---------------------------------------------------------------------------


def disposition(
    checked: Checked, result: Result, remedies: Mapping[str, Reached | None]
) -> DispositionResult:
    """What the rules recommend for a result that is complete but for this."""
    growths = [
        sum(event.rise for event in variant.events or ()) for variant in checked.unknowns.variants
    ]
    unknown = checked.unknowns.unknown_slices
    extras = {
        p.name: _extra(remedies.get(p.name), unknown and bool(p.crossings)) for p in result.passages
    }
    known = gather(
        checked.case,
        above_platform(result, checked.platform_z),  # the rules only say where, in words
        affected=_affected(checked, result),
        height_added_mm=(min(growths), max(growths)),
        extras=extras,
        opened_by=_opened(checked, result, remedies),
    )
    return dispose(known)


def _extra(reached: Reached | None, slices_unknown: bool) -> Extra:
    if reached is None:
        return Extra(slices_unknown=slices_unknown)
    return Extra(
        plan_whole_interval=reached.whole_interval,
        entry_faces_platform=reached.faces_platform,
        drill="ruled out" if reached.ruled_out else "none found",
        drill_settled_by=reached.settled_by,
        slices_unknown=slices_unknown,
    )


def _affected(checked: Checked, result: Result) -> bool:
    """Whether any metal of this part is stray, unmelted, shifted or lifted."""
    everything = [variant.events or () for variant in checked.unknowns.variants]
    if any(e.rise != 0.0 or e.shift != (0.0, 0.0) for events in everything for e in events):
        return True
    if result.unmelted or checked.bodies.added_by_stray:
        return True
    added = result.signs is not None and abs(result.signs.volume_added_mm3) > TOUCHED_MM3
    return added or any(changed(checked.whole, events) for events in everything)


def _opened(
    checked: Checked, result: Result, remedies: Mapping[str, Reached | None]
) -> dict[int, str]:
    """Which trapped powder a plan gives a way out, by the part less the plan's bores."""
    opened: dict[int, str] = {}
    if not result.trapped_powder:
        return opened
    whole = checked.whole.predict(checked.unknowns.variants[0].events)
    for name, reached in remedies.items():
        if reached is None or not reached.bores:
            continue
        drilled = Drilled(whole.window, whole.events, whole.added, reached.bores)
        piece = label(drilled.metal, drilled.grid)
        for n, powder in enumerate(result.trapped_powder):
            if not powder.certain:
                continue  # the drilled part is that of one case of several
            run = void_run(drilled.metal, drilled.grid, np.array(powder.centre_mm))
            if run is not None and piece[run] == 0:
                opened.setdefault(n, name)
    return opened
