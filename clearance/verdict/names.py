"""Names in words: in a row, numbered ones from the first to the last, what is counted from 1.

In: names and numbers of a case. Out: text.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

from clearance.case.read import OUTSIDE

MOST_NAMES = 3
"""Names that are given one by one, even where they count on."""


def listed(names: Sequence[str]) -> str:
    """Names in a row: ``a``, ``a and b``, ``a, b and c``."""
    return " and ".join([*([", ".join(names[:-1])] if names[1:] else []), *names[-1:]])


def named_all(names: Sequence[str]) -> str:
    """All of some names in a row; many numbered ones from the first to the last."""
    return listed(runs_of_names(names) if len(names) > MOST_NAMES else names)


def runs_of_names(names: Sequence[str]) -> list[str]:
    """Names of which those that count on become one: ``tube-1 to tube-12``."""
    found: list[list[str]] = []
    for name in names:
        if found and _follows(found[-1][-1], name):
            found[-1].append(name)
        else:
            found.append([name])
    return [f"{run[0]} to {run[-1]}" if len(run) > 2 else listed(run) for run in found]


def _follows(name: str, other: str) -> bool:
    """Whether a name is another one but for its last number, which is one more."""
    first, second = (_NUMBERED.fullmatch(one) for one in (name, other))
    if first is None or second is None:
        return False
    return first[1] == second[1] and int(first[2]) + 1 == int(second[2])


_NUMBERED = re.compile(r"(.*?)([0-9]{1,9})")


def event(number: int) -> str:
    """An event by the number of its [[stray]] in the result, from 0; people count from 1."""
    return f"event {number + 1}"


def sheet(number: int) -> str:
    """A stray sheet by its number in the result, as `event`."""
    return f"stray sheet {number + 1}"


APART = {"joined": "connected", "undetermined": "not known to be apart", "apart": "apart"}
"""States of circuits in words, the gravest first: ``fused`` is said of metal, never of circuits."""


def leaking(joins: Iterable[Sequence[str]]) -> list[str]:
    """Circuits that a gap joins to the outside, of all pairs that it joins; none twice."""
    found = [name for join in joins if OUTSIDE in join for name in join if name != OUTSIDE]
    return list(dict.fromkeys(found))


def between(found: Sequence[str]) -> str:
    """What traps powder: ``stray 0`` of the result is the first stray sheet."""
    return listed([_STRAY.sub(lambda m: sheet(int(m[1])), word) for word in found])


_STRAY = re.compile(r"\bstray (\d+)")
