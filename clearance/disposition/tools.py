"""Which tool reopens a passage: drills, and where they do not electrodes.

In: a passage's check. Out: `Reached`, its plan with what a shop would say to each operation.
"""

from __future__ import annotations

from dataclasses import replace

from clearance.drilling.drills import electrodes
from clearance.drilling.met import with_practice
from clearance.drilling.practice import worst
from clearance.drilling.reach import FlowAfter, Reach
from clearance.drilling.strokes import Reached
from clearance.evidence.powder import packing_over, trapped_over
from clearance.predicted.part import NOMINAL
from clearance.result import Rework
from clearance.verdict.names import listed
from clearance.verdict.passage_check import PassageCheck
from clearance.verdict.prepared import Checked


def reached(check: PassageCheck, flow_after: FlowAfter) -> Reached:
    """A plan with drills, or where none does or a shop could not carry it out with electrodes.

    An electrode's plan is sought and re-checked as a drill's is, and never where powder may still
    be inside: sparks ignite it.
    """
    first, others = check.judged[0], check.checked.unknowns.variants[1:]
    found = _practised(check, Reach(check, first, others, flow_after=flow_after).reached())
    given = check.checked.case.drilling.electrodes
    why = _not_by_drills(found)
    if not given or not why:
        return found
    if barred := _barred(check.checked):
        ask = f"an electrode that is given ([drilling] electrodes): only once {barred}"
        return replace(found, settled_by=(*found.settled_by, ask))
    search = Reach(check, first, others, False, flow_after, electrodes(given))
    eroded = search.reached()
    if eroded.rework is None or not search.does(eroded):
        nor = f"; nor by an electrode: {eroded.why_not or 'too little wall would be left'}"
        return replace(found, why_not=found.why_not and found.why_not + nor)
    plan = replace(eroded.rework, why_electrode=why)
    return _practised(check, replace(eroded, rework=plan))


def _practised(check: PassageCheck, found: Reached) -> Reached:
    if found.rework is None:
        return found
    return replace(found, rework=with_practice(check, found.rework))


def _not_by_drills(found: Reached) -> str:
    """Why drills do not do it; empty if they do."""
    if found.rework is None:
        return f"no drill does: {found.why_not}"
    said = not_this_way(found.rework)
    return f"a drill would not do: {'; '.join(said)}" if said else ""


def not_this_way(plan: Rework) -> tuple[str, ...]:
    """Why operations of a plan cannot be carried out as they are; empty if they can."""
    said = []
    for number, one in enumerate(plan.drilling, 1):
        reasons = [each["why"] for each in one.practice if each["answer"] == "not-this-way"]
        if worst(one.practice) == "not-this-way":
            which = f"operation {number}: " if len(plan.drilling) > 1 else ""
            said.append(f"{which}the {one.drill_diameter_mm:g} mm drill {listed(reasons)}")
    return tuple(said)


def would_do(plan: Rework) -> tuple[str, ...]:
    """Tools and keys with which operations that cannot be carried out could be, none twice."""
    found = [way for one in plan.drilling for each in one.practice for way in each["would_do"]]
    return tuple(dict.fromkeys(found))


def _barred(checked: Checked) -> str:
    """What has to be before sparks may fly; empty if it is."""
    state = checked.case.state
    if state.heat_treated:
        return "powder that the heat treatment has caked is proven to be out"
    if not state.emptied:
        return "the powder is proven to be out ([state] emptied)"
    return "no powder is trapped any more" if _trapped(checked) else ""


def _trapped(checked: Checked) -> bool:
    """Whether powder is or may be shut in somewhere, the design's own voids too."""
    whole, packing = checked.whole, packing_over(checked.case.stray)
    predicted = whole.predict(checked.unknowns.variants[0].events or ())
    nominal, others = whole.predict(NOMINAL), checked.unknowns.others
    return bool(trapped_over(predicted, nominal, {}, None, packing, others))
