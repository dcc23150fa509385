"""The scripts beside the cases make the meshes that stand beside them.

Snapshot: the committed mesh. Volume and extent must agree with any version of manifold3d, the
number of triangles only with the one that made them.
"""

import runpy
import sys
from importlib.metadata import version
from pathlib import Path

import numpy as np
import pytest
import shapes

from clearance.mesh.part import read_triangles

CASES = Path(__file__).parent.parent.parent / "cases"
SCRIPTS = sorted(CASES.glob("*/make_mesh.py"))
MADE_WITH = "3.5.4"
"""Version of manifold3d that made the committed meshes."""


def committed(script: Path) -> Path:
    """The mesh that the case beside a script names."""
    import tomllib

    table = tomllib.loads((script.parent / "case.toml").read_text(encoding="utf-8"))
    return script.parent / table["part"]["mesh"]


@pytest.mark.slow
@pytest.mark.parametrize("script", SCRIPTS, ids=lambda path: path.parent.name)
def test_a_script_makes_the_mesh_beside_it(tmp_path, script, monkeypatch):
    old_path = committed(script)
    new_path = tmp_path / old_path.name
    monkeypatch.setattr(sys, "argv", [str(script), str(new_path)])
    monkeypatch.setattr(sys, "path", [*sys.path])
    runpy.run_path(str(script), run_name="__main__")
    old, new = (read_triangles(path)[0] for path in (old_path, new_path))
    assert shapes.is_closed(new)
    assert shapes.volume(new) == pytest.approx(shapes.volume(old), rel=1e-4)
    for end in (np.min, np.max):
        np.testing.assert_allclose(end(new, axis=(0, 1)), end(old, axis=(0, 1)), atol=1e-3)
    if version("manifold3d") == MADE_WITH:
        assert len(new) == len(old)


def test_every_case_has_its_mesh_and_every_mesh_a_script():
    assert len(SCRIPTS) >= 8
    assert all(committed(script).is_file() for script in SCRIPTS)
