"""The table of passages, the gravest first.

In: a `Result`. Out: lines of text that fit a width. Where a table has no room, as on a narrow
terminal, every passage is a short paragraph. Equal rows are one, with all their names.
"""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from clearance.disposition.order_of_work import MOST_CHANGES
from clearance.report.drilling import by_electrode, wall_words
from clearance.report.headline import (
    Extents,
    clear_diameter,
    crossed,
    extents,
    gravest_first,
    missed_loss,
    one_height,
)
from clearance.result import PassageResult, Result, State
from clearance.verdict.names import listed, runs_of_names
from clearance.verdict.numbers import counted, given, least, span

Paint = Callable[[str, str], str]
"""Takes a word and the state it tells; returns the word, perhaps coloured."""
HEADS = ("passage", "state", "clear, mm", "required", "where and why")
LONGEST_NAME, LEAST_REASONS = 24, 24
"""Columns of the first and the last cell: names are wrapped so that reasons have room."""
MOST_ROWS = 10
"""Rows of a short table; where there were more, passages of one kind are one row."""
MOST_OPEN = 4
"""Open passages of which there is nothing to say that have a row each; more are one row."""


def plain(word: str, _state: str) -> str:
    """Colour nothing."""
    return word


@dataclass(frozen=True)
class Row:
    """One row: a passage, or several of which the same is to be said."""

    name: str
    state: State
    clear: str
    required: str
    why: str


def table(result: Result, width: int, paint: Paint = plain, every: bool = False) -> list[str]:
    """The passages, a row each, as lines.

    Parameters
    ----------
    result : Result
    width : int
        Columns to keep within.
    paint : callable
    every : bool
        A row for every passage and all reasons; else equal rows are one, and the heights of an
        only sheet stand in the head.
    """
    once = "" if every else one_height(result)
    rows = _each(result, True) if every else _grouped(result, bool(once))
    cells = [(r.name, r.state.value, r.clear, r.required, r.why) for r in rows]
    heads = (*HEADS[:-1], f"why (sheet at {once})") if once else HEADS
    widths = [max(len(cell[n]) for cell in (heads, *cells)) for n in range(4)]
    others = sum(widths[1:]) + 2 * len(widths)
    longest = max(len(word) for name, *_ in cells for word in name.split())
    widths[0] = min(widths[0], max(LONGEST_NAME, longest), width - others - LEAST_REASONS)
    if widths[0] < min(longest, LONGEST_NAME):
        rows = rows if every else _grouped(result)
        return [line for row in rows for line in _paragraph(row, width, paint)]
    left = widths[0] + others
    lines = _row(heads, widths, left, width, plain)
    for cell in cells:
        lines += _row(cell, widths, left, width, paint)
    return lines


def _each(result: Result, every: bool, told: bool = False) -> list[Row]:
    sheets = extents(result)
    drilled = "" if result.disposition is None else result.disposition.recommendation
    return [
        Row(
            p.name,
            p.state,
            clear_diameter(p.clear_diameter_mm, p.required_mm),
            given(p.required_mm),
            why(p, sheets, every, drilled, told),
        )
        for p in gravest_first(result.passages)
    ]


def _grouped(result: Result, told: bool = False) -> list[Row]:
    """Rows of which the same is to be said become one; of many rows those of one kind."""
    passages = {p.name: p for p in result.passages}
    rows = {row.name: row for row in _each(result, False, told)}
    quiet = sum(row.state is State.OPEN and not row.why for row in rows.values())

    def by(kind: Callable[[Row], str]) -> list[list[str]]:
        alike: dict[tuple[str, ...], list[str]] = {}
        for row in rows.values():
            apart = row.name if not row.why and quiet <= MOST_OPEN else ""
            alike.setdefault((row.state, row.required, kind(row), apart), []).append(row.name)
        return list(alike.values())

    groups = by(lambda row: row.why)
    if len(groups) > MOST_ROWS:
        groups = by(lambda row: _kind(passages[row.name], row))
    return [_together([(passages[name], rows[name]) for name in names]) for names in groups]


def _kind(passage: PassageResult, row: Row) -> str:
    """What passages of a long table have in common; of what is grave nothing is put together."""
    grave = passage.verified == "contradicts" or passage.state is State.UNDETERMINED
    if grave or passage.nominal_state in (State.BLOCKED, State.RESTRICTED):
        return row.why
    if row.state is State.OPEN and not row.why:
        return ""
    return "planned" if passage.rework is not None else "not planned"


def _together(rows: Sequence[tuple[PassageResult, Row]]) -> Row:
    passages, told = [p for p, _ in rows], [row for _, row in rows]
    worst, row = min(rows, key=lambda one: one[0].clear_diameter_mm.low)
    if len(rows) == 1:
        return row
    low = min(p.clear_diameter_mm.low for p in passages)
    high = max(p.clear_diameter_mm.high for p in passages)
    name = listed(runs_of_names([p.name for p in passages]))
    if row.state is State.OPEN and not row.why and len(name) > LONGEST_NAME:
        name = counted(len(rows), "passage")
    why = row.why
    if len({one.why for one in told}) > 1:
        why = f"the worst, {worst.name}: {why}"
    return Row(name, row.state, span(low, high, worst.required_mm), row.required, why)


