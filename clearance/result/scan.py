"""What the result says of a scan of the part: where it lies, and what has moved.

In: nothing. Out: dataclasses whose fields are the keys of the JSON.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from clearance.result.keys import told
from clearance.result.passage import Point


@dataclass(frozen=True)
class ScanStep:
    """How far the part above a stray sheet lies off the part below it, as measured."""

    stray: Annotated[
        int,
        told(
            "number of the stray sheet, from 0, in the case's order; of several near each other "
            "the highest"
        ),
    ]
    height_mm: Annotated[float, told("z of the sheet's lower face", "mm")]
    moved_mm: Annotated[
        tuple[float | None, float | None, float | None],
        told(
            "along x, y and z of the platform, z being growth; of a part that a plate turns along "
            "the part's own x and y, before that turn, as all of its result; null where no face "
            "of the part tells it",
            "mm",
        ),
    ]
    u_mm: Annotated[
        tuple[float | None, float | None, float | None],
        told("standard uncertainty of each, with half of `uncertainty_mm`", "mm"),
    ]
    over_mm: Annotated[
        float,
        told("what lies between the faces that tell the growth, on the average by the mesh", "mm"),
    ]
    recesses: Annotated[
        float,
        told(
            "how often the recess of a face that looks up (powder packs) lowers the growth: the "
            "share of these faces above that looks up, less that of those below",
            "1",
        ),
    ]


@dataclass(frozen=True)
class ScanSheet:
    """Metal that the scan shows across a passage where a stray sheet may lie."""

    stray: Annotated[int, told("number of the stray sheet, from 0, in the case's order")]
    passage: Annotated[str, told("name of the passage")]
    where_mm: Annotated[Point, told("its lower face in the middle of the passage", "mm")]
    thickness_mm: Annotated[float, told("from there to its upper face", "mm")]
    u_mm: Annotated[float, told("standard uncertainty of either face", "mm")]
    over_mm: Annotated[
        float, told("what lies between the faces below that hold the scan and it", "mm")
    ]
    recesses: Annotated[float, told("less than 0: the share of these faces that looks up", "1")]


@dataclass(frozen=True)
class VolumeResult:
    """The grey values of a volume: what void and metal look like, and what that can show."""

    voxel_mm: Annotated[Point, told("distance of the voxels along its own x, y and z", "mm")]
    void: Annotated[float, told("grey value of the air around the part")]
    metal: Annotated[float, told("grey value of metal, away from its faces")]
    noise: Annotated[float, told("standard deviation of one voxel over that step", "1")]
    blur_mm: Annotated[float, told("standard deviation of its blur, a voxel's width in it", "mm")]
    blur_measured: Annotated[
        bool, told("measured on the part's own faces; false: as the case gives it")
    ]
    averaged: Annotated[
        int, told("voxels along the edge of the cubes averaged for its surfaces; 1: none")
    ]
    shown_mm: Annotated[
        float | None, told("thinnest sheet that a threshold surely shows; null: none", "mm")
    ]
    not_scanned: Annotated[
        float,
        told(
            "share of its voxels in which nothing was scanned: padding around the field of view, "
            "or no numbers",
            "1",
        ),
    ] = 0.0


@dataclass(frozen=True)
class ScanResult:
    """A scan of the part, laid on the nominal part."""

    file: Annotated[str, told("its name, without its folder")]
    turned_deg: Annotated[float, told("by how much it was turned", "deg")]
    misfit_mm: Annotated[float, told("root mean square of what is left, along the faces", "mm")]
    scale: Annotated[float, told("its size over the nominal part's; it is not changed", "1")]
    missing: Annotated[float, told("share of the nominal surface that it does not show", "1")]
    missing_low_mm: Annotated[
        Point | None, told("lowest corner of a box around that; null where it is little", "mm")
    ]
    missing_high_mm: Annotated[Point | None, told("its highest corner", "mm")]
    also_fits: Annotated[tuple[str, ...], told("other ways to lay it that fit nearly as well")]
    steps: Annotated[tuple[ScanStep, ...], told("what has moved at each stray sheet")]
    uncertainty_mm: Annotated[float, told("of a surface, as the case gives it", "mm")]
    thinnest_shown_mm: Annotated[
        float | None, told("sheet that it surely shows; null where the case does not say", "mm")
    ]
    thinnest_sheet_mm: Annotated[
        float | None, told("thinnest that the event can make; null where it makes none", "mm")
    ]
    sheets: Annotated[
        tuple[ScanSheet, ...],
        told("metal that its surface shows across passages where a stray sheet may lie"),
    ] = ()
    volume: Annotated[
        VolumeResult | None, told("its grey values; null where the scan is a mesh")
    ] = None
    turned_u_deg: Annotated[
        float,
        told(
            "standard uncertainty of how it lies turned on the part, about all axes together, by "
            "what its points are off the faces",
            "deg",
        ),
    ] = 0.0
