"""What a drilling plan leads to: the same check, run again on the part less the drilled bores.

In: a passage's check and the strokes of a plan. Out: `Reached`, with the plan or why it fails.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace

from clearance.drilling.bore import Bore
from clearance.drilling.drilled import Drilled
from clearance.drilling.obstacles import in_the_way
from clearance.drilling.strokes import Reached, Stroke, described
from clearance.drilling.wall_left import (
    Hole,
    Left,
    UntoldError,
    Voids,
    breaks_into,
    wall_left,
    within_void,
)
from clearance.predicted.part import Events, Predicted
from clearance.predicted.variants import Variant
from clearance.result import Rework, State
from clearance.system.once import once
from clearance.verdict.one_variant import PassageVerdict
from clearance.verdict.passage_check import PassageCheck

Kept = Callable[[PassageVerdict], bool]


class Recheck:
    """Re-checks of plans for one passage, in every variant of the event."""

    def __init__(self, check: PassageCheck, first: Variant, others: Sequence[Variant]):
        self.check = check
        self.first, self.others = first, others

    def of(self, plan: list[Stroke], kept: Kept | None = None) -> tuple[Reached, bool]:
        """What a plan leads to, and whether larger drills might do where it fails.

        With `kept`, which tells of the drilled passage whether its pressure loss is kept, a plan
        after which it is not is not looked at to the end: it comes back without `rework`, with
        what it leads to in `after`.
        """
        taken = tuple(stroke.bore for stroke in plan)
        holes = tuple(stroke.hole for stroke in plan)
        cutting = list(self._cutting(holes))
        broken = self._broken(holes, cutting)
        if broken:
            ask = f"the design authority: what may be cut beside {self.check.passage.name}"
            return Reached(None, f"a plan was found, but {broken}", settled_by=(ask,)), False
        first = self._after(self.first, taken)
        if first.state is not State.OPEN:
            said = f"the re-check finds the passage {first.state}: {'; '.join(first.reasons)}"
            return Reached(None, f"a plan was found, but {said}"), True
        if kept is not None and not kept(first):
            said = "the pressure loss would still not surely be kept"
            return Reached(None, f"a plan was found, but {said}", after=first), True
        # Where no wall is cut, it need not be told which wall bounds which void.
        left = wall_left(self._voids, cutting, holes) if cutting else Left()
        cuts = any(stroke.cuts for stroke in plan)
        rework = Rework(
            first.state.value,
            first.way.low_mm,
            tuple(described(stroke) for stroke in plan),
            cuts,
            left.wall_mm if cuts else None,
            left.least_mm,
        )
        whole = self._opens_in_all(plan, taken)
        found = Reached(rework, "", whole_interval=whole, bores=taken, holes=holes, after=first)
        return found, False

    def _opens_in_all(self, plan: Sequence[Stroke], taken: tuple[Bore, ...]) -> bool:
        """Whether a plan opens the passage in all other variants, and nothing stands in its way.

        Where a sheet only adds metal, what holds with all metal that it has at any of its heights
        holds at each of them.
        """
        left = list(self.others)
        for span in self.check.checked.unknowns.spans:
            within = [variant for variant in left if span.holds(variant.events or ())]
            anywhere = Variant(span.events, "")
            if span.still and len(within) > 1 and self._opens(anywhere, plan, taken):
                left = [variant for variant in left if variant not in within]
        return all(self._opens(variant, plan, taken) for variant in _far_apart_first(left))

    def _opens(self, variant: Variant, plan: Sequence[Stroke], taken: tuple[Bore, ...]) -> bool:
        if self._after(variant, taken).state is not State.OPEN:
            return False
        standing = self._standing(variant)
        return not any(in_the_way(self.check.checked, standing, stroke.tool) for stroke in plan)

    def _standing(self, variant: Variant) -> Predicted:
        """The whole part as one variant has it."""
        return self.check.checked.whole.predict(variant.events)

    def _cutting(self, holes: tuple[Hole, ...]) -> Iterator[Events]:
        """Where the part may stand, each place once, if holes may meet its walls there."""
        seen: set[Events] = set()
        for variant in (self.first, *self.others):
            standing = self._standing(variant)
            events = None if standing.in_place else variant.events
            if events not in seen:
                seen.add(events)
                if not all(within_void(standing, hole) for hole in holes):
                    yield variant.events

    def _broken(self, holes: tuple[Hole, ...], places: Iterable[Events]) -> str:
        """Why the holes must not be drilled in some place; empty if nothing speaks against it."""
        for events in places:
            try:
                said = breaks_into(self._voids, events, holes)
            except UntoldError as fault:
                return f"how much wall it would leave cannot be told: {fault}"
            if said:
                return f"it breaks into {said}"
        return ""

    @once
    def _voids(self) -> Voids:
        check = self.check
        return Voids(check.checked, check.inlet, check.outlet, check.nominal.way.route)

    def _after(self, variant: Variant, taken: tuple[Bore, ...]) -> PassageVerdict:
        near = self.check.predicted(variant.events, self.check.checked.pitch_mm)
        drilled = Drilled(near.window, near.events, near.added, taken)
        return replace(self.check.judge_in(drilled, variant), part=drilled)


def _far_apart_first(variants: Sequence[Variant]) -> list[Variant]:
    """Variants in such an order that one that fails is met soon: neighbours are much alike."""
    bits = len(variants).bit_length()
    return [variants[k] for k in sorted(range(len(variants)), key=lambda k: f"{k:0{bits}b}"[::-1])]
