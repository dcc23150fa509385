"""STEP files (ISO 10303): tessellated to a stated chord, with the exact round walls kept.

In: a path and a chord. Out: triangles in mm, how far they may lie off the true surface, and the
cylinders and tori that the file holds. The kernel is the extra `step`; nothing here needs it but
`tessellated`.
"""

from __future__ import annotations

import importlib.util
import json
import re
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from clearance.errors import PartError

Floats = NDArray[np.float64]

DEFAULT_CHORD_MM = 0.01
"""Where no case says how fine."""
INSTALL = 'pip install "clearance[step]"'
_MM = 1000.0  # the kernel writes metres
_COLOURS = re.compile(r"\x1b\[[0-9;]*m")
_NUMBERS = {5126: "<f4", 5125: "<u4", 5123: "<u2", 5121: "<u1"}  # component types of GLB
_WIDTHS = {"SCALAR": 1, "VEC3": 3}
_POINTS = np.array([[0.5, 0.5, 0], [0, 0.5, 0.5], [0.5, 0, 0.5], [1 / 3, 1 / 3, 1 / 3]])


@dataclass(frozen=True, eq=False, slots=True)
class RoundWall:
    """A cylinder (`major` 0) or a torus of the file, mm: where its axis is, and how wide it is."""

    origin: Floats
    axis: Floats
    radius: float
    major: float = 0.0

    def off(self, points: Floats) -> Floats:
        """How far points (N, 3) lie off the surface."""
        along = (points - self.origin) @ self.axis
        aside = np.linalg.norm(points - self.origin - along[:, None] * self.axis, axis=1)
        if self.major:
            aside = np.hypot(aside - self.major, along)
        return np.abs(aside - self.radius)

    def ends_at(self, centre: Floats, normal: Floats, within: float) -> bool:
        """Whether an opening square to the wall, about as wide, is this wall's end."""
        arm = centre - self.origin
        along = float(arm @ self.axis)
        aside = arm - along * self.axis
        if not self.major:
            square = abs(float(normal @ self.axis)) > SQUARE
            return square and float(np.linalg.norm(aside)) <= within
        way = np.cross(self.axis, aside)
        length = float(np.linalg.norm(way))
        square = length > 0.0 and abs(float(normal @ way)) > SQUARE * length
        off = float(np.hypot(np.linalg.norm(aside) - self.major, along))
        return square and off <= within


SQUARE = 0.9999
"""Least cosine between a wall's direction and the normal of an opening that is its round end."""


@dataclass(frozen=True, eq=False, slots=True)
class StepMesh:
    """What a STEP file gives.

    Attributes
    ----------
    triangles : (F, 3, 3) ndarray of float64, mm
    chord_mm : float
        How far they may lie off the true surface: the chord that the kernel was asked for, or
        more where round walls were found to lie farther off.
    walls : tuple of RoundWall
    """

    triangles: Floats
    chord_mm: float
    walls: tuple[RoundWall, ...]


def read_step(path: Path, chord_mm: float) -> StepMesh:
    """Read a STEP file.

    Parameters
    ----------
    path : Path
    chord_mm : float
        Greatest distance of a triangle from the surface; absolute.

    Raises
    ------
    PartError
        The kernel is not installed, or cannot read the file.
    """
    return from_glb(tessellated(path, chord_mm), chord_mm)


def tessellated(path: Path, chord_mm: float) -> bytes:
    """What the kernel makes of a STEP file: a GLB file in metres, with the faces' surfaces.

    Raises
    ------
    PartError
        As `read_step`.
    """
    if importlib.util.find_spec("cascadio") is None:
        raise PartError(f"is a STEP file, which needs one more library: {INSTALL}")
    with tempfile.TemporaryDirectory() as folder:
        target = Path(folder) / "part.glb"
        words = [sys.executable, "-m", "clearance.mesh.step_kernel"]
        done = subprocess.run(
            [*words, str(path.resolve()), repr(chord_mm), str(target)],
            capture_output=True,
            check=False,
        )
        if done.returncode or not target.exists() or not target.stat().st_size:
            raise PartError(f"the STEP file cannot be read: {_reason(done)}")
        return target.read_bytes()


def _reason(done: subprocess.CompletedProcess[bytes]) -> str:
    said = (done.stderr + b"\n" + done.stdout).decode("utf-8", "replace")
    lines = [_COLOURS.sub("", line).strip(" *\r\t") for line in said.splitlines()]
    kept = [line for line in lines if line]
    last = kept[-1] if "Traceback" in said else "; ".join(kept[:2])
    return last or f"its kernel ended with status {done.returncode} and no word"


