"""The mesh formats: from a file's bytes to triangles in the file's own unit.

In: a path. Out: `RawMesh`, or a `PartError` whose text does not name the file
(`part` puts the name in front). Bytes decide the format, the name is only
compared with it. Whether the mesh is closed is left to `closedness`; 3MF is
read by `threemf`.
"""

import itertools
import re
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from clearance.errors import PartError
from clearance.kernels.compiler import kernel
from clearance.mesh.step import DEFAULT_CHORD_MM, RoundWall, read_step

_SUFFIX = {
    "binary STL": (".stl",),
    "text STL": (".stl",),
    "PLY": (".ply",),
    "OBJ": (".obj",),
    "3MF": (".3mf",),
    "STEP": (".step", ".stp", ".p21"),
}
_HEAD_BYTES = 65536
_PIECE_BYTES = 8_000_000  # of text STL parsed at a time: about 1 GB of words otherwise
_RECORDS = 1 << 18  # of binary STL decoded at a time
_READERS = 2  # threads that decode; more would only wait for memory
_LONGEST_WORD = 64  # no number is longer; keeps one stray word from blowing up the word array


@dataclass(frozen=True, eq=False, slots=True)
class RawMesh:
    """Triangles as the file gives them.

    Attributes
    ----------
    triangles : (F, 3, 3) ndarray of float32 or float64, in `unit`
        Corners in the file's order; F >= 1; not checked for non-finite numbers.
    unit : str or None
        The file's own unit, None where the format carries none.
    kind : str
        "binary STL", "text STL", "PLY", "OBJ", "3MF" or "STEP".
    notices : tuple of str
        What the user should know of how the file was read.
    chord_mm : float
        How far triangles made of a STEP file may lie off its surface; 0 of a mesh.
    walls : tuple of RoundWall
        Cylinders and tori of a STEP file, mm.
    """

    triangles: NDArray[np.float32] | NDArray[np.float64]
    unit: str | None
    kind: str
    notices: tuple[str, ...] = ()
    chord_mm: float = 0.0
    walls: tuple[RoundWall, ...] = ()


def read_mesh(path: Path, item: str | None = None, chord_mm: float = DEFAULT_CHORD_MM) -> RawMesh:
    """Read the triangles of a mesh file.

    Parameters
    ----------
    path : Path
        STL (binary or text), PLY, OBJ, 3MF or STEP.
    item : str, optional
        Name of the one build item of a 3MF that is meant.
    chord_mm : float
        Greatest distance of triangles made of a STEP file from its surface.

    Returns
    -------
    RawMesh

    Raises
    ------
    PartError
        There is no such file, it is empty, cut off, of no known format, or
        says other things in its header than in its body.
    """
    try:
        return _read(path, item, chord_mm)
    except OSError as fault:
        raise PartError(f"cannot be read: {fault.strerror or fault}") from fault


def _read(path: Path, item: str | None, chord_mm: float) -> RawMesh:
    if path.is_dir():
        raise PartError("is a directory, expected a mesh file")
    size = path.stat().st_size
    if size == 0:
        raise PartError("the file is empty")
    with path.open("rb") as stream:
        head = stream.read(_HEAD_BYTES)
    kind = file_kind(head, size, path.suffix)
    notices: tuple[str, ...] = ()
    if path.suffix.lower() not in _SUFFIX[kind]:
        notices = (f"its name ends in {path.suffix or 'nothing'!s}, its bytes are {kind}: read so",)
    if kind == "3MF":
        from clearance.mesh.threemf import read_3mf

        triangles, unit, more = read_3mf(path, item)
        return RawMesh(triangles, unit, kind, notices + more)
    if item is not None:
        raise PartError(f"[part] item: found '{item}', expected none: {kind} has no named items")
    if kind == "STEP":
        made = read_step(path, chord_mm)
        return RawMesh(made.triangles, "mm", kind, notices, made.chord_mm, made.walls)
    readers: dict[str, Callable[[Path], NDArray[np.float32] | NDArray[np.float64]]] = {
        "binary STL": _binary_stl,
        "text STL": _text_stl,
        "PLY": _ply,
        "OBJ": _obj,
    }
    found = readers[kind](path)
    if len(found) == 0:
        raise PartError(f"the {kind} file holds no triangles")
    return RawMesh(found, None, kind, notices)


