"""The disposition: which row of the table holds for each requirement, and why.

In: a `Known`. Out: a `DispositionResult`. A pure function of what is known and required;
docs/method.md explains the table. It recommends; people decide.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from typing import Any

from clearance.disposition import order_of_work
from clearance.disposition.known import (
    GRAVITY,
    KNOWN_EVENT,
    Finding,
    Known,
    Pair,
    Passage,
    Plan,
    Powder,
    Recommendation,
    Source,
    asked,
    candidate,
    doubt,
    forbidden,
    loss_words,
    meets,
    unclear,
    usable,
)
from clearance.disposition.steps import Step, joined
from clearance.result import DispositionResult, State, Unmelted
from clearance.verdict.names import between, leaking, listed, named_all
from clearance.verdict.numbers import given, least, level, most, near, point, span

CLOSING: dict[Recommendation, str] = {
    "scrap": "Scrap: nothing that was examined here puts it right.",
    "undetermined": "Undetermined: nothing is to be drilled, heat treated or scrapped on this "
    "result before what is needed to decide it is known.",
    "repair": "Repair in the sense of ISO 9000: fit for its use although it does not conform; "
    "it needs a concession.",
    "rework": "Rework in the sense of ISO 9000: it restores the requirements of this case; "
    "whether it restores the drawing, and whether what the event left elsewhere in the part may "
    "stay without a concession, is for people to say.",
    "use-as-is": "Use as is: what the event left stays in the part; it needs a concession "
    "(in the sense of ISO 9000).",
    "not-affected": "Not affected: the event has left nothing in this part.",
}
"""What the recommendation means; the last of the reasons."""
NO_EVENT = "Not affected: no event is given, and the nominal part was checked."
NO_DRILL = "no straight drill reopens it"
NONE_FOUND = "no straight drill was found that reopens it"
OTHER_MEANS = "other means were not examined"
NOT_PROVEN = "that there is none is not proven, and nobody scraps on that"
NO_OTHER = "that no other would do is not proven, and nobody scraps on that"
NOT_SOUGHT = "no straight drill was sought"
CHANGE = "what would change that"
EVENT_KNOWN = "the event is known"

Row = Callable[[Known, Any], "Finding | None"]


def dispose(known: Known) -> DispositionResult:
    """Recommend what to do with a part.

    Parameters
    ----------
    known : Known
        What is known and required.

    Returns
    -------
    DispositionResult
        The gravest of what the rows say, reasons with the gravest first. `concession` is true
        for use-as-is and repair, and for a rework that leaves another passage restricted.
    """
    findings = sorted(judge(known), key=lambda f: GRAVITY.index(f.recommendation))
    gravest = findings[0].recommendation
    closing = CLOSING[gravest] if known.event or gravest != "not-affected" else NO_EVENT
    restricted = any(f.row == 11 for f in findings)
    rows: dict[str, int] = {}
    for finding in findings:
        rows.setdefault(finding.reason, finding.row)
    return DispositionResult(
        recommendation=gravest,
        reasons=(*rows, closing),
        concession=gravest in ("use-as-is", "repair") or (gravest == "rework" and restricted),
        order_of_work=order_of_work.order(known, findings, gravest),
        settled_by=order_of_work.settled_by(known, findings),
        rows=(*rows.values(), None),
    )


def judge(known: Known) -> list[Finding]:
    """For each requirement the first row that holds.

    Circuits that are apart, powder that the design shuts in and gaps that join nothing to
    the outside are no findings. Every passage gives one.

    Raises
    ------
    ValueError
        No passage is given.
    """
    if not known.passages:
        raise ValueError("a part without a passage has no requirement to judge")
    kinds: tuple[tuple[Sequence[Row], Sequence[Any]], ...] = (
        (PASSAGE_ROWS, known.passages),
        (PAIR_ROWS, known.pairs),
        (POWDER_ROWS, known.powder),
        (GAP_ROWS, known.gaps),
    )
    found = (_first(rows, known, item) for rows, items in kinds for item in items)
    judged = [finding for finding in found if finding is not None]
    return [_told_wrong(known, f) for f in judged] if known.against else judged


def _told_wrong(known: Known, finding: Finding) -> Finding:
    """Nothing rests on an event that the part contradicts, but what the design itself misses."""
    if finding.row == 0:
        return finding
    return Finding(finding.item, 2, "undetermined", known.against)


def _first(rows: Sequence[Row], known: Known, item: Any) -> Finding | None:
    return next((found for row in rows if (found := row(known, item)) is not None), None)


# ---- phrases --------------------------------------------------------------------------------


def deciding(decided: DispositionResult) -> tuple[str, ...]:
    """Reasons in brief, the gravest first, those that differ in the name alone together."""
    parts = (brief(reason).partition(": ") for reason in decided.reasons[:-1])
    return joined(Step("", name, f"{colon}{said}") for name, colon, said in parts)


def brief(reason: str) -> str:
    """A reason without how far each line gets and what would change it, which the full text has."""
    without = "|".join(map(re.escape, (NO_DRILL, NONE_FOUND)))
    said = re.sub(rf"({without}): .*?(?=; {OTHER_MEANS})", r"\1", reason)
    return re.sub(rf"; {CHANGE}: .*?(?=; {EVENT_KNOWN}|$)", "", said)


def _need(known: Known, passage: Passage) -> str:
    added, taken = known.build_allowance_mm, known.mesh_tolerance_mm
    said = f"{given(known.need(passage))} mm required"
    if added or taken:
        said += (
            f" ({given(passage.required_mm)} + {given(added)} build allowance - {given(taken)} "
            "mesh tolerance)"
        )
    return said


def _clear(known: Known, passage: Passage) -> str:
    shown = span(passage.low_mm, passage.high_mm, known.need(passage))
    return f"clear diameter {shown} mm, {_need(known, passage)}"


def _loss(passage: Passage) -> str:
    allowed = "" if passage.allowed_kpa is None else f", {passage.allowed_kpa:g} kPa allowed"
    low, high = passage.loss_low_kpa, passage.loss_kpa
    if low is None and high is None and passage.flow != "undetermined":
        return f"pressure loss infinite{allowed}"
    return loss_words(low, high) + allowed


def _at(passage: Passage) -> str:
    return f" at {level(passage.heights_mm)} mm" if passage.heights_mm else ""


def _fault(known: Known, passage: Passage) -> str:
    """What is wrong with a passage, in a few words with its numbers."""
    if passage.state is State.BLOCKED:
        return f"blocked{_at(passage)}, {_need(known, passage)}"
    if passage.state is State.OPEN:
        return f"wide enough but {_loss(passage)}"
    what = "; ".join(passage.said) if known.wide_enough(passage) else _clear(known, passage)
    said = f"{passage.state.value}{_at(passage)}, {what}"
    return said + ("" if passage.flow == "not given" else f", {_loss(passage)}")


# ---- rows for a passage ---------------------------------------------------------------------


def _contradicted(known: Known, p: Passage) -> Finding | None:
    if not p.contradiction:
        return None
    said = f"{p.name}: CONTRADICTED: said to be {p.state}, but {p.contradiction} (second opinion)"
    return Finding(p, 2, "undetermined", said)


def _nominal_misses(known: Known, p: Passage) -> Finding | None:
    if p.nominal_state not in (State.RESTRICTED, State.BLOCKED) and p.flow_nominal != "not met":
        return None
    missed = f"clear diameter {most(p.nominal_mm, known.need(p))} mm, {_need(known, p)}"
    if p.nominal_state not in (State.RESTRICTED, State.BLOCKED):
        missed = "its pressure loss is more than allowed"
    said = f"{p.name}: the nominal part already misses the requirement: {missed}"
    return Finding(p, 0, "undetermined", f"{said}; that is not the event's doing")


def _not_affected(known: Known, p: Passage) -> Finding | None:
    if known.affected or not meets(p):
        return None
    untouched = "no stray, unmelted, shifted or lifted metal; " if known.event else ""
    said = f"{p.name}: {untouched}{_clear(known, p)}"
    return Finding(p, 1, "not-affected", said)


def _not_known(known: Known, p: Passage) -> Finding | None:
    doubtful = "" if meets(p) else doubt(candidate(known, p.plan))
    if not (unclear(p) or doubtful) or usable(known, p.plan):
        return None
    said = []
    if p.slices_unknown:
        said.append("what the stray slices hold is not known")
    if p.state is State.UNDETERMINED:
        said.append("; ".join(p.said) or _clear(known, p))
    elif unclear(p) and p.flow == "undetermined":
        said.append(_loss(p))
    if not meets(p) and p.nominal_state is State.UNDETERMINED:
        said.append("whether the nominal part meets the requirement cannot be told")
    if doubtful:
        said.append(doubtful)
    text = "; ".join(said) or f"{_fault(known, p)}; the nominal part cannot be told"
    return Finding(p, 2, "undetermined", f"{p.name}: {text}")


def _entry_faces_platform(known: Known, p: Passage) -> Finding | None:
    if meets(p) or usable(known, p.plan) or not (known.on_platform and p.entry_faces_platform):
        return None
    said = f"{p.name}: {_fault(known, p)}; the only entry faces the platform"
    return Finding(p, 7, "undetermined", f"{said}: off the platform first, before heat treatment")


def _plan_row(
    known: Known, plan: Plan, item: Passage | Powder, said: str, row: int | None = None
) -> Finding:
    """Rows 8, 9 and 10 for a usable plan, under another number where the table sends there."""
    count = len(plan.strokes)
    every = "both" if count == 2 else f"all {count}"
    kind = "operations of spark erosion" if plan.electrode else "drilling operations"
    after = f"; open only after {every} {kind}: " if count > 1 else "; reopened by "
    said += after + "; ".join(plan.strokes)
    if plan.clear_diameter_after_mm > 0.0:
        passes = least(plan.clear_diameter_after_mm)
        said += f"; checked again: a ball of {passes} mm passes"
    said += f"; {_margin(plan)}" if plan.wall_cut_mm <= 0.0 else f"; {_cut(known, plan)}"
    if plan.wall_left_mm is not None:
        need = "" if known.min_wall_mm is None else f", {given(known.min_wall_mm)} mm required"
        said += f"; {least(plan.wall_left_mm, known.min_wall_mm)} mm of wall left{need}"
    if plan.wall_cut_mm <= 0.0:
        return Finding(item, 8 if row is None else row, "rework", said)
    questions = asked(known, plan)
    if not questions:
        return Finding(item, 9 if row is None else row, "repair", said)
    said += "; for the design authority: " + ", and ".join(questions)
    return Finding(item, 10 if row is None else row, "undetermined", said)


def _margin(plan: Plan) -> str:
    said = f"radial clearance {least(plan.margin_mm)} mm"
    if plan.margin_mm >= plan.drill_tolerance_mm + plan.run_out_mm:
        return said
    if plan.electrode:
        return f"{said}, less than the hole may be off ({most(plan.drill_tolerance_mm)} mm)"
    taken = f"{most(plan.drill_tolerance_mm)} + {most(plan.run_out_mm)} mm"
    return (
        f"{said}, less than drill tolerance and run-out may take ({taken}): the drill may touch "
        "the wall"
    )


def _cut(known: Known, plan: Plan) -> str:
    taken = f"{most(plan.drill_tolerance_mm)} + {most(plan.run_out_mm)} mm"
    with_it = f"drill tolerance and run-out ({taken})"
    if plan.electrode:
        with_it = f"what the hole may be off ({most(plan.drill_tolerance_mm)} mm)"
    return (
        f"{most(plan.wall_cut_mm)} mm of the wall is cut, {most(plan.most_cut_mm)} mm with "
        f"{with_it}, "
        f"{given(known.wall_allowance_mm)} mm allowed"
    )


def _plan(known: Known, p: Passage) -> Finding | None:
    """Rows 8 to 10."""
    plan = usable(known, p.plan)
    if plan is None or (meets(p) and not p.slices_unknown):
        return None
    return _plan_row(known, plan, p, f"{p.name}: {_fault(known, p)}")


def _restricted_but_flows(known: Known, p: Passage) -> Finding | None:
    if p.state is not State.RESTRICTED or p.flow != "met":
        return None
    said = f"{p.name}: {_fault(known, p)}; {_no_drill(known, p)}{_change(p)}"
    return Finding(p, 11, "use-as-is", f"{said}; the pressure loss is kept")


def _restricted(known: Known, p: Passage) -> Finding | None:
    too_little = p.state is State.RESTRICTED or (p.state is State.OPEN and p.flow == "not met")
    if not too_little:
        return None
    said = f"{p.name}: {_fault(known, p)}; {_no_drill(known, p)}"
    if p.flow == "not met":
        return _scrap_if_no_drill(p, 12, said)
    missing = "no flow requirement is given" if p.flow == "not given" else "the loss is not clear"
    return Finding(p, 12, "undetermined", f"{said}; {missing}: is what is left enough?")


def _blocked(known: Known, p: Passage) -> Finding | None:
    """Rows 13 and 14."""
    if p.state is not State.BLOCKED:
        return None
    row = 13 if p.source in KNOWN_EVENT else 14
    if not p.crossing_found:
        said = f"{p.name}: {_fault(known, p)}, but no crossing was found that blocks it"
        doubt = "what a drill would have to clear is not known, and nobody scraps on that"
        return Finding(p, row, "undetermined", f"{said}; {doubt}")
    said = f"{p.name}: {_fault(known, p)}; {_no_drill(known, p)}"
    return _scrap_if_no_drill(p, row, said)


def _no_drill(known: Known, p: Passage) -> str:
    """Why no drill puts it right; a plan that must not be used is another thing than none."""
    if why := forbidden(known, p.plan):
        return f"the drilling plan that was found is not to be used: {why}"
    said = {"ruled out": NO_DRILL, "none found": NONE_FOUND, "not sought": NOT_SOUGHT}[p.drill]
    why = f": {p.why_not}" if p.why_not else ""
    return f"{said}{why}; {OTHER_MEANS}"


def _scrap_if_no_drill(p: Passage, row: int, said: str) -> Finding:
    if p.plan is not None:
        return Finding(p, row, "undetermined", f"{said}; {NO_OTHER}")
    if p.drill != "ruled out":
        more = "" if p.remedies else _change(p)
        return Finding(p, row, "undetermined", f"{said}{more}; {NOT_PROVEN}")
    return _scrap_if_known(p, row, said + _change(p), p.source)


def _change(p: Passage) -> str:
    """What would change it, where nothing is asked that would name it."""
    return f"; {CHANGE}: {p.changes[0]}" if p.changes else ""


def _scrap_if_known(item: Passage | Pair | Powder, row: int, said: str, source: Source) -> Finding:
    if source in KNOWN_EVENT:
        return Finding(item, row, "scrap", f"{said}; {EVENT_KNOWN} ({source})")
    doubt = "the event is assumed, and nobody scraps on an assumption"
    return Finding(item, row, "undetermined", f"{said}; {doubt}")


def _metal_stays(known: Known, p: Passage) -> Finding | None:
    if not meets(p):
        return None
    said = f"{p.name}: {_clear(known, p)}"
    if p.flow == "met":
        said += f", {_loss(p)}"
    rim = ", and a thin rim in this passage may break off" if p.narrowed else ""
    gaps = [f"{most(g.thickness_mm)} mm over {near(g.area_mm2, 1)} mm2" for g in known.gaps]
    weak = f"; unmelted gaps stay in the metal ({', '.join(gaps)})" if gaps else ""
    return Finding(p, 15, "use-as-is", f"{said}; what the event left stays in the part{rim}{weak}")


PASSAGE_ROWS: tuple[Row, ...] = (
    _contradicted,
    _nominal_misses,  # 0
    _not_affected,  # 1
    _not_known,  # 2
    _entry_faces_platform,  # 7
    _plan,  # 8, 9, 10
    _restricted_but_flows,  # 11
    _restricted,  # 12
    _blocked,  # 13, 14
    _metal_stays,  # 15
)


# ---- rows for circuits that must stay apart -------------------------------------------------


def _where(pair: Pair) -> str:
    if pair.where_mm is None:
        return ""
    return f" at {point(pair.where_mm)} mm"


def _pair_nominal(known: Known, pair: Pair) -> Finding | None:
    if pair.nominal_state != "joined":
        return None
    said = f"{order_of_work.names(pair)}: connected in the nominal part already{_where(pair)}"
    return Finding(pair, 0, "undetermined", f"{said}; that is not the event's doing")


def _pair_not_known(known: Known, pair: Pair) -> Finding | None:
    in_predicted = pair.state == "undetermined" and pair.through != "unmelted"
    if not in_predicted and pair.nominal_state == "apart":
        return None
    said = f"{order_of_work.names(pair)}: whether they are still apart cannot be told{_where(pair)}"
    return Finding(pair, 2, "undetermined", said)


def _pair_joined(known: Known, pair: Pair) -> Finding | None:
    if pair.state != "joined" or pair.through == "unmelted":
        return None
    said = f"{order_of_work.names(pair)}: connected through void{_where(pair)}, must stay apart"
    return _scrap_if_known(pair, 3, said, pair.source)


def _pair_unmelted(known: Known, pair: Pair) -> Finding | None:
    if pair.state == "apart":
        return None
    joining = [g for g in known.gaps if any(set(pair.passages) >= set(j) for j in g.joins)]
    thick = "".join(f", up to {most(g.thickness_mm)} mm thick" for g in joining[:1])
    said = f"{order_of_work.names(pair)}: connected only by an unmelted gap (lack of fusion)"
    return Finding(pair, 4, "undetermined", f"{said}{thick}{_where(pair)}: a leak test tells")


PAIR_ROWS: tuple[Row, ...] = (_pair_nominal, _pair_not_known, _pair_joined, _pair_unmelted)


def _gap_outside(known: Known, gap: Unmelted) -> Finding | None:
    circuits = leaking(gap.joins)
    if not circuits:
        return None
    said = (
        f"{named_all(circuits)}: connected to the outside only by an unmelted gap (lack of fusion)"
    )
    size = f" up to {most(gap.thickness_mm)} mm thick, {near(gap.area_mm2, 1)} mm2"
    return Finding(gap, 4, "undetermined", f"{said}{size}: a leak test tells")


GAP_ROWS: tuple[Row, ...] = (_gap_outside,)


# ---- rows for trapped powder ------------------------------------------------------------------


def _amount(powder: Powder) -> str:
    mass = "" if powder.mass_g is None else f" (up to {most(powder.mass_g)} g)"
    return f"{near(powder.volume_mm3, 1)} mm3{mass} of powder trapped by {between(powder.between)}"


def _powder_not_known(known: Known, powder: Powder) -> Finding | None:
    if not powder.certain:
        said = f"{_amount(powder)}, in part of what is possible of the event"
        return Finding(powder, 2, "undetermined", said)
    doubtful = doubt(candidate(known, known.plan_of(powder.opened_by)))
    if powder.nominal or known.heat_treated or not doubtful:
        return None
    said = f"{_amount(powder)}: the plan for {powder.opened_by} opens it, but {doubtful}"
    return Finding(powder, 2, "undetermined", said)


def _powder_opened(known: Known, powder: Powder) -> Finding | None:
    plan = usable(known, known.plan_of(powder.opened_by))
    if powder.nominal or known.heat_treated or plan is None:
        return None
    said = f"{_amount(powder)}: the plan for {powder.opened_by} opens it"
    return _plan_row(known, plan, powder, said, row=5)


def _powder_stays(known: Known, powder: Powder) -> Finding | None:
    if powder.nominal:
        return None
    said = f"{_amount(powder)}: {_why_shut(known, powder)}"
    facing = {p.name for p in known.passages if p.entry_faces_platform}
    if facing & set(powder.passages) and not known.heat_treated:
        off = "the only entry faces the platform: off the platform first, before heat treatment"
        return Finding(powder, 7, "undetermined", f"{_amount(powder)}: {off}")
    if powder.passages:
        where = f"{said}; it lies in {listed(powder.passages)}"
        drills = {p.drill for p in known.passages if p.name in powder.passages}
        if known.heat_treated or drills == {"ruled out"}:
            return _scrap_if_known(powder, 6, where, powder.source)
        return Finding(powder, 6, "undetermined", f"{where}; {NOT_PROVEN}")
    said += "; it lies in a void without function: for the design authority"
    return Finding(powder, 6, "undetermined", said)


def _why_shut(known: Known, powder: Powder) -> str:
    if known.heat_treated:
        return "caked by the heat treatment"
    if why := forbidden(known, known.plan_of(powder.opened_by)):
        return f"the plan for {powder.opened_by} opens it, but is not to be used: {why}"
    return "no plan opens it"


POWDER_ROWS: tuple[Row, ...] = (_powder_not_known, _powder_opened, _powder_stays)
