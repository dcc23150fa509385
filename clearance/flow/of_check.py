"""The pressure loss of a passage that has been judged, and of the same passage once drilled.

In: a `PassageCheck` that has been judged, and the passage as judged with a plan's bores taken out.
Out: a `FlowResult`. What no plan changes is worked out once for a `CheckedFlow`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from clearance.flow.branches import FLAT
from clearance.flow.channel import End, Restriction, Stopped
from clearance.flow.course import Floats
from clearance.flow.of_passage import channel_mm2, ends, hydraulic_mm, through
from clearance.flow.pressure_loss import Open, pressure_loss, untold
from clearance.passages.crossings import Crossing
from clearance.predicted.part import Predicted
from clearance.predicted.slabs import Event
from clearance.predicted.variants import Variant
from clearance.result import FlowResult, FlowVerdict
from clearance.system.once import once
from clearance.verdict.graph import apart_without, on_way, passed_by
from clearance.verdict.one_variant import PassageVerdict
from clearance.verdict.passage_check import PassageCheck

MOST_VARIANTS = 8
"""Variants of the event whose open ways are looked at, at most."""


class CheckedFlow:
    """The flow of one passage, for as many plans as are to be compared."""

    def __init__(self, check: PassageCheck):
        """`check`: judged."""
        self.check = check
        self._known: dict[PassageVerdict | None, FlowResult | None] = {}

    def after(self, after: PassageVerdict | None) -> FlowResult | None:
        """Pressure loss with "after_rework" of a plan; None where the case gives no flow.

        Parameters
        ----------
        after : PassageVerdict or None
            The passage in the first variant's part less the plan's bores; None: not drilled. Where
            it does not hold that part, nothing bounds the loss of a plan that leaves a crossing
            sealed beside an open way, and ways beside one another count as one.
        """
        if after not in self._known:
            self._known[after] = self._after(after)
        return self._known[after]

    def _after(self, after: PassageVerdict | None) -> FlowResult | None:
        check, flow = self.check, self.check.checked.case.flow
        if flow is None:
            return None
        if len(check.nominal.way.route) == 0:
            return untold(flow)
        first = check.judged[0]
        ways, past = on_way(first.graph), passed_by(first.graph, len(first.crossings))
        low, high, legs = self._ends
        possible = self._possible
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
            possible.in_front or possible.between or possible.differ,
        )
        opened = Open(legs)
        if legs is not None or stopped.beside or any(map(_unbounded, restrictions)):
            opened = Open(legs, self._predicted, self._all, self._drilled(after))
        cuts = _cuts(first, past)
        return pressure_loss(low, high, restrictions, flow, stopped, opened, cuts)

    def kept_after(self, after: PassageVerdict) -> FlowVerdict:
        """Whether the allowed pressure loss is kept once a plan is drilled."""
        flow = self.after(after)
        kept = None if flow is None else flow["requirement"]["after_rework"]
        return kept or "not given"

    @once
    def _ends(self) -> tuple[End, End, End | None]:
        return ends(self.check)

    @once
    def _possible(self) -> Possible:
        return Possible.of(self.check)

    # ---- by the ways that are open -------------------------------------------------------------

    @once
    def _predicted(self) -> End | None:
        """The first variant's part, by the ways that are open in it."""
        return self._by_ways(self.check.judged[0])

    @once
    def _all(self) -> tuple[End, ...]:
        """Everything that is possible of the event; none where something is not bounded."""
        judged = [one for one in self.check.judged if not one.way.blocked]
        if self._possible.between or len(judged) > MOST_VARIANTS:
            return ()
        found = [
            self._predicted if one is self.check.judged[0] else self._by_ways(one) for one in judged
        ]
        for span in self.check.checked.unknowns.spans:
            if any(event.spread > 0.0 for event in span.events):
                found.append(self._by_span(span.events))
        return () if None in found else tuple(end for end in found if end is not None)

    def _by_ways(self, judged: PassageVerdict) -> End | None:
        events = judged.variant.events
        predicted = self.check.predicted(events, self.check.checked.pitch_mm)
        return self._through(predicted, judged.way.route, judged.everything)

    def _by_span(self, events: tuple[Event, ...]) -> End | None:
        """With all metal that a sheet at any of the heights of a span has."""
        check = self.check
        predicted = check.predicted(events, check.checked.pitch_mm)
        crossed = check.crossed(predicted, Variant(events, ""))
        way = check.search(predicted, list(crossed.everything)).way(enough_mm=check.required)
        return self._through(predicted, way.route, crossed.everything)

    def _drilled(self, after: PassageVerdict | None) -> End | None:
        several = len(self.check.judged) > 1 or self._possible.between
        if after is None or after.part is None or several:
            return None
        return self._through(after.part, after.way.route, after.everything)

    def _through(
        self, predicted: Predicted, route: Floats, crossings: Sequence[Crossing]
    ) -> End | None:
        if len(route) == 0 or self._possible.in_front:
            return None
        return through(self.check, predicted, route, crossings)


def _unbounded(restriction: Restriction) -> bool:
    """Whether the nominal way alone does not bound what some scenario loses."""
    return restriction.along or min(restriction.bad_mm2, restriction.drilled_mm2) <= 0.0


def _cuts(judged: PassageVerdict, past: set[int]) -> list[list[int]]:
    """Crossings of one sheet that a way leads past one by one, but not past all of them."""
    by_sheet: dict[int, list[int]] = {}
    for n in sorted(past):
        by_sheet.setdefault(judged.crossings[n].stray, []).append(n)
    return [few for few in by_sheet.values() if apart_without(judged.graph, few)]


@dataclass(frozen=True, eq=False)
class Possible:
    """Crossings in everything that is possible of the event, the first variant's first.

    Attributes
    ----------
    crossings : tuple of tuples of Crossing
        Of each variant; where heights are uncertain, with all metal that a sheet at any of them
        has, and with the metal that all of them share.
    in_front : bool
        Stray metal may stand in front of a mouth.
    between : bool
        Heights between those looked at may leave less.
    differ : bool
        Stray metal that is none of the first variant's crossings may take more than they do.
    """

    crossings: tuple[tuple[Crossing, ...], ...]
    in_front: bool
    between: bool
    differ: bool

    @classmethod
    def of(cls, check: PassageCheck) -> Possible:
        """Look at all that is possible for a passage that has been judged."""
        found = [judged.crossings for judged in check.judged]
        between = False
        for span in check.checked.unknowns.spans:
            if not any(event.spread > 0.0 for event in span.events):
                continue
            if not span.still:
                between = True
                continue
            shared = tuple(replace(event, sure=True) for event in span.events)
            for events in (span.events, shared):
                predicted = check.predicted(events, check.checked.pitch_mm)
                found.append(check.crossed(predicted, Variant(events, "")).crossings)
        others = [c for crossings in found[1:] for c in crossings if c.open_fraction < 1.0]
        differ = any(counterpart(c, found[0]) is None for c in others)
        return cls(tuple(found), check.stray_in_front(), between, differ)


def _restriction(
    check: PassageCheck,
    possible: Possible,
    high: End,
    crossing: Crossing,
    after: PassageVerdict | None,
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
            (hydraulic_mm(one) for one in same if one.open_area_mm2 > 0.0), default=None
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
