"""The plate file: one event, and the parts that stood on the platform when it happened.

In: a TOML file. Out: a `Plate`; and for each of its parts, when asked, the part's case under
the plate's event. The parts' own cases are not opened before that: a bad one stops no other.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Annotated, Any

from pydantic import BeforeValidator, ConfigDict, Field

from clearance.case.kinds import (
    AnyList,
    Coordinate,
    FilePath,
    LayerNumber,
    LayerRange,
    Name,
    Offset,
    Shift,
    Size,
    Span,
    Table,
    key,
)
from clearance.case.read import Case, expansion_assumed, expansion_of, read_case, sheets_of
from clearance.case.stray_tables import BuildEvent, Resume, StrayKeys, StrayTable, read_event
from clearance.case.tables import PartTable
from clearance.case.toml_file import TomlFile
from clearance.errors import CaseError

OVERRIDES = ("layers", "resume", "next_layer", "resume_shift")
"""Keys of the plate's event that one part may have otherwise."""

_NOT_IN_FILE_NAMES = re.compile(
    r'[/\\:*?"<>|]|^\.|[. ]$|^(con|prn|aux|nul|com\d|lpt\d)(\.|$)', re.IGNORECASE
)
LONGEST_FILE_NAME = 200
"""Bytes of a part's name: with an ending it has to be a file's on every system."""


Serial = Annotated[str, Field(min_length=1, max_length=60)]


class PlateTable(Table):
    """[plate]: the platform."""

    name: Name = key("Name of the build.")
    size: Size = key("Size of the platform; the origin is the centre of its face.", "mm")


class PlacedPart(Table):
    """[[part]]: a part on the plate."""

    model_config = ConfigDict(json_schema_extra={"not": {"required": ["resume", "next_layer"]}})

    name: Name = key("Name of the part, unique; its result files are called so.")
    case: FilePath = key("The part's case file; its own event is replaced by the plate's.")
    at: Offset = key("Where the mesh's origin stands on the platform.", "mm")
    turn: Coordinate = key("Turn of the part about +Z, counter-clockwise.", "deg", 0.0)
    serial: Serial | None = key(
        "Serial number of the part, printed on its sheet.",
        "",
        None,
        "the case's own, if no other part of the plate has the same case",
    )
    coupon: bool = key(
        "`true`: a test piece. Its case may be without [[passage]]; then nothing is judged of it, "
        "and the plate report says whether it went on above the event.",
        "",
        False,
    )
    gauge: Span | None = key(
        "Gauge length of a test piece, [low, high] above the platform: it counts as a witness of "
        "a joint that lies within.",
        "mm",
        None,
        "not known; with `coupon` alone",
    )
    layers: LayerRange | None = key(
        "Stray layers of this part, if not the plate's; 0: it got none.", "", None, "the plate's"
    )
    resume: Resume | None = key(
        "How the build of this part went on, if not the plate's.", "", None, "the plate's"
    )
    next_layer: LayerNumber | None = key(
        "Instead of resume: first layer of this part after the sheet.", "", None, "the plate's"
    )
    resume_shift: Shift | None = key(
        "Sideways offset in platform axes, if not the plate's.", "mm", None, "the plate's"
    )


class PlateFile(Table):
    """All tables of a plate file, as written."""

    plate: PlateTable
    stray: Annotated[tuple[StrayKeys, ...], BeforeValidator(AnyList)] = ()
    part: Annotated[tuple[PlacedPart, ...], BeforeValidator(AnyList), Field(min_length=1)]


def plate_file_schema() -> dict[str, Any]:
    """JSON Schema of the plate file, for editors; shipped as plate-file.schema.json."""
    schema = PlateFile.model_json_schema()
    schema.update(title="Plate file of clearance", description="docs/case-file.md explains it.")
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema}


@dataclass(frozen=True, slots=True)
class Plate:
    """A plate, ready to use.

    Attributes
    ----------
    path : Path
        The plate file.
    text_sha256 : str
        Of the file's bytes.
    name : str
        Name of the build.
    size : (float, float), mm
        Size of the platform in x and y.
    stray : tuple of StrayKeys
        The event as written: heights and melt depths depend on each part's layer thickness.
    part : tuple of PlacedPart
        The parts; `case` is resolved.
    """

    path: Path
    text_sha256: str
    name: str
    size: tuple[float, float]
    stray: tuple[StrayKeys, ...]
    part: tuple[PlacedPart, ...]


def read_plate(path: Path) -> Plate:
    """Read and check a plate file; the cases of its parts are not opened.

    Raises
    ------
    CaseError
        A line for each fault of the file: line number, table, key, found, expected.
    """
    file = TomlFile(Path(path), PlateFile)
    _check_names(file)
    _check_overrides(file)
    _check_gauges(file)
    # Layer thicknesses are the parts': here the sheets count as thin, and each part checks again.
    by_number = any("after_layer" in raw for raw in file.items("stray"))
    sheets_of(file, None if by_number else 0.0, 0.0)
    file.raise_faults()
    tables = PlateFile.model_validate(file.document)
    folder = file.path.parent
    return Plate(
        path=file.path,
        text_sha256=file.sha256,
        name=tables.plate.name,
        size=tables.plate.size,
        stray=tables.stray,
        part=tuple(p.model_copy(update={"case": folder / p.case}) for p in tables.part),
    )


