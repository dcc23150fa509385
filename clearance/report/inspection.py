"""Which inspection could see what, in words.

In: a `Result`. Out: lines of text. What a method rests on stands in docs/laboratory.md.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import groupby

from clearance.result import Inspection, Result, State
from clearance.verdict.names import event, listed, runs_of_names
from clearance.verdict.numbers import counted, level, percent

METHODS = {
    "radiograph-along": "radiograph along the layers",
    "radiograph-across": "radiograph across the layers",
    "tomography": "tomography",
    "scope": "scope",
    "ball": "ball",
    "pin": "gauge pin",
    "flow": "flow test",
    "weighing": "weighing",
    "ultrasound": "ultrasound",
}
"""How people call the methods."""
WORDS = {"yes": "yes", "ask": "ask the laboratory", "no": "no"}
SIMPLE = frozenset({"ball", "pin", "scope", "flow"})
"""Methods for which nobody needs a laboratory."""
NEVER_OPEN = "that a method finds nothing never proves that a passage is open"


def by_target(result: Result) -> list[tuple[str, list[Inspection]]]:
    """What is to be seen, in words, and what each method says of it."""
    found = groupby(result.inspection, key=lambda one: (one.passage, one.crossing, one.gap))
    return [(target(result, same[0]), same) for same in (list(group) for _, group in found)]


def target(result: Result, *ones: Inspection) -> str:
    """What is to be seen: a gap by its event, crossings of a passage by their numbers."""
    one = ones[0]
    if one.gap is not None:
        gap = result.unmelted[one.gap]
        where = "the joint itself" if gap.joint else f"unmelted gap of {event(gap.stray)}"
        return f"{where}, {level([gap.where_mm[2]])}"
    numbers = run([(one.crossing or 0) + 1 for one in ones])
    named = "crossing" if len(ones) == 1 else "crossings"
    return f"{one.passage}, {named} {numbers}, {stands(result, one)}"


def stands(result: Result, one: Inspection) -> str:
    """How open a crossing is, and its height."""
    assert one.passage is not None
    assert one.crossing is not None
    crossing = result.passage(one.passage).crossings[one.crossing]
    state = "sealed" if crossing.sealed else f"{percent(crossing.open_fraction)} open"
    return f"{state}, {level([crossing.height_mm])}"


def run(numbers: Sequence[int]) -> str:
    """Numbers in a row, those that count on from the first to the last.

    Examples
    --------
    >>> run([1, 2, 3, 4]), run([2, 3]), run([1, 4])
    ('1 to 4', '2 and 3', '1 and 4')
    """
    return listed(runs_of_names([f"{n}" for n in numbers]))


def inspection_lines(result: Result) -> list[str]:
    """A line for each method that could see something, and one for all that could not."""
    lines = []
    for what, answers in by_target(result):
        could = [one for one in answers if one.answer != "no"]
        lines += [f"{what}: {METHODS[o.method]}: {WORDS[o.answer]}: {o.set_up}" for o in could]
        lines.append(f"{what}: no: {_listed([o for o in answers if o.answer == 'no'])}")
    return [*lines, NEVER_OPEN] if lines else []


def _listed(answers: Sequence[Inspection]) -> str:
    return listed([METHODS[one.method] for one in answers]) or "none of the others"


def decides(result: Result) -> str:
    """Where no ball, pin, scope or flow test shows a fault, what would; empty where they do.

    Only of passages that are blocked, restricted or not known.
    """
    open_ones = {p.name for p in result.passages if p.state is State.OPEN}
    hidden: dict[str, list[str]] = {}
    for what, answers in by_target(result):
        passage = answers[0].passage
        if passage is None or passage in open_ones:
            continue
        if any(one.answer == "yes" for one in answers if one.method in SIMPLE):
            continue
        would = [one for one in answers if one.answer == "yes"]
        asked = [one for one in answers if one.answer == "ask"]
        said = "nothing examined does"
        if would or asked:
            said = f"{_listed(would)} would" if would else f"{_listed(asked)} might, ask"
        hidden.setdefault(said, []).append(what)
    return "; ".join(f"{_and_more(whats)}: {NOT_SIMPLE}; {it}" for it, whats in hidden.items())


NOT_SIMPLE = "no ball, pin, scope or flow test shows it for sure"


def _and_more(whats: Sequence[str]) -> str:
    more = f" and {counted(len(whats) - 1, 'crossing')} more" if whats[1:] else ""
    return f"{whats[0]}{more}"
