"""What `causes` says: classes of suspects, what speaks for each, and what to measure next.

In: nothing. Out: dataclasses whose fields are the keys of the JSON.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Any, Literal

from typing_extensions import TypedDict

from clearance.result.keys import told
from clearance.result.passage import State
from clearance.result.plain import as_json, as_text
from clearance.result.whole import PROGRAM, Inputs

Way = Literal["height", "layer"]
Words = Literal["none", "weak", "positive", "strong", "very strong"]


@dataclass(frozen=True)
class Box:
    """A product of ranges, both ends in them; every suspect in it is meant."""

    cause: Annotated[
        Literal["event", "mesh"],
        told("`event`, a resume on the wrong layer; `mesh`, the file itself holds what is found"),
    ]
    height_mm: Annotated[
        tuple[float, float] | None,
        told("bottom of the first stray layer above the platform; null of the mesh", "mm"),
    ]
    after_layer: Annotated[
        tuple[int, int] | None,
        told("last good layer, from 0; null of the mesh and of a height that is no whole layer"),
    ]
    from_layer: Annotated[
        tuple[int, int] | None, told("first wrong layer, from 0; null of the mesh")
    ]
    layers: Annotated[tuple[int, int] | None, told("how many stray layers; null of the mesh")]
    resume: Annotated[
        tuple[Way, ...],
        told("how the build was resumed; empty of the mesh, and where `next_layer` says it"),
    ]


Span = tuple[float, float]


@dataclass(frozen=True)
class ReadingUsed:
    """A reading of the case that was weighed; those after drilling are not."""

    reading: Annotated[int, told("its number in the case, from 0")]
    kind: Annotated[str, told("what was measured")]
    what: Annotated[str, told("what, where and what was read, in words")]
    value: Annotated[
        float | None, told("what was read, in mm, g, kPa or mm2; null of what only weighs")
    ]
    u: Annotated[float | None, told("its standard uncertainty with all in it; null likewise")]
    unit: Annotated[str, told("unit of both")]
    excluded_by: Annotated[
        int | None,
        told(
            "number, from 0, of another reading that cannot be right together with this one, "
            "whatever the event is; null where there is none"
        ),
    ] = None


@dataclass(frozen=True)
class Excluded:
    """Suspects that one reading excludes, farther off than `k` standard uncertainties."""

    ranges: Annotated[tuple[Box, ...], told("which ones: all in these boxes, no others")]
    count: Annotated[int, told("how many")]
    reading: Annotated[int, told("number of the reading, from 0, in the case's order")]
    off_u: Annotated[
        float | None,
        told(
            "how far it is off the nearest of them, in its u; null where they leave nothing to "
            "measure",
            "1",
        ),
    ]


@dataclass(frozen=True)
class CauseClass:
    """Suspects that no reading made tells apart, with equal states and recommendation."""

    ranges: Annotated[tuple[Box, ...], told("which ones: all in these boxes, no others")]
    count: Annotated[int, told("how many")]
    told: Annotated[bool, told("the event as the case tells it is among them")]
    ratio: Annotated[float, told("likelihood over that of the best class", "1")]
    words: Annotated[
        Words, told("how strongly the readings speak for the best over it; `none` of the best")
    ]
    chance: Annotated[
        float | None, told("posterior probability; null without `weights` in the case", "1")
    ]
    states: Annotated[
        dict[str, State] | None,
        told("state of each passage; null below `looked_at_from` of the best"),
    ]
    recommendation: Annotated[
        str | None,
        told("as of `check`; undetermined where it is not told; null below `looked_at_from`"),
    ]
    confirmed: Annotated[
        bool, told("one of them was checked; else taken over from a checked one of equal states")
    ]
    predicted: Annotated[
        tuple[Span | None, ...],
        told("least and most that each reading used should be; null where it only weighs"),
    ]


@dataclass(frozen=True)
class NextMeasurement:
    """One thing that could be measured, from eye and caliper to cutting."""

    measure: Annotated[str, told("what, where and how, in words")]
    kind: Annotated[str, told("kind of reading")]
    u: Annotated[
        float | None,
        told("standard uncertainty that was taken, mm, g, kPa or mm2; null of yes or no"),
    ]
    u_assumed: Annotated[bool, told("the case does not give it (`u_next`): it is an assumption")]
    bits: Annotated[float, told("what it would tell of the suspects, on average", "bit")]
    decision_bits: Annotated[
        float, told("what it would tell of the recommendation, on average", "bit")
    ]
    wrong_after: Annotated[
        float, told("chance that the likelier recommendation after it is the wrong one", "1")
    ]
    decides: Annotated[
        bool, told("it parts the recommendations: `wrong_after` is at most `decided_below`")
    ]
    worth: Annotated[
        float | None,
        told("what it is expected to save; it pays if it costs less; null where not told"),
    ] = None


class Worth(TypedDict):
    """Money now, and what knowing more is worth, beside the recommendation; the case's currency."""

    cheapest_now: Annotated[
        str | None,
        told("what is expected to cost least now: use-as-is, rework, rebuild; null if not told"),
    ]
    cost_now: Annotated[float | None, told("what is expected to be spent on it")]
    all_known: Annotated[
        float | None, told("what knowing the event is worth: no measurement is worth more")
    ]
    why_not: Annotated[str, told("why it is not told; empty where it is")]


