"""What a verdict is computed from: the files, by the hashes of their bytes.

In: a case. Out: `Inputs`.
"""

from __future__ import annotations

from pathlib import Path

from clearance.case.read import Case
from clearance.mesh.part import file_sha256
from clearance.result import InputFile, Inputs, Role


def inputs_of(case: Case) -> Inputs:
    """What a case is computed from: the file and its meshes, with the SHA-256 of their bytes.

    Raises
    ------
    PartError
        A mesh cannot be read.
    """
    part = case.part
    roles: list[tuple[Path, Role]] = [(part.mesh, "part")]
    roles += [(mesh, "also-melted") for mesh in part.also_melted]
    roles += [(stray.mesh, "stray") for stray in case.stray if stray.mesh is not None]
    roles += [] if case.scan is None else [(file, "scan") for file in case.scan.files]
    roles += [] if part.finished is None else [(part.finished, "finished")]
    hashes = {path: file_sha256(path) for path in dict(roles)}
    meshes = tuple(InputFile(path.name, hashes[path], role) for path, role in roles)
    return Inputs(InputFile(case.path.name, case.text_sha256, "case"), meshes)
