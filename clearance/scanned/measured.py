"""The passages once more, in the measured metal: brackets, crossings, states.

In: a scan laid on the part, the prepared case, its passages as checked. Out: a `ScannedPassage`
each. The bracket is that of the nominal check (docs/method.md, "The bracket"), of the scan's
surface in place of the nominal one, widened by what a surface may be off.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from clearance.columns.cast import cast
from clearance.columns.grid import Grid
from clearance.errors import ClearanceError
from clearance.geometry.soup import extent
from clearance.passages.way import Way
from clearance.predicted.bodies import Bodies
from clearance.predicted.part import NOMINAL
from clearance.predicted.variants import Unknowns, Variant
from clearance.result import PassageResult, ScannedCrossing, ScannedPassage, State
from clearance.result.passage import Against
from clearance.scanned.crossings import crossing, most_that_passes
from clearance.scanned.faced import Faced, faced
from clearance.scanned.registration import Registered, ScanError
from clearance.scanned.thin_sheets import thinnest_sheet
from clearance.verdict.numbers import given, least, most, no_more
from clearance.verdict.passage_check import PassageCheck
from clearance.verdict.prepared import Checked

ROUGH = 4.0
"""Misfits that the face around a mouth may be rough by."""
LEAST_CUT_MM = 0.05
"""How far in a mouth is cut at least."""
AROUND = 6.0
"""Pitches around a mouth's rim that are cut plane: more than a stopper stands over it."""


@dataclass(frozen=True, eq=False)
class Measured:
    """The measured metal, made ready to be judged as a nominal part is."""

    checked: Checked
    faced: Faced
    registered: Registered
    uncertainty_mm: float
    thinnest_shown_mm: float | None
    nominal: Checked

    @property
    def off_mm(self) -> float:
        """How far a surface may lie off the metal's, mm: as given, and by the scan's scale."""
        widest = max(p.min_clear_diameter for p in self.nominal.case.passage)
        return self.uncertainty_mm + 0.5 * abs(self.registered.fit.scale - 1.0) * widest


def measured(checked: Checked, found: Registered) -> Measured:
    """Make the measured metal ready.

    Parameters
    ----------
    checked : Checked
        The nominal part.
    found : Registered

    Raises
    ------
    ScanError
        The scan is no clean solid, or open.
    """
    scan = checked.case.scan
    assert scan is not None
    deep = max(LEAST_CUT_MM, 2.0 * scan.uncertainty + ROUGH * found.fit.rms_mm)
    cut = faced(found.triangles, checked.mouths, deep, AROUND * checked.pitch_mm + deep)
    case = replace(checked.case, stray=(), melted=None, suspected=None, reading=(), scan=None)
    low, high = extent(cut.triangles)
    own = Grid.over(low - 5.0 * checked.pitch_mm, high + 5.0 * checked.pitch_mm, checked.pitch_mm)
    columns = cast(cut.triangles, own)
    if columns.unclosed:
        raise ScanError(f"the mesh is open along {columns.unclosed} columns; mend it first")
    bodies = Bodies(cut.triangles, cut.triangles, {}, columns.most_winding > 1)
    unknowns = Unknowns((Variant((), ""),), (), False)
    ready = Checked(case, bodies, cut.mouths, unknowns, checked.pitch_mm, [])
    ready.whole.take(columns)
    return Measured(ready, cut, found, scan.uncertainty, scan.thinnest_shown, checked)


def scanned(look: Measured, check: PassageCheck, predicted: PassageResult) -> ScannedPassage:
    """Judge one passage in the measured metal.

    Parameters
    ----------
    look : Measured
    check : PassageCheck
        Of the prepared case, judged.
    predicted : PassageResult
        As the check has it.
    """
    layer = look.nominal.case.part.layer_thickness
    crossings = check.judged[0].crossings if check.judged else ()
    graph = check.judged[0].graph if check.judged else None
    why = _not_there(look, check)
    way = None if why else _way(look, check)
    if way is None:
        why = why or "the scan is too large to be looked at there"
        widest = check.nominal.way.high_mm
        return ScannedPassage(State.UNDETERMINED, 0.0, widest, (), "not-told", (why,))
    off, thin = look.off_mm, thinnest_at(look, check)
    bodies = look.checked.bodies
    shown = tuple(crossing(bodies, n, c, off, layer, thin) for n, c in enumerate(crossings))
    passes = most_that_passes(graph, [one.clear_diameter_mm for one in shown])
    smallest = look.checked.case.grid.smallest_way
    high = 0.0 if passes < smallest else min(way.high_mm + 2.0 * off, passes)
    unseen = _unseen(look.thinnest_shown_mm, thin)
    low = 0.0 if unseen else min(max(way.low_mm - 2.0 * off, 0.0), high)
    state, reasons = _state(check, (low, high), shown, unseen, off)
    against = _against(check, predicted, state, (low, high))
    return ScannedPassage(state, low, high, shown, against, reasons)


