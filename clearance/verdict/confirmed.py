"""Which verdicts a second opinion confirms.

In: a case that is judged. Out: for each passage "agrees", "contradicts" or "not-possible", and
why. The opinion itself is `second_opinion`'s. It is asked for by itself up to a fixed size, so that
the same case gives the same result on every machine.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from clearance.predicted.slabs import Event
from clearance.result import Drilling, PassageResult, State, Verified
from clearance.verdict.one_variant import PassageVerdict
from clearance.verdict.passage_check import PassageCheck
from clearance.verdict.prepared import Checked, Progress, silent

if TYPE_CHECKING:
    from clearance.verdict.second_opinion import Opinion, Solids

MOST_VARIANTS = 4
"""More variants of an event than this are not looked at a second time."""
MOST_TRIANGLES = 120_000
SLICES_A_PART = 20
"""Up to so many triangles it is asked for by itself; so many wrong layers count as a part more."""
SMALL_TRIANGLES = 25_000
"""So many, and one more for each column of the check: a small part in a finer mesh is checked so
quickly that a second opinion would cost nearly as much again."""


def not_asked(checked: Checked, verify: bool | None) -> str:
    """Why no second opinion is asked for; empty where it is. None asks by the size alone."""
    if verify is not None:
        return "" if verify else "--no-verify"
    bodies = checked.bodies
    triangles = len(bodies.melted) + sum(map(len, bodies.added_by_stray.values()))
    slices = sum(len(event.slices) for event in checked.unknowns.variants[0].events or ())
    count = round(triangles * (1.0 + slices / SLICES_A_PART))
    columns = checked.whole.grid.count
    most = min(MOST_TRIANGLES, SMALL_TRIANGLES + columns)
    if count <= most:
        return ""
    more = f", counted with {slices} wrong layers as {count}" if slices else ""
    over = f"{most}, for a check of {columns} columns" if most < MOST_TRIANGLES else f"{most}"
    return f"the part has {triangles} triangles{more}, more than {over}; --verify asks"


def verified(
    checked: Checked,
    checks: Sequence[PassageCheck],
    results: Sequence[PassageResult],
    progress: Progress = silent,
) -> tuple[PassageResult, ...]:
    """The results, each with what a second opinion says of its state and of its plan."""
    progress("second opinion: the predicted metal once more, as solids")
    looks = _Looks(checked, any(result.rework is not None for result in results))
    return tuple(looks.at(one, found) for one, found in zip(checks, results, strict=True))


class _Looks:
    """The solids of each variant, built once for all passages."""

    def __init__(self, checked: Checked, planned: bool):
        self.checked, self.planned = checked, planned
        self._solids: dict[tuple[Event, ...], Solids] = {}

    def at(self, check: PassageCheck, result: PassageResult) -> PassageResult:
        """The opinion on one passage over all variants, and on its plan."""
        from clearance.verdict.solids import NotPossibleError

        if result.state is State.UNDETERMINED:
            return _told(result, "not-possible", "undetermined: there is nothing to confirm")
        if len(self.checked.unknowns.variants) > MOST_VARIANTS:
            return _told(result, "not-possible", f"more than {MOST_VARIANTS} variants of the event")
        try:
            for judged in check.judged:
                found = self._opinion(check, judged, result)
                if found.contradiction:
                    told = _told(result, "contradicts", found.contradiction)
                    return replace(told, verified_at_mm=found.where_mm)
        except NotPossibleError as fault:
            return _told(result, "not-possible", str(fault))
        return _told(result, "agrees")

    def _opinion(
        self, check: PassageCheck, judged: PassageVerdict, result: PassageResult
    ) -> Opinion:
        from clearance.verdict.second_opinion import Claim

        solids = self._built(judged.variant.events or ())
        ends, way = (check.inlet, check.outlet), judged.way
        found = solids.opinion(Claim(*ends, way.blocked, way.route, way.low_mm))
        if found.contradiction or result.rework is None:
            return found
        # To the full diameter.
        bores = [
            (
                np.array(one.entry_mm),
                np.array(one.direction),
                one.drill_diameter_mm,
                one.depth_mm - _point(one, self.checked.case.drilling.point_angle),
            )
            for one in result.rework.drilling
        ]
        cuts = result.rework.cuts_wall
        return solids.opinion(Claim(*ends, False, way.route, 0.0, bores, cuts))

    def _built(self, events: tuple[Event, ...]) -> Solids:
        from clearance.verdict.second_opinion import Solids

        if events not in self._solids:
            bodies = self.checked.bodies
            self._solids[events] = Solids(
                bodies.part,
                bodies.melted,
                bodies.overlapping,
                events,
                list(bodies.added_by_stray.values()),
                self.checked.all_mouths,
                self.checked.case.grid.smallest_way,
                self.planned,
            )
        return self._solids[events]


def _told(result: PassageResult, answer: Verified, why: str = "") -> PassageResult:
    said = (f"CONTRADICTED by the second opinion: {why}",) if answer == "contradicts" else ()
    reasons = (*said, *result.reasons)
    return replace(result, reasons=reasons, verified=answer, verified_why=why)


def in_words(results: Sequence[PassageResult]) -> tuple[str, ...]:
    """Which verdicts were confirmed, and what else a second opinion said."""
    agree = [p.name for p in results if p.verified == "agrees"]
    said = [f"solid booleans agree on {', '.join(agree)}"] if agree else []
    words = {"contradicts": "CONTRADICTED", "not-possible": "not possible"}
    said += [
        f"{p.name}: {words[p.verified]}, {p.verified_why}" for p in results if p.verified in words
    ]
    return tuple(said)


def _point(one: Drilling, angle_deg: float) -> float:
    """Length of the point of a drill, mm; an electrode has none."""
    if one.tool == "electrode":
        return 0.0
    return 0.5 * one.drill_diameter_mm / math.tan(math.radians(0.5 * angle_deg))
