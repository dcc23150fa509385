"""The case file: one part, what it must do, and what is known of the event.

In: a TOML file. Out: a `Case`, complete and checked, or one `CaseError` that lists every
fault. Meshes are only looked up, not opened; whether ports lie in mouths is left to `ports`.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from clearance.case.kinds import LARGEST_DRILL_MM, MM_PER_INCH
from clearance.case.machine_log import MeltedTable, log_fault, strays_from_log
from clearance.case.materials import alloy, known_names
from clearance.case.named_ports import check_ports, port_at, with_ports
from clearance.case.readings import (
    ReadingTable,
    group_faults,
    in_plan,
    place_fault,
    plan_fault,
    reading_faults,
)
from clearance.case.scan import ScanTable, check_scan, resolved
from clearance.case.stray_tables import (
    NO_EXPANSION,
    BuildEvent,
    StrayKeys,
    StrayTable,
    asks_expansion,
    bed,
    read_event,
    stray_faults,
)
from clearance.case.suspected import Suspected, SuspectedTable, read_suspected
from clearance.case.tables import (
    BushTable,
    CaseFile,
    ClosedTable,
    CostsTable,
    CouponFile,
    DrillingTable,
    FlowTable,
    GridTable,
    InspectionTable,
    PartTable,
    PassageTable,
    RecordTable,
    SeparateTable,
    StateTable,
)
from clearance.case.toml_file import TomlFile, Where, nearest

OUTSIDE = "outside"
"""Word of the result for the open air; no passage may be called so."""


@dataclass(frozen=True, slots=True)
class Case:
    """A case, ready to use: paths resolved, stray sheets with heights, defaults filled in.

    Attributes
    ----------
    path : Path
        The case file.
    text_sha256 : str
        Of the file's bytes.
    part, record, passage, separate, closed, melted, reading, state, drilling, bush, flow,
    inspection, costs, grid
        The tables; `flow` and `melted` are None where the file has none.
    stray : tuple of StrayTable
        The stray sheets, those from [melted] too.
    suspected : Suspected or None
        The events of [suspected]; None where the file has none.
    scan : ScanTable or None
        The scan of [scan]; None where the file has none.
    log_last_layer : int or None
        Last layer of the part that [melted] shows, counted from 0.
    translations, assumptions, notices : tuple of str
        How [melted], after_layer and next_layer became stray sheets; values assumed because
        the file is silent; and what the user should know besides.
    """

    path: Path
    text_sha256: str
    part: PartTable
    record: RecordTable
    passage: tuple[PassageTable, ...]
    separate: tuple[SeparateTable, ...]
    closed: tuple[ClosedTable, ...]
    stray: tuple[StrayTable, ...]
    melted: MeltedTable | None
    state: StateTable
    drilling: DrillingTable
    bush: BushTable
    flow: FlowTable | None
    inspection: InspectionTable
    costs: CostsTable | None
    grid: GridTable
    suspected: Suspected | None = None
    log_last_layer: int | None = None
    translations: tuple[str, ...] = ()
    assumptions: tuple[str, ...] = ()
    notices: tuple[str, ...] = ()
    reading: tuple[ReadingTable, ...] = ()
    scan: ScanTable | None = None

    @classmethod
    def from_tables(
        cls, tables: dict[str, Any], folder: Path | str = ".", name: str = "tables"
    ) -> Case:
        """Make a case of a dict, by the same rules and messages as a file.

        Parameters
        ----------
        tables : dict
            What the file would hold, as `tomllib` reads it: `part` a dict, `passage` and `stray`
            lists of dicts, and so on. Tuples, paths and numpy values are taken too.
        folder : Path or str
            Of the meshes that it names.
        name : str
            How messages and results call it, where a case that was read has its file's name.

        Returns
        -------
        Case

        Raises
        ------
        CaseError
            A line for each fault: table, key, found, expected.

        Examples
        --------
        >>> from clearance import Case, CaseError
        >>> try:
        ...     Case.from_tables({**tables, "passage": []}, folder)
        ... except CaseError as fault:
        ...     print(str(fault).removeprefix(str(folder)))
        /tables: [[passage]]: the table is missing, at least one
        """
        return _case_of(TomlFile(Path(folder) / name, CaseFile, tables))

    @property
    def files(self) -> tuple[Path, ...]:
        """The case file, then every mesh it names: what no output may overwrite."""
        strays = [stray.mesh for stray in self.stray if stray.mesh is not None]
        scan = () if self.scan is None else self.scan.files
        finished = () if self.part.finished is None else (self.part.finished,)
        return (self.path, self.part.mesh, *self.part.also_melted, *strays, *scan, *finished)

    def relocated(self, new: Callable[[Path], Path]) -> Case:
        """The case with every file but its own at another place."""
        part, scan, own = self.part, self.scan, dict[str, Any]()
        own["finished"] = None if part.finished is None else new(part.finished)
        own |= {"mesh": new(part.mesh), "also_melted": tuple(map(new, part.also_melted))}
        strays = (s if s.mesh is None else replace(s, mesh=new(s.mesh)) for s in self.stray)
        moved = None if scan is None else scan.relocated(new)
        part = part.model_copy(update=own)
        return replace(self, part=part, stray=tuple(strays), scan=moved)


def case_schema() -> dict[str, Any]:
    """JSON Schema of the case file, for editors; shipped as case.schema.json."""
    schema = CaseFile.model_json_schema()
    schema.update(title="Case file of clearance", description="docs/case-file.md explains it.")
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema}


def read_case(path: Path | str, coupon: bool = False) -> Case:
    """Read and check a case file.

    Parameters
    ----------
    path : Path or str
        A TOML file; paths in it are relative to its folder.
    coupon : bool
        Of a test piece on a plate: it may be without [[passage]].

    Returns
    -------
    Case
        Lengths in mm.

    Raises
    ------
    CaseError
        A line for each fault of the file: line number, table, key, found, expected.

    Examples
    --------
    >>> from clearance import read_case
    >>> read_case("cases/oil-gallery/case.toml").part.layer_thickness
    0.06
    """
    return _case_of(TomlFile(Path(path), CouponFile if coupon else CaseFile))


def _case_of(file: TomlFile) -> Case:
    also = file.sound(("part", "also_melted")) or []
    check_files(file, [("part", "mesh"), *(("part", "also_melted", n) for n in range(len(also)))])
    check_files(file, [("scan", "mesh"), ("part", "finished")])
    check_scan(file)
    _check_material(file)
    _check_passages(file)
    check_ports(file)
    _check_names(file)
    _check_drills(file)
    _check_costs(file)
    event = _event(file)
    _check_readings(file, event)
    suspected = _suspected(file, event)
    file.raise_faults()
    tables = file.layout.model_validate(file.document)
    assert isinstance(tables, CaseFile)
    part = _resolved(tables.part, file.path.parent)
    return Case(
        path=file.path,
        text_sha256=file.sha256,
        part=part,
        record=tables.record,
        passage=with_ports(tables),
        separate=tables.separate,
        closed=tables.closed,
        stray=event.strays,
        melted=tables.melted,
        state=tables.state,
        drilling=_with_series(tables.drilling),
        bush=tables.bush,
        flow=tables.flow,
        inspection=tables.inspection,
        costs=tables.costs,
        grid=tables.grid,
        suspected=suspected,
        log_last_layer=event.log_last_layer,
        translations=event.translations,
        assumptions=(
            *_assumed(tables.part, part),
            *event.assumptions,
            *expansion_assumed(part, event.strays),
        ),
        reading=tuple(in_plan(one, part.build_direction) for one in tables.reading),
        scan=resolved(tables.scan, file.path.parent),
    )


def check_files(file: TomlFile, places: Iterable[Where]) -> None:
    """Refuse paths that lead to no file."""
    for place in places:
        written = file.sound(place)
        if isinstance(written, str) and not _is_file(file.path.parent / written):
            file.fault(place, "a file that exists, its path relative to this file's folder")


def _is_file(path: Path) -> bool:
    try:
        return path.is_file()
    except (OSError, ValueError):  # a name too long, a folder that may not be entered
        return False


def _check_material(file: TomlFile) -> None:
    material = file.sound(("part", "material"))
    if material is None or alloy(material) or "density_g_cm3" in file.document["part"]:
        return
    near = nearest(material, known_names())
    hint = f"; did you mean {near}?" if near else ""
    known = ", ".join(known_names())
    file.fault(("part", "material"), f"one of {known}, or density_g_cm3 beside it{hint}")


def _check_passages(file: TomlFile) -> None:
    smallest = file.sound(("grid", "smallest_way"))
    smallest = GridTable().smallest_way if smallest is None else smallest
    for number in range(len(file.items("passage"))):
        where = ("passage", number)
        inlet, outlet = (port_at(file, (*where, end)) for end in ("inlet", "outlet"))
        if inlet and outlet and inlet["centre"] == outlet["centre"]:
            file.fault((*where, "outlet"), "another place than the inlet's", outlet["centre"])
        least = file.sound((*where, "min_clear_diameter"))
        if least is not None and least < smallest:
            file.fault(
                (*where, "min_clear_diameter"),
                f"at least smallest_way, {smallest:g}: a narrower way counts as none",
            )
        if file.sound((*where, "name")) == OUTSIDE:
            file.fault((*where, "name"), "another name: the result uses it for the open air")


def _check_names(file: TomlFile) -> None:
    for table in ("passage", "port", "closed"):
        _check_unique(file, table)
    known = [item.get("name") for item in file.items("passage")]
    names = [name for name in known if isinstance(name, str)]
    for number in range(len(file.items("separate"))):
        listed = file.sound(("separate", number, "passages")) or []
        for index, name in enumerate(listed):
            where = ("separate", number, "passages", index)
            if listed.index(name) < index:
                file.fault(where, "each passage once")
            elif name not in names:
                near = nearest(name, names)
                hint = f"; did you mean {near!r}?" if near else ""
                file.fault(where, f"the name of a passage{hint}")


def _check_unique(file: TomlFile, table: str) -> None:
    seen: Counter[str] = Counter()
    for number in range(len(file.items(table))):
        name = file.sound((table, number, "name"))
        if name is not None and seen[name]:
            file.fault((table, number, "name"), f"a name that no other [[{table}]] has")
        seen[name] += 1


def _check_drills(file: TomlFile) -> None:
    drills = file.sound(("drilling", "drills")) or []
    for number, drill in enumerate(drills):
        if drill["overall"] < drill["flute"]:
            where = ("drilling", "drills", number, "overall")
            file.fault(where, f"at least the flute length, {drill['flute']:g}")
        if drill.get("unit") == "inch" and drill["diameter"] * MM_PER_INCH > LARGEST_DRILL_MM:
            where = ("drilling", "drills", number, "diameter")
            file.fault(where, f"at most {LARGEST_DRILL_MM:g} mm")
    for number, one in enumerate(file.sound(("drilling", "electrodes")) or []):
        most = 0.5 * one["diameter"]
        if one.get("tolerance", 0.0) >= most:
            file.fault(("drilling", "electrodes", number, "tolerance"), f"less than {most:g} mm")


def _check_costs(file: TomlFile) -> None:
    """Refuse two ways, or none, to say how likely an operation ends well."""
    raw = file.sound(("costs",))
    if raw is None:
        return
    told = [name for name in ("chance", "good", "of") if name in raw]
    if told not in (["chance"], ["good", "of"]):
        found = " and ".join(told) if told else "none of them"
        file.say(("costs",), f"found {found}, expected chance alone, or good and of")
    elif told == ["good", "of"] and raw["good"] > raw["of"]:
        file.fault(("costs", "good"), f"at most of, {raw['of']}")


def _check_readings(file: TomlFile, event: BuildEvent) -> None:
    """Refuse readings whose keys do not fit their kind, or that name what is not there."""
    passages = [str(item.get("name")) for item in file.items("passage")]
    ends = [(item, end) for item in file.items("passage") for end in ("inlet", "outlet")]
    ports = [f"{item.get('name')} {end}" for item, end in ends]
    called = {str(item.get(end)): port for (item, end), port in zip(ends, ports, strict=True)}
    ports += [str(item.get("name")) for item in file.items("closed")]
    turned = file.value(("part", "build_direction")) is not None
    turn = file.sound(("part", "build_direction"))
    for number, raw in enumerate(file.items("reading")):
        where = ("reading", number)
        if file.sound(where) is None:
            continue
        for name, expected in reading_faults(raw):
            file.fault((*where, name), expected)
        for name, of in (("direction", plan_fault), ("at", place_fault)):
            told = file.sound((*where, name))
            clear = told is not None and turned == (turn is not None)
            if clear and (fault := of(told, turn)):
                file.fault((*where, name), fault)
        for name, known, other in (("passage", passages, {}), ("port", ports, called)):
            if name in raw and raw[name] not in known:
                near = other.get(raw[name]) or nearest(raw[name], known)
                hint = f"; did you mean {near!r}?" if near else ""
                file.fault((*where, name), f"the name of a {name}{hint}")
        if event.strays and raw.get("event", 1) > len(event.strays):
            file.fault((*where, "event"), f"at most {len(event.strays)}, the last stray sheet")
        if raw.get("kind") == "pressure_loss" and "flow" not in file.document:
            file.say((*where, "kind"), "found 'pressure_loss', expected a [flow] table beside it")
    sound = [file.sound(("reading", n)) or {} for n in range(len(file.items("reading")))]
    for number, name, expected in group_faults(sound):
        file.fault(("reading", number, name), expected)


def _event(file: TomlFile) -> BuildEvent:
    """Stray sheets of the file; an empty event where faults forbid to read them."""
    if "melted" in file.document and "stray" in file.document:
        file.say(("melted",), "found beside [[stray]], expected only one of the two")
        return BuildEvent()
    thickness = file.sound(("part", "layer_thickness"))
    melted = file.sound_tables.get(("melted",))
    if isinstance(melted, MeltedTable):
        if text := log_fault(melted.layers, melted.first_number):
            file.fault(("melted", "layers"), text)
        elif thickness is not None:
            return _logged(file, melted, thickness, _expansion(file))
        return BuildEvent()
    return sheets_of(file, thickness, _expansion(file))


def _suspected(file: TomlFile, event: BuildEvent) -> Suspected | None:
    """The suspects of the file; None where faults, of the sheets too, forbid to read them."""
    table = file.sound_tables.get(("suspected",))
    thickness = file.sound(("part", "layer_thickness"))
    told = bool(file.items("stray")) or "melted" in file.document
    if not isinstance(table, SuspectedTable) or thickness is None or (told and not event.strays):
        return None

    def fault(name: tuple[str, ...], expected: str) -> None:
        if name and not isinstance(file.value(("suspected", *name)), dict | type(None)):
            file.fault(("suspected", *name), expected)
        else:
            file.say(("suspected", *name), f"expected {expected}")

    return read_suspected(table, event.strays, thickness, fault)


def _expansion(file: TomlFile) -> float | None:
    """Thermal expansion of the part, given or of its material."""
    given = file.sound(("part", "thermal_expansion"))
    known = alloy(file.sound(("part", "material")))
    return known.expansion_1e6_k if given is None and known is not None else given


def _logged(
    file: TomlFile, melted: MeltedTable, thickness: float, expansion: float | None
) -> BuildEvent:
    known = bed(melted.penetration, melted.packing, melted.cooled, thickness, expansion or 0.0)
    event = strays_from_log(melted.layers, melted.first_number, thickness, known)
    if asks_expansion(melted.cooled) and expansion is None:
        file.fault(("melted", "cooled"), NO_EXPANSION)
    if asks_expansion(melted.cooled) and not event.strays:
        restart = "a right restart is a [[stray]] with layers = 0, next_layer and cooled"
        file.fault(("melted", "cooled"), f"none, since the log shows no break: {restart}")
    return event


def sheets_of(file: TomlFile, thickness: float | None, expansion: float | None) -> BuildEvent:
    """Check the [[stray]] tables of a case or plate file and read them where that is possible."""
    for number, raw in enumerate(file.items("stray")):
        for name, expected in stray_faults(raw):
            file.fault(("stray", number, name), expected)
    check_files(file, (("stray", n, "mesh") for n in range(len(file.items("stray")))))
    if thickness is None or file.sound(("stray",)) is None:
        return BuildEvent()
    found = [file.sound_tables.get(("stray", n)) for n in range(len(file.items("stray")))]
    tables = [table for table in found if isinstance(table, StrayKeys)]

    def fault(number: int, name: str, expected: str) -> None:
        file.fault(("stray", number, name), expected)

    return read_event(tables, thickness, file.path.parent, fault, expansion)


def _resolved(part: PartTable, folder: Path) -> PartTable:
    known, density = alloy(part.material), part.density_g_cm3
    if density is None and known is not None:
        density = known.density_g_cm3
    return part.model_copy(
        update={
            "mesh": folder / part.mesh,
            "also_melted": tuple(folder / mesh for mesh in part.also_melted),
            "finished": None if part.finished is None else folder / part.finished,
            "density_g_cm3": density,
            "material": known.name if known is not None else part.material,
        }
    )


def _with_series(drilling: DrillingTable) -> DrillingTable:
    """With drills of the shop's own and no word on series, only those drills count."""
    if drilling.drills and "series" not in drilling.model_fields_set:
        return drilling.model_copy(update={"series": ()})
    return drilling


PLATFORM_ASSUMED = "[part]: platform_z is not given: the part stands on the platform itself"


def _assumed(written: PartTable, part: PartTable) -> Iterator[str]:
    if part.platform_z is None:
        yield PLATFORM_ASSUMED
    if written.density_g_cm3 is None and part.density_g_cm3 is not None:
        value = f"{part.density_g_cm3:g} g/cm3"
        yield f"[part]: density {value}, the program's value of {part.material}"


def expansion_of(part: PartTable) -> float | None:
    """Thermal expansion of a part, given or of its material, 1e-6/K; None if it is not known."""
    known = alloy(part.material)
    if part.thermal_expansion is None and known is not None:
        return known.expansion_1e6_k
    return part.thermal_expansion


def expansion_assumed(part: PartTable, strays: Iterable[StrayTable]) -> Iterator[str]:
    """Say which thermal expansion is the program's own, where an event asks for one."""
    if part.thermal_expansion is None and any(stray.cooled_high > 0.0 for stray in strays):
        value = f"{expansion_of(part):g}e-6/K"
        yield f"thermal expansion {value}, a data sheet value of {part.material} from memory"
