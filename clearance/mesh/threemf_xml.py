"""What a 3MF file's XML says of itself, before it is read: unit, extensions, sizes.

In: a file. Out: its unit, or a refusal.
"""

from __future__ import annotations

import re
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import IO, Any
from xml.etree import ElementTree

from clearance.errors import PartError

Key = tuple[str, int]
MOST_TRIANGLES = 100_000_000
MOST_PLACED = 100_000
"""Triangles, and objects placed, of all build items with their components expanded."""
_DEEPEST = 64  # nested components; more is a circle

SPACE = "http://schemas.microsoft.com/3dmanufacturing/"
CORE = SPACE + "core/2015/02"
PRODUCTION = SPACE + "production/2015/06"
SLICE = SPACE + "slice/2015/07"
BEAM = SPACE + "beamlattice/2017/02"
# Extensions that leave the geometry as the mesh has it, or that are followed here.
_UNDERSTOOD = {
    CORE,
    PRODUCTION,
    SLICE,
    SPACE + "material/2015/02",
    SPACE + "trianglesets/2021/07",
}
# The standard's unit names, in this program's words.
UNITS = {
    "micron": "um",
    "millimeter": "mm",
    "centimeter": "cm",
    "inch": "inch",
    "foot": "foot",
    "meter": "m",
}
_PIECE_BYTES = 16 << 20
MOST_BYTES = 4 << 30
"""All that a package may unpack to."""
MOST_RATIO = 500
"""What is larger than LARGE_BYTES may not unpack to more times its packed size: it is blanks."""
LARGE_BYTES = 100 << 20
HEAD_BYTES = 1 << 20
"""A model's first tag, and the list of relationships, have to fit in so many bytes."""


def checked_unit(path: Path) -> str:
    """Give the root model's unit; refuse extensions that are required but not understood."""
    with zipfile.ZipFile(path) as archive:
        _check_sizes(archive)
        names = [n for n in archive.namelist() if n.lower().endswith(".model")]
        if not names:
            raise PartError("is a zip archive without a 3MF model in it")
        units: dict[str, str] = {}
        for name in names:
            with archive.open(name) as stream:
                attributes, spaces = _root(stream)
            units[name] = attributes.get("unit", "millimeter")
            for prefix in attributes.get("requiredextensions", "").split():
                space = spaces.get(prefix, prefix)
                if space not in _UNDERSTOOD:
                    raise PartError(
                        f"requires the 3MF extension {space}, which is not understood here: "
                        "export the part as a plain mesh"
                    )
        top = _root_name(archive, names)
        refuse_too_many(*_references(archive, names, top))
        unit = units[top]
    if unit not in UNITS:
        raise PartError(f"has the unit '{unit}', expected one of {', '.join(UNITS)}")
    if len(set(units.values())) > 1:
        raise PartError(f"mixes units in one 3MF file: {', '.join(sorted(set(units.values())))}")
    return UNITS[unit]


def _check_sizes(archive: zipfile.ZipFile) -> None:
    """Refuse a package that would fill the memory, by the sizes that it states."""
    infos = archive.infolist()
    whole = sum(info.file_size for info in infos)
    if whole > MOST_BYTES:
        raise PartError(
            f"the 3MF file is too large when unpacked: {whole} bytes, expected at most {MOST_BYTES}"
        )
    for info in infos:
        if info.file_size > max(LARGE_BYTES, MOST_RATIO * info.compress_size):
            raise PartError(
                f"the 3MF file's {info.filename} unpacks to {info.file_size} bytes, more than "
                f"{MOST_RATIO} times its packed size: expected a model"
            )
        if info.filename.lower().endswith(".rels") and info.file_size > HEAD_BYTES:
            raise PartError(
                f"the 3MF file's {info.filename} is too large when unpacked: {info.file_size} "
                f"bytes, expected at most {HEAD_BYTES}"
            )


def _root_name(archive: zipfile.ZipFile, names: list[str]) -> str:
    """Give the name of the package's root model, from its relationships."""
    for relation in ElementTree.fromstring(archive.read("_rels/.rels")):
        if relation.get("Type", "").endswith("/3dmodel"):
            target = relation.get("Target", "").lstrip("/")
            return next((n for n in names if n.lower() == target.lower()), names[0])
    raise PartError("is a zip archive without a 3MF model in it")


