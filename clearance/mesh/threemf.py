"""3MF files: build items with their transforms and components, in the file's unit.

In: a path. Out: triangles, unit, notices. lib3mf reads the package; where it is
not to be had, lxml does. Both fill the same small tables, and one function
assembles the build from them. What is not metal of the part (support objects)
is left out aloud, and what this reader would misread (a required extension, a
slice stack in place of the mesh, beams) is refused. Content of foreign namespaces
is ignored, as the standard asks (3MF core 1.3.0, 2.3.3.1), aloud. How much the
file unpacks to is looked at before anything is unpacked.
"""

import zipfile
import zlib
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import numpy as np
from numpy.typing import NDArray

from clearance.errors import PartError
from clearance.mesh.threemf_xml import (
    BEAM,
    CORE,
    PRODUCTION,
    SLICE,
    Key,
    _root_name,
    checked_unit,
    refuse_circle,
    refuse_too_many,
)

MOST_NAMED = 20
"""Build items that an error lists."""
_TYPES = ("other", "model", "support", "solidsupport", "surface")  # in lib3mf's order
# What the standard library raises on a damaged, encrypted or exotic archive or its XML.
_DAMAGE = (
    LookupError,  # an encoding that nobody knows
    zipfile.BadZipFile,
    zlib.error,
    ElementTree.ParseError,
    EOFError,
    KeyError,
    NotImplementedError,
    RuntimeError,
    UnicodeError,
)


@dataclass(eq=False, slots=True)
class _Object:
    """One object of the file: a mesh, or components, with what decides about its use."""

    name: str
    type: str
    vertices: NDArray[np.float64]
    faces: NDArray[np.int64]
    components: list[tuple[Key, NDArray[np.float64]]] = field(default_factory=list)
    coarse: bool = False
    beams: bool = False


@dataclass(eq=False, slots=True)
class _Package:
    """The tables both readers fill: objects, and the build's items with (4, 3) transforms.

    `numbers`: the items' part numbers, empty where they have none.
    """

    objects: dict[Key, _Object]
    items: list[tuple[Key, NDArray[np.float64]]]
    numbers: list[str] = field(default_factory=list)


def read_3mf(
    path: Path, item: str | None = None
) -> tuple[NDArray[np.float64], str, tuple[str, ...]]:
    """Read everything a 3MF file builds as one soup of triangles.

    Parameters
    ----------
    path : Path
        The file.
    item : str, optional
        Name of the one build item that is meant: its object's name or its part number, with " #2"
        for the second item of that name. Default: all of them.

    Returns
    -------
    triangles : (F, 3, 3) ndarray of float64, in `unit`
        All build items but support objects, transforms applied; F >= 1.
    unit : str
        "um", "mm", "cm", "inch", "foot" or "m"; "mm" where the file gives none,
        as the standard says.
    notices : tuple of str
        Items joined, support objects left out.

    Raises
    ------
    PartError
        Not a 3MF, damaged, an unknown unit, a required extension that is not
        understood, slices or beams instead of a mesh, or nothing to build.
    """
    try:
        unit = checked_unit(path)
    except _DAMAGE as fault:
        raise PartError(f"the 3MF file is damaged or cut off: {fault}") from fault
    try:
        import lib3mf  # noqa: F401
    except ImportError:
        triangles, notices = _assemble(_with_lxml(path), item)
        return triangles, unit, notices
    package, warnings = _with_lib3mf(path)
    triangles, notices = _assemble(package, item)
    if warnings:
        _compare(triangles, path, warnings, item)
        notices = (*notices, f"the 3MF file holds what this reader leaves aside: {warnings}")
    return triangles, unit, notices


def _compare(triangles: NDArray[np.float64], path: Path, warnings: str, item: str | None) -> None:
    """Refuse a file of which lib3mf may have put something in place of what it did not understand.

    A warning is harmless where a second reader, which knows the core's elements only,
    finds the same triangles.
    """
    try:
        plain, _ = _assemble(_with_lxml(path), item)
        same = np.array_equal(plain.astype(np.float32), triangles.astype(np.float32))
    except PartError:
        same = False
    if not same:
        raise PartError(f"the 3MF file is not as the standard says: {warnings}")


def _with_lib3mf(path: Path) -> tuple[_Package, str]:
    """Fill the tables, and give the library's warnings in one text."""
    import lib3mf

    model = lib3mf.get_wrapper().CreateModel()
    reader = model.QueryReader("3mf")
    try:
        reader.ReadFromFile(str(path))
    except lib3mf.ELib3MFException as fault:
        raise PartError(f"the 3MF file cannot be read: {fault}") from fault
    warnings = [reader.GetWarning(i) for i in range(reader.GetWarningCount())]
    package = _Package({}, [])
    items = model.GetBuildItems()
    while items.MoveNext():
        item = items.GetCurrent()
        placed = item.GetObjectTransform() if item.HasObjectTransform() else None
        key = _take(item.GetObjectResource(), package, 0)
        package.items.append((key, _matrix(placed)))
        package.numbers.append(item.GetPartNumber() or "")
    return package, "; ".join(dict.fromkeys(f"{text} ({code})" for code, text in warnings))


