"""Every reading answered: what it should be, what it says, whether it contradicts the event.

In: a prepared case and the result of its check. Out: `ReadingResult`s. Nothing here makes a passage
more open than the check has found.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from clearance.case.readings import MEASURED, UNITS, ReadingTable
from clearance.disposition.order_of_work import proving_ball_mm
from clearance.evidence.balls import limits
from clearance.readings.forward import OF_A_SHEET, Forward
from clearance.readings.go_no_go import ball
from clearance.readings.likelihood import MOST_RATIO, coverage, off, uncertainty
from clearance.readings.prediction import Absent, Chance, Measured, Prediction, Untold, hull
from clearance.readings.spans import in_words
from clearance.readings.together import against, excluded_by, things
from clearance.readings.unknowns import Unknowns
from clearance.result import PassageResult, Result, State
from clearance.result.readings import Ends, ReadingResult, Says
from clearance.verdict.names import event as event_name
from clearance.verdict.numbers import given, near
from clearance.verdict.prepared import Checked

YES_OR_NO = ("rim_seen", "seen")
SURE = 2.0
"""Standard uncertainties that a pressure loss must keep from its limit: 97.7 % (JCGM 106)."""


def answers(checked: Checked, result: Result) -> tuple[ReadingResult, ...]:
    """Answer the readings of a case.

    Parameters
    ----------
    checked : Checked
    result : Result
        With its passages, drilling and pressure losses included.

    Returns
    -------
    tuple of ReadingResult
        In the case's order. Measured readings of what was found contradict the event beyond the
        number of standard uncertainties that keeps the whole set at 0.27 %; those that only weigh,
        where together some other event makes them more than `MOST_RATIO` times likelier.
    """
    readings = checked.case.reading
    if not readings:
        return ()
    forward = Forward(checked, result)
    told = [_Told.of(forward, result, reading) for reading in readings]
    k = coverage(sum(one.counts for one in told))
    weighing = _weigh(told)
    beside = excluded_by(readings, u_of, k)
    return tuple(
        replace(
            one.answered(result, k, n in weighing),
            excluded_by=None if other is None else other + 1,
        )
        for n, (one, other) in enumerate(zip(told, beside, strict=True))
    )


def _weigh(told: Sequence[_Told]) -> set[int]:
    """Numbers of the readings that only weigh and contradict the event together."""
    before = [n for n, one in enumerate(told) if one.before]
    ratio, found = 0.0, set()
    for members in things([told[n].reading for n in before]).values():
        some = [before[n] for n in members]
        disagreeing = {n for n in some if told[n].weighs_against}
        over = against([(told[n].reading, told[n].predicted) for n in some])
        if disagreeing and over > 0.0:
            ratio += over
            found |= disagreeing
    return found if ratio > math.log(MOST_RATIO) else set()


@dataclass(frozen=True, eq=False)
class _Told:
    """A reading with what it should be, over all that the case leaves possible."""

    reading: ReadingTable
    predicted: Prediction
    nominal: Prediction
    unknowns: Unknowns

    @classmethod
    def of(cls, forward: Forward, result: Result, reading: ReadingTable) -> _Told:
        unknowns = forward.unknowns
        by_check = _by_check(forward.checked, result, reading)
        if by_check is not None:
            return cls(reading, *by_check, unknowns)
        every = [v.events or () for v in forward.checked.unknowns.variants]
        found = [forward.predict(events, reading) for events in every]
        return cls(reading, hull(found, unknowns), forward.nominal(reading), unknowns)

    @property
    def before(self) -> bool:
        """It is of the part before anything was drilled."""
        return self.reading.stage != "drilled"

    @property
    def counts(self) -> bool:
        """It belongs to the set of measured readings that can contradict."""
        measured = isinstance(self.predicted, Measured | Absent)
        return measured and self.before and self.reading.kind in MEASURED

    @property
    def weighs_against(self) -> bool:
        """It is another thing than the event leads one to expect; no rim is never a proof."""
        told = self.predicted
        missing = self.reading.kind == "rim_seen" and not self.reading.value
        return isinstance(told, Chance) and told.agrees is False and self.before and not missing

    def answered(self, result: Result, k: float, weighing: bool) -> ReadingResult:
        """The reading as the result has it."""
        reading, predicted = self.reading, self.predicted
        low, high = (self._fits(one, k) for one in (predicted, self.nominal))
        off_alone = self.counts and not low
        conforms = None if self.before else _conforms(result, reading)
        return replace(
            as_read(reading),
            predicted=_ends(predicted, self.unknowns),
            nominal=_ends(self.nominal, self.unknowns),
            says=_says(low, high),
            off_u=self._off(predicted),
            contradicts=off_alone or weighing,
            conforms=conforms,
            note=predicted.why if isinstance(predicted, Untold) else "",
        )

    def _fits(self, told: Prediction, k: float) -> bool:
        if isinstance(told, Measured):
            return off(self.reading, *told.span(self.unknowns)) <= k
        return not isinstance(told, Absent) and getattr(told, "agrees", None) is not False

    def _off(self, told: Prediction) -> float | None:
        if not isinstance(told, Measured):
            return None
        return off(self.reading, *told.span(self.unknowns))


def _says(predicted: bool, nominal: bool) -> Says:
    if predicted and nominal:
        return "both"
    return "as-predicted" if predicted else "as-nominal" if nominal else "neither"


def _by_check(
    checked: Checked, result: Result, reading: ReadingTable
) -> tuple[Prediction, Prediction] | None:
    """What the check itself has worked out: predicted and nominal; None where it has not."""
    if reading.kind not in ("ball", "pressure_loss"):
        return None
    passage = next(p for p in result.passages if p.name == reading.passage)
    if reading.kind == "ball":
        clear, part = passage.clear_diameter_mm, checked.case.part
        room = (part.build_allowance, part.mesh_tolerance)
        now, then = (clear.low, clear.high), (clear.nominal_low, clear.nominal_high)
        if reading.stage == "drilled" and passage.rework is not None:
            now = (passage.rework.clear_diameter_after_mm, math.inf)
        return ball(reading, *limits(*now, *room)), ball(reading, *limits(*then, *room))
    return pressure_loss(passage, reading)


def pressure_loss(passage: PassageResult, reading: ReadingTable) -> tuple[Prediction, Prediction]:
    """What a pressure loss should be by a check of the passage: predicted and nominal."""
    flow = passage.flow
    if flow is None:
        unknown = Untold("the case gives no flow")
        return unknown, unknown
    if reading.rate is not None and reading.rate != flow["rate_l_min"]:
        other = Untold(f"the case asks at {given(flow['rate_l_min'])} L/min: read it at that rate")
        return other, other
    now = flow["good_end"]["low_kpa"], flow["bad_end"]["high_kpa"]
    if reading.stage == "drilled":
        after = flow["after_rework"]
        now = (None, None) if after is None else (after["low_kpa"], after["high_kpa"])
    return _bracket(*now), _bracket(flow["nominal"]["low_kpa"], flow["nominal"]["high_kpa"])


def _bracket(low: float | None, high: float | None) -> Prediction:
    """A bracket of the check; nothing flows where it has no low end."""
    if low is None:
        return Absent()
    return Measured(np.array([low]), np.array([math.inf if high is None else high]))


# ---- words and numbers ---------------------------------------------------------------------------


def as_read(reading: ReadingTable) -> ReadingResult:
    """A reading with all that it says itself, not compared with anything."""
    return ReadingResult(
        kind=reading.kind,
        where=where(reading),
        passage=_passage_of(reading),
        stage=reading.stage,
        value=_value(reading),
        unit=unit_of(reading),
        u=None if reading.u is None else u_of(reading),
        predicted=None,
        nominal=None,
        says="neither",
    )


def where(reading: ReadingTable) -> str:
    """What a reading is of, in words."""
    if reading.kind in ("part_height", "mass", "layers_logged"):
        return ""
    if reading.kind in OF_A_SHEET:
        way, spot = reading.direction, reading.at
        towards = "" if way is None else f" towards ({given(way[0])}, {given(way[1])})"
        place = "" if spot is None else f" at x {near(spot[0])}, y {near(spot[1])}"
        how = "" if reading.method is None else f", {reading.method}"
        return f"{event_name(reading.event - 1)}{towards}{place}{how}"
    if reading.kind == "pin":
        return f"{given(reading.diameter or 0.0)} mm, {reading.port}"
    at = "" if reading.height is None else f"{given(reading.height)} mm above the platform"
    size = f"{given(reading.diameter)} mm, " if reading.diameter is not None else ""
    crossing = "" if reading.crossing is None else f", crossing {reading.crossing}"
    by = "" if reading.method is None else f", {reading.method}"
    place = " at ".join(word for word in (reading.passage or "", at) if word)
    return f"{size}{place}{crossing}{by}"


def _passage_of(reading: ReadingTable) -> str | None:
    """Passage of a reading; a pin's by its port."""
    if reading.port is None:
        return reading.passage
    name, _, end = reading.port.rpartition(" ")
    return name if end in ("inlet", "outlet") else None


