"""The verdict on one passage: nominal and predicted, over all that is not known of the event.

In: a `Checked` case and one of its passages. Out: a `PassageResult`.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Callable, Sequence
from functools import cache
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from clearance.case.tables import PassageTable
from clearance.errors import GridError, PortError
from clearance.evidence.pins import gauge_pins
from clearance.geometry.areas import largest_circle_mm
from clearance.geometry.soup import Soup, moved_shape
from clearance.passages.closings import closing
from clearance.passages.crossings import Crossing, WindowSections, copied, crossings
from clearance.passages.fins import Told, unseen
from clearance.passages.possible_ways import walls_of
from clearance.passages.search import Search
from clearance.passages.stoppers import pieces_at
from clearance.passages.way import Way
from clearance.predicted.part import NOMINAL, Events, Predicted, Window
from clearance.predicted.slabs import Event, rounded, slabs
from clearance.predicted.variants import Variant
from clearance.result import GaugePin, PassageResult, State
from clearance.system.once import once
from clearance.verdict.between import Between, Passage, between, widest_steps
from clearance.verdict.channels_together import groups_of_channels, shares_of
from clearance.verdict.combined import Looks, combined, state_of_all
from clearance.verdict.graph import (
    Regions,
    on_way,
    passage_graph,
    perhaps_on_way,
    regions,
    renumbered,
)
from clearance.verdict.one_variant import (
    Crossed,
    PassageVerdict,
    facets,
    leaks,
    tighter,
)
from clearance.verdict.over_variants import Bound, OverVariants, Stated
from clearance.verdict.prepared import Checked, Progress, silent
from clearance.verdict.states import Bracket, Required, Seen, contradicts, failing, state_of
from clearance.verdict.whose import Void, met, on_ways

if TYPE_CHECKING:
    import networkx

GROWN_MM = 1e-3
"""More than a grown outline may miss of round corners, which are drawn with sides."""
ENOUGH_AHEAD = 1.0
"""Metal so many radii in front of a mouth leaves all of its area open around it, and more."""
FINER = 3
"""Times that the pitch is halved where the answer is not clear."""
Bounds = Callable[["PassageCheck", Sequence[Variant]], Sequence[Bound | None]]


class PassageCheck:
    """Judges one passage of a case, in the nominal and in every predicted part."""

    def __init__(self, checked: Checked, passage: PassageTable):
        self.checked = checked
        self.passage = passage
        self.inlet, self.outlet = checked.ends(passage)
        self.required = (
            passage.min_clear_diameter
            + checked.case.part.build_allowance
            - checked.case.part.mesh_tolerance
        )
        self.asked = Required(
            self.required,
            checked.case.grid.smallest_way,
            passage.every_branch,
            passage.min_open_fraction,
            passage.min_open_fraction_total,
            2.0 * checked.chord_mm,
        )
        self.spare_mm = self.asked.spare_mm
        self._windows: dict[float, Window] = {}
        self._wide: dict[Events, Predicted] = {}
        self._nominal_search: Search | None = None
        self._sections: WindowSections | None = None
        self.judged: list[PassageVerdict] = []
        """Exact checks of variants, that of the first one first."""
        self.states: list[State | None] = []
        """Of every variant; None where two others differ and it was not looked at."""

    def window(self, pitch_mm: float) -> Window:
        """The window of this passage at a pitch."""
        pitch_mm = self._as_asked(pitch_mm)
        if pitch_mm not in self._windows:
            self._windows[pitch_mm] = self.checked.window((self.inlet, self.outlet), pitch_mm)
        return self._windows[pitch_mm]

    def _as_asked(self, pitch_mm: float) -> float:
        """A pitch as it was asked for first: grids round it, and verdicts tell it as grids do.

        Else all would be cast anew in a second window, whose columns stand at the same places.
        """
        known = list(self._windows.items())
        return next((p for p, w in known if w.grid.pitch_mm == pitch_mm), pitch_mm)

    @property
    def _base_pitch(self) -> float:
        """Pitch of the check as its grids have it, mm."""
        return self.checked.whole.grid.pitch_mm

    def size(self) -> float:
        """Volume of the window, mm3."""
        box = self.window(self.checked.pitch_mm).box
        return float(np.prod(box.high - box.low))

    def predicted(self, events: Events, pitch_mm: float) -> Predicted:
        """The predicted part around this passage; farther around if its void leads there."""
        pitch_mm = self._as_asked(pitch_mm)
        asked_again = pitch_mm == self.checked.pitch_mm and events in (
            NOMINAL,
            self.checked.unknowns.variants[0].events,
        )
        if asked_again and events in self._wide:
            return self._wide[events]
        near = self.window(pitch_mm).predict(events)
        if not self.search(near, []).leads_out:
            return near
        window = self.checked.wide_window((self.inlet, self.outlet), pitch_mm, events)
        wide = window.predict(events)
        if asked_again:  # by the pins
            self._wide[events] = wide
        return wide

    def search(self, predicted: Predicted, found: list[Crossing]) -> Search:
        """The search for ways in a predicted part; that in the nominal part is kept for reuse."""
        if self._nominal_search is not None and self._nominal_search.predicted is predicted:
            return self._nominal_search
        search = Search(
            predicted,
            self.inlet,
            self.outlet,
            self.checked.all_mouths,
            found,
            self.checked.case.grid.smallest_way,
        )
        if not _has_event(predicted) and predicted.grid.pitch_mm == self._base_pitch:
            self._nominal_search = search
        return search

    def belongs(self, window: Window) -> Callable[[NDArray[np.float64]], bool]:
        """Whether a nominal point lies in the void that this passage runs through."""
        nominal = window.predict(NOMINAL)
        void = nominal.possible
        own = self.search(nominal, []).behind_inlet
        return lambda point: bool(void.pieces_at(point[None]) & own)

    def sections(self, window: Window) -> WindowSections:
        """Level sections of this passage in a window; those asked for last are kept."""
        if self._sections is None or self._sections.window is not window:
            self._sections = WindowSections(
                window,
                self.belongs(window),
                self.checked.all_mouths,
                self.checked.case.grid.smallest_way,
                lambda: self._walls(window),
            )
        return self._sections

    def _walls(self, window: Window) -> Soup:
        """Triangles that may bound the void that this passage runs through."""
        nominal = window.predict(NOMINAL)
        return walls_of(nominal, self.search(nominal, []).behind_inlet)

    @property
    def hides(self) -> bool:
        """Whether a stopper may hide a way in the nominal part."""
        return self.search(self.predicted(NOMINAL, self.checked.pitch_mm), []).hides

    def judge(self, variant: Variant) -> PassageVerdict:
        """State of the passage under one variant, looking closer where it is not clear."""
        pitch = self.checked.pitch_mm
        best: PassageVerdict | None = None
        for _ in range(1 + FINER):
            try:
                now = self._judge_at(variant, pitch)
            except GridError as fault:
                if best is None:
                    path = self.checked.case.path
                    raise GridError(f"{path}: [[passage]] {self.passage.name}: {fault}") from None
                break
            best = now if best is None else tighter(best, now)
            if best.state is not State.UNDETERMINED or best.way.leak_at is not None or best.wide:
                break  # settled, or no pitch will tell: of a way out that cells show, for one
            if contradicts(now.way):
                break  # a fault is told, not looked away from
            pitch *= 0.5
        assert best is not None
        return best

    def _judge_at(self, variant: Variant, pitch: float) -> PassageVerdict:
        return self.judge_in(self.predicted(variant.events, pitch), variant)

    def judge_in(self, predicted: Predicted, variant: Variant) -> PassageVerdict:
        """State of the passage in a predicted part, whatever has been taken out of it."""
        pitch = predicted.grid.pitch_mm
        crossed = self.crossed(predicted, variant)
        search = self.search(predicted, list(crossed.everything))
        hint = None if variant.events is NOMINAL else self.nominal.way
        way = search.way(enough_mm=(enough := self.required + self.spare_mm), hint=hint)
        search.forget_cells()
        everything = crossed.everything
        shared = () if self.asked.open_together is None else groups_of_channels(crossed, search)
        heights = shares_of(shared, self.checked.platform_z)
        known = self._known(crossed, on_way(crossed.graph), search, way)
        known = dataclasses.replace(known, together=heights)
        failed = set(failing(self.asked, known))
        few = tuple(everything[n] for n in sorted(failed))
        around = cache(lambda: search.way(closed=few, enough_mm=enough))
        hidden = cache(lambda: self._unseen(predicted, crossed, search, failed))
        state, reasons = state_of(self.asked, way, known, around, hidden)
        found = (variant, crossed.crossings, crossed.graph, everything)
        wide = way.low_mm >= enough and known.sealed is not None
        if few and wide and state is State.UNDETERMINED:
            wide = around().low_mm >= enough
        clear = wide and not contradicts(way)
        return PassageVerdict(*found, state, way, reasons, pitch, clear, together=shared)

    def crossed(self, predicted: Predicted, variant: Variant) -> Crossed:
        """What crosses the passage in a predicted part: all that a search for drills asks for."""
        found, joined = self._crossings(predicted)
        graph = passage_graph(predicted, self.inlet, self.outlet, joined)
        kept = sorted({*self._on_ways(predicted, graph, found), *self._beside(predicted, found)})
        listed = tuple(found[n] for n in kept)
        return Crossed(variant, listed, renumbered(graph, kept), tuple(found))

    def _crossings(self, predicted: Predicted) -> tuple[list[Crossing], Regions]:
        """All crossings of the passage's void, and what they join: once for all its passages."""
        whole = self.asked.open_together is not None
        window = predicted.window

        def look() -> tuple[list[Crossing], Regions]:
            has = _has_event(predicted)
            found = crossings(predicted, self.sections(window), whole) if has else []
            return found, regions(predicted, found)

        own = frozenset(self.search(window.predict(NOMINAL), []).behind_inlet)
        found, joined = predicted.kept.get(("crossings", own, whole), look)
        return [copied(one) for one in found], joined

    def _on_ways(
        self, predicted: Predicted, graph: networkx.MultiGraph, found: list[Crossing]
    ) -> list[int]:
        """Crossings on whose way the passage can lie."""
        window = predicted.window
        void = Void(
            lambda: self._walls(window),
            lambda: self.search(window.predict(NOMINAL), []).leads_out,
            self.checked.all_mouths,
            (self.inlet, self.outlet),
        )
        return on_ways(predicted, graph, found, void)

    def _beside(self, predicted: Predicted, found: list[Crossing]) -> list[int]:
        """Crossings whose sheet the widest ball of the nominal passage would meet on its way."""
        return met(predicted, found, self.nominal.way) if found else []

    def _known(self, crossed: Crossed, ways: set[int], search: Search, way: Way) -> Seen:
        """What the crossings tell of the state; `ways`: those on a way from inlet to outlet."""
        on = [c for n, c in enumerate(crossed.crossings) if n in ways and self.sealed(c)]
        everything, base = crossed.everything, self.checked.platform_z
        listed = {id(c) for c in crossed.crossings}
        sealed: tuple[float, ...] | None = tuple(c.height_mm - base for c in on)
        if self.passage.every_branch and not on:
            aside = {n for n, c in enumerate(everything) if self.sealed(c)}
            # Columns may pass beside a branch: then its void seems to lead out of the part.
            if way.leak_mm > 0.0 or (aside and aside & perhaps_on_way(search)):
                sealed = None
        return Seen(
            sealed,
            tuple((c.height_mm - base, c.open_fraction) for c in everything),
            tuple(c.height_mm - base for c in everything if c.sampled),
            tuple(n for n, c in enumerate(everything) if id(c) not in listed),
            self.asked.areas and search.in_front(ENOUGH_AHEAD),
        )

    def _unseen(
        self, predicted: Predicted, crossed: Crossed, search: Search, failed: set[int]
    ) -> tuple[float, ...]:
        """Heights above the platform of stray metal that may shut a branch unseen.

        `failed`: crossings that leave too little of their area, which a way passes by.
        """
        listed, everything = {id(c) for c in crossed.crossings}, crossed.everything
        aside = {n for n, c in enumerate(everything) if self.sealed(c) or id(c) not in listed}
        if any(not self.sealed(everything[n]) for n in aside):
            # Columns may pass beside a branch, on which a crossing lies all the same.
            perhaps = perhaps_on_way(search)
            aside = {n for n in aside if self.sealed(everything[n]) or n not in perhaps}
        if not self.passage.every_branch:
            aside |= failed
        told = [
            Told(c.low, c.high, n not in aside and c.open_fraction < 1.0, c.footprint, n in aside)
            for n, c in enumerate(everything)
        ]
        found = unseen(
            self.sections(predicted.window),
            predicted.events,
            told,
            predicted.removed_between,
            predicted.added is not None,
        )
        return tuple(z - self.checked.platform_z for z in found)

    def stray_in_front(self) -> bool:
        """Whether stray metal may stand in front of what is open of a mouth, in any variant."""
        window = self.window(self.checked.pitch_mm)
        possible = (window.predict(v.events) for v in self.checked.unknowns.variants)
        return any(self.search(p, []).in_front(edge_on=False) for p in possible if _has_event(p))

    def sealed(self, crossing: Crossing) -> bool:
        """Nothing wider than the smallest way is left open."""
        return crossing.circle_mm < self.checked.case.grid.smallest_way

    @once
    def nominal(self) -> PassageVerdict:
        """The passage in the nominal part."""
        return self.judge(Variant(NOMINAL, ""))

    def gauge_pins(self) -> list[GaugePin]:
        """Pins for both ports, in the first variant."""
        events = self.checked.unknowns.variants[0].events
        nominal = self.search(self.predicted(NOMINAL, self.checked.pitch_mm), []).metal
        predicted = self.predicted(events, self.checked.pitch_mm)
        if predicted.in_place:  # what is there is there still
            walls = np.concatenate([nominal, self.search(predicted, []).stray])
        else:
            walls = self.search(predicted, []).metal
        whole = self.checked.whole.predict(events)
        ends = (self.inlet, self.outlet)
        return [pin for end in ends for pin in gauge_pins(end, predicted, walls, nominal, whole)]

    def result(self, progress: Progress = silent, bounds: Bounds | None = None) -> PassageResult:
        """Judge the nominal and all variants and put the answers together.

        `bounds` tells of some variants what is proven without the exact check, which then is left
        to those that decide.
        """
        progress(f"{self.passage.name}: nominal part")
        nominal = self.nominal
        if nominal.way.blocked:
            raise PortError(self._apart())
        variants = self.checked.unknowns.variants
        number = {id(variant): n for n, variant in enumerate(variants, 1)}

        def judge(variant: Variant) -> PassageVerdict:
            count = f" ({number[id(variant)]} of {len(variants)})" if variants[1:] else ""
            progress(f"{self.passage.name}: predicted part{count}")
            if not variant.events and not self.checked.bodies.added_by_stray:
                return dataclasses.replace(nominal, variant=variant)
            return self.judge(variant)

        def bound() -> Sequence[Bound | None]:
            return [None] * len(variants) if bounds is None else bounds(self, variants)

        flows = self.checked.case.flow is not None  # what is lost is asked of every variant
        over = OverVariants(variants, judge, bound, self._ceiling, self.asked, flows)
        looked_at = [variant.events or () for variant in variants]
        steps = (widest_steps(looked_at, s) for s in self.checked.unknowns.spans if s.still)
        over.sharpen(min(steps, default=0.0), nominal.way.high_mm)
        self.judged, self.states = over.judged, [one.state for one in over.found]
        between = self._between(over.found)
        smallest = self.checked.case.grid.smallest_way
        looks = Looks(nominal, over.found, between, self.checked.unknowns, smallest)
        notes = [
            *facets(nominal, self.required, lambda: self._metal_around(nominal)),
            *leaks(self.judged, self.checked.platform_z),
        ]
        told = combined(looks, self.passage.name, self.passage.min_clear_diameter, notes)
        return self._on_surface(told) if self.spare_mm else told

    def _ceiling(self, variant: Variant) -> float:
        """The largest ball that its mouths let in with a variant, mm."""
        events = variant.events or ()
        return min(closing(events, mouth).width_mm for mouth in (self.inlet, self.outlet))

    def _between(self, found: Sequence[Stated]) -> Between:
        """Whether the one state of all heights looked at holds between them too."""
        spans, state = self.checked.unknowns.spans, state_of_all(found)
        if not spans or state is State.UNDETERMINED:
            return Between()

        finest = min(j.pitch_mm for j in self.judged)

        def look(events: tuple[Event, ...]) -> tuple[State, Way]:
            judged = self._judge_at(Variant(events, ""), finest)
            return judged.state, judged.way

        rings = [m.rim[:, 2] for m in (self.inlet, self.outlet, *self.checked.all_mouths)]
        around = Passage(
            self.asked,
            self.window(self.checked.pitch_mm).near,
            [(float(z.min()), float(z.max())) for z in rings],
            self._covered,
            self.nominal.way.high_mm,
            self.checked.platform_z,
        )
        samples = [(one.variant.events or (), Bracket(one.low_mm, one.high_mm)) for one in found]
        return between(state, spans, samples, look, around)

    def _covered(self, events: tuple[Event, ...], number: int, grow_mm: float) -> bool:
        """Whether the first wrong slice of an event covers this passage at its cut, grown."""
        event = events[number]
        cut = next((s for s in slabs(events) if s.low == event.bottom and s.gates), None)
        if cut is None:
            return False
        lift = sum(e.rise for e in events[:number])
        shift = (sum(e.shift[0] for e in events[:number]), sum(e.shift[1] for e in events[:number]))
        sections = self.sections(self.window(self.checked.pitch_mm))
        shut = sections.outline(cut.gates[0])
        left = (
            moved_shape(piece, rounded(shift)).buffer(grow_mm + GROWN_MM).difference(shut)
            for piece in sections.pieces(event.bottom - lift)
        )
        smallest = self.checked.case.grid.smallest_way
        return all(largest_circle_mm(shape) < smallest for shape in left)

    def _on_surface(self, told: PassageResult) -> PassageResult:
        """Brackets of the true part, from those of triangles that may lie off its surface."""
        known, spare = told.clear_diameter_mm, self.spare_mm
        wider = dataclasses.replace(
            known,
            low=max(0.0, known.low - spare),
            high=known.high + spare if known.high > 0.0 else 0.0,
            nominal_low=max(0.0, known.nominal_low - spare),
            nominal_high=known.nominal_high + spare,
        )
        return dataclasses.replace(told, clear_diameter_mm=wider)

    def _metal_around(self, nominal: PassageVerdict) -> Soup:
        return self.search(self.predicted(NOMINAL, nominal.pitch_mm), []).metal

    def _apart(self) -> str:
        void = self.window(self.checked.pitch_mm).predict(NOMINAL).possible
        pitch = self.checked.pitch_mm
        inlet = pieces_at(void, self.inlet, pitch)
        others = ", ".join(
            name
            for name, mouth in self.checked.mouths.items()
            if mouth is not self.inlet and pieces_at(void, mouth, pitch) & inlet
        )
        return (
            f"{self.checked.case.path.name}: [[passage]] {self.passage.name}: inlet and outlet lie "
            "in different voids of the nominal part; the inlet's void reaches "
            f"{others or 'no other port'}"
        )


def _has_event(predicted: Predicted) -> bool:
    return bool(predicted.events) or predicted.added is not None