def _take(resource: Any, package: _Package, depth: int) -> Key:
    """Copy a lib3mf object, and what it is made of, into the tables."""
    import lib3mf

    key = ("", int(resource.GetUniqueResourceID()))
    if key in package.objects:
        return key
    refuse_circle(depth)
    name = resource.GetName() or f"object {resource.GetModelResourceID()}"
    kind = _TYPES[int(resource.GetType())]
    if resource.IsMeshObject():
        count = resource.GetVertexCount()
        vertices = np.frombuffer((lib3mf.Position * count)(*resource.GetVertices()), "<f4")
        count = resource.GetTriangleCount()
        faces = np.frombuffer((lib3mf.Triangle * count)(*resource.GetTriangleIndices()), "<u4")
        found = _Object(
            name, kind, vertices.reshape(-1, 3).astype(np.float64), faces.reshape(-1, 3).astype(int)
        )
        lattice = resource.BeamLattice()
        found.beams = lattice.GetBeamCount() > 0 or lattice.GetBallCount() > 0
    elif resource.IsComponentsObject():
        found = _Object(name, kind, np.empty((0, 3)), np.empty((0, 3), int))
        for i in range(resource.GetComponentCount()):
            part = resource.GetComponent(i)
            placed = part.GetTransform() if part.HasTransform() else None
            inner = _take(part.GetObjectResource(), package, depth + 1)
            found.components.append((inner, _matrix(placed)))
    else:
        raise PartError(f"'{name}' is neither a mesh nor made of meshes: export a plain mesh")
    lowres = int(resource.GetSlicesMeshResolution()) == int(lib3mf.SlicesMeshResolution.Lowres)
    found.coarse = bool(lowres and resource.HasSlices(False))
    package.objects[key] = found
    return key


def _matrix(transform: Any) -> NDArray[np.float64]:
    if transform is None:
        return np.vstack([np.eye(3), np.zeros(3)])
    return np.array([list(row) for row in transform.Fields], np.float64)


def _with_lxml(path: Path) -> _Package:
    from lxml import etree

    package = _Package({}, [])
    parser = etree.XMLParser(resolve_entities=False, no_network=True, huge_tree=True)
    try:
        with zipfile.ZipFile(path) as archive:
            names = [n for n in archive.namelist() if n.lower().endswith(".model")]
            top = _root_name(archive, names)
            for name in names:
                root = etree.fromstring(archive.read(name), parser)
                _refuse_other_elements(root)
                for element in root.iter(f"{{{CORE}}}object"):
                    key = (name, int(element.get("id")))
                    package.objects[key] = _object(element, name)
                if name == top:
                    items = root.findall(f"{{{CORE}}}build/{{{CORE}}}item")
                    package.items.extend(_placed(item, name) for item in items)
                    package.numbers.extend(item.get("partnumber", "") for item in items)
    except (etree.XMLSyntaxError, *_DAMAGE) as fault:
        raise PartError(f"the 3MF file is damaged or cut off: {fault}") from fault
    except (TypeError, ValueError) as fault:
        raise PartError(f"the 3MF file is not as the standard says: {fault}") from fault
    return package


def _refuse_other_elements(root: Any) -> None:
    if root.tag != f"{{{CORE}}}model":
        raise PartError(f"the 3MF file's model begins with {root.tag}, expected a core model")


def _object(element: Any, file: str) -> _Object:
    """Read one <object> of the XML."""
    core = f"{{{CORE}}}"
    vertices = [
        [float(v.get(axis)) for axis in "xyz"] for v in element.iter(core + "vertex")
    ]  # fmt: skip
    faces = [[int(t.get(c)) for c in ("v1", "v2", "v3")] for t in element.iter(core + "triangle")]
    found = _Object(
        element.get("name") or f"object {element.get('id')}",
        element.get("type", "model"),
        np.array(vertices, np.float64).reshape(-1, 3),
        np.array(faces, np.int64).reshape(-1, 3),
    )
    found.components = [_placed(c, file) for c in element.iter(core + "component")]
    found.coarse = element.get(f"{{{SLICE}}}meshresolution") == "lowres"
    found.beams = element.find(f".//{{{BEAM}}}beamlattice") is not None
    return found


def _placed(element: Any, file: str) -> tuple[Key, NDArray[np.float64]]:
    """Read which object a <component> or <item> places, and where."""
    target = (element.get(f"{{{PRODUCTION}}}path") or file).lstrip("/")
    numbers = element.get("transform", "1 0 0 0 1 0 0 0 1 0 0 0").split()
    return (target, int(element.get("objectid"))), np.array(numbers, np.float64).reshape(4, 3)


