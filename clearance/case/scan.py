"""[scan]: a scan of the part, as written.

In: the file. Out: the model of its keys, and what is wrong with them together. What the scan shows
is left to `scanned`.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import Annotated, Any, Literal, get_args

from pydantic import BeforeValidator, Field, WithJsonSchema

from clearance.case.kinds import AnyList, FilePath, NotNegative, Point, Positive, Table, key, refuse
from clearance.case.slices import listed
from clearance.case.toml_file import TomlFile

Unit = Literal["mm", "cm", "m", "um", "in", "inch", "foot"]
Number = Literal["uint8", "int8", "uint16", "int16", "uint32", "int32", "float32", "float64"]
Axis = Literal["x", "y", "z"]

MOST_VOXELS = 100_000
"""Voxels along one axis, at most: more is a slip of the pen."""


def _one_or_more(value: object) -> object:
    if isinstance(value, str):
        return (value,)
    return tuple(value) if isinstance(value, list) else value


def _three(value: object) -> tuple[Any, ...]:
    if not isinstance(value, list | tuple) or len(value) != 3:
        raise refuse("three whole numbers, [x, y, z]")
    return tuple(value)


_SIZE = {"type": "array", "items": {"type": "number", "exclusiveMinimum": 0}}
Files = Annotated[
    tuple[FilePath, ...],
    Field(min_length=1),
    BeforeValidator(_one_or_more),
    WithJsonSchema({"anyOf": [{"type": "string"}, {"type": "array", "items": {"type": "string"}}]}),
]
Voxel = Annotated[Point, WithJsonSchema({**_SIZE, "minItems": 3, "maxItems": 3})]
_Count = Annotated[int, Field(ge=2, le=MOST_VOXELS)]
Shape = Annotated[tuple[_Count, _Count, _Count], BeforeValidator(_three)]

OF_A_MESH, OF_A_VOLUME = (
    ("unit",),
    ("voxel", "reversed_axes", "blur", "shape", "type", "byte_order"),
)
OF_RAW = ("shape", "type", "byte_order")
TIFF = (".tif", ".tiff")


class ScanTable(Table):
    """[scan]: the part as measured; after reading, paths are resolved."""

    mesh: FilePath | None = key(
        "Closed surface of the part from a tomograph or a scanner: STL, PLY, OBJ or 3MF.",
        "",
        None,
        "`volume` is given",
    )
    unit: Unit = key("Unit of a mesh that carries none.", "", "mm")
    volume: Files | None = key(
        "Grey values of the part from a tomograph: a TIFF of many pages; a folder, a pattern "
        '(`"slices/*.tif"`) or a list of TIFFs, one for each slice; or a file of bare numbers.',
        "",
        None,
        "`mesh` is given",
    )
    voxel: Voxel | None = key(
        "Distance of the voxels along x (within a row), y (from row to row) and z (from slice to "
        "slice); of a volume it is required.",
        "mm",
        None,
        "required with `volume`",
    )
    shape: Shape | None = key(
        "Voxels of a file of bare numbers along x, y and z; x runs fastest.",
        "",
        None,
        "required with a file of bare numbers",
    )
    type: Number | None = key(
        "Type of its numbers.", "", None, "required with a file of bare numbers"
    )
    byte_order: Literal["little", "big"] | None = key(
        "Order of the bytes of each.", "", None, "required where a number has several"
    )
    reversed_axes: Annotated[tuple[Axis, ...], BeforeValidator(AnyList)] = key(
        "Axes along which the volume runs the other way, such as rows of an image that run down: "
        '`["y"]`. Otherwise it is a mirror image, which is refused.',
        "",
        (),
    )
    blur: Positive | None = key(
        "Standard deviation of the scan's blur, a voxel's own width in it.",
        "mm",
        None,
        "measured on the part's own faces",
    )
    uncertainty: NotNegative | None = key(
        "How far a surface of the scan may lie off the metal's, either way; of a mesh it is "
        "required.",
        "mm",
        None,
        "of a volume: a quarter of a voxel, and what its noise adds",
    )
    thinnest_shown: Positive | None = key(
        "Thinnest sheet that the scan surely shows. Where the event can make a thinner one the "
        "scan never proves a passage open. Of a volume it is computed from blur and noise, and the "
        "greater of the two counts.",
        "mm",
        None,
        "not known: no sheet is surely shown",
    )
    placed: bool = key(
        "`true`: the file stands as the part does; no other way round is looked for.", "", False
    )

    @property
    def files(self) -> tuple[Path, ...]:
        """The files that hold the scan."""
        return (self.mesh,) if self.mesh is not None else self.volume or ()

    def relocated(self, new: Callable[[Path], Path]) -> ScanTable:
        """The scan with its files at other places."""
        if self.mesh is not None:
            return self.model_copy(update={"mesh": new(self.mesh)})
        return self.model_copy(update={"volume": tuple(map(new, self.volume or ()))})

    @property
    def name(self) -> str:
        """The scan in messages: its file, or the folder of its slices."""
        first = self.files[0]
        return (
            first.name if len(self.files) == 1 else f"{first.name} and {len(self.files) - 1} more"
        )


def check_scan(file: TomlFile) -> None:
    """Refuse keys of [scan] that do not go together, and files that are not there."""
    raw = file.sound(("scan",))
    if not isinstance(raw, dict):
        return
    given = [name for name in ("mesh", "volume") if name in raw]
    if len(given) != 1:
        found = "both mesh and volume" if given else "neither mesh nor volume"
        file.say(("scan",), f"found {found}, expected one of them")
        return
    others = OF_A_VOLUME if given == ["mesh"] else OF_A_MESH
    for name in others:
        if name in raw:
            file.fault(("scan", name), f"no such key with {given[0]}")
    if given == ["mesh"] and "uncertainty" not in raw:
        file.say(("scan", "uncertainty"), "the key is missing")
    if given == ["volume"]:
        _check_volume(file, raw)


def _check_volume(file: TomlFile, raw: dict[str, Any]) -> None:
    if "voxel" not in raw:
        file.fault(("scan", "voxel"), "the distances of its voxels in mm, [x, y, z]")
    elif min(raw["voxel"]) <= 0.0:
        file.fault(("scan", "voxel"), "three lengths above 0, [x, y, z]")
    written = raw["volume"]
    found = listed(file.path.parent, [written] if isinstance(written, str) else written)
    if isinstance(found, str):
        file.fault(("scan", "volume"), found)
        return
    bare = [path for path in found if path.suffix.lower() not in TIFF]
    if bare and len(found) > 1:
        file.fault(("scan", "volume"), "slices that are TIFF files (.tif, .tiff), or one file")
    for name in OF_RAW:
        if not bare and name in raw:
            file.fault(("scan", name), "no such key with TIFF, which says it itself")
    if bare and len(found) == 1:
        _check_bare(file, raw, found[0])


def _check_bare(file: TomlFile, raw: dict[str, Any], path: Path) -> None:
    """A file of bare numbers: told in full, and as long as it should be."""
    single = raw.get("type") in ("uint8", "int8")
    expected = {
        "shape": "voxels of this file of bare numbers along x, y and z, [x, y, z]",
        "type": f"the type of its numbers: {', '.join(get_args(Number))}",
        "byte_order": "'little' or 'big'",
    }
    missing = [name for name in OF_RAW if name not in raw]
    if single and "byte_order" in missing:
        missing.remove("byte_order")
    for name in missing:
        file.fault(("scan", name), expected[name])
    if missing:
        return
    nx, ny, nz = raw["shape"]
    width = int(re.sub(r"\D", "", raw["type"])) // 8
    needs, has = nx * ny * nz * width, path.stat().st_size
    if needs != has:
        file.fault(
            ("scan", "shape"),
            f"as many voxels as the file has bytes for: {nx} x {ny} x {nz} of {raw['type']} are "
            f"{needs} bytes, {path.name} has {has}",
        )


def resolved(scan: ScanTable | None, folder: Path) -> ScanTable | None:
    """[scan] with the paths of its files."""
    if scan is None:
        return None
    if scan.mesh is not None:
        return scan.model_copy(update={"mesh": folder / scan.mesh})
    found = listed(folder, [str(path) for path in scan.volume or ()])
    return scan.model_copy(update={"volume": found})
