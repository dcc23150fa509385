"""What `mesh` and `openings` say of a mesh file.

In: nothing. Out: typed dicts, whose keys are those of the JSON.
"""

from __future__ import annotations

from typing import Annotated, Literal

from typing_extensions import TypedDict

from clearance.result.keys import told
from clearance.result.passage import Point


class MeshFile(TypedDict):
    """The file that was looked at."""

    file: Annotated[str, told("its name, without its folder")]
    sha256: Annotated[str, told("of its bytes")]
    role: Annotated[Literal["part"], told("as in the result of a check")]


class MeshInputs(TypedDict):
    """What it was computed from."""

    meshes: Annotated[list[MeshFile], told("the mesh file")]


class OpenPlace(TypedDict):
    """Unclosed edges that hang together."""

    edges: Annotated[int, told("number of its edges")]
    centre_mm: Annotated[Point, told("their centre", "mm")]
    extent_mm: Annotated[Point, told("sides of the box around them", "mm")]


class ChordErrors(TypedDict):
    """How far facets of round walls lie off the cylinders that fit them best."""

    max: Annotated[float, told("largest; 0 without round walls", "mm")]
    p99: Annotated[float, told("99 % of the facets' edges stay below", "mm")]


class FlatSheetResult(TypedDict):
    """A level sheet across a void that the file has of its own."""

    height_mm: Annotated[float, told("z of its underside", "mm")]
    thickness_mm: Annotated[float, told("0 where it has none", "mm")]
    area_mm2: Annotated[float, told("area of all its pieces", "mm2")]
    centre_mm: Annotated[Point, told("centre of the largest piece", "mm")]
    pieces: Annotated[int, told("number of its pieces")]
    triangles: Annotated[int, told("level triangles on its faces")]


class MeshResult(TypedDict):
    """All that `clearance mesh` says of one file."""

    schema: Annotated[int, told("1; a new number would mean that a key has changed")]
    mesh: Annotated[str, told("name of the file, without its folder")]
    unit: Annotated[str, told("unit that was used: the file's own, or as told")]
    suggested_unit: Annotated[
        str | None, told("unit that makes the size likely; null where none does")
    ]
    triangles: Annotated[int, told("triangles in the file")]
    closed: Annotated[bool, told("every directed edge has its opposite")]
    fit_for_check: Annotated[
        bool, told("`check` takes it, and it has no flat sheet of its own across a void")
    ]
    refused: Annotated[str | None, told("why `check` would refuse it; null if it would not")]
    mended: Annotated[list[str], told("what `check` mends of it before it takes it")]
    faults: Annotated[list[str], told("everything wrong with it, gravest first")]
    volume_mm3: Annotated[
        float | None, told("signed volume; of an open mesh it means little", "mm3")
    ]
    bounds_mm: Annotated[tuple[Point, Point], told("lowest and highest coordinates", "mm")]
    unclosed_edges: Annotated[int, told("edges of an odd number of triangles")]
    where_open: Annotated[list[OpenPlace], told("the largest clusters of them")]
    one_sided: Annotated[bool, told("some patch of triangles has no outward side")]
    t_junctions: Annotated[bool, told("an unclosed edge ends in the middle of another one")]
    crowded_edges: Annotated[int, told("edges of more than two triangles")]
    not_finite: Annotated[int, told("triangles with a number that is not finite")]
    facing_inward: Annotated[int, told("triangles whose outward side is metal")]
    against_neighbours: Annotated[int, told("of these, those turned against their neighbours only")]
    duplicate: Annotated[int, told("triangles that repeat another one")]
    zero_area: Annotated[int, told("triangles without area")]
    pieces: Annotated[int, told("shells that share no vertex")]
    cavities: Annotated[int, told("of these, those that enclose void")]
    overlapping_pieces: Annotated[
        int, told("of these, those with surface in metal of another one or of their own")
    ]
    overlaps_at_mm: Annotated[list[Point], told("up to three such places", "mm")]
    chord_error_mm: Annotated[ChordErrors, told("chord errors of round walls", "mm")]
    chord_error_at_mm: Annotated[
        Point | None, told("where it is largest; null without round walls", "mm")
    ]
    chord_error_untold_edges: Annotated[
        int, told("edges that would make it larger, but may be meant as drawn")
    ]
    chord_error_untold_at_mm: Annotated[
        Point | None, told("where it would be largest then; null without any", "mm")
    ]
    taken_from_clear_diameter_mm: Annotated[
        float, told("what facets take off a clear diameter, at most", "mm")
    ]
    thinnest_wall_mm: Annotated[float | None, told("null where none was found", "mm")]
    thinnest_wall_at_mm: Annotated[Point | None, told("its middle", "mm")]
    thinnest_gap_mm: Annotated[float | None, told("null where none was found", "mm")]
    thinnest_gap_at_mm: Annotated[Point | None, told("its middle", "mm")]
    measured_from_points: Annotated[
        int, told("points of the surface from which wall and gap were measured")
    ]
    flat_sheets: Annotated[list[FlatSheetResult], told("by height")]
    notices: Annotated[list[str], told("how the file was read")]
    inputs: Annotated[MeshInputs, told("what it was computed from")]
    program: Annotated[str, told("name and version of the program")]


class OpeningResult(TypedDict):
    """A mouth where a void of the mesh reaches the outside."""

    id: Annotated[int, told("its number, from 1")]
    centre_mm: Annotated[Point, told("centre of its closing surface", "mm")]
    exact_diameter_mm: Annotated[
        float | None,
        told("of the cylinder or torus of a STEP file that ends there; null where none does", "mm"),
    ]
    normal: Annotated[Point, told("unit vector outward")]
    diameter_mm: Annotated[float, told("of the circle of the closing surface's area", "mm")]
    clear_diameter_mm: Annotated[float, told("of the largest circle in the closing surface", "mm")]
    area_mm2: Annotated[float, told("of the closing surface", "mm2")]
    network: Annotated[int, told("from 1; openings of one connected group are connected inside")]


class OpeningsResult(TypedDict):
    """All that `clearance openings` says of one file."""

    schema: Annotated[int, told("1; a new number would mean that a key has changed")]
    mesh: Annotated[str, told("name of the file, without its folder")]
    openings: Annotated[list[OpeningResult], told("by connected group and place")]
    notices: Annotated[list[str], told("what the user should know besides")]
    inputs: Annotated[MeshInputs, told("what it was computed from")]
    program: Annotated[str, told("name and version of the program")]


def mesh_inputs(file: str, sha256: str) -> MeshInputs:
    """What is computed from one mesh file alone."""
    return {"meshes": [{"file": file, "sha256": sha256, "role": "part"}]}
