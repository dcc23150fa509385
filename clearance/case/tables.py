"""The tables of the case file, as written.

In: nothing. Out: the models that say which keys there are, of what kind, unit and default;
docs/case-file.md and the schema follow them. Reading and cross checks are left to `case/read.py`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Literal

from pydantic import BeforeValidator, ConfigDict, Discriminator, Field, Tag

from clearance.case.kinds import (
    AS_NAME,
    AS_TABLE,
    LARGEST_DRILL_MM,
    AnyList,
    ConstantRange,
    Coordinate,
    Direction,
    DrillDiameter,
    FeedRange,
    FilePath,
    Fraction,
    KelvinRange,
    LengthRange,
    Name,
    NotNegative,
    Point,
    Positive,
    Span,
    Table,
    Text,
    key,
)
from clearance.case.machine_log import MeltedTable
from clearance.case.readings import ReadingTable
from clearance.case.scan import ScanTable
from clearance.case.stray_tables import StrayKeys
from clearance.case.suspected import SuspectedTable

Unit = Literal["mm", "cm", "m", "um", "in", "inch", "foot"]
Series = Literal["jobber", "long", "extra-long"]


class PartTable(Table):
    """[part]; after reading, paths are resolved and the density is filled in."""

    name: Name = key("Name of the part, printed on every sheet.")
    mesh: FilePath = key("Nominal mesh as printed, with stock and feet.")
    item: Name | None = key(
        "Build item of a 3MF that is the part: its object's name or its part number, with ` #2` "
        "for the second of a name.",
        "",
        None,
        "all build items together",
    )
    unit: Unit = key(
        "Unit of meshes that carry none (STL, PLY, OBJ); a 3MF's own unit wins.", "", "mm"
    )
    layer_thickness: Annotated[float, Field(ge=0.001, le=10)] = key("Layer thickness.", "mm")
    build_direction: Direction | None = key(
        "Which way is up when the part is built, in the mesh's frame, any length; the part is "
        "turned by the shortest rotation that brings it to +Z, about the mesh's origin.",
        "",
        None,
        "[0, 0, 1]",
    )
    platform_z: Coordinate | None = key(
        "Height of the platform's surface in mesh coordinates, along the build direction.",
        "mm",
        None,
        "the mesh's lowest z",
    )
    material: Text | None = key(
        "Alloy; gives the density of 316L, alloy 718 (IN718 for short), Ti-6Al-4V, AlSi10Mg.",
        "",
        None,
        "none",
    )
    density_g_cm3: Annotated[float, Field(gt=0, le=25)] | None = key(
        "Density of the solid material; wins over the material's.", "g/cm3", None, "of the material"
    )
    thermal_expansion: Annotated[float, Field(gt=0, le=100)] | None = key(
        "Linear thermal expansion; wins over the material's; for `cooled` of the event.",
        "1e-6/K",
        None,
        "of the material",
    )
    youngs_modulus: Annotated[float, Field(ge=1, le=1000)] | None = key(
        "Young's modulus; wins over the material's; whether a drill's point dents a sheet.",
        "GPa",
        None,
        "of the material, from memory",
    )
    measured_cooled: KelvinRange | None = key(
        "By how much the part had cooled since it was built when its heights were read, for "
        "[[reading]]; 0 where the machine's scale makes up for it; one value or `[low, high]`.",
        "K",
        None,
        "[0, 150], an assumption",
    )
    also_melted: Annotated[tuple[FilePath, ...], BeforeValidator(AnyList)] = key(
        "Closed meshes of what was melted with the part but is not the part: support blocks, "
        "stock under it.",
        "",
        (),
    )
    build_allowance: NotNegative = key(
        "Taken off every clear diameter before it is compared: roughness, dross.", "mm", 0.0
    )
    mesh_tolerance: NotNegative = key(
        "Added to every clear diameter before it is compared: chord error of the mesh.", "mm", 0.0
    )
    finished: FilePath | None = key(
        "Mesh of the finished shape after machining, in the place where it lies in the nominal "
        "mesh, same unit.",
        "",
        None,
        "none",
    )
    finished_datum: Literal["below", "above"] | None = key(
        "What the part is clamped by when it is machined: `below`, what was built before the "
        "event, or `above`, what was built after it.",
        "",
        None,
        "both are told",
    )
    finished_tolerance: Annotated[float, Field(gt=0, le=10)] = key(
        "So far the finished mesh may lie off the nominal one where both are one face (chord "
        "errors of both); stock is told to no better.",
        "mm",
        0.02,
    )

    def platform(self, lowest_mm: float) -> float:
        """Height of the platform in mesh coordinates, mm, of a part whose lowest z is given."""
        return lowest_mm if self.platform_z is None else self.platform_z


class RecordTable(Table):
    """[record]: free text, printed as it stands."""

    drawing: Text | None = key("Drawing number.", "", None, "none")
    revision: Text | None = key("Revision of the drawing.", "", None, "none")
    serial: Text | None = key("Serial number of the part.", "", None, "none")
    nonconformity: Text | None = key("Number of the nonconformity report.", "", None, "none")
    owner: Text | None = key("Legal owner of the sheet (ISO 7200).", "", None, "left to write in")
    document: Text | None = key(
        "Number of the sheet as a document (ISO 7200).", "", None, "left to write in"
    )
    issued: Text | None = key("Date of issue (ISO 7200).", "", None, "left to write in")
    prepared_by: Text | None = key(
        "Who prepared the sheet (ISO 7200).", "", None, "left to write in"
    )


class Port(Table):
    """A disc in or near the mouth of a passage."""

    centre: Point = key("Centre of a disc in or near the port's opening.", "mm")
    radius: Positive = key(
        "Radius of the opening; radius of equal area where it is not round.", "mm"
    )
    normal: Direction | None = key(
        "Direction of the disc, either way round, any length; it points out of the opening that is "
        "meant where both ends of a bore are near.",
        "",
        None,
        "found from the mesh",
    )


class PortTable(Port):
    """[[port]]: a port that passages name, given once."""

    name: Name = key("Name of the port, unique; what `inlet` and `outlet` call it by.")


if TYPE_CHECKING:
    PortOrName = Port  # names are replaced as soon as the file is read
else:
    PortOrName = Annotated[
        Annotated[Port, Tag(AS_TABLE)] | Annotated[Name, Tag(AS_NAME)],
        Discriminator(lambda value: AS_NAME if isinstance(value, str) else AS_TABLE),
    ]


class PassageTable(Table):
    """[[passage]]: a passage that must carry fluid from its inlet to its outlet.

    After reading, a name of a [[port]] is replaced by that port.
    """

    name: Name = key("Name of the passage, unique.")
    inlet: PortOrName = key("Where the flow enters: a table, or the name of a [[port]].")
    outlet: PortOrName = key("Where the flow leaves: a table, or the name of a [[port]].")
    min_clear_diameter: Positive = key(
        "Diameter of the ball that must be able to travel through.", "mm"
    )
    min_open_fraction: Fraction | None = key(
        "Open area over nominal area that every crossing must keep.", "", None, "not required"
    )
    min_open_fraction_total: Fraction | None = key(
        "The same of all channels side by side at one sheet, together.", "", None, "not required"
    )
    every_branch: bool = key(
        "`true`: a sealed branch fails the passage even if the flow can pass it by.", "", False
    )


class SeparateTable(Table):
    """[[separate]]: circuits that must stay apart."""

    passages: Annotated[tuple[str, ...], BeforeValidator(AnyList), Field(min_length=2)] = key(
        "Names of two or more passages that must stay apart."
    )


class ClosedTable(Port):
    """[[closed]]: a further mouth that is closed in use or in a leak test."""

    name: Name = key("Name of the opening, unique.")


class StateTable(Table):
    """[state]: what has been done with the part so far."""

    on_platform: bool = key("Still on the platform: nothing enters from below.", "", False)
    emptied: bool = key("Loose powder is removed and that is proven.", "", False)
    heat_treated: bool = key(
        "Heat treated: powder left inside has caked and nothing counts as emptied.", "", False
    )


class Drill(Table):
    """A drill of the shop's own."""

    diameter: DrillDiameter = key("Diameter, 120 mm at most.", "in unit")
    flute: Positive = key("Flute length.", "in unit")
    overall: Positive = key("Overall length, not below the flute length.", "in unit")
    unit: Literal["mm", "inch"] = key("Unit of the three lengths.", "", "mm")