def from_glb(data: bytes, chord_mm: float) -> StepMesh:
    """Triangles and round walls of the kernel's GLB file (glTF 2.0, ISO/IEC 12113).

    Read here and not by the mesh library, which drops the table of faces.
    """
    length = int.from_bytes(data[12:16], "little")
    document: dict[str, Any] = json.loads(data[20 : 20 + length])
    binary = data[28 + length :]
    soups: list[Floats] = []
    walls: list[RoundWall] = []
    off = 0.0
    for primitive, matrix in _placed(document):
        own, faces, tables = _primitive(document, binary, primitive)
        placed = _moved(own * _MM, matrix)
        flip = np.linalg.det(matrix[:3, :3]) < 0.0
        soups.append(placed[:, ::-1] if flip else placed)
        for table in tables:
            wall = _wall(table)
            if wall is None:
                continue
            mine = own[faces == table["face_index"]] * _MM
            samples = np.einsum("pk,fkc->fpc", _POINTS, mine).reshape(-1, 3)
            off = max(off, float(wall.off(samples).max(initial=0.0)))
            walls.append(_wall_at(wall, matrix))
    if not sum(map(len, soups)):
        raise PartError("the STEP file holds no solid or surface")
    return StepMesh(np.concatenate(soups), max(chord_mm, off), tuple(walls))


def _placed(document: dict[str, Any]) -> Iterator[tuple[dict[str, Any], Floats]]:
    """Primitives of every node, each with the (4, 4) matrix of its place, mm."""
    nodes, meshes = document.get("nodes", []), document.get("meshes", [])
    roots = document.get("scenes", [{}])[document.get("scene", 0)].get("nodes", [])
    left = [(number, np.eye(4)) for number in reversed(roots)]
    while left:
        number, above = left.pop()
        node = nodes[number]
        matrix = above @ _matrix(node)
        if "mesh" in node:
            yield from ((one, matrix) for one in meshes[node["mesh"]]["primitives"])
        left += [(child, matrix) for child in reversed(node.get("children", []))]


def _matrix(node: dict[str, Any]) -> Floats:
    """A node's place; translation in mm."""
    matrix = np.eye(4)
    if "matrix" in node:
        matrix = np.array(node["matrix"], np.float64).reshape(4, 4).T
    else:
        x, y, z, w = node.get("rotation", (0.0, 0.0, 0.0, 1.0))
        turn = [
            [1 - 2 * (y * y + z * z), 2 * (x * y - z * w), 2 * (x * z + y * w)],
            [2 * (x * y + z * w), 1 - 2 * (x * x + z * z), 2 * (y * z - x * w)],
            [2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y)],
        ]
        matrix[:3, :3] = np.array(turn) * np.array(node.get("scale", (1.0, 1.0, 1.0)))
        matrix[:3, 3] = node.get("translation", (0.0, 0.0, 0.0))
    matrix[:3, 3] *= _MM
    return matrix


def _moved(points: Floats, matrix: Floats) -> Floats:
    """Written out, not a matrix product: equal corners stay bitwise equal."""
    x, y, z = np.moveaxis(points, -1, 0)
    rows = [row[0] * x + row[1] * y + row[2] * z + row[3] for row in matrix[:3]]
    return np.stack(rows, axis=-1)


def _primitive(
    document: dict[str, Any], binary: bytes, primitive: dict[str, Any]
) -> tuple[Floats, NDArray[np.int64], list[dict[str, Any]]]:
    """Triangles in metres, the face that each is of, and the faces' surfaces."""
    points = _array(document, binary, primitive["attributes"]["POSITION"]).astype(np.float64)
    corners = _array(document, binary, primitive["indices"]).astype(np.int64).reshape(-1, 3)
    table = primitive.get("extensions", {}).get("TM_brep_faces", {})
    faces = np.full(len(corners), -1, np.int64)
    if "faceIndices" in table:
        faces = _array(document, binary, table["faceIndices"]).astype(np.int64).ravel()
    return points[corners], faces, list(table.get("faces", []))


def _array(document: dict[str, Any], binary: bytes, number: int) -> NDArray[Any]:
    accessor = document["accessors"][number]
    view = document["bufferViews"][accessor["bufferView"]]
    start = view.get("byteOffset", 0) + accessor.get("byteOffset", 0)
    width = _WIDTHS[accessor["type"]]
    kind = np.dtype(_NUMBERS[accessor["componentType"]])
    found = np.frombuffer(binary, kind, accessor["count"] * width, start)
    return found.reshape(-1, width)


def _wall(table: dict[str, Any]) -> RoundWall | None:
    """A cylinder or torus; None of any other surface."""
    if table.get("type") == "cylinder":
        return RoundWall(
            np.array(table["origin"]) * _MM, np.array(table["axis"]), table["radius"] * _MM
        )
    if table.get("type") == "torus":
        return RoundWall(
            np.array(table["center"]) * _MM,
            np.array(table["axis"]),
            table["minor_radius"] * _MM,
            table["major_radius"] * _MM,
        )
    return None


def _wall_at(wall: RoundWall, matrix: Floats) -> RoundWall:
    axis = matrix[:3, :3] @ wall.axis
    origin = _moved(wall.origin[None], matrix)[0]
    return RoundWall(origin, axis / np.linalg.norm(axis), wall.radius, wall.major)