# ---- words of a row --------------------------------------------------------------------------


def why(
    passage: PassageResult,
    sheets: Extents,
    every: bool = False,
    decided: str = "",
    told: bool = False,
) -> str:
    """Where a passage suffers and why, and what reopens it.

    Parameters
    ----------
    passage : PassageResult
    sheets : mapping
        As `extents` gives them.
    every : bool
        Also why there is no plan, and what is needed to decide.
    decided : str
        The recommendation: on scrap no plan is told, on an undetermined result none is followed.
    told : bool
        The heights of the sheet stand elsewhere.
    """
    parts = [_against(passage)]
    if passage.state is not State.OPEN:
        parts.append(crossed(passage, sheets, told))
    if passage.nominal_state in (State.BLOCKED, State.RESTRICTED):
        parts.append("the nominal part misses the requirement already")
    parts += [*_reasons(passage), missed_loss(passage), *_remedy(passage, every, decided)]
    if every:
        parts += [f"needed to decide: {w.removeprefix('settle ')}" for w in passage.settled_by]
    return "; ".join(part for part in parts if part)


def _against(passage: PassageResult) -> str:
    if passage.verified != "contradicts":
        return ""
    return f"CONTRADICTED by the second opinion: {passage.verified_why}"


def _reasons(passage: PassageResult) -> Iterable[str]:
    """What the numbers of the row do not say already."""
    found, state = passage.clear_diameter_mm, passage.state
    enough = found.low >= passage.required_mm  # with a mesh_tolerance it may be open below that
    told = {
        State.OPEN: enough,
        State.RESTRICTED: not enough,
        State.BLOCKED: bool(crossed(passage)),
        State.UNDETERMINED: False,
    }
    return passage.reasons[1:] if told[state] else passage.reasons


def _remedy(passage: PassageResult, every: bool, decided: str) -> list[str]:
    plan = passage.rework
    if plan is None:
        if not passage.why_not:
            return []
        changes = [f"what would change that: {one.words}" for one in passage.what_would_change]
        return [passage.why_not, *changes[:MOST_CHANGES]] if every else ["no drilling plan"]
    if decided == "scrap" and not every:
        return []
    operations = len(plan.drilling)
    after = f"{least(plan.clear_diameter_after_mm)} mm"
    every_one = "both" if operations == 2 else f"all {operations}"
    if decided in ("undetermined", "scrap"):
        what = "if drilled" if operations == 1 else f"only if {every_one} operations are drilled"
        said = f"{what}: {plan.state_after}, {after}"
    elif operations == 1:
        how = "spark erosion" if by_electrode(passage) else "drilling"
        said = f"after {how}: {plan.state_after}, {after}"
    else:
        said = f"{plan.state_after} only after {every_one} operations, {after}"
    wall = wall_words(plan) if every or plan.cuts_wall else []
    return [", ".join([said, *wall]), *plan.conflicts]


# ---- lines -----------------------------------------------------------------------------------


def wrapped(text: str, width: int, first: str = "", rest: str = "") -> list[str]:
    """Lines of a text, words whole where they fit."""
    return textwrap.wrap(
        text, width, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False
    )


def _paragraph(row: Row, width: int, paint: Paint) -> list[str]:
    """A row where a table has no room."""
    state = paint(row.state.value, row.state)
    lines = wrapped(f"{row.name}:", width)
    if len(lines[-1]) + 1 + len(row.state.value) <= width:
        lines[-1] += f" {state}"
    else:
        lines.append(f"  {state}")
    clear = f"{row.clear} mm clear, {row.required} required"
    said = (clear if row.state is not State.BLOCKED else "", row.why)
    return lines + [line for one in said for line in wrapped(one, width, "  ", "    ")]


def _row(
    cells: Sequence[str], widths: Sequence[int], left: int, width: int, paint: Paint
) -> list[str]:
    """One row of the table; its first and last cell may take several lines."""
    names = wrapped(cells[0], widths[0]) or [""]
    reasons = wrapped(cells[4], width - left) or [""]
    lines = []
    for n in range(max(len(names), len(reasons))):
        name = names[n] if n < len(names) else ""
        reason = reasons[n] if n < len(reasons) else ""
        fixed = [cell if n == 0 else "" for cell in cells[1:4]]
        padded = [cell.ljust(size) for cell, size in zip(fixed, widths[1:], strict=True)]
        if fixed[0]:
            padded[0] = paint(fixed[0], fixed[0]) + " " * (widths[1] - len(fixed[0]))
        lines.append("  ".join([name.ljust(widths[0]), *padded, reason]).rstrip())
    return lines
