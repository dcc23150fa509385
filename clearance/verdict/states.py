"""Which state a passage has: one rule for check, sweep, margins and plate.

In: what a passage has to meet, a bracket of its clear diameter and what is known of its
crossings. Out: the state, and why. Pure: it looks at nothing but what it is given.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Protocol

from clearance.result import State
from clearance.verdict.numbers import given, least, level, most, no_more

Verdict = tuple[State, tuple[str, ...]]


class Bracketed(Protocol):
    """What is proven of the widest way: the largest ball that passes lies in [low, high], mm.

    `leak`: the void may reach the outside through a mouth that the case does not name.
    """

    @property
    def low_mm(self) -> float:
        """A ball so large passes."""

    @property
    def high_mm(self) -> float:
        """No larger ball passes; 0 if no way exists."""

    @property
    def leak(self) -> bool:
        """Whether the way may lead through the outside."""


@dataclass(frozen=True)
class Bracket:
    """A bracket by itself."""

    low_mm: float
    high_mm: float
    leak: bool = False


@dataclass(frozen=True)
class Required:
    """What a passage has to meet.

    Attributes
    ----------
    clear_mm : float
        Clear diameter, allowances included.
    smallest_mm : float
        A narrower way counts as none.
    every_branch : bool
        A sealed branch fails the passage.
    open_fraction : float or None
        Least open fraction of every crossing on the way.
    open_together : float or None
        Least share that all channels side by side at one sheet leave open, together.
    spare_mm : float
        What the true surface may take off or add, of a part that is no mesh.
    """

    clear_mm: float
    smallest_mm: float
    every_branch: bool = False
    open_fraction: float | None = None
    open_together: float | None = None
    spare_mm: float = 0.0

    @property
    def areas(self) -> bool:
        """Whether anything is asked of open areas."""
        return self.open_fraction is not None or self.open_together is not None


@dataclass(frozen=True)
class Seen:
    """What is known of the crossings of a passage.

    Attributes
    ----------
    sealed : tuple of float, or None
        Heights above the platform, as all here, of sealed crossings that lie on a way from inlet
        to outlet, mm; None: some crossing is or may be sealed, and whether it lies on a way is
        not known.
    fractions : tuple of (height, open fraction)
    sampled : tuple of float
        Heights of crossings whose open fraction may be less than that.
    aside : tuple of int
        Numbers among `fractions` of crossings of other branches: named only if no other fails.
    ahead : bool
        Stray metal stands in front of inlet or outlet: no crossing tells what it leaves open.
    together : tuple of (height, least, greatest), or None
        Open share of the channels side by side at one sheet; None: not told.
    """

    sealed: tuple[float, ...] | None = ()
    fractions: tuple[tuple[float, float], ...] = ()
    sampled: tuple[float, ...] = ()
    aside: tuple[int, ...] = ()
    ahead: bool = False
    together: tuple[tuple[float, float, float], ...] | None = None


NOTHING = Seen()


def failing(required: Required, crossed: Seen) -> list[int]:
    """Numbers of the crossings that leave less of their area than is required."""
    least = required.open_fraction
    return [] if least is None else [n for n, (_, f) in enumerate(crossed.fractions) if f < least]


def state_of(
    required: Required,
    way: Bracketed,
    crossed: Seen = NOTHING,
    around: Callable[[], Bracketed] | None = None,
    unseen: Callable[[], tuple[float, ...]] | None = None,
    spare_mm: float = 0.0,
) -> Verdict:
    """The state of a passage and the reasons.

    Parameters
    ----------
    required : Required
    way : Bracketed
        The widest way.
    crossed : Seen
    around : callable, optional
        The widest way that uses no crossing which leaves too little of its area; asked for only if
        it matters. Without it that is not told.
    unseen : callable, optional
        Heights above the platform of stray metal that may shut a branch although level sections
        show it open; asked for only if it matters.
    spare_mm : float
        A requirement so near an end of the bracket is not told from it.
    """
    spare_mm += required.spare_mm
    state, reasons = _by_width(required, way, crossed, spare_mm)
    few = failing(required, crossed)
    if state is not State.OPEN:
        return state, reasons
    if few:
        named = [n for n in few if n not in crossed.aside] or few
        said = [crossed.fractions[n] for n in named]
        state, reasons = _around(required, said, around, spare_mm)
        if state is not State.OPEN:
            return state, reasons
    shared = _together(required, crossed)
    if shared is not None and shared[0] is State.RESTRICTED:
        return shared
    if unseen is not None and (required.every_branch or required.areas):
        hidden = tuple(
            f"the stray metal from {level([z])} mm on may shut a branch unseen: it slants across, "
            "or stands from floor to ceiling of a level run, and level sections show parts of it "
            "only"
            for z in unseen()
        )
        if hidden:
            return State.UNDETERMINED, hidden
    if required.areas and crossed.ahead:
        ahead = "stray metal stands in front of an opening, and how much of its area that leaves "
        return State.UNDETERMINED, (ahead + "open is not computed",)
    if shared is not None:
        return shared
    passed = {z for n, (z, _) in enumerate(crossed.fractions) if n not in few}
    sampled = [z for z in crossed.sampled if z in passed]
    if required.areas and sampled:
        return State.UNDETERMINED, tuple(
            f"the crossing at {level([z])} mm was looked at between some of the measured metal's "
            f"vertices only, and may leave less of its area open than was seen"
            for z in sampled
        )
    return state, reasons


def _together(required: Required, crossed: Seen) -> Verdict | None:
    """By what the channels side by side at one sheet leave open together; None: enough."""
    need = required.open_together
    if need is None:
        return None
    if crossed.together is None:
        return State.UNDETERMINED, ("what channels side by side leave open together is not told",)
    short = [(z, low, high) for z, low, high in crossed.together if low < need]
    missed = [(z, high) for z, _, high in short if high < need]
    if missed:
        return State.RESTRICTED, tuple(
            f"the channels side by side at {level([z])} mm leave {most(share, need)} of their area "
            f"open together at most, {given(need)} required"
            for z, share in missed
        )
    if not short:
        return None
    return State.UNDETERMINED, tuple(
        f"the channels side by side at {level([z])} mm leave {least(low)} to {most(high)} of their "
        f"area open together, {given(need)} required: which of them lie on a way is not told"
        for z, low, high in short
    )


def contradicts(way: Bracketed) -> bool:
    """Whether two proofs contradict each other: a ball passes that none as large can."""
    return way.low_mm > way.high_mm


def _by_width(required: Required, way: Bracketed, crossed: Seen, spare_mm: float) -> Verdict:
    """By the clear diameter, and by branches."""
    need = required.clear_mm
    needs = f"{given(need)} mm required"
    if contradicts(way):
        return State.UNDETERMINED, (
            f"two proofs contradict each other: a ball of {way.low_mm:.4f} mm passes, and none "
            f"larger than {way.high_mm:.4f} mm can; an internal fault, please report it",
        )
    if way.high_mm == 0.0:
        return State.BLOCKED, ("no way from inlet to outlet is left",)
    if way.leak:
        return State.UNDETERMINED, (
            "the void behind the ports also reaches the outside through an opening that the case "
            "does not name; name it under [[closed]]",
        )
    if way.low_mm >= need + spare_mm:
        return _wide_enough(required, way, crossed)
    if way.high_mm < need - spare_mm and way.low_mm >= required.smallest_mm:
        return State.RESTRICTED, (f"{no_more(way.high_mm, need)} mm passes, {needs}",)
    low, high = least(way.low_mm, need), most(way.high_mm, need)
    return State.UNDETERMINED, (f"the clear diameter lies between {low} and {high} mm, {needs}",)


def _wide_enough(required: Required, way: Bracketed, crossed: Seen) -> Verdict:
    if crossed.sealed is None:
        if required.every_branch:
            said = "every branch is required, and whether a sealed crossing lies on one is not told"
            return State.UNDETERMINED, (said,)
        heights: tuple[float, ...] = ()
    else:
        heights = crossed.sealed
    if required.every_branch and heights:
        return State.RESTRICTED, tuple(
            f"every branch is required and {those}"
            for those in _at(heights, "is sealed", "are sealed")
        )
    passes, needs = least(way.low_mm, required.clear_mm), given(required.clear_mm)
    return State.OPEN, (
        f"a ball of {passes} mm passes, {needs} mm required",
        *_at(
            heights,
            "is sealed, but the flow passes it by",
            "are sealed, but the flow passes them by",
        ),
    )


def _at(heights: Iterable[float], one: str, several: str) -> list[str]:
    """Crossings by their height, equal ones together, and what is said of one and of several."""
    count = Counter(level([z]) for z in heights)
    return [
        f"the crossing at {z} mm {one}" if n == 1 else f"{n} crossings at {z} mm {several}"
        for z, n in count.items()
    ]


def _around(
    required: Required,
    few: list[tuple[float, float]],
    around: Callable[[], Bracketed] | None,
    spare_mm: float,
) -> Verdict:
    """Of several ways only one whose every crossing leaves enough of its area will do."""
    need = required.open_fraction or 0.0
    by_share: dict[str, list[float]] = {}
    for z, share in few:
        by_share.setdefault(least(share, need), []).append(z)
    reasons = tuple(
        f"{those}, {given(need)} required"
        for share, heights in by_share.items()
        for those in _at(heights, f"leaves {share} of its area", f"leave {share} of their areas")
    )
    if around is None:
        return State.UNDETERMINED, reasons
    other = around()
    state, said = _by_width(required, other, NOTHING, spare_mm)
    if state is State.OPEN or (state is State.UNDETERMINED and other.high_mm > 0.0):
        return state, said
    return State.RESTRICTED, reasons
