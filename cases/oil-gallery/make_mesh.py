"""Make the mesh of this case: `python make_mesh.py [FILE]`. Dimensions are our own invention."""

import sys
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parents[1] / "tests"))

import shapes as s  # noqa: E402


def axes() -> dict[str, tuple[np.ndarray, float]]:
    """Axis and radius of each passage, 2 mm longer than the block at the ports."""
    main = [(-62, 0, 18), (-34, 0, 18), (-10, 0, 40), (14, 0, 40), (38, 0, 18), (62, 0, 18)]
    return {
        "gallery": (s.bent_line(main, 12, 4), 5.0),
        "branch": (s.bent_line([(-22, 0, 29), (-22, 14, 40), (-22, 14, 57)], 6, 4), 2.5),
    }


def make() -> s.Soup:
    """Footed block with a gallery from end to end and a branch to the top."""
    solid = s.footed_block((120, 50), 6, 55)
    for axis, radius in axes().values():
        solid -= s.tube_along(axis, radius, 80)
    return s.soup(solid)


if __name__ == "__main__":
    target = sys.argv[1] if len(sys.argv) > 1 else HERE / "oil-gallery.stl"
    s.write_stl(target, make())
