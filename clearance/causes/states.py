"""States and recommendation of every suspect that is still likely, with few checks.

In: a part that is read, and suspects with their likelihood ratios. Out: an `Outcome` for each.
States are the sweep's, by sections and routes first; the recommendation comes from whole checks of
some suspects, and is taken over by those whose states are known and equal, where all that were
checked agree.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from clearance.case.suspected import Suspect, as_stray
from clearance.checking import judge
from clearance.predicted.variants import Variant
from clearance.result import Result, State
from clearance.sweeps.drills import REACH_MM
from clearance.sweeps.near import Near, melts_the_same
from clearance.sweeps.passage_sweep import PassageSweep
from clearance.system.once import once
from clearance.verdict.other_event import with_strays
from clearance.verdict.passage_check import PassageCheck
from clearance.verdict.prepared import Checked, Progress, silent

Floats = NDArray[np.float64]
States = tuple[State, ...]

LOOKED_AT = 1e-3
"""Suspects less likely than this, over the best, are not looked at."""
LEFT_OUT = 0.01
"""But what is not looked at weighs no more than this, all together: very many that are unlikely one
by one, or whose weight was high before, may be likely together."""
MOST_CHECKS = 20
"""Whole checks, at most: each costs what `check` costs."""
UNKNOWN = (State.UNDETERMINED.value, 4)
"""Recommendation and exit status of what is not known."""
MOST_EXACT = 100
"""States that sections do not tell and that are looked at more closely, at most: each costs a
search."""


@dataclass(frozen=True)
class Outcome:
    """What would be found and recommended if a suspect were the event.

    Attributes
    ----------
    states : tuple of State
        Of each passage in the case's order; undetermined where the sweep's means do not tell.
    recommendation : str
        "undetermined" too where the checked ones of equal states differ, none was checked at a
        height near by, or a state is not known.
    confirmed : bool
        It was checked itself.
    exit_status : int
        Of its check, or taken over with the recommendation; 4 where that is not told.
    operations : int or None
        Drilling operations of its plans, likewise; None where none is or their number is not told.
    """

    states: States
    recommendation: str
    confirmed: bool
    exit_status: int = 4
    operations: int | None = None


class Outcomes:
    """Outcomes of the suspects of one case.

    Parameters
    ----------
    checked : Checked
        The case as it tells the event.
    suspects : sequence of Suspect
    stray : int
        Number of the stray sheet that each replaces.
    most_checks : int
    """

    def __init__(
        self,
        checked: Checked,
        suspects: Sequence[Suspect],
        stray: int,
        most_checks: int = MOST_CHECKS,
        progress: Progress = silent,
    ):
        self.checked, self.suspects, self.stray = checked, suspects, stray
        self.most_checks, self.progress = most_checks, progress
        self.results: dict[int, Result] = {}
        self._passages = [PassageCheck(checked, p) for p in checked.case.passage]
        self._near: dict[tuple[bool, int], Near] = {}

    def of(self, ratio: Floats, after: Floats, same: Sequence[int]) -> dict[int, Outcome]:
        """Outcomes of all suspects that are likely enough.

        Parameters
        ----------
        ratio : (N,) ndarray
            Likelihood over that of the best.
        after : (N,) ndarray
            Weight after the readings; all add up to 1.
        same : sequence of int, N of them
            Equal numbers for suspects that leave the same part.
        """
        wanted = likely_enough(ratio, after)
        likely = [n for n in np.argsort(-ratio, kind="stable").tolist() if wanted[n]]
        first: dict[int, int] = {}
        for n in likely:
            first.setdefault(same[n], n)
        states = self._by_sections(list(first.values()))
        patterns: dict[tuple[States, str | None, str], list[int]] = {}
        for n in first.values():
            key = (states[n], self.suspects[n].resume, self.suspects[n].cause)
            patterns.setdefault(key, []).append(n)
        self._check_some(patterns)
        found = {}
        for members in patterns.values():
            said = self._recommended(states[members[0]], members)
            far = self._far(members)
            counts = {_operations(self.results[n]) for n in members if n in self.results}
            count = counts.pop() if len(counts) == 1 else None
            for n in members:
                found[n] = self._outcome(n, states[n], UNKNOWN if n in far else said, count)
        return {n: found[first[same[n]]] for n in likely}

    def _check_some(self, patterns: dict[tuple[States, str | None, str], list[int]]) -> None:
        """Check the ends of every pattern; what is left goes to those where they differ."""
        for n in self._order(list(patterns.values())):
            if n not in self.results and len(self.results) < self.most_checks:
                self._check(n)
        for members in patterns.values():
            while len(self.results) < self.most_checks and (far := self._far(members)):
                self._check(max(far, key=lambda n: far[n]))
        for (states, *_), members in patterns.items():
            if self._recommended(states, members)[0] == State.UNDETERMINED.value:
                left = self.most_checks - len(self.results)
                for n in [n for n in members if n not in self.results][: max(left, 0)]:
                    self._check(n)

    def _far(self, members: list[int]) -> dict[int, float]:
        """Members too far from all heights of theirs that were checked, and how far, mm.

        A drill may reach what lies low from below and what lies high from above, and nothing
        between.
        """
        height = {n: self.suspects[n].height for n in members}
        known = [height[n] for n in members if n in self.results]
        far = {n: min((abs(height[n] - z) for z in known), default=np.inf) for n in members}
        return {n: mm for n, mm in far.items() if mm > 0.5 * REACH_MM}

    def _order(self, patterns: list[list[int]]) -> list[int]:
        """Whom to check first: the best of each pattern, then the ends of each.

        The patterns come with their best first, which is the likeliest of all in the first one.
        """
        wanted = [members[0] for members in patterns]
        for members in patterns:
            by_height = sorted(members, key=lambda n: (self.suspects[n].height, n))
            by_layers = sorted(members, key=lambda n: (self.suspects[n].layers, n))
            wanted += [by_height[0], by_height[-1], by_layers[0], by_layers[-1]]
        return list(dict.fromkeys(wanted))

    def _check(self, number: int) -> None:
        one = self.suspects[number]
        self.progress(f"check {len(self.results) + 1} of a suspect")
        self.results[number] = judge(self._as(one), verify=False).result

    def _as(self, one: Suspect) -> Checked:
        """The case with a suspect in place of the event as told."""
        strays = list(self.checked.case.stray)
        if one.cause == "mesh":
            del strays[self.stray]
        else:
            strays[self.stray] = as_stray(strays[self.stray], one)
        return with_strays(self.checked, tuple(strays))

    def _recommended(self, states: States, members: list[int]) -> tuple[str, int]:
        """What all that were checked of a pattern say; undetermined where they differ."""
        if State.UNDETERMINED in states:
            return UNKNOWN
        results = [self.results[n] for n in members if n in self.results]
        said = {(_word(one), one.exit_status) for one in results}
        return said.pop() if len(said) == 1 else UNKNOWN

    def _outcome(
        self, n: int, states: States, taken_over: tuple[str, int], operations: int | None
    ) -> Outcome:
        result = self.results.get(n)
        if result is None:
            return Outcome(states, taken_over[0], False, taken_over[1], operations)
        own = tuple(p.state for p in result.passages)
        return Outcome(own, _word(result), True, result.exit_status, _operations(result))

    # ---- states ---------------------------------------------------------------------------------

    def _by_sections(self, numbers: list[int]) -> dict[int, States]:
        """States as sections and routes tell them, heights of equal sheets together."""
        groups: dict[Hashable, list[int]] = {}
        nominal = tuple(check.nominal.state for check in self._passages)
        found: dict[int, States] = {}
        for n in numbers:
            one = self.suspects[n]
            if one.cause == "mesh":
                found[n] = nominal
                continue
            # With the [[stray]]'s own next_layer each height lifts what lies above by another way.
            height = one.height if one.resume is None else None
            groups.setdefault((one.from_layer, one.layers, one.resume, height), []).append(n)
        for count, members in enumerate(groups.values()):
            self.progress(f"states of suspects: sheet {count + 1} of {len(groups)}")
            members.sort(key=lambda n: self.suspects[n].height)
            columns = self._swept(range(len(self._passages)), members)
            for n, states in zip(members, zip(*columns, strict=True), strict=True):
                found[n] = states
        return self._looked_closer(found)

    def _looked_closer(self, found: dict[int, States]) -> dict[int, States]:
        """The same, states that sections do not tell judged as `check` does, if they are few."""
        passages = range(len(self._passages))
        unknown = [(n, p) for n in found for p in passages if found[n][p] is State.UNDETERMINED]
        if len(unknown) > MOST_EXACT:
            return found
        closer = {n: list(states) for n, states in found.items()}
        for count, (n, p) in enumerate(unknown):
            self.progress(f"state {count + 1} of {len(unknown)} that sections do not tell")
            if self.suspects[n].cause == "event":
                ((closer[n][p],),) = self._swept([p], [n], exact=True)
        return {n: tuple(states) for n, states in closer.items()}

    def _swept(
        self, passages: Iterable[int], members: list[int], exact: bool = False
    ) -> list[list[State]]:
        """States of some passages with one sheet at some rising heights."""
        every = self._as(self.suspects[members[0]]).unknowns.variants
        return [self._of_passage(p, every, members, exact) for p in passages]

    def _of_passage(
        self, passage: int, every: Sequence[Variant], members: list[int], exact: bool
    ) -> list[State]:
        ground = self.checked.platform_z
        bottoms = np.array([self.suspects[n].height + ground for n in members])
        inside = bottoms < float(self.checked.bodies.bounds[1, 2]) - 1e-6
        cheap = not self.checked.bodies.added_by_stray
        found: list[set[State]] = [set() for _ in members]
        for variant in every:
            events = variant.events or ()
            own = next((k for k, e in enumerate(events) if e.stray == self.stray), None)
            if own is None or not inside.any():
                for states in found:
                    states.add(State.UNDETERMINED)
                continue
            check, near = self._sections(passage, melts_the_same(events))
            swept = PassageSweep(check, near, events, own, bottoms[inside], cheap, exact).run()
            for n, one in zip(np.flatnonzero(inside).tolist(), swept, strict=True):
                found[n].add(one.state)
        return [one.pop() if len(one) == 1 else State.UNDETERMINED for one in found]

    def _sections(self, passage: int, still: bool) -> tuple[PassageCheck, Near]:
        """A passage and its sections; where what lies above moves, with room for all moves."""
        check = self._passages[passage] if still else self._moving[passage]
        key = (still, passage)
        if key not in self._near:
            if not still:  # sections of every height count where the part is cut there
                check.window(self.checked.pitch_mm).region = None
            self._near[key] = Near(check)
        return check, self._near[key]

    @once
    def _moving(self) -> list[PassageCheck]:
        """The passages of a case that leaves open how far what lies above a sheet moves."""
        every = [self._as(one).unknowns for one in self._farthest() if one.cause == "event"]
        variants = tuple(variant for one in every for variant in one.variants)
        checked = self._as(self.suspects[0])
        checked = replace(checked, unknowns=replace(checked.unknowns, variants=variants))
        return [PassageCheck(checked, p) for p in checked.case.passage]

    def _farthest(self) -> Iterator[Suspect]:
        """Suspects that lift what lies above farthest, and that lower it farthest."""
        events = [one for one in self.suspects if one.cause == "event"]
        layer = self.checked.case.part.layer_thickness
        for way in {one.resume for one in events}:
            some = [one for one in events if one.resume == way]
            yield max(some, key=lambda one: one.height + one.layers * layer)
            yield min(some, key=lambda one: one.height + one.layers * layer)
            yield max(some, key=lambda one: one.layers)


def likely_enough(ratio: Floats, after: Floats) -> NDArray[np.bool_]:
    """Which suspects are looked at: the likely ones, and so many that few are left out.

    Parameters
    ----------
    ratio, after : (N,) ndarray
        Likelihood over that of the best; weight after the readings, which add up to 1.
    """
    wanted: NDArray[np.bool_] = ratio >= LOOKED_AT
    heaviest = np.argsort(-after, kind="stable")
    before = np.cumsum(after[heaviest]) - after[heaviest]
    wanted[heaviest[before < 1.0 - LEFT_OUT]] = True
    return wanted


def _operations(result: Result) -> int | None:
    """Drilling operations of all plans; None where there is none."""
    return sum(len(p.rework.drilling) for p in result.passages if p.rework is not None) or None


def _word(result: Result) -> str:
    return (
        State.UNDETERMINED.value
        if result.disposition is None
        else (result.disposition.recommendation)
    )