def unit_of(reading: ReadingTable) -> str:
    """Unit of a reading's value and of what it should be."""
    if reading.kind in (*YES_OR_NO, "layers_logged", "photo"):
        return ""
    return UNITS.get(reading.kind, "mm")


def _value(reading: ReadingTable) -> float | bool | str | None:
    if reading.kind == "seen":
        return reading.found
    if reading.kind == "photo":
        return in_words(reading.slices)
    return reading.result if reading.value is None else reading.value


def u_of(reading: ReadingTable) -> float:
    """Standard uncertainty of a measured reading; of a mass without sisters as it was weighed."""
    if reading.kind == "mass" and len(reading.sisters) < 2:
        return reading.u or 0.0
    return uncertainty(reading)


def _ends(told: Prediction, unknowns: Unknowns) -> Ends | None:
    if isinstance(told, Absent | Untold):
        return None
    low, high = told.span(unknowns) if isinstance(told, Measured) else (told.low, told.high)
    return (low if math.isfinite(low) else None), (high if math.isfinite(high) else None)


# ---- after the work ------------------------------------------------------------------------------


def _conforms(result: Result, reading: ReadingTable) -> bool | None:
    """Whether a reading after the work meets what is required of its passage."""
    passage = next((p for p in result.passages if p.name == reading.passage), None)
    if passage is None:
        return None
    if reading.kind == "ball":
        assert reading.diameter is not None
        if reading.result == "passes":
            return True if reading.diameter >= passage.required_mm else None
        return False if reading.diameter <= passage.required_mm else None
    if reading.kind == "pressure_loss" and passage.flow is not None:
        allowed = passage.flow["requirement"]["max_pressure_loss_kpa"]
        if allowed is None or not _at_rate(reading, passage):
            return None
        value, room = float(reading.value or 0.0), SURE * uncertainty(reading)
        return True if value + room <= allowed else False if value - room > allowed else None
    return None


