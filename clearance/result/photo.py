"""What `photo` says: which slices a picture of a melted layer can be.

In: nothing. Out: dataclasses whose fields are the keys of the JSON.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Annotated

from clearance.result.keys import told
from clearance.result.whole import PROGRAM


@dataclass(frozen=True)
class BestSlice:
    """The slice that overlaps most."""

    slice: Annotated[int, told("its number, counted from 0")]
    overlap: Annotated[float, told("area of metal in both over that in either", "1")]


@dataclass(frozen=True)
class PhotoFile:
    """A file that the answer rests on."""

    file: Annotated[str, told("its name, without its folder")]
    sha256: Annotated[str, told("of its bytes")]


@dataclass(frozen=True)
class PhotoResult:
    """All that `clearance photo` says of one picture."""

    name: Annotated[str, told("name of the part or of the build")]
    layer_thickness_mm: Annotated[float, told("of all parts", "mm")]
    slices: Annotated[int, told("number of slices that were compared")]
    points: Annotated[int, told("points known in the picture")]
    residual_mm: Annotated[
        float | None,
        told("how far the worst of them is off; null with four, which always fit", "mm"),
    ]
    pixel_mm: Annotated[float, told("side of a pixel, about", "mm")]
    edge_mm: Annotated[float, told("how far an edge may be off: two pixels and residual", "mm")]
    seen: Annotated[float, told("share of the parts' place that lies in the picture", "1")]
    contrast: Annotated[float, told("step from powder to metal over the scatter about it", "1")]
    can_be: Annotated[
        tuple[str, ...],
        told("slices that differ by no more than edges are off, as ranges; empty where none"),
    ]
    best: Annotated[BestSlice, told("the slice that overlaps most; others may do as well")]
    overlaps: Annotated[tuple[float, ...], told("overlap of each slice, from 0", "1")]
    inputs: Annotated[tuple[PhotoFile, ...], told("picture, points, case or plate, meshes")]
    notices: Annotated[tuple[str, ...], told("what the user should know besides")] = ()
    schema: Annotated[int, told("1; a new number would mean that a key has changed")] = 1
    program: Annotated[str, told("name and version of the program")] = PROGRAM
