"""Steps of work and questions; those that differ in a name alone become one.

In: sentences in three pieces. Out: sentences, as text, JSON and sheet number them.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import NamedTuple

from clearance.verdict.names import named_all


class Step(NamedTuple):
    """A sentence: what stands before a name, the name, what follows it."""

    before: str
    name: str = ""
    after: str = ""


def told(step: str) -> str:
    """A step without what explains it: that stands behind a semicolon."""
    return step.partition("; ")[0]


def joined(steps: Iterable[Step | str]) -> tuple[str, ...]:
    """Sentences in their order, none twice; neighbours that differ in the name alone are one."""
    found: list[tuple[Step, list[str]]] = []
    for one in steps:
        step = Step(one) if isinstance(one, str) else one
        last = found[-1][0] if found else None
        if (
            step.name
            and last is not None
            and (last.before, last.after) == (step.before, step.after)
        ):
            found[-1][1].append(step.name)
        else:
            found.append((step, [step.name]))
    said = (f"{s.before}{named_all([*dict.fromkeys(names)])}{s.after}" for s, names in found)
    return tuple(dict.fromkeys(said))
