"""Make the mesh of this case: `python make_mesh.py [FILE]`. The same part as scanned-elbow-shut."""

import runpy
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
OTHER = HERE.parent / "scanned-elbow-shut/make_mesh.py"

if __name__ == "__main__":
    sys.argv = [str(OTHER), sys.argv[1] if len(sys.argv) > 1 else str(HERE / "elbow.ply")]
    runpy.run_path(str(OTHER), run_name="__main__")
