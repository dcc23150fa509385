"""The sweep: what every passage would be with the stray sheet at any other height.

In: a `Case`. Out: a `Sweep`, height by height what `check` would say there. All heights of a
piece are computed together: sections and regions once for all, searches where they do not
settle it. Pieces know nothing of one another, so they may be done in any order.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from clearance.case.read import Case
from clearance.case.stray_tables import StrayTable
from clearance.errors import ClearanceError
from clearance.predicted.slabs import Event
from clearance.result import State
from clearance.sweeps.drills import Drills
from clearance.sweeps.looked_at import At
from clearance.sweeps.near import Near, melts_the_same
from clearance.sweeps.passage_sweep import PassageSweep
from clearance.sweeps.result import PassageHeights, Sweep, joined
from clearance.sweeps.wanted import PARTS, Piece, Wanted, moving, pieces
from clearance.verdict.passage_check import PassageCheck
from clearance.verdict.prepared import Checked, Progress, prepare, silent

Floats = NDArray[np.float64]
NOT_CONFIRMED = "second opinion: not asked for by a sweep; `check --verify` asks at one height"
MOST_HEIGHTS = 100_000
"""Heights of one sweep at most."""


def sweep(
    case: Case,
    wanted: Wanted | None = None,
    pitch_mm: float | None = None,
    progress: Progress = silent,
) -> Sweep:
    """Compute the state of every passage for all heights of the first stray sheet.

    Raises
    ------
    ClearanceError
        The case has no stray sheet with a height, the range holds no height, and all
        that `check` raises.
    """
    prepared = Prepared(case, wanted or Wanted(), pitch_mm, progress)
    return joined(list(prepared.swept(pieces(case), progress)))


class Prepared:
    """A case made ready for its sweep.

    Raises
    ------
    ClearanceError
        As for `sweep`.
    """

    def __init__(
        self,
        case: Case,
        wanted: Wanted,
        pitch_mm: float | None = None,
        progress: Progress = silent,
    ):
        self.wanted, self.number = wanted, moving(case)
        height, half = case.stray[self.number].height, case.stray[self.number].height_uncertainty
        assert height is not None
        self.case_heights = (height - half, height + half)
        known = _without_uncertain_height(case, self.number)
        self.checked = prepare(known, pitch_mm, progress)
        self.heights = heights(self.checked, self.number, wanted)
        self.checks = [PassageCheck(self.checked, p) for p in case.passage]
        self._near: dict[int, Near] = {}
        self._variants()  # a sheet beside the part is told before anything is computed

    def swept(self, wanted: list[Piece], progress: Progress = silent) -> Iterator[Sweep]:
        """Sweep some pieces, one after another."""
        for n, piece in enumerate(wanted):
            name = self.checks[piece.passage].passage.name
            progress(f"{name}: piece {n + 1} of {len(wanted)}")
            yield self.piece(piece)

    def piece(self, piece: Piece) -> Sweep:
        """Sweep one piece."""
        at = np.array_split(self.heights, PARTS)[piece.part]
        found = self._passage(piece.passage, at + self.checked.platform_z)
        return Sweep(
            part=self.checked.case.part.name,
            pitch_mm=self.checked.pitch_mm,
            stray=self.number,
            case_heights_mm=self.case_heights,
            heights_mm=tuple(float(h) for h in at),
            passages=(found,),
            notices=(*self._notices(), *_faults(found, at)),
            not_looked_at=not_looked_at(self.checked.case, self.wanted.reach),
            inputs=self.checked.inputs,
            apart_mm=self._apart_mm(),
        )

    def _apart_mm(self) -> float | None:
        step, layer = self.wanted.step, self.checked.case.part.layer_thickness
        return step if step is not None and step > layer * (1.0 + 1e-6) else None

    def _notices(self) -> tuple[str, ...]:
        notices = [*self.checked.notices, NOT_CONFIRMED]
        if sum(stray.shape != "mesh" for stray in self.checked.case.stray) > 1:
            notices.append(
                f"the sheet of event {self.number + 1} is moved; the others stay where they are"
            )
        if self.checked.case.stray[self.number].next_layer is not None:
            rises = sorted({round(events[own].rise, 9) + 0.0 for events, own in self._variants()})
            notices.append(
                f"next_layer of event {self.number + 1} goes along with the height: what lies "
                f"above is lifted by {' to '.join(f'{rise:g}' for rise in rises)} mm at every "
                "height, as in the case"
            )
        return tuple(dict.fromkeys(notices))

    def _passage(self, number: int, bottoms: Floats) -> PassageHeights:
        """Some heights of one passage, over all that is not known of the event but its height."""
        check = self.checks[number]
        near = self._sections(number)
        cheap = not self.checked.bodies.added_by_stray
        every = self._variants()
        found = [
            PassageSweep(check, near, events, own, bottoms, cheap).run() for events, own in every
        ]
        rows = [_together([at[n] for at in found]) for n in range(len(bottoms))]
        ways = Drills(check, every, bottoms, rows).all() if self.wanted.reach else None
        return PassageHeights(
            name=check.passage.name,
            required_mm=check.passage.min_clear_diameter,
            state=tuple(at.state for at in rows),
            clear_diameter_mm=tuple(0.5 * (at.low_mm + at.high_mm) for at in rows),
            low_mm=tuple(at.low_mm for at in rows),
            high_mm=tuple(at.high_mm for at in rows),
            open_fraction=tuple(at.open_fraction for at in rows),
            reopen=None if ways is None else tuple(way.answer for way in ways),
            drilled_from=() if ways is None else tuple(way.openings for way in ways),
            openings_mm=_openings(check),
        )

    def _variants(self) -> list[tuple[tuple[Event, ...], int]]:
        """Events of each variant, and the number of the one that moves."""
        found = []
        for variant in self.checked.unknowns.variants:
            events = variant.events or ()
            own = next((n for n, e in enumerate(events) if e.stray == self.number), None)
            if own is None:
                top = float(self.checked.bodies.bounds[1, 2]) - self.checked.platform_z
                raise ClearanceError(
                    f"{self.checked.case.path.name}: [[stray]] number {self.number + 1} height: "
                    f"found {self.case_heights[0]:g}, expected a height on the part, at most "
                    f"{top:g}, from which the sweep can move the sheet"
                )
            found.append((events, own))
        return found

    def _sections(self, number: int) -> Near:
        """Quick sections of a passage, kept for all its pieces."""
        if number not in self._near:
            check = self.checks[number]
            if check.nominal.way.blocked:
                check.result()  # raises what `check` raises
            variants = self.checked.unknowns.variants
            if not all(melts_the_same(variant.events or ()) for variant in variants):
                # Sections of every height count where the part is cut there: prove everywhere.
                check.window(self.checked.pitch_mm).region = None
            self._near[number] = Near(check)
        return self._near[number]


def _faults(found: PassageHeights, at: Floats) -> list[str]:
    """Heights at which two proofs contradict each other: said aloud, never smoothed over."""
    return [
        f"{found.name} at {height:.3f} mm: two proofs contradict each other: a ball of "
        f"{low:.4f} mm passes, and none larger than {high:.4f} mm can; an internal fault, please "
        "report it"
        for height, low, high in zip(at, found.low_mm, found.high_mm, strict=True)
        if low > high
    ]


def _without_uncertain_height(case: Case, number: int) -> Case:
    """The case with the height of one stray sheet fixed: the sweep goes over the heights."""
    tables: list[StrayTable] = list(case.stray)
    tables[number] = replace(tables[number], height_uncertainty=0.0)
    return replace(case, stray=tuple(tables))


def heights(checked: Checked, number: int, wanted: Wanted) -> Floats:
    """Heights to look at, mm above the platform.

    Raises
    ------
    ClearanceError
        There is none, or there are too many.
    """
    case = checked.case
    layer = wanted.step or case.part.layer_thickness
    low, high = (float(z) - checked.platform_z for z in checked.bodies.bounds[:, 2])
    below, above = _room(checked, number)
    # Layers are counted from the platform; the first is that which holds the part's lowest point.
    first = wanted.first
    if first is None:
        first = max(math.floor(low / layer + 1e-6) * layer, below, 0.0)
    last = min(high - 1e-6, above) if wanted.last is None else wanted.last
    if first < below - 1e-9 or last > above + 1e-9:
        raise ClearanceError(
            f"{case.path.name}: between other stray sheets there is room for this one from "
            f"{max(below, 0.0):.3f} to {above:.3f} mm only; found {first:.3f} to {last:.3f} mm"
        )
    count = math.floor((last - first) / layer + 1e-6) + 1
    if count < 1:
        raise ClearanceError(
            f"no height lies from {first:g} to {last:g} mm; the part reaches from {low:g} to "
            f"{high:g} mm above the platform"
        )
    if count > MOST_HEIGHTS:
        raise ClearanceError(f"{count} heights are too many; give a larger --step")
    return np.asarray(np.round(first + layer * np.arange(count), 9))


def _room(checked: Checked, number: int) -> tuple[float, float]:
    """Between which heights the sheet may lie: not in another, nor in another order."""
    below, above = -math.inf, math.inf
    for variant in checked.unknowns.variants:
        events = variant.events or ()
        own = next((n for n, e in enumerate(events) if e.stray == number), None)
        if own is None:
            continue
        z = checked.platform_z
        if own > 0:
            below = max(below, events[own - 1].top - z)
        if own + 1 < len(events):
            above = min(above, events[own + 1].bottom - z - len(events[own].slices) *
                        events[own].layer)  # fmt: skip
    return below, above


def _openings(check: PassageCheck) -> dict[str, float]:
    """Heights of the mouths, by the names that a plan gives them."""
    ground = check.checked.platform_z
    found = {name: float(m.centre[2]) - ground for name, m in check.checked.mouths.items()}
    for name, mouth in (("inlet", check.inlet), ("outlet", check.outlet)):
        found[name] = float(mouth.centre[2]) - ground
    return found


def _together(found: list[At]) -> At:
    """One state over all that is not known is the state; otherwise it is undetermined.

    A contradiction in one of them is a fault, which the brackets of others must not hide.
    """
    fault = next((at for at in found if at.low_mm > at.high_mm), None)
    if fault is not None:
        return fault
    states = {at.state for at in found}
    return At(
        found[0].state if len(states) == 1 else State.UNDETERMINED,
        min(at.low_mm for at in found),
        max(at.high_mm for at in found),
        found[0].open_fraction,
    )


def not_looked_at(case: Case, reach: bool = False) -> tuple[str, ...]:
    """What a check of this case judges at one height and no sweep does; with drills or without."""
    said = []
    if case.separate:
        names = ", ".join(" and ".join(one.passages) for one in case.separate)
        said.append(f"whether circuits stay apart ({names})")
    said += ["the joint and what stays unmelted in it", "trapped powder"]
    if case.flow is not None and case.flow.max_pressure_loss is not None:
        said.append("pressure loss")
    if reach:
        said.append("whether a shop can carry out the drilling")
        said += ["electrodes"] if case.drilling.electrodes else []
    return tuple(said)
