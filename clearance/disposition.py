"""The disposition: which row of the table holds for each requirement, and why.

In: a `Known`. Out: a `DispositionResult`. A pure function of what is known and required;
docs/method.md explains the table. It recommends; people decide.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator

from clearance import order_of_work
from clearance.known import (
    GRAVITY,
    Finding,
    Gap,
    Known,
    Pair,
    Passage,
    Plan,
    Powder,
    Recommendation,
    Source,
)
from clearance.result import DispositionResult, State

CLOSING: dict[Recommendation, str] = {
    "scrap": "Scrap: no straight drill puts it right; other means were not examined.",
    "undetermined": "Undetermined: nothing is to be cut, drilled, heat treated or scrapped on this "
    "result before the measurements named have been made.",
    "repair": "Repair in the sense of ISO 9000: fit for its use although it does not conform; "
    "it needs a concession of the design authority.",
    "rework": "Rework in the sense of ISO 9000: it restores the requirements of this case; "
    "whether it restores the drawing is for people to say.",
    "use-as-is": "Use as is: the part does not conform in every way; in the sense of ISO 9000 "
    "it needs a concession of the design authority.",
    "not-affected": "Not affected: the event has left nothing in this part.",
}
"""What the recommendation means, the last of the reasons."""

KNOWN_FOR_SURE: tuple[Source, ...] = ("log", "measured")


def dispose(known: Known) -> DispositionResult:
    """Recommend what to do with a part.

    Parameters
    ----------
    known : Known
        What is known and required.

    Returns
    -------
    DispositionResult
        The gravest of what the rows say, its reasons with the gravest first. `concession` is
        true for use-as-is and repair, and for a rework that leaves a passage restricted.
    """
    findings = sorted(judge(known), key=lambda f: GRAVITY.index(f.recommendation))
    gravest = findings[0].recommendation if findings else _of_nothing(known)
    restricted = any(f.row == 11 for f in findings)
    return DispositionResult(
        recommendation=gravest,
        reasons=(*dict.fromkeys(f.reason for f in findings), CLOSING[gravest]),
        concession=gravest in ("use-as-is", "repair") or (gravest == "rework" and restricted),
        order_of_work=order_of_work.order(known, findings, gravest),
        settled_by=order_of_work.settled_by(known, findings),
    )


def _of_nothing(known: Known) -> Recommendation:
    return "use-as-is" if known.affected else "not-affected"


def judge(known: Known) -> tuple[Finding, ...]:
    """For each requirement the first row that holds.

    A pair that is apart, powder that the design shuts in and a gap that joins nothing
    to the outside are no findings.
    """
    return tuple(
        [
            *(_first(PASSAGE_ROWS, known, p) for p in known.passages),
            *_found(PAIR_ROWS, known, known.pairs),
            *_found(POWDER_ROWS, known, known.powder),
            *_found(GAP_ROWS, known, known.gaps),
        ]
    )


def _first(
    rows: tuple[Row[Passage], ...], known: Known, passage: Passage
) -> Finding:
    """The rows for a passage leave none out; the last one always holds."""
    return next(found for row in rows if (found := row(known, passage)) is not None)


def _found[Item](
    rows: tuple[Row[Item], ...], known: Known, items: tuple[Item, ...]
) -> Iterator[Finding]:
    for item in items:
        found = next((f for row in rows if (f := row(known, item)) is not None), None)
        if found is not None:
            yield found
