"""The scene as glTF 2.0 (ISO/IEC 12113), binary: for other programs.

In: a `Scene`. Out: bytes. The standard counts in metres and has +Y up; a node above all bodies
turns and scales, so that their own numbers stay millimetres above the platform.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from clearance.view.page import LOOKS, STATES
from clearance.view.scene import Body, Scene
from clearance.view.shapes import indexed

TO_METRES = np.array(
    [[1e-3, 0.0, 0.0, 0.0], [0.0, 0.0, 1e-3, 0.0], [0.0, -1e-3, 0.0, 0.0], [0.0, 0.0, 0.0, 1.0]]
)
"""From millimetres with +Z up to metres with +Y up."""
CORNERS, TRIANGLES = 34962, 34963
"""ARRAY_BUFFER and ELEMENT_ARRAY_BUFFER, as the standard numbers them."""


def glb(scene: Scene) -> bytes:
    """Write a scene as a binary glTF file.

    Parameters
    ----------
    scene : Scene

    Returns
    -------
    bytes
        A node a body, with its name; kind, state and `when` are its extras.
    """
    import trimesh

    whole = trimesh.Scene()
    for number, body in enumerate(scene.bodies):
        whole.add_geometry(
            _mesh(body),
            node_name=f"{number + 1} {body.name}",
            geom_name=f"{number + 1} {body.name}",
            transform=TO_METRES,
        )
    data = whole.export(file_type="glb", tree_postprocessor=_with_targets)
    assert isinstance(data, bytes)
    return data


def _with_targets(tree: dict[str, Any]) -> None:
    """Say of every stretch of the buffer whether it holds corners or triangles (glTF 2.0, 3.6.1).

    The library that writes the file leaves it out, which validators note.
    """
    for mesh in tree["meshes"]:
        for one in mesh["primitives"]:
            wanted = {number: CORNERS for number in one["attributes"].values()}
            wanted[one["indices"]] = TRIANGLES
            for number, target in wanted.items():
                tree["bufferViews"][tree["accessors"][number]["bufferView"]]["target"] = target


def _mesh(body: Body) -> Any:
    import trimesh
    from trimesh.visual.material import PBRMaterial

    points, faces = indexed(body.triangles)
    look = LOOKS[body.kind]
    opaque = look["opacity"] == 1.0
    material = PBRMaterial(
        name=body.state or body.kind,
        baseColorFactor=[*_rgb(_colour(body)), round(255 * look["opacity"])],
        metallicFactor=0.0,
        roughnessFactor=0.9,
        alphaMode="OPAQUE" if opaque else "BLEND",
        doubleSided=True,
    )
    extras = {"kind": body.kind, "state": body.state, "when": body.when}
    mesh = trimesh.Trimesh(points, faces.astype(np.int64), process=False, metadata=extras)
    mesh.visual = trimesh.visual.TextureVisuals(material=material)
    return mesh


def _colour(body: Body) -> str:
    return STATES[body.state] if body.state else str(LOOKS[body.kind]["colour"])


def _rgb(colour: str) -> tuple[int, int, int]:
    red, green, blue = bytes.fromhex(colour.removeprefix("#"))
    return red, green, blue
