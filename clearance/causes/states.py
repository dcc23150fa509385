"""States and recommendation of every suspect that is still likely, with few checks.

In: a part that is read, and suspects with their likelihood ratios. Out: an `Outcome` for each.
States are the sweep's, by sections and routes first; the recommendation comes from whole checks of
some suspects, and is taken over by those whose states are known and equal, where all that were
checked agree.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from clearance.case.read import Case
from clearance.case.suspected import Suspect, as_stray
from clearance.checking import judge
from clearance.predicted.variants import variants
from clearance.result import Result, State
from clearance.sweeps.near import Near
from clearance.sweeps.passage_sweep import PassageSweep
from clearance.verdict.other_event import with_strays
from clearance.verdict.passage_check import PassageCheck
from clearance.verdict.prepared import Checked, Progress, silent

Floats = NDArray[np.float64]
States = tuple[State, ...]

LOOKED_AT = 1e-3
"""Suspects less likely than this, over the best, are not looked at."""
MOST_CHECKS = 20
"""Whole checks, at most: each costs what `check` costs."""
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
        "undetermined" too where the checked ones of equal states differ, none was checked, or a
        state is not known.
    confirmed : bool
        It was checked itself.
    exit_status : int
        Of its check, or taken over with the recommendation; 4 where that is not told.
    """

    states: States
    recommendation: str
    confirmed: bool
    exit_status: int = 4


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
        self._near: dict[int, Near] = {}

    def of(self, ratio: Floats, same: Sequence[int]) -> dict[int, Outcome]:
        """Outcomes of all suspects that are likely enough.

        Parameters
        ----------
        ratio : (N,) ndarray
            Likelihood over that of the best.
        same : sequence of int, N of them
            Equal numbers for suspects that leave the same part.
        """
        likely = [n for n in np.argsort(-ratio, kind="stable").tolist() if ratio[n] >= LOOKED_AT]
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
            for n in members:
                found[n] = self._outcome(n, states[n], said)
        return {n: found[first[same[n]]] for n in likely}

    def _check_some(self, patterns: dict[tuple[States, str | None, str], list[int]]) -> None:
        """Check the ends of every pattern; what is left goes to those where they differ."""
        for n in self._order(list(patterns.values()))[: self.most_checks]:
            self._check(n)
        for (states, *_), members in patterns.items():
            if self._recommended(states, members)[0] == State.UNDETERMINED.value:
                left = self.most_checks - len(self.results)
                for n in [n for n in members if n not in self.results][: max(left, 0)]:
                    self._check(n)

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
        strays = list(self.checked.case.stray)
        if one.cause == "mesh":
            del strays[self.stray]
        else:
            strays[self.stray] = as_stray(strays[self.stray], one)
        varied = with_strays(self.checked, tuple(strays))
        self.results[number] = judge(varied, verify=False).result

    def _recommended(self, states: States, members: list[int]) -> tuple[str, int]:
        """What all that were checked of a pattern say; undetermined where they differ."""
        if State.UNDETERMINED in states:
            return State.UNDETERMINED.value, 4
        results = [self.results[n] for n in members if n in self.results]
        said = {(_word(one), one.exit_status) for one in results}
        return said.pop() if len(said) == 1 else (State.UNDETERMINED.value, 4)

    def _outcome(self, n: int, states: States, taken_over: tuple[str, int]) -> Outcome:
        result = self.results.get(n)
        if result is None:
            return Outcome(states, taken_over[0], False, taken_over[1])
        own = tuple(p.state for p in result.passages)
        return Outcome(own, _word(result), True, result.exit_status)

    # ---- states ---------------------------------------------------------------------------------

    def _by_sections(self, numbers: list[int]) -> dict[int, States]:
        """States as sections and routes tell them, heights of equal sheets together."""
        groups: dict[tuple[int, int, str | None], list[int]] = {}
        nominal = tuple(check.nominal.state for check in self._passages)
        found: dict[int, States] = {}
        for n in numbers:
            one = self.suspects[n]
            if one.cause == "mesh":
                found[n] = nominal
            else:
                groups.setdefault((one.from_layer, one.layers, one.resume), []).append(n)
        for count, members in enumerate(groups.values()):
            self.progress(f"states of suspects: sheet {count + 1} of {len(groups)}")
            members.sort(key=lambda n: self.suspects[n].height)
            columns = [self._swept(p, members) for p in range(len(self._passages))]
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
                (closer[n][p],) = self._swept(p, [n], exact=True)
        return {n: tuple(states) for n, states in closer.items()}

    def _swept(self, passage: int, members: list[int], exact: bool = False) -> list[State]:
        """States of one passage with one sheet at some rising heights."""
        check = self._passages[passage]
        if passage not in self._near:
            self._near[passage] = Near(check)
        ground = self.checked.platform_z
        bottoms = np.array([self.suspects[n].height + ground for n in members])
        low, high = (float(z) for z in self.checked.bodies.bounds[:, 2])
        inside = bottoms < high - 1e-6
        found: list[set[State]] = [set() for _ in members]
        strays = list(self.checked.case.stray)
        strays[self.stray] = as_stray(strays[self.stray], self.suspects[members[0]])
        case: Case = replace(self.checked.case, stray=tuple(strays))
        for variant in variants(case, low, high).variants:
            events = variant.events or ()
            own = next((k for k, e in enumerate(events) if e.stray == self.stray), None)
            if own is None or not inside.any():
                for states in found:
                    states.add(State.UNDETERMINED)
                continue
            near, at = self._near[passage], bottoms[inside]
            swept = PassageSweep(check, near, events, own, at, exact=exact).run()
            for n, one in zip(np.flatnonzero(inside).tolist(), swept, strict=True):
                found[n].add(one.state)
        return [one.pop() if len(one) == 1 else State.UNDETERMINED for one in found]


def _word(result: Result) -> str:
    return (
        State.UNDETERMINED.value
        if result.disposition is None
        else (result.disposition.recommendation)
    )
