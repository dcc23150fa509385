"""What the result says of the part beside its passages.

In: nothing. Out: dataclasses whose fields are the keys of the JSON.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated, Literal

from typing_extensions import TypedDict

from clearance.result.keys import told
from clearance.result.passage import Point

Apart = Literal["apart", "joined", "undetermined"]


@dataclass(frozen=True)
class SeparateResult:
    """Whether circuits that must stay apart still do."""

    passages: Annotated[tuple[str, ...], told("the two passages")]
    state: Annotated[Apart, told("verdict over all that the case leaves possible")]
    where_mm: Annotated[
        Point | None, told("where they are connected or may be; null where it is not known", "mm")
    ]
    through: Annotated[
        Literal["void", "unmelted"] | None,
        told("what joins them or may: a void, or powder left unmelted; null where they are apart"),
    ]
    nominal_state: Annotated[Apart, told("the same verdict on the nominal part")] = "apart"


@dataclass(frozen=True)
class Unmelted:
    """Powder that may have stayed loose in the metal, as thick as it can be.

    Where the part has metal and the wrong slices had none; or in the joint under the whole first
    layer after the stop, because the part had shrunk.
    """

    stray: Annotated[int, told("number of the stray sheet, from 0, in the case's order")]
    area_mm2: Annotated[float, told("in plan", "mm2")]
    thickness_mm: Annotated[float, told("at most", "mm")]
    joins: Annotated[
        tuple[tuple[str, ...], ...], told("passages that it touches and may join, group by group")
    ]
    where_mm: Annotated[Point, told("a place in it", "mm")]
    joint: Annotated[bool, told("it is the joint of a part that had shrunk")] = False


@dataclass(frozen=True)
class TrappedPowder:
    """A void without a way out. Powder packs at one end or the other of `packing`."""

    volume_mm3: Annotated[float, told("of the void; the greatest that the case leaves", "mm3")]
    mass_g: Annotated[float | None, told("`mass_high_g`; null without a density", "g")]
    between: Annotated[tuple[str, ...], told("what shuts it in")]
    centre_mm: Annotated[Point, told("a place in it", "mm")]
    passages: Annotated[tuple[str, ...], told("passages that it is part of")] = ()
    mass_low_g: Annotated[
        float | None, told("packed as loosely as it may be; null without a density", "g")
    ] = None
    mass_high_g: Annotated[
        float | None, told("packed as densely as it may be; null without a density", "g")
    ] = None
    certain: Annotated[
        bool, told("true whatever is true of the event; else trapped for part of what is possible")
    ] = True


@dataclass(frozen=True)
class GaugePin:
    """A pin that enters a port, pushed along the bore, and where it stops.

    The largest one, and where that does not tell the predicted part from the nominal one, the
    thickest that does.
    """

    port: Annotated[str, told("the port it enters")]
    pin_diameter_mm: Annotated[float, told("diameter of the pin", "mm")]
    stops_at_mm: Annotated[
        float | None,
        told(
            "depth in the predicted part, along the pin; null where it goes through, 0 where stray "
            "metal in front of the port keeps it out",
            "mm",
        ),
    ]
    nominal_stops_at_mm: Annotated[
        float | None, told("depth in the nominal part; null where it goes through", "mm")
    ] = None
    tells_apart: Annotated[bool, told("the two depths differ by more than a reading")] = False
    residual_mm: Annotated[
        float | None, told("how far they lie apart; null where the pin tells the two apart", "mm")
    ] = None
    direction: Annotated[
        Point | None, told("unit vector along which it is pushed; null where it is not known")
    ] = None
    off_normal_deg: Annotated[
        float, told("how far that is off square to the port's plane: the bore's lean", "deg")
    ] = 0.0


@dataclass(frozen=True)
class Ball:
    """What bearing balls of stock sizes say of a passage."""

    passage: Annotated[str, told("name of the passage")]
    passes_nominal_mm: Annotated[
        float | None, told("largest that surely passes the nominal part; null: none", "mm")
    ]
    passes_predicted_mm: Annotated[
        float | None, told("largest that surely passes the predicted part; null: none", "mm")
    ]
    stops_predicted_mm: Annotated[
        float | None, told("smallest that surely does not pass it; null: none", "mm")
    ]
    tells_apart: Annotated[bool, told("a ball passes the nominal part and not the predicted one")]
    tells_mm: Annotated[float | None, told("that ball; null where there is none", "mm")]
    residual_mm: Annotated[
        float | None,
        told("by how much the clear diameters may differ; null where a ball tells", "mm"),
    ]


@dataclass(frozen=True)
class Signs:
    """What can be seen or measured on the part without cutting it."""

    mass_added_g: Annotated[float | None, told("by the event; null without a density", "g")]
    volume_added_mm3: Annotated[
        float,
        told("by the event, by areas of exact sections; negative where metal is missing", "mm3"),
    ]
    height_added_mm: Annotated[float, told("how much taller the part is", "mm")]
    outside_overhang_mm: Annotated[
        float,
        told(
            "how far the sheet, or a step where the part above is shifted, stands out of the side",
            "mm",
        ),
    ]
    gauge_pins: Annotated[tuple[GaugePin, ...], told("pins, port by port")] = ()
    balls: Annotated[tuple[Ball, ...], told("bearing balls, passage by passage")] = ()
    part_volume_mm3: Annotated[float, told("of the nominal part", "mm3")] = 0.0
    part_mass_g: Annotated[float | None, told("the same; null without a density", "g")] = None
    share_of_part: Annotated[float, told("volume added over the nominal part's", "1")] = 0.0
    balance_resolution_g: Annotated[
        float | None,
        told("readability of a balance that shows the mass added; null where none does", "g"),
    ] = None
    mass_scatter_g: Annotated[
        float | None, told("by how much good parts may differ; null without a density", "g")
    ] = None
    weighing_tells: Annotated[
        bool | None, told("the mass added is more than that; null without a density")
    ] = None
    outside_overhang_at_mm: Annotated[
        Point | None, told("where the overhang is largest; null where nothing stands out", "mm")
    ] = None
    outside_overhang_direction: Annotated[
        Point | None, told("unit vector that it points along; null where nothing stands out")
    ] = None
    outside_overhang_turn_deg: Annotated[
        float | None, told("the same in plan, from +x towards +y", "deg")
    ] = None


class SectionProperties(TypedDict):
    """Section properties of the metal at one height."""

    metal_area_mm2: Annotated[float, told("area of what surely hangs together", "mm2")]
    centre_x_mm: Annotated[float, told("x of its centroid", "mm")]
    centre_y_mm: Annotated[float, told("y of its centroid", "mm")]
    Ixx_mm4: Annotated[float, told("integral of y^2 about the centroid", "mm4")]
    Iyy_mm4: Annotated[float, told("integral of x^2 about the centroid", "mm4")]
    Ixy_mm4: Annotated[float, told("integral of x y about the centroid", "mm4")]
    J_mm4: Annotated[float, told("torsion constant, its low end", "mm4")]
    J_uncertainty_mm4: Annotated[
        float | None, told("how far it may be off; null where it did not settle", "mm4")
    ]


class JointResult(SectionProperties):
    """A joint that the resume leaves: what hangs together there, not judged."""

    stray: Annotated[int, told("number of the stray sheet, from 0, in the case's order")]
    height_mm: Annotated[float, told("z of the joint", "mm")]
    nominal_area_mm2: Annotated[float, told("of the section that it should have", "mm2")]
    share: Annotated[float, told("of it that surely hangs together", "1")]
    gap_mm: Annotated[float, told("powder that may lie in it because the part had shrunk", "mm")]


@dataclass(frozen=True)
class DispositionResult:
    """What the rules recommend, and why."""

    recommendation: Annotated[
        str, told("use-as-is, rework, repair, scrap, undetermined or not-affected")
    ]
    reasons: Annotated[
        tuple[str, ...], told("what led there, the gravest first; the last says what it means")
    ]
    concession: Annotated[bool, told("a concession of the design authority is needed")]
    order_of_work: Annotated[tuple[str, ...], told("steps, in their order")]
    settled_by: Annotated[
        tuple[str, ...], told("what is needed to decide; empty unless it is undetermined")
    ]
    rows: Annotated[
        tuple[int | None, ...],
        told("row of the table of rules (docs/method.md) of each reason; null for the last"),
    ] = ()
    carried_out: Annotated[
        bool | None,
        told(
            "balls and flow tests that the work sequence ends with were read and conform; null "
            "where some are missing or none is asked for"
        ),
    ] = None


STATES, STATES_AND_RECOMMENDATION = "states", "states and recommendation"


@dataclass(frozen=True)
class Margin:
    """How far one number of a stray sheet may be off before a state or recommendation changes."""

    stray: Annotated[int, told("number of the stray sheet, from 0, in the case's order")]
    what: Annotated[str, told("height, from_layer or layers")]
    unit: Annotated[str, told("mm for height, else layers")]
    down: Annotated[float, told("off by so much less nothing changes", "`unit`")]
    up: Annotated[float, told("off by so much more nothing changes", "`unit`")]
    looked_down: Annotated[
        float, told("how far it was looked; if nothing changed there, it may be more", "`unit`")
    ]
    looked_up: Annotated[float, told("the same upward", "`unit`")]
    changes_down: Annotated[str, told("what changes at the next step; empty if nothing")] = ""
    changes_up: Annotated[str, told("the same upward")] = ""
    judged: Annotated[
        str, told("states and recommendation, or states where only these were looked at")
    ] = STATES_AND_RECOMMENDATION