@dataclass(frozen=True)
class NoneOfThese:
    """Misfit of the best suspect: whether it explains the measured readings at all."""

    chi2: Annotated[
        float | None, told("sum of squared distances in u; null without a measured reading", "1")
    ]
    readings: Annotated[int, told("how many measured readings; go/no-go are left out")]
    p: Annotated[float | None, told("chance of such a misfit or more if it is true", "1")]
    said: Annotated[bool, told("p is below 0.27 %: none of the suspects explains the readings")]


@dataclass(frozen=True)
class Decision:
    """Whether the cause matters for what is to be done."""

    settled: Annotated[
        bool, told("every class that is looked at has one recommendation, and it is told")
    ]
    recommendation: Annotated[str | None, told("that one; null where it is not settled")]
    wrong_now: Annotated[
        float, told("chance that the likeliest recommendation now is the wrong one", "1")
    ]
    said: Annotated[str, told("the sentence for the meeting")]


@dataclass(frozen=True)
class OtherCause:
    """A cause that is no wrong slice, and what parts it from one."""

    cause: Annotated[str, told("what it is")]
    excluded: Annotated[bool, told("a reading excludes it")]
    by: Annotated[str, told("which, with its number; empty if none does")]
    look_at: Annotated[str, told("what to look at to tell it from a wrong slice")]


@dataclass(frozen=True)
class CausesResult:
    """All that `clearance causes` says of one part."""

    part: Annotated[str, told("name of the part")]
    pitch_mm: Annotated[float, told("resolution of the checks: distance of the columns", "mm")]
    suspects: Annotated[int, told("how many events, and the mesh, were looked at")]
    readings: Annotated[tuple[ReadingUsed, ...], told("the readings that were weighed")]
    weighted: Annotated[bool, told("the case gives weights; else every suspect weighs the same")]
    k: Annotated[
        float, told("standard uncertainties off which a reading excludes; all at 0.27 %", "1")
    ]
    excluded: Annotated[tuple[Excluded, ...], told("suspects that are excluded, and by what")]
    classes: Annotated[tuple[CauseClass, ...], told("what is left, the likeliest first")]
    none_of_these: Annotated[NoneOfThese, told("whether the best explains the readings")]
    unknown_bits: Annotated[float, told("what is not known of the suspects now", "bit")]
    unknown_bits_before: Annotated[float, told("the same before anything was measured", "bit")]
    decision: Annotated[Decision, told("whether the cause matters")]
    next: Annotated[
        tuple[NextMeasurement, ...],
        told("what could be measured, the cheapest first: eye, caliper, ... cutting"),
    ]
    other_causes: Annotated[tuple[OtherCause, ...], told("causes that are no wrong slice")]
    checks: Annotated[int, told("how many suspects were checked whole")]
    looked_at_from: Annotated[
        float, told("likelihood over the best from which states are looked at", "1")
    ]
    decided_below: Annotated[float, told("chance of a wrong recommendation that decides", "1")]
    words_from: Annotated[str, told("where the words of `words` come from")]
    assumptions: Annotated[tuple[str, ...], told("values taken where the case is silent")]
    notices: Annotated[tuple[str, ...], told("what the user should know besides")]
    cautions: Annotated[tuple[str, ...], told("what always holds")]
    exit_status: Annotated[
        int, told("that of the command: of the one recommendation, or 4 where it is not settled")
    ]
    schema: Annotated[int, told("1; a new number would mean that a key has changed")] = 1
    worth: Annotated[
        Worth | None, told("money, with [costs] and weights; null without [costs]")
    ] = None
    inputs: Annotated[Inputs | None, told("what it was computed from")] = None
    program: Annotated[str, told("name and version of the program")] = PROGRAM

    def to_dict(self) -> dict[str, Any]:
        """Plain dicts, lists, numbers and strings: the JSON of ``clearance causes --json``."""
        found: dict[str, Any] = as_json(self)
        return found

    def to_json(self) -> str:
        """The text that ``clearance causes --json`` writes, byte by byte."""
        return as_text(self.to_dict())
