"""The table of the disposition in words: what each of its rows asks, and what follows.

In: the number of a row. Out: words for docs/method.md and for the last pages of the sheet. The
rows themselves are judged in rules.py.
"""

from __future__ import annotations

from typing import NamedTuple


class Row(NamedTuple):
    """A row of the table: when it holds, and what is recommended then."""

    holds: str
    then: str


TABLE: dict[int, Row] = {
    0: Row(
        "the nominal part already misses the requirement", "undetermined: not the event's doing"
    ),
    1: Row("no stray, unmelted, shifted or lifted metal in this part", "not-affected"),
    2: Row(
        "a slice, the state, the plan or the nominal part is not clear, a needed operation cannot "
        "be carried out as it is planned, a second opinion contradicts, or the part contradicts "
        "the event as told",
        "undetermined; if one plan works whatever is true, that plan's row",
    ),
    3: Row(
        "circuits that must stay apart are connected through void",
        "scrap if the event is known from a log or measured, else undetermined",
    ),
    4: Row(
        "circuits or the outside are connected only by an unmelted gap", "undetermined: leak test"
    ),
    5: Row("powder is trapped, a plan opens it, not heat treated", "as rows 8 to 10 for that plan"),
    6: Row(
        "powder is trapped, no plan or heat treated",
        "in a passage as rows 13 and 14; elsewhere undetermined, for the design authority",
    ),
    7: Row(
        "the only entry faces the platform",
        "undetermined: off the platform first, before heat treatment",
    ),
    8: Row("a re-checked plan that does not touch the wall", "rework"),
    9: Row(
        "a re-checked plan that cuts the wall, with drill tolerance and run-out, within the "
        "allowance and leaves `min_wall`",
        "repair",
    ),
    10: Row(
        "the wall is cut and `min_wall` is not given, or drill tolerance and run-out may cut more "
        "than the allowance",
        "undetermined: what may be cut, and what must stay?",
    ),
    11: Row(
        "no plan, restricted, the allowed pressure loss is kept in the worst case",
        "use-as-is, by concession",
    ),
    12: Row(
        "no plan, restricted, or open but the pressure loss too large",
        "loss not kept: scrap if known from a log or measured, else undetermined; loss not given "
        "or not clear: undetermined",
    ),
    13: Row("no plan, blocked, the event known from a log or measured", "scrap"),
    14: Row("no plan, blocked, the event assumed", "undetermined: nobody scraps on an assumption"),
    15: Row("everything met, what the event left stays", "use-as-is, by concession"),
}