def file_kind(head: bytes, size: int, suffix: str = "") -> str:
    """Tell the format of a mesh file from its first bytes.

    Parameters
    ----------
    head : bytes
        The first 64 kB, or all of a shorter file.
    size : int, bytes
        Length of the file: a binary STL is known by its length alone, since
        its header may well begin with "solid".
    suffix : str
        Ending of the name; used only to word the error, and for an OBJ file
        that begins with a long comment.

    Returns
    -------
    str
        "binary STL", "text STL", "PLY", "OBJ", "3MF" or "STEP".

    Raises
    ------
    PartError
        None of these; the text says what it looks like.
    """
    if head.startswith(b"PK\x03\x04"):
        return "3MF"
    if re.match(rb"ply\s*[\r\n]", head):
        return "PLY"
    count = int.from_bytes(head[80:84], "little") if size >= 84 else -1
    if count >= 0 and size == 84 + 50 * count:
        return "binary STL"
    start = head.removeprefix(b"\xef\xbb\xbf").lstrip()[:256].lower()
    is_text = b"\0" not in head
    if is_text and re.match(rb"solid\b", start):
        return "text STL"
    if is_text and re.search(rb"(?m)^\s*v\s+[-+.\d]", head):
        return "OBJ"
    if start.startswith((b"<!doctype", b"<html", b"<?xml", b"<")):
        raise PartError("is a web page or XML text, not a mesh; was the download complete?")
    if start.startswith(b"iso-10303-21"):
        return "STEP"
    if suffix.lower() == ".obj" and is_text:
        return "OBJ"
    if suffix.lower() == ".stl":
        raise PartError(_stl_length_fault(count, size))
    raise PartError("is none of STL, PLY, OBJ, 3MF, STEP by its bytes")


def _stl_length_fault(count: int, size: int) -> str:
    """Say how a binary STL's length and triangle count differ."""
    if size < 84:
        return f"is cut off or no STL: {size} bytes, a binary STL has at least 84"
    needed = 84 + 50 * count
    what = "cut off" if size < needed else "longer than its triangle count says"
    return (
        f"the binary STL is {what}: its header says {count} triangles, "
        f"that is {needed} bytes, the file has {size}"
    )


@kernel
def _decode_records(records, corners):  # type: ignore[no-untyped-def]
    """Copy the 9 corner numbers of each 50-byte record; -0.0 becomes 0.0.

    `records` is (F, 25) uint16, as the records lie at odd multiples of two
    bytes; `corners` (F, 9) uint32 receives the bits of the float32 numbers.
    """
    for i in range(records.shape[0]):
        for k in range(9):
            low = np.uint32(records[i, 6 + 2 * k])
            bits = low | (np.uint32(records[i, 7 + 2 * k]) << np.uint32(16))
            corners[i, k] = np.uint32(0) if bits == np.uint32(0x80000000) else bits


def _binary_stl(path: Path) -> NDArray[np.float32]:
    count = (path.stat().st_size - 84) // 50
    if count == 0:
        return np.empty((0, 3, 3), np.float32)
    records = np.memmap(path, "<u2", "r", offset=84).reshape(count, 25)
    corners = np.empty((count, 9), np.uint32)
    parts = [slice(a, a + _RECORDS) for a in range(0, count, _RECORDS)]
    with ThreadPoolExecutor(_READERS) as pool:  # most of it is waiting for pages of memory
        list(pool.map(lambda part: _decode_records(records[part], corners[part]), parts))
    return corners.view(np.float32).reshape(count, 3, 3)


# --- text STL: facet normal i j k outer loop (vertex x y z) x 3 endloop endfacet: 21 words

_KEYWORDS = {
    0: b"facet", 1: b"normal", 5: b"outer", 6: b"loop", 7: b"vertex", 11: b"vertex",
    15: b"vertex", 19: b"endloop", 20: b"endfacet",
}  # fmt: skip
_NUMBERS = [8, 9, 10, 12, 13, 14, 16, 17, 18]


