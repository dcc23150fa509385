"""Reach: whether straight drills reopen a passage, as a plan that has been re-checked.

In: a passage's check and its verdict. Out: `Reached`, a `Rework` or the reason why
there is none. What a plan leads to is read off the same check, run again on the part
less the drilled bores; a plan that fails there is never proposed.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace

import numpy as np

from clearance.drilling.drills import Drill, drills
from clearance.drilling.lines import SIDES, Lines, Opening
from clearance.drilling.recheck import Recheck
from clearance.drilling.strokes import Miss, Reached, Stroke, covering
from clearance.drilling.targets import Target, targets_of
from clearance.passages.stoppers import pieces_at
from clearance.passages.way import moved_mouth
from clearance.predicted.part import NOMINAL
from clearance.predicted.variants import Variant
from clearance.result import FlowVerdict, State
from clearance.result.passage import Change, NearestLine
from clearance.verdict.graph import cheapest, on_way
from clearance.verdict.one_variant import Crossed, PassageVerdict
from clearance.verdict.passage_check import PassageCheck

MOST_SIZES = 8
"""Drill diameters tried, each a little larger, where the re-check refuses the best."""
FULLY_OPEN = 1.0 - 1e-6
"""A crossing with less of its area open is narrowed by stray metal."""
FACING = math.cos(math.radians(45.0))
"""A mouth whose normal is nearer to straight down than 45 degrees faces the platform."""

FlowAfter = Callable[[PassageVerdict], FlowVerdict]


class Reach:
    """The search for a plan for one passage in its first variant."""

    def __init__(
        self,
        check: PassageCheck,
        first: Crossed,
        others: Sequence[Variant] = (),
        explain: bool = True,
        flow_after: FlowAfter | None = None,
        tools: Sequence[Drill] | None = None,
    ):
        """`others`: what else is possible of the event; a plan is re-checked there too.

        Without `explain` a line that is too narrow need not be the widest that there is.

        `flow_after` tells whether the allowed pressure loss is kept after a plan: then sizes are
        raised until it is. `tools` stand in for the drills at hand.
        """
        self.check = check
        self.explain = explain
        self.flow_after = flow_after
        self.first, self.others = first, others
        self.case = check.checked.case
        given = self.case.drilling
        self.at_hand = (
            drills(given.series, given.drills, given.point_angle) if tools is None else tuple(tools)
        )
        self.lines = Lines(check, self.first, self.at_hand, explain)
        self.recheck = Recheck(check, first.variant, others)

    def reached(self) -> Reached:
        """Find a plan and re-check it, or say why there is none.

        A ball has to pass every crossing whose circle is too small. Where the passage fails all
        the same, it is caught between a sheet's edge and a wall, or the pressure loss is too high:
        then whatever stray metal narrows the way is cleared, as far as drills reach it; last, all
        that is in the passage, such as a sheet that runs along it.
        """
        narrow, aside = self._narrow(), self._stray()
        partly = self._partly() | narrow
        if not aside:
            return Reached(None, self._nothing_there())
        openings, facing = self._openings()
        if not openings:
            return Reached(None, self._closed_words(facing), faces_platform=bool(facing))
        found, unreached = self._cleared(openings, narrow, narrow) if narrow else (None, set())
        if (found is None or not self.does(found)) and not unreached and partly != narrow:
            more, unreached = self._cleared(openings, partly, narrow)
            found = more if more is not None and more.rework is not None else found or more
        if found is None and not unreached:
            targets = [target for n in sorted(aside) for target in self._targets(n)]
            found, _ = self._drilled(openings, targets, set())
        if found is not None and self.does(found):
            return found
        proven = [self._ruled_out(openings, n) for n in sorted(unreached or partly or aside)]
        if found is not None:
            by = (*found.settled_by, *self._settled_by())
            return replace(found, settled_by=by, changes=self._changes())
        return Reached(
            None,
            self._why_not(),
            faces_platform=bool(facing),
            ruled_out=bool(unreached) and all(proven) and not facing,
            settled_by=self._settled_by(),
            changes=self._changes(),
            line=self._line(),
        )

    def _narrow(self) -> set[int]:
        """Crossings that a ball of the required diameter cannot pass."""
        least = self.check.passage.min_open_fraction or 0.0
        return {
            n
            for n, c in enumerate(self.first.crossings)
            if c.circle_mm < self.check.required or c.open_fraction < least
        }

    def _stray(self) -> set[int]:
        """Crossings that are not fully open."""
        return {n for n, c in enumerate(self.first.crossings) if c.open_fraction < FULLY_OPEN}

    def _partly(self) -> set[int]:
        """Crossings on the way that are not fully open."""
        return on_way(self.first.graph) & self._stray()

    def _cleared(
        self, openings: list[Opening], failing: set[int], needed: set[int]
    ) -> tuple[Reached | None, set[int]]:
        """Clear the fewest crossings that make a way, of which those `needed` must be reached.

        Returns what became of the plan, or None and the crossings that part every way and that
        no drill reaches (empty where that is not what fails).
        """
        gone: set[int] = set()
        while True:
            crossings = cheapest(self.first.graph, failing, gone)
            covered = crossings is None and not gone  # a sheet covers a port whole
            crossings = sorted(failing) if covered else crossings
            if not crossings:
                return None, gone if crossings is None else set()
            targets = [target for n in crossings for target in self._targets(n)]
            of = {k for k, target in enumerate(targets) if target.crossing in needed}
            found, reached = self._drilled(openings, targets, of)
            unreached = {targets[k].crossing for k in of - reached}
            if found is not None or not unreached:
                return found, set()
            if covered:  # which of them part every way is not known
                return None, unreached if unreached == failing else set()
            gone |= unreached

    def _targets(self, n: int) -> tuple[Target, ...]:
        """What has to be cleared of a crossing."""
        predicted = self.lines.predicted
        route = np.array([predicted.moved(at) for at in self.check.nominal.way.route])
        wide = max(self.check.nominal.way.low_mm, self.check.required)
        return targets_of(n, self.first.crossings[n], route, wide)

    def _drilled(
        self, openings: list[Opening], targets: list[Target], needed: set[int]
    ) -> tuple[Reached | None, set[int]]:
        """A plan for some targets, re-checked, and which of them drills reach.

        Where the re-check refuses a plan, or the pressure loss is still too high after it, larger
        drills than its smallest are tried.
        """
        sizes = self._sizes()
        refused: Reached | None = None
        short: list[Stroke] = []
        reached: set[int] = set()
        above = 0.0
        for _ in range(MOST_SIZES):
            larger = [drill for drill in sizes if drill.diameter > above]
            strokes = [
                stroke
                for n in range(len(targets) if larger else 0)
                for stroke in self.lines.strokes(openings, n, targets, larger)
            ]
            reached = reached.union(*(stroke.clears for stroke in strokes))
            plan = covering(strokes, len(targets), needed)
            if not plan:
                break
            found, larger_may_do = self.recheck.of(plan, self._kept)
            if self._walls_stand(found):
                return found, reached
            if refused is None or (found.rework is not None and refused.rework is None):
                refused = found
            if larger_may_do:
                short = short or (plan if found.after is not None else [])
                above = min(stroke.drill.diameter for stroke in plan)
                self.lines.refused_mm = max(above, self.lines.refused_mm)
            else:  # the wall is what is wrong: another port may spare it
                cutting = {stroke.opening for stroke in plan if stroke.cuts}
                spoilt = cutting or {stroke.opening for stroke in plan}  # one that run-out reaches
                openings = [opening for opening in openings if opening.name not in spoilt]
        else:
            refused = self._tried(refused, sizes, above)
        if short:  # what can be had, though the pressure loss is not kept
            refused, _ = self.recheck.of(short)
        return refused, reached

    @staticmethod
    def _tried(refused: Reached | None, sizes: list[Drill], above: float) -> Reached | None:
        """What was refused, and which sizes were not tried."""
        if refused is None or not any(drill.diameter > above for drill in sizes):
            return refused
        said = f"{refused.why_not}; drills of more than {above:g} mm were not tried"
        return replace(refused, why_not=said)

    def _kept(self, after: PassageVerdict) -> bool:
        """Whether the allowed pressure loss is kept after a plan, if one is given."""
        return self.flow_after is None or self.flow_after(after) in ("met", "not given")

    def does(self, found: Reached) -> bool:
        """Whether there is a plan that leaves wall enough and keeps the pressure loss, if asked."""
        return self._walls_stand(found) and found.after is not None and self._kept(found.after)

    def _walls_stand(self, found: Reached) -> bool:
        """Whether there is a plan that leaves as much wall as must stay."""
        if found.rework is None:
            return False
        walls = (found.rework.wall_left_mm, found.rework.wall_least_mm)
        least = self.case.drilling.min_wall or 0.0
        return all(wall is None or wall >= least for wall in walls)

    # ---- where from ------------------------------------------------------------------------

    def _openings(self) -> tuple[list[Opening], list[str]]:
        """Mouths of the same nominal void that can be entered, own ports first; and those not."""
        void = self.check.predicted(NOMINAL, self.check.checked.pitch_mm).possible
        pitch = self.check.checked.pitch_mm
        own = pieces_at(void, self.check.inlet, pitch)
        ports = [("inlet", self.check.inlet), ("outlet", self.check.outlet)]
        ports += [
            (name, mouth)
            for name, mouth in self.check.checked.mouths.items()
            if mouth is not self.check.inlet
            and mouth is not self.check.outlet
            and pieces_at(void, mouth, pitch) & own
        ]
        entered: list[Opening] = []
        facing: list[str] = []
        for name, mouth in ports:
            if self.case.state.on_platform and mouth.plane.normal[2] < -FACING:
                facing.append(name)
            else:
                moved = moved_mouth(self.lines.predicted, mouth)
                entered.append(Opening(len(entered), name, moved))
        return entered, facing

    @staticmethod
    def _closed_words(facing: list[str]) -> str:
        return (
            f"the part stands on its platform and every opening of the passage faces it "
            f"({', '.join(facing)}): take it off first"
        )

    def _nothing_there(self) -> str:
        """Plans are sought for the first case alone: it may have nothing that others have."""
        said = self.first.variant.said
        if not said or not any(map(self._crossed, self.others)):
            return "no stray metal in the passage narrows it"
        return f"drills are sought for the first case alone, and nothing narrows it there ({said})"

    def _crossed(self, variant: Variant) -> bool:
        """Whether stray metal crosses the passage in a variant."""
        part = self.check.predicted(variant.events, self.check.checked.pitch_mm)
        return bool(self.check.crossed(part, variant).crossings)

    # ---- drills, and what is said ----------------------------------------------------------

    def _sizes(self) -> list[Drill]:
        """Drills whose lower limit of size still meets the requirement, smallest first."""
        shape = math.cos(math.pi / SIDES)  # the re-check's polyhedron is a little smaller
        return [
            d
            for d in self.at_hand
            if d.least >= self.check.required
            and (d.least if d.erodes else d.diameter) * shape >= self.check.required + 1e-3
        ]

    def _ruled_out(self, openings: list[Opening], n: int) -> bool:
        """Whether no straight line to a crossing is wide enough for any tool."""
        return all([self.lines.ruled_out(openings, target) for target in self._targets(n)])

    def _why_not(self) -> str:
        """The nearest miss of every opening, the nearest first, two at most."""
        words = list(dict.fromkeys(miss.words for miss in self._nearest() if miss.words))
        if not self._sizes():
            return f"no drill at hand is large enough for {self.check.required:.2f} mm"
        return "; ".join(words[:2]) or "no straight line leads from an opening to the sheet"

    def _line(self) -> NearestLine | None:
        """The line of the nearest miss that has one."""
        lines = (miss.line for miss in self._nearest() if miss.words)
        return next((line for line in lines if line is not None), None)

    def _settled_by(self) -> tuple[str, ...]:
        """What would do, the nearest first, three at most."""
        told = [miss for miss in self._nearest() if miss.words or not self.lines.without_line]
        said = [miss.settled_by for miss in told if miss.settled_by]
        return tuple(dict.fromkeys(said))[:3]

    def _changes(self) -> tuple[Change, ...]:
        """Lines along which there might be a plan, the widest first; none if one is missing."""
        if self.lines.without_line:
            return ()
        by_room = sorted(self.lines.changes, key=lambda pair: -pair[0])
        return tuple(dict.fromkeys(change for _, change in by_room))

    def _nearest(self) -> list[Miss]:
        return sorted(self.lines.misses, key=lambda miss: -miss.nearness)


def needs_reach(
    states: Iterable[State | None], nominal: PassageVerdict, flow_missed: bool = False
) -> bool:
    """Whether drilling is worth looking at: the passage fails, and not by its design.

    `states`: those of all variants. `flow_missed`: the event may take away that the allowed
    pressure loss is kept.
    """
    fails = flow_missed or any(state is not State.OPEN for state in states)
    return fails and nominal.state is State.OPEN
