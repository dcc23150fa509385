"""The first screen: the recommendation, what is wrong, what comes next.

In: a `Result`. Out: about twenty lines of 80 columns, the gravest first, that fit any width. It
judges nothing. Nothing grave is left out: circuits, joint, trapped powder, a contradiction,
what is needed to decide. The rest is said by `report.full`.
"""

from __future__ import annotations

from collections.abc import Iterable

from clearance.disposition.rules import deciding
from clearance.disposition.steps import told
from clearance.report.finished import finished_line
from clearance.report.grave import besides
from clearance.report.headline import headline
from clearance.report.inspection import decides
from clearance.report.table import Paint, plain, table, wrapped
from clearance.result import Result
from clearance.verdict.numbers import counted

WIDTH = 88
"""Columns of the text where the terminal does not say otherwise."""
MOST_LINES = 22
"""Lines that leave room for the prompt on a screen of 24; steps of work are as many as fit."""
LEAST_STEPS, MOST_STEPS = 2, 3
"""Steps of work that the first screen gives: holding and emptying always."""
CAUTION = "Take care: no release; the responsible engineer decides. Powder can ignite."


def text(result: Result, width: int = WIDTH, paint: Paint = plain, event: bool = True) -> str:
    """What a meeting needs of a result, as lines for people.

    Parameters
    ----------
    result : Result
    width : int
        Columns to keep within.
    paint : callable
        Colours the words of states; they stand there in any case.
    event : bool
        Whether the case gives one at all.
    """
    beside = (*besides(result), *_good(result))
    grave = [line for key, said in beside for line in wrapped(f"{key}: {said}", width)]
    found = [
        head(result, width, paint, event),
        table(result, width, paint),
        [*grave, *_why(result, width), *_needed(result, width), *_to_be_seen(result, width)],
    ]
    lines = "\n\n".join("\n".join(block) for block in found if block).splitlines()
    last = [*(wrapped(CAUTION, width) if result.cautions else ()), *wrapped(_rest(result), width)]
    steps = _steps(result, width, MOST_LINES - len(lines) - len(last) - 1)
    return "\n".join([*lines, "", *steps, *last])


def _good(result: Result) -> tuple[tuple[str, str], ...]:
    """What was asked for and is well: `besides` tells what is not."""
    found = result.finished
    if found is None or found.inside != "yes":
        return ()
    return (("finished shape", finished_line(found)),)


def head(result: Result, width: int, paint: Paint, event: bool = True) -> list[str]:
    """The recommendation in a sentence, and what comes next."""
    found = headline(result, event)
    lines = wrapped(f"{result.part}: {found.call}, {found.finding}", width)
    decided = result.disposition
    if decided is not None:
        word = found.word
        lines = [line.replace(word, paint(word, decided.recommendation), 1) for line in lines]
    return [*lines, *(wrapped(f"Next: {found.action}", width) if found.action else ())]


def listed_block(title: str, items: Iterable[str], width: int, numbered: bool = False) -> list[str]:
    """A title and one wrapped item a line; nothing if there is no item."""
    lines = []
    for n, item in enumerate(items, 1):
        mark = f"{n}. " if numbered else ""
        lines += wrapped(f"{mark}{item}", width, "  ", "    ")
    return [title, *lines] if lines else []


def _why(result: Result, width: int) -> list[str]:
    """The gravest reason of scrap and of use as is, which the table does not tell."""
    decided = result.disposition
    if decided is None or decided.recommendation not in ("scrap", "use-as-is"):
        return []
    first, *others = deciding(decided)
    more = f"; {counted(len(others), 'more reason')} with --full" if others else ""
    return wrapped(f"Why: {first}{more}", width)


def _needed(result: Result, width: int) -> list[str]:
    decided = result.disposition
    if decided is not None:
        needed = decided.settled_by
    else:
        needed = tuple(f"{p.name}: {way}" for p in result.passages for way in p.settled_by)
    if len(needed) == 1:
        return wrapped(f"Needed to decide: {needed[0]}", width)
    return listed_block("Needed to decide", needed, width)


def _to_be_seen(result: Result, width: int) -> list[str]:
    """Where no simple test shows a fault, what would."""
    seen = decides(result)
    return wrapped(f"To be seen: {seen}", width) if seen else []


def _steps(result: Result, width: int, room: int) -> list[str]:
    """The first steps without what explains them, as many as there are lines for."""
    steps = () if result.disposition is None else result.disposition.order_of_work
    for count in range(min(MOST_STEPS, len(steps)), 0, -1):
        more = f" (of {len(steps)})" if len(steps) > count else ""
        first = map(told, steps[:count])
        lines = listed_block(f"Next steps{more}", first, width, numbered=True)
        if len(lines) <= room or count <= LEAST_STEPS:
            return lines
    return []


def _rest(result: Result) -> str:
    """Where to find what is not said here, and how much of it there is."""
    steps = () if result.disposition is None else result.disposition.order_of_work
    there = [counted(len(steps), "step")] if steps else []
    for found, word in ((result.assumptions, "assumption"), (result.notices, "notice")):
        if found:
            there.append(counted(len(found), word))
    more = f" ({', '.join(there)})" if there else ""
    return f"More: --full{more}; the sheet: --report FILE.pdf"
