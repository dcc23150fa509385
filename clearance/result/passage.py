"""What the result says of one passage: its state, its crossings, how it may be reopened.

In: nothing. Out: dataclasses whose fields are the keys of the JSON.
"""

from __future__ import annotations

import enum
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Annotated, Literal

from typing_extensions import TypedDict

from clearance.result.flow import FlowResult
from clearance.result.keys import told


class State(enum.StrEnum):
    """State of a passage."""

    OPEN = "open"
    RESTRICTED = "restricted"
    BLOCKED = "blocked"
    UNDETERMINED = "undetermined"


Point = tuple[float, float, float]


def plain(at: Iterable[float]) -> Point:
    """A place, or a direction, as plain numbers."""
    x, y, z = (float(value) for value in at)
    return x, y, z


@dataclass(frozen=True)
class ClearDiameter:
    """Diameter of the largest ball that can travel from inlet to outlet, as proven brackets."""

    nominal: Annotated[float, told("nominal part: middle of its bracket", "mm")]
    predicted: Annotated[float, told("predicted part: middle of its bracket", "mm")]
    low: Annotated[float, told("predicted part: a ball of this size surely passes", "mm")]
    high: Annotated[float, told("predicted part: no larger ball passes", "mm")]
    nominal_low: Annotated[float, told("nominal part: a ball of this size surely passes", "mm")]
    nominal_high: Annotated[float, told("nominal part: no larger ball passes", "mm")]


@dataclass(frozen=True)
class CrossingResult:
    """One connected piece of the nominal passage within a stray sheet."""

    stray: Annotated[int, told("number of the stray sheet, from 0, in the case's order")]
    height_mm: Annotated[float, told("z where the open fraction is smallest", "mm")]
    centre_mm: Annotated[Point, told("centre of what is open there, or of the passage", "mm")]
    nominal_area_mm2: Annotated[float, told("horizontal section of the nominal passage", "mm2")]
    open_area_mm2: Annotated[float, told("what is left open of it, seen through the sheet", "mm2")]
    open_fraction: Annotated[float, told("smallest ratio of the two at one height", "1")]
    clear_diameter_mm: Annotated[
        float, told("largest circle in what is left open; 0 where it is sealed", "mm")
    ]
    sealed: Annotated[bool, told("nothing wider than `smallest_way` is left open")]
    loss_coefficient: Annotated[
        float | None,
        told("on the mean velocity in the passage; null where it is sealed (infinite)", "1"),
    ] = None


class OpenTogether(TypedDict):
    """Channels side by side at one sheet."""

    stray: Annotated[int, told("number of the stray sheet, from 0, in the case's order")]
    height_mm: Annotated[float, told("z of the channel that is closed most", "mm")]
    channels: Annotated[
        int, told("crossings that surely are among them; 0 for one that may lie on no way")
    ]
    least: Annotated[float, told("open share of their nominal area, together, at least", "1")]
    greatest: Annotated[float, told("open share of their nominal area, together, at most", "1")]


class Pieces(TypedDict):
    """What a drill sets loose of one crossing, and what it leaves of it."""

    crossing: Annotated[int, told("number in `crossings`, from 0")]
    loose_mm: Annotated[
        float, told("width of the largest piece, if the sheet comes off whole; 0 where none", "mm")
    ]
    loose_g: Annotated[float | None, told("its mass; null without a density", "g")]
    rim_width_mm: Annotated[float, told("of the widest place of the rim that stays", "mm")]
    rim_length_mm: Annotated[float, told("length of wall on which it stays", "mm")]
    rim_g: Annotated[float | None, told("its mass; null without a density", "g")]
    thickness_low_mm: Annotated[float, told("thickness of the sheet there, at least", "mm")]
    thickness_high_mm: Annotated[float, told("the same, at most", "mm")]
    strainer_mm: Annotated[
        float | None,
        told("opening of a strainer that holds the rim and the piece; null where none", "mm"),
    ]


Tool = Literal["drill", "electrode"]
Answer = Literal["fine", "careful", "not-this-way"]


class Aspect(TypedDict):
    """Whether one aspect of a drilling operation is as a shop can do it, and why."""

    aspect: Annotated[
        Literal["tilt", "opening", "sheet", "thrust", "torque", "flushing", "recast"],
        told("what is looked at; docs/method.md, Drilling in practice, says what each rests on"),
    ]
    crossing: Annotated[
        int, told("number in `crossings`, from 0, of the crossing for which it is gravest")
    ]
    answer: Annotated[
        Answer, told("fine; careful: only as `why` says; not-this-way: another tool or set-up")
    ]
    why: Annotated[str, told("the reason, in words")]
    numbers: Annotated[dict[str, float], told("what it rests on, by the names of docs/method.md")]
    would_do: Annotated[
        list[str], told("tools and keys with which it could be done; empty unless not-this-way")
    ]


