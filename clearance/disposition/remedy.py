"""What follows from the verdicts: drilling, pressure loss and the disposition.

In: the passage checks and their results. Out: the results with reach and flow filled
in, and the recommendation of the rules.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from clearance.columns.voids import label, run_at
from clearance.disposition.gather import Extra, gather
from clearance.disposition.rules import dispose
from clearance.disposition.tools import reached as with_any_tool
from clearance.drilling.drilled import Drilled
from clearance.drilling.reach import needs_reach
from clearance.drilling.strokes import Reached
from clearance.drilling.together import conflicts
from clearance.flow.of_check import CheckedFlow
from clearance.flow.orifice import loss
from clearance.heights import above_platform
from clearance.passages.changed import changed
from clearance.result import DispositionResult, FlowResult, PassageResult, Result
from clearance.verdict.passage_check import PassageCheck
from clearance.verdict.prepared import Checked, Progress, silent


@dataclass(frozen=True)
class Remedied:
    """A passage's result with its remedy, and what the result does not carry."""

    result: PassageResult
    reached: Reached | None


def remedied(check: PassageCheck, result: PassageResult, progress: Progress = silent) -> Remedied:
    """Fill in the drilling plan or the reason why there is none, and the flow."""
    flow = CheckedFlow(check)
    before = flow.after(None)
    reached = None
    if needs_reach(check.states, check.nominal, _missed(before)):
        progress(f"{check.passage.name}: can a drill reach it?")
        reached = with_any_tool(check, flow.kept_after)
        result = replace(
            result,
            rework=reached.rework,
            why_not=reached.why_not,
            what_would_change=reached.changes,
            nearest_line=reached.line,
        )
    drilled = reached is not None and reached.after is not None
    after = flow.after(reached.after) if reached is not None and drilled else before
    if reached is not None and reached.after is not None:  # its part takes room
        reached = replace(reached, after=replace(reached.after, part=None))
    return Remedied(_with_flow(check, result, after), reached)


def _missed(flow: FlowResult | None) -> bool:
    """Whether the event, not the design, takes away that the pressure loss is surely kept."""
    if flow is None:
        return False
    kept = flow["requirement"]
    return kept["nominal"] == "met" and kept["predicted"] in ("not met", "undetermined")


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
    check: PassageCheck, result: PassageResult, flow: FlowResult | None
) -> PassageResult:
    """Loss coefficients of the crossings; pressure losses where the case gives a flow."""
    crossings = tuple(
        replace(
            shown,
            loss_coefficient=loss(c.open_area_mm2, c.nominal_area_mm2, c.high - c.low).coefficient,
        )
        for shown, c in zip(result.crossings, check.judged[0].crossings, strict=True)
    )
    return replace(result, crossings=crossings, flow=flow)


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
    return any(changed(checked.whole, events) for events in everything)


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
            run = run_at(drilled.metal, drilled.grid, np.array(powder.centre_mm))
            if run is not None and piece[run] == 0:
                opened.setdefault(n, name)
    return opened