def _text_stl(path: Path) -> NDArray[np.float64]:
    text = path.read_bytes().removeprefix(b"\xef\xbb\xbf").replace(b"\r", b"\n").lower()
    names = re.compile(rb"(?m)^[ \t]*(end)?solid\b[^\n]*")
    ends = [bool(found.group(1)) for found in names.finditer(text)]
    if ends.count(True) != ends.count(False):
        raise PartError(
            f"the text STL is cut off: {ends.count(False)} 'solid', {ends.count(True)} 'endsolid'"
        )
    body = names.sub(b"", text)
    stated = len(re.findall(rb"\bfacet\s+normal\b", body))
    pieces: list[NDArray[np.float64]] = []
    start = 0
    while start < len(body):
        end = body.find(b"endfacet", start + _PIECE_BYTES)
        end = len(body) if end < 0 else end + len(b"endfacet")
        pieces.append(_facets(body[start:end].split(), sum(map(len, pieces))))
        start = end
    triangles = np.concatenate(pieces) if pieces else np.empty((0, 3, 3))
    if len(triangles) != stated:
        raise PartError(f"the text STL has {stated} facets, only {len(triangles)} can be read")
    return triangles


def _facets(words: list[bytes], done: int) -> NDArray[np.float64]:
    """Turn the words of whole facets into (n, 3, 3) corners; `done` came before."""
    whole, rest = divmod(len(words), 21)
    if max(map(len, words), default=0) > _LONGEST_WORD:
        long = max(words, key=len)
        raise PartError(f"the text STL holds a word of {len(long)} letters: {_show(long)}")
    table = np.array(words[: 21 * whole]).reshape(whole, 21)
    columns = list(_KEYWORDS)
    wrong = table[:, columns] != np.array(list(_KEYWORDS.values()))
    if wrong.any():
        row, column = np.argwhere(wrong)[0]
        raise PartError(
            f"the text STL is wrong in facet {done + row + 1}: found "
            f"{_show(table[row, columns[column]])}, expected "
            f"'{_KEYWORDS[columns[column]].decode()}' (three vertices a facet)"
        )
    if rest:
        raise PartError(f"the text STL is cut off in facet {done + whole + 1}")
    numbers = table[:, _NUMBERS]
    try:
        return numbers.astype(np.float64).reshape(whole, 3, 3)
    except ValueError:
        row, word = next((i, w) for i, w in enumerate(numbers.ravel()) if not _is_number(w))
        hint = ", with a decimal comma: write a point" if b"," in word else ""
        raise PartError(
            f"the text STL has in facet {done + row // 9 + 1} {_show(word)} where a number "
            f"is expected{hint}"
        ) from None


def _is_number(word: bytes) -> bool:
    try:
        float(word)
    except ValueError:
        return False
    return True


def _show(word: bytes) -> str:
    return f"'{word[:24].decode('utf-8', 'replace')}'"


# --- PLY: the general library reads it, the header is compared with what came out


def _ply(path: Path) -> NDArray[np.float64]:
    import warnings

    from trimesh.exchange.ply import load_ply

    stated = _ply_counts(path)
    if not stated.get("vertex") or not stated.get("face"):
        raise PartError(
            f"the PLY file holds no triangles: {stated.get('vertex', 0)} vertices, "
            f"{stated.get('face', 0)} faces"
        )
    try:
        # The library only warns of half-read lines; here that is a fault.
        with warnings.catch_warnings(), path.open("rb") as stream:
            warnings.simplefilter("error")
            loaded = load_ply(stream, fix_texture=False, skip_materials=True)
            vertices = np.asarray(loaded["vertices"], np.float64)
            sizes = _polygon_sizes(loaded["metadata"]["_ply_raw"]["face"])
            faces = np.asarray(loaded["faces"])
    except Exception as fault:
        # The library raises many kinds on bad bytes: all of them mean the same here.
        raise PartError(f"the PLY file is damaged or cut off: {fault}") from fault
    if len(vertices) != stated["vertex"] or len(sizes) != stated["face"] or sizes.min() < 3:
        raise PartError(
            f"the PLY file's header says {stated['vertex']} vertices and {stated['face']} faces, "
            f"its body holds {len(vertices)} and {int((sizes >= 3).sum())}"
        )
    faces = _fan(faces)
    if len(faces) != int((sizes - 2).sum()):
        raise PartError("the PLY file's faces of mixed sizes cannot be read; export triangles")
    return _corners(vertices, faces, "PLY")


