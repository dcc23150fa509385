"""Sound files that the fuzzer damages: small meshes in every format, cases and plates.

In: nothing. Out: bytes by name. All parts are invented: a block 14 x 14 x 12 with an upright bore.
"""

from __future__ import annotations

import io
import subprocess
import sys
import zipfile
from functools import lru_cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

sys.path.insert(0, str(Path(__file__).parent.parent))

import shapes

Soup = NDArray[np.float32]

CORE = "http://schemas.microsoft.com/3dmanufacturing/core/2015/02"
KIND = "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel"
PACKAGE = "http://schemas.openxmlformats.org/package/2006/"
START = '<?xml version="1.0" encoding="UTF-8"?>\n'

PART = """\
[part]
name = "block"
mesh = "MESH"
layer_thickness = 0.5
platform_z = 0.0
material = "316L"

[[passage]]
name = "way"
inlet = { centre = [0.0, 0.0, 0.0], radius = 3.0 }
outlet = { centre = [0.0, 0.0, 12.0], radius = 3.0 }
min_clear_diameter = 5.0
"""
GRID = "\n[grid]\npitch = 0.5\n"
LAYER = """
[[stray]]
shape = "layer"
source = "log"
height = 6.0
from_layer = 0
layers = 2
resume = "height"
penetration = 0.5
resume_shift = [0.3, 0.0]
"""
FULL = (
    PART
    + """
[record]
drawing = "D-1"
revision = "B"
serial = "0007"
nonconformity = "NC-1"

[[stray]]
shape = "plane"
source = "measured"
height = 4.0
layers = [1, 2]
resume = "unknown"
resume_shift = [0.0, 0.0]
penetration = [0.4, 0.9]
packing = [0.45, 0.6]
cooled = [10, 60]
height_uncertainty = 0.1

[state]
on_platform = true
emptied = false
heat_treated = false

[drilling]
series = ["jobber"]
drills = [{ diameter = 5.6, flute = 60.0, overall = 90.0 }]
wall_allowance = 0.1
min_wall = 0.5
max_length_to_diameter = 10.0
holder_diameter = 30.0

[flow]
density = 998.0
viscosity = 1e-3
rate = 5.0
max_pressure_loss = 40.0
roughness = [0.0, 0.05]

[grid]
pitch = 0.5
smallest_way = 0.05
"""
)
MELTED = (
    PART
    + """
[melted]
layers = ["0-11", "0-1", "12-23"]
first_number = 0
penetration = 0.5
"""
    + GRID
)
READ = (
    PART
    + LAYER
    + """
[[reading]]
kind = "rim_top"
value = 6.4
u = 0.1
datum = "top"
group = "gauge"
u_group = 0.05
event = 1

[[reading]]
kind = "step"
value = 0.3
u = 0.1
direction = [1.0, 0.0]

[[reading]]
kind = "mass"
value = 15.0
u = 0.1
sisters = [15.0, 15.1, 14.9]
stage = "emptied"

[[reading]]
kind = "pin"
port = "way inlet"
diameter = 4.0
value = 5.5
held = "square"
wrong = 0.05

[[reading]]
kind = "seen"
passage = "way"
crossing = 1
method = "scope"
found = true
detection = 0.9
false_call = 0.01

[[reading]]
kind = "open_area"
passage = "way"
height = 6.0
value = 20.0
u = 1.0

[[reading]]
kind = "ball"
passage = "way"
diameter = 5.0
result = "passes"
stage = "drilled"

[[reading]]
kind = "layers_logged"
value = 24
"""
    + GRID
)
SUSPECTED = (
    PART
    + LAYER
    + """
[suspected]
after_layer = [10, 13]
from_layer = [0, 2]
layers = [1, 2]
resume = ["height", "layer"]
also = ["mesh", "none"]
weights = { "resume=height" = 0.8, "resume=layer" = 0.2 }
u_next = { rim_top = 0.05, mass = 2.0 }

[[reading]]
kind = "part_height"
value = 12.0
u = 0.2
"""
    + GRID
)
CASES = {
    "nothing": PART + GRID,
    "layer": PART + LAYER + GRID,
    "full": FULL,
    "melted": MELTED,
    "read": READ,
    "suspected": SUSPECTED,
}
PLATE = (
    """\
[plate]
name = "small"
size = [200.0, 200.0]
"""
    + LAYER.replace("resume_shift = [0.3, 0.0]", "resume_shift = [0.0, 0.0]")
    + """
[[part]]
name = "S1"
case = "layer.toml"
at = [-50.0, 50.0]
turn = 0

[[part]]
name = "S2"
case = "nothing.toml"
at = [0.0, 50.0]
turn = 90
serial = "0008"
layers = 1
"""
)


