"""What `restart` says: the layer that belongs there, and what wrong ones would do.

In: nothing. Out: dataclasses whose fields are the keys of the JSON.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from typing_extensions import TypedDict

from clearance.result.keys import told
from clearance.result.whole import PROGRAM


class PassageThere(TypedDict):
    """A place where a passage crosses the layer; on a plate from its middle."""

    name: Annotated[str, told("name of the passage")]
    x_mm: Annotated[float, told("a point in it", "mm")]
    y_mm: Annotated[float, told("a point in it", "mm")]


@dataclass(frozen=True)
class RightLayer:
    """The layer that belongs there, of one part."""

    name: Annotated[str, told("name of the part; on a plate, its name there")]
    area_mm2: Annotated[float, told("metal of the layer; 0 where the part is complete", "mm2")]
    islands: Annotated[int, told("pieces of it that do not hang together")]
    holes: Annotated[int, told("holes in them")]
    extents_mm: Annotated[
        tuple[float, float, float, float] | None,
        told("x and y, lowest then highest; on a plate from its middle; null without metal", "mm"),
    ]
    shrunk_mm: Annotated[
        float | None,
        told("how far the part may stand lower, for cooling; null where that is not given", "mm"),
    ]
    joint_gap_mm: Annotated[
        float | None,
        told(
            "powder that may stay unmelted under the layer; null where cooling is not given", "mm"
        ),
    ]
    passages: Annotated[
        tuple[PassageThere, ...] | None,
        told("where passages cross it; null where what wrong layers would do was not looked at"),
    ] = None


@dataclass(frozen=True)
class WouldDo:
    """What wrong layers would do to one part."""

    name: Annotated[str, told("name of the part; on a plate, its name there")]
    area_mm2: Annotated[float, told("metal of the first wrong layer", "mm2")]
    differs_mm2: Annotated[
        float, told("area in which it and the right layer are not the same", "mm2")
    ]
    widest_mm: Annotated[float, told("diameter of the largest circle in that area", "mm")]
    islands: Annotated[int, told("pieces of the first wrong layer")]
    holes: Annotated[int, told("holes in them")]
    sealed: Annotated[tuple[str, ...] | None, told("passages; null where it was not looked at")]
    restricted: Annotated[tuple[str, ...] | None, told("passages; null as `sealed`")]
    undetermined: Annotated[
        tuple[str, ...] | None, told("passages of which it cannot be told; null as `sealed`")
    ]
    joined: Annotated[
        tuple[tuple[str, ...], ...] | None,
        told("circuits that would be joined or may be; null as `sealed`"),
    ]
    said: Annotated[str, told("why it was not looked at; empty where it was")] = ""


@dataclass(frozen=True)
class Candidate:
    """A layer that somebody may start with by mistake."""

    layer: Annotated[int, told("its number, counted from 0")]
    layer_from_1: Annotated[int, told("the same, counted from 1")]
    told_by_eye: Annotated[
        bool, told("on some part it differs by more than the eye needs; else read the number")
    ]
    look_at: Annotated[str | None, told("the part on which it differs most; null where on none")]
    parts: Annotated[tuple[WouldDo, ...], told("part by part, in the file's order")]


@dataclass(frozen=True)
class RestartResult:
    """All that `clearance restart` says of one part or one plate."""

    name: Annotated[str, told("name of the part or of the build")]
    plate: Annotated[bool, told("it is a plate")]
    layer_thickness_mm: Annotated[float, told("of all parts", "mm")]
    height_mm: Annotated[float, told("top of the last good layer above the platform", "mm")]
    last_good_layer: Annotated[int, told("its number, counted from 0")]
    next_layer: Annotated[int, told("number of the layer that belongs there, counted from 0")]
    next_layer_from_1: Annotated[int, told("the same, counted from 1")]
    first_number: Annotated[
        int | None, told("0 or 1, how the machine counts; null where neither case nor option says")
    ]
    layers: Annotated[int, told("how many wrong layers the candidates are computed with")]
    eye_mm: Annotated[float, told("a difference that holds a circle so wide is seen", "mm")]
    parts: Annotated[tuple[RightLayer, ...], told("the right layer, part by part")]
    candidates: Annotated[tuple[Candidate, ...], told("wrong layers, in the order asked for")]
    notices: Annotated[tuple[str, ...], told("what the user should know besides")] = ()
    cautions: Annotated[tuple[str, ...], told("what always holds")] = ()
    schema: Annotated[int, told("1; a new number would mean that a key has changed")] = 1
    program: Annotated[str, told("name and version of the program")] = PROGRAM
