"""Make the meshes of all cases: `python cases/make_meshes.py [NAME ...]`."""

import subprocess
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent


def scripts(names: list[str]) -> list[Path]:
    """Scripts of the named cases, or of all."""
    return [p for p in sorted(HERE.glob("*/make_mesh.py")) if not names or p.parent.name in names]


if __name__ == "__main__":
    for script in scripts(sys.argv[1:]):
        print(script.parent.name, flush=True)
        subprocess.run([sys.executable, str(script)], check=True)