def _ply_counts(path: Path) -> dict[str, int]:
    """Give the number of items of each element that the header states."""
    with path.open("rb") as stream:
        head = stream.read(_HEAD_BYTES)
    header, found, _ = head.partition(b"end_header")
    if not found:
        raise PartError("the PLY file is cut off: no end_header")
    counts = re.findall(rb"(?m)^\s*element\s+(\w+)\s+(\d+)\s*$", header.replace(b"\r", b"\n"))
    return {name.decode(): int(count) for name, count in counts}


def _polygon_sizes(element: dict[str, Any]) -> NDArray[np.int64]:
    """Give the number of corners of each face, from the library's raw table."""
    data = element["data"]
    names = data.keys() if isinstance(data, dict) else data.dtype.names
    name = next((n for n in ("vertex_indices", "vertex_index") if n in names), next(iter(names)))
    lists = data[name]
    if isinstance(data, dict):
        return np.array([np.size(row) for row in lists], np.int64)
    width = lists["f1"].shape[1] if lists["f1"].ndim == 2 else 1
    sizes = lists["f0"].astype(np.int64)
    # A length that differs from the first one shifts everything behind it.
    return np.where(sizes == width, sizes, 0)


def _fan(faces: NDArray[np.integer]) -> NDArray[np.integer]:
    """Split (n, k) polygons into (n (k - 2), 3) triangles about their first corner."""
    if faces.ndim != 2 or faces.shape[1] <= 3:
        return faces
    steps = range(1, faces.shape[1] - 1)
    return np.concatenate([faces[:, [0, k, k + 1]] for k in steps])


def _corners(
    vertices: NDArray[np.float64],
    faces: NDArray[np.integer],
    kind: str,
) -> NDArray[np.float64]:
    """Look up the corners of (F, 3) faces; refuse numbers of vertices that are not there."""
    bad = np.flatnonzero(((faces < 0) | (faces >= len(vertices))).any(axis=1))
    if len(bad):
        raise PartError(
            f"the {kind} file's triangle {bad[0] + 1} names vertex {faces[bad[0]].tolist()} "
            f"(from 0), there are {len(vertices)}"
        )
    return vertices[faces]


# --- OBJ: lines v and f. The general library resolves relative vertex numbers from the
# wrong end and skips lines it does not understand, and a guard would have to parse every
# face line anyway.


def _obj(path: Path) -> NDArray[np.float64]:
    text = path.read_bytes().removeprefix(b"\xef\xbb\xbf").replace(b"\\\r\n", b" ")
    vertices: list[list[float]] = []
    faces: list[tuple[int, int, int]] = []
    for number, line in enumerate(text.replace(b"\\\n", b" ").splitlines(), 1):
        words = line.partition(b"#")[0].split()
        if not words:
            continue
        try:
            if words[0] == b"v":
                vertices.append([float(w) for w in words[1:4]])
                if len(words) < 4:
                    raise ValueError("a vertex needs three numbers")
            elif words[0] == b"f":
                corners = [_vertex_number(w, len(vertices)) for w in words[1:]]
                if len(corners) < 3:
                    raise ValueError("a face needs three vertices")
                fan = itertools.pairwise(corners[1:])
                faces.extend((corners[0], a, b) for a, b in fan)
        except ValueError as fault:
            hint = "; a decimal comma? write a point" if b"," in line else ""
            raise PartError(f"the OBJ file's line {number} is wrong: {fault}{hint}") from fault
    if not faces:
        raise PartError(f"the OBJ file holds no faces ({len(vertices)} vertices)")
    return _corners(np.array(vertices, np.float64).reshape(-1, 3), np.array(faces), "OBJ")


def _vertex_number(word: bytes, seen: int) -> int:
    """Turn '7/1/3' (from 1) or '-2' (back from the last vertex seen) into a number from 0."""
    number = int(word.partition(b"/")[0])
    if number == 0 or number < -seen:
        raise ValueError(f"vertex number {number}, there are {seen} so far")
    return number - 1 if number > 0 else seen + number
