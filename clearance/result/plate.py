"""What `plate` says of all its parts, and of each beside its result.

In: nothing. Out: typed dicts, whose keys are those of plate.json, and of `plate` in the result
file of a part.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

from typing_extensions import TypedDict

from clearance.result.keys import told
from clearance.result.passage import State
from clearance.result.whole import Result

SECONDS = "time of its computation: the only key that differs between two runs"


class PartAtEvent(TypedDict):
    """How far a part was built when the machine stopped."""

    height_mm: Annotated[float | None, told("height of the predicted part", "mm")]
    height_at_event_mm: Annotated[float | None, told("how much of it stood at the last stop", "mm")]
    metal_mm3: Annotated[float | None, told("metal of the predicted part, from the columns", "mm3")]
    metal_at_event_mm3: Annotated[
        float | None, told("how much of it stood at the last stop", "mm3")
    ]
    mass_g: Annotated[float | None, told("mass of the predicted part; null without a density", "g")]
    mass_at_event_g: Annotated[
        float | None, told("how much of it stood at the last stop; null without a density", "g")
    ]


class PlacedPart(TypedDict):
    """A part on the platform."""

    name: Annotated[str, told("name of the part on the plate")]
    serial: Annotated[str | None, told("its serial number; null if it is not known")]
    at_mm: Annotated[tuple[float, float], told("the mesh's origin on the platform, x and y", "mm")]
    turn_deg: Annotated[float, told("turn of the part about +Z, counter-clockwise", "deg")]


class LabelResult(PlacedPart):
    """What tells equal parts apart; it stands on their sheets."""

    plate: Annotated[str, told("name of the plate")]


class AboutPart(PartAtEvent):
    """The key `plate` of a part's result file, parts/NAME.json."""

    inputs_sha256: Annotated[
        str,
        told(
            "of case text, meshes, event, neighbours' slices and program version: equal parts "
            "share it"
        ),
    ]
    exit_status: Annotated[int, told("as `clearance check` ends")]
    finding: Annotated[
        str, told("one reason: what is wrong, the gravest first; joints and powder always")
    ]
    next_step: Annotated[str, told("what comes next, in a few words")]
    outline_mm: Annotated[
        list[list[tuple[float, float]]],
        told(
            "outlines of the nominal part at the stop (at half its height if it does not reach "
            "it), true to 0.1 mm",
            "mm",
        ),
    ]
    seconds: Annotated[float, told(SECONDS, "s")]
    label: Annotated[LabelResult, told("what tells equal parts apart")]
    sheet_sha256: Annotated[str, told("of the bytes of its sheet, parts/NAME.pdf")]
    page_sha256: Annotated[
        str | None, told("of the bytes of its page, parts/NAME.html; null without --pages")
    ]
    data_sha256: Annotated[
        str,
        told("of the result, these hashes and the time left out: what differs is computed again"),
    ]


@dataclass(frozen=True, kw_only=True)
class ResultOnPlate(Result):
    """A part's result file, parts/NAME.json: the result of its check, and `plate`."""

    plate: Annotated[AboutPart, told("what the plate run adds")]


class WorstPassage(TypedDict):
    """The passage in the gravest state, of several the narrowest."""

    name: Annotated[str, told("name, of the case")]
    state: Annotated[State, told("its state")]
    clear_low_mm: Annotated[float, told("a ball of this size surely passes", "mm")]
    clear_high_mm: Annotated[float, told("no larger ball passes", "mm")]
    required_mm: Annotated[float, told("clear diameter that the case asks for", "mm")]


class Verdict(PartAtEvent):
    """What is found of one part of the plate; numbers are null where it has no result."""

    recommendation: Annotated[
        str,
        told(
            "of its result; error, no verdict or undetermined where there is none; coupon where "
            "nothing is judged"
        ),
    ]
    finding: Annotated[
        str, told("one reason; of a bad case what is wrong; of a coupon where its joint lies")
    ]
    next_step: Annotated[str, told("what comes next, in a few words")]
    exit_status: Annotated[int, told("of this part alone, as `clearance check` ends")]
    reasons: Annotated[list[str], told("of the recommendation; what is wrong with a bad case")]
    worst_passage: Annotated[WorstPassage | None, told("null where it has no passage")]
    rework_cost: Annotated[
        float | None,
        told("expected, by its [costs]; null without, or if nothing is drilled"),
    ]
    rebuild_cost: Annotated[float | None, told("of a new part, likewise")]
    result: Annotated[
        str | None, told("its result file, from the plate's folder; null where there is none")
    ]
    seconds: Annotated[float | None, told(SECONDS, "s")]


