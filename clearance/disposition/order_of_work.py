"""What is needed to decide, and the sequence in which to work on the part.

In: what is known and what the rows of the table say. Out: sentences. Powder comes out
before heat treatment; nothing is drilled on an undetermined result. What follows a semicolon in a
step explains it: a first screen goes without.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from clearance.disposition.known import (
    KNOWN_EVENT,
    Finding,
    Known,
    Pair,
    Passage,
    Pin,
    Plan,
    Powder,
    Recommendation,
    asked,
    loss_words,
    thinnest,
)
from clearance.disposition.steps import Step, joined
from clearance.evidence.balls import in_words
from clearance.evidence.pins import held
from clearance.result import State, Unmelted
from clearance.verdict.names import leaking, listed
from clearance.verdict.numbers import given, least, level, most, near
from clearance.verdict.reading_words import WAY

EMPTYING = "empty the loose powder"
"""How the step begins that every cut waits for."""
ERODED = "the recast layer stays on what was cut: off where the part is loaded in fatigue"
"""What is said of every hole that an electrode makes."""
MOST_CHANGES = 3
"""Ways to reopen a passage that are named, of what would change the recommendation."""
MOST_WAYS = 6
"""Ways to drill that are asked one by one; of more the first ones are."""
KINDS = (
    "the machine log", "a ball", "a pin", "flow test", "leak test", "weighing", "a radiograph",
)  # fmt: skip
"""First words of questions of one kind; any other one comes before."""


def names(pair: Pair) -> str:
    """Circuits of a pair, in words."""
    return listed(pair.passages)


# ---- what settles it ------------------------------------------------------------------------


def settled_by(known: Known, findings: Sequence[Finding]) -> tuple[str, ...]:
    """Measurements and answers that would settle what is undetermined, none twice."""
    said: list[Step | str] = []
    for finding in findings:
        if finding.recommendation == "undetermined":
            said += _settling(known, finding)
    return joined(sorted(_few_drills(said), key=_kind))


class Way(str):
    """A tool or key with which a drill might reopen a passage."""


def _few_drills(said: Sequence[Step | str]) -> list[Step | str]:
    """Of many ways to drill the first ones, and how many more passages tell theirs."""
    ways = list(dict.fromkeys(one for one in said if isinstance(one, Way)))
    if len(ways) <= MOST_WAYS:
        return list(said)
    rest = set(ways[MOST_CHANGES:])
    more = f"one of {len(rest)} more ways of that kind to drill: each passage tells its own"
    return [*(one for one in said if one not in rest), more]


def _kind(said: Step | str) -> int:
    """Questions of one kind stand together: what is asked of the case first, then measurements."""
    words = said if isinstance(said, str) else said.before
    return next((n for n, kind in enumerate(KINDS, 1) if words.startswith(kind)), 0)


def _settling(known: Known, finding: Finding) -> Iterator[Step | str]:
    item = finding.item
    if known.against:
        yield f"what happened: {WAY}"
        yield from _event(known)
        return
    if isinstance(item, Passage):
        yield from _settling_passage(known, finding.row, item)
    elif isinstance(item, Pair):
        yield from _settling_pair(known, finding.row, item)
    elif isinstance(item, Powder):
        yield from _settling_powder(known, finding.row, item)
    else:
        for circuit in leaking(item.joins):
            yield Step("leak test of ", circuit, " against the outside, all ports closed")
        yield from _melt_depth(known)


def _settling_passage(known: Known, row: int, passage: Passage) -> Iterator[Step | str]:
    if row == 0:
        yield f"the drawing: is the requirement of {passage.name} meant for the nominal mesh given?"
    elif row == 2:
        yield from passage.settled_by
        yield from _which_plans(passage.plan)
        yield from _tools(passage.plan)
        if passage.slices_unknown:
            yield "what stood below the part: [part] also_melted, from the build file"
        yield from _questions(known)
        yield from _through(known, passage)
    elif row == 7:
        yield "take the part off the platform, before heat treatment, and check it again"
        yield from _drills(passage)
    elif row == 10:
        yield from _asking(known, passage.plan, passage.name)
    else:
        yield from _leave(known, passage.plan, passage.name)
        yield from _drills(passage)
        if row == 12 and passage.flow != "not met":
            yield f"the design authority: the pressure loss that {passage.name} may have ([flow])"
            yield from _flow_test(known, passage)
            return
        if passage.source not in KNOWN_EVENT:
            yield from _event(known)
        yield from _through(known, passage)


def _drills(passage: Passage) -> Iterator[Step | str]:
    """Tools and keys with which a drill might reopen it."""
    redesigns = set(passage.changes) - set(passage.remedies)
    said = (*passage.drill_settled_by, *passage.remedies[:MOST_CHANGES])
    yield from (Way(way) for way in dict.fromkeys(said) if way not in redesigns)


def _which_plans(plan: Plan | None) -> Iterator[Step | str]:
    if plan is not None and plan.conflicts:
        yield "the design authority: which of the plans may be drilled, or smaller drills"


def _tools(plan: Plan | None) -> Iterator[Step | str]:
    """What would carry out a plan that a shop cannot carry out as it is."""
    yield from (Way(way) for way in (plan.would_do if plan is not None else ()))


def _asking(known: Known, plan: Plan | None, name: str) -> Iterator[Step | str]:
    """What the design authority has to say to a plan that cuts the wall."""
    for question in asked(known, plan) if plan is not None else ():
        yield f"the design authority, of {name} ([drilling]): {question}"


def _leave(known: Known, plan: Plan | None, name: str) -> Iterator[Step | str]:
    """What would allow a plan that must not be used."""
    if plan is None:
        return
    left = thinnest(known, plan)
    if left is not None:
        shown = least(left, known.min_wall_mm)
        yield f"the design authority: are {shown} mm of wall beside {name} enough (min_wall)"
    elif plan.flow_after == "not met":
        lost = loss_words(*plan.loss_after_kpa)
        yield f"the design authority: {name} after the plan, {lost}: may it be so much ([flow])"


def _through(known: Known, passage: Passage) -> Iterator[Step | str]:
    """What can be felt or blown through the passage itself."""
    if known.wide_enough(passage) and passage.state is not State.OPEN:
        said = "; ".join(passage.said)
        yield f"look into {passage.name} with a scope, or take a replica: is it so that {said}"
    elif passage.state is not State.OPEN or passage.slices_unknown:
        ball = f"a ball of {given(passage.required_mm)} mm through "
        yield Step(ball, passage.name, ": it passes if the passage is wide enough")
    pin = passage.pin
    if pin is not None:
        nominal = pin.nominal_stops_at_mm
        instead = "" if nominal is None else f", nominally at {near(nominal, 1)} mm"
        stops = f": it stops at a depth of {near(pin.stops_at_mm, 1)} mm{instead}"
        yield Step(_pin(pin), pin.port, f"{_aslant(pin)}{stops}")
    if passage.flow != "not given":
        yield from _flow_test(known, passage)


def _flow_test(known: Known, passage: Passage) -> Iterator[Step]:
    rate = "the rate in use" if known.rate_l_min is None else f"{known.rate_l_min:g} L/min"
    limit = (
        "" if passage.allowed_kpa is None else f": at most {passage.allowed_kpa:g} kPa may be lost"
    )
    yield Step("flow test of ", passage.name, f" at {rate}{limit}")


def _settling_pair(known: Known, row: int, pair: Pair) -> Iterator[Step | str]:
    if row == 0:
        yield f"the drawing: are {names(pair)} meant to be apart in the nominal mesh given?"
        return
    yield f"leak test between {names(pair)}, all ports closed"
    if row == 4:
        yield from _melt_depth(known)
    else:
        yield from _event(known) if row == 3 else _questions(known)


def _settling_powder(known: Known, row: int, powder: Powder) -> Iterator[Step | str]:
    plan = known.plan_of(powder.opened_by)
    if row == 6 and not powder.passages:
        yield "the design authority: may powder stay trapped in a void without function?"
    elif row == 5:
        yield from _asking(known, plan, powder.opened_by)
    elif row == 7:
        yield "take the part off the platform, before heat treatment, and check it again"
    else:
        yield from _which_plans(plan)
        yield from _tools(plan)
        yield from _leave(known, plan, powder.opened_by)
        for passage in known.passages:
            if passage.name in powder.passages:
                yield from _drills(passage)
        if powder.source not in KNOWN_EVENT or row == 2:
            yield from _event(known) if row == 6 else _questions(known)
        yield from _weighing_powder(powder)


def _weighing_powder(powder: Powder) -> Iterator[Step | str]:
    if powder.mass_g is not None:
        yield (
            f"weighing before and after emptying: up to {most(powder.mass_g)} g of powder more "
            "than the nominal part stays"
        )


def _event(known: Known) -> Iterator[Step | str]:
    yield from _caliper(known)
    yield "the machine log: layer number at the stop, number of stray layers, layer resumed with"
    yield "a radiograph in the plane of the layers at the height of the event"


def _caliper(known: Known) -> Iterator[str]:
    """The height of the part, where the event may have changed it: the surest sign of all."""
    low, high = known.height_added_mm
    if low == high == 0.0:
        return
    if low < 0.0 < high:
        grown = f"off nominal by {low:+.2f} to {high:+.2f} mm"
    else:
        ends = dict.fromkeys(near(abs(end)) for end in sorted((low, high), key=abs))
        grown = f"{' to '.join(ends)} mm {'more' if high > 0.0 else 'less'} than nominal"
    yield (
        f"the height of the part with a caliper to {given(known.layer_thickness_mm)} mm: {grown} "
        "if the event is as assumed; beside a good part where there is one"
    )


def _lower(known: Known) -> str:
    """By how much a height may read less than it was counted."""
    if known.lower_mm <= 0.0:
        return ""
    return (
        f", or up to {most(known.lower_mm)} mm lower; that is for the packing of the powder, and "
        "for cooling as far as it is given"
    )


def _questions(known: Known) -> Iterator[Step | str]:
    """What answers the open questions on the event."""
    low, high = known.height_added_mm
    if {"layers", "resume"} & set(known.open_questions) and high > low:
        yield from _caliper(known)
    if "layers" in known.open_questions:
        yield "the machine log: the number of stray layers"
    if "height" in known.open_questions:
        yield "the machine log: the number of the last good layer"
    if "resume" in known.open_questions:
        yield "the machine log: the number of the first layer melted after the sheet"


def _melt_depth(known: Known) -> Iterator[Step | str]:
    if "penetration" in known.open_questions:
        yield "melt depth of the machine's setting, from the section of a sample"


# ---- in which order -------------------------------------------------------------------------


def order(
    known: Known, findings: Sequence[Finding], recommendation: Recommendation
) -> tuple[str, ...]:
    """Steps in the sequence in which they are to be done; none for a part not affected."""
    if recommendation == "not-affected":
        return ()
    return joined(_order(known, findings, recommendation))


def _order(
    known: Known, findings: Sequence[Finding], recommendation: Recommendation
) -> Iterator[Step | str]:
    yield "hold the part: mark it and keep it apart until the decision is signed"
    yield from _emptying(known)
    yield from _telling(known)
    if recommendation == "scrap":
        yield from _scrapping(known, findings)
        return
    yield from _leak_tests(findings)
    if recommendation == "undetermined":
        yield from _waiting(known, findings)
        return
    if recommendation in ("use-as-is", "repair") or any(f.row == 11 for f in findings):
        yield "obtain the concession before anything else is done to the part"
    if known.on_platform:
        before = "" if known.heat_treated else ", before heat treatment where powder is left inside"
        yield f"take the part off the platform{before}"
    yield from _drilling(known, findings)
    yield from _trimming(known, recommendation)
    yield from _proving(known, findings)
    if not known.heat_treated:
        yield "stress relief, only now that the powder is out and proven so"
    yield "proof test of passages that carry pressure"


def _emptying(known: Known) -> Iterator[Step | str]:
    if known.heat_treated:
        yield (
            "look for caked powder (scope, or weighing against the nominal mass): "
            "after heat treatment nothing counts as emptied"
        )
    elif not known.emptied:
        yield (
            f"{EMPTYING} under the local rules and prove it by weighing; through every "
            "opening, until the mass stays the same"
        )


def _telling(known: Known) -> Iterator[Step | str]:
    """What to measure before anything is cut, the surest first, and what it means."""
    before = "before anything is cut, "
    yield from (f"{before}measure {said}" for said in _caliper(known))
    yield from (f"{before}{said}" for said in _rim(known))
    reach = " (where its ports can be reached)" if known.on_platform else ""
    shut = [p for p in known.passages if p.state is not State.OPEN]
    for passage in shut:
        if passage.ball_mm is not None:
            yield Step(
                f"{before}a ball of {in_words(passage.ball_mm)} through ",
                passage.name,
                f"{reach}: stopped means as predicted, through as in the nominal part",
            )
    for passage in shut:
        if passage.pin is not None:
            pin = passage.pin
            means = (
                f"{_aslant(pin)}{reach}: {near(pin.stops_at_mm, 1)} mm deep means as predicted, "
                f"{_nominally(pin)} as in the nominal part"
            )
            yield Step(f"{before}{_pin(pin)}", pin.port, means)
    if known.weighing is not None:
        weight = known.weighing
        more = "more" if weight.added_g > 0.0 else "less"
        yield (
            f"{before}weigh it to {weight.balance_g:g} g or finer: predicted "
            f"{near(abs(weight.added_g))} g {more} than the {weight.part_g:.5g} g of the nominal "
            f"part; good parts scatter by about {weight.scatter_g:.2g} g"
        )


def _rim(known: Known) -> Iterator[str]:
    """The rim or step that stands out of the side: how far, where, between which heights."""
    rim = known.rim
    if rim is None:
        return
    at = f", {level(rim.faces_mm)} mm above the platform" if rim.faces_mm else ""
    yield (
        f"measure the {'step' if rim.step else 'rim'} that stands out of the side with a caliper: "
        "predicted "
        f"{near(rim.out_mm)} mm at x {near(rim.x_mm, 1)}, y {near(rim.y_mm, 1)}, towards "
        f"{near(rim.turn_deg, 0)} deg from +x{at}{_lower(known) if at else ''}"
    )


def _pin(pin: Pin) -> str:
    return f"a pin of {pin.diameter_mm:g} mm in the "


def _aslant(pin: Pin) -> str:
    return f", {way}" if (way := held(pin.off_normal_deg)) else ""


def _nominally(pin: Pin) -> str:
    nominal = pin.nominal_stops_at_mm
    return "through" if nominal is None else f"{near(nominal, 1)} mm"


def _leak_tests(findings: Sequence[Finding]) -> Iterator[Step | str]:
    for finding in findings:
        if finding.row != 4:
            continue
        if isinstance(finding.item, Pair):
            yield f"leak test between {names(finding.item)}"
        elif isinstance(finding.item, Unmelted):
            for circuit in leaking(finding.item.joins):
                yield Step("leak test of ", circuit, " against the outside")


def _scrapping(known: Known, findings: Sequence[Finding]) -> Iterator[Step | str]:
    for finding in findings:
        item = finding.item
        if finding.recommendation != "scrap":
            continue
        if isinstance(item, Passage):
            said = _confirming(known, item)
            yield Step(f"confirm it on the part: {said.before}", said.name, said.after)
        elif isinstance(item, Pair):
            yield f"confirm it on the part: leak test between {names(item)}"
    yield "once the decision is signed: mark it permanently as scrap, so that nobody uses it"


def _confirming(known: Known, passage: Passage) -> Step:
    """What shows on the part that a passage fails: no ball does where the ball passes."""
    if passage.state is State.OPEN:
        return next(iter(_flow_test(known, passage)))
    if known.wide_enough(passage):
        return Step("a scope into ", passage.name)
    return Step(f"a ball of {given(passage.required_mm)} mm through ", passage.name)


def _waiting(known: Known, findings: Sequence[Finding]) -> Iterator[Step | str]:
    if any(f.row == 7 for f in findings):
        yield "take the part off the platform, before heat treatment, and empty it again"
    yield "settle what is undetermined, then check again"
    unrelieved = "" if known.heat_treated else " or heat treated"
    yield f"until then nothing is drilled{unrelieved}"


def _drilling(known: Known, findings: Sequence[Finding]) -> Iterator[Step | str]:
    opening = [f.item.opened_by for f in findings if isinstance(f.item, Powder) and f.row == 5]
    reopened = [f.item.name for f in findings if isinstance(f.item, Passage) and f.row in (8, 9)]
    drilled = [p for p in known.passages if p.name in (*reopened, *opening)]
    if not drilled:
        return
    if opening:
        yield (
            "before drilling into trapped powder: the local rules for reactive powder apply, "
            "drilling can ignite it"
        )
    for passage in drilled:
        operations = passage.plan.strokes if passage.plan else ()
        count = len(operations)
        for n, operation in enumerate(operations, 1):
            every = "both" if count == 2 else f"all {count}"
            only = f", operation {n} of {count}, open only after {every}" if count > 1 else ""
            verb = "erode " if passage.plan and passage.plan.electrode else "drill "
            yield Step(verb, passage.name, f"{only}: {operation}")
    if any(p.plan is not None and p.plan.electrode for p in drilled):
        yield f"flush out what spark erosion leaves; {ERODED}"
    again = "" if known.heat_treated else " and powder, and prove by weighing that it is empty"
    yield f"clear flaps of the stray metal, chips{again}"


def _trimming(known: Known, recommendation: Recommendation) -> Iterator[str]:
    if known.rim is None or known.rim.step:
        return
    if recommendation == "use-as-is":
        yield "leave or remove the rim that stands out of the side, as the concession says"
    else:
        yield "remove the rim that stands out of the side, openings closed, and measure the side"


def proving_ball_mm(required_mm: float, low_mm: float) -> float:
    """The ball that has to pass at the end, of what a passage may be left with, mm."""
    return required_mm if math.isinf(low_mm) else min(required_mm, math.floor(10.0 * low_mm) / 10.0)


def _proving(known: Known, findings: Sequence[Finding]) -> Iterator[Step | str]:
    """A ball through every passage; through a restricted one the ball that it still lets pass."""
    restricted = [f.item for f in findings if f.row == 11]
    balls = []
    for passage in known.passages:
        d = proving_ball_mm(
            passage.required_mm, passage.low_mm if passage in restricted else math.inf
        )
        if d > 0.0:
            balls.append((d, passage.name))
    for d, name in sorted(balls, key=lambda ball: -ball[0]):
        yield Step(f"a ball of {given(d)} mm through ", name, ", inlet to outlet")
    for passage in known.passages:
        if known.wide_enough(passage) and passage.state is not State.OPEN:
            said = ": its open area and branches, with what is required"
            yield Step("a scope into ", passage.name, said)
    if known.rate_l_min is not None:
        for passage in known.passages:
            yield from _flow_test(known, passage)
