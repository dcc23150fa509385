"""What a scan says for or against the event, as readings.

In: a prepared case and its result, with the scan in it. Out: `ReadingResult`s of kind "scan": the
steps at the stray sheets, and the clear diameter of each passage.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

from clearance.readings.likelihood import coverage
from clearance.result import PassageResult, Result
from clearance.result.readings import ReadingResult, Says
from clearance.scanned.laid import bands, predicted_step
from clearance.scanned.measured import kinds
from clearance.verdict.names import event as event_name
from clearance.verdict.prepared import Checked

AXES = ("offset along x", "offset along y", "growth")
UNIFORM = math.sqrt(3.0)
"""A bracket's half width over its standard uncertainty (JCGM 100, 4.3.7)."""


def scan_answers(checked: Checked, result: Result) -> tuple[ReadingResult, ...]:
    """Readings that a scan makes; none without one.

    A step contradicts the event as any measured reading does. A passage does where its measured
    state is another than the predicted one, both being told.
    """
    if result.scan is None:
        return ()
    return (*_steps(checked, result), *(_passage(checked, p) for p in result.passages))


def _steps(checked: Checked, result: Result) -> Iterator[ReadingResult]:
    assert result.scan is not None
    steps = [
        (step, strays, axis)
        for step, (strays, _) in zip(result.scan.steps, bands(checked), strict=True)
        for axis in range(3)
        if step.moved_mm[axis] is not None
    ]
    most_off = coverage(len(steps))
    for step, strays, axis in steps:
        value, u = step.moved_mm[axis], step.u_mm[axis]
        assert value is not None
        assert u is not None
        low, high = predicted_step(checked, strays)
        ends = (float(low[axis]), float(high[axis]))
        off, nominal_off = _off(value, u, ends), _off(value, u, (0.0, 0.0))
        yield ReadingResult(
            kind="scan",
            where=f"{AXES[axis]} above {event_name(step.stray)}",
            passage=None,
            stage="found",
            value=value,
            unit="mm",
            u=u,
            predicted=ends,
            nominal=(0.0, 0.0),
            says=_says(off <= most_off, nominal_off <= most_off),
            off_u=off,
            contradicts=off > most_off,
        )


def _off(value: float, u: float, ends: tuple[float, float]) -> float:
    return max(0.0, ends[0] - value, value - ends[1]) / max(u, 1e-9)


def _says(predicted: bool, nominal: bool) -> Says:
    if predicted and nominal:
        return "both"
    return "as-predicted" if predicted else "as-nominal" if nominal else "neither"


def _passage(checked: Checked, passage: PassageResult) -> ReadingResult:
    found = passage.scanned
    assert found is not None
    clear = passage.clear_diameter_mm
    nominal = (clear.nominal_low, clear.nominal_high)
    told = found.low_mm > 0.0 or found.high_mm < clear.nominal_low
    smallest = checked.case.grid.smallest_way
    part = checked.case.part
    need = passage.required_mm + part.build_allowance - part.mesh_tolerance
    seen = kinds(found.low_mm, found.high_mm, need, smallest)
    nominal_fits = bool(seen & kinds(*nominal, need, smallest))
    return ReadingResult(
        kind="scan",
        where=f"clear diameter, {passage.name}",
        passage=passage.name,
        stage="found",
        value=0.5 * (found.low_mm + found.high_mm) if told else "not told",
        unit="mm",
        u=0.5 * (found.high_mm - found.low_mm) / UNIFORM if told else None,
        predicted=(clear.low, clear.high),
        nominal=nominal,
        says=_says(found.against != "contradicts", nominal_fits) if told else "both",
        contradicts=found.against == "contradicts",
        note="" if told else "; ".join(found.reasons),
    )
