"""A STEP file to triangles, in a process of its own: ``python -m clearance.mesh.step_kernel``.

In: the file, the chord in mm, where to write. Out: a GLB file with the faces' exact surfaces. The
kernel is foreign machine code that writes to the terminal by itself; alone it can neither take
the program with it nor mix its words into a result.
"""

from __future__ import annotations

import sys
from pathlib import Path

ANGLE_RAD = 0.5
"""Chords of narrow walls turn by no more than this: twelve sides or more round a bore."""


def main(source: str, chord_mm: str, target: str) -> int:
    """Write the GLB file; 1 if the kernel could not read the source."""
    import cascadio

    data: bytes = cascadio.to_glb_bytes(
        Path(source).read_bytes(),
        tol_linear=float(chord_mm),
        tol_angular=ANGLE_RAD,
        tol_relative=False,
        use_parallel=False,
        include_brep=True,
    )
    Path(target).write_bytes(data)
    return 0 if data else 1


if __name__ == "__main__":
    sys.exit(main(*sys.argv[1:]))