def _assemble(
    package: _Package, item: str | None = None
) -> tuple[NDArray[np.float64], tuple[str, ...]]:
    refuse_too_many(
        {key: [part for part, _ in one.components] for key, one in package.objects.items()},
        {key: len(one.faces) for key, one in package.objects.items()},
        [key for key, _ in package.items],
    )
    notices: list[str] = []
    soups: list[NDArray[np.float64]] = []
    used: list[str] = []
    seen: Counter[tuple[Key, tuple[bytes, ...]]] = Counter()
    chosen = package.items if item is None else [_chosen(package, item)]
    for key, matrix in chosen:
        before = len(soups)
        soups.extend(_placed_meshes(package, key, [matrix], notices, seen))
        if len(soups) > before:
            used.append(f"'{package.objects[key].name}'")
    if not sum(map(len, soups)):
        what = "only support objects" if notices else "nothing"
        raise PartError(f"the 3MF file's build holds {what}: there is no part to read")
    if item is not None and len(package.items) > 1:
        notices.append(f"of {len(package.items)} build items '{item}' alone is the part")
    if len(used) > 1:
        notices.append(f"{len(used)} build items are taken together as one part: {', '.join(used)}")
    again = [(package.objects[key].name, many) for (key, _), many in seen.items() if many > 1]
    notices += [
        f"'{name}' is placed {many} times in one place: it counts once" for name, many in again
    ]
    return np.concatenate(soups), tuple(dict.fromkeys(notices))


def _chosen(package: _Package, item: str) -> tuple[Key, NDArray[np.float64]]:
    """The one build item of a name; its object's name or its part number, counted if it repeats."""
    names = [package.objects[key].name for key, _ in package.items]
    found: list[int] = []
    for kind in (_counted(names), _counted(package.numbers), names, package.numbers):
        found = [n for n, name in enumerate(kind) if name and name == item]
        if found:
            break
    if len(found) == 1:
        return package.items[found[0]]
    listed = ", ".join(f"'{name}'" for name in _counted(names)[:MOST_NAMED])
    more = f" and {len(names) - MOST_NAMED} more" if len(names) > MOST_NAMED else ""
    times = f", which {len(found)} build items are called" if found else ""
    raise PartError(f"[part] item: found '{item}'{times}, expected one of {listed}{more}")


def _counted(names: list[str]) -> list[str]:
    """Names, those that come several times with their number: bracket #1, bracket #2."""
    total, seen, found = Counter(names), Counter[str](), []
    for name in names:
        seen[name] += 1
        found.append(f"{name} #{seen[name]}" if name and total[name] > 1 else name)
    return found


def _placed_meshes(
    package: _Package,
    key: Key,
    matrices: list[NDArray[np.float64]],
    notices: list[str],
    seen: Counter[tuple[Key, tuple[bytes, ...]]],
) -> Iterator[NDArray[np.float64]]:
    """Give the meshes below an object, moved by its transforms, innermost first, each once."""
    found = package.objects[key]
    if found.type in ("support", "solidsupport"):
        notices.append(f"the support object '{found.name}' is left out")
        return
    if found.type == "other":
        raise PartError(f"the 3MF file builds '{found.name}', which is of type 'other': not a part")
    if found.coarse:
        raise PartError(
            f"'{found.name}' is a slice stack, its mesh is only a coarse picture of it: "
            "export the full mesh"
        )
    if found.beams:
        raise PartError(f"'{found.name}' holds a beam lattice: export it as a mesh")
    if len(found.faces):
        moved_by = [m for m in matrices if not np.array_equal(m, _matrix(None))]
        place = (key, tuple(m.tobytes() for m in moved_by))
        seen[place] += 1
        if seen[place] == 1:
            yield _moved(found, moved_by)
    for inner, matrix in found.components:
        yield from _placed_meshes(package, inner, [matrix, *matrices], notices, seen)


def _moved(found: _Object, matrices: list[NDArray[np.float64]]) -> NDArray[np.float64]:
    faces = found.faces
    if faces.min() < 0 or faces.max() >= len(found.vertices):
        raise PartError(
            f"'{found.name}' has a triangle with vertex {int(faces.max())} (from 0), "
            f"there are {len(found.vertices)}"
        )
    points = found.vertices
    for matrix in matrices:
        turn = float(np.linalg.det(matrix[:3]))
        if not np.isfinite(matrix).all() or abs(turn) < 1e-12:
            raise PartError(f"'{found.name}' is placed by a transform that flattens it")
        # Written out, not a matrix product: equal vertices must stay bitwise equal.
        points = (
            points[:, :1] * matrix[0] + points[:, 1:2] * matrix[1] + points[:, 2:] * matrix[2]
        ) + matrix[3]
        if turn < 0:  # a mirror turns every triangle inside out
            faces = faces[:, ::-1]
    return points[faces]