def kinds(low_mm: float, high_mm: float, need_mm: float, smallest_mm: float) -> set[State]:
    """States that a bracket of the clear diameter leaves possible.

    Compared so, what printed metal is off the nominal by, a tenth or so, contradicts nothing.
    """
    found = {State.BLOCKED} if low_mm < smallest_mm else set()
    found |= {State.RESTRICTED} if high_mm >= smallest_mm and low_mm < need_mm else set()
    return found | ({State.OPEN} if high_mm >= need_mm else set())


def _against(
    check: PassageCheck, predicted: PassageResult, state: State, ends: tuple[float, float]
) -> Against:
    """Whether the predicted state stands."""
    clear, asked = predicted.clear_diameter_mm, check.asked
    told = {predicted.state}
    if predicted.state is State.UNDETERMINED:
        told = kinds(clear.low, clear.high, check.required, asked.smallest_mm)
    seen = kinds(*ends, check.required, asked.smallest_mm)
    if state is not State.UNDETERMINED:
        seen = {state}
    if not seen & told:
        return "contradicts"
    return "agrees" if len(seen) == len(told) == 1 else "not-told"


def _not_there(look: Measured, check: PassageCheck) -> str:
    """Why the scan cannot tell of a passage at all; empty where it can."""
    for mouth in (check.inlet, check.outlet):
        if mouth.name in look.faced.why_not:
            return look.faced.why_not[mouth.name]
        rim = mouth.rim[:: max(1, len(mouth.rim) // 32)]
        if not look.registered.shows(rim).all():
            return f"{mouth.name} is not in the scan"
    return ""


def _way(look: Measured, check: PassageCheck) -> Way | None:
    """The widest way in the measured metal; None where it cannot be looked at."""
    own = PassageCheck(look.checked, check.passage)
    pitch, found = look.checked.pitch_mm, None
    for _ in range(2):
        try:
            found = own.judge_in(own.predicted(NOMINAL, pitch), Variant(NOMINAL, "")).way
        except ClearanceError:
            break
        if found.high_mm == 0.0 or (found.low_mm > 0.0 and not found.leak):
            break
        pitch *= 0.5
    return None if found is None else replace(found, low_mm=0.0 if found.leak else found.low_mm)


def _state(
    check: PassageCheck,
    ends: tuple[float, float],
    crossings: Sequence[ScannedCrossing],
    unseen: str,
    off_mm: float,
) -> tuple[State, tuple[str, ...]]:
    need, (low, high) = check.required, ends
    needs = f"{given(need)} mm required"
    if high == 0.0:
        return State.BLOCKED, ("no way is left in the scan, whatever its faces are off",)
    if high < need and low >= check.asked.smallest_mm:
        return State.RESTRICTED, (f"{no_more(high, need)} mm passes, {needs}",)
    if unseen and high >= need:
        return State.UNDETERMINED, (unseen,)
    if low < need:
        said = f"between {least(low, need)} and {most(high, need)} mm pass, {needs}"
        return State.UNDETERMINED, (said,)
    return _areas(check, crossings, off_mm)


def thinnest_at(look: Measured, check: PassageCheck) -> float | None:
    """Thinnest sheet that the event can have left in a passage, mm; None where it leaves none."""
    window = check.window(look.nominal.pitch_mm)
    return thinnest_sheet(look.nominal, window, look.off_mm)


def _unseen(shown: float | None, thin: float | None) -> str:
    """Why the scan cannot say open: a sheet that it does not surely show may lie there."""
    if thin is None:
        return ""
    if shown is not None and shown <= thin:
        return ""
    limit = "which sheets it shows is not known" if shown is None else f"it shows {given(shown)} mm"
    return (
        f"the scan shows a way, but the event can leave a sheet of {least(thin)} mm and {limit} "
        "(thinnest_shown): not open on that"
    )


def _areas(
    check: PassageCheck, crossings: Sequence[ScannedCrossing], off_mm: float
) -> tuple[State, tuple[str, ...]]:
    asked = check.asked
    if asked.every_branch or asked.open_together is not None:
        said = "wide enough, but of branches and channels side by side the scan is not asked"
        return State.UNDETERMINED, (said,)
    if asked.open_fraction is not None:
        listed = check.judged[0].crossings if check.judged else ()
        for one, crossing in zip(crossings, listed, strict=True):
            rim = off_mm * float(crossing.footprint.length) / max(crossing.nominal_area_mm2, 1e-9)
            if one.open_fraction - rim < asked.open_fraction:
                return State.UNDETERMINED, (
                    f"wide enough, but crossing {one.crossing + 1} leaves "
                    f"{100.0 * one.open_fraction:.0f} % of its area in the scan, "
                    f"{100.0 * asked.open_fraction:g} % required",
                )
    return State.OPEN, ()