def _root(stream: IO[bytes]) -> tuple[dict[str, str], dict[str, str]]:
    """Give the root element's attributes and the prefixes declared on it."""
    head = stream.read(HEAD_BYTES)
    prolog = re.split(rb"<[A-Za-z]", re.sub(rb"(?s)<!--.*?-->", b"", head.replace(b"\0", b"")))[0]
    if b"<!DOCTYPE" in prolog:
        raise PartError("the 3MF file's XML has a document type, which the 3MF standard forbids")
    spaces: dict[str, str] = {}
    parser: Any = ElementTree.XMLPullParser(("start-ns", "start"))
    parser.feed(head)
    for event, found in parser.read_events():
        if event == "start":
            return dict(found.attrib), spaces
        spaces[found[0]] = found[1]
    if len(head) == HEAD_BYTES:
        raise PartError(f"the 3MF file's model has a first tag of over {HEAD_BYTES} bytes")
    parser.close()  # says what is wrong
    return {}, spaces


_TAG = re.compile(
    rb"""<(?:[\w.-]+:)?(object|component|item)\b((?:[^<>"']|"[^"]*"|'[^']*')*)>""", re.DOTALL
)


def _references(
    archive: zipfile.ZipFile, names: list[str], top: str
) -> tuple[dict[Key, list[Key]], dict[Key, int], list[Key]]:
    """Which objects are made of which: the readers expand them before they can be asked.

    Looked up in the bytes, a piece at a time, as a model may have millions of triangles.
    """
    components: dict[Key, list[Key]] = {}
    items: list[Key] = []
    for name in names:
        own: list[Key] = []
        for kind, attributes in _tags(archive, name):
            if kind == b"object":
                own = components.setdefault((name, _number(attributes, rb"id")), [])
                continue
            path = re.search(rb"""\bpath\s*=\s*["']([^"']*)["']""", attributes)
            file = path[1].decode("utf-8", "replace").lstrip("/") if path else name
            target = (file, _number(attributes, rb"objectid"))
            if kind == b"component":
                own.append(target)
            elif name == top:
                items.append(target)
    return components, {}, items


def _tags(archive: zipfile.ZipFile, name: str) -> Iterator[tuple[bytes, bytes]]:
    """Kinds and attributes of the tags that refer to objects."""
    rest = b""
    with archive.open(name) as stream:
        while piece := stream.read(_PIECE_BYTES):
            text = rest + piece.replace(b"\0", b"")  # UTF-16 becomes plain where it matters
            end = max(text.rfind(b">") + 1, len(text) - HEAD_BYTES)
            for found in _TAG.finditer(text, 0, end):
                yield found[1], found[2]
            rest = text[end:]


def _number(attributes: bytes, key: bytes) -> int:
    found = re.search(rb"(?<![\w:.-])" + key + rb"""\s*=\s*["']\s*(\d{1,18})\s*["']""", attributes)
    if found is None:
        raise PartError(
            f"the 3MF file is not as the standard says: found <{attributes[:60]!r}>, "
            f"expected {key.decode()} with a whole number"
        )
    return int(found[1])


def refuse_too_many(
    components: dict[Key, list[Key]], faces: dict[Key, int], items: list[Key]
) -> None:
    """Count before anything is expanded: components of components grow by powers.

    `components`: what each object is made of. `faces`: triangles of its own, 0 if not given.
    """
    counted: dict[Key, tuple[int, int]] = {}

    def count(key: Key, depth: int) -> tuple[int, int]:
        """Objects placed and triangles below an object."""
        refuse_circle(depth)
        if key not in counted:
            if key not in components:
                raise PartError(f"the 3MF file builds object {key[1]}, which it does not hold")
            inner = [count(part, depth + 1) for part in components[key]]
            counted[key] = (
                1 + sum(placed for placed, _ in inner),
                faces.get(key, 0) + sum(own for _, own in inner),
            )
        return counted[key]

    every = [count(key, 0) for key in items]
    for what, number, most in (
        ("objects", sum(placed for placed, _ in every), MOST_PLACED),
        ("triangles", sum(own for _, own in every), MOST_TRIANGLES),
    ):
        if number > most:
            raise PartError(
                f"the 3MF file is too large when expanded: its components make {number} {what}, "
                f"expected at most {most}"
            )


def refuse_circle(depth: int) -> None:
    """Refuse components that are nested too deeply."""
    if depth > _DEEPEST:
        raise PartError("the 3MF file's components contain each other")
