"""The passages once more, in the measured metal: brackets, crossings, states.

In: a scan laid on the part, the prepared case, its passages as checked. Out: a `ScannedPassage`
each. The bracket is that of the nominal check (docs/method.md, "The bracket"), of the scan's
surface in place of the nominal one, widened by what a surface may be off.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from clearance.columns.cast import cast
from clearance.columns.grid import Grid
from clearance.errors import ClearanceError
from clearance.geometry.soup import Box, extent
from clearance.passages.way import Way
from clearance.predicted.bodies import Bodies
from clearance.predicted.part import NOMINAL
from clearance.predicted.variants import Unknowns, Variant
from clearance.result import PassageResult, ScannedCrossing, ScannedPassage, State
from clearance.result.passage import Against
from clearance.scanned.crossings import crossing, most_that_passes
from clearance.scanned.faced import Faced, faced
from clearance.scanned.from_volume import Volumed
from clearance.scanned.least_area import least_area
from clearance.scanned.moved_mouths import moved
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

SURELY_METAL, LEAST_SHARE = 5.0, 0.25
"""Grey values that sum to more than so many standard uncertainties, and to more than this share of
the thinnest sheet, are metal."""
SAME = 0.5
"""Share of a mouth's radius within which another way to lay the scan has the same mouth."""
WALLS = 200
"""Places along a passage at which its wall has to be in the scan."""


@dataclass(frozen=True, eq=False)
class Measured:
    """The measured metal, made ready to be judged as a nominal part is."""

    checked: Checked
    faced: Faced
    registered: Registered
    uncertainty_mm: float
    thinnest_shown_mm: float | None
    nominal: Checked
    volumed: Volumed | None = None

    @property
    def off_mm(self) -> float:
        """How far a surface may lie off the metal's, mm: as given, and by the scan's scale."""
        widest = max(p.min_clear_diameter for p in self.nominal.case.passage)
        scales = self.registered.fit.scales
        own = np.abs(scales.own - 1.0)[scales.told]
        return self.uncertainty_mm + 0.5 * max(abs(scales.every - 1.0), *own, 0.0) * widest


def measured(
    checked: Checked,
    found: Registered,
    volume: Volumed | None = None,
) -> Measured:
    """Make the measured metal ready.

    Parameters
    ----------
    checked : Checked
        The nominal part.
    found : Registered
    volume : Volumed, optional
        `found` is one of its surfaces.

    Raises
    ------
    ScanError
        The scan is no clean solid, or open.
    """
    scan = checked.case.scan
    assert scan is not None
    off = scan.uncertainty if volume is None else volume.uncertainty_mm
    assert off is not None
    edge = 0.0 if volume is None else volume.edge_mm
    deep = max(LEAST_CUT_MM, 2.0 * off + edge + ROUGH * found.fit.rms_mm)
    mouths = checked.mouths
    if volume is not None and volume.box is not None:
        box = volume.box.grown(-deep - AROUND * checked.pitch_mm)
        mouths = {name: one for name, one in mouths.items() if box.holds(Box.around(one.rim))}
    every = [variant.events or () for variant in checked.unknowns.variants]
    there = {name: moved(one, found, every) for name, one in mouths.items()}
    cut = faced(found.triangles, there, deep, AROUND * checked.pitch_mm + deep, off)
    whole = [p for p in checked.case.passage if {m.name for m in checked.ends(p)} <= {*cut.mouths}]
    case = replace(checked.case, stray=(), melted=None, suspected=None, reading=(), scan=None)
    case = replace(case, passage=tuple(whole))  # one that lacks a mouth is not asked for
    low, high = extent(cut.triangles)
    own = Grid.over(low - 5.0 * checked.pitch_mm, high + 5.0 * checked.pitch_mm, checked.pitch_mm)
    columns = cast(cut.triangles, own)
    if columns.unclosed:
        raise ScanError(f"the mesh is open along {columns.unclosed} columns; mend it first")
    bodies = Bodies(cut.triangles, cut.triangles, {}, columns.most_winding > 1)
    unknowns = Unknowns((Variant((), ""),), (), False)
    ready = Checked(case, bodies, cut.mouths, unknowns, checked.pitch_mm, [])
    ready.whole.take(columns)
    shown = scan.thinnest_shown if volume is None else volume.told.shown_mm
    return Measured(ready, cut, found, off, shown, checked, volume)


