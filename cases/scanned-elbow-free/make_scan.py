"""Make the volume of this case: `python make_scan.py`. Invented: as the other, with no sheet."""

import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent / "scanned-elbow-shut"))

import make_scan  # noqa: E402

if __name__ == "__main__":
    make_scan.make(HERE / "scan.tif", 0.0, 2)