class PlatePart(PlacedPart, Verdict):
    """One part of the plate, where it stands and what is found of it."""

    case: Annotated[str, told("its case file, from the plate file's folder")]
    coupon: Annotated[bool, told("the plate file calls it a test piece")]
    crossed_mm: Annotated[
        list[float] | None,
        told(
            "heights of the event above which the nominal part goes on: its joints; null where "
            "its case or mesh could not be read",
            "mm",
        ),
    ]
    inputs_sha256: Annotated[
        str | None, told("as in its result file; null where its case could not be read")
    ]


class StopBuilding(TypedDict):
    """Parts recommended for scrap that were not complete."""

    parts: Annotated[list[str], told("their names")]
    metal_left_mm3: Annotated[float, told("metal still to be put into them", "mm3")]
    mass_left_g: Annotated[
        float | None, told("its mass; null where one of them has no density", "g")
    ]


Counts = Literal["yes", "no", "unknown"]
Say = Literal["go on", "stop", "decide first"]


class CouponSaid(TypedDict):
    """A test piece: whether it counts as a witness of the joint."""

    name: Annotated[str, told("its name")]
    gauge_mm: Annotated[
        list[float] | None, told("its gauge length above the platform; null if not given", "mm")
    ]
    joints_mm: Annotated[
        list[float] | None, told("heights of its joints; null where they are not known", "mm")
    ]
    held_mm: Annotated[
        list[float], told("those that its gauge length holds, with metal on both sides", "mm")
    ]
    counts: Annotated[Counts, told("it holds a joint; unknown without `gauge`")]
    said: Annotated[str, told("the same in words")]


class Unfinished(TypedDict):
    """A part that was not complete at the last stop: finish or stop."""

    name: Annotated[str, told("its name")]
    begun: Annotated[bool, told("something of it lies below the last stop")]
    built: Annotated[float, told("share of its metal that stood", "1")]
    recommendation: Annotated[str, told("of its result")]
    say: Annotated[
        Say, told("what follows of the recommendation: scrap stops; what is undecided comes first")
    ]
    rework_cost: Annotated[float | None, told("expected; null where not told")]
    rebuild_cost: Annotated[float | None, told("of a new part; null where not told")]
    said: Annotated[str, told("the same in words")]


class PlateEvent(TypedDict):
    """What happened to some of the parts, in words; heights are above the platform."""

    said: Annotated[list[str], told("a sentence for each stray sheet")]
    parts: Annotated[list[str], told("names of the parts of which that holds")]


class PlateSummary(TypedDict):
    """What is known of all parts, before the map is drawn."""

    schema: Annotated[int, told("1; a new number would mean that a key has changed")]
    plate: Annotated[str, told("name of the plate")]
    size_mm: Annotated[tuple[float, float], told("of the platform, along x and y", "mm")]
    plate_sha256: Annotated[str, told("of the bytes of the plate file")]
    program: Annotated[str, told("name and version of the program")]
    exit_status: Annotated[int, told("the gravest of all parts, in the order 1, 2, 3, 4, 0")]
    counts: Annotated[dict[str, int], told("number of parts by recommendation, gravest first")]
    events: Annotated[
        list[PlateEvent], told("what happened; several where it was not the same for all parts")
    ]
    hold: Annotated[
        list[str],
        told("parts to hold, gravest first: all but those not affected and coupons not judged"),
    ]
    stop_building: Annotated[StopBuilding, told("parts that need not be built on")]
    coupons: Annotated[list[CouponSaid], told("test pieces, and which count")]
    unfinished: Annotated[list[Unfinished], told("parts not complete at the last stop")]
    parts: Annotated[list[PlatePart], told("the parts, in the plate's order")]
    notices: Annotated[list[str], told("what the user should know besides")]
    cautions: Annotated[list[str], told("what always holds")]


class PlateResult(PlateSummary):
    """All that `clearance plate` says: plate.json."""

    map_sha256: Annotated[str, told("of the bytes of plate.pdf")]
