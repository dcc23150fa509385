"""One passage over all that is not known of the event: which variants need the exact check.

In: the variants, the exact check of one, and what bounds between heights prove of some. Out: what
is known of each. A state that a bound proves is taken from it; what no bound decides, which of two
states differ, and what the bracket over all variants hangs on, comes from exact checks.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from clearance.predicted.variants import Variant
from clearance.result import State
from clearance.verdict.one_variant import PassageVerdict
from clearance.verdict.states import Bracket, Required, contradicts, state_of

SAME_MM = 1e-4
"""Two proofs that contradict each other by less differ by rounding."""


@dataclass(frozen=True)
class Bound:
    """What is proven of one variant without the exact check: a state and a bracket, mm."""

    state: State
    low_mm: float
    high_mm: float


@dataclass(frozen=True, eq=False)
class Stated:
    """What is known of one variant.

    Attributes
    ----------
    variant : Variant
    state : State or None
        None: not looked at, since two others differ.
    low_mm, high_mm : float
        Its clear diameter lies between.
    judged : PassageVerdict or None
        The exact check, where there was one.
    fault : tuple of str
        Said where two proofs contradict each other.
    """

    variant: Variant
    state: State | None
    low_mm: float
    high_mm: float
    judged: PassageVerdict | None = None
    fault: tuple[str, ...] = ()


class OverVariants:
    """All variants of one passage.

    Parameters
    ----------
    variants : sequence of Variant
        The first is always checked exactly.
    judge : callable
        The exact check.
    bounds : callable
        What is proven of each variant without it; None where nothing is.
    ceiling : callable
        The largest ball that a variant's mouths let in, mm.
    asked : Required
    every : bool
        Every variant is looked at, also where two states differ.
    """

    def __init__(
        self,
        variants: Sequence[Variant],
        judge: Callable[[Variant], PassageVerdict],
        bounds: Callable[[], Sequence[Bound | None]],
        ceiling: Callable[[Variant], float],
        asked: Required,
        every: bool = False,
    ):
        self._judge, self._asked, self._every = judge, asked, every
        self.found = [Stated(v, None, 0.0, 0.0) for v in variants]
        self._bounds: Sequence[Bound | None] = [None] * len(variants)
        self._exactly(0)
        if len(variants) > 1:
            self._bounds = bounds()
            self._state()
        for n, one in enumerate(self.found):
            if one.state is None:
                self.found[n] = replace(one, high_mm=ceiling(one.variant))

    @property
    def states(self) -> set[State]:
        """The states of those looked at."""
        return {one.state for one in self.found if one.state is not None}

    @property
    def judged(self) -> list[PassageVerdict]:
        """Exact checks, that of the first variant first."""
        return [one.judged for one in self.found if one.judged is not None]

    def _state(self) -> None:
        """The state of every variant; once two differ, of those alone that a bound proves."""
        unsettled = []
        for n, bound in enumerate(self._bounds):
            if n == 0:
                continue
            if bound is None or bound.state is State.UNDETERMINED:
                unsettled.append(n)
            else:
                variant = self.found[n].variant
                self.found[n] = Stated(variant, bound.state, bound.low_mm, bound.high_mm)
        first = self.found[0].state
        for n, one in enumerate(self.found):
            if one.state not in (None, first):
                self._exactly(n)  # that two differ is said of exact checks
                if self.found[n].state is not first and not self._every:
                    return
        for n in unsettled:
            self._exactly(n)
            if len(self.states) > 1 and not self._every:
                return

    def sharpen(self, step_mm: float, most_mm: float) -> None:
        """Check exactly what the ends of the bracket over all variants hang on.

        Where all have one state, what is as narrow as any of them tells the lower end, and the
        upper one is that of the exact checks and `step_mm` more, `most_mm` at most: what "between"
        proves of all heights.
        """
        if any(one.state is None for one in self.found):
            return  # nothing is told of those
        if len(self.states) > 1:
            step_mm, most_mm = 0.0, np.inf
        while (n := self._at_an_end(step_mm, most_mm)) is not None:
            self._exactly(n)

    def _at_an_end(self, step_mm: float, most_mm: float) -> int | None:
        """A variant that is only bounded, beyond what is told without it."""
        bounded = [n for n, one in enumerate(self.found) if one.judged is None]
        if not bounded or self.states == {State.BLOCKED}:
            return None
        widest = max(bounded, key=lambda n: self.found[n].high_mm)
        high = max(j.way.high_mm for j in self.judged)
        if self.found[widest].high_mm > min(high + step_mm, most_mm):
            return widest
        narrowest = min(bounded, key=lambda n: self.found[n].low_mm)
        low = min(j.way.low_mm for j in self.judged)
        if len(self.states) > 1 and self.found[narrowest].low_mm < low:
            return narrowest
        return None

    def _exactly(self, n: int) -> None:
        """The exact check of one variant, held against what a bound proves of it."""
        variant, bound = self.found[n].variant, self._bounds[n]
        one = self._judge(variant)
        low, high = one.way.low_mm, one.way.high_mm
        self.found[n] = Stated(variant, one.state, low, high, one)
        if bound is None or contradicts(one.way):
            return
        both = Bracket(max(low, bound.low_mm), min(high, bound.high_mm))
        if both.low_mm > both.high_mm + SAME_MM:
            state, said = state_of(self._asked, both)
            self.found[n] = Stated(variant, state, low, high, one, said)
        elif one.state is State.UNDETERMINED and bound.state is not State.UNDETERMINED:
            self.found[n] = Stated(variant, bound.state, both.low_mm, both.high_mm, one)