@lru_cache(maxsize=1)
def soup() -> Soup:
    """Made in a process of its own: the library of solids starts threads (see `fuzz.ready`)."""
    made = "shapes.straight_bore(3.0, (14.0, 14.0, 12.0), 16)"
    code = f"import sys, numpy, shapes; numpy.save(sys.stdout.buffer, {made})"
    words = [sys.executable, "-c", code]
    found = subprocess.run(words, cwd=Path(shapes.__file__).parent, check=True, capture_output=True)
    triangles: Soup = np.load(io.BytesIO(found.stdout))
    return triangles


def binary_stl(triangles: Soup) -> bytes:
    record = np.zeros(len(triangles), [("n", "<f4", 3), ("v", "<f4", 9), ("a", "<u2")])
    record["v"] = triangles.reshape(-1, 9)
    return b"block".ljust(80) + len(triangles).to_bytes(4, "little") + record.tobytes()


def text_stl(triangles: Soup) -> bytes:
    lines = ["solid block"]
    for corners in triangles:
        lines += ["facet normal 0 0 0", "outer loop"]
        lines += ["vertex " + " ".join(f"{float(x):.9g}" for x in corner) for corner in corners]
        lines += ["endloop", "endfacet"]
    return "\n".join([*lines, "endsolid block", ""]).encode()


def indexed(triangles: Soup) -> tuple[Soup, NDArray[np.int64]]:
    points, index = np.unique(triangles.reshape(-1, 3), axis=0, return_inverse=True)
    return points, index.reshape(-1, 3)


def text_ply(triangles: Soup) -> bytes:
    points, faces = indexed(triangles)
    lines = [*_ply_head("ascii", points, faces)]
    lines += [" ".join(f"{float(x):.9g}" for x in point) for point in points]
    lines += ["3 " + " ".join(map(str, face)) for face in faces]
    return ("\n".join(lines) + "\n").encode()


def binary_ply(triangles: Soup) -> bytes:
    points, faces = indexed(triangles)
    record = np.zeros(len(faces), [("n", "u1"), ("v", "<i4", 3)])
    record["n"], record["v"] = 3, faces
    head = "\n".join([*_ply_head("binary_little_endian", points, faces), ""]).encode()
    return head + points.astype("<f4").tobytes() + record.tobytes()


def _ply_head(kind: str, points: Soup, faces: NDArray[np.int64]) -> list[str]:
    return [
        "ply",
        f"format {kind} 1.0",
        f"element vertex {len(points)}",
        *(f"property float {axis}" for axis in "xyz"),
        f"element face {len(faces)}",
        "property list uchar int vertex_indices",
        "end_header",
    ]


def obj(triangles: Soup) -> bytes:
    points, faces = indexed(triangles)
    lines = ["o block"]
    lines += ["v " + " ".join(f"{float(x):.9g}" for x in point) for point in points]
    lines += ["f " + " ".join(f"{k + 1}" for k in face) for face in faces]
    return ("\n".join(lines) + "\n").encode()


def threemf(triangles: Soup) -> bytes:
    """A block as a component of another object, moved back by its item."""
    points, faces = indexed(triangles)
    corners = "\n".join(
        '<vertex x="{:.9g}" y="{:.9g}" z="{:.9g}"/>'.format(*map(float, p)) for p in points
    )
    sides = "\n".join('<triangle v1="{}" v2="{}" v3="{}"/>'.format(*face) for face in faces)
    model = (
        f'{START}<model xmlns="{CORE}" unit="millimeter">\n<resources>\n'
        f'<object id="1" type="model"><mesh><vertices>\n{corners}\n</vertices>'
        f"<triangles>\n{sides}\n</triangles></mesh></object>\n"
        '<object id="2"><components><component objectid="1" '
        'transform="1 0 0 0 1 0 0 0 1 5 0 0"/></components></object>\n'
        '</resources>\n<build><item objectid="2" transform="1 0 0 0 1 0 0 0 1 -5 0 0"/></build>\n'
        "</model>\n"
    )
    return zipped(
        {
            "[Content_Types].xml": f'{START}<Types xmlns="{PACKAGE}content-types">\n'
            '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.'
            'relationships+xml"/>\n<Default Extension="model" '
            'ContentType="application/vnd.ms-package.3dmanufacturing-3dmodel+xml"/>\n</Types>',
            "_rels/.rels": f'{START}<Relationships xmlns="{PACKAGE}relationships">\n'
            f'<Relationship Target="/3D/3dmodel.model" Id="r0" Type="{KIND}"/>\n</Relationships>',
            "3D/3dmodel.model": model,
        }
    )


def zipped(files: dict[str, str | bytes]) -> bytes:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in files.items():
            archive.writestr(zipfile.ZipInfo(name), data, zipfile.ZIP_DEFLATED)
    return packed.getvalue()


FORMATS = {
    "binary.stl": binary_stl,
    "text.stl": text_stl,
    "text.ply": text_ply,
    "binary.ply": binary_ply,
    "block.obj": obj,
    "block.3mf": threemf,
}
"""File name of each kind of mesh, and what writes it."""