class Electrode(Table):
    """An electrode for spark erosion: it makes a straight hole, flat at its end."""

    diameter: DrillDiameter = key("Diameter of the hole made, overcut included.", "mm")
    max_length_to_diameter: Positive = key(
        "Greatest depth over that diameter; the electrode stands out of its holder by that depth."
    )
    tolerance: NotNegative = key(
        "By how much the hole's radius may be less or more; an assumption, from memory.", "mm", 0.05
    )


class DrillingTable(Table):
    """[drilling]: what the shop can drill with, and what may be cut."""

    series: Annotated[tuple[Series, ...], BeforeValidator(AnyList)] = key(
        "Series of standard twist drills to choose from; with drills and without series, none.",
        "",
        ("jobber", "long", "extra-long"),
    )
    drills: Annotated[tuple[Drill, ...], BeforeValidator(AnyList)] = key(
        "The shop's own drills: tables of diameter, flute, overall and unit.", "", ()
    )
    wall_allowance: NotNegative = key(
        "Passage wall that may be cut, run-out included; above 0 makes it a repair.", "mm", 0.0
    )
    min_wall: Positive | None = key(
        "Metal that must stay between the drilled hole and any other void.", "mm", None, "not known"
    )
    max_length_to_diameter: Positive = key(
        "Deepest hole over its diameter; common practice without guidance, no source.", "", 10.0
    )
    holder_diameter: Positive = key("Cylinder behind the drill's projecting length.", "mm", 40.0)
    strainer: Fraction = key(
        "Opening of a strainer over the least width of what it has to hold; common practice, no "
        "source.",
        "",
        0.5,
    )
    electrodes: Annotated[tuple[Electrode, ...], BeforeValidator(AnyList)] = key(
        "The shop's electrodes for spark erosion, taken where no drill does: tables of diameter, "
        "max_length_to_diameter and tolerance. None while powder is left inside.",
        "",
        (),
    )
    max_tilt: Annotated[float, Field(ge=0, le=90)] = key(
        "Farthest that a drill may meet a sheet off square where the bore does not lead it; where "
        "it does the point's angle is the limit, or this if it is more. From memory.",
        "deg",
        8.0,
    )
    point_angle: Annotated[float, Field(ge=60, le=175)] = key(
        "Full angle of the drills' points, to whose tips depths count; a usual general-purpose "
        "point.",
        "deg",
        118.0,
    )
    split_point: bool = key("The drills have a split point, with a short chisel edge.", "", False)
    feed: FeedRange | None = key(
        "Feed; one value or `[low, high]`.", "mm/rev", None, "a published table, by diameter"
    )
    work_constant: ConstantRange | None = key(
        "Constant of the material in the handbook's formula of thrust and torque; one value or "
        "`[low, high]`; wins over the material's.",
        "psi",
        None,
        "of the material, from memory",
    )
    drill_modulus: Annotated[float, Field(ge=1, le=2000)] = key(
        "Young's modulus of the drill: 210 for high-speed steel, 600 for carbide, from memory.",
        "GPa",
        210.0,
    )
    drill_strength: Annotated[float, Field(ge=1, le=20_000)] = key(
        "Yield strength of the drill, half of it in shear; from memory.", "MPa", 2000.0
    )
    safety: Annotated[float, Field(ge=1, le=100)] = key(
        "Safety against buckling and twisting off of a drill; an assumption.", "", 3.0
    )


