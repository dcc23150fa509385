"""What a scan says for or against the event, as readings.

In: a prepared case and a scan laid on its part. Out: `ReadingTable`s, which `causes` weighs as any
other; and for `check` the `ReadingResult`s of kind "scan": the steps at the stray sheets, the
sheets that it shows, and the clear diameter of each passage.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from clearance.case.readings import Kind, ReadingTable
from clearance.predicted.slabs import Event
from clearance.readings.faces import Between, growth
from clearance.readings.forward import Forward
from clearance.readings.likelihood import coverage
from clearance.readings.prediction import Measured, Prediction, Untold, hull
from clearance.readings.scan_sheets import OWN, SHARED
from clearance.result import PassageResult, Result, ScanResult, ScanSheet, ScanStep
from clearance.result.readings import ReadingResult, Says
from clearance.scanned.laid import Band, bands, possible
from clearance.scanned.measured import kinds
from clearance.verdict.names import event as event_name
from clearance.verdict.prepared import Checked

AXES = ("offset along x", "offset along y", "growth")
ALONG = ((1.0, 0.0), (0.0, 1.0))
FACES: tuple[tuple[Kind, str, str], ...] = (
    ("sheet_bottom", "lower face", "scan, faces down"),
    ("sheet_top", "upper face", "scan, faces up"),
)
"""Kind, words, and the group of faces that share an error."""
UNIFORM = math.sqrt(3.0)
"""A bracket's half width over its standard uncertainty (JCGM 100, 4.3.7)."""
METHOD = "scan"


# ---- as readings of the case ---------------------------------------------------------------------


def scan_readings(
    scan: ScanResult, around: Sequence[Band], platform_z: float
) -> tuple[ReadingTable, ...]:
    """What a scan tells of the event as readings: steps, growth, faces of the sheets it shows.

    Parameters
    ----------
    scan : ScanResult
        In the platform's axes.
    around : sequence of Band
        Those of its steps. Of sheets so near to each other that they share one only the sum of
        their steps is measured: no reading is made of that.
    platform_z : float, mm
    """
    found: list[ReadingTable] = []
    for step, (strays, _) in zip(scan.steps, around, strict=True):
        found += _of_step(step) if len(strays) == 1 else []
    for sheet in scan.sheets:
        found += [_of_face(sheet, kind, group, platform_z) for kind, _, group in FACES]
    return tuple(found)


def _of_step(step: ScanStep) -> Iterator[ReadingTable]:
    event = step.stray + 1
    for value, u, way in zip(step.moved_mm[:2], step.u_mm[:2], ALONG, strict=True):
        if value is not None:
            yield ReadingTable(
                kind="step", value=value, u=u, direction=way, event=event, method=METHOD
            )
    if step.moved_mm[2] is not None:
        yield ReadingTable(
            kind="growth",
            value=step.moved_mm[2],
            u=step.u_mm[2],
            over=step.over_mm,
            recesses=step.recesses,
            event=event,
            method=METHOD,
        )


def _of_face(sheet: ScanSheet, kind: Kind, group: str, platform_z: float) -> ReadingTable:
    x, y, low = sheet.where_mm
    z = low if kind == "sheet_bottom" else low + sheet.thickness_mm
    return ReadingTable(
        kind=kind,
        value=z - platform_z,
        u=OWN * sheet.u_mm,
        group=group,
        u_group=SHARED * sheet.u_mm,
        event=sheet.stray + 1,
        at=(x, y),
        over=sheet.over_mm,
        recesses=sheet.recesses,
        passage=sheet.passage,
        method=METHOD,
    )


# ---- as answers of the check ---------------------------------------------------------------------


@dataclass(frozen=True)
class _One:
    """One number of a scan, with what it should be."""

    where: str
    value: float
    u: float
    predicted: Prediction
    nominal: Prediction


def scan_answers(checked: Checked, result: Result) -> tuple[ReadingResult, ...]:
    """Readings that a scan makes; none without one.

    A step, or a face of a sheet, contradicts the event as any measured reading does. A passage
    does where its measured state is another than the predicted one, both being told.
    """
    if result.scan is None:
        return ()
    forward = Forward(checked, result)
    told = [*_steps(forward, result.scan), *_faces(forward, result.scan)]
    most_off = coverage(len(told))
    answered = (_answer(forward, one, most_off) for one in told)
    return (*answered, *(_passage(checked, p) for p in result.passages))