def _at_rate(reading: ReadingTable, passage: PassageResult) -> bool:
    flow = passage.flow
    return flow is not None and reading.rate in (None, flow["rate_l_min"])


def carried_out(
    result: Result, readings: Iterable[ReadingTable], answered: Sequence[ReadingResult]
) -> bool | None:
    """Whether the balls and flow tests that the work sequence ends with are there and conform.

    None where the recommendation asks for no work or some of them are missing; False where one
    that is there does not conform.
    """
    decided = result.disposition
    pairs = [(r, a) for r, a in zip(readings, answered, strict=True) if r.stage == "drilled"]
    if decided is None or decided.recommendation not in ("rework", "repair", "use-as-is"):
        return None
    found = [_proven(passage, pairs) for passage in result.passages]
    if not pairs or None in found:
        return False if False in found else None
    return all(found)


Pairs = Sequence[tuple[ReadingTable, ReadingResult]]


def _proven(passage: PassageResult, pairs: Pairs) -> bool | None:
    """Whether one passage is proven by what was read after the work."""
    own = [(r, a) for r, a in pairs if r.passage == passage.name]
    clear, restricted = passage.clear_diameter_mm, passage.state is State.RESTRICTED
    by_concession = restricted and passage.rework is None
    asked = proving_ball_mm(passage.required_mm, clear.low if by_concession else math.inf)
    balls = [(r.diameter or 0.0, r.result) for r, _ in own if r.kind == "ball"]
    losses = [a.conforms for r, a in own if r.kind == "pressure_loss"]
    if False in losses or any(d <= asked and did == "stops" for d, did in balls):
        return False
    passes = asked <= 0.0 or any(d >= asked - 1e-9 and did == "passes" for d, did in balls)
    flows = passage.flow is None or True in losses
    looked_into = passage.state is State.OPEN or clear.low < passage.required_mm
    return True if passes and flows and looked_into else None