@dataclass(frozen=True)
class Drilling:
    """One stroke of a drill or an electrode."""

    crossing: Annotated[int, told("the crossing that it clears, by its number in `crossings`")]
    also_clears: Annotated[tuple[int, ...], told("further crossings that it clears")]
    drill_diameter_mm: Annotated[
        float, told("diameter of the drill, or of the hole that an electrode makes", "mm")
    ]
    series: Annotated[
        str, told("jobber, long, extra-long 1 to 3, shop for one of the case's, or electrode")
    ]
    flute_mm: Annotated[
        float, told("length of the drill's flutes, from its tip; 0 of an electrode", "mm")
    ]
    overall_mm: Annotated[
        float, told("overall length of the drill; of an electrode what is held too", "mm")
    ]
    from_: Annotated[str, told("the opening that it enters", alias="from")]
    entry_mm: Annotated[Point, told("where its axis enters", "mm")]
    direction: Annotated[Point, told("unit vector of its axis, inward")]
    depth_mm: Annotated[
        float, told("from the entry to the tip, whose point has `[drilling] point_angle`", "mm")
    ]
    length_to_diameter: Annotated[float, told("depth over diameter", "1")]
    wall_margin_mm: Annotated[float, told("least distance of the drill from the wall", "mm")]
    wall_cut_mm: Annotated[float, told("how deep it cuts the wall; 0 where it does not", "mm")]
    overrun_mm: Annotated[float, told("how far its full diameter passes the sheet", "mm")]
    tilt_tolerance_deg: Annotated[
        float, told("how far its axis may turn about the entry before it meets the wall", "deg")
    ]
    tilt_from_z_deg: Annotated[
        float, told("angle of its axis, outward, from the build direction", "deg")
    ]
    turn_about_z_deg: Annotated[
        float, told("direction of its axis, outward, in plan of the platform, +x to +y", "deg")
    ]
    drill_tolerance_mm: Annotated[
        float, told("how much thinner the drill, or wider an electrode's hole, may be", "mm")
    ]
    run_out_mm: Annotated[
        float, told("how much wider its hole may be for run-out; 0 of an electrode", "mm")
    ]
    drill_source: Annotated[str, told("where the drill's lengths come from")] = ""
    pieces: Annotated[
        tuple[Pieces, ...], told("what comes loose and what stays, crossing by crossing")
    ] = ()
    tool: Annotated[Tool, told("a twist drill, or an electrode for spark erosion")] = "drill"
    practice: Annotated[
        tuple[Aspect, ...], told("whether a shop can do it so, aspect by aspect")
    ] = ()


@dataclass(frozen=True)
class Rework:
    """A drilling plan, and what the check says of the part after it."""

    state_after: Annotated[str, told("state of the passage after it, by a check of that part")]
    clear_diameter_after_mm: Annotated[float, told("a ball of this size then surely passes", "mm")]
    drilling: Annotated[tuple[Drilling, ...], told("the drilling operations, in their order")]
    cuts_wall: Annotated[bool, told("a drilling operation cuts the wall of the passage")] = False
    wall_left_mm: Annotated[
        float | None,
        told("least metal to another void where the wall is cut; null where it is not", "mm"),
    ] = None
    wall_least_mm: Annotated[
        float | None,
        told("the same less tolerance and run-out of the drill; null where it is not met", "mm"),
    ] = None
    conflicts: Annotated[
        tuple[str, ...], told("what speaks against drilling it as well as the other plans")
    ] = ()
    why_electrode: Annotated[
        str, told("why electrodes are taken, not drills; empty where drills are")
    ] = ""


@dataclass(frozen=True)
class Change:
    """A straight line along which a drill would reopen the passage, if what it takes were given."""

    from_: Annotated[str, told("the opening that it enters", alias="from")]
    least_diameter_mm: Annotated[float, told("smallest drill that meets the requirement", "mm")]
    greatest_diameter_mm: Annotated[
        float, told("largest drill that the line has room for, not below the smallest", "mm")
    ]
    depth_mm: Annotated[float, told("from the entry to the tip of the smallest", "mm")]
    flute_mm: Annotated[float, told("length of flute that it needs", "mm")]
    overall_mm: Annotated[float, told("overall length that it needs", "mm")]
    at_hand: Annotated[bool, told("a drill of [drilling] is long enough")]
    max_length_to_diameter: Annotated[
        float | None,
        told("[drilling] max_length_to_diameter required; null: what is given does", "1"),
    ]
    wall_allowance_mm: Annotated[
        float | None,
        told(
            "[drilling] wall_allowance required, run-out included; null: what is given does", "mm"
        ),
    ]
    redesign: Annotated[bool, told("it cuts more of the wall than a remedy may")]
    words: Annotated[str, told("the same in words")]