class BushTable(Table):
    """[bush]: how guide bushes for drills are made (`section --guide`)."""

    clearance: Positive = key("Bore over the drill's diameter; an assumption.", "mm", 0.1)
    wall: Annotated[float, Field(ge=1.0, le=LARGEST_DRILL_MM)] = key(
        "Wall around the bore and thickness of the foot, 1 at least.", "mm", 3.0
    )
    length: Positive | None = key(
        "Guided length along the drill's axis.",
        "mm",
        None,
        "two diameters of the drill; one at least, where the drill is too short",
    )
    fit: Positive = key(
        "Gap between plug and mouth, and to what stands beside the foot.", "mm", 0.1
    )


class FlowTable(Table):
    """[flow]: turns a restriction into pressure loss."""

    density: Positive = key("Density of the fluid.", "kg/m3")
    viscosity: Positive = key("Dynamic viscosity of the fluid.", "Pa s")
    rate: Positive = key("Flow per passage.", "L/min")
    max_pressure_loss: Positive | None = key(
        "Pressure loss from inlet to outlet that is allowed; a requirement like the diameter.",
        "kPa",
        None,
        "not required",
    )
    roughness: LengthRange | None = key(
        "Height of the sand grain that the walls lose as much as; one value or `[low, high]`.",
        "mm",
        None,
        "[0, 0.1], an assumption",
    )


class Source(Table):
    """A gamma source or an accelerator of the laboratory."""

    name: Name = key("Name, as `Ir-192` or `4 MeV`.")
    steel: Span = key("Steel that it is used for, [low, high].", "mm")
    scans: bool = key("A tomograph works with it.", "", False)


