"""Which event explains the part: from readings and suspects to classes and the next measurement.

In: a part that is read, with its [suspected] and [[reading]]s. Out: a `CausesResult`.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from clearance.case.read import Case
from clearance.case.readings import ReadingTable
from clearance.case.suspected import Suspect, Suspected
from clearance.causes import next_one, strength
from clearance.causes.candidates import Candidate, candidates
from clearance.causes.classes import alike
from clearance.causes.information import entropy
from clearance.causes.losses import Losses
from clearance.causes.next_one import DECIDED, Foreseen
from clearance.causes.other_causes import Found, other_causes
from clearance.causes.ranges import Ranges
from clearance.causes.scanned_part import with_scan
from clearance.causes.states import LOOKED_AT, MOST_CHECKS, Outcome, Outcomes
from clearance.causes.weighing import Scales, Weighed
from clearance.causes.worth import Choices, Taken, choices, not_told, worth_now
from clearance.checking import CAUTIONS
from clearance.errors import CaseError
from clearance.predicted.variants import last_layer
from clearance.readings.answer import as_read, u_of
from clearance.readings.likelihood import FALSE_ALARM, coverage, number, uncertainty
from clearance.readings.prediction import Absent, Chance, Measured, Untold
from clearance.readings.together import excluded_by
from clearance.result.causes import (
    CauseClass,
    CausesResult,
    Decision,
    Excluded,
    NextMeasurement,
    NoneOfThese,
    OtherCause,
    ReadingUsed,
    Worth,
)
from clearance.system.once import once
from clearance.verdict.prepared import Checked, Progress, silent
from clearance.verdict.reading_words import called, exclusions, read

Floats = NDArray[np.float64]


MOST_ROUNDS = 6
"""Times that suspects are looked at because pressure losses exclude those that were likely."""
ONE_OF_THEM = (
    "all this holds if one of the suspects is what happened: a good fit does not exclude another "
    "cause"
)


def explain(
    checked: Checked, progress: Progress = silent, most_checks: int = MOST_CHECKS
) -> CausesResult:
    """Say which suspects the readings exclude, how the others compare, and what to measure next.

    Parameters
    ----------
    checked : Checked
        The case as it tells the event.
    progress : callable
    most_checks : int
        Whole checks, at most.

    Raises
    ------
    CaseError
        The case has no [suspected], or a range leaves the part.
    """
    suspected = _on_the_part(checked)
    checked = with_scan(checked, suspected, progress)
    used = [(n, r) for n, r in enumerate(checked.case.reading) if r.stage != "drilled"]
    return _Explained(checked, suspected, used, progress, most_checks).result()


def suspected_of(case: Case) -> Suspected:
    """The suspects of a case.

    Raises
    ------
    CaseError
        It has none.
    """
    if case.suspected is None:
        raise CaseError(
            f"{case.path.name}: [suspected]: the table is missing, expected ranges of the events "
            "that are possible"
        )
    return case.suspected


def _on_the_part(checked: Checked) -> Suspected:
    case, suspected = checked.case, suspected_of(checked.case)
    last = last_layer(case, checked.platform_z, float(checked.bodies.bounds[1, 2]))
    worst = max(one.from_layer for one in suspected.suspects if one.cause == "event")
    if worst > last and case.stray[suspected.stray].shape == "layer":
        raise CaseError(
            f"{case.path.name}: [suspected] from_layer: found {worst}, expected at most {last}, "
            "the last layer that cuts the part"
        )
    return suspected


class _Explained:
    """One run, step by step."""

    def __init__(
        self,
        checked: Checked,
        suspected: Suspected,
        used: Sequence[tuple[int, ReadingTable]],
        progress: Progress,
        most_checks: int,
    ):
        self.checked, self.suspected, self.used = checked, suspected, used
        self.progress = progress
        self.suspects: tuple[Suspect, ...] = suspected.suspects
        self.readings = [reading for _, reading in used]
        self.ranges = Ranges(self.suspects)
        self.prior = np.array([one.weight for one in self.suspects])
        self.scales = Scales(checked, self.suspects, suspected.stray, progress)
        self.outcomes = Outcomes(checked, self.suspects, suspected.stray, most_checks, progress)
        self._weigh(self.scales.weighed(self.readings))
        if any(one.kind == "pressure_loss" for one in self.readings):
            self._with_losses()

    def _with_losses(self) -> None:
        """Weigh pressure losses too, which are told only of what has been looked at.

        Where they exclude what was likely, others are looked at, whose losses are told then.
        """
        known, names = dict(self.found), [p.name for p in self.checked.case.passage]
        results = self.outcomes.results
        for _ in range(MOST_ROUNDS if results else 0):
            before = len(known), len(results)
            losses = Losses(self.scales.forward, names, self.scales.parts, known, results)
            self._weigh(self.scales.with_losses(self.weighed, self.readings, losses))
            known |= self.found
            if (len(known), len(results)) == before:
                break

    def _weigh(self, weighed: Weighed) -> None:
        """What the readings exclude and how they weigh, and the outcomes of what is left."""
        self.weighed = weighed
        self.k = coverage(sum(_is_measured(weighed, n) for n in range(len(self.used))))
        self.kept = np.flatnonzero(
            (weighed.off <= self.k).all(axis=1)
            & np.isfinite(weighed.log_likelihood)
            & (self.prior > 0.0)
        )
        logs = np.full(len(self.suspects), -np.inf)
        logs[self.kept] = weighed.log_likelihood[self.kept]
        self.ratio = strength.ratios(logs) if len(self.kept) else np.zeros(len(logs))
        after = self.prior * self.ratio
        self.after = after / after.sum() if len(self.kept) else after
        self.found: dict[int, Outcome] = (
            self.outcomes.of(self.ratio, self.after, weighed.parts) if len(self.kept) else {}
        )

    def result(self) -> CausesResult:
        """All that is said."""
        misfit = self._none_of_these()
        looked = [n for n in range(len(self.suspects)) if n in self.found]
        money = self._money(looked, misfit.said)
        next_ones, decided = self._next(looked, misfit.said, money)
        return CausesResult(
            part=self.checked.case.part.name,
            pitch_mm=self.checked.pitch_mm,
            suspects=len(self.suspects),
            readings=tuple(self._used(at) for at in range(len(self.used))),
            weighted=self.suspected.weighted,
            k=self.k,
            excluded=self._excluded(),
            classes=self._classes(),
            none_of_these=misfit,
            unknown_bits=entropy(self.after),
            unknown_bits_before=entropy(self.prior),
            decision=decided,
            next=next_ones,
            other_causes=self._others(),
            checks=len(self.outcomes.results),
            looked_at_from=LOOKED_AT,
            decided_below=DECIDED,
            words_from=strength.SCALE_SOURCE,
            assumptions=self._assumptions(next_ones),
            notices=self._notices(looked),
            cautions=CAUTIONS,
            exit_status=self._exit_status(misfit, decided),
            worth=self._worth(looked, money),
            inputs=self.checked.inputs,
        )

    # ---- readings -------------------------------------------------------------------------------

    def _used(self, at: int) -> ReadingUsed:
        """A reading by its place among those that are weighed."""
        n, reading = self.used[at]
        one = as_read(reading)
        what = f"{called(one)}: {read(one)}"
        if not _is_measured(self.weighed, at):
            return ReadingUsed(n, reading.kind, what, None, None, "", self._apart[at])
        u = uncertainty(reading)
        return ReadingUsed(n, reading.kind, what, number(reading), u, one.unit, self._apart[at])

    @once
    def _apart(self) -> list[int | None]:
        """For each reading the number, in the case, of one that it cannot be right beside."""
        apart = excluded_by(self.readings, u_of, self.k)
        return [None if other is None else self.used[other][0] for other in apart]

    def _none_of_these(self) -> NoneOfThese:
        """Misfit of the best; of all suspects where every one is excluded."""
        if not any(_is_measured(self.weighed, n) for n in range(len(self.used))):
            return NoneOfThese(None, 0, None, False)
        rows = self.kept if len(self.kept) else np.arange(len(self.suspects))
        best = int(rows[np.argmax(self.weighed.log_likelihood[rows])])
        chi2, count = self.scales.misfit(best, self.readings, self.weighed)
        p = strength.misfit(chi2, count)
        said = not len(self.kept) or (p is not None and p < FALSE_ALARM)
        return NoneOfThese(chi2 if math.isfinite(chi2) else None, count, p, said)

    def _excluded(self) -> tuple[Excluded, ...]:
        """Suspects by the reading that is farthest off them."""
        off = self.weighed.off
        if not len(self.used):
            return ()
        worst = off.argmax(axis=1)
        found = []
        for n in range(len(self.used)):
            out = np.flatnonzero((worst == n) & (off.max(axis=1) > self.k))
            for nothing in (False, True):
                some = [int(m) for m in out if math.isinf(off[m, n]) == nothing]
                if some:
                    boxes = self.ranges.boxes(self.suspects[m] for m in some)
                    least = None if nothing else float(off[some, n].min())
                    found.append(Excluded(boxes, len(some), self.used[n][0], least))
        return tuple(found)

    # ---- classes --------------------------------------------------------------------------------

    def _classes(self) -> tuple[CauseClass, ...]:
        kept = self.kept.tolist()
        numbers, u = self._numbers(kept)
        also = [
            None if n not in self.found else (self.found[n].states, self.found[n].recommendation)
            for n in kept
        ]
        groups = [[kept[n] for n in one] for one in alike(numbers, u, also)]
        groups.sort(key=lambda one: (-max(self.ratio[n] for n in one), one[0]))
        return tuple(self._class(one) for one in groups)

    def _numbers(self, kept: Sequence[int]) -> tuple[Floats, Floats]:
        """What each suspect predicts for each reading as two numbers, and their uncertainties."""
        weight = self.scales.unknowns.weight
        rows = []
        for n in kept:
            row: list[float] = []
            for told in self.weighed.predictions[self.weighed.parts[n]]:
                if isinstance(told, Measured):
                    row += [float(told.low @ weight), float(told.high @ weight)]
                elif isinstance(told, Chance):
                    row += [told.told, 0.0]
                else:
                    row += [math.nan, math.nan]
            rows.append(row)
        u = [
            uncertainty(r) if _is_measured(self.weighed, n) else 0.0
            for n, r in enumerate(self.readings)
        ]
        return np.array(rows).reshape(len(kept), 2 * len(u)), np.repeat(u, 2)

    def _class(self, members: list[int]) -> CauseClass:
        ratio = float(max(self.ratio[n] for n in members))
        outcome = self.found.get(members[0])
        names = [p.name for p in self.checked.case.passage]
        told = self.weighed.predictions[self.weighed.parts[members[0]]]
        return CauseClass(
            ranges=self.ranges.boxes(self.suspects[n] for n in members),
            count=len(members),
            told=any(self.suspects[n].told for n in members),
            ratio=ratio,
            words=strength.words(ratio),
            chance=float(self.after[members].sum()) if self.suspected.weighted else None,
            states=None if outcome is None else dict(zip(names, outcome.states, strict=True)),
            recommendation=None if outcome is None else outcome.recommendation,
            confirmed=any(n in self.found and self.found[n].confirmed for n in members),
            predicted=tuple(
                one.span(self.scales.unknowns) if isinstance(one, Measured) else None
                for one in told
            ),
        )

    # ---- what next ------------------------------------------------------------------------------

    def _money(self, looked: list[int], none: bool) -> Choices | str | None:
        """What could be done and its costs; why that cannot be told; None without [costs]."""
        table = self.checked.case.costs
        if table is None:
            return None
        if not self.suspected.weighted:
            return "[suspected] weights are not given, without which no chance is told"
        if none or not looked:
            return "no suspect explains the readings"
        found = [self.found[n] for n in looked]
        return choices(table, [Taken(one.recommendation, one.operations) for one in found])

    def _worth(self, looked: list[int], money: Choices | str | None) -> Worth | None:
        if isinstance(money, Choices):
            return worth_now(money, self.after[looked] / self.after[looked].sum())
        return None if money is None else not_told(money)

    def _next(
        self, looked: list[int], none: bool, money: Choices | str | None
    ) -> tuple[tuple[NextMeasurement, ...], Decision]:
        if not looked:
            said = (
                "every suspect is excluded: no recommendation; look again at the readings, at the "
                "ranges, and at the other causes"
            )
            return (), Decision(False, None, 1.0, said)
        weights = self.after[looked] / self.after[looked].sum()
        recommended = [self.found[n].recommendation for n in looked]
        self.progress("what the next measurement would tell")
        shares = self.scales.shares(looked, self.readings, self.weighed)
        best = self.outcomes.results[max(self.outcomes.results, key=lambda n: self.ratio[n])]
        self.scales.look_closer(best)
        known: list[tuple[Candidate, Foreseen]] = []
        for one in candidates(self.checked, best, self.suspected.u_next):
            means, chances = self.scales.foreseen(looked, one.reading, shares)
            if means is not None or chances is not None:
                known.append((one, Foreseen(means, chances)))
        known_costs = money if isinstance(money, Choices) else None
        told = next_one.ranked(weights, recommended, known, known_costs)
        if none:  # between suspects of which none explains the readings there is nothing to decide
            told = tuple(replace(one, decides=False) for one in told)
        columns = zip(*(self.found[n].states for n in looked), strict=True)
        names = [p.name for p in self.checked.case.passage]
        unlike = [name for name, one in zip(names, columns, strict=True) if len(set(one)) > 1]
        return told, next_one.decision(weights, recommended, told, none, unlike)

    def _others(self) -> tuple[OtherCause, ...]:
        height = ReadingTable(kind="part_height", value=0.0, u=1.0)
        nominal = self.scales.forward.nominal(height)
        assert isinstance(nominal, Measured)
        span = nominal.span(self.scales.unknowns)
        layer = self.checked.case.part.layer_thickness
        return other_causes(Found(self.used, span, layer, self.k))

    # ---- words ----------------------------------------------------------------------------------

    def _assumptions(self, next_ones: Sequence[NextMeasurement]) -> tuple[str, ...]:
        said = list(self.checked.assumptions)
        if not self.suspected.weighted:
            said.append("weights are not given: before the readings every suspect weighs the same")
        assumed = {one.kind: one.u for one in next_ones if one.u_assumed}
        if assumed:
            listed = ", ".join(f"{kind} {u:.2g}" for kind, u in assumed.items())
            said.append(f"u_next is not given: standard uncertainties of {listed} (mm, g or mm2)")
        return tuple(dict.fromkeys(said))

    def _notices(self, looked: Sequence[int]) -> tuple[str, ...]:
        said = list(self.checked.notices)
        beside = 1.0 - float(self.after[list(looked)].sum()) if len(looked) else 0.0
        if beside > 1e-3:
            said.append(
                f"suspects each below 1/{1 / LOOKED_AT:.0f} of the best were not looked at; "
                f"together they weigh {beside:.1%} of all"
            )
        held = ", which the case holds possible" if self.suspected.none else ""
        said.append(f"{ONE_OF_THEM}{held}")
        if apart := self._exclusions():
            said.append(apart)
        said += self._untold()
        if not self.used:
            said.append("no reading was weighed: nothing is excluded")
        nothing = int((self.prior == 0.0).sum())
        if nothing:
            said.append(f"{nothing} suspects have the weight 0 and were left out")
        unsure = [n for n in looked if not self.found[n].confirmed]
        if unsure:
            said.append(
                f"{len(unsure)} of {len(looked)} likely suspects were not checked themselves: "
                "their recommendation is that of checked ones with equal states, or undetermined "
                "where these differ or a state is not known"
            )
        return tuple(dict.fromkeys(said))

    def _untold(self) -> Iterator[str]:
        """Readings that tell nothing of some suspects: never silently."""
        told = [self.weighed.predictions[part] for part in self.weighed.parts]
        for at, (n, _) in enumerate(self.used):
            column = (row[at] for row in told)
            why = [one.why for one in column if isinstance(one, Untold)]
            if why:
                most = max(set(why), key=why.count)
                what = f"reading {n + 1} ({self._used(at).what})"
                all_of = (
                    f"all {len(told)}" if len(why) == len(told) else f"{len(why)} of {len(told)}"
                )
                yield f"{what} tells nothing of {all_of} suspects: {most}"

    def _exclusions(self) -> str:
        """Which readings cannot be right together, whatever the event is."""
        return exclusions(
            [
                (n + 1, replace(as_read(one), excluded_by=None if other is None else other + 1))
                for (n, one), other in zip(self.used, self._apart, strict=True)
            ]
        )

    def _exit_status(self, misfit: NoneOfThese, decided: Decision) -> int:
        """3 or 0 where every likely suspect has that status, else 4."""
        statuses = {one.exit_status for one in self.found.values()}
        if misfit.said or len(statuses) != 1:
            return 4
        status = statuses.pop()
        return status if status == 3 or decided.settled else 4


def _is_measured(weighed: Weighed, n: int) -> bool:
    """Whether some suspect says what a value is, or that there is none: it has a u then."""
    return any(isinstance(row[n], Measured | Absent) for row in weighed.predictions)