def case_on_plate(plate: Plate, part: PlacedPart) -> Case:
    """Read the case of one part and put it under the plate's event.

    Raises
    ------
    CaseError
        The part's case is bad, or the plate's event does not fit its layer thickness.
    """
    case = read_case(part.case, part.coupon)
    if not plate.stray:
        return case
    tables = tuple(_overridden(keys, part) for keys in plate.stray)
    event = _event(plate, tables, case.part)
    replaced = ("the case's own event is replaced by the plate's",) if case.stray else ()
    return replace(
        case,
        stray=tuple(_turned(s, part.turn) for s in event.strays if not _is_nothing(s)),
        melted=None,
        log_last_layer=None,
        translations=tuple(f"plate {plate.name}, {text}" for text in event.translations),
        assumptions=(
            *(text for text in case.assumptions if text.startswith("[part]")),
            *(f"plate {plate.name}, {text}" for text in event.assumptions),
            *expansion_assumed(case.part, event.strays),
        ),
        notices=(*case.notices, *replaced, *_override_notices(part)),
    )


def check_scan(case: Case, others: Mapping[str, Case]) -> None:
    """A scan shows one part: what it shows must not stand on the sheet of another.

    Raises
    ------
    CaseError
        The case of another part, by name, has the same scan.
    """
    if case.scan is None:
        return
    same = [n for n, one in others.items() if one.scan and one.scan.files == case.scan.files]
    if same:
        raise CaseError(
            f"{case.path}: [scan]: found {case.scan.name} for {', '.join(same)} too, expected a "
            "scan of one part: give the part that was scanned a case file of its own"
        )


def _check_names(file: TomlFile) -> None:
    """Names become file names: they must be fit for that, and differ in more than case."""
    seen: set[str] = set()
    for number in range(len(file.items("part"))):
        where = ("part", number, "name")
        name = file.sound(where)
        if name is None:
            continue
        if _NOT_IN_FILE_NAMES.search(name) or len(name.encode()) > LONGEST_FILE_NAME:
            file.fault(
                where,
                f"a name that can be a file's on every system: at most {LONGEST_FILE_NAME} bytes, "
                'no dot at its ends, none of / \\ : * ? " < > |, no device such as CON',
            )
        if name.casefold() in seen:
            file.fault(where, "a name that no other [[part]] has, also without regard to case")
        seen.add(name.casefold())


def _check_overrides(file: TomlFile) -> None:
    strays = file.items("stray")
    for number, raw in enumerate(file.items("part")):
        if "resume" in raw and "next_layer" in raw:
            file.fault(("part", number, "next_layer"), "none beside resume: only one of the two")
        for name in (name for name in OVERRIDES if name in raw):
            if len(strays) != 1:
                found = f"{len(strays)} [[stray]] tables in the file"
                text = f"found it with {found}, expected exactly one to override"
                file.say(("part", number, name), text)
            elif strays[0].get("shape") == "mesh":
                file.fault(("part", number, name), 'none, since the event has shape = "mesh"')


def _check_gauges(file: TomlFile) -> None:
    for number, raw in enumerate(file.items("part")):
        where = ("part", number, "gauge")
        gauge = file.sound(where)
        if gauge is None:
            continue
        if raw.get("coupon") is not True:
            file.fault(where, "none but beside coupon = true")
        elif not gauge[0] < gauge[1]:
            file.fault(where, "a lower end below the upper one")


def _overridden(keys: StrayKeys, part: PlacedPart) -> StrayKeys:
    update = {name: getattr(part, name) for name in OVERRIDES if getattr(part, name) is not None}
    if "resume" in update or "next_layer" in update:
        update = {"resume": None, "next_layer": None, **update}
    return keys.model_copy(update=update)


def _event(plate: Plate, tables: tuple[StrayKeys, ...], part: PartTable) -> BuildEvent:
    faults: list[str] = []

    def fault(number: int, name: str, expected: str) -> None:
        found = getattr(tables[number], name)
        place = f"{plate.path}: [[stray]] number {number + 1} {name}"
        faults.append(f"{place}: found {found}, expected {expected}")

    event = read_event(tables, part.layer_thickness, plate.path.parent, fault, expansion_of(part))
    if faults:
        raise CaseError("\n".join(faults))
    return event


def _turned(stray: StrayTable, turn: float) -> StrayTable:
    """Bring the shift from platform axes into those of the turned part."""
    x, y = stray.resume_shift
    cos, sin = math.cos(math.radians(turn)), math.sin(math.radians(turn))
    shift = (round(cos * x + sin * y, 12) + 0.0, round(cos * y - sin * x, 12) + 0.0)
    return replace(stray, resume_shift=shift)


def _is_nothing(stray: StrayTable) -> bool:
    """A part that got no stray layer, no jump and no shift, and did not cool, was not touched."""
    bare = stray.mesh is None and stray.layers_high == 0 and stray.next_layer is None
    return bare and stray.resume_shift == (0.0, 0.0) and stray.cooled_high == 0.0


def _override_notices(part: PlacedPart) -> Iterator[str]:
    given = [name for name in OVERRIDES if getattr(part, name) is not None]
    if given:
        yield f"{', '.join(given)}: this part's own, not the plate's"