@dataclass(frozen=True)
class NearestLine:
    """The straight line to the stray metal that comes nearest to a plan, where there is none."""

    from_: Annotated[str, told("the opening that it enters", alias="from")]
    start_mm: Annotated[Point, told("where it enters", "mm")]
    end_mm: Annotated[Point, told("where it ends, in the stray metal or beside it", "mm")]
    clear_mm: Annotated[float, told("diameter that it has clear of the wall", "mm")]
    needed_mm: Annotated[float, told("diameter that the smallest drill needs", "mm")]
    wall_mm: Annotated[Point, told("the point of the wall that is nearest to it", "mm")]


Verified = Literal["agrees", "contradicts", "not-possible"]


class GraphEdge(TypedDict):
    """A crossing or a port as an edge between what it joins."""

    crossing: Annotated[int | None, told("number in `crossings`; null for a port")]
    joins: Annotated[list[str], told("inlet, outlet, region 0, region 1, ...")]


Against = Literal["agrees", "contradicts", "not-told"]


@dataclass(frozen=True)
class ScannedCrossing:
    """A crossing of the predicted part, as the scan shows it."""

    crossing: Annotated[int, told("its number in `crossings`, from 0")]
    open_area_mm2: Annotated[float, told("least measured area within the sheet's heights", "mm2")]
    open_fraction: Annotated[float, told("of the nominal area", "1")]
    clear_diameter_mm: Annotated[float, told("largest circle in it", "mm")]
    sheet_mm: Annotated[
        float | None,
        told("mean thickness of metal across it by grey sums; null where none tells it", "mm"),
    ] = None
    sheet_u_mm: Annotated[float | None, told("its standard uncertainty", "mm")] = None


@dataclass(frozen=True)
class ScannedPassage:
    """A passage in the measured metal, beside what is predicted of it."""

    state: Annotated[State, told("verdict on the measured metal alone")]
    low_mm: Annotated[float, told("clear diameter, surely; 0 where none is proven", "mm")]
    high_mm: Annotated[
        float | None, told("clear diameter, at most; null where the scan tells nothing", "mm")
    ]
    crossings: Annotated[tuple[ScannedCrossing, ...], told("as measured, in the same order")]
    against: Annotated[Against, told("whether the predicted state stands")]
    reasons: Annotated[tuple[str, ...], told("what it rests on")]


@dataclass(frozen=True)
class PassageResult:
    """What is known of one passage."""

    name: Annotated[str, told("name, of the case")]
    state: Annotated[State, told("verdict over all that the case leaves possible")]
    required_mm: Annotated[float, told("clear diameter that the case asks for", "mm")]
    clear_diameter_mm: Annotated[ClearDiameter, told("clear diameter, as proven brackets")]
    nominal_state: Annotated[State, told("the same verdict on the nominal part")]
    crossings: Annotated[tuple[CrossingResult, ...], told("where stray sheets cross it")]
    reasons: Annotated[tuple[str, ...], told("what the verdict rests on")]
    settled_by: Annotated[
        tuple[str, ...], told("what is needed to decide; empty unless undetermined")
    ] = ()
    pitch_mm: Annotated[float, told("finest distance of the columns used", "mm")] = 0.0
    throat_mm: Annotated[
        Point | None, told("narrowest place of the widest way; null where there is none", "mm")
    ] = None
    graph: Annotated[
        tuple[GraphEdge, ...], told("how crossings part the passage into regions")
    ] = ()
    open_together: Annotated[
        tuple[OpenTogether, ...],
        told("channels side by side; empty unless the case asks for `min_open_fraction_total`"),
    ] = ()
    rework: Annotated[
        Rework | None, told("how drills reopen it; null where none is needed or found")
    ] = None
    why_not: Annotated[str, told("why no drill reopens it; empty where none is needed")] = ""
    what_would_change: Annotated[
        tuple[Change, ...],
        told("drills and keys with which there might be a plan, the nearest first"),
    ] = ()
    nearest_line: Annotated[
        NearestLine | None,
        told("the line that comes nearest to a plan; null where there is a plan, or no line"),
    ] = None
    flow: Annotated[FlowResult | None, told("pressure loss; null where the case gives no flow")] = (
        None
    )
    verified: Annotated[
        Verified | None, told("what a second opinion says; null where none was asked for")
    ] = None
    verified_why: Annotated[str, told("its reason; empty where it agrees or was not asked")] = ""
    verified_at_mm: Annotated[
        Point | None, told("where it contradicts; null where it does not", "mm")
    ] = None
    scanned: Annotated[
        ScannedPassage | None, told("the passage as measured; null where the case has no scan")
    ] = None