class InspectionTable(Table):
    """[inspection]: what the laboratory can see; assumptions where nothing is given."""

    unsharpness: Positive = key("Total unsharpness of a radiograph, at the part.", "mm", 0.2)
    contrast: Fraction = key(
        "Metal that a radiograph shows, as a share of the metal that the beam passes.", "", 0.02
    )
    pixels: Annotated[int, Field(ge=100, le=100_000)] = key(
        "Usable pixels across the detector of a tomograph, which the part fills.", "", 1800
    )
    beyond_tube: Annotated[float, Field(ge=1.0, le=10.0)] = key(
        "Times the metal that the strongest tube passes at 2 % up to which the laboratory is "
        "asked; no source.",
        "",
        2.0,
    )
    sources: Annotated[tuple[Source, ...], BeforeValidator(AnyList)] | None = key(
        "Gamma sources and accelerators: tables of name and steel. Never a yes: ask.",
        "",
        None,
        "Se-75, Ir-192, Co-60, 1 to 4 MeV, ranges for steel from memory",
    )
    noise: Fraction = key("Noise of a scan's grey values over the step to metal.", "", 0.1)
    rigid_scope: Positive = key("Diameter of the thinnest rigid scope.", "mm", 2.0)
    rigid_reach: Positive = key(
        "Deepest reach of a rigid scope over its diameter: 150 mm at 2 mm in a textbook.", "", 75.0
    )
    flexible_scope: Positive = key("Diameter of the thinnest flexible scope.", "mm", 4.0)
    flow_repeatability: Fraction = key(
        "Standard deviation of a flow test from part to part, as a share of the flow.", "", 0.05
    )
    sisters: Annotated[int, Field(ge=0, le=10_000)] = key(
        "Parts of the same mesh from builds without the event that can be weighed.", "", 0
    )


class CostsTable(Table):
    """[costs]: what a rework and a rebuild cost; nothing is assumed."""

    rework: Positive = key("Cost of all drilling operations of the plan, in any currency.")
    rebuild: Positive = key("Cost of a new part, the same currency.")
    inspection: Positive | None = key(
        "Cost of what is inspected after the rework.", "", None, "not counted"
    )
    wrong_release: Positive | None = key(
        "Cost where a part that does not conform is used as it is; for the worth of a test alone.",
        "",
        None,
        "not told",
    )
    rework_days: Positive | None = key("Days that the rework takes.", "", None, "not counted")
    rebuild_days: Positive | None = key("Days that a new part takes.", "", None, "not counted")
    chance: Fraction | None = key(
        "Chance that a drilling operation ends well; instead of `good` and `of`.",
        "",
        None,
        "none",
    )
    good: Annotated[int, Field(ge=0, le=100_000)] | None = key(
        "Operations of this kind that ended well.", "", None, "none"
    )
    of: Annotated[int, Field(ge=1, le=100_000)] | None = key(
        "Operations of this kind that were tried.", "", None, "none"
    )


class GridTable(Table):
    """[grid]: how fine the computation is."""

    pitch: Positive | None = key(
        "Distance of the cells.", "mm", None, "from the narrowest requirement and the memory limit"
    )
    smallest_way: Positive = key("A narrower way counts as none.", "mm", 0.05)


class CaseFile(Table):
    """All tables of a case file, as written."""

    model_config = ConfigDict(json_schema_extra={"not": {"required": ["stray", "melted"]}})

    part: PartTable
    record: RecordTable = RecordTable()
    passage: Annotated[tuple[PassageTable, ...], BeforeValidator(AnyList), Field(min_length=1)]
    port: Annotated[tuple[PortTable, ...], BeforeValidator(AnyList)] = ()
    separate: Annotated[tuple[SeparateTable, ...], BeforeValidator(AnyList)] = ()
    closed: Annotated[tuple[ClosedTable, ...], BeforeValidator(AnyList)] = ()
    stray: Annotated[tuple[StrayKeys, ...], BeforeValidator(AnyList)] = ()
    melted: MeltedTable | None = None
    reading: Annotated[tuple[ReadingTable, ...], BeforeValidator(AnyList)] = ()
    suspected: SuspectedTable | None = None
    scan: ScanTable | None = None
    state: StateTable = StateTable()
    drilling: DrillingTable = DrillingTable()
    bush: BushTable = BushTable()
    flow: FlowTable | None = None
    inspection: InspectionTable = InspectionTable()
    costs: CostsTable | None = None
    grid: GridTable = GridTable()


class CouponFile(CaseFile):
    """The same of a test piece, which may have no passage."""

    passage: Annotated[tuple[PassageTable, ...], BeforeValidator(AnyList)] = ()
