"""The pressure loss of a passage that has been judged, and of the same passage once drilled.

In: a `PassageCheck` that has been judged, and the passage as judged with a plan's bores taken out.
Out: a `FlowResult`. What no plan changes is worked out once for a `CheckedFlow`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from clearance.flow.channel import End, Restriction, Stopped
from clearance.flow.of_passage import channel_mm2, ends
from clearance.flow.pressure_loss import pressure_loss, untold
from clearance.passages.crossings import Crossing
from clearance.predicted.variants import Variant
from clearance.result import FlowResult, FlowVerdict
from clearance.system.once import once
from clearance.verdict.graph import on_way, passed_by
from clearance.verdict.one_variant import Judged
from clearance.verdict.passage import PassageCheck

FLAT = 3.0
"""Level section over the section square to the way from which a sheet lies along the passage."""


class CheckedFlow:
    """The flow of one passage, for as many plans as are to be compared."""

    def __init__(self, check: PassageCheck):
        """`check`: judged."""
        self.check = check

    def after(self, after: Judged | None) -> FlowResult | None:
        """Pressure loss with "after_rework" of a plan; None where the case gives no flow.

        Parameters
        ----------
        after : Judged or None
            The passage in the first variant's part less the plan's bores; None: not drilled.
        """
        check, flow = self.check, self.check.checked.case.flow
        if flow is None:
            return None
        if len(check.nominal.way.route) == 0:
            return untold(flow)
        first = check.judged[0]
        ways, past = on_way(first.graph), passed_by(first.graph, len(first.crossings))
        low, high = self._ends
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
            possible.beside,
        )
        return pressure_loss(low, high, restrictions, flow, stopped)

    def kept_after(self, after: Judged) -> FlowVerdict:
        """Whether the allowed pressure loss is kept once a plan is drilled."""
        flow = self.after(after)
        kept = None if flow is None else flow["requirement"]["after_rework"]
        return kept or "not given"

    @once
    def _ends(self) -> tuple[End, End]:
        return ends(self.check)

    @once
    def _possible(self) -> Possible:
        return Possible.of(self.check)


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
