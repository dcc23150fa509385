"""Circuits that must stay apart: whether they still do.

In: the checks of two circuits' passages and the gaps of loose powder. Out: `SeparateResult`.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from typing import Literal

import numpy as np

from clearance.errors import GridError
from clearance.passages.hidden import Hidden
from clearance.passages.search import Search
from clearance.predicted.part import NOMINAL, Predicted
from clearance.predicted.variants import Variant
from clearance.result import Apart, SeparateResult, Unmelted
from clearance.result.passage import plain
from clearance.verdict.passage_check import FINER, PassageCheck
from clearance.verdict.prepared import Checked, Progress


def separate(
    checked: Checked, checks: Sequence[PassageCheck], gaps: list[Unmelted], progress: Progress
) -> tuple[SeparateResult, ...]:
    """Judge every pair of circuits of every [[separate]] table."""
    by_name = {c.passage.name: c for c in checks}
    found = []
    for table in checked.case.separate:
        for a, b in itertools.combinations(table.passages, 2):
            progress(f"{a} and {b}: still apart?")
            found.append(_pair(checked, by_name[a], by_name[b], gaps))
    return tuple(found)


def _pair(
    checked: Checked, a: PassageCheck, b: PassageCheck, gaps: list[Unmelted]
) -> SeparateResult:
    names = (a.passage.name, b.passage.name)
    as_drawn = _joined(checked, a, b, Variant(NOMINAL, ""))
    nominal = as_drawn[0]
    states: list[Apart] = []
    where = None
    for variant in checked.unknowns.variants:
        changed = variant.events or checked.bodies.added_by_stray
        found, at = _joined(checked, a, b, variant) if changed else as_drawn
        where = at if at is not None and where is None else where
        states.append(found)
    state: Apart = states[0] if len(set(states)) == 1 else "undetermined"
    spans = [s for s in checked.unknowns.spans if any(e.spread > 0.0 for e in s.events)]
    if state == "apart" and spans and (nominal != "apart" or not all(s.goes_on for s in spans)):
        state = "undetermined"  # between the heights that were looked at they may be joined
    gap = next((g for g in gaps for j in g.joins if set(names) <= set(j)), None)
    if state == "apart" and gap is not None:
        return SeparateResult(names, "undetermined", gap.where_mm, "unmelted", nominal)
    through: Literal["void"] | None = "void" if state != "apart" else None
    return SeparateResult(names, state, where, through, nominal)


def _joined(
    checked: Checked, a: PassageCheck, b: PassageCheck, variant: Variant
) -> tuple[Apart, tuple[float, float, float] | None]:
    """Whether the voids of two circuits are one, at finer pitches while that is not clear."""
    pitch = checked.pitch_mm
    ends = (a.inlet, a.outlet, b.inlet, b.outlet)
    for _ in range(1 + FINER):
        try:
            window = checked.wide_window(ends, pitch, variant.events)
            predicted = window.predict(variant.events)
            void = predicted.possible
        except GridError:
            break
        hidden = Hidden(predicted, checked.all_mouths, checked.case.grid.smallest_way)
        each = hidden.behind_each(void)
        ours, theirs = (
            {mouth.name: hidden.behind(void, {mouth.name}, each) for mouth in (c.inlet, c.outlet)}
            for c in (a, b)
        )
        occupied = [
            hidden.grown(void, set.union(*found.values()) | _route_pieces(predicted, c), each)
            for found, c in ((ours, a), (theirs, b))
        ]
        if not occupied[0] & occupied[1]:
            return "apart", None
        for mouth_a in (a.inlet, a.outlet):
            for mouth_b in (b.inlet, b.outlet):
                if not (ours[mouth_a.name] & theirs[mouth_b.name]) - {void.outside}:
                    continue
                way = Search(
                    predicted,
                    mouth_a,
                    mouth_b,
                    checked.all_mouths,
                    [],
                    checked.case.grid.smallest_way,
                ).way()
                if way.low_mm > 0.0 and not way.leak:
                    return "joined", None if way.throat is None else plain(way.throat)
        pitch *= 0.5
    return "undetermined", None


def _route_pieces(predicted: Predicted, check: PassageCheck) -> set[int]:
    """Pieces that a circuit occupies: those along its nominal way, cut off by sheets or not."""
    route = np.array([predicted.moved(p) for p in check.nominal.way.route])
    return predicted.possible.pieces_at(route) if len(route) else set()