def _steps(forward: Forward, scan: ScanResult) -> Iterator[_One]:
    checked = forward.checked
    around = bands(possible(checked))
    for step, (strays, _) in zip(scan.steps, around, strict=True):
        for axis, (value, u) in enumerate(zip(step.moved_mm, step.u_mm, strict=True)):
            if value is None or u is None:
                continue
            every = [v.events or () for v in checked.unknowns.variants]
            ways = [_stepped(forward, events, strays, axis, step) for events in every]
            where = f"{AXES[axis]} above {event_name(step.stray)}"
            nominal = _stepped(forward, (), strays, axis, step)
            yield _One(where, value, u, hull(ways, forward.unknowns), nominal)


def _stepped(
    forward: Forward, events: Sequence[Event], strays: Sequence[int], axis: int, step: ScanStep
) -> Prediction:
    """Step along one axis that events leave at the sheets of one band, which add up."""
    if axis == 2:
        between = Between(step.over_mm, step.recesses)
        return growth(forward.checked, forward.unknowns, events, strays, between)
    aside = sum(event.shift[axis] for event in events if event.stray in strays)
    at = 0.0 * forward.unknowns.weight + aside
    return Measured(at, at)


def _faces(forward: Forward, scan: ScanResult) -> Iterator[_One]:
    checked = forward.checked
    every = [v.events or () for v in checked.unknowns.variants]
    for sheet in scan.sheets:
        for kind, words, group in FACES:
            asked = _of_face(sheet, kind, group, checked.platform_z)
            told = hull([forward.predict(e, asked) for e in every], forward.unknowns)
            where = f"{words} of the sheet in {sheet.passage}, {event_name(sheet.stray)}"
            assert asked.value is not None
            value = float(asked.value)
            yield _One(where, value, sheet.u_mm, told, forward.nominal(asked))


def _answer(forward: Forward, one: _One, most_off: float) -> ReadingResult:
    def ends(told: Prediction) -> tuple[float, float] | None:
        return told.span(forward.unknowns) if isinstance(told, Measured) else None

    predicted, nominal = ends(one.predicted), ends(one.nominal)
    off = _off(one, predicted)
    nominal_off = _off(one, nominal)
    silent = isinstance(one.predicted, Untold)
    return ReadingResult(
        kind="scan",
        where=one.where,
        passage=None,  # in its row stand clear diameters
        stage="found",
        value=one.value,
        unit="mm",
        u=one.u,
        predicted=predicted,
        nominal=nominal,
        says=_says(silent or off <= most_off, nominal_off <= most_off),
        off_u=off if math.isfinite(off) else None,
        contradicts=not silent and off > most_off,
        note=one.predicted.why if isinstance(one.predicted, Untold) else "",
    )


def _off(one: _One, ends: tuple[float, float] | None) -> float:
    if ends is None:
        return math.inf
    return max(0.0, ends[0] - one.value, one.value - ends[1]) / max(one.u, 1e-9)


def _says(predicted: bool, nominal: bool) -> Says:
    if predicted and nominal:
        return "both"
    return "as-predicted" if predicted else "as-nominal" if nominal else "neither"


def _passage(checked: Checked, passage: PassageResult) -> ReadingResult:
    found = passage.scanned
    assert found is not None
    clear = passage.clear_diameter_mm
    nominal = (clear.nominal_low, clear.nominal_high)
    low, high = found.low_mm, math.inf if found.high_mm is None else found.high_mm
    told = low > 0.0 or high < clear.nominal_low
    smallest = checked.case.grid.smallest_way
    part = checked.case.part
    need = passage.required_mm + part.build_allowance - part.mesh_tolerance
    seen = kinds(low, high, need, smallest)
    nominal_fits = bool(seen & kinds(*nominal, need, smallest))
    return ReadingResult(
        kind="scan",
        where=f"clear diameter, {passage.name}",
        passage=passage.name,
        stage="found",
        value=0.5 * (low + high) if told else "not told",
        unit="mm",
        u=0.5 * (high - low) / UNIFORM if told else None,
        predicted=(clear.low, clear.high),
        nominal=nominal,
        says=_says(found.against != "contradicts", nominal_fits) if told else "both",
        contradicts=found.against == "contradicts",
        note="" if told else "; ".join(found.reasons),
    )