def scanned(
    look: Measured, check: PassageCheck, predicted: PassageResult, sure: Measured | None = None
) -> ScannedPassage:
    """Judge one passage in the measured metal.

    Parameters
    ----------
    look : Measured
    sure : Measured, optional
        Of a volume: what is surely metal, where `look` is what may be. It tells the high end.
    check : PassageCheck
        Of the prepared case, judged.
    predicted : PassageResult
        As the check has it.
    """
    layer = look.nominal.case.part.layer_thickness
    crossings = check.judged[0].crossings if check.judged else ()
    graph = check.judged[0].graph if check.judged else None
    sure = sure or look
    why = _not_there(look, check) or _not_there(sure, check)
    way = None if why else _way(look, check)
    most_way = way if sure is look or way is None else _way(sure, check)
    if way is None or most_way is None:
        why = why or "the scan is too large to be looked at there"
        # How wide the nominal passage is bounds nothing: it may have been built wider.
        return ScannedPassage(State.UNDETERMINED, 0.0, None, (), "not-told", (why,))
    off, thin = look.off_mm, thinnest_at(look, check)
    bodies = look.checked.bodies
    shown = tuple(crossing(bodies, n, c, off, layer, thin) for n, c in enumerate(crossings))
    if sure is not look:
        bodies = sure.checked.bodies
        volume, name = look.volumed, check.passage.name
        sheets = [volume.covered(name, n) if volume else [] for n in range(len(crossings))]
        widest_ones = [
            crossing(bodies, n, c, off, layer, thin, sheet)
            for n, (c, sheet) in enumerate(zip(crossings, sheets, strict=True))
        ]
        shown = tuple(
            _with_sheet(look, check, replace(one, clear_diameter_mm=most.clear_diameter_mm))
            for one, most in zip(shown, widest_ones, strict=True)
        )
    passes = most_that_passes(graph, [one.clear_diameter_mm for one in shown])
    smallest = look.checked.case.grid.smallest_way
    high = 0.0 if passes < smallest else min(most_way.high_mm + 2.0 * off, passes)
    unseen = _unseen(look, check, thin, range(len(shown)))
    low = 0.0 if unseen else min(max(way.low_mm - 2.0 * off, 0.0), high)
    state, reasons = _state(look, check, (low, high), shown, unseen)
    if state is State.UNDETERMINED and not unseen:
        reasons += _not_empty(look, check)
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
    if (other := _laid_elsewhere(look, check)) is not None:
        return other
    route = check.nominal.way.route
    if len(route) and look.registered.lacks_walls(route[:: max(1, len(route) // WALLS)]):
        return "the scan does not show all of its walls"
    return ""


def _laid_elsewhere(look: Measured, check: PassageCheck) -> str | None:
    """That the scan fits as well where another passage would be taken for this one."""
    scan = look.nominal.case.scan
    if scan is None or scan.placed:
        return None
    ends = np.array([check.inlet.centre, check.outlet.centre])
    near = SAME * min(check.inlet.radius, check.outlet.radius)
    for words, way in zip(look.registered.also, look.registered.ways, strict=True):
        there = way.at(ends)
        off = [np.linalg.norm(there - own, axis=1).max() for own in (ends, ends[::-1])]
        if min(off) > near:
            return f"the scan fits nearly as well {words}: say placed = true if it stands right"
    return None


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
    look: Measured,
    check: PassageCheck,
    ends: tuple[float, float],
    crossings: Sequence[ScannedCrossing],
    unseen: str,
) -> tuple[State, tuple[str, ...]]:
    need, (low, high), off_mm = check.required, ends, look.off_mm
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
    return _areas(look, check, crossings, off_mm)


def thinnest_at(look: Measured, check: PassageCheck) -> float | None:
    """Thinnest sheet that the event can have left in a passage, mm; None where it leaves none."""
    window = check.window(look.nominal.pitch_mm)
    return thinnest_sheet(look.nominal, window, look.off_mm)


def _unseen(
    look: Measured, check: PassageCheck, thin: float | None, crossings: Sequence[int]
) -> str:
    """Why the scan cannot say open: a sheet that it does not surely show may lie there."""
    if look.volumed is not None and not look.volumed.filled and thin is not None:
        for number in crossings:
            found = look.volumed.sheet(check.passage.name, number, thin)
            if found is not None and found[0] > max(SURELY_METAL * found[1], LEAST_SHARE * thin):
                return f"where a threshold shows none, {_summed(number, *found)}"
    limit_mm = look.thinnest_shown_mm
    if thin is None or (limit_mm is not None and limit_mm <= thin):
        return ""
    if look.volumed is not None and look.volumed.filled and look.nominal.bodies.added is None:
        return ""  # where a sheet may lie, all that is not proven empty counts as metal
    limit = (
        "which sheets it shows is not known"
        if limit_mm is None
        else f"it shows {most(limit_mm)} mm"
    )
    return (
        f"the scan shows a way, but the event can leave a sheet of {least(thin)} mm and {limit} "
        "(thinnest_shown): not open on that"
    )


def _with_sheet(look: Measured, check: PassageCheck, one: ScannedCrossing) -> ScannedCrossing:
    """A crossing with the thickness that its grey values sum to, where a volume tells it."""
    name = check.passage.name
    found = None if look.volumed is None else look.volumed.sheet(name, one.crossing)
    return one if found is None else replace(one, sheet_mm=found[0], sheet_u_mm=found[1])


def _not_empty(look: Measured, check: PassageCheck) -> tuple[str, ...]:
    """That a sheet may lie where a threshold shows none."""
    thin = thinnest_at(look, check)
    if look.volumed is None or not look.volumed.filled or thin is None:
        return ()
    limit = look.thinnest_shown_mm
    shows = "no sheet at all" if limit is None else f"sheets from {most(limit)} mm on"
    return (
        f"a threshold shows {shows}, the event can leave {least(thin)} mm: what grey values do not "
        "prove empty counts as metal",
    )


def _summed(crossing: int, sheet_mm: float, u_mm: float) -> str:
    return (
        f"grey values across crossing {crossing + 1} sum to {sheet_mm:.3f} mm of metal, "
        f"u {u_mm:.3f} mm"
    )


def _areas(
    look: Measured, check: PassageCheck, crossings: Sequence[ScannedCrossing], off_mm: float
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
        metal = look.checked.bodies.part
        least_one = least_area(metal, look.registered.nominal, check, off_mm)
        if least_one is not None and least_one[0] < asked.open_fraction:
            level = f"{least_one[1] - look.nominal.platform_z:.2f}"
            said = (
                f"wide enough, but at z {level} mm metal in the "
                f"scan leaves {100.0 * least_one[0]:.0f} % of its area, "
                f"{100.0 * asked.open_fraction:g} % required"
            )
            return State.UNDETERMINED, (said,)
    return State.OPEN, ()
